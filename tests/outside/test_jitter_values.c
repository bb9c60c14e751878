/* test_jitter_values.c - jitter against values from outside.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <gsl/gsl_integration.h>

#include "core/units.h"
#include "jitter/prediction.h"

/* PID on a free inertia under white torque of two-sided density S0:
 *     variance = S0/(2 (Kp Kd - Ki J)),  of one-sided density G per Hz  G/(4 (Kp Kd - Ki J)),
 * the third of the integrals in H. M. James, N. B. Nichols, R. S. Phillips, Theory of Servomechanisms,
 * 1947, appendix (from memory); recomputed by Lyapunov's equation and with `norm(S, 2)` of Octave.
 * J = 2, Kp = 300, Kd = 40, Ki = 500: 4.545454545e-5 S0, 2.272727e-5 G. */
static const double inertia = 2.0, kp = 300.0, kd = 40.0, ki = 500.0;
static const double per_one_sided = 2.272727e-5;

static struct tune_plant free_inertia(double rate_hz)
{
    return (struct tune_plant){.inertia_kg_m2 = inertia, .loop_rate_hz = rate_hz};
}

/* |G S|^2 of the continuous loop, plant from the library, PID written out. */
static double gain2(double f_hz, void *user)
{
    const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz);
    const double complex g = tune_plant_continuous(user, f_hz);
    const double complex h = g / (1.0 + g * (kp + ki / s + kd * s));
    return creal(h * conj(h));
}

static void white_torque_on_a_continuous_loop(void **state)
{
    struct tune_plant plant = free_inertia(1000.0);
    gsl_integration_workspace *work = gsl_integration_workspace_alloc(1000);
    gsl_function integrand = {gain2, &plant};
    double low, high, error;
    (void)state;
    assert_non_null(work);
    assert_int_equal(gsl_integration_qag(&integrand, 1e-9, 10.0, 1e-17, 1e-12, 1000,
                                         GSL_INTEG_GAUSS31, work, &low, &error),
                     0);
    assert_int_equal(
        gsl_integration_qagiu(&integrand, 10.0, 1e-17, 1e-12, 1000, work, &high, &error), 0);
    gsl_integration_workspace_free(work);
    /* below 1e-9 Hz: less than 1e-30 */
    check_close(2.0 * (low + high), 4.545454545e-5, 5e-15);
    check_close(low + high, 1.0 / (4.0 * (kp * kd - ki * inertia)), 1e-15);
}

/* The prediction of the sampled loop: half a period of hold and the rest of the period's lag make a
 * difference in proportion to the loop period, which must vanish with it. */
static double predicted_variance(double rate_hz)
{
    const struct tune_plant plant = free_inertia(rate_hz);
    struct tune_disturbance white = tune_disturbance_stated(0.0, 0.1, 1.0, 0.0, rate_hz);
    struct tune_controller c = tune_controller_defaults(rate_hz);
    struct tune_jitter jitter;
    struct tune_error err;
    double rms;
    c.kp_nm_per_rad = kp;
    c.ki_nm_per_rad_s = ki;
    c.kd_nm_s_per_rad = kd;
    if (tune_jitter_predict(&jitter, &white, &plant, &plant, &c, 1000.0, &err) != TUNE_OK)
        fail_msg("%s", err.text);
    rms = jitter.true_rms_rad.value;
    tune_jitter_free(&jitter);
    tune_disturbance_free(&white);
    return rms * rms;
}

static void white_torque_on_a_sampled_loop(void **state)
{
    /* model: w T/4, w = Kd/J = 20 rad/s, in proportion to the period */
    static const double rate[] = {500.0, 4000.0, 32000.0}, allowed[] = {1e-2, 1.25e-3, 1.6e-4};
    (void)state;
    for (int i = 0; i < 3; i++)
        check_close_rel(predicted_variance(rate[i]), per_one_sided, allowed[i]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(white_torque_on_a_continuous_loop),
        cmocka_unit_test(white_torque_on_a_sampled_loop),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
