/* axis_check.c - is the axis, and what is asked of it, within the documented ranges.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulation/axis_internal.h"

#include <math.h>
#include <stdio.h>

#include "core/units.h"

enum tune_status simulation_refuse(struct tune_error *err, const char *what, const char *field,
                                   double value, const char *limit)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%.9g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "the simulated %s has %s = %s; it must be %s", what,
                         field, text, limit);
    tune_error_about(err, field, text, limit);
    return TUNE_EINVAL;
}

static enum tune_status refuse(struct tune_error *err, const char *field, double value,
                               const char *limit)
{
    return simulation_refuse(err, "axis", field, value, limit);
}

static bool positive(double x)
{
    return x > 0.0 && isfinite(x);
}

static bool not_negative(double x)
{
    return x >= 0.0 && isfinite(x);
}

struct rule {
    const char *field;
    double value;
    bool met;
    const char *limit;
};

static enum tune_status first_broken(const struct rule *rule, size_t n, struct tune_error *err)
{
    for (size_t i = 0; i < n; i++)
        if (!rule[i].met) return refuse(err, rule[i].field, rule[i].value, rule[i].limit);
    return TUNE_OK;
}

static const char above_0[] = "above 0", from_0[] = "0 or more", finite[] = "finite";

static enum tune_status check_plant(const struct tune_plant *p, struct tune_error *err)
{
    const struct rule rule[] = {
        {"inertia_kg_m2", p->inertia_kg_m2, positive(p->inertia_kg_m2), above_0},
        {"viscous_nm_s_per_rad", p->viscous_nm_s_per_rad, not_negative(p->viscous_nm_s_per_rad),
         from_0},
        {"loop_rate_hz", p->loop_rate_hz, positive(p->loop_rate_hz), above_0},
        {"delay_s", p->delay_s, p->delay_s >= 0.0 && p->delay_s * p->loop_rate_hz <= AXIS_DELAY_MAX,
         "between 0 and 1000 loop periods"},
        {"n_modes", (double)p->n_modes, p->n_modes <= TUNE_MODES_MAX, "at most 24"},
    };
    const enum tune_status status = first_broken(rule, sizeof rule / sizeof *rule, err);
    if (status) return status;
    for (size_t k = 0; k < p->n_modes; k++) {
        const struct tune_mode *m = &p->mode[k];
        const struct rule of_mode[] = {
            {"mode f_hz", m->f_hz, positive(m->f_hz), above_0},
            {"mode zeta", m->zeta, m->zeta > 0.0 && m->zeta < 1.0, "between 0 and 1"},
            {"mode gain", m->gain, isfinite(m->gain), finite},
            {"mode gain_quadrature", m->gain_quadrature,
             isfinite(m->gain_quadrature) && (p->complex_residues || m->gain_quadrature == 0.0),
             p->complex_residues ? finite : "0 where residues are real"},
            {"mode payload_ratio", m->payload_ratio, !isinf(m->payload_ratio), "finite or NAN"},
        };
        const enum tune_status bad = first_broken(of_mode, sizeof of_mode / sizeof *of_mode, err);
        if (bad) return bad;
    }
    return TUNE_OK;
}

static enum tune_status check_friction(const struct tune_friction *f, struct tune_error *err)
{
    const bool on = f->coulomb_nm > 0.0;
    const struct rule rule[] = {
        {"coulomb_nm", f->coulomb_nm, not_negative(f->coulomb_nm), from_0},
        {"breakaway_nm", f->breakaway_nm,
         !on || (f->breakaway_nm >= f->coulomb_nm && isfinite(f->breakaway_nm)),
         "coulomb_nm or more"},
        {"stribeck_rad_per_s", f->stribeck_rad_per_s, !on || positive(f->stribeck_rad_per_s),
         above_0},
        {"bristle_nm_per_rad", f->bristle_nm_per_rad, !on || positive(f->bristle_nm_per_rad),
         above_0},
        {"bristle_nm_s_per_rad", f->bristle_nm_s_per_rad,
         !on || not_negative(f->bristle_nm_s_per_rad), from_0},
        {"friction viscous_nm_s_per_rad", f->viscous_nm_s_per_rad,
         not_negative(f->viscous_nm_s_per_rad), from_0},
    };
    return first_broken(rule, sizeof rule / sizeof *rule, err);
}

static enum tune_status check_surroundings(const struct tune_axis *a, struct tune_error *err)
{
    const struct rule rule[] = {
        {"ripple_nm", a->ripple_nm, isfinite(a->ripple_nm), finite},
        {"ripple_per_turn", a->ripple_per_turn, isfinite(a->ripple_per_turn), finite},
        {"ripple_phase_rad", a->ripple_phase_rad, isfinite(a->ripple_phase_rad), finite},
        {"imbalance nm", a->imbalance.nm, not_negative(a->imbalance.nm), from_0},
        {"imbalance angle_rad", a->imbalance.angle_rad, isfinite(a->imbalance.angle_rad), finite},
        {"offset_nm", a->offset_nm, isfinite(a->offset_nm), finite},
        {"cable_nm_per_rad", a->cable_nm_per_rad, not_negative(a->cable_nm_per_rad), from_0},
        {"cable_rest_rad", a->cable_rest_rad, isfinite(a->cable_rest_rad), finite},
        {"drag_nm", a->drag_nm,
         a->drag_nm == 0.0 || (positive(a->drag_nm) && a->friction.coulomb_nm > 0.0),
         "0 or more, and 0 where coulomb_nm is"},
        {"drag_angle_rad", a->drag_angle_rad, isfinite(a->drag_angle_rad), finite},
        {"torque_limit_nm", a->torque_limit_nm, not_negative(a->torque_limit_nm), from_0},
        {"encoder_step_rad", a->encoder_step_rad, not_negative(a->encoder_step_rad), from_0},
        {"encoder_noise_rad", a->encoder_noise_rad, not_negative(a->encoder_noise_rad), from_0},
        {"other_noise_rad", a->other_noise_rad, not_negative(a->other_noise_rad), from_0},
        {"encoder_lines_per_turn", a->encoder_lines_per_turn,
         not_negative(a->encoder_lines_per_turn), from_0},
        {"drive_noise_nm_per_rthz", a->drive_noise_nm_per_rthz,
         not_negative(a->drive_noise_nm_per_rthz), from_0},
        {"wind_rms_nm", a->wind_rms_nm, not_negative(a->wind_rms_nm), from_0},
        {"wind_corner_hz", a->wind_corner_hz, a->wind_rms_nm == 0.0 || positive(a->wind_corner_hz),
         above_0},
        {"substeps", a->substeps, a->substeps >= 1 && a->substeps <= AXIS_STEPS_MAX, "1..1000"},
    };
    return first_broken(rule, sizeof rule / sizeof *rule, err);
}

/* Lines that bend the reading so far that it runs backwards are no interpolation error. */
static enum tune_status check_interpolation(const struct tune_axis *a, struct tune_error *err)
{
    double slope = 0.0;
    for (size_t k = 0; k < TUNE_INTERPOLATION_ORDERS; k++) {
        const double x = a->interpolation_rad[k];
        if (!isfinite(x)) return refuse(err, "interpolation_rad", x, finite);
        slope += fabs(x) * (double)(k + 1) * a->encoder_lines_per_turn;
        if (x != 0.0 && a->encoder_lines_per_turn == 0.0)
            return refuse(err, "interpolation_rad", x, "0 where the lines per turn are unknown");
    }
    if (slope < 1.0) return TUNE_OK;
    return refuse(err, "interpolation_rad", slope / a->encoder_lines_per_turn,
                  "so small that the reading still rises with the angle");
}

