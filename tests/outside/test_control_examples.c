/* test_control_examples.c - worked examples of textbooks: margins, holds, notches, integrals of Bode, and the
 * step responses of published tuning rules in the time domain.
 *
 * "From memory" marks a source whose printed page was not seen; the figures themselves were recomputed with
 * numpy, scipy and Octave's control package. Tolerances are the digits given unless another kind is named.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <gsl/gsl_integration.h>
#include <stdlib.h>

#include "control/biquad.h"
#include "control/loop.h"
#include "core/units.h"
#include "plant/model.h"
#include "simulation/axis.h"

typedef double complex transfer(double complex s);

static void eval_continuous(void *user, double complex *l, const double *f_hz, size_t n)
{
    transfer *const *function = user;
    for (size_t i = 0; i < n; i++)
        l[i] = (*function)(CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i]));
}

static struct tune_loop continuous(transfer **function, double f_high_hz)
{
    return (struct tune_loop){.eval = eval_continuous,
                              .user = (void *)function,
                              .f_low_hz = 1e-6,
                              .f_high_hz = f_high_hz};
}

/* ---- margins -------------------------------------------------------------------------------------*/

static double complex two_corners(double complex s)
{
    return 10.0 / (s * (s + 1.0) * (s + 5.0));
}

static double complex two_corners_unstable(double complex s)
{
    return 10.0 * two_corners(s);
}

static double complex lead(double complex s)
{
    return 41.7 * (s + 4.41) / (s + 18.4) * 4.0 / (s * (s + 2.0));
}

static double complex before_lead(double complex s)
{
    return 20.0 / (s * (0.5 * s + 1.0));
}

static double complex lag(double complex s)
{
    return 5.0 * (10.0 * s + 1.0) / ((100.0 * s + 1.0) * s * (s + 1.0) * (0.5 * s + 1.0));
}

static double complex lag_lead(double complex s)
{
    return 20.0 * (s + 0.7) * (s + 0.15) / ((s + 7.0) * (s + 0.015) * s * (s + 1.0) * (s + 2.0));
}

static double complex resonant(double complex s)
{
    return 0.38 * (s * s + 0.1 * s + 0.55) / (s * (s + 1.0) * (s * s + 0.06 * s + 0.5));
}

static double complex three_corners(double complex s)
{
    return 200.0 / ((s + 2.0) * (s + 4.0) * (s + 5.0));
}

static double complex late_integrator(double complex s)
{
    return cexp(-s) / (2.0 * s);
}

static double complex late_integrator_pi(double complex s)
{
    return 0.5 * (1.0 + 1.0 / (8.0 * s)) * cexp(-s) / s;
}

static double complex late_double_integrator_pid(double complex s)
{
    return (8.0 * s + 1.0) * (8.0 * s + 1.0) / (16.0 * 8.0 * s) * cexp(-s) / (s * s);
}

static double optimum_ratio;

static double complex symmetrical_optimum(double complex s)
{
    const double a = optimum_ratio;
    return (1.0 + a * a * s) / (a * a * a * s * s * (1.0 + s));
}

/* gain and reduction margins, phase margin in deg, peaks, delay margin in s; 0: not looked at */
struct example {
    transfer *loop;
    double ratio, gain, reduction, phase_deg, sens, comp, delay_s, allowed;
};

/* In order:
 *   K. Ogata, Modern Control Engineering, 5th ed. (from memory): example 7-20 at gains 10 and 100, readings
 *     8 dB, 21 deg and -12 dB, -30 deg off a sketch of Bode's diagram; the lead (50 deg), lag (40 deg, 11 dB)
 *     and lag-lead (50 deg, 16 dB) examples
 *   K. J. Astrom, R. M. Murray, Feedback Systems (from memory): 70 deg, stability margin .27. The gain margin
 *     printed there, 266, is not found: L does not cross the negative axis
 *   N. S. Nise, Control Systems Engineering (from memory, of little weight): 6.02 dB off a sketch
 *   S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, J. Process Control 13
 *     (2003) 291-309 (from memory: 61.4 deg, 3.14, 1.59, 1.00, 2.14; 46.9 deg, 2.96, 1.70, 1.30, 1.59);
 *     the rule for a late double integrator, its margins recomputed
 *   C. Kessler, Das symmetrische Optimum, Regelungstechnik 6 (1958) (from memory): atan((a^2 - 1)/(2 a)) */
