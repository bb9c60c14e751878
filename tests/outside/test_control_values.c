/* test_control_values.c - margins, peaks and filters against values from outside.
 *
 * "From memory" marks a source whose printed page was not seen; the figures themselves were
 * recomputed with numpy, scipy and Octave's control package. Tolerances are the digits given.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <gsl/gsl_integration.h>

#include "control/loop.h"
#include "core/units.h"
#include "support/axis_matrix.h"

typedef double complex transfer(double complex s);

/* A continuous loop, from far below to far above its corners. */
static void eval_continuous(void *user, double complex *l, const double *f_hz, size_t n)
{
    transfer *const *function = user;
    for (size_t i = 0; i < n; i++)
        l[i] = (*function)(CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i]));
}

static struct tune_loop continuous(transfer **function)
{
    return (struct tune_loop){
        .eval = eval_continuous, .user = function, .f_low_hz = 1e-6, .f_high_hz = 1e6};
}

/* A discrete loop at 1 Hz, function of z, up to half the rate. */
static void eval_discrete(void *user, double complex *l, const double *f_hz, size_t n)
{
    transfer *const *function = user;
    for (size_t i = 0; i < n; i++)
        l[i] = (*function)(cexp(CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i])));
}

static struct tune_loop discrete(transfer **function)
{
    return (struct tune_loop){.eval = eval_discrete,
                              .user = function,
                              .f_low_hz = 1e-6,
                              .f_high_hz = 0.5,
                              .to_half_rate = true};
}

static struct tune_margins margins_of(const struct tune_loop *loop)
{
    struct tune_error err;
    struct tune_margins m;
    assert_int_equal(tune_loop_margins(&m, loop, &err), TUNE_OK);
    return m;
}

static double count_of(const struct tune_loop *loop, double boundary, double unstable)
{
    struct tune_error err;
    double count;
    assert_int_equal(tune_loop_unstable_poles(&count, loop, boundary, unstable, &err), TUNE_OK);
    return count;
}

/* 1/(s (s + 1)^2): G. F. Franklin, J. D. Powell, A. Emami-Naeini, Feedback Control of Dynamic
 * Systems (from memory); gain margin 2 exactly. */
static double complex triple_lag(double complex s)
{
    return 1.0 / (s * (s + 1.0) * (s + 1.0));
}

static void margins_of_an_integrator_with_two_lags(void **state)
{
    transfer *function = triple_lag;
    const struct tune_loop loop = continuous(&function);
    const struct tune_margins m = margins_of(&loop);
    (void)state;
    check_close(m.gain_margin, 2.0, 1e-11);
    check_close(m.gain_margin_hz, 1.0 / (2.0 * TUNE_PI), 1e-12);
    check_close(tune_deg_from_rad(m.phase_margin_rad), 21.386, 5e-4);
    check_close(m.sens_peak, 3.3671, 5e-5);
    check_close(m.comp_sens_peak, 2.8798, 5e-5);
    assert_true(isinf(m.gain_reduction_margin) && isnan(m.gain_reduction_margin_hz));
    assert_int_equal(m.n_gain_crossings, 1);
    assert_int_equal(m.n_phase_crossings, 1);
    check_close(count_of(&loop, 1.0, 0.0), 0.0, 1e-4);
}

/* 3/(s + 1)^3: K. J. Astrom, R. M. Murray, Feedback Systems (from memory: 2.67, 41.7 deg). Exact
 * gain margin 8/3, peak sensitivity 2.2000, delay margin 0.70014 s. */
static double complex three_lags(double complex s)
{
    return 3.0 / ((s + 1.0) * (s + 1.0) * (s + 1.0));
}

static void margins_of_three_lags(void **state)
{
    transfer *function = three_lags;
    const struct tune_loop loop = continuous(&function);
    const struct tune_margins m = margins_of(&loop);
    (void)state;
    check_close(m.gain_margin, 8.0 / 3.0, 1e-11);
    check_close(tune_deg_from_rad(m.phase_margin_rad), 41.690, 5e-4);
    check_close(m.sens_peak, 2.2000, 5e-5);
    check_close(1.0 / m.sens_peak, 0.4545, 5e-5);
    check_close(m.comp_sens_peak, 1.5798, 5e-5);
    check_close(m.delay_margin_s, 0.70014, 5e-6);
    /* |L| = 1 where (1 + w^2)^3 = 9 */
    check_close(m.crossover_hz, sqrt(cbrt(9.0) - 1.0) / (2.0 * TUNE_PI), 1e-13);
    check_close(m.top_crossing_hz, m.crossover_hz, 0.0);
}

