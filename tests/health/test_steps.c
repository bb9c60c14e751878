/* test_steps.c - the grid of the positions: the encoder's, the digits', that of single precision.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

static const double arcsec = TUNE_PI / 648000.0;

/* As a file that holds the angle in that unit with so many decimals would be read. */
static void write_and_read(struct log *log, double unit, int decimals)
{
    double *x = log->rec.channel[TUNE_ROLE_POSITION];
    char text[64];
    log->rec.unit_scale[TUNE_ROLE_POSITION] = unit;
    for (size_t k = 0; k < log->rec.n; k++) {
        (void)snprintf(text, sizeof text, "%.*f", decimals, x[k] / unit);
        x[k] = unit * strtod(text, NULL);
    }
}

static void quantise(struct log *log, double step)
{
    double *x = log->rec.channel[TUNE_ROLE_POSITION];
    for (size_t k = 0; k < log->rec.n; k++)
        x[k] = step * floor(x[k] / step + 0.5);
}

static double step_seen(const struct log *log)
{
    return judge(log).measures.step_rad;
}

/* The step is told exactly through the rounding of the digits, on a fast ramp and at rest. */
static void the_step_is_measured_through_the_digits(void **state)
{
    (void)state;
    for (int i = 0; i < 24; i++) {
        struct log log = plain(20000, i % 2 ? 5e-3 : 0.0);
        const double step = 3.1e-8 * pow(1.7, i);
        add_noise(&log, 1.5 * step, (uint64_t)i);
        quantise(&log, step);
        write_and_read(&log, arcsec, 6);
        /* six decimals of an arcsecond are 5e-12 rad */
        check_close_rel(step_seen(&log), step, 1e-4);
        tune_record_free(&log.rec);
    }
}

static void digits_coarser_than_the_encoder_are_the_step(void **state)
{
    struct log log = plain(20000, 1e-4);
    (void)state;
    add_noise(&log, 1e-8, 1);
    write_and_read(&log, arcsec, 1);
    log.opts.encoder_step_rad = 2.0 * TUNE_PI / 268435456.0;
    const struct tune_finding found = expect_one(&log, "quantisation-coarse", TUNE_WITH_CARE);
    check_close_rel(found.value, 0.1 * arcsec / log.opts.encoder_step_rad, 1e-6);
    tune_record_free(&log.rec);

    log = plain(20000, 1e-4); /* multiples of 0.05, which one decimal does not hold */
    add_noise(&log, 1e-6, 1);
    quantise(&log, 0.05 * arcsec);
    write_and_read(&log, arcsec, 2);
    check_close_rel(step_seen(&log), 0.05 * arcsec, 1e-9);
    tune_record_free(&log.rec);
}

/* Declared coarser than what is there: values between the counts. On the counts: nothing. */
static void values_between_the_declared_counts_are_told(void **state)
{
    (void)state;
    for (int seed = 0; seed < 20; seed++) {
        struct log log = plain(20000, 1e-4);
        const double step = 2.0 * TUNE_PI / 67108864.0;
        add_noise(&log, 1.5 * step, (uint64_t)seed);
        quantise(&log, step);
        write_and_read(&log, arcsec, 6);
        log.opts.encoder_step_rad = step;
        expect_clean(&log, "on the counts", (unsigned)seed);
        log.opts.encoder_step_rad = 4.0 * step;
        const struct tune_finding found = expect_one(&log, "quantisation-fine", TUNE_WITH_CARE);
        check_close_rel(found.value, 0.25, 1e-4);
        tune_record_free(&log.rec);
    }
}

/* 20 counts a row: the speed is no grid. In counts and in arcsec; exactly as many, or not quite; with a second
 * ramp twice as fast; quiet, or with single counts of noise. */
static void a_ramp_of_many_counts_a_row_is_no_coarse_step(void **state)
{
    static const double counts_a_row[] = {20.0, 7201.3 / 360.0, 40.0, 19.99};
    const double step = 0.36 * arcsec;
    (void)state;
    for (int i = 0; i < 64; i++) {
        struct log log = plain(20000, 0.0);
        double *t = log.rec.channel[TUNE_ROLE_TARGET];
        const double speed = counts_a_row[i % 4] * step;
        t[0] = 0.3 * step;
        for (size_t k = 1; k < log.rec.n; k++)
            t[k] = t[k - 1] + (i & 4 && k > 8000 ? fmin(2.0, (double)k / 8000.0) : 1.0) * speed;
        add_noise(&log, i & 8 ? 0.02 * step : 0.0, (uint64_t)i);
        quantise(&log, step);
        write_and_read(&log, i & 16 ? step : arcsec, i & 16 ? 0 : 2 + (i & 32) / 16);
        log.opts.encoder_step_rad = step;
        expect_clean(&log, "a fast ramp", (unsigned)i);
        tune_record_free(&log.rec);
    }
}

