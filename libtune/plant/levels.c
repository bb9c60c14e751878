/* levels.c - records of one pointing against each other: levels, bands, modes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/levels.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plant/levels_internal.h"

/* Levels closer than this are one. */
static const double apart = 1.2;

/* Chance of a false alarm in all tests of a pointing together. */
static const double family = 1e-3;

static int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Records by rising level: a new one begins where a record is more than `apart` above the lowest of the last. */
static enum tune_status group_levels(struct level_case *c, struct tune_error *err)
{
    double *sorted = malloc(c->n * sizeof *sorted), first[TUNE_LEVELS_MAX];
    size_t levels = 0, count[TUNE_LEVELS_MAX] = {0};
    if (!sorted) return tune_error_memory(err, "comparing records");
    for (size_t i = 0; i < c->n; i++) {
        sorted[i] = c->given[i].level;
        if (sorted[i] > 0.0) continue;
        free(sorted); /* of one at least it is not known: nothing can be compared by level */
        return TUNE_OK;
    }
    qsort(sorted, c->n, sizeof *sorted, rising);
    for (size_t i = 0; i < c->n; i++)
        if (levels == 0 || (sorted[i] > apart * first[levels - 1] && levels < TUNE_LEVELS_MAX))
            first[levels++] = sorted[i];
    free(sorted);
    for (size_t i = 0; i < c->n; i++) {
        size_t at = levels - 1;
        while (c->given[i].level < first[at])
            at--;
        c->level_of[i] = at;
        c->out->level[at] += c->given[i].level;
        count[at]++;
    }
    for (size_t l = 0; l < levels; l++)
        c->out->level[l] /= (double)count[l];
    c->out->n_levels = levels;
    return TUNE_OK;
}

bool level_drifts(double scatter, double dof)
{
    return dof > 0.0 && gsl_cdf_chisq_Q(scatter * dof, dof) < 0.05;
}

/* ---- what it points to --------------------------------------------------------------------------*/

/* Changes that count: those whose chance by drift is below `drift`. */
static bool band_counts(const struct tune_level_band *band, double drift)
{
    return band->verdict == TUNE_LEVEL_CHANGES && band->drift_chance < drift;
}

static bool any_counts(const struct tune_levels *out, double drift)
{
    for (size_t i = 0; i < out->n_bands; i++)
        if (band_counts(&out->band[i], drift)) return true;
    for (size_t k = 0; k < out->n_modes; k++) {
        const struct tune_level_mode *mode = &out->mode[k];
        if ((mode->f_changes && mode->drift_chance[0] < drift) ||
            (mode->zeta_changes && mode->drift_chance[1] < drift) ||
            (mode->gain_changes && mode->drift_chance[2] < drift))
            return true;
    }
    return false;
}

static unsigned find_causes(const struct tune_levels *out, double drift)
{
    unsigned causes = 0;
    for (size_t i = 0; i < out->n_bands; i++)
        if (out->band[i].kind == TUNE_BAND_BELOW && band_counts(&out->band[i], drift) &&
            out->band[i].change.value > 0.0)
            causes |= TUNE_CAUSE_FRICTION;
    for (size_t k = 0; k < out->n_modes; k++)
        if (out->mode[k].zeta_changes && out->mode[k].drift_chance[1] < drift &&
            out->mode[k].zeta_slope.value < 0.0)
            causes |= TUNE_CAUSE_FRICTION;
    /* friction makes an axis that hardly moves stiffer: a mode that falls with level tells no more then */
    for (size_t k = 0; k < out->n_modes && !causes; k++)
        if (out->mode[k].f_changes && out->mode[k].drift_chance[0] < drift)
            return out->mode[k].f_slope.value < 0.0 ? TUNE_CAUSE_LOOSE : TUNE_CAUSE_HARDENING;
    return causes;
}

enum tune_level_verdict tune_levels_verdict(const struct tune_levels *levels)
{
    size_t linear = 0, same = 0;
    for (size_t i = 0; i < levels->n_bands; i++) {
        if (levels->band[i].verdict == TUNE_LEVEL_CHANGES) return TUNE_LEVEL_CHANGES;
        linear += levels->band[i].verdict == TUNE_LEVEL_LINEAR;
        same += levels->band[i].verdict == TUNE_LEVEL_SAME;
    }
    for (size_t k = 0; k < levels->n_modes; k++)
        if (levels->mode[k].f_changes || levels->mode[k].zeta_changes ||
            levels->mode[k].gain_changes)
            return TUNE_LEVEL_CHANGES;
    if (linear > 0) return TUNE_LEVEL_LINEAR;
    return same > 0 && same == levels->n_bands ? TUNE_LEVEL_SAME : TUNE_LEVEL_UNTOLD;
}