static const struct example examples[] = {
    {two_corners, 0, 3.0, 0, 25.390, 2.7156, 2.3238, 0.36114, 6e-5},
    {before_lead, 0, 0, 0, 17.964, 0, 0, 0, 0},
    {lead, 0, HUGE_VAL, 0, 50.508, 1.4033, 1.2406, 0, 6e-5},
    {lag, 0, 5.18777, 0, 41.612, 1.7612, 1.4112, 0, 6e-5},
    {lag_lead, 0, 7.02432, 0, 55.207, 1.5255, 1.1036, 0, 6e-5},
    {resonant, 0, HUGE_VAL, 0, 69.772, 3.691, 3.005, 0, 6e-4},
    {three_corners, 0, 1.89, 0, 23.491, 3.3159, 2.7539, 0, 6e-5},
    {late_integrator, 0, TUNE_PI, 0, 61.352, 1.5905, 1.0, 2.1416, 6e-5},
    {late_integrator_pi, 0, 2.963, 0, 46.864, 1.7035, 1.2994, 1.5896, 6e-4},
    {late_double_integrator_pid, 0, 2.761, 1.0 / 0.1653, 33.109, 1.9588, 1.8323, 0, 2e-3},
    {symmetrical_optimum, 2.0, 0, 0, 36.870, 1.6823, 1.6823, 0, 6e-5},
    {symmetrical_optimum, 2.4142135623731, 0, 0, 45.0, 1.4449, 0, 0, 6e-5},
    {symmetrical_optimum, 3.0, 0, 0, 53.130, 1.2990, 0, 0, 6e-5},
};

static void check_known(double got, double want, double allowed)
{
    if (want != 0.0) check_close(got, want, allowed);
}

static void margins_of_worked_examples(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof examples / sizeof examples[0]; i++) {
        const struct example *e = &examples[i];
        transfer *function = e->loop;
        const struct tune_loop loop = continuous(&function, 10.0);
        struct tune_margins m;
        optimum_ratio = e->ratio;
        assert_int_equal(tune_loop_margins(&m, &loop, NULL), TUNE_OK);
        check_known(m.gain_margin, e->gain, e->allowed);
        check_known(m.gain_reduction_margin, e->reduction, e->allowed);
        check_close(tune_deg_from_rad(m.phase_margin_rad), e->phase_deg, 6e-4);
        check_known(m.sens_peak, e->sens, e->allowed);
        check_known(m.comp_sens_peak, e->comp, e->allowed);
        check_known(m.delay_margin_s, e->delay_s, e->allowed);
        /* holds in any stable loop */
        check_between(m.gain_margin, m.sens_peak / (m.sens_peak - 1.0), HUGE_VAL);
        check_between(m.phase_margin_rad, 2.0 * asin(0.5 / m.sens_peak), TUNE_PI);
    }
}

/* The first example at ten times its gain: the margins turn, and two poles leave the left half plane. */
static void margins_of_a_loop_too_fast(void **state)
{
    transfer *function = two_corners_unstable;
    const struct tune_loop loop = continuous(&function, 1e4);
    struct tune_margins m;
    double count;
    (void)state;
    assert_int_equal(tune_loop_margins(&m, &loop, NULL), TUNE_OK);
    assert_true(isinf(m.gain_margin));
    check_close(1.0 / m.gain_reduction_margin, 0.3, 1e-9);
    check_close(tune_deg_from_rad(m.phase_margin_rad), -23.650, 6e-4);
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, 1.0, 0.0, NULL), TUNE_OK);
    check_close(count, 2.0, 1e-3);
}

/* ---- holds and notches ---------------------------------------------------------------------------*/