/* ---- single precision ----------------------------------------------------------------------------*/

/* The spacing of single precision doubles at every power of two (IEEE 754): 2^-18 = 3.8e-6 from 32 to 64. */
static void single_precision_is_found_with_its_step(void **state)
{
    static const struct {
        double unit, at, spacing;
    } kind[] = {{TUNE_PI / 180.0, 50.0, 0x1p-18},
                {TUNE_PI / 180.0, -170.0, 0x1p-16},
                {arcsec, 2e5, 0x1p-6},
                {1.0, 0.9, 0x1p-24}};
    (void)state;
    for (size_t i = 0; i < sizeof kind / sizeof *kind; i++) {
        struct log log = plain(20000, 3e-5);
        double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
        for (size_t k = 0; k < log.rec.n; k++)
            t[k] += kind[i].unit * kind[i].at - 0.3;
        add_noise(&log, 1e-8, i);
        log.rec.unit_scale[TUNE_ROLE_POSITION] = kind[i].unit;
        for (size_t k = 0; k < log.rec.n; k++)
            x[k] = kind[i].unit * (double)(float)(x[k] / kind[i].unit);
        log.opts.encoder_step_rad = 1e-8;
        const struct tune_finding found = expect_one(&log, "position-float32", TUNE_WITH_CARE);
        check_close_rel(found.value, kind[i].spacing * kind[i].unit / arcsec, 1e-9);
        log.opts.jitter_rms_rad = 0.2 * kind[i].spacing * kind[i].unit; /* below step/sqrt(12) */
        const struct tune_health health = judge(&log);
        assert_int_equal(find(&health, "position-float32")->severity, TUNE_UNFIT);
        log.opts.jitter_rms_rad = 0.0;
        log.opts.encoder_step_rad =
            kind[i].spacing * kind[i].unit; /* no coarser than the encoder */
        const struct tune_health harmless = judge(&log);
        assert_null(find(&harmless, "position-float32"));
        tune_record_free(&log.rec);
    }
}

/* Counts that pass 2^24, from where on single precision holds every other one only; most rows are below. */
static void counts_beyond_single_precision_are_told_from_those_through_it(void **state)
{
    const double unit = 2.0 * TUNE_PI / 268435456.0;
    (void)state;
    for (int through = 0; through < 2; through++) {
        struct log log = plain(20000, 3e-5);
        double *x = log.rec.channel[TUNE_ROLE_POSITION], *t = log.rec.channel[TUNE_ROLE_TARGET];
        for (size_t k = 0; k < log.rec.n; k++)
            t[k] = unit * (16777216.0 - 400.0 + 600.0 * (double)k / (double)log.rec.n);
        add_noise(&log, 2.0 * unit, 7);
        log.rec.unit_scale[TUNE_ROLE_POSITION] = unit;
        for (size_t k = 0; k < log.rec.n; k++) {
            const double counts = round(x[k] / unit);
            x[k] = unit * (through ? (double)(float)counts : counts);
        }
        log.opts.encoder_step_rad = unit;
        const struct tune_health health = judge(&log);
        assert_int_equal(find(&health, "position-float32") != NULL, through);
        tune_record_free(&log.rec);
    }
}

static void doubles_counts_and_decimals_are_not_taken_for_single_precision(void **state)
{
    (void)state;
    for (int seed = 0; seed < 200; seed++) {
        struct log log = plain(2000, 1e-4);
        double *x = log.rec.channel[TUNE_ROLE_POSITION];
        add_noise(&log, 1e-6, (uint64_t)seed);
        if (seed % 4 == 1) write_and_read(&log, arcsec, seed % 7);
        if (seed % 4 == 2) write_and_read(&log, TUNE_PI / 180.0, 3 + seed % 7);
        if (seed % 4 == 3) {
            log.rec.unit_scale[TUNE_ROLE_POSITION] = 2.0 * TUNE_PI / 16777216.0;
            for (size_t k = 0; k < log.rec.n; k++)
                x[k] = 2.0 * TUNE_PI / 16777216.0 * round(x[k] / (2.0 * TUNE_PI / 16777216.0));
        }
        log.opts.jitter_rms_rad = 1e-12;
        const struct tune_health health = judge(&log);
        assert_null(find(&health, "position-float32"));
        tune_record_free(&log.rec);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_step_is_measured_through_the_digits),
        cmocka_unit_test(digits_coarser_than_the_encoder_are_the_step),
        cmocka_unit_test(values_between_the_declared_counts_are_told),
        cmocka_unit_test(a_ramp_of_many_counts_a_row_is_no_coarse_step),
        cmocka_unit_test(single_precision_is_found_with_its_step),
        cmocka_unit_test(counts_beyond_single_precision_are_told_from_those_through_it),
        cmocka_unit_test(doubles_counts_and_decimals_are_not_taken_for_single_precision),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
