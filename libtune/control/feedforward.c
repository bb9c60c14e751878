/* feedforward.c - the torque of a move, and how much of it there may be.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/feedforward.h"

#include <math.h>

#include "core/units.h"

struct tune_feedforward tune_feedforward_from(const struct tune_plant *plant)
{
    return (struct tune_feedforward){
        .inertia_kg_m2 = {plant->inertia_kg_m2, (double)NAN},
        .viscous_nm_s_per_rad = {plant->viscous_nm_s_per_rad, (double)NAN},
        .coulomb_nm = {0.0, (double)NAN},
        .smooth_rad_per_s = tune_rad_from_arcsec(5.0), /* a third of the sidereal rate */
    };
}

static bool positive(double value)
{
    return value > 0.0 && isfinite(value);
}

enum tune_status tune_feedforward_check(const struct tune_feedforward *f, struct tune_error *err)
{
    if (!positive(f->inertia_kg_m2.value))
        return tune_error_range(err, "inertia_kg_m2", f->inertia_kg_m2.value, "positive");
    if (!(f->viscous_nm_s_per_rad.value >= 0.0 && isfinite(f->viscous_nm_s_per_rad.value)))
        return tune_error_range(err, "viscous_nm_s_per_rad", f->viscous_nm_s_per_rad.value,
                                "0 or more");
    if (!(f->coulomb_nm.value >= 0.0 && isfinite(f->coulomb_nm.value)))
        return tune_error_range(err, "coulomb_nm", f->coulomb_nm.value, "0 (not known) or more");
    if (f->coulomb_nm.value > 0.0 && !positive(f->smooth_rad_per_s))
        return tune_error_range(err, "smooth_rad_per_s", f->smooth_rad_per_s, "positive");
    for (size_t i = 0; i < f->n_imbalance; i++) {
        const struct tune_imbalance *point = &f->imbalance[i];
        if (!isfinite(point->torque_nm))
            return tune_error_range(err, "imbalance torque_nm", point->torque_nm, "finite");
        if (!isfinite(point->angle_rad) ||
            (i > 0 && !(point->angle_rad > f->imbalance[i - 1].angle_rad)))
            return tune_error_range(err, "imbalance angle_rad", point->angle_rad,
                                    "finite and rising");
    }
    return TUNE_OK;
}

double tune_feedforward_imbalance(const struct tune_feedforward *f, double angle_rad)
{
    const struct tune_imbalance *table = f->imbalance;
    size_t low = 0, high = f->n_imbalance;
    if (high == 0) return 0.0;
    if (!(angle_rad > table[0].angle_rad)) return table[0].torque_nm;
    if (angle_rad >= table[high - 1].angle_rad) return table[high - 1].torque_nm;
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        if (table[middle].angle_rad > angle_rad)
            high = middle;
        else
            low = middle;
    }
    high = low + 1;
    return table[low].torque_nm + (table[high].torque_nm - table[low].torque_nm) *
                                      (angle_rad - table[low].angle_rad) /
                                      (table[high].angle_rad - table[low].angle_rad);
}

double tune_feedforward_torque(const struct tune_feedforward *f, double angle_rad,
                               double speed_rad_per_s, double acceleration_rad_per_s2)
{
    double torque = f->inertia_kg_m2.value * acceleration_rad_per_s2 +
                    f->viscous_nm_s_per_rad.value * speed_rad_per_s -
                    tune_feedforward_imbalance(f, angle_rad);
    if (f->coulomb_nm.value > 0.0)
        torque += f->coulomb_nm.value * tanh(speed_rad_per_s / f->smooth_rad_per_s);
    return torque;
}

/* ---- how fast ------------------------------------------------------------------------------------*/

struct tune_slew_opts tune_slew_defaults(void)
{
    return (struct tune_slew_opts){.reserve = 0.3, .periods = 1};
}

static enum tune_status check_slew(const struct tune_slew_opts *o, const struct tune_plant *plants,
                                   size_t n_pointings, struct tune_error *err)
{
    if (!positive(o->torque_limit_nm))
        return tune_error_range(err, "torque_limit_nm", o->torque_limit_nm, "positive");
    if (!(o->reserve >= 0.0 && o->reserve < 1.0))
        return tune_error_range(err, "reserve", o->reserve, "0 .. below 1");
    if (!positive(o->speed_limit_rad_per_s))
        return tune_error_range(err, "speed_limit_rad_per_s", o->speed_limit_rad_per_s, "positive");
    if (o->periods < 1 || o->periods > 100)
        return tune_error_range(err, "periods", o->periods, "1 .. 100");
    if (n_pointings == 0) return tune_error_range(err, "pointings", 0.0, "1 or more");
    for (size_t p = 0; p < n_pointings; p++) {
        if (!positive(plants[p].inertia_kg_m2))
            return tune_error_range(err, "inertia_kg_m2", plants[p].inertia_kg_m2, "positive");
        if (plants[p].n_modes > TUNE_MODES_MAX)
            return tune_error_range(err, "n_modes", (double)plants[p].n_modes, "0 .. 24");
    }
    return TUNE_OK;
}

