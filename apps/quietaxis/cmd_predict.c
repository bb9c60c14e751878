/* cmd_predict.c - `predict`: jitter by pointing and source.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static void print_pointings(const struct tune_forecast *r)
{
    printf("\n  %-14s %17s %19s %10s %10s\n", "", "encoder log", "95 %", "axis", "sky");
    printf("  %-14s %17s %19s %10s %10s\n", "rms arcsec", "", "interval", "itself", "");
    for (size_t i = 0; i < r->n_pointings; i++) {
        const struct tune_pointing_forecast *p = &r->pointing[i];
        char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL], d[PRINT_CELL];
        printf("%s %-14.14s %17s %19s %10s %10s\n", i == r->worst ? "*" : " ", p->pointing,
               print_estimate(a, p->measured_rms_arcsec.value, p->measured_rms_arcsec.std),
               print_interval(d, p->interval_95_arcsec),
               print_number(b, p->true_rms_arcsec.value, 4), print_number(c, p->sky_rms_arcsec, 4));
    }
    printf("  * worst pointing, by the %s\n", r->jitter_of_sky ? "sky" : "encoder log");
}

static void print_sources(const struct tune_forecast *r)
{
    const struct tune_pointing_forecast *p = &r->pointing[r->worst];
    char a[PRINT_CELL];
    print_heading("Sources of the axis' own motion there, rms arcsec");
    for (size_t i = 0; i < TUNE_FORECAST_SOURCES; i++)
        printf("  %-24s %10s\n", p->source[i].name, print_number(a, p->source[i].rms_arcsec, 4));
    if (!isnan(p->unseen_twist_arcsec))
        printf("  %-24s %10s  in the sky figure; payload ratios %s\n", "twist no encoder sees",
               print_number(a, p->unseen_twist_arcsec, 4), r->payload);
}

/* The worst pointing's, where jitter is judged at the encoder. */
static double unjudged_sky(const struct tune_forecast *r)
{
    double worst_arcsec = (double)NAN;
    for (size_t i = 0; !r->jitter_of_sky && i < r->n_pointings; i++)
        worst_arcsec = fmax(worst_arcsec, r->pointing[i].sky_rms_arcsec);
    return worst_arcsec;
}

static void print_text(const struct tune_forecast *r)
{
    printf("%s\nGains of %s\n", r->provenance.logbook, r->controller_source);
    print_pointings(r);
    print_sources(r);
    print_judgements(&r->requirement, "predicted", unjudged_sky(r));
    print_notes("Notes", &r->notes);
    print_notes("Cautions", &r->cautions);
}

static int run(const struct command_line *line)
{
    struct tune_forecast result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_predict(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent)
        code = print_json(tune_forecast_json(&text, &result, &err), &text, &err);
    else if (!line->silent)
        print_text(&result);
    if (code == EXIT_DONE) code = print_end(result.requirement.met ? EXIT_DONE : EXIT_NO);
    tune_forecast_free(&result);
    return code;
}

const struct command command_predict = {
    .name = "predict",
    .answers = "jitter in arcseconds, by pointing, source and frequency",
    .usage = "predict [OPTIONS] LOGBOOK",
    .help = "Backs the disturbance out of the quiet log and foretells the jitter at every\n"
            "pointing under the gains of --controller FILE, else those of the log named by\n"
            "--log, else results/controller.ini, else the logbook's. Three figures that\n"
            "must not be mixed: what the encoder log will show, what the axis does, what\n"
            "the star does. Writes predict.json and jitter.csv.\n"
            "\n"
            "  quietaxis predict hour-angle\n"
            "\n"
            "Exit: 0 requirement met, 1 requirement missed, 2 misuse or a file is not\n"
            "there, 3 unusable data, 4 the loop is not stable.\n",
    .log_help = "the gains, sweep or quiet log to take; may be repeated",
    .options = TAKES_OUT | TAKES_CONTROLLER | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT |
               TAKES_MODES | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
