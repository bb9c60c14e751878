/* test_transient.c - the fit of records cut out of a longer motion: the free motion is found to rounding,
 * damping comes out right, its std counts what is not known; bad ends.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/transient_internal.h"
#include "simulation/axis.h"

enum { RATE = 500, ROWS = 4000, RECORDS = 4 };

static struct tune_plant two_modes(void)
{
    return (struct tune_plant){.inertia_kg_m2 = 2.0,
                               .viscous_nm_s_per_rad = 0.1,
                               .delay_s = 0.7 / RATE,
                               .loop_rate_hz = RATE,
                               .n_modes = 2,
                               .mode = {{12.0, 0.006, 0.3, 1.0}, {40.0, 0.01, 0.2, 1.0}}};
}

/* Sweeps that follow each other without a pause, under a soft hold. */
struct motion {
    double *torque; /* excitation */
    struct tune_axis_trace trace;
};

static void run(struct motion *m, const struct tune_plant *plant, double noise_rad, uint64_t seed)
{
    struct tune_controller hold = tune_controller_defaults(RATE);
    struct tune_axis axis = tune_axis_defaults();
    struct tune_error err;
    double phase = 0.0;
    const struct tune_axis_run how = {
        .n = RECORDS * ROWS, .controller = &hold, .seed = seed, .settle = 2000};
    struct tune_axis_run this_run = how;
    m->torque = malloc(RECORDS * ROWS * sizeof *m->torque);
    assert_non_null(m->torque);
    for (size_t i = 0; i < RECORDS * ROWS; i++) {
        phase += 2.0 * TUNE_PI / RATE * pow(120.0, (double)(i % ROWS) / ROWS);
        m->torque[i] = sin(phase);
    }
    hold.kp_nm_per_rad = 20.0;
    hold.kd_nm_s_per_rad = 9.0;
    hold.derivative_filter_hz = 100.0;
    axis.plant = *plant;
    axis.encoder_noise_rad = noise_rad;
    this_run.excitation_nm = m->torque;
    assert_int_equal(tune_axis_simulate(&m->trace, &axis, &this_run, NULL, &err), TUNE_OK);
    assert_false(m->trace.diverged);
}

static void motion_free(struct motion *m)
{
    free(m->torque);
    tune_axis_trace_free(&m->trace);
}

static void estimate(struct tune_frf *frf, struct tune_lines *lines, struct motion *m, size_t i)
{
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_record rec = {.n = ROWS, .rate_hz = RATE};
    struct tune_error err = {0};
    rec.channel[TUNE_ROLE_EXCITATION] = m->torque + i * ROWS;
    rec.channel[TUNE_ROLE_TORQUE] = m->trace.torque_nm + i * ROWS;
    rec.channel[TUNE_ROLE_POSITION] = m->trace.position_rad + i * ROWS;
    assert_int_equal(tune_frf_estimate(frf, lines, &rec, &opts, &err), TUNE_OK);
}

static struct tune_fit known_fit(const struct tune_plant *plant)
{
    struct tune_fit fit = {.plant = *plant, .n_params = tune_plant_param_count(plant)};
    tune_plant_to_params(fit.theta, plant);
    fit.covariance = calloc(fit.n_params * fit.n_params, sizeof(double));
    assert_non_null(fit.covariance);
    for (size_t i = 0; i < fit.n_params; i++)
        fit.covariance[i * (fit.n_params + 1)] = 1e-6;
    return fit;
}