double tune_levels_within(const struct tune_levels *levels)
{
    double worst = 0.0;
    for (size_t i = 0; i < levels->n_bands; i++)
        if (levels->band[i].verdict == TUNE_LEVEL_LINEAR)
            worst = fmax(worst, levels->band[i].within);
    return worst;
}

void tune_levels_bands(char *text, size_t size, const struct tune_levels *levels,
                       enum tune_level_verdict verdict)
{
    const size_t longest = sizeof ", 1.23e+03 to 1.23e+03, ..";
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < levels->n_bands; i++) {
        const size_t first = i;
        if (levels->band[i].verdict != verdict) continue;
        while (i + 1 < levels->n_bands && levels->band[i + 1].verdict == verdict)
            i++;
        if (used + longest > size) {
            (void)snprintf(text + used, size - used, ", ..");
            return;
        }
        used += (size_t)snprintf(text + used, size - used, "%s%.3g to %.3g", used ? ", " : "",
                                 levels->band[first].band_hz[0], levels->band[i].band_hz[1]);
    }
}

const char *tune_level_verdict_name(enum tune_level_verdict verdict)
{
    static const char *const name[] = {"linear", "changes with level", "cannot be told",
                                       "not tested: same level"};
    return (unsigned)verdict < 4 ? name[verdict] : "unknown";
}

const char *tune_level_cause_text(unsigned causes)
{
    if (causes & TUNE_CAUSE_FRICTION)
        return "friction: the axis answers a weak torque less, or more damped, than a strong one; "
               "sweep on a ramp fast enough that it never turns back";
    if (causes & TUNE_CAUSE_LOOSE)
        return "a loose joint or a gap: a resonance falls as it is driven harder; look for bolts, "
               "bearings and gears with play";
    if (causes & TUNE_CAUSE_HARDENING)
        return "a part that stiffens as it is driven harder, such as a contact that closes or a "
               "belt; a resonance rises with level";
    return "";
}

/* ---- all of it ----------------------------------------------------------------------------------*/

static enum tune_status make_records(struct level_case *c, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < c->n && !status; i++) {
        status = record_fit_make(&c->record[i], c->given[i].lines, c->fit, err);
        if (status != TUNE_EDATA) continue;
        record_fit_free(&c->record[i]); /* too few lines of its own: it tells nothing */
        tune_error_clear(err);
        status = TUNE_OK;
    }
    return status;
}

enum tune_status tune_levels_compare(struct tune_levels *out,
                                     const struct tune_level_record *record, size_t n,
                                     const struct tune_fit *fit, const double band_hz[2],
                                     struct tune_error *err)
{
    struct level_case c = {.out = out, .fit = fit, .band_hz = band_hz, .n = n, .given = record};
    size_t tests = 0;
    enum tune_status status = TUNE_OK;
    *out = (struct tune_levels){.n_records = n};
    if (n == 0) return tune_error_set(err, TUNE_EINVAL, "there are no records to compare");
    c.record = calloc(n, sizeof *c.record);
    c.level_of = calloc(n, sizeof *c.level_of);
    if (!c.record || !c.level_of) status = tune_error_memory(err, "comparing records");
    if (!status) status = group_levels(&c, err);
    if (!status) status = make_records(&c, err);
    if (!status) {
        level_compare_bands(&c, &tests);
        level_compare_modes(&c, &tests);
        level_judge_bands(&c, family / fmax(1.0, (double)tests));
        level_judge_modes(&c, family / fmax(1.0, (double)tests));
        out->or_drift =
            tune_levels_verdict(out) == TUNE_LEVEL_CHANGES && !any_counts(out, level_drift_chance);
        out->causes = find_causes(out, out->or_drift ? 2.0 : level_drift_chance);
    }
    for (size_t i = 0; c.record && i < n; i++)
        record_fit_free(&c.record[i]);
    free(c.record);
    free(c.level_of);
    if (status) *out = (struct tune_levels){0};
    return status;
}
