/* cmd_verify.c - `verify`: logs under given gains against prediction and requirement.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static void print_gains(const struct tune_verified_log *log)
{
    char text[TUNE_NAME_LENGTH + TUNE_INPUT_PATH + 64];
    if (!log->controller_source[0]) return;
    (void)snprintf(text, sizeof text, "at %s, foretold for the gains of %s", log->pointing,
                   log->controller_source);
    print_sentence("    ", text);
}

static void print_logs(const struct tune_verification *r)
{
    bool any = false;
    for (size_t i = 0; i < r->n_logs; i++)
        any = any || !r->log[i].injected;
    if (!any) return;
    printf("\n  %-19s %9s %9s %18s %9s %9s\n", "rms arcsec", "measured", "foretold",
           "95 % interval", "sky", "drift /s");
    for (size_t i = 0; i < r->n_logs; i++) {
        const struct tune_verified_log *log = &r->log[i];
        char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL], d[PRINT_CELL], e[PRINT_CELL];
        if (log->injected) continue;
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
        print_gains(log);
    }
}

static void print_tone(const char *name, const struct tune_verified_tone *t)
{
    char cell[4][PRINT_CELL], bounds[2 * PRINT_CELL];
    (void)snprintf(bounds, sizeof bounds, "%s..%s", print_fixed(cell[0], t->bounds[0], 2),
                   print_fixed(cell[1], t->bounds[1], 2));
    printf("  %-19.19s %8s %6s %6s %12s  ", name, print_number(cell[2], t->f_hz, 4),
           print_fixed(cell[3], t->sensitivity.value, 2),
           print_fixed(cell[0], 1.96 * t->sensitivity.std, 2), bounds);
    print_coloured(t->verdict == TUNE_TONE_AS_DESIGNED ? PRINT_GOOD
                   : t->verdict == TUNE_TONE_OFF       ? PRINT_BAD
                                                       : PRINT_STRONG,
                   tune_tone_verdict_name(t->verdict));
    printf("\n");
}

/* What the loop makes of tones that were injected. */
static void print_tones(const struct tune_verification *r)
{
    bool any = false;
    for (size_t i = 0; i < r->n_logs; i++) {
        const struct tune_verified_log *log = &r->log[i];
        if (log->n_tones == 0) continue;
        if (!any)
            printf("\n  %-19s %8s %6s %6s %12s\n", "|S| at tones", "Hz", "|S|", "+-", "within");
        any = true;
        for (size_t t = 0; t < log->n_tones; t++)
            print_tone(log->name, &log->tone[t]);
        print_gains(log);
    }
    if (any)
        print_sentence("  ", "+- 95 %. Within: as the gains make it at that pointing, modes 5 % "
                             "either way, and 20 % beyond. The rms of these logs is of the tones "
                             "and is not judged.");
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
        print_tones(&result);
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
            "foretold for those gains from sweeps and quiet log. Of a log with tones injected\n"
            "the sensitivity of the loop at each tone. Writes verify.json.\n"
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