/* Ziegler-Nichols PI on 3 (1 - 2 s)/((5 s + 1)(10 s + 1)): S. Skogestad, I. Postlethwaite,
 * Multivariable Feedback Control, ch. 2 (from memory: GM 1.63, PM 19.4 deg, Ms 3.92, Mt 3.35). */
static double complex ziegler_nichols(double complex s)
{
    const double gain = 2.5 / 2.2, time = 12.699;
    return gain * (1.0 + 1.0 / (time * s)) * 3.0 * (1.0 - 2.0 * s) /
           ((5.0 * s + 1.0) * (10.0 * s + 1.0));
}

static void margins_of_a_ziegler_nichols_loop(void **state)
{
    transfer *function = ziegler_nichols;
    const struct tune_loop loop = continuous(&function);
    const struct tune_margins m = margins_of(&loop);
    (void)state;
    check_close(m.gain_margin, 1.6349, 5e-5);
    check_close(tune_deg_from_rad(m.phase_margin_rad), 19.428, 5e-4);
    /* one unit of the last digit: the time constant is rounded (Pu/1.2 = 12.69914 gives 3.91415) */
    check_close(m.sens_peak, 3.9141, 1e-4);
    check_close(m.comp_sens_peak, 3.3448, 1e-4);
    check_close(m.delay_margin_s, 1.4342, 5e-5);
    check_close(count_of(&loop, 1.0, 0.0), 0.0, 1e-3);
}

/* Ultimate gain of (s + 1)^-n: sec(pi/n)^n at tan(pi/n) rad/s, an identity; plants of the test batch
 * of K. J. Astrom, T. Hagglund. */
static int lags;

static double complex many_lags(double complex s)
{
    double complex l = 1.0;
    for (int i = 0; i < lags; i++)
        l /= s + 1.0;
    return l;
}

static void ultimate_gain_of_equal_lags(void **state)
{
    static const double ultimate[][3] = {{3, 8.0, 1.7320508}, {4, 4.0, 1.0}, {8, 1.88398, 0.41421}};
    transfer *function = many_lags;
    const struct tune_loop loop = continuous(&function);
    (void)state;
    for (int i = 0; i < 3; i++) {
        struct tune_margins m;
        lags = (int)ultimate[i][0];
        m = margins_of(&loop);
        check_close(m.gain_margin, ultimate[i][1], 1e-5);
        check_close(2.0 * TUNE_PI * m.gain_margin_hz, ultimate[i][2], 1e-5);
        check_close_rel(m.gain_margin, pow(1.0 / cos(TUNE_PI / lags), lags), 1e-11);
    }
}

/* 0.374 (z - 0.85)/z * (z + 1)/(2 (z - 1)^2), T = 1: a held double integrator under PD. Recomputed
 * from the closed-loop root at radius 1 and with `margin` of Octave's control package. */
static double complex double_integrator(double complex z)
{
    return 0.374 * (z - 0.85) / z * 0.5 * (z + 1.0) / ((z - 1.0) * (z - 1.0));
}

static void margins_of_a_discrete_double_integrator(void **state)
{
    transfer *function = double_integrator;
    const struct tune_loop loop = discrete(&function);
    const struct tune_margins m = margins_of(&loop);
    (void)state;
    check_close(2.0 * TUNE_PI * m.crossover_hz, 0.372290, 1e-6);
    check_close(tune_deg_from_rad(m.phase_margin_rad), 45.3757, 1e-4);
    check_close(m.gain_margin, 5.271078, 1e-6);
    check_close(m.sens_peak, 1.47400, 1e-5);
    check_close(m.comp_sens_peak, 1.44746, 1e-5);
    check_close(m.delay_margin_s, 2.1272, 1e-4);
    check_close(count_of(&loop, 2.0, 0.0), 0.0, 1e-4);
}

/* 25/s behind a hold, T = 0.01 s: K T/(z - 1). Real and negative at half the rate only, so that the
 * gain margin 2/(K T) = 8 is found there or nowhere; an identity, checked with Octave. */
static double complex held_integrator(double complex z)
{
    return 0.25 / (z - 1.0);
}

static void a_margin_at_half_the_rate_is_found(void **state)
{
    transfer *function = held_integrator;
    struct tune_loop loop = discrete(&function);
    struct tune_margins m = margins_of(&loop);
    (void)state;
    check_close(m.gain_margin, 8.0, 1e-13);
    check_close(m.gain_margin_hz, 0.5, 0.0);
    check_close(tune_deg_from_rad(m.phase_margin_rad), 82.81924, 1e-5);
    check_close(100.0 * 2.0 * TUNE_PI * m.crossover_hz, 25.06557, 1e-5);
    check_close(count_of(&loop, 1.0, 0.0), 0.0, 1e-5);
    /* a search that stops short of it must not invent the crossing */
    loop.to_half_rate = false;
    loop.f_high_hz = 0.4999;
    m = margins_of(&loop);
    assert_true(isinf(m.gain_margin));
}

