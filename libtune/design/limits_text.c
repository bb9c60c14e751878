/* limits_text.c - a change and what it would bring, in one sentence.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/limits.h"

#include <math.h>
#include <stdio.h>

#include "core/units.h"

enum { PART = 120 };

static void say_range(char text[PART], const char *what, const struct tune_limit *l, double unit,
                      const char *unit_name)
{
    (void)snprintf(text, PART, "half the %s (%.3g %s instead of %.3g)", what, unit * l->to,
                   unit_name, unit * l->from);
}

static void say_band(char text[PART], const char *what, const struct tune_limit *l, double unit,
                     const char *unit_name)
{
    (void)snprintf(text, PART, "half the %s between %.3g and %.3g Hz (%.3g %s rms)", what,
                   l->at_hz[0], l->at_hz[1], unit * l->to, unit_name);
}

static void say_limit(char text[PART], const char *what, const struct tune_limit *l, double unit,
                      const char *unit_name)
{
    (void)snprintf(text, PART, "%s of %.3g%s instead of %.3g", what, unit * l->to, unit_name,
                   unit * l->from);
}

/* Things of the axis and of the night. False: kind is none of these. */
static bool say_axis(char text[PART], const struct tune_limit *l)
{
    switch (l->kind) {
    case TUNE_LIMIT_DELAY:
        (void)snprintf(text, PART, "%.3g ms less delay", 1e3 * (l->from - l->to));
        return true;
    case TUNE_LIMIT_MODE_FREQUENCY:
        (void)snprintf(text, PART, "the mode at %.3g Hz stiffened to %.3g Hz", l->from, l->to);
        return true;
    case TUNE_LIMIT_MODE_DAMPING:
        (void)snprintf(text, PART, "the mode at %.3g Hz damped by %.2g instead of %.2g",
                       l->at_hz[0], l->to, l->from);
        return true;
    case TUNE_LIMIT_SENSOR_NOISE:
        say_range(text, "encoder noise", l, tune_arcsec_from_rad(1.0), "arcsec per sample");
        return true;
    case TUNE_LIMIT_WIND:
        say_range(text, "wind torque", l, 1.0, "N m rms");
        return true;
    case TUNE_LIMIT_DRIVE_NOISE:
        say_range(text, "torque noise of the drive", l, 1.0, "N m/rtHz");
        return true;
    case TUNE_LIMIT_TORQUE_BAND:
        say_band(text, "torque ripple", l, 1.0, "N m");
        return true;
    case TUNE_LIMIT_SENSOR_BAND:
        say_band(text, "interpolation error", l, tune_arcsec_from_rad(1.0), "arcsec");
        return true;
    default:
        return false;
    }
}

/* Things asked of the loop. */
static void say_demand(char text[PART], const struct tune_limit *l)
{
    switch (l->kind) {
    case TUNE_LIMIT_MODE_SHIFT:
        say_limit(text, "modes known to stay within a shift", l, 100.0, " %");
        return;
    case TUNE_LIMIT_NOISE_TORQUE:
        say_limit(text, "a limit on noise torque", l, 1.0, " N m rms");
        return;
    case TUNE_LIMIT_PEAK:
        say_limit(text, "a limit on peak sensitivity", l, 1.0, "");
        return;
    case TUNE_LIMIT_REDUCTION_PEAK:
        say_limit(text, "a limit on peak sensitivity with reduced gain", l, 1.0, "");
        return;
    case TUNE_LIMIT_LADDER_PEAK:
        say_limit(text, "a limit on peak sensitivity on the enable ladder", l, 1.0, "");
        return;
    case TUNE_LIMIT_DELAY_PEAK:
        say_limit(text, "a limit on peak sensitivity with one more sample of delay", l, 1.0, "");
        return;
    case TUNE_LIMIT_PHASE_MARGIN:
        say_limit(text, "a phase margin", l, tune_deg_from_rad(1.0), " deg");
        return;
    case TUNE_LIMIT_GAIN_MARGIN:
        say_limit(text, "a gain margin", l, 1.0, "");
        return;
    case TUNE_LIMIT_REDUCTION_MARGIN:
        say_limit(text, "a gain reduction margin", l, 1.0, "");
        return;
    case TUNE_LIMIT_ROLLOFF:
        say_limit(text, "a loop gain kept small only from a frequency", l, 1.0, " Hz");
        return;
    default:
        say_limit(text, "biquads with a pole damping", l, 1.0, "");
        return;
    }
}

