/* cmd_identify.c - `identify`: the plant at every pointing.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "measured.h"
#include "print.h"

static void print_head(const struct tune_pointing_plant *p)
{
    char text[256], angle[PRINT_CELL];
    (void)snprintf(text, sizeof text, "%s", p->name);
    print_heading(text);
    printf("  ");
    if (!isnan(p->angle_deg)) printf("%s deg, ", print_number(angle, p->angle_deg, 6));
    printf("%zu %s%s, %.4g .. %.4g Hz, coherence %.4f\n", p->n_logs,
           p->estimator == TUNE_FRF_TABLE ? "table" : "sweep", p->n_logs == 1 ? "" : "s",
           p->band_hz[0], p->band_hz[1], p->median_coherence);
    printf("  response  %24s\n", tune_frf_estimator_name(p->estimator));
    if (isnan(p->other_axis_deg) && p->other_axis == TUNE_OTHER_AXIS_UNKNOWN) return;
    printf("  other axis%24s", isnan(p->other_axis_deg)
                                   ? "angle not stated"
                                   : print_number(angle, p->other_axis_deg, 6));
    printf("%s%s%s\n", isnan(p->other_axis_deg) ? "" : " deg",
           p->other_axis == TUNE_OTHER_AXIS_UNKNOWN ? "" : ", ",
           p->other_axis == TUNE_OTHER_AXIS_UNKNOWN ? "" : tune_other_axis_name(p->other_axis));
}

/* One measure for every mark: the share of what is known that was assumed, to a per cent. */
static void print_prior(double share)
{
    const double percent = 100.0 * share;
    if (share > 0.5)
        printf(", limited by its prior (%.0f %%)", percent);
    else if (percent >= 0.5)
        printf(", prior %.0f %%", percent);
}

static void print_body(const struct tune_pointing_plant *p)
{
    const struct tune_fit *fit = &p->fit;
    const char *mark = print_mode_mark(&p->body);
    char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL];
    printf("  inertia   %24s kg m^2%s\n", print_estimate(a, fit->inertia.value, fit->inertia.std),
           mark);
    if (fit->delay_wanted_s < 0.0)
        printf("  delay     %24s ms, on its bound: %.3g ms wanted%s\n", "0",
               1e3 * fit->delay_wanted_s, mark);
    else
        printf("  delay     %24s ms, hold excluded%s\n",
               print_estimate(b, 1e3 * fit->delay.value, 1e3 * fit->delay.std), mark);
    printf("  viscous   %24s N m s/rad", print_estimate(c, fit->viscous.value, fit->viscous.std));
    print_prior(fit->viscous_prior_share);
    printf("%s\n", mark);
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

/* The mark of its verdict and the phase of a complex residue g + j q against a real one of its sign. */
static const char *mode_remark(char out[96], const struct tune_pointing_plant *pointing, size_t k)
{
    const struct tune_fit *fit = &pointing->fit;
    const size_t p = fit->n_params, at = 5 + 3 * k, turn = 3 + 3 * fit->plant.n_modes + k;
    const double g = fit->mode_gain[k].value, q = fit->mode_quadrature[k].value;
    const double square = g * g + q * q, by_g = -q / square, by_q = g / square;
    const double *c = fit->covariance, deg = 180.0 / M_PI;
    const char *mark = print_mode_mark(&pointing->verdict[k]);
    char number[PRINT_CELL];
    double variance;
    (void)snprintf(out, 96, "%s", mark);
    if (!fit->plant.complex_residues) return out;
    variance = by_g * by_g * c[at * (p + 1)] + 2.0 * by_g * by_q * c[at * p + turn] +
               by_q * by_q * c[turn * (p + 1)];
    (void)snprintf(out, 96, "%s  phase %s deg", mark,
                   print_estimate(number, deg * atan(q / g), deg * sqrt(fmax(variance, 0.0))));
    return out;
}

static void print_modes(const struct tune_pointing_plant *p)
{
    const struct tune_fit *fit = &p->fit;
    char remark[96];
    printf("  %-14s %20s %17s %20s\n", "", "frequency Hz", "damping %", "gain");
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!fit->out_of_band[k])
            print_row(tune_mode_on_bound(fit, k) ? "no resonance" : "resonance", &fit->mode_f_hz[k],
                      &fit->mode_zeta[k], &fit->mode_gain[k], mode_remark(remark, p, k));
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

