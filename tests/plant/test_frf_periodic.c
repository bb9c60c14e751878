/* test_frf_periodic.c - the estimate from periodic records.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "plant/small_axis.h"
#include "spectrum/coherence.h"

enum { RATE = 1000, PERIOD = 1000 };

static void estimate(struct tune_frf *frf, struct tune_lines *lines, const struct tune_record *rec)
{
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_error err = {0};
    const enum tune_status status = tune_frf_estimate(frf, lines, rec, &opts, &err);
    if (status) print_error("%s\n", err.text);
    assert_int_equal(status, TUNE_OK);
}

/* lines 3, 5, 7 ... 99 Hz, `rows` samples */
static struct tune_record multisine_record(size_t rows)
{
    struct tune_record rec = small_record(rows, RATE);
    small_multisine(rec.channel[TUNE_ROLE_EXCITATION], rows, PERIOD, 3, 99, 2);
    return rec;
}

/* torque = excitation, position = excitation `late` samples earlier, all periodic */
static void pass_through(struct tune_record *rec, size_t late)
{
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    memcpy(rec->channel[TUNE_ROLE_TORQUE], d, rec->n * sizeof *d);
    for (size_t i = 0; i < rec->n; i++)
        rec->channel[TUNE_ROLE_POSITION][i] = d[(i + PERIOD - late) % PERIOD];
}

static void drop(struct tune_record *rec, enum tune_role role)
{
    free(rec->channel[role]);
    rec->channel[role] = NULL;
}

static void delay_gives_its_phase(void **state)
{
    (void)state;
    for (size_t late = 0; late < 4; late++) {
        struct tune_record rec = multisine_record(3 * PERIOD + 400);
        struct tune_frf frf;
        struct tune_lines lines;
        pass_through(&rec, late);
        for (int direct = 0; direct < 2; direct++) {
            if (direct) drop(&rec, TUNE_ROLE_EXCITATION);
            estimate(&frf, &lines, &rec);
            assert_int_equal(frf.estimator, TUNE_FRF_PERIODIC);
            assert_int_equal(frf.n, 49);
            assert_false(frf.closed_loop);
            for (size_t k = 0; k < frf.n; k++) {
                const double f = 3.0 + 2.0 * (double)k;
                const double phase = -2.0 * TUNE_PI * f * (double)late / RATE;
                check_close(frf.f_hz[k], f, 1e-12);
                check_close(cabs(frf.g[k] - CMPLX(cos(phase), sin(phase))), 0.0,
                            1e-11); /* rounding */
                check_close(frf.coh[k], 1.0, 1e-12);
            }
            check_close(lines.df_hz, 2.0, 1e-12);
            check_close(frf.band_hz[0], 3.0, 1e-12);
            check_close(frf.band_hz[1], 99.0, 1e-12);
            tune_frf_free(&frf);
            tune_lines_free(&lines);
        }
        small_record_free(&rec);
    }
}

static void late_columns_are_advanced(void **state)
{
    struct tune_record rec = multisine_record(4 * PERIOD);
    struct tune_frf frf;
    (void)state;
    pass_through(&rec, 3);
    rec.delay_samples[TUNE_ROLE_POSITION] = 4.5; /* 3 - 4.5 + 1.5 = 0 */
    rec.delay_samples[TUNE_ROLE_TORQUE] = 1.5;
    for (size_t i = 0; i < rec.n; i++)
        rec.channel[TUNE_ROLE_POSITION][i] += 1e-3 * (double)i; /* a drift in the late column too */
    estimate(&frf, NULL, &rec);
    for (size_t k = 0; k < frf.n; k++)
        check_close(cabs(frf.g[k] - 1.0), 0.0, 1e-11); /* rounding */
    tune_frf_free(&frf);
    small_record_free(&rec);
}

