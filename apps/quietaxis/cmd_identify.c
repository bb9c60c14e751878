/* cmd_identify.c - `identify`: the plant at every pointing.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static void print_head(const struct tune_pointing_plant *p)
{
    char text[256], angle[PRINT_CELL];
    (void)snprintf(text, sizeof text, "%s", p->name);
    print_heading(text);
    printf("  ");
    if (!isnan(p->angle_deg)) printf("%s deg, ", print_number(angle, p->angle_deg, 6));
    printf("%zu sweep%s, %.4g .. %.4g Hz, coherence %.4f\n", p->n_logs, p->n_logs == 1 ? "" : "s",
           p->band_hz[0], p->band_hz[1], p->median_coherence);
    printf("  response  %24s\n", tune_frf_estimator_name(p->estimator));
}

static void print_body(const struct tune_fit *fit)
{
    char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL];
    printf("  inertia   %24s kg m^2\n", print_estimate(a, fit->inertia.value, fit->inertia.std));
    if (fit->delay_wanted_s < 0.0)
        printf("  delay     %24s ms, on its bound: %.3g ms wanted\n", "0",
               1e3 * fit->delay_wanted_s);
    else
        printf("  delay     %24s ms, hold excluded\n",
               print_estimate(b, 1e3 * fit->delay.value, 1e3 * fit->delay.std));
    printf("  viscous   %24s N m s/rad%s\n",
           print_estimate(c, fit->viscous.value, fit->viscous.std),
           fit->viscous.std > 0.5 * fit->viscous.value ? ", hardly seen by the sweep" : "");
    printf("  fit       %24.3f reduced chi-square over %zu lines\n", fit->reduced_chi_square,
           fit->lines);
}

static void print_row(const char *what, const struct tune_estimate *f,
                      const struct tune_estimate *zeta, const struct tune_estimate *gain,
                      const char *remark)
{
    char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL];
    printf("  %-14s %20s %17s", what, print_estimate(a, f->value, f->std),
           print_estimate(b, 100.0 * zeta->value, 100.0 * zeta->std));
    if (gain) printf(" %20s", print_estimate(c, gain->value, gain->std));
    printf("%s\n", remark);
}

static void print_modes(const struct tune_fit *fit)
{
    printf("  %-14s %20s %17s %20s\n", "", "frequency Hz", "damping %", "gain");
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!fit->out_of_band[k])
            print_row("resonance", &fit->mode_f_hz[k], &fit->mode_zeta[k], &fit->mode_gain[k], "");
    for (size_t k = 0; k < fit->n_antiresonances; k++)
        print_row("antiresonance", &fit->antiresonance_f_hz[k], &fit->antiresonance_zeta[k], NULL,
                  "");
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (fit->out_of_band[k])
            print_row("out of band", &fit->mode_f_hz[k], &fit->mode_zeta[k], &fit->mode_gain[k],
                      " *");
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (fit->out_of_band[k]) {
            print_sentence("  * ", "outside of the band swept: it serves the fit only.");
            break;
        }
}

static int run(const struct command_line *line)
{
    struct tune_identification result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_identify(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent) {
        code = print_json(tune_identification_json(&text, &result, &err), &text, &err);
    } else if (!line->silent) {
        printf("%s\n", result.provenance.logbook);
        for (size_t i = 0; i < result.n_pointings; i++) {
            print_head(&result.pointing[i]);
            print_body(&result.pointing[i].fit);
            print_modes(&result.pointing[i].fit);
        }
        print_tracks(&result);
        print_notes("Accepted", &result.accepted);
        print_notes("Notes", &result.notes);
        code = print_end(EXIT_DONE);
    }
    tune_identification_free(&result);
    return code;
}

const struct command command_identify = {
    .name = "identify",
    .answers = "frequency responses, inertia, delay, resonances, with confidence",
    .usage = "identify [OPTIONS] LOGBOOK",
    .help = "Estimates the frequency response at every pointing from its sweeps and fits a\n"
            "rigid body, modes and a delay to it. +- is one standard deviation. Writes\n"
            "identify.json and, for each pointing, frf-POINTING.csv, assisted-POINTING.csv,\n"
            "model-POINTING.csv and plant-POINTING.json (poles, zeros and state space for\n"
            "other tools).\n"
            "\n"
            "  quietaxis identify hour-angle\n"
            "\n"
            "Exit: 0 done, 2 misuse or a file is not there, 3 unusable data, 4 no fit\n"
            "found.\n",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT | TAKES_MODES | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
