/* test_tones.c - |S| at injected tones: from made-up signals, and from the simulated axis against its definition.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "jitter/tones.h"
#include "plant/model.h"
#include "simulation/axis.h"
#include "support/axis_matrix.h"

static const double rate = 1000.0;

/* A tone of amplitude a from..to; its answer is s times that, turned. */
static void add_tone(double *excitation, double *torque, size_t from, size_t to, double f_hz,
                     double a, double complex s)
{
    for (size_t i = from; i < to; i++) {
        const double complex turn =
            cexp(CMPLX(0.0, 2.0 * TUNE_PI * f_hz * (double)(i - from) / rate));
        excitation[i] += a * cimag(turn);
        torque[i] += a * cimag(s * turn);
    }
}

static void tones_one_after_the_other_come_back(void **state)
{
    enum { N = 60000 };
    double *d = calloc(N, sizeof *d), *u = calloc(N, sizeof *u);
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_error err;
    size_t n;
    (void)state;
    assert_true(d && u);
    add_tone(d, u, 1000, 21000, 1.2345, 2.0, CMPLX(0.3, 0.4));
    add_tone(d, u, 22000, 40000, 6.5, 0.5, CMPLX(0.0, 1.2));
    add_tone(d, u, 41000, 59000, 12.8, 0.1, CMPLX(-1.7, 0.0));
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 3);
    check_close_rel(tone[0].f_hz, 1.2345, 1e-4);
    check_close_rel(tone[0].torque_nm, 2.0, 1e-3);
    check_close_rel(tone[0].sensitivity.value, 0.5, 1e-3);
    check_close_rel(tone[1].sensitivity.value, 1.2, 1e-3);
    check_close_rel(tone[2].sensitivity.value, 1.7, 1e-3);
    check_between(tone[2].from_s, 44.0, 45.0);
    free(d);
    free(u);
}

static void three_at_once_are_told_apart(void **state)
{
    enum { N = 40000 };
    double *d = calloc(N, sizeof *d), *u = calloc(N, sizeof *u);
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_error err;
    size_t n;
    (void)state;
    assert_true(d && u);
    add_tone(d, u, 0, N, 2.0, 1.5, 0.6);
    add_tone(d, u, 0, N, 4.65, 0.4, 1.0);
    add_tone(d, u, 0, N, 7.85, 0.2, 1.2);
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 3);
    check_close_rel(tone[0].sensitivity.value, 0.6, 1e-3);
    check_close_rel(tone[1].sensitivity.value, 1.0, 1e-3);
    check_close_rel(tone[2].sensitivity.value, 1.2, 1e-3);
    free(d);
    free(u);
}

/* What gravity and a slope of it hold is a hundred times the tone, over 5.2 periods of it. */
static void an_axis_out_of_balance_is_measured_as_well(void **state)
{
    enum { N = 20000 };
    double *d = calloc(N, sizeof *d), *u = calloc(N, sizeof *u);
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_error err;
    size_t n;
    (void)state;
    assert_true(d && u);
    for (size_t i = 0; i < N; i++)
        u[i] = 20.0 + 3.0 * (double)i / N;
    add_tone(d, u, 0, N, 5.2 / (0.8 * N / rate), 0.2, CMPLX(0.0, 0.7));
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 1);
    /* the line that is fitted takes 1/(pi 5.2)^2 of the tone along at most; Hann passes 2e-3 of that */
    check_close_rel(tone[0].sensitivity.value, 0.7, 1e-3);
    check_between(tone[0].sensitivity.std, 0.0, 0.01);
    u[N - 1] = NAN;
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_EDATA);
    free(d);
    free(u);
}

/* The std holds what white noise does: 1000 tones, chi-square of their errors. */
static void the_std_is_that_of_the_noise(void **state)
{
    enum { N = 8000, RUNS = 1000 };
    double *d = calloc(N, sizeof *d), *u = calloc(N, sizeof *u);
    struct tune_random rng;
    double sum = 0.0, claimed = 0.0, actual = 0.0, within = 0.0;
    (void)state;
    assert_true(d && u);
    tune_random_init(&rng, 5, 0);
    for (int run = 0; run < RUNS; run++) {
        struct tune_tone tone[TUNE_TONES_MAX];
        struct tune_error err;
        size_t n;
        for (size_t i = 0; i < N; i++) {
            d[i] = 0.0;
            u[i] = 0.5 * tune_random_normal(&rng);
        }
        add_tone(d, u, 0, N, 3.0 + 5.0 * tune_random_uniform(&rng), 1.0, CMPLX(0.5, 0.6));
        assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
        assert_int_equal(n, 1);
        const double error = tone[0].sensitivity.value - hypot(0.5, 0.6);
        sum += error;
        within += fabs(error) < 1.96 * tone[0].sensitivity.std;
        actual += error * error;
        claimed += tone[0].sensitivity.std * tone[0].sensitivity.std;
    }
    /* 1.5 psd/(T a^2), psd = 2 0.25/rate, at T = 0.8 N/rate; std of that ratio: 0.022 */
    check_between(sqrt(actual / (RUNS * 1.5 * 0.5 / (0.8 * N))), 0.92, 1.08);
    /* from twelve lines, 13.5 degrees of freedom: 2.15/1.96 wider, so that 95 % hold (4 std: 0.028) */
    check_between(sqrt(claimed / actual), 1.02, 1.18);
    check_between(within / RUNS, 0.922, 0.978);
    check_between(sum / sqrt(RUNS * actual), -0.13, 0.13); /* 4 std of the mean */
    free(d);
    free(u);
}

