/* mode_verdict.c - may a fitted mode be relied on, and if not, why not?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/mode_verdict.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"

/* The fit's own bounds of the damping ratio, with a hair's breadth. */
static const double least_zeta = 1.01e-4, most_zeta = 0.297;

/* Damped beyond this a mode may stand on the bound within its std. */
static const double beside_bound = 0.2;

/* Common practice, no source. */
static const double gain_stds = 5.0, alike_from = 0.95, line_stds = 5.0, level_least = 0.002;

/* Parts of a sweep during which the axis turns back, from which on the whole fit is spoilt where there is friction
 * or none was looked for; and where none showed. With friction of a third of the torque injected the inertia came
 * out 5 % too large (12 std) at 2.3 %, 24 % at 5.6 %, with every gain, which is relative to it (simulated). */
static const double back_with_friction = 0.01, back_without = 0.05;

struct judging {
    struct tune_mode_verdict *out;
    const struct tune_fit *fit;
    const struct tune_mode_circumstances *about;
    size_t k;
};

static void add(struct judging *j, enum tune_soundness soundness, const char *format, ...)
    TUNE_PRINTF(3, 4);

static void add(struct judging *j, enum tune_soundness soundness, const char *format, ...)
{
    char text[2 * TUNE_MODE_REASON_TEXT];
    va_list arguments;
    if (soundness > j->out->soundness) j->out->soundness = soundness;
    if (j->out->n_reasons == TUNE_MODE_REASONS_MAX) return;
    va_start(arguments, format);
    (void)vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    tune_text_fit(j->out->reason[j->out->n_reasons++], TUNE_MODE_REASON_TEXT, text);
}

static const struct tune_mode *mode_of(const struct judging *j)
{
    return &j->fit->plant.mode[j->k];
}

/* ---- what the fit says of itself ----------------------------------------------------------------*/

static void judge_place(struct judging *j)
{
    const struct tune_mode *mode = mode_of(j);
    const double reach = fmax(3.0 * mode->zeta, 0.01), *band = j->about->band_hz;
    const double edge = mode->f_hz * (1.0 - reach) < band[0]   ? band[0]
                        : mode->f_hz * (1.0 + reach) > band[1] ? band[1]
                                                               : 0.0;
    if (edge > 0.0)
        add(j, TUNE_MODE_WITH_CARE,
            "the band swept ends at %.4g Hz, on its flank: sweep on beyond it", edge);
    if (tune_mode_on_bound(j->fit, j->k))
        add(j, TUNE_MODE_DOUBTFUL,
            "on the damping bound (%.3g %%): no resonance the data show, but what the fit put "
            "there for "
            "something the model lacks",
            100.0 * mode->zeta);
}

bool tune_mode_on_bound(const struct tune_fit *fit, size_t k)
{
    const double zeta = fit->plant.mode[k].zeta;
    return zeta <= least_zeta || zeta >= most_zeta ||
           (zeta > beside_bound && zeta + fit->mode_zeta[k].std >= most_zeta);
}

static void judge_size(struct judging *j)
{
    const struct tune_estimate *gain = &j->fit->mode_gain[j->k];
    if (fabs(gain->value) >= gain_stds * gain->std) return;
    add(j, TUNE_MODE_DOUBTFUL, "its gain is %.2g times its std only: sweep longer or harder",
        fabs(gain->value) / gain->std);
}

/* Two modes whose frequencies or gains go together cannot be told apart. */
static void judge_pair(struct judging *j)
{
    const size_t p = j->fit->n_params;
    const double *c = j->fit->covariance;
    double most = 0.0;
    size_t other = j->k;
    for (size_t m = 0; m < j->fit->plant.n_modes; m++)
        for (size_t part = 0; part < 3 && m != j->k; part += 2) {
            const size_t a = 3 + 3 * j->k + part, b = 3 + 3 * m + part;
            const double alike = fabs(c[a * p + b]) / sqrt(c[a * (p + 1)] * c[b * (p + 1)]);
            if (!(alike > most)) continue;
            most = alike;
            other = m;
        }
    if (most < alike_from) return;
    add(j, TUNE_MODE_WITH_CARE,
        "it can hardly be told from the mode at %.4g Hz (correlation %.3f): take the two together",
        j->fit->plant.mode[other].f_hz, most);
}

