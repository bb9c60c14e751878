/* antiwindup.c - what keeps the integral from running on while the torque is at its limit, in numbers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/units.h"
#include "results/coefficients.h"

/* gain: of the proportional path, N m/rad. */
static void note_limit(struct tune_notes *notes, const struct tune_drive_form *form, double gain,
                       double limit_nm)
{
    if (!(limit_nm > 0.0)) {
        tune_notes_add(notes, "Clamp torque and integral at the drive's torque limit; it is not "
                              "stated (torque_limit_nm).");
        return;
    }
    tune_notes_add(
        notes,
        "Clamp the torque behind the last filter, and the integral by itself, at %.6g N m "
        "(%.6g %s).",
        limit_nm, limit_nm / form->torque_unit_nm, form->torque_unit);
    if (gain > 0.0)
        tune_notes_add(
            notes,
            "A position error of %.4g arcsec reaches that limit by the proportional part "
            "alone: larger steps of the target belong behind a ramp.",
            tune_arcsec_from_rad(limit_nm / gain));
}

void tune_antiwindup_notes(struct tune_notes *notes, const struct tune_drive_form *form,
                           const struct tune_controller *controller, double torque_limit_nm)
{
    const struct tune_controller *c = controller;
    const double ti = c->kp_nm_per_rad / c->ki_nm_per_rad_s;
    const double td = c->kd_nm_s_per_rad / c->kp_nm_per_rad;
    struct tune_cascade cascade;
    double tt = tune_controller_tracking_s(c), gain = c->kp_nm_per_rad;
    if (!(c->ki_nm_per_rad_s > 0.0 && c->kp_nm_per_rad > 0.0)) {
        tune_notes_add(notes, "There is no integral part beside a proportional one: no tracking "
                              "time is needed.");
        note_limit(notes, form, gain, torque_limit_nm);
        return;
    }
    if (form->structure == TUNE_FORM_CASCADE && tune_cascade_from(&cascade, c, NULL) == TUNE_OK) {
        gain = cascade.velocity_gain_nm_s_per_rad * cascade.position_gain_per_s;
        tt = cascade.velocity_gain_nm_s_per_rad / cascade.velocity_integral_nm_per_rad;
        tune_notes_add(notes,
                       "Anti-windup of the velocity integral by back-calculation, tracking time Tt "
                       "= Ti = %.4g s: at each sample add T/Tt (torque at the limit - torque asked "
                       "for), T = %.6g s, to the integral.",
                       tt, 1.0 / c->loop_rate_hz);
    } else {
        tune_notes_add(notes,
                       "Anti-windup by back-calculation, tracking time Tt = %s = %.4g s (Ti = %.4g "
                       "s, Td = %.4g s): at each sample add T/Tt (torque at the limit - torque "
                       "asked for), T = %.6g s, to the integral.",
                       td > 0.0 ? "sqrt(Ti Td)" : "Ti", tt, ti, td, 1.0 / c->loop_rate_hz);
    }
    tune_notes_add(notes,
                   "Tt is a rule of thumb, not designed for this axis: a drive that has only "
                   "a clamp of the integral does without.");
    note_limit(notes, form, gain, torque_limit_nm);
}