static enum tune_status check_other(const struct tune_axis *a, struct tune_error *err)
{
    for (size_t k = 0; k < TUNE_MODES_MAX; k++)
        if (!isfinite(a->other_ratio[k]))
            return refuse(err, "other_ratio", a->other_ratio[k], finite);
    return TUNE_OK;
}

static enum tune_status check_run(const struct tune_axis *axis, const struct tune_axis_run *run,
                                  struct tune_error *err)
{
    const size_t most = (size_t)1 << 31;
    const struct rule rule[] = {
        {"n", (double)run->n, run->n > 0 && run->n < most, "1..2^31 samples"},
        {"settle", (double)run->settle, run->settle < most, "below 2^31 samples"},
        {"start_rad", run->start_rad, isfinite(run->start_rad), finite},
        {"tracking_s", run->tracking_s, run->tracking_s >= 0.0 && isfinite(run->tracking_s),
         "0 (none) or more"},
        {"start_rad_per_s", run->start_rad_per_s, isfinite(run->start_rad_per_s), finite},
    };
    const enum tune_status status = first_broken(rule, sizeof rule / sizeof *rule, err);
    if (status || !run->controller) return status;
    if (run->controller->loop_rate_hz != axis->plant.loop_rate_hz)
        return refuse(err, "controller loop_rate_hz", run->controller->loop_rate_hz,
                      "the plant's loop rate");
    return tune_controller_check(run->controller, err);
}

