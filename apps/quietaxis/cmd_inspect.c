/* cmd_inspect.c - `inspect`: are these logs fit for use.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "print.h"

static enum print_colour colour_of(enum tune_verdict verdict)
{
    return verdict == TUNE_UNFIT ? PRINT_BAD : verdict == TUNE_FIT ? PRINT_GOOD : PRINT_STRONG;
}

static void print_findings(const struct tune_inspected_log *log)
{
    char text[512];
    for (size_t i = 0; i < log->health.n_findings; i++) {
        const struct tune_finding *finding = &log->health.finding[i];
        size_t used = (size_t)snprintf(text, sizeof text, "%s: %s", finding->name, finding->text);
        if (finding->row > 0 && used < sizeof text)
            used += (size_t)snprintf(text + used, sizeof text - used, " (row %zu, %.6g s)",
                                     finding->row, finding->time_s);
        if (finding->advice[0] && used < sizeof text)
            (void)snprintf(text + used, sizeof text - used, "; %s", finding->advice);
        print_sentence("    ", text);
    }
}

/* The role's name, bare or with its unit. */
static bool own_name(const struct tune_inspected_log *log, unsigned role)
{
    const char *name = tune_role_name((enum tune_role)role), *column = log->column[role];
    const size_t length = strlen(name);
    if (strncmp(column, name, length) != 0) return false;
    return !column[length] ||
           (column[length] == '_' && !strcmp(column + length + 1, log->unit[role]));
}

/* "torque, position <- motor_angle_rad [rad]" */
static void print_channels(const struct tune_inspected_log *log)
{
    char text[1024] = "";
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++) {
        const char *unit = log->unit[role];
        const size_t used = strlen(text);
        if (!log->channel[role]) continue;
        if (own_name(log, role))
            (void)snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "",
                           tune_role_name((enum tune_role)role));
        else
            (void)snprintf(text + used, sizeof text - used, "%s%s <- %s%s%s%s", used ? ", " : "",
                           tune_role_name((enum tune_role)role), log->column[role],
                           unit[0] ? " [" : "", unit, unit[0] ? "]" : "");
    }
    if (text[0]) print_sentence("    ", text);
}

static void print_text(const struct tune_inspection *result)
{
    printf("%s\n\n  %-20s %-6s %-14s %8s %8s %8s\n", result->provenance.logbook, "", "", "", "",
           "rate", "error");
    printf("  %-20s %-6s %-14s %8s %8s %8s\n", "log", "kind", "verdict", "rows", "Hz", "arcsec");
    for (size_t i = 0; i < result->n_logs; i++) {
        const struct tune_inspected_log *log = &result->log[i];
        char rate[PRINT_CELL], error[PRINT_CELL], verdict[PRINT_CELL];
        printf("  %-20.20s %-6s ", log->name, tune_log_kind_name(log->kind));
        (void)snprintf(verdict, sizeof verdict, "%-14s", tune_verdict_name(log->health.verdict));
        print_coloured(colour_of(log->health.verdict), verdict);
        printf(" %8zu %8s %8s\n", log->rows, print_number(rate, log->rate_hz, 6),
               print_number(error, log->error_rms_arcsec, 3));
        print_channels(log);
        print_findings(log);
    }
    print_notes("Notes", &result->notes);
}

static int run(const struct command_line *line)
{
    struct tune_inspection result;
    struct tune_error err;
    char *text = NULL;
    int code;
    if (tune_chain_inspect(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    code = EXIT_DONE;
    if (line->json && !line->silent)
        code = print_json(tune_inspection_json(&text, &result, &err), &text, &err);
    else if (!line->silent)
        print_text(&result);
    if (code == EXIT_DONE) code = print_end(result.verdict == TUNE_UNFIT ? EXIT_NO : EXIT_DONE);
    tune_inspection_free(&result);
    return code;
}

const struct command command_inspect = {
    .name = "inspect",
    .answers = "are these logs fit for use",
    .usage = "inspect [OPTIONS] LOGBOOK",
    .help = "Reads every log and says whether it is fit for what it is meant for, fit with\n"
            "care, or unfit; what was found, in which row, and what to do. A log that\n"
            "cannot be read is unfit. Writes inspect.json.\n"
            "\n"
            "  quietaxis inspect hour-angle\n"
            "\n"
            "Exit: 0 every log may be used, 1 a log is unfit, 2 misuse or a file is not\n"
            "there, 3 faulty axis.ini.\n",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
