/* response.c - the controller over the common grid, and how it answers to every variable.
 *
 * With t = tan(pi f/rate)/tan(pi f_p/rate), rho = f_p/f_z, a section prewarped at its pole is
 *     H = N/D,  N = 1 - (rho t)^2 + 2 j zz rho t,  D = 1 - t^2 + 2 j zp t
 * and d ln t / d ln f_p = -kappa, kappa = 2 theta/sin(2 theta), theta = pi f_p/rate.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>

#include "core/units.h"

/* kp + ki T/(1 - z^-1) + kd a (1 - z^-1)/T / (1 - (1 - a) z^-1); its parts are kept for the ladder. */
static void respond_pid(struct response *r, const struct problem *problem, const double *x,
                        bool slopes)
{
    const double t = 1.0 / problem->rate_hz, theta = 2.0 * TUNE_PI * exp(x[3]) * t;
    const double kp = exp(x[0]), ki = exp(x[1]), kd = exp(x[2]);
    const double a = -expm1(-theta), da = theta * exp(-theta); /* da/d ln f_d */
    const size_t n = problem->n;
    for (size_t i = 0; i < n; i++) {
        const double complex z1 = problem->z1[i], step = 1.0 - z1;
        const double complex back = inverse(1.0 - scaled(z1, 1.0 - a));
        const double complex rate = scaled(times(step, back), kd / t);
        r->integral[i] = scaled(inverse(step), ki * t);
        r->derivative[i] = scaled(rate, a);
        /* d/da of a/(1 - (1 - a) z^-1) = (1 - z^-1)/(1 - (1 - a) z^-1)^2 */
        if (slopes) r->derivative_slope[i] = scaled(times(rate, times(step, back)), da);
        r->pid[i] = kp + r->integral[i] + r->derivative[i];
        r->c[i] = r->pid[i];
    }
    for (size_t i = 0; i < n && slopes; i++) {
        const double complex over = inverse(r->pid[i]);
        r->slope[i] = scaled(over, kp);
        r->slope[n + i] = times(r->integral[i], over);
        r->slope[2 * n + i] = times(r->derivative[i], over);
        r->slope[3 * n + i] = times(r->derivative_slope[i], over);
    }
}

static double warping(double pole_hz, double rate_hz)
{
    const double twice = 2.0 * TUNE_PI * pole_hz / rate_hz;
    return twice / sin(twice);
}

/* slope[0 .. n-1]: d/d ln corner, slope[n .. 2n-1]: d/d ln zeta; NULL: not wanted. */
static void respond_lowpass(double complex *c, double complex *slope, const struct problem *problem,
                            double corner_hz, double zeta)
{
    const double scale = 1.0 / tan(TUNE_PI * corner_hz / problem->rate_hz);
    const double kappa = warping(corner_hz, problem->rate_hz);
    const size_t n = problem->n;
    for (size_t i = 0; i < n; i++) {
        const double t = problem->tangent[i] * scale;
        const double complex over = inverse(CMPLX(1.0 - t * t, 2.0 * zeta * t));
        c[i] = times(c[i], over);
        if (!slope) continue;
        slope[i] = scaled(times(CMPLX(-2.0 * t * t, 2.0 * zeta * t), over), kappa);
        slope[n + i] = times(CMPLX(0.0, -2.0 * zeta * t), over);
    }
}

/* slope: four rows of n, in the order of the variables q = ln f_z, ln zz, ln zp, ln(f_p/f_z). */
static void respond_biquad(double complex *c, double complex *slope, const struct problem *problem,
                           const double q[VARIABLES_BIQUAD])
{
    const double pole_hz = exp(q[0] + q[3]), zz = exp(q[1]), zp = exp(q[2]), rho = exp(q[3]);
    const double scale = 1.0 / tan(TUNE_PI * pole_hz / problem->rate_hz);
    const double kappa = warping(pole_hz, problem->rate_hz);
    const size_t n = problem->n;
    for (size_t i = 0; i < n; i++) {
        const double t = problem->tangent[i] * scale, u = rho * t;
        const double complex num = CMPLX(1.0 - u * u, 2.0 * zz * u);
        const double complex over = inverse(CMPLX(1.0 - t * t, 2.0 * zp * t));
        c[i] = times(c[i], times(num, over));
        if (!slope) continue;
        const double complex by_u = times(CMPLX(-2.0 * u * u, 2.0 * zz * u), inverse(num));
        const double complex by_t = times(CMPLX(-2.0 * t * t, 2.0 * zp * t), over);
        slope[i] = scaled(by_t - by_u, kappa);
        slope[n + i] = times(CMPLX(0.0, 2.0 * zz * u), inverse(num));
        slope[2 * n + i] = times(CMPLX(0.0, -2.0 * zp * t), over);
        slope[3 * n + i] = by_u + slope[i];
    }
}

void design_response(struct response *response, const struct problem *problem, const double *x,
                     size_t n_biquads, bool slopes)
{
    const size_t n = problem->n;
    double complex *slope = slopes ? response->slope : NULL;
    respond_pid(response, problem, x, slopes);
    respond_lowpass(response->c, slope ? slope + 4 * n : NULL, problem, exp(x[4]), exp(x[5]));
    for (size_t k = 0; k < n_biquads; k++) {
        const size_t first = VARIABLES_PID + VARIABLES_BIQUAD * k;
        respond_biquad(response->c, slope ? slope + first * n : NULL, problem, x + first);
    }
}