static void what_is_no_tone_is_none(void **state)
{
    enum { N = 20000 };
    double *d = calloc(N, sizeof *d), *u = calloc(N, sizeof *u);
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_random rng;
    struct tune_error err;
    size_t n = 7;
    (void)state;
    assert_true(d && u);
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 0); /* silence */
    tune_random_init(&rng, 6, 0);
    for (size_t i = 0; i < N; i++)
        d[i] = tune_random_normal(&rng);
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 0);
    for (size_t i = 0; i < N; i++) { /* 1 to 41 Hz */
        const double t = (double)i / rate;
        d[i] = sin(2.0 * TUNE_PI * (t + t * t));
    }
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 0);
    for (size_t i = 0; i < N; i++) /* four periods */
        d[i] = sin(2.0 * TUNE_PI * 4.0 * (double)i / N);
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, rate, &err), TUNE_OK);
    assert_int_equal(n, 0);
    assert_int_equal(tune_tones_measure(tone, &n, d, u, N, 0.0, &err), TUNE_EINVAL);
    free(d);
    free(u);
}

/* S of the example's loop. */
static double complex sensitivity(const struct tune_plant *plant, const struct tune_controller *c,
                                  double f_hz)
{
    double complex g, k;
    tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_controller_eval(&k, c, &f_hz, 1);
    return 1.0 / (1.0 + g * k);
}

/* What of drive noise and wind at the motor's side comes back as torque, T of it, N m^2/Hz; with a Hann window
 * (1.5 bins of noise) over T seconds var |S| = 1.5 psd/(T a^2). The amplitude for a std of 1 % of |S|. */
static double amplitude_for(const struct tune_axis *axis, const struct tune_controller *c,
                            double f_hz, double seconds)
{
    const double complex s = sensitivity(&axis->plant, c, f_hz);
    const double psd = pow(axis->drive_noise_nm_per_rthz, 2.0) + tune_axis_wind_psd(axis, f_hz);
    return sqrt(1.5 * psd / seconds) * cabs(1.0 - s) / (0.01 * cabs(s));
}

/* The axis of the examples in wind and noise: what is measured is 1/(1 + G C), within its std. */
static void on_the_simulated_axis_it_is_the_sensitivity_of_the_loop(void **state)
{
    enum { N = 160000, HALF = N / 2, SILENT = 4000 };
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_controller c = axis_example_controller();
    double *d = calloc(N, sizeof *d);
    const double f_hz[] = {4.0, 11.0};
    struct tune_axis_run run = {.n = N, .controller = &c, .seed = 3, .settle = 20000};
    struct tune_axis_trace trace;
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_error err;
    double amplitude[2];
    size_t n;
    (void)state;
    assert_true(d != NULL);
    axis.plant = axis_example_plant();
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.wind_rms_nm = 2.0;
    axis.wind_corner_hz = 0.3;
    axis.encoder_noise_rad = 1e-8;
    for (size_t i = 0; i < 2; i++)
        amplitude[i] = amplitude_for(&axis, &c, f_hz[i], 0.8 * (HALF - SILENT) / 4000.0);
    for (size_t i = 0; i < N; i++)
        if (i % HALF > SILENT)
            d[i] = amplitude[i / HALF] *
                   sin(2.0 * TUNE_PI * f_hz[i / HALF] * (double)(i % HALF) / 4000.0);
    run.excitation_nm = d;
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, NULL, &err), TUNE_OK);
    assert_int_equal(tune_tones_measure(tone, &n, d, trace.torque_nm, N, 4000.0, &err), TUNE_OK);
    assert_int_equal(n, 2);
    for (size_t i = 0; i < 2; i++) {
        const double want = cabs(sensitivity(&axis.plant, &c, f_hz[i]));
        check_close_rel(tone[i].f_hz, f_hz[i], 1e-4);
        /* 1 % asked; estimated from a dozen lines: within a factor of 2 (statistical, 4 std) */
        check_between(tone[i].sensitivity.std / want, 0.005, 0.02);
        check_between((tone[i].sensitivity.value - want) / tone[i].sensitivity.std, -4.0, 4.0);
    }
    tune_axis_trace_free(&trace);
    free(d);
}

static void no_memory_is_reported(void **state)
{
    enum { N = 4000 };
    static double d[N], u[N];
    struct tune_tone tone[TUNE_TONES_MAX];
    struct tune_error err;
    size_t n;
    unsigned long k = 0;
    bool refused = true;
    (void)state;
    add_tone(d, u, 0, N, 10.0, 1.0, 0.5);
    while (refused) {
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_tones_measure(tone, &n, d, u, N, rate, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
    }
    assert_true(k > 2);
    assert_int_equal(n, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tones_one_after_the_other_come_back),
        cmocka_unit_test(three_at_once_are_told_apart),
        cmocka_unit_test(an_axis_out_of_balance_is_measured_as_well),
        cmocka_unit_test(the_std_is_that_of_the_noise),
        cmocka_unit_test(what_is_no_tone_is_none),
        cmocka_unit_test(no_memory_is_reported),
        cmocka_unit_test(on_the_simulated_axis_it_is_the_sensitivity_of_the_loop),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