/* 1/s^2 held for .1 s is T^2/2 (z + 1)/(z - 1)^2; 1/(s (s + 1)) held for 1 s has the numerator .36787944,
 * .26424112 and the denominator 1, -1.36787944, .36787944: K. J. Astrom, B. Wittenmark, Computer-Controlled
 * Systems; G. F. Franklin, J. D. Powell, M. Workman, Digital Control of Dynamic Systems (from memory). */
static void held_plants_are_those_of_the_books(void **state)
{
    static const double f[] = {1e-3, 0.02, 0.11, 0.3, 0.47}; /* over the rate */
    struct tune_plant plant = {.inertia_kg_m2 = 1.0};
    (void)state;
    for (int i = 0; i < 5; i++) {
        const double complex z = cexp(CMPLX(0.0, 2.0 * TUNE_PI * f[i]));
        double complex g, want;
        double f_hz = 10.0 * f[i];
        plant.loop_rate_hz = 10.0;
        plant.viscous_nm_s_per_rad = 0.0;
        tune_plant_eval(&g, &plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        want = 0.005 * (z + 1.0) / ((z - 1.0) * (z - 1.0));
        check_close(cabs(g / want - 1.0), 0.0, 1e-9);
        f_hz = f[i];
        plant.loop_rate_hz = 1.0;
        plant.viscous_nm_s_per_rad = 1.0;
        tune_plant_eval(&g, &plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        const double complex over = 0.36787944 * z + 0.26424112;
        const double complex under = z * z - 1.36787944 * z + 0.36787944;
        /* the digits of two coefficients each */
        check_close(cabs(g * under / over - 1.0), 0.0, 1e-8 / cabs(over) + 1e-8 / cabs(under));
    }
}

/* R. Bristow-Johnson, Audio EQ Cookbook (from memory): notch of 37 Hz, Q = 2, at 1 kHz. */
static void notch_has_the_coefficients_of_the_cookbook(void **state)
{
    const struct tune_biquad_spec spec = {37.0, 0.0, 37.0, 0.25};
    const struct tune_biquad b = tune_biquad_from_spec(&spec, 1000.0);
    (void)state;
    check_close(b.b0, 0.945539428303, 1e-11);
    check_close(b.b1, -1.840206019514, 1e-11);
    check_close(b.b2, 0.945539428303, 1e-11);
    check_close(b.a1, -1.840206019514, 1e-11);
    check_close(b.a2, 0.891078856607, 1e-11);
}

/* Lag of a notch at half its frequency, atan((.5/Q)/.75); elementary. */
static void notch_lags_below_its_frequency(void **state)
{
    static const double want[][2] = {{1.0, 33.690}, {2.0, 18.435}, {5.0, 7.595}};
    (void)state;
    for (int i = 0; i < 3; i++) {
        const struct tune_biquad_spec spec = {10.0, 0.0, 10.0, 0.5 / want[i][0]};
        const struct tune_biquad b = tune_biquad_from_spec(&spec, 1e5);
        check_close(tune_deg_from_rad(-carg(tune_biquad_eval(&b, 5.0, 1e5))), want[i][1], 1e-3);
    }
}

/* ---- Bode's integrals ----------------------------------------------------------------------------
 * integral of ln|S| d omega = pi sum Re(unstable open poles) - pi/2 lim s L: H. W. Bode, Network Analysis
 * and Feedback Amplifier Design, 1945; J. S. Freudenberg, D. P. Looze, IEEE Trans. AC-30 (1985) 555-565.
 * integral of ln|T|/omega^2 d omega = -pi/(2 Kv) (all from memory). */

static double complex one_corner(double complex s)
{
    return 1.0 / (s * (s + 1.0));
}

static double complex integrator(double complex s)
{
    return 1.0 / s;
}

static double complex double_integrator_pd(double complex s)
{
    return 2.0 * (s + 1.0) / (s * s);
}

static double complex unstable_open(double complex s)
{
    return 10.0 / ((s - 1.0) * (s + 5.0));
}

static double complex faster_corner(double complex s)
{
    return 5.0 / (s * (s + 1.0));
}

static double log_sens(double omega, void *user)
{
    transfer *const *function = user;
    return -log(cabs(1.0 + (*function)(CMPLX(0.0, omega))));
}

/* |T|^2 = 1/|1 + 1/L|^2, its logarithm without cancellation where L is large */
static double log_comp(double omega, void *user)
{
    transfer *const *function = user;
    const double complex over = 1.0 / (*function)(CMPLX(0.0, omega));
    return -0.5 * log1p(2.0 * creal(over) + creal(over * conj(over))) / (omega * omega);
}

static double integral(double (*integrand)(double, void *), transfer *function, double from)
{
    gsl_integration_workspace *work = gsl_integration_workspace_alloc(2000);
    gsl_function f = {integrand, (void *)&function};
    double low, high, error;
    assert_non_null(work);
    assert_int_equal(gsl_integration_qags(&f, from, 1.0, 1e-9, 1e-9, 2000, work, &low, &error), 0);
    assert_int_equal(gsl_integration_qagiu(&f, 1.0, 1e-9, 1e-9, 2000, work, &high, &error), 0);
    gsl_integration_workspace_free(work);
    return low + high;
}

static double unstable_poles(transfer *function, double boundary, double open)
{
    const struct tune_loop loop = continuous(&function, 1e6);
    double count;
    assert_int_equal(tune_loop_unstable_poles(&count, &loop, boundary, open, NULL), TUNE_OK);
    return count;
}

/* Where the integral is that of the open poles alone, the closed loop is stable, and so it must be counted:
 * an unstable one would lower the integral by pi times its pole. */
static void stable_is_what_bodes_integral_calls_stable(void **state)
{
    const struct {
        transfer *loop;
        double integral, boundary, open;
    } row[] = {{one_corner, 0.0, 1.0, 0.0},
               {integrator, -0.5 * TUNE_PI, 1.0, 0.0},
               {double_integrator_pd, -TUNE_PI, 2.0, 0.0},
               {unstable_open, TUNE_PI, 0.0, 1.0}};
    (void)state;
    for (int i = 0; i < 4; i++) {
        check_close(integral(log_sens, row[i].loop, 0.0), row[i].integral, 1e-5);
        check_close(unstable_poles(row[i].loop, row[i].boundary, row[i].open), 0.0, 1e-3);
    }
}

static void tracking_integral_is_that_of_the_velocity_constant(void **state)
{
    (void)state;
    check_close(integral(log_comp, integrator, 1e-5), -0.5 * TUNE_PI, 1e-4);
    check_close(integral(log_comp, faster_corner, 1e-5), -0.314159, 1e-4);
    check_close(integral(log_comp, double_integrator_pd, 1e-5), 0.0, 1e-4);
}

/* ---- step responses ------------------------------------------------------------------------------*/

#define RATE 8000.0

struct step_response {
    double overshoot_percent, crossing_s, settling_s; /* first time at 1; last time outside 2 % */
};

/* Axis and controller in the time domain, at a rate far above them. */
static struct step_response step_of(double inertia, double viscous, const struct tune_controller *c)
{
    const size_t n = (size_t)(40.0 * RATE);
    struct tune_axis axis = tune_axis_defaults();
    struct tune_axis_trace trace;
    double *target = calloc(n, sizeof *target);
    const struct tune_axis_run run = {.n = n, .target_rad = target, .controller = c};
    struct step_response out = {0};
    assert_non_null(target);
    axis.plant = (struct tune_plant){
        .inertia_kg_m2 = inertia, .viscous_nm_s_per_rad = viscous, .loop_rate_hz = RATE};
    /* the controller takes the rate of its first error as 0 */
    for (size_t i = 1; i < n; i++)
        target[i] = 1.0;
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, NULL, NULL), TUNE_OK);
    for (size_t i = 0; i < n; i++) {
        const double y = trace.true_rad[i], t = ((double)i - 1.0) / RATE;
        if (y >= 1.0 && out.crossing_s == 0.0) out.crossing_s = t;
        if (fabs(y - 1.0) > 0.02) out.settling_s = t;
        out.overshoot_percent = fmax(out.overshoot_percent, 100.0 * (y - 1.0));
    }
    tune_axis_trace_free(&trace);
    free(target);
    return out;
}