/* With the true plant Y - G U is a free motion and nothing else. */
static void the_free_motion_is_found_to_rounding(void **state)
{
    const struct tune_plant plant = two_modes();
    const size_t p = tune_plant_param_count(&plant);
    double hessian[81] = {0}, lost[81] = {0}, gradient[9] = {0};
    const double step[9] = {0};
    struct motion motion;
    struct tune_frf frf;
    struct tune_lines lines, all;
    struct tune_transient t;
    struct tune_error err;
    double before = 0.0, after = 0.0;
    (void)state;
    run(&motion, &plant, 0.0, 1);
    estimate(&frf, &lines, &motion, 2);
    assert_non_null(lines.raw);
    assert_true(lines.raw->n >= lines.n);
    all = *lines.raw;
    all.raw = lines.raw;
    for (size_t k = 0; k < all.n; k++) { /* a run without noise has no measure of it */
        all.var_y[k] = 1e-20;
        all.var_u[k] = 0.0;
        all.cov_yu[k] = 0.0;
    }
    struct tune_fit fit = known_fit(&plant);
    assert_int_equal(tune_transient_init(&t, &all, &plant, p, &err), TUNE_OK);
    assert_int_equal(t.q, 3 + 4 + 3);
    assert_int_equal(tune_transient_gather(&t, hessian, lost, gradient, &fit, true, &err), TUNE_OK);
    double complex *raw = malloc(all.n * sizeof *raw);
    assert_non_null(raw);
    memcpy(raw, all.y, all.n * sizeof *raw);
    tune_transient_subtract(&t, step, &plant);
    for (size_t k = 0; k < all.n; k++) {
        double complex g;
        tune_plant_eval(&g, &plant, TUNE_PATH_MOTOR_ENCODER, &all.f_hz[k], 1);
        before = fmax(before, cabs(raw[k] / (g * all.u[k]) - 1.0));
        after = fmax(after, cabs(all.y[k] - g * all.u[k]) / cabs(raw[k] - g * all.u[k]));
    }
    assert_true(before > 0.1);
    /* rounding: of normal equations, whose rigid body's columns differ by the cube of the frequency */
    check_close(after, 0.0, 1e-7);
    free(raw);
    tune_transient_free(&t);
    tune_fit_free(&fit);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    motion_free(&motion);
}

struct errors {
    double mean, square, n, as_if_known;
};

static void fit_records(struct errors *first, struct errors *final, const struct tune_plant *plant,
                        uint64_t seed)
{
    struct tune_fit_opts opts = tune_fit_defaults(RATE);
    struct motion motion;
    struct tune_frf frf = {0};
    struct tune_lines lines[RECORDS], all = {0}, *record[RECORDS];
    struct tune_fit fit;
    struct tune_error err = {0};
    opts.max_modes = 4; /* quick: what is blurred takes many at first */
    run(&motion, plant, 2e-7, seed);
    for (size_t i = 0; i < RECORDS; i++) {
        struct tune_frf one;
        estimate(&one, &lines[i], &motion, i);
        record[i] = &lines[i];
        assert_int_equal(tune_frf_append(&frf, &one, &err), TUNE_OK);
        assert_int_equal(tune_lines_append(&all, &lines[i], &err), TUNE_OK);
        tune_frf_free(&one);
    }
    assert_null(all.raw);
    assert_int_equal(tune_fit_plant(&fit, &frf, &all, &opts, NULL, &err), TUNE_OK);
    for (int stage = 0; stage < 2; stage++) {
        struct errors *e = stage ? final : first;
        if (stage)
            assert_int_equal(tune_fit_transients(&fit, &frf, record, RECORDS, &opts, NULL, &err),
                             TUNE_OK);
        if (stage) assert_int_equal(fit.plant.n_modes, 2);
        const struct tune_estimate zeta = fit.mode_zeta[0];
        e->mean += zeta.value / plant->mode[0].zeta - 1.0;
        e->square += pow((zeta.value - plant->mode[0].zeta) / zeta.std, 2.0);
        e->n += 1.0;
    }
    /* what the std would be were all free motions known: the fit of the same lines */
    struct tune_fit known;
    struct tune_lines left = {0};
    for (size_t i = 0; i < RECORDS; i++)
        assert_int_equal(tune_lines_append(&left, &lines[i], &err), TUNE_OK);
    assert_int_equal(tune_fit_plant(&known, &frf, &left, &opts, NULL, &err), TUNE_OK);
    final->as_if_known += known.mode_zeta[0].std / fit.mode_zeta[0].std;
    check_close_rel(known.mode_zeta[0].value, fit.mode_zeta[0].value, 1e-3); /* it has settled */
    tune_fit_free(&known);
    tune_lines_free(&left);
    tune_fit_free(&fit);
    tune_frf_free(&frf);
    tune_lines_free(&all);
    for (size_t i = 0; i < RECORDS; i++)
        tune_lines_free(&lines[i]);
    motion_free(&motion);
}