/* The speed a torque gives the motor at once, rad/s per N m: complex residues do not vanish at high
 * frequency as those of an inertia do. */
static double sudden_speed(const struct tune_plant *plant)
{
    double sum = 0.0;
    if (!plant->complex_residues) return 0.0;
    for (size_t k = 0; k < plant->n_modes; k++)
        sum += fabs(plant->mode[k].gain_quadrature) / (2.0 * TUNE_PI * plant->mode[k].f_hz);
    return sum / plant->inertia_kg_m2;
}

/* Coulomb friction with the most that cables add to it, over that without; 0: there is none. */
static double most_rubbing(const struct tune_axis *axis)
{
    const double coulomb = axis->friction.coulomb_nm;
    return coulomb > 0.0 ? 1.0 + axis->drag_nm / coulomb : 0.0;
}

/* N m s/rad of all friction that rises with speed. */
static double friction_damping(const struct tune_axis *axis)
{
    return axis->friction.viscous_nm_s_per_rad +
           most_rubbing(axis) * axis->friction.bristle_nm_s_per_rad;
}

/* Friction acts on the motor as torque held over a step h; against the inertia J_m moving with the motor
 * at high frequency, J/(1 + sum of positive g), bristles ask for s0 h^2 << J_m and s1 h << J_m. Against
 * the sudden speed m they ask for s0 m h << 1. */
double tune_axis_steps_needed(const struct tune_axis *axis)
{
    const struct tune_friction *f = &axis->friction;
    const double bristles = most_rubbing(axis) * f->bristle_nm_per_rad;
    const double period = 1.0 / axis->plant.loop_rate_hz;
    double mobility = 1.0, stiffness, damping, sudden;
    for (size_t k = 0; k < axis->plant.n_modes; k++)
        mobility += fmax(axis->plant.mode[k].gain, 0.0);
    mobility /= axis->plant.inertia_kg_m2;
    stiffness = bristles * mobility * period * period;
    damping = friction_damping(axis) * mobility * period;
    sudden = bristles * sudden_speed(&axis->plant) * period;
    return ceil(
        fmax(fmax(axis->substeps, sudden / 0.05), fmax(sqrt(stiffness / 0.05), damping / 0.1)));
}

/* Friction that answers at once to the speed its own torque makes cannot be followed by any step. */
static enum tune_status check_sudden(const struct tune_axis *axis, struct tune_error *err)
{
    const double back = friction_damping(axis) * sudden_speed(&axis->plant);
    if (back < 0.1) return TUNE_OK;
    return refuse(err, "mode gain_quadrature", axis->plant.mode[0].gain_quadrature,
                  "smaller beside this friction, or 0: torque would change the speed at once by as "
                  "much as friction answers to");
}

enum tune_status tune_axis_check(const struct tune_axis *axis, const struct tune_axis_run *run,
                                 struct tune_error *err)
{
    enum tune_status status = check_plant(&axis->plant, err);
    if (!status) status = check_friction(&axis->friction, err);
    if (!status) status = check_surroundings(axis, err);
    if (!status) status = check_interpolation(axis, err);
    if (!status) status = check_other(axis, err);
    if (!status) status = check_run(axis, run, err);
    if (!status) status = check_sudden(axis, err);
    if (!status && tune_axis_steps_needed(axis) > AXIS_STEPS_MAX)
        status = refuse(err, "bristle_nm_per_rad", axis->friction.bristle_nm_per_rad,
                        "such that 1000 steps per loop period can follow the friction");
    return status;
}