const char *tune_limit_name(enum tune_limit_kind kind)
{
    static const char *const name[] = {
        [TUNE_LIMIT_DELAY] = "delay",
        [TUNE_LIMIT_MODE_FREQUENCY] = "mode_frequency",
        [TUNE_LIMIT_MODE_DAMPING] = "mode_damping",
        [TUNE_LIMIT_SENSOR_NOISE] = "sensor_noise",
        [TUNE_LIMIT_WIND] = "wind",
        [TUNE_LIMIT_DRIVE_NOISE] = "drive_noise",
        [TUNE_LIMIT_TORQUE_BAND] = "torque_ripple",
        [TUNE_LIMIT_SENSOR_BAND] = "interpolation_error",
        [TUNE_LIMIT_MODE_SHIFT] = "mode_shift",
        [TUNE_LIMIT_NOISE_TORQUE] = "noise_torque",
        [TUNE_LIMIT_PEAK] = "peak_sensitivity",
        [TUNE_LIMIT_REDUCTION_PEAK] = "gain_reduction_peak",
        [TUNE_LIMIT_LADDER_PEAK] = "enable_ladder_peak",
        [TUNE_LIMIT_DELAY_PEAK] = "delay_peak",
        [TUNE_LIMIT_PHASE_MARGIN] = "phase_margin",
        [TUNE_LIMIT_GAIN_MARGIN] = "gain_margin",
        [TUNE_LIMIT_REDUCTION_MARGIN] = "gain_reduction_margin",
        [TUNE_LIMIT_ROLLOFF] = "roll_off",
        [TUNE_LIMIT_POLE_DAMPING] = "biquad_pole_damping",
    };
    return name[kind];
}

double tune_limit_unit(const char **unit, enum tune_limit_kind kind)
{
    switch (kind) {
    case TUNE_LIMIT_DELAY:
        return *unit = "s", 1.0;
    case TUNE_LIMIT_MODE_FREQUENCY:
    case TUNE_LIMIT_ROLLOFF:
        return *unit = "Hz", 1.0;
    case TUNE_LIMIT_SENSOR_NOISE:
    case TUNE_LIMIT_SENSOR_BAND:
        return *unit = "arcsec", tune_arcsec_from_rad(1.0);
    case TUNE_LIMIT_WIND:
    case TUNE_LIMIT_TORQUE_BAND:
    case TUNE_LIMIT_NOISE_TORQUE:
        return *unit = "N m", 1.0;
    case TUNE_LIMIT_DRIVE_NOISE:
        return *unit = "N m/rtHz", 1.0;
    case TUNE_LIMIT_PHASE_MARGIN:
        return *unit = "deg", tune_deg_from_rad(1.0);
    default:
        return *unit = "", 1.0;
    }
}

/* Before and after, to three figures. */
static void say_jitter(char text[PART], const struct tune_limit *l, const char *between)
{
    const double before = tune_arcsec_from_rad(l->before_rad);
    const int decimals = (int)fmin(12.0, fmax(0.0, 2.0 - floor(log10(before))));
    (void)snprintf(text, PART, "%.*f %s %.*f arcsec", decimals, before, between, decimals,
                   tune_arcsec_from_rad(l->after_rad));
}

const char *tune_limit_sentence(char text[TUNE_LIMIT_TEXT], const struct tune_limit *limit)
{
    const char *slope = limit->solved ? "" : ", by its slope alone";
    char what[PART], jitter[PART];
    if (!say_axis(what, limit)) say_demand(what, limit);
    if (what[0] >= 'a' && what[0] <= 'z') what[0] = (char)(what[0] - 'a' + 'A');
    if (!limit->reached) {
        (void)snprintf(text, TUNE_LIMIT_TEXT,
                       "%s: no loop near the present one was found that would meet every demand",
                       what);
        return text;
    }
    say_jitter(jitter, limit, "to");
    if (fabs(limit->gain) < 0.005)
        (void)snprintf(text, TUNE_LIMIT_TEXT, "%s would hardly change the jitter (%s)%s", what,
                       jitter, slope);
    else
        (void)snprintf(text, TUNE_LIMIT_TEXT, "%s would %s the jitter from %s (%+.0f %%)%s", what,
                       limit->gain > 0.0 ? "lower" : "raise", jitter, -100.0 * limit->gain, slope);
    return text;
}
