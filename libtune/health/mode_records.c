/* mode_records.c - what the records say of a fitted mode, and of the body.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "health/mode_verdict_internal.h"

/* Common practice, no source. */
static const double line_stds = 5.0;

/* Parts of a sweep during which the axis turns back, from which on the whole fit is spoilt where there is friction
 * or none was looked for; and where none showed. With friction of a third of the torque injected the inertia came
 * out 5 % too large (12 std) at 2.3 %, 24 % at 5.6 %, with every gain, which is relative to it (simulated). */
static const double back_with_friction = 0.01, back_without = 0.05;

static const struct tune_finding *find(const struct tune_health *health, const char *name)
{
    for (size_t i = 0; i < health->n_findings; i++)
        if (!strcmp(health->finding[i].name, name)) return &health->finding[i];
    return NULL;
}

static bool friction_points(const struct tune_mode_circumstances *about)
{
    return about->levels && (about->levels->causes & TUNE_CAUSE_FRICTION);
}

static bool friction_seen(const struct tune_mode_circumstances *about)
{
    if (friction_points(about) && !about->levels->or_drift) return true;
    for (size_t i = 0; i < about->n_records; i++)
        if (find(about->record[i].health, "friction-suspected")) return true;
    return false;
}

static bool looked_for(const struct tune_health *health)
{
    for (int band = 0; band < TUNE_NOISE_BANDS; band++)
        if (isfinite(health->measures.noise_ratio[band].value)) return true;
    return false;
}

/* The record in which the axis turns back for the largest part, and what that means. */
struct turning {
    const struct tune_mode_record *record; /* NULL: nowhere */
    double part;
    bool friction, looked, much;
};

static struct turning find_turning(const struct tune_mode_circumstances *about)
{
    struct turning t = {.friction = friction_seen(about)};
    for (size_t i = 0; i < about->n_records; i++) {
        const struct tune_finding *back = find(about->record[i].health, "velocity-reversal");
        if (!back || !(back->value > t.part)) continue;
        t.part = back->value;
        t.record = &about->record[i];
    }
    t.looked = t.record && looked_for(t.record->health);
    t.much = t.part >= (t.looked && !t.friction ? back_without : back_with_friction);
    return t;
}

void tune_body_judge(struct tune_mode_verdict *out, const struct tune_mode_circumstances *about)
{
    struct judging j = {.out = out, .about = about};
    const struct turning t = find_turning(about);
    const bool none_showed = t.looked && !t.friction;
    memset(out, 0, sizeof *out);
    if (!t.record || !(t.much || t.friction)) return;
    mode_verdict_add(
        &j, t.much && !none_showed ? TUNE_MODE_DOUBTFUL : TUNE_MODE_WITH_CARE,
        "the axis turns back for %.2g %% of a sweep%s for inertia and damping: sweep on a ramp "
        "faster by %.0f arcsec/s",
        100.0 * t.part,
        t.friction ? ", and there is friction, which passes"
        : t.looked ? "; friction did not show, but a little would pass"
                   : ", and without a quiet log friction was not looked for; it passes",
        tune_arcsec_from_rad(t.record->course->back_rad_per_s));
}

/* "in NAME ", where there is more than one. */
static const char *in_record(char text[64], const struct judging *j, size_t i)
{
    text[0] = '\0';
    if (j->about->n_records > 1) (void)snprintf(text, 64, "in %.56s ", j->about->record[i].name);
    return text;
}

/* While the sweep passes a mode the axis turns back: friction, where there is any, adds to its damping. */
void mode_judge_motion(struct judging *j)
{
    const struct tune_mode *mode = mode_verdict_of(j);
    const double reach = fmin(fmax(3.0 * mode->zeta, 0.01), 0.3);
    const double band[2] = {mode->f_hz * (1.0 - reach), mode->f_hz * (1.0 + reach)};
    const bool friction = friction_seen(j->about);
    char where[64];
    if (find_turning(j->about).much) {
        struct tune_mode_verdict whole;
        tune_body_judge(&whole, j->about);
        mode_verdict_add(j, whole.soundness, "%s", whole.reason[0]);
        return;
    }
    for (size_t i = 0; i < j->about->n_records; i++) {
        const struct tune_mode_record *record = &j->about->record[i];
        const struct tune_passage passage = tune_course_passage(record->course, band);
        if (!passage.back) continue;
        mode_verdict_add(
            j, friction ? TUNE_MODE_DOUBTFUL : TUNE_MODE_WITH_CARE,
            "%sthe axis turns back while the sweep passes it (%.4g s)%s", in_record(where, j, i),
            passage.time_s,
            friction
                ? ", and there is friction: the damping comes out too high, by tens of per cent"
                : ": friction, if any, makes the damping too high; sweep on a faster ramp");
        return;
    }
    if (friction)
        mode_verdict_add(
            j, TUNE_MODE_WITH_CARE,
            "friction answers the sweep: damping and gain may be off by more than their std");
    else if (friction_points(j->about))
        mode_verdict_add(
            j, TUNE_MODE_WITH_CARE,
            "the levels differ as with friction, unless it is drift: damping and gain may be off "
            "by "
            "more than their std");
}

/* Measured: std of frequency and damping 1.8 times too small with three periods and lines at twice the width, and
 * still 1.4 times (damping) with eight. */
void mode_judge_spacing(struct judging *j)
{
    const struct tune_mode *mode = mode_verdict_of(j);
    const double width_hz = 2.0 * mode->zeta * mode->f_hz;
    double least_hz = (double)INFINITY;
    for (size_t i = 0; i < j->about->n_records; i++)
        least_hz = fmin(least_hz, j->about->record[i].line_spacing_hz);
    if (!(least_hz > width_hz) || j->about->n_records == 0) return;
    mode_verdict_add(
        j, TUNE_MODE_WITH_CARE,
        "it is narrower (%.2g Hz) than the spacing of the excited lines (%.2g Hz): its std may be "
        "half of what they should be; excite with a longer period, or sweep",
        width_hz, least_hz);
}

void mode_judge_lines(struct judging *j)
{
    const struct tune_mode *mode = mode_verdict_of(j);
    const double low_hz = mode->f_hz * (1.0 - mode->zeta),
                 high_hz = mode->f_hz * (1.0 + mode->zeta);
    char where[64];
    for (size_t i = 0; i < j->about->n_records && j->about->encoder_lines_per_turn > 0.0; i++) {
        const struct tune_mode_record *record = &j->about->record[i];
        double speed[2];
        tune_course_speeds(speed, record->course);
        for (int order = 0; order < TUNE_LINE_ORDERS; order++) {
            const struct tune_estimate *line = &record->health->measures.interpolation_rad[order];
            const double per_rad =
                tune_line_order[order] * j->about->encoder_lines_per_turn / (2.0 * TUNE_PI);
            if (!(line->value > line_stds * line->std) || speed[1] * per_rad < low_hz ||
                speed[0] * per_rad > high_hz)
                continue;
            mode_verdict_add(
                j, TUNE_MODE_WITH_CARE,
                "%san error of the encoder, %.2g arcsec %.0f times per line, runs through it "
                "(%.3g to %.3g Hz): sweep on a ramp of another speed",
                in_record(where, j, i), tune_arcsec_from_rad(line->value), tune_line_order[order],
                speed[0] * per_rad, speed[1] * per_rad);
            return;
        }
    }
}