/* The sum of small time constants is 1 s, as a low-pass of order 1; a hold of .125 ms beside it. Kessler
 * 1958 (from memory): 43.4 %, 3.1 T, 16.5 T. */
static void symmetrical_optimum_overshoots_as_published(void **state)
{
    static const double want[][2] = {{2.0, 43.410}, {2.4142135623731, 33.56}, {3.0, 24.89}};
    (void)state;
    for (int i = 0; i < 3; i++) {
        const double a = want[i][0];
        struct tune_controller c = tune_controller_defaults(RATE);
        struct step_response step;
        c.kp_nm_per_rad = 1.0 / (a * a * a);
        c.kd_nm_s_per_rad = 1.0 / a;
        c.lowpass_hz = 0.5 / TUNE_PI;
        c.lowpass_order = 1;
        step = step_of(1.0, 0.0, &c);
        /* model: half a sample of hold and half one of the derivative */
        check_close(step.overshoot_percent, want[i][1], 0.05);
        if (i > 0) continue;
        check_close(step.crossing_s, 3.09, 0.01);
        check_close(step.settling_s, 16.55, 0.02);
    }
}

/* 1/(2 s^2 + 2 s + 1): Kessler (from memory): 4.3 %, 4.7 T, 8.4 T. */
static void magnitude_optimum_overshoots_as_published(void **state)
{
    struct tune_controller c = tune_controller_defaults(RATE);
    struct step_response step;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    step = step_of(2.0, 2.0, &c);
    check_close(step.overshoot_percent, 4.3214, 0.005); /* model: half a sample of hold */
    check_close(step.crossing_s, 4.713, 2e-3);
    check_close(step.settling_s, 8.432, 2e-3);
}