/* Which records count as periodic: by the estimator that was used. */
static enum tune_frf_estimator estimator_for(const double *d, size_t rows)
{
    struct tune_record rec = small_record(rows, RATE);
    struct tune_frf frf;
    struct tune_random rng;
    tune_random_init(&rng, 5, 0);
    memcpy(rec.channel[TUNE_ROLE_EXCITATION], d, rows * sizeof *d);
    for (size_t i = 0; i < rows; i++) {
        rec.channel[TUNE_ROLE_TORQUE][i] = d[i];
        rec.channel[TUNE_ROLE_POSITION][i] = d[i] + 1e-3 * tune_random_normal(&rng);
    }
    estimate(&frf, NULL, &rec);
    const enum tune_frf_estimator estimator = frf.estimator;
    if (estimator == TUNE_FRF_PERIODIC) /* the period, or a divisor for single lines */
        check_close(fmod(PERIOD * frf.f_hz[0] / RATE + 0.5, 1.0), 0.5, 1e-9);
    tune_frf_free(&frf);
    small_record_free(&rec);
    return estimator;
}

static void periods_are_recognised(void **state)
{
    enum { ROWS = 6 * PERIOD + 123 };
    static double d[ROWS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 6, 0);
    small_multisine(d, ROWS, PERIOD, 2, 200, 1);
    assert_int_equal(estimator_for(d, 2 * PERIOD), TUNE_FRF_PERIODIC);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
    assert_int_equal(estimator_for(d + 77, ROWS - 77), TUNE_FRF_PERIODIC);
    for (size_t i = 0; i < ROWS; i++) /* 199 lines of mean square 1/2: 0.5 % of noise */
        d[i] += 0.7 * tune_random_normal(&rng);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
    for (size_t i = 0; i < ROWS; i++) /* 20 % more: no repetition any more */
        d[i] += 4.5 * tune_random_normal(&rng);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_INDIRECT);
    small_multisine(d, ROWS, PERIOD, 1, 301, 2); /* odd lines: the half period is the negative */
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
    memset(d, 0, 700 * sizeof *d); /* quiet ends, periods in between */
    memset(d + ROWS - 500, 0, 500 * sizeof *d);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
    for (size_t i = 0; i < ROWS; i++) /* a bias, many times larger than what changes */
        d[i] = 1e3 + (i % PERIOD < 500 ? 1.0 : -1.0) * sin(0.1 * (double)(i % PERIOD));
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
    for (size_t i = 0; i < ROWS; i++) /* a single tone */
        d[i] = sin(2.0 * TUNE_PI * 0.01 * (double)i);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_PERIODIC);
}

static void sweeps_and_noise_are_not(void **state)
{
    enum { ROWS = 8000 };
    static double d[ROWS];
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 7, 0);
    small_sweep(d, ROWS, RATE, 0.5, 0.5, 2.0, 200.0);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_INDIRECT);
    small_sweep(d, ROWS, RATE, 0.0, 0.0, 50.0, 51.0); /* resembles itself a few cycles later */
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_INDIRECT);
    for (size_t i = 0; i < ROWS; i++)
        d[i] = tune_random_normal(&rng);
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_INDIRECT);
    small_multisine(d, ROWS, 4500, 9, 300, 1); /* less than two periods */
    assert_int_equal(estimator_for(d, ROWS), TUNE_FRF_INDIRECT);
}

static void weak_lines_of_a_measured_torque_do_not_count(void **state)
{
    struct tune_record rec = multisine_record(10 * PERIOD);
    struct tune_frf frf;
    (void)state;
    pass_through(&rec, 0);
    for (size_t i = 0; i < rec.n; i++) /* a drive's distortion: 4 % at lines nobody asked for */
        rec.channel[TUNE_ROLE_TORQUE][i] += 0.04 * sin(2.0 * TUNE_PI * 0.010 * (double)i) +
                                            0.04 * cos(2.0 * TUNE_PI * 0.2 * (double)i);
    drop(&rec, TUNE_ROLE_EXCITATION);
    estimate(&frf, NULL, &rec);
    assert_int_equal(frf.n, 49);
    tune_frf_free(&frf);
    small_record_free(&rec);
}

/* Part of the 95 % regions that hold the true response, over `runs` noisy closed-loop records that begin
 * `settled` periods after rest. */
