/* study.c - one design for one case, printed, and what it comes to on other plants.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "study.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "../bench.h"
#include "core/units.h"
#include "core/workers.h"
#include "design/bound.h"

double study_mas(double rad)
{
    return 1e3 * tune_arcsec_from_rad(rad);
}

static double by_the_clock(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void study_stop(const struct tune_error *err)
{
    printf("%s\n", err->text);
    exit(1);
}

/* ---- what was found -------------------------------------------------------------------------------*/

static void print_gains(const struct tune_controller *c)
{
    printf("    kp %.10g ki %.10g kd %.10g derivative %.10g lowpass %.10g zeta %.10g\n",
           c->kp_nm_per_rad, c->ki_nm_per_rad_s, c->kd_nm_s_per_rad, c->derivative_filter_hz,
           c->lowpass_hz, c->lowpass_zeta);
    for (size_t k = 0; k < c->n_biquads; k++)
        printf("    biquad zero %.10g %.10g pole %.10g %.10g\n", c->biquad[k].zero_hz,
               c->biquad[k].zero_zeta, c->biquad[k].pole_hz, c->biquad[k].pole_zeta);
}

static void print_steps(const struct tune_design *design)
{
    for (size_t i = 0; i < design->n_steps; i++) {
        const struct tune_design_step *s = &design->step[i];
        printf("  +%zu%s objective %8.3f  sky %8.2f  encoder %7.2f mas  noise %.2f N m  Ms %.3f  %s"
               "  limit: %s\n",
               i, i == design->recommended ? "*" : " ", study_mas(s->objective_rad),
               study_mas(s->sky_rms_rad), study_mas(s->encoder_rms_rad), s->noise_torque_rms_nm,
               s->sens_peak, s->feasible ? "feasible" : "NOT feasible", s->binding);
    }
    print_gains(&design->step[design->n_steps - 1].controller);
}

struct tune_controller study_design(const struct design_case *c, const char *title, double *took_s)
{
    static struct tune_design design;
    struct tune_error err;
    const double begun = seconds(), then = by_the_clock();
    double processor_s, clock_s;
    if (tune_design_controller(&design, c->plant, case_pointings, POINTINGS, &c->disturbance,
                               &c->opts, NULL, &err) != TUNE_OK)
        study_stop(&err);
    processor_s = seconds() - begun;
    clock_s = by_the_clock() - then;
    printf("%s: %.2f s of processor time, %.2f s by the clock\n", title, processor_s, clock_s);
    if (took_s) *took_s = clock_s < processor_s ? clock_s : processor_s;
    print_steps(&design);
    return design.step[design.n_steps - 1].controller;
}

double study_jitter(double *largest, const struct design_case *c, const struct tune_plant *plants,
                    size_t n, const struct tune_controller *controller)
{
    struct tune_design_opts opts = c->opts;
    struct tune_design_step step;
    struct tune_error err;
    opts.mode_shift = 0.0;
    if (tune_design_appraise(&step, controller, plants, case_pointings, n, &c->disturbance, &opts,
                             &err) != TUNE_OK)
        study_stop(&err);
    if (largest)
        *largest = study_mas(opts.encoder_objective ? step.encoder_rms_rad : step.sky_rms_rad);
    return study_mas(step.objective_rad);
}

/* ---- the least of any controller ------------------------------------------------------------------*/

struct bounds {
    const struct design_case *c;
    const struct tune_controller *start;
    struct tune_bound bound[POINTINGS];
};

static enum tune_status bound_one(void *user, size_t item, struct tune_error *err)
{
    struct bounds *b = user;
    struct tune_bound_opts opts = tune_bound_defaults();
    opts.encoder_objective = b->c->opts.encoder_objective;
    opts.peak_sensitivity = b->c->opts.peak_sensitivity;
    opts.noise_torque_rms_nm = b->c->opts.noise_torque_rms_nm;
    opts.sensor_noise_rad = b->c->opts.sensor_noise_rad;
    return tune_design_bound(&b->bound[item], &b->c->plant[item], b->start, &b->c->disturbance,
                             &opts, NULL, err);
}

double study_bound(const struct design_case *c, const struct tune_controller *controller)
{
    struct bounds b = {.c = c, .start = controller};
    struct tune_error err;
    double sum = 0.0, spread = 0.0;
    const double begun = seconds();
    if (tune_workers_run(POINTINGS, c->opts.threads, bound_one, &b, &err) != TUNE_OK)
        study_stop(&err);
    printf("  bounds");
    for (size_t p = 0; p < POINTINGS; p++) {
        printf(" %.3f", study_mas(b.bound[p].rms_rad));
        sum += b.bound[p].rms_rad * b.bound[p].rms_rad / POINTINGS;
        spread = fmax(spread, b.bound[p].spread);
    }
    printf(" mas, rms %.3f, still moving by %.2g %%, %.1f s of processor time\n",
           study_mas(sqrt(sum)), 100.0 * spread, seconds() - begun);
    return study_mas(sqrt(sum));
}
