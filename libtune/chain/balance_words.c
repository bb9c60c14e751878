/* balance_words.c - slides and places as something to adjust, and the words around a balance.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "chain/balance_internal.h"
#include "core/units.h"

struct tune_adjuster balance_adjuster(const struct tune_weight_entry *weight, double level)
{
    const double angle = tune_rad_from_deg(weight->angle_deg);
    if (weight->place) /* a kilogram more is as much work as a slide moved by a centimetre */
        return (struct tune_adjuster){weight->arm_m * level, angle,           0.0,
                                      weight->most_kg,       weight->step_kg, 0.01};
    return (struct tune_adjuster){weight->mass_kg * level,     angle,
                                  1e-3 * weight->travel_mm[0], 1e-3 * weight->travel_mm[1],
                                  1e-3 * weight->step_mm,      1.0};
}

static void say_what_is_not_told(struct tune_balance *out, const struct tune_turn_fit *fit)
{
    if (!fit->known[TUNE_TURN_COULOMB])
        tune_notes_add(&out->notes, "The axis turned one way only: Coulomb friction and offset are "
                                    "one number. Turn it both ways.");
    else if (fit->value[TUNE_TURN_VISCOUS].std * fit->fastest_rad_per_s >
             0.05 * fabs(fit->value[TUNE_TURN_COULOMB].value))
        tune_notes_add(&out->notes,
                       "Coulomb and viscous friction are hardly told apart: together they are "
                       "%.4g +- %.2g N m at %.3g deg/s. Turn at two speeds, one several times the "
                       "other.",
                       out->friction_nm.value, out->friction_nm.std, out->slowest_deg_per_s);
    if (fit->level) return;
    if (!fit->known[TUNE_TURN_COSINE] || !fit->known[TUNE_TURN_SINE])
        tune_notes_add(&out->notes, "Out-of-balance is not told: the arc is too short. What stands "
                                    "here is of no use for a remedy; turn further.");
    else if (fit->value[TUNE_TURN_OFFSET].std >
             2.0 * tune_turn_standing(fit, 0.5 * (fit->low_rad + fit->high_rad)).std)
        tune_notes_add(&out->notes,
                       "Over an arc of %.0f deg offset and out-of-balance are hardly told apart: "
                       "their sum is well known there, each alone less. Turn further, or oftener.",
                       out->arc_deg[1] - out->arc_deg[0]);
}

static void say_assumed(struct tune_balance *out, const struct balance_work *work)
{
    const struct tune_logbook *logbook = &work->chain.logbook;
    if (out->level) {
        tune_notes_add(&out->notes, "An upright axis (name = azimuth) feels no weight: nothing is "
                                    "said of out-of-balance. Is it plumb?");
        return;
    }
    if (isfinite(out->imbalance_angle_deg.value))
        tune_notes_add(&out->notes,
                       "Sign: the weight pulls by imbalance cos(angle - %.1f deg) towards rising "
                       "angles, angles as the encoder counts them, positive torque raising them.",
                       out->imbalance_angle_deg.value);
    if (isfinite(tune_axis_tilt(&logbook->axis)))
        tune_notes_add(&out->notes,
                       "The axis is taken as inclined by %.1f deg against the horizontal (its name "
                       "and latitude), gravity as %.4f m/s^2: a shift or weight counts by the "
                       "cosine.",
                       tune_deg_from_rad(tune_axis_tilt(&logbook->axis)),
                       tune_axis_gravity(&logbook->axis));
    else
        tune_notes_add(&out->notes,
                       "No remedy: how far an hour-angle axis is inclined follows from "
                       "the latitude; state latitude_deg in [axis].");
    tune_notes_add(&out->notes,
                   "Offset is a constant torque of the log: cables, or an error of the "
                   "drive's torque that goes away when it is disabled. It is counted "
                   "against rest.");
    if (logbook->n_weights == 0)
        tune_notes_add(&out->notes,
                       "No masses are listed: [slide NAME] and [place NAME] in axis.ini "
                       "say what can be shifted or added, and the remedy is told in "
                       "millimetres and kilograms.");
}

static void caution(struct tune_balance *out)
{
    tune_notes_add(&out->cautions,
                   "Before weights move: lock or pin the axis by its own device, never rely on a "
                   "servo or a holding brake; secure each weight against falling, stay out from "
                   "under it. Local rules and licensed practice come first.");
    tune_notes_add(&out->cautions,
                   "Test the sign first: a small weight, or a tenth of the shift, axis locked in "
                   "between; log the same turn again. What remains must have become less by a "
                   "tenth. If it grew, an angle or a sign in axis.ini is wrong.");
    tune_notes_add(&out->cautions,
                   "Payload first, then the inner axis, then the outer one: what is "
                   "shifted on an inner axis changes the balance of the outer.");
    tune_notes_add(&out->cautions,
                   "Nothing was moved and nothing written to a drive. Before the drive is disabled "
                   "to try it: hands off, nobody in reach, stops able to take the axis.");
}

void balance_describe(struct tune_balance *out, const struct balance_work *work,
                      const struct tune_turn_fit *fit)
{
    say_what_is_not_told(out, fit);
    if (fit->saturated > 0.0)
        tune_notes_add(
            &out->notes,
            "Torque stood at its limit in %.2g %% of the samples: where the log holds the "
            "torque asked for, not that given, friction comes out too large.",
            100.0 * fit->saturated);
    say_assumed(out, work);
    chain_note_signs(&out->notes, &work->chain.logbook);
    chain_note_mappings(&out->notes, work->entry, work->n);
    caution(out);
}