static double coverage(size_t periods, size_t settled, double drift_per_s, int runs)
{
    struct small_axis axis = small_axis_defaults();
    double inside = 0.0, bins = 0.0;
    axis.torque_noise = 1.0;
    axis.position_noise = 1e-4;
    for (int run = 0; run < runs; run++) {
        struct tune_record rec = multisine_record((periods + settled) * PERIOD);
        struct tune_frf frf;
        small_axis_run(&rec, &axis, 300 + (uint64_t)run);
        rec.n = periods * PERIOD;
        for (int role = TUNE_ROLE_EXCITATION; role <= TUNE_ROLE_POSITION; role++)
            memmove(rec.channel[role], rec.channel[role] + settled * PERIOD,
                    rec.n * sizeof(double));
        for (size_t i = 0; i < rec.n; i++)
            rec.channel[TUNE_ROLE_POSITION][i] += drift_per_s * (double)i / RATE;
        estimate(&frf, NULL, &rec);
        assert_int_equal(frf.estimator, TUNE_FRF_PERIODIC);
        assert_true(frf.closed_loop);
        for (size_t k = 0; k < frf.n; k++) {
            const double off = cabs(frf.g[k] - small_axis_response(&axis, frf.f_hz[k]));
            inside += off <= frf.std[k] * sqrt(tune_f95_two(2.0 * frf.dof[k]));
            bins += 1.0;
        }
        tune_frf_free(&frf);
        small_record_free(&rec);
    }
    return inside / bins;
}

static void regions_cover_the_true_response(void **state)
{
    static const size_t periods[] = {2, 3, 6, 15};
    const int runs = 8 * (int)check_multiplier();
    /* statistical, 4 sigma: binomial, 49 lines a run */
    const double allowed = 4.0 * sqrt(0.95 * 0.05 / (49.0 * runs));
    (void)state;
    for (int p = 0; p < 4; p++)
        check_close(coverage(periods[p], 2, 0.0, runs), 0.95, allowed);
}

static void transients_and_drift_do_not_spoil_the_regions(void **state)
{
    const int runs = 8 * (int)check_multiplier();
    const double allowed = 4.0 * sqrt(0.95 * 0.05 / (49.0 * runs)); /* statistical, 4 sigma */
    (void)state;
    check_close(coverage(8, 0, 0.0, runs), 0.95, allowed);  /* from rest */
    check_close(coverage(3, 2, 0.02, runs), 0.95, allowed); /* a ramp, larger than the response */
}

/* Noise of the lines is what the regions say: |Y - G U|^2 / var has the mean q/(q - 1). */
static void lines_have_the_variance_they_claim(void **state)
{
    struct small_axis axis = small_axis_defaults();
    double sum = 0.0, count = 0.0, dof = 0.0;
    (void)state;
    axis.kp = axis.kd = 0.0; /* open: no cancelling of the two noises */
    axis.drag = 20.0;
    axis.position_noise = 1e-3;
    for (int run = 0; run < 40; run++) {
        struct tune_record rec = multisine_record(6 * PERIOD);
        struct tune_frf frf;
        struct tune_lines lines;
        small_axis_run(&rec, &axis, 400 + (uint64_t)run);
        estimate(&frf, &lines, &rec);
        assert_false(frf.closed_loop);
        assert_int_equal(lines.n, frf.n);
        dof = frf.dof[0];
        for (size_t k = 0; k < lines.n; k++) {
            const double complex g = small_axis_response(&axis, lines.f_hz[k]);
            check_close(lines.var_u[k], 0.0, 1e-20); /* the torque repeats to rounding */
            sum += pow(cabs(lines.y[k] - g * lines.u[k]), 2.0) / lines.var_y[k];
            count += 1.0;
            check_close(cabs(lines.y[k] / lines.u[k] - frf.g[k]), 0.0, 1e-12 * cabs(frf.g[k]));
        }
        tune_frf_free(&frf);
        tune_lines_free(&lines);
        small_record_free(&rec);
    }
    /* statistical, 4 sigma: F with 2 and 2 q degrees of freedom, q = 13, has the relative standard
     * deviation sqrt(q/(q - 2)) */
    check_close(dof, 13.0, 0.0);
    check_close_rel(sum / count, dof / (dof - 1.0), 4.0 * sqrt(dof / (dof - 2.0) / count));
}