/* PID by J. G. Ziegler and N. B. Nichols on 1/(s (s + 1)(s + 5)), K (s + b)^2/s: Ogata, chapter 8 (from
 * memory: gain 30 at a period of 2.81 s, overshoots 62, 18 and 28 %). */
static void ziegler_nichols_overshoots_as_published(void **state)
{
    static const double row[][3] = {
        {6.3223, 1.4235, 61.8}, {13.846, 0.65, 18.56}, {30.322, 0.65, 28.06}};
    transfer *function = two_corners;
    const struct tune_loop loop = continuous(&function, 1e3);
    struct tune_margins m;
    (void)state;
    assert_int_equal(tune_loop_margins(&m, &loop, NULL), TUNE_OK);
    check_close(10.0 * m.gain_margin, 30.0, 1e-8);
    check_close(1.0 / m.gain_margin_hz, 2.80993, 1e-5);
    for (int i = 0; i < 3; i++) {
        struct tune_controller c = tune_controller_defaults(RATE);
        const double k = row[i][0] / 5.0, b = row[i][1];
        c.kd_nm_s_per_rad = k;
        c.kp_nm_per_rad = 2.0 * b * k;
        c.ki_nm_per_rad_s = b * b * k;
        c.lowpass_hz = 2.5 / TUNE_PI; /* the corner at 5 rad/s */
        c.lowpass_order = 1;
        check_close(step_of(1.0, 1.0, &c).overshoot_percent, row[i][2], 0.1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_of_worked_examples),
        cmocka_unit_test(margins_of_a_loop_too_fast),
        cmocka_unit_test(held_plants_are_those_of_the_books),
        cmocka_unit_test(notch_has_the_coefficients_of_the_cookbook),
        cmocka_unit_test(notch_lags_below_its_frequency),
        cmocka_unit_test(stable_is_what_bodes_integral_calls_stable),
        cmocka_unit_test(tracking_integral_is_that_of_the_velocity_constant),
        cmocka_unit_test(symmetrical_optimum_overshoots_as_published),
        cmocka_unit_test(magnitude_optimum_overshoots_as_published),
        cmocka_unit_test(ziegler_nichols_overshoots_as_published),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
