/* design_feedforward.c - numbers for the drive's feedforward, and how fast to move.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/feedforward.h"

#include <math.h>
#include <stdio.h>

#include "chain/design_internal.h"
#include "core/units.h"

/* One number for the whole sky: the mean over the pointings; its std holds their scatter and the fits' own. */
static struct tune_estimate over_sky(const struct tune_identification *id, bool viscous)
{
    const double n = (double)id->n_pointings;
    double mean = 0.0, variance = 0.0;
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_fit *fit = &id->pointing[i].fit;
        mean += (viscous ? fit->viscous : fit->inertia).value / n;
    }
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_fit *fit = &id->pointing[i].fit;
        const struct tune_estimate x = viscous ? fit->viscous : fit->inertia;
        variance += ((x.value - mean) * (x.value - mean) + x.std * x.std) / n;
    }
    return (struct tune_estimate){mean, sqrt(variance)};
}

static void take_slew(struct tune_feedforward_numbers *out, const struct tune_slew *slew,
                      const char *const *name)
{
    out->has_moves = true;
    out->speed_deg_per_s = tune_deg_from_rad(slew->speed_rad_per_s);
    out->acceleration_deg_per_s2 = tune_deg_from_rad(slew->acceleration_rad_per_s2);
    out->jerk_time_s = slew->jerk_time_s;
    out->jerk_deg_per_s3 = tune_deg_from_rad(slew->jerk_rad_per_s3);
    out->torque_nm = slew->torque_nm;
    out->step_ringing_arcsec = tune_arcsec_from_rad(slew->ringing.step_rad);
    out->ringing_arcsec = tune_arcsec_from_rad(slew->ringing.ringing_rad);
    out->locked_rotor_hz = slew->ringing.locked_hz;
    (void)snprintf(out->worst_pointing, sizeof out->worst_pointing, "%s", name[slew->worst]);
}

/* Limits of a move where the drive's own are stated; *found false where there are none to give. */
static enum tune_status limit_moves(struct tune_slew *slew, bool *found, struct tune_notes *notes,
                                    const struct tune_feedforward *feedforward,
                                    const struct design_work *work, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &work->basis.chain.logbook.drive;
    struct tune_slew_opts opts = tune_slew_defaults();
    /* a move of many seconds is not made at peak torque */
    opts.torque_limit_nm =
        drive->torque_continuous_nm > 0.0 ? drive->torque_continuous_nm : drive->torque_limit_nm;
    opts.speed_limit_rad_per_s = tune_rad_from_deg(drive->rate_limit_deg_per_s);
    *found = false;
    if (!(opts.torque_limit_nm > 0.0 && opts.speed_limit_rad_per_s > 0.0)) {
        tune_notes_add(notes, "No limits of acceleration and jerk: state rate_limit_deg_per_s and "
                              "torque_continuous_nm in [drive].");
        return TUNE_OK;
    }
    const enum tune_status status = tune_slew_limits(
        slew, NULL, feedforward, work->basis.plants.plant, work->basis.plants.n, &opts, err);
    if (status == TUNE_ENOSOL) {
        tune_notes_add(notes, "No limits of acceleration and jerk: %s.", err->text);
        tune_error_clear(err);
        return TUNE_OK;
    }
    *found = status == TUNE_OK;
    return status;
}

/* Over the travel, a whole turn where it is not stated: what pulls there, offset and all. */
enum { PLACES = 37 };

static void take_turns(struct tune_feedforward *out, struct tune_imbalance place[PLACES],
                       const struct chain_friction *f, const double travel_deg[2])
{
    const double low = isfinite(travel_deg[0]) ? travel_deg[0] : -180.0;
    const double high = isfinite(travel_deg[1]) ? travel_deg[1] : 180.0;
    const double pull = isfinite(f->imbalance_nm.std) ? f->imbalance_nm.value : 0.0;
    out->coulomb_nm = f->coulomb_nm;
    if (isfinite(f->viscous_nm_s_per_rad.std) &&
        f->viscous_nm_s_per_rad.std < out->viscous_nm_s_per_rad.std &&
        f->viscous_nm_s_per_rad.value >= 0.0)
        out->viscous_nm_s_per_rad = f->viscous_nm_s_per_rad;
    for (size_t i = 0; i < PLACES; i++) {
        const double deg = low + (high - low) * (double)i / (PLACES - 1);
        place[i].angle_rad = tune_rad_from_deg(deg);
        place[i].torque_nm =
            (pull > 0.0 ? pull * cos(tune_rad_from_deg(deg - f->imbalance_angle_deg.value)) : 0.0) -
            f->offset_nm;
    }
    out->imbalance = place;
    out->n_imbalance = PLACES;
}

static void say_source(struct tune_notes *advice, const struct chain_friction *f, double coulomb_nm)
{
    if (f->measured)
        tune_notes_add(advice, "Coulomb friction and out-of-balance are those that slow turns told "
                               "(balance); balance.csv has the holding torque by angle.");
    else if (coulomb_nm > 0.0)
        tune_notes_add(advice, "Coulomb friction is coulomb_nm of [expected], not measured here: "
                               "precheck or balance tells what it is.");
    if (f->why[0]) tune_notes_add(advice, "The slow turns told nothing: %s.", f->why);
}

enum tune_status chain_design_feedforward(struct tune_proposal *out, const struct design_work *work,
                                          struct tune_error *err)
{
    const double expected_nm = work->basis.chain.logbook.expected.coulomb_nm;
    struct tune_feedforward_numbers *numbers = &out->feedforward;
    struct tune_feedforward feedforward = tune_feedforward_from(&work->basis.plants.plant[0]);
    char text[TUNE_FEEDFORWARD_ADVICE][TUNE_FEEDFORWARD_TEXT];
    struct tune_imbalance place[PLACES];
    struct tune_slew slew;
    bool moves;
    feedforward.inertia_kg_m2 = over_sky(&work->basis.id, false);
    feedforward.viscous_nm_s_per_rad = over_sky(&work->basis.id, true);
    if (work->friction.measured)
        take_turns(&feedforward, place, &work->friction,
                   work->basis.chain.logbook.drive.travel_limit_deg);
    else if (expected_nm > 0.0)
        feedforward.coulomb_nm.value = expected_nm;
    const double coulomb_nm = feedforward.coulomb_nm.value;
    const enum tune_status status =
        limit_moves(&slew, &moves, &numbers->advice, &feedforward, work, err);
    if (status) return status;
    numbers->inertia_kg_m2 = feedforward.inertia_kg_m2;
    numbers->viscous_nm_s_per_rad = feedforward.viscous_nm_s_per_rad;
    numbers->coulomb_nm = coulomb_nm > 0.0 ? coulomb_nm : (double)NAN;
    numbers->smooth_arcsec_per_s =
        coulomb_nm > 0.0 ? tune_arcsec_from_rad(feedforward.smooth_rad_per_s) : (double)NAN;
    if (moves) take_slew(numbers, &slew, work->basis.plants.name);
    say_source(&numbers->advice, &work->friction, coulomb_nm);
    const size_t n = tune_feedforward_advice(text, &feedforward, moves ? &slew : NULL);
    for (size_t i = 0; i < n; i++)
        tune_notes_add(&numbers->advice, "%s", text[i]);
    return TUNE_OK;
}