/* The resonance at 12 Hz is one line wide: 0.144 of 0.125 Hz. */
static void damping_of_a_narrow_resonance_is_right(void **state)
{
    const struct tune_plant plant = two_modes();
    const unsigned runs = 2 * check_multiplier();
    struct errors first = {0}, final = {0};
    (void)state;
    for (unsigned i = 0; i < runs; i++)
        fit_records(&first, &final, &plant, 10 + i);
    assert_true(fabs(first.mean / first.n) > 0.02); /* what this is about */
    check_close(final.mean / final.n, 0.0, fabs(first.mean / first.n) / 5.0);
    /* statistical: mean of squares of normal errors, 5 sigma */
    check_between(final.square / final.n, 0.0, 1.0 + 5.0 * sqrt(2.0 / final.n));
    assert_true(final.as_if_known / final.n < 0.98);
    check_between(final.as_if_known / final.n, 0.3, 1.0);
}

static void records_at_rest_are_left_alone(void **state)
{
    const struct tune_plant plant = two_modes();
    const struct tune_fit_opts opts = tune_fit_defaults(RATE);
    struct tune_lines lines = {.n = 0}, *record[] = {&lines};
    struct tune_frf frf = {0};
    struct tune_error err;
    struct tune_fit fit = known_fit(&plant);
    (void)state;
    assert_int_equal(tune_fit_transients(&fit, &frf, record, 1, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(tune_fit_transients(&fit, &frf, NULL, 0, &opts, NULL, &err), TUNE_OK);
    check_close(fit.theta[3], log(12.0), 1e-15);
    tune_fit_free(&fit);
}

static int cancel(void *user, const char *stage, double done)
{
    (void)stage;
    (void)done;
    return ++*(int *)user > 1;
}

/* Allocations before the first fit, and every seventh further on: the fit has tests of its own. */
static void no_memory_and_cancelling_leave_the_fit(void **state)
{
    const struct tune_plant plant = two_modes();
    const struct tune_fit_opts opts = tune_fit_defaults(RATE);
    struct motion motion;
    struct tune_frf frf;
    struct tune_error err;
    enum tune_status status;
    int ticks = 0;
    const struct tune_watch watch = {cancel, &ticks};
    (void)state;
    run(&motion, &plant, 2e-7, 3);
    struct tune_fit fit = known_fit(&plant);
    for (unsigned long k = 1; k < 60; k += k < 30 ? 1 : 7) {
        struct tune_lines lines, *record[] = {&lines};
        estimate(&frf, &lines, &motion, 1);
        check_fail_allocation(k);
        status = tune_fit_transients(&fit, &frf, record, 1, &opts, NULL, &err);
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_ENOMEM);
        check_close(fit.theta[3], log(12.0), 1e-15);
        tune_frf_free(&frf);
        tune_lines_free(&lines);
    }
    struct tune_lines lines, *record[] = {&lines};
    estimate(&frf, &lines, &motion, 1);
    assert_int_equal(tune_fit_transients(&fit, &frf, record, 1, &opts, &watch, &err),
                     TUNE_ECANCELLED);
    tune_fit_free(&fit);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    motion_free(&motion);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_free_motion_is_found_to_rounding),
        cmocka_unit_test(damping_of_a_narrow_resonance_is_right),
        cmocka_unit_test(records_at_rest_are_left_alone),
        cmocka_unit_test(no_memory_and_cancelling_leave_the_fit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
