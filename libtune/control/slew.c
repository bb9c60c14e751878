/* slew.c - one move with ramps of acceleration, and what rings after it.
 *
 * A move is a sum of steps of jerk, of acceleration where there is no jerk time:
 *     jerk(t) = sum sign_i j u(t - t_i),  A(s) = sum sign_i j e^(-s t_i)/s^2
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>

#include "control/feedforward.h"
#include "core/units.h"

enum { STEPS_MAX = 8, NEWTON = 20 };

struct steps {
    size_t n;
    double sign[STEPS_MAX], time_s[STEPS_MAX];
    double size; /* rad/s^3, or rad/s^2 */
    int order;   /* integrations to the acceleration: 1, or 0 */
};

static void add(struct steps *steps, double sign, double time_s)
{
    steps->sign[steps->n] = sign;
    steps->time_s[steps->n++] = time_s;
}

static void add_ramp(struct steps *steps, double sign, double time_s, double jerk_time_s)
{
    add(steps, sign, time_s);
    if (jerk_time_s > 0.0) add(steps, -sign, time_s + jerk_time_s);
}

static struct steps start(double acceleration, double jerk_time_s)
{
    if (jerk_time_s > 0.0) return (struct steps){.size = acceleration / jerk_time_s, .order = 1};
    return (struct steps){.size = acceleration};
}

static struct steps steps_of(const struct tune_slew_move *move)
{
    const double tj = move->jerk_time_s, flat = move->accelerating_s - tj;
    const double brake = move->accelerating_s + move->cruising_s;
    struct steps steps = start(move->acceleration_rad_per_s2, tj);
    if (!(move->time_s > 0.0)) return steps;
    add_ramp(&steps, 1.0, 0.0, tj);
    add_ramp(&steps, -1.0, flat, tj);
    add_ramp(&steps, -1.0, brake, tj);
    add_ramp(&steps, 1.0, brake + flat, tj);
    return steps;
}

struct tune_slew_move tune_slew_plan(const struct tune_slew *slew, double angle_rad)
{
    const double way = fabs(angle_rad), tj = slew->jerk_time_s;
    struct tune_slew_move move = {.angle_rad = angle_rad, .jerk_time_s = tj};
    double a = slew->acceleration_rad_per_s2, v = slew->speed_rad_per_s;
    if (!(way > 0.0)) return move;
    if (v < a * tj) a = v / tj; /* full speed before full acceleration */
    if (way < v * (v / a + tj)) {
        v = 0.5 * a * (sqrt(tj * tj + 4.0 * way / a) - tj);
        if (v < a * tj) {
            a = way / (2.0 * tj * tj);
            v = a * tj;
        }
    }
    move.acceleration_rad_per_s2 = a;
    move.speed_rad_per_s = v;
    move.accelerating_s = v / a + tj;
    move.cruising_s = fmax(0.0, way / v - move.accelerating_s);
    move.time_s = 2.0 * move.accelerating_s + move.cruising_s;
    return move;
}

/* Sum of the steps integrated `times` times. */
static double integrated(const struct steps *steps, double time_s, int times)
{
    static const double factorial[] = {1.0, 1.0, 2.0, 6.0};
    double sum = 0.0;
    for (size_t i = 0; i < steps->n; i++)
        if (time_s > steps->time_s[i])
            sum += steps->sign[i] * pow(time_s - steps->time_s[i], times) / factorial[times];
    return sum * steps->size;
}

/* The second half mirrors the first, which keeps long moves exact at their end. */
void tune_slew_at(double *angle_rad, double *speed_rad_per_s, double *acceleration_rad_per_s2,
                  const struct tune_slew_move *move, double time_s)
{
    const struct steps steps = steps_of(move);
    const double sign = move->angle_rad < 0.0 ? -1.0 : 1.0;
    const bool late = time_s > 0.5 * move->time_s;
    const double t = late ? move->time_s - time_s : time_s;
    const double way = integrated(&steps, t, steps.order + 2);
    *angle_rad = late ? move->angle_rad - sign * way : sign * way;
    *speed_rad_per_s = sign * integrated(&steps, t, steps.order + 1);
    *acceleration_rad_per_s2 = (late ? -sign : sign) * integrated(&steps, t, steps.order);
}

/* ---- ringing -------------------------------------------------------------------------------------*/

/* J G at s, motor to encoder, its slope, and J G of the payload. */
static void plant_at(double complex *encoder, double complex *slope, double complex *payload,
                     const struct tune_plant *plant, double complex s)
{
    const double b = plant->viscous_nm_s_per_rad / plant->inertia_kg_m2;
    const double complex rigid = 1.0 / (s * (s + b));
    *encoder = *payload = rigid;
    *slope = -rigid * rigid * (2.0 * s + b);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double w = 2.0 * TUNE_PI * mode->f_hz;
        const double q = plant->complex_residues ? mode->gain_quadrature / w : 0.0;
        const double r = isnan(mode->payload_ratio) ? 1.0 : mode->payload_ratio;
        const double complex d = s * s + 2.0 * mode->zeta * w * s + w * w;
        const double complex term = (mode->gain + q * s) / d;
        *encoder += term;
        *payload += r * term;
        *slope += (q - term * (2.0 * s + 2.0 * mode->zeta * w)) / d;
    }
}

/* sum 2 |rho A(s) e^(s T)/s^2| over the zeros, the steps ending at T. */
static enum tune_status ringing_of(double *ringing_rad, const struct steps *steps, double end_s,
                                   const struct tune_plant *plant, struct tune_error *err)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t n;
    const enum tune_status status = tune_plant_antiresonances(zero, &n, plant, err);
    *ringing_rad = 0.0;
    for (size_t i = 0; i < n && status == TUNE_OK; i++) {
        const double omega = 2.0 * TUNE_PI * zero[i].f_hz, zeta = zero[i].zeta;
        double complex s = CMPLX(-zeta * omega, omega * sqrt(1.0 - zeta * zeta));
        double complex encoder, slope, payload, drive = 0.0;
        for (int k = 0; k < NEWTON; k++) {
            plant_at(&encoder, &slope, &payload, plant, s);
            if (!(cabs(encoder / slope) > 1e-15 * omega)) break;
            s -= encoder / slope;
        }
        for (size_t k = 0; k < steps->n; k++)
            drive += steps->sign[k] * cexp(s * (end_s - steps->time_s[k]));
        drive *= steps->size / (steps->order > 0 ? s * s : s);
        *ringing_rad += 2.0 * cabs(payload / slope * drive / (s * s));
    }
    return status;
}

enum tune_status tune_slew_ringing_ramp(double *ringing_rad, const struct tune_plant *plant,
                                        double acceleration_rad_per_s2, double jerk_time_s,
                                        struct tune_error *err)
{
    struct steps steps = start(acceleration_rad_per_s2, jerk_time_s);
    add_ramp(&steps, 1.0, 0.0, jerk_time_s);
    return ringing_of(ringing_rad, &steps, jerk_time_s, plant, err);
}

enum tune_status tune_slew_ringing_after(double *ringing_rad, const struct tune_slew_move *move,
                                         const struct tune_plant *plant, struct tune_error *err)
{
    const struct steps steps = steps_of(move);
    return ringing_of(ringing_rad, &steps, move->time_s, plant, err);
}
