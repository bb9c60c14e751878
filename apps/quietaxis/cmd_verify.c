/* cmd_verify.c - `verify`: logs under given gains against prediction and requirement.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static void print_logs(const struct tune_verification *r)
{
    printf("\n  %-19s %9s %9s %18s %9s %9s\n", "rms arcsec", "measured", "foretold",
           "95 % interval", "sky", "drift /s");
    for (size_t i = 0; i < r->n_logs; i++) {
        const struct tune_verified_log *log = &r->log[i];
        char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL], d[PRINT_CELL], e[PRINT_CELL];
        char text[TUNE_NAME_LENGTH + TUNE_INPUT_PATH + 64];
        if (log->kind == TUNE_LOG_STEP) {
            printf("  %-20.20s settled after %s s\n", log->name,
                   isinf(log->settle_s) ? "no" : print_number(a, log->settle_s, 4));
            continue;
        }
        printf("  %-19.19s %9s %9s %18s %9s %9s\n", log->name,
               print_number(a, log->measured_rms_arcsec, 4),
               print_number(b, log->predicted_rms_arcsec, 4),
               print_interval(e, log->predicted_interval_95_arcsec),
               print_number(c, log->sky_rms_arcsec, 4),
               print_number(d, log->drift_arcsec_per_s, 2));
        if (log->controller_source[0]) {
            (void)snprintf(text, sizeof text, "at %s, foretold for the gains of %s", log->pointing,
                           log->controller_source);
            print_sentence("    ", text);
        }
    }
}

static int run(const struct command_line *line)
{
    struct tune_verification result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_verify(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent) {
        code = print_json(tune_verification_json(&text, &result, &err), &text, &err);
    } else if (!line->silent) {
        printf("%s\n", result.provenance.logbook);
        print_logs(&result);
        print_judgements(&result.requirement, "measured", (double)NAN);
        print_notes("Notes", &result.notes);
    }
    if (code == EXIT_DONE) code = print_end(result.requirement.met ? EXIT_DONE : EXIT_NO);
    tune_verification_free(&result);
    return code;
}

const struct command command_verify = {
    .name = "verify",
    .answers = "logs under given gains against prediction and requirement",
    .usage = "verify [OPTIONS] LOGBOOK",
    .help = "Measures every log of kind track or step, and hold logs that name a controller\n"
            "of their own: rms about a straight line, drift, settling; beside it what was\n"
            "foretold for those gains from sweeps and quiet log. Writes verify.json.\n"
            "\n"
            "  quietaxis verify hour-angle\n"
            "\n"
            "Exit: 0 requirement met, 1 requirement missed, 2 misuse or a file is not\n"
            "there, 3 unusable data or no log to verify.\n",
    .options = TAKES_OUT | TAKES_CONTROLLER | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT |
               TAKES_MODES | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