/* What a second sensor told of the payload. */
static void print_payload(const struct tune_pointing_plant *p)
{
    const struct tune_sensor *s = &p->sensor;
    const char *name = tune_payload_source_name(s->kind);
    char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL];
    if (s->kind == TUNE_PAYLOAD_UNKNOWN) return;
    printf("  %-14s %20s  %sfrom the %s%s\n", "", "payload ratio", s->doubtful ? "" : "identified ",
           name, s->doubtful ? ": ! doubtful" : "");
    for (size_t k = 0; k < p->fit.plant.n_modes; k++) {
        if (p->fit.out_of_band[k]) continue;
        printf("  %11.4g Hz %20s%s\n", p->fit.mode_f_hz[k].value,
               isnan(s->ratio[k].value) ? "not seen"
                                        : print_estimate(a, s->ratio[k].value, s->ratio[k].std),
               s->doubtful && !isnan(s->ratio[k].value) ? " !" : "");
    }
    if (!isnan(s->gain_sum.value))
        printf("  %-14s %20s  -1 if driven through these modes alone\n", "sum gain*ratio",
               print_estimate(c, s->gain_sum.value, s->gain_sum.std));
    printf("  %-14s %20s ms, beyond what is stated\n", "sensor late",
           print_estimate(b, 1e3 * s->late_s.value, 1e3 * s->late_s.std));
}

static const char *rests_on(const struct tune_unseen *u)
{
    switch (u->payload) {
    case TUNE_PAYLOAD_STATED:
        return "as [payload] states the ratios";
    case TUNE_PAYLOAD_ASSUMED:
        return "if it hangs on the softest spring";
    default:
        return "as the ratios above are";
    }
}

/* Always told: a still encoder must not pass for a still telescope. */
static void print_unseen(const struct tune_pointing_plant *p)
{
    const struct tune_unseen *u = &p->unseen;
    const double arcsec = TUNE_ARCSEC_PER_RAD;
    char text[2048], a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL];
    size_t used = 0;
    for (size_t k = 0; k < u->n_locked; k++)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s%s", k ? ", " : "",
                                 print_number(a, u->locked_rotor_hz[k].value, 4));
    if (u->n_locked) {
        (void)snprintf(text + used, sizeof text - used, " Hz with the motor held");
        print_sentence("  payload rings     ", text);
    }
    if (!p->fit.plant.n_modes) {
        print_sentence("  unseen            ", "not known: no resonance was found");
        return;
    }
    used = (size_t)snprintf(text, sizeof text, "%s arcsec per N m on the payload",
                            print_number(a, arcsec * u->static_rad_per_nm.value, 3));
    if (!isnan(u->peak_rad_per_nm.value))
        used += (size_t)snprintf(text + used, sizeof text - used, ", %s at %s Hz",
                                 /* its std would hold for the assumption */
                                 u->payload == TUNE_PAYLOAD_ASSUMED
                                     ? print_number(b, arcsec * u->peak_rad_per_nm.value, 3)
                                     : print_estimate(b, arcsec * u->peak_rad_per_nm.value,
                                                      arcsec * u->peak_rad_per_nm.std),
                                 print_number(c, u->peak_hz.value, 4));
    (void)snprintf(text + used, sizeof text - used, ", %s", rests_on(u));
    print_sentence("  unseen            ", text);
}

/* What it means, once for all pointings. */
static void print_unseen_meaning(const struct tune_identification *id)
{
    bool assumed = false;
    for (size_t i = 0; i < id->n_pointings; i++)
        assumed = assumed || id->pointing[i].unseen.payload == TUNE_PAYLOAD_ASSUMED;
    if (!id->n_pointings) return;
    printf("\n");
    print_sentence("", "The encoder cannot see how the payload moves against it.");
    print_sentence(
        "", "A torque on the payload, wind for one, turns it by what stands at \"unseen\" however "
            "still the encoder is held: slowly, and where the payload rings.");
    if (assumed)
        print_sentence(
            "", "A second sensor on the payload, logged in the sweeps, would tell how far; what "
                "is known can be stated in [payload].");
}

static int run(const struct command_line *line)
{
    struct tune_identification result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (!line->step && tune_chain_identify_named(&line->job, &err)) return command_fail(&err);
    if (tune_chain_identify(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent) {
        code = print_json(tune_identification_json(&text, &result, &err), &text, &err);
    } else if (!line->silent) {
        printf("%s\n", result.provenance.logbook);
        for (size_t i = 0; i < result.n_pointings; i++) {
            print_head(&result.pointing[i]);
            print_body(&result.pointing[i]);
            print_modes(&result.pointing[i]);
            print_mode_reasons(&result.pointing[i]);
            print_payload(&result.pointing[i]);
            print_unseen(&result.pointing[i]);
            print_comparisons(&result.pointing[i]);
        }
        print_unseen_meaning(&result);
        print_tracks(&result);
        print_measured_tables(&result);
        print_notes("Left out", &result.left_out);
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
    .log_help = "this sweep or table alone; may be repeated",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT | TAKES_MODES | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
