/* pid_form.c - the PID of controller.h in the structures that drives have.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/pid_form.h"

#include <math.h>
#include <stdio.h>

#include "core/units.h"

/* ---- standard ------------------------------------------------------------------------------------*/

enum tune_status tune_standard_pid_from(struct tune_standard_pid *out,
                                        const struct tune_controller *controller,
                                        struct tune_error *err)
{
    const double kp = controller->kp_nm_per_rad, ki = controller->ki_nm_per_rad_s;
    *out = (struct tune_standard_pid){0};
    if (!(kp > 0.0)) {
        (void)tune_error_set(err, TUNE_ENOSOL,
                             "a standard PID has no proportional gain of 0: its integral and "
                             "derivative parts are multiples of it");
        tune_error_about(err, "kp_nm_per_rad", "0", "above 0");
        return TUNE_ENOSOL;
    }
    *out = (struct tune_standard_pid){kp, ki > 0.0 ? kp / ki : HUGE_VAL,
                                      controller->kd_nm_s_per_rad / kp};
    return TUNE_OK;
}

void tune_standard_pid_to(struct tune_controller *controller, const struct tune_standard_pid *pid)
{
    controller->kp_nm_per_rad = pid->k_nm_per_rad;
    controller->ki_nm_per_rad_s = pid->k_nm_per_rad / pid->ti_s;
    controller->kd_nm_s_per_rad = pid->k_nm_per_rad * pid->td_s;
}

/* ---- cascade -------------------------------------------------------------------------------------*/

/* tau = T (1 - a)/a, the time constant of the filtered difference; with 1 - a = exp(-2 pi f_d T)
 * that is T/(exp(2 pi f_d T) - 1). */
static double filter_time(const struct tune_controller *c)
{
    if (c->derivative_filter_hz == 0.0) return 0.0;
    return 1.0 /
           (c->loop_rate_hz * expm1(2.0 * TUNE_PI * c->derivative_filter_hz / c->loop_rate_hz));
}

double tune_cascade_integral_limit(const struct tune_controller *controller)
{
    const double kp = controller->kp_nm_per_rad, kd = controller->kd_nm_s_per_rad;
    const double root = kp / (sqrt(kd + kp * filter_time(controller)) + sqrt(kd));
    return kp > 0.0 && kd > 0.0 ? root * root : 0.0;
}

static enum tune_status refuse(struct tune_error *err, const char *key, double value,
                               const char *limit, const char *why)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%.6g", value);
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "no cascade of position and velocity loop does what this PID does: %s is "
                         "%s but must be %s (%s)",
                         key, text, limit, why);
    tune_error_about(err, key, text, limit);
    return TUNE_ENOSOL;
}

/* Eliminating K and p from the three equations of pid_form.h:
 *     (kd + kp tau) x^2 - (kp + ki tau) x + ki = 0,  K = kd/(1 - tau x),  p = ki/(K x).
 * Both roots lie on the same side of 1/tau; below it K > 0. At ki = 0 the velocity loop has no integral
 * part: x = 0, p = kp/kd. */
enum tune_status tune_cascade_from(struct tune_cascade *out,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    const double kp = controller->kp_nm_per_rad, ki = controller->ki_nm_per_rad_s;
    const double kd = controller->kd_nm_s_per_rad, tau = filter_time(controller);
    const double a = kd + kp * tau, b = kp + ki * tau;
    double spread = b * b - 4.0 * a * ki, x, gain;
    char limit[64];
    *out = (struct tune_cascade){0};
    if (!(kd > 0.0))
        return refuse(err, "kd_nm_s_per_rad", kd, "above 0", "it is the gain of the velocity loop");
    if (!(kp > 0.0))
        return refuse(err, "kp_nm_per_rad", kp, "above 0", "without it there is no position loop");
    if (spread < 0.0 && spread > -1e-13 * b * b) spread = 0.0; /* rounding of a double zero */
    (void)snprintf(limit, sizeof limit, "at most %.10g", tune_cascade_integral_limit(controller));
    /* the second: the root of large ki, where the filter is slower than the integral */
    if (spread < 0.0 || b * tau > 2.0 * a)
        return refuse(err, "ki_nm_per_rad_s", ki, limit, "the zeros of a cascade are real");
    x = ki > 0.0 ? 0.5 * (b + sqrt(spread)) / a : 0.0;
    gain = kd / (1.0 - tau * x);
    out->velocity_gain_nm_s_per_rad = gain;
    out->velocity_integral_nm_per_rad = gain * x;
    out->position_gain_per_s = ki > 0.0 ? ki / (gain * x) : kp / kd;
    return TUNE_OK;
}

enum tune_status tune_cascade_to(struct tune_controller *controller,
                                 const struct tune_cascade *cascade, struct tune_error *err)
{
    const double gain = cascade->velocity_gain_nm_s_per_rad, p = cascade->position_gain_per_s;
    const double integral = cascade->velocity_integral_nm_per_rad;
    const double kd = gain - filter_time(controller) * integral;
    if (!(kd > 0.0)) {
        (void)tune_error_set(err, TUNE_ENOSOL,
                             "the velocity filter of %g Hz is too slow for a velocity integral of "
                             "%g N m/rad at a velocity gain of %g N m s/rad: raise the filter or "
                             "lower the integral",
                             controller->derivative_filter_hz, integral, gain);
        tune_error_about(err, "derivative_filter_hz", NULL, NULL);
        return TUNE_ENOSOL;
    }
    controller->kp_nm_per_rad = gain * p + integral;
    controller->ki_nm_per_rad_s = integral * p;
    controller->kd_nm_s_per_rad = kd;
    return TUNE_OK;
}
