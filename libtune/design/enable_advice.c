/* enable_advice.c - the ladder in sentences, for the person who climbs it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "core/units.h"

struct page {
    char (*text)[TUNE_ENABLE_TEXT];
    size_t n;
};

static void say(struct page *page, const char *format, ...) TUNE_PRINTF(2, 3);
static void say(struct page *page, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    (void)vsnprintf(page->text[page->n++], TUNE_ENABLE_TEXT, format, list);
    va_end(list);
}

static void say_ramps(struct page *page, const struct tune_enable_ladder *ladder)
{
    const double lowest_db = tune_db_from_ratio(ladder->scalar_lowest);
    if (ladder->scalar_lowest > 0.0)
        say(page,
            "A plain factor on all three gains is another ladder: it is stable only from %.1f dB "
            "up. "
            "A drive at its torque limit acts as such a factor.",
            lowest_db);
    else
        say(page, "A plain factor on all three gains is stable from zero up.");
    if (ladder->integrator_last)
        say(page,
            "A drive that can only ramp one factor: start with ki = 0, raise the factor from 0 to "
            "1, "
            "then raise ki from 0 to its value (largest |S| on the way %.2f).",
            ladder->integrator_last_peak);
    else
        say(page,
            "Raising all gains without the integrator and ki last is not proved stable here: do "
            "not do it.");
    say(page,
        "Never fade from the old controller to the new one: a mixture of two stable controllers "
        "can be unstable. Disable, load the next rung, enable.");
}

size_t tune_enable_advice(char text[TUNE_ENABLE_ADVICE][TUNE_ENABLE_TEXT],
                          const struct tune_enable_ladder *ladder)
{
    struct page page = {text, 0};
    say(&page,
        "Before the first rung: somebody at the emergency stop, torque and speed limits of the "
        "drive "
        "low, travel free, signs and scales proved; local rules and the drive's "
        "manual come first.");
    if (!ladder->timid)
        say(&page, "Even the first rung reaches towards the lowest resonance or is loud: lower the "
                   "drive's torque limit for it.");
    say(&page,
        "Climb one rung at a time. On each: log quietly for the time given, with the tones off, "
        "then "
        "once more with each tone. Choose calm air: on the first rung the disturbance "
        "stated moves the "
        "axis "
        "by %.3g arcsec rms.",
        tune_arcsec_from_rad(ladder->rung[0].encoder_rms_rad));
    say(&page,
        "The tones are not optional: the rms of a quiet log hardly feels a wrong gain of the plant "
        "(four times the inertia passes the lower rungs), |S| at a tone does on the first. "
        "verify measures it from the log.");
    say(&page, "Go back a rung, or disable, when the rms of encoder or torque about its straight "
               "line is over "
               "twice the expected, or |S| at a tone lies outside its bounds (20 %%): the plant is "
               "then not "
               "the one identified.");
    say(&page, "Look for a tone that grows from rung to rung, for torque near its limit, for a "
               "growl near a "
               "resonance. Friction is not in the forecast: a stiff axis shows less, a sticking "
               "one hunts.");
    say_ramps(&page, ladder);
    return page.n;
}