/* Torque of a move at its worst, and the acceleration it leaves. */
static enum tune_status share_torque(struct tune_slew *out, const struct tune_feedforward *f,
                                     const struct tune_plant *plants, size_t n_pointings,
                                     const struct tune_slew_opts *opts, struct tune_error *err)
{
    const double usable = (1.0 - opts->reserve) * opts->torque_limit_nm;
    double inertia = f->inertia_kg_m2.value;
    for (size_t p = 0; p < n_pointings; p++)
        inertia = fmax(inertia, plants[p].inertia_kg_m2);
    for (size_t i = 0; i < f->n_imbalance; i++)
        out->imbalance_nm = fmax(out->imbalance_nm, fabs(f->imbalance[i].torque_nm));
    out->speed_rad_per_s = opts->speed_limit_rad_per_s;
    out->friction_nm = f->coulomb_nm.value + f->viscous_nm_s_per_rad.value * out->speed_rad_per_s;
    out->acceleration_rad_per_s2 = (usable - out->friction_nm - out->imbalance_nm) / inertia;
    out->torque_nm = usable;
    if (out->acceleration_rad_per_s2 > 0.0) return TUNE_OK;
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "at full speed friction takes %.3g N m and imbalance %.3g N m, but a move "
                         "may use %.3g N m only: balance the axis, lower the speed or the reserve",
                         out->friction_nm, out->imbalance_nm, usable);
    tune_error_about(err, "torque_limit_nm", NULL, NULL);
    return TUNE_ENOSOL;
}

/* Middle between the lowest and highest locked-rotor frequency; 0: there is none. */
static enum tune_status middle_frequency(double *middle_hz, const struct tune_plant *plants,
                                         size_t n_pointings, struct tune_error *err)
{
    double lowest = HUGE_VAL, highest = 0.0;
    for (size_t p = 0; p < n_pointings; p++) {
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        size_t n;
        const enum tune_status status = tune_plant_antiresonances(zero, &n, &plants[p], err);
        if (status != TUNE_OK) return status;
        if (n == 0) continue;
        lowest = fmin(lowest, zero[0].f_hz);
        highest = fmax(highest, zero[0].f_hz);
    }
    *middle_hz = highest > 0.0 ? 0.5 * (lowest + highest) : 0.0;
    return TUNE_OK;
}

/* The onset of acceleration alone: at once, or within the jerk time. */
static enum tune_status ring(struct tune_slew_ringing *out, const struct tune_slew *slew,
                             const struct tune_plant *plant, struct tune_error *err)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t n;
    enum tune_status status = tune_plant_antiresonances(zero, &n, plant, err);
    *out = (struct tune_slew_ringing){0};
    if (status != TUNE_OK || n == 0) return status;
    out->locked_hz = zero[0].f_hz;
    out->locked_zeta = zero[0].zeta;
    status = tune_slew_ringing_ramp(&out->step_rad, plant, slew->acceleration_rad_per_s2, 0.0, err);
    if (status == TUNE_OK)
        status = tune_slew_ringing_ramp(&out->ringing_rad, plant, slew->acceleration_rad_per_s2,
                                        slew->jerk_time_s, err);
    return status;
}

enum tune_status tune_slew_limits(struct tune_slew *out, struct tune_slew_ringing *ringing,
                                  const struct tune_feedforward *feedforward,
                                  const struct tune_plant *plants, size_t n_pointings,
                                  const struct tune_slew_opts *opts, struct tune_error *err)
{
    double middle_hz = 0.0;
    enum tune_status status = tune_feedforward_check(feedforward, err);
    *out = (struct tune_slew){0};
    if (status == TUNE_OK) status = check_slew(opts, plants, n_pointings, err);
    if (status == TUNE_OK) status = share_torque(out, feedforward, plants, n_pointings, opts, err);
    if (status == TUNE_OK) status = middle_frequency(&middle_hz, plants, n_pointings, err);
    if (status == TUNE_OK) {
        out->jerk_time_s = middle_hz > 0.0 ? opts->periods / middle_hz : 0.0;
        out->jerk_rad_per_s3 =
            out->jerk_time_s > 0.0 ? out->acceleration_rad_per_s2 / out->jerk_time_s : HUGE_VAL;
    }
    for (size_t p = 0; p < n_pointings && status == TUNE_OK; p++) {
        struct tune_slew_ringing here;
        status = ring(&here, out, &plants[p], err);
        if (ringing) ringing[p] = here;
        if (p > 0 && !(here.ringing_rad > out->ringing.ringing_rad)) continue;
        out->ringing = here;
        out->worst = p;
    }
    if (status != TUNE_OK) *out = (struct tune_slew){0};
    return status;
}