static void a_wild_first_period_is_left_out(void **state)
{
    struct tune_record rec = multisine_record(10 * PERIOD);
    struct tune_frf frf;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 9, 0);
    pass_through(&rec, 0);
    for (size_t i = 0; i < rec.n; i++) {
        rec.channel[TUNE_ROLE_POSITION][i] += 1e-3 * tune_random_normal(&rng);
        /* sticking, say: no smooth transient */
        if (i < PERIOD) rec.channel[TUNE_ROLE_POSITION][i] *= i % 37 < 20 ? 0.2 : 1.0;
    }
    estimate(&frf, NULL, &rec);
    for (size_t k = 0; k < frf.n; k++) /* statistical: 6 sigma of white noise over 9 periods */
        check_close(cabs(frf.g[k] - 1.0), 0.0, 6.0 * 1e-3 * 2.0 / sqrt(9.0 * PERIOD));
    tune_frf_free(&frf);
    small_record_free(&rec);
}

static void periods_between_quiet_ends_are_used(void **state)
{
    struct tune_record rec = multisine_record(6 * PERIOD);
    struct small_axis axis = small_axis_defaults();
    struct tune_frf frf;
    (void)state;
    memset(rec.channel[TUNE_ROLE_EXCITATION], 0, PERIOD / 2 * sizeof(double));
    memset(rec.channel[TUNE_ROLE_EXCITATION] + 5 * PERIOD + 100, 0,
           (PERIOD - 100) * sizeof(double));
    axis.kp = 200.0;
    axis.kd = 40.0;
    axis.zeta = 0.2;
    small_axis_run(&rec, &axis, 1);
    estimate(&frf, NULL, &rec);
    assert_int_equal(frf.estimator, TUNE_FRF_PERIODIC);
    for (size_t k = 0; k < frf.n; k++) /* model: what the transient leaves, no noise */
        check_close(cabs(frf.g[k] / small_axis_response(&axis, frf.f_hz[k]) - 1.0), 0.0, 1e-3);
    tune_frf_free(&frf);
    small_record_free(&rec);
}

static void lines_outside_the_band_are_left_out(void **state)
{
    struct tune_record rec = multisine_record(4 * PERIOD);
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_frf frf;
    struct tune_error err;
    (void)state;
    pass_through(&rec, 1);
    opts.band_hz[0] = 10.0;
    opts.band_hz[1] = 20.0;
    assert_int_equal(tune_frf_estimate(&frf, NULL, &rec, &opts, &err), TUNE_OK);
    assert_int_equal(frf.n, 5);
    check_close(frf.band_hz[0], 11.0, 1e-12);
    check_close(frf.band_hz[1], 19.0, 1e-12);
    tune_frf_free(&frf);
    opts.band_hz[0] = 150.0;
    opts.band_hz[1] = 160.0;
    assert_int_equal(tune_frf_estimate(&frf, NULL, &rec, &opts, &err), TUNE_EDATA);
    assert_null(frf.g);
    opts = tune_frf_defaults();
    opts.lpm.half_width = 2;
    assert_int_equal(tune_frf_estimate(&frf, NULL, &rec, &opts, &err), TUNE_EINVAL);
    opts.lpm.half_width = PERIOD / 2;
    assert_int_equal(tune_frf_estimate(&frf, NULL, &rec, &opts, &err), TUNE_EDATA);
    small_record_free(&rec);
}

static void no_memory_leaves_nothing_behind(void **state)
{
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_record rec = multisine_record(4 * PERIOD);
    struct tune_frf frf;
    struct tune_lines lines;
    struct tune_error err;
    enum tune_status status;
    unsigned long k = 0;
    (void)state;
    pass_through(&rec, 1);
    for (;;) {
        check_fail_allocation(++k);
        status = tune_frf_estimate(&frf, &lines, &rec, &opts, &err);
        if (!check_allocation_failed()) break;
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(frf.g);
        assert_null(lines.y);
    }
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 30);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    small_record_free(&rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(delay_gives_its_phase),
        cmocka_unit_test(late_columns_are_advanced),
        cmocka_unit_test(periods_are_recognised),
        cmocka_unit_test(sweeps_and_noise_are_not),
        cmocka_unit_test(weak_lines_of_a_measured_torque_do_not_count),
        cmocka_unit_test(regions_cover_the_true_response),
        cmocka_unit_test(transients_and_drift_do_not_spoil_the_regions),
        cmocka_unit_test(lines_have_the_variance_they_claim),
        cmocka_unit_test(a_wild_first_period_is_left_out),
        cmocka_unit_test(periods_between_quiet_ends_are_used),
        cmocka_unit_test(lines_outside_the_band_are_left_out),
        cmocka_unit_test(no_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