/* ---- Bode's integral in discrete time ----------------------------------------------------------
 * (1/pi) integral over 0..pi of ln|S| = sum ln|unstable open-loop poles|: H.-K. Sung, S. Hara,
 * Int. J. Control 48, 1988 (from memory). */

static double complex unstable_pole(double complex z)
{
    return 1.5 / (z - 1.25);
}

static double log_sens(double omega, void *user)
{
    transfer *const *function = user;
    return -log(cabs(1.0 + (*function)(cexp(CMPLX(0.0, omega)))));
}

static double bode_integral(transfer *function)
{
    gsl_integration_workspace *work = gsl_integration_workspace_alloc(1000);
    const gsl_function integrand = {log_sens, &function};
    double value, error;
    assert_non_null(work);
    assert_int_equal(
        gsl_integration_qags(&integrand, 0.0, TUNE_PI, 1e-11, 1e-11, 1000, work, &value, &error),
        0);
    gsl_integration_workspace_free(work);
    return value / TUNE_PI;
}

static void sensitivity_integral_is_that_of_the_open_poles(void **state)
{
    transfer *function = unstable_pole;
    const struct tune_loop loop = discrete(&function);
    (void)state;
    check_close(bode_integral(double_integrator), 0.0, 1e-9);
    check_close(bode_integral(unstable_pole), 0.223143551, 1e-9);
    /* the same loop counted: its unstable open pole is caught, the closed pole lies at -0.25 */
    check_close(count_of(&loop, 0.0, 1.0), 0.0, 1e-4);
    function = held_integrator;
    check_close(count_of(&loop, 1.0, 0.0), 0.0, 1e-4);
}

/* The same law on the loop of an axis, whose open-loop poles are all stable: the integral is 0, and
 * for an unstable closed loop minus the sum over its unstable poles (Jensen's formula for 1 + L). Plant,
 * delay, hold and controller must be one causal system for it to hold. */
static double axis_integral(const struct tune_plant *plant, const struct tune_controller *c)
{
    enum { POINTS = 60000 };
    static double f[POINTS];
    static double complex g[POINTS], k[POINTS];
    const double low = log(1e-9), step = (log(0.5 * plant->loop_rate_hz) - low) / (POINTS - 1);
    double sum = 0.0;
    for (int i = 0; i < POINTS; i++)
        f[i] = fmin(exp(low + i * step), 0.5 * plant->loop_rate_hz);
    tune_plant_eval(g, plant, TUNE_PATH_MOTOR_ENCODER, f, POINTS);
    tune_controller_eval(k, c, f, POINTS);
    for (int i = 0; i < POINTS; i++)
        sum += log(cabs(1.0 + g[i] * k[i])) * f[i] * step * (i + 1 < POINTS ? 1.0 : 0.5);
    return -2.0 * sum / plant->loop_rate_hz; /* (1/pi) d omega = 2/rate df */
}

static void sensitivity_integral_of_an_axis_is_that_of_its_poles(void **state)
{
    static struct axis_matrix matrix;
    struct tune_random rng;
    int unstable = 0;
    (void)state;
    tune_random_init(&rng, 51, 0);
    for (int i = 0; i < 20 * (int)check_multiplier(); i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double complex pole[AXIS_STATES_MOST];
        double want = 0.0;
        axis_matrix_make(&matrix, &plant, &c);
        axis_matrix_poles(pole, &matrix);
        for (size_t k = 0; k < matrix.n; k++)
            want -= fmax(0.0, log(cabs(pole[k])));
        unstable += want < 0.0;
        /* model: the trapezoidal rule in steps of 5e-4; a closed-loop resonance narrower than a step
         * costs up to a step times its share f/rate of the band */
        check_close(axis_integral(&plant, &c), want, 1e-5);
    }
    assert_true(unstable > 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_of_an_integrator_with_two_lags),
        cmocka_unit_test(margins_of_three_lags),
        cmocka_unit_test(margins_of_a_ziegler_nichols_loop),
        cmocka_unit_test(ultimate_gain_of_equal_lags),
        cmocka_unit_test(margins_of_a_discrete_double_integrator),
        cmocka_unit_test(a_margin_at_half_the_rate_is_found),
        cmocka_unit_test(sensitivity_integral_is_that_of_the_open_poles),
        cmocka_unit_test(sensitivity_integral_of_an_axis_is_that_of_its_poles),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
