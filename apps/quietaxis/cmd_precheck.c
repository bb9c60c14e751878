/* cmd_precheck.c - `precheck`: is the axis what the logbook says.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "print.h"

static enum print_colour colour_of(enum tune_check_answer answer)
{
    return answer == TUNE_CHECK_AGREES      ? PRINT_GOOD
           : answer == TUNE_CHECK_DISAGREES ? PRINT_BAD
                                            : PRINT_PLAIN;
}

/* A sign is a sign, no estimate. */
static bool is_sign(const struct tune_check *check)
{
    return strstr(check->name, "-sign") != NULL;
}

static const char *stated_cell(char cell[PRINT_CELL], const struct tune_check *check)
{
    if (isnan(check->stated)) return "-";
    if (is_sign(check)) return check->stated > 0.0 ? "+" : "-";
    if (tune_check_at_most(check)) {
        char number[PRINT_CELL];
        (void)snprintf(cell, PRINT_CELL, "at most %.12s", print_number(number, check->stated, 6));
        return cell;
    }
    return print_number(cell, check->stated, fabs(check->stated) >= 1e6 ? 9 : 6);
}

static const char *measured_cell(char cell[PRINT_CELL], const struct tune_check *check)
{
    if (isnan(check->measured.value)) return "-";
    if (is_sign(check)) return check->measured.value > 0.0 ? "+" : "reversed";
    if (check->measured.std > 0.0)
        return print_estimate(cell, check->measured.value, check->measured.std);
    return print_number(cell, check->measured.value, 5);
}

static void print_table(const struct tune_precheck *result)
{
    char a[PRINT_CELL], b[PRINT_CELL];
    printf("%s\n\n  %-20s %10s %21s  %s\n", result->provenance.logbook, "check", "stated",
           "measured", "answer");
    for (size_t i = 0; i < result->n_checks; i++) {
        const struct tune_check *check = &result->check[i];
        printf("  %-20s %10s %21s  ", check->name, stated_cell(a, check), measured_cell(b, check));
        print_coloured(colour_of(check->answer), tune_check_answer_name(check->answer));
        printf("%s%s\n", check->unit[0] ? ", " : "", check->unit);
    }
}

/* One group of checks with what was found and what to do. */
static void print_group(const struct tune_precheck *result, enum tune_check_answer answer,
                        const char *heading)
{
    if (tune_precheck_count(result, answer) == 0) return;
    print_heading(heading);
    for (size_t i = 0; i < result->n_checks; i++) {
        const struct tune_check *check = &result->check[i];
        char text[sizeof check->name + sizeof check->text + sizeof check->advice + 8];
        if (check->answer != answer) continue;
        (void)snprintf(text, sizeof text, "%s: %s%s%s", check->name, check->text,
                       check->advice[0] ? " " : "", check->advice);
        print_sentence("- ", text);
    }
}

static void print_text(const struct tune_precheck *result)
{
    print_table(result);
    print_group(result, TUNE_CHECK_DISAGREES, "Disagrees: correct it before anything else moves");
    print_group(result, TUNE_CHECK_NOT_TESTED, "Not tested");
    print_group(result, TUNE_CHECK_AGREES, "Agrees");
    print_notes("Cautions", &result->cautions);
    print_notes("Notes", &result->notes);
}

static int run(const struct command_line *line)
{
    struct tune_precheck *result = calloc(1, sizeof *result);
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (!result) {
        (void)tune_error_memory(&err, "checking first motions");
        return command_fail(&err);
    }
    if (tune_chain_precheck(result, &line->job, &err)) {
        free(result);
        return command_fail(&err);
    }
    command_progress_done();
    if (line->json && !line->silent)
        code = print_json(tune_precheck_json(&text, result, &err), &text, &err);
    else if (!line->silent)
        print_text(result);
    if (code == EXIT_DONE)
        code = print_end(tune_precheck_count(result, TUNE_CHECK_DISAGREES) ? EXIT_NO : EXIT_DONE);
    tune_precheck_free(result);
    free(result);
    return code;
}

const struct command command_precheck = {
    .name = "precheck",
    .answers = "is the axis what the logbook says, from its first small motions",
    .usage = "precheck [OPTIONS] LOGBOOK",
    .help = "From logs of kind pulse, move, coast, load, limit and index: counts per turn,\n"
            "signs of encoder and torque, torque per unit, inertia, commutation, index\n"
            "mark, friction, stopping distance, following-error and travel limits. Each\n"
            "agrees with the logbook, disagrees, or is not tested; what to do stands\n"
            "beside it. Writes precheck.json.\n"
            "\n"
            "  quietaxis precheck hour-angle\n"
            "\n"
            "These logs are made by moving the axis: one person at the emergency stop,\n"
            "nobody within reach, the smallest torque first, the axis locked before a\n"
            "weight is fixed to it.\n"
            "\n"
            "Exit: 0 nothing disagrees, 1 something does, 2 misuse or a file is not there,\n"
            "3 faulty axis.ini, no log of a first motion, or none that can be used.\n",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