/* ---- what the records say -----------------------------------------------------------------------*/

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
    add(&j, t.much && !none_showed ? TUNE_MODE_DOUBTFUL : TUNE_MODE_WITH_CARE,
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
static void judge_motion(struct judging *j)
{
    const struct tune_mode *mode = mode_of(j);
    const double reach = fmin(fmax(3.0 * mode->zeta, 0.01), 0.3);
    const double band[2] = {mode->f_hz * (1.0 - reach), mode->f_hz * (1.0 + reach)};
    const bool friction = friction_seen(j->about);
    char where[64];
    if (find_turning(j->about).much) {
        struct tune_mode_verdict whole;
        tune_body_judge(&whole, j->about);
        add(j, whole.soundness, "%s", whole.reason[0]);
        return;
    }
    for (size_t i = 0; i < j->about->n_records; i++) {
        const struct tune_mode_record *record = &j->about->record[i];
        const struct tune_passage passage = tune_course_passage(record->course, band);
        if (!passage.back) continue;
        add(j, friction ? TUNE_MODE_DOUBTFUL : TUNE_MODE_WITH_CARE,
            "%sthe axis turns back while the sweep passes it (%.4g s)%s", in_record(where, j, i),
            passage.time_s,
            friction
                ? ", and there is friction: the damping comes out too high, by tens of per cent"
                : ": friction, if any, makes the damping too high; sweep on a faster ramp");
        return;
    }
    if (friction)
        add(j, TUNE_MODE_WITH_CARE,
            "friction answers the sweep: damping and gain may be off by more than their std");
    else if (friction_points(j->about))
        add(j, TUNE_MODE_WITH_CARE,
            "the levels differ as with friction, unless it is drift: damping and gain may be off "
            "by "
            "more than their std");
}

/* Measured: std of frequency and damping 1.8 times too small with three periods and lines at twice the width, and
 * still 1.4 times (damping) with eight. */
static void judge_spacing(struct judging *j)
{
    const struct tune_mode *mode = mode_of(j);
    const double width_hz = 2.0 * mode->zeta * mode->f_hz;
    double least_hz = (double)INFINITY;
    for (size_t i = 0; i < j->about->n_records; i++)
        least_hz = fmin(least_hz, j->about->record[i].line_spacing_hz);
    if (!(least_hz > width_hz) || j->about->n_records == 0) return;
    add(j, TUNE_MODE_WITH_CARE,
        "it is narrower (%.2g Hz) than the spacing of the excited lines (%.2g Hz): its std may be "
        "half of what they should be; excite with a longer period, or sweep",
        width_hz, least_hz);
}

static void judge_lines(struct judging *j)
{
    const struct tune_mode *mode = mode_of(j);
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
            add(j, TUNE_MODE_WITH_CARE,
                "%san error of the encoder, %.2g arcsec %.0f times per line, runs through it "
                "(%.3g to %.3g Hz): sweep on a ramp of another speed",
                in_record(where, j, i), tune_arcsec_from_rad(line->value), tune_line_order[order],
                speed[0] * per_rad, speed[1] * per_rad);
            return;
        }
    }
}

/* ---- what their comparison says -----------------------------------------------------------------*/

static void judge_levels(struct judging *j, const struct tune_level_mode *mode, double ratio)
{
    const double f = mode->f_slope.value * log(ratio), zeta = mode->zeta_slope.value * log(ratio);
    const char *drift = mode->or_drift ? ", or drifts as much between the sweeps" : "";
    if (mode->f_changes)
        add(j, TUNE_MODE_WITH_CARE,
            "its frequency changes by %.2g %% from the lowest level to the highest%s", 100.0 * f,
            drift);
    if (mode->zeta_changes)
        add(j, TUNE_MODE_WITH_CARE,
            "its damping changes by %.2g %% from the lowest level to the highest%s", 100.0 * zeta,
            drift);
    if (mode->gain_changes && !mode->f_changes && !mode->zeta_changes &&
        fabs(mode->gain_slope.value * log(ratio)) > level_least)
        add(j, TUNE_MODE_WITH_CARE,
            "its gain changes by %.2g %% from the lowest level to the highest%s",
            100.0 * mode->gain_slope.value * log(ratio), drift);
}

static void judge_course(struct judging *j)
{
    const struct tune_levels *levels = j->about->levels;
    const struct tune_level_mode *mode = levels ? &levels->mode[j->k] : NULL;
    if (!mode || !mode->known) return;
    const bool by_level = mode->f_changes || mode->zeta_changes || mode->gain_changes;
    if (by_level) judge_levels(j, mode, levels->level[levels->n_levels - 1] / levels->level[0]);
    if (mode->differs && !by_level)
        add(j, TUNE_MODE_WITH_CARE,
            "it differs from sweep to sweep by more than their noise: it drifts; std widened "
            "%.3g times in frequency, %.3g in damping",
            mode->widen[0], mode->widen[1]);
    if (mode->smeared)
        add(j, TUNE_MODE_WITH_CARE,
            "around it the fit leaves %.3g times the noise: it drifts within a sweep, or the model "
            "misses something; std widened %.3g times",
            mode->excess, mode->widen[0]);
}

void tune_mode_judge(struct tune_mode_verdict *out, const struct tune_fit *fit,
                     const struct tune_mode_circumstances *circumstances)
{
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        struct judging j = {.out = &out[k], .fit = fit, .about = circumstances, .k = k};
        memset(&out[k], 0, sizeof out[k]);
        if (fit->out_of_band[k]) continue;
        judge_size(&j);
        judge_place(&j);
        judge_pair(&j);
        judge_motion(&j);
        judge_spacing(&j);
        judge_lines(&j);
        judge_course(&j);
    }
}

const char *tune_soundness_name(enum tune_soundness soundness)
{
    static const char *const name[] = {"sound", "with care", "doubtful"};
    return (unsigned)soundness < 3 ? name[soundness] : "unknown";
}
