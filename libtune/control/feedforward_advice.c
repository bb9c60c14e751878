/* feedforward_advice.c - what to check before feedforward is switched on.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "control/feedforward.h"
#include "core/units.h"

struct page {
    char (*text)[TUNE_FEEDFORWARD_TEXT];
    size_t n;
};

__attribute__((format(printf, 2, 3))) static void say(struct page *page, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(page->text[page->n++], TUNE_FEEDFORWARD_TEXT, format, arguments);
    va_end(arguments);
}

static void say_inertia(struct page *page, const struct tune_feedforward *f,
                        const struct tune_slew *slew)
{
    const double j = f->inertia_kg_m2.value, std = f->inertia_kg_m2.std;
    const double a = slew ? slew->acceleration_rad_per_s2 : tune_rad_from_deg(1.0);
    say(page,
        "Sign: a target that accelerates by +%.3g deg/s^2 is given %+.4g N m, and that torque must "
        "turn the axis towards rising encoder angles. Where it does not, feedforward pushes "
        "against the move: change the sign before anything else.",
        tune_deg_from_rad(a), j * a);
    say(page,
        "Scale: that is torque at the axis; divide by the drive's own unit (N m per A or per "
        "count) and by the gear, if there is one. Twice the right torque leaves an error as large "
        "as none does, the other way round; half of it takes half of the error away: begin with "
        "half.");
    if (isfinite(std) && std > 0.0)
        say(page,
            "Inertia is known to %.2g %% (95 %%): up to %.3g N m of a move at %.3g deg/s^2 are "
            "left to the loop.",
            196.0 * std / j, 1.96 * std * a, tune_deg_from_rad(a));
}

static void say_friction(struct page *page, const struct tune_feedforward *f)
{
    if (f->coulomb_nm.value > 0.0)
        say(page,
            "Coulomb friction: %.3g N m with the sign of the target's speed, soft below %.3g "
            "arcsec/s; never of the measured speed, which makes a loop that hunts. Give less "
            "rather than more: too much jerks at every reversal.",
            f->coulomb_nm.value, tune_arcsec_from_rad(f->smooth_rad_per_s));
    else
        say(page, "Coulomb friction is not known and left out: after each reversal the loop has to "
                  "make it up, and slews have less torque than these limits say.");
}

static void say_imbalance(struct page *page, const struct tune_feedforward *f)
{
    const struct tune_imbalance *most;
    if (f->n_imbalance == 0) return;
    most = &f->imbalance[0];
    for (size_t i = 1; i < f->n_imbalance; i++)
        if (fabs(f->imbalance[i].torque_nm) > fabs(most->torque_nm)) most = &f->imbalance[i];
    say(page,
        "Out-of-balance: at %.4g deg the weight pulls %+.3g N m and is given %+.3g N m. Hold still "
        "there without feedforward: the drive's torque must be near %+.3g N m, else sign, scale or "
        "the zero of the angle is wrong.",
        tune_deg_from_rad(most->angle_rad), most->torque_nm, -most->torque_nm, -most->torque_nm);
}

static void say_slew(struct page *page, const struct tune_slew *slew)
{
    if (!slew) return;
    say(page,
        "Slew at no more than %.3g deg/s^2 and %.3g deg/s: that takes up to %.3g N m, of it %.3g "
        "where the inertia is largest, %.3g of friction and %.3g of imbalance; the rest of the "
        "drive's torque is for wind and the loop.",
        tune_deg_from_rad(slew->acceleration_rad_per_s2), tune_deg_from_rad(slew->speed_rad_per_s),
        slew->torque_nm, slew->torque_nm - slew->friction_nm - slew->imbalance_nm,
        slew->friction_nm, slew->imbalance_nm);
    if (slew->jerk_time_s > 0.0)
        say(page,
            "Let the acceleration rise and fall within %.4g s each (jerk %.3g deg/s^3): at %.4g "
            "Hz, locked rotor, the payload then rings by %.2g arcsec instead of %.2g.",
            slew->jerk_time_s, tune_deg_from_rad(slew->jerk_rad_per_s3), slew->ringing.locked_hz,
            tune_arcsec_from_rad(slew->ringing.ringing_rad),
            tune_arcsec_from_rad(slew->ringing.step_rad));
}

size_t tune_feedforward_advice(char text[TUNE_FEEDFORWARD_ADVICE][TUNE_FEEDFORWARD_TEXT],
                               const struct tune_feedforward *feedforward,
                               const struct tune_slew *slew)
{
    struct page page = {text, 0};
    say(&page,
        "Before feedforward is switched on: somebody at the emergency stop, torque, speed and "
        "travel limits of the drive set, travel free. Local rules, the drive's manual and those "
        "licensed to work on it come first. Try short slow moves both ways; the following error "
        "must get smaller.");
    say_inertia(&page, feedforward, slew);
    say_friction(&page, feedforward);
    say_imbalance(&page, feedforward);
    say_slew(&page, slew);
    return page.n;
}
