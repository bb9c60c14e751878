/* precheck_weights.c - true torque per torque of the log, from known weights.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

/* The load log with the least weight: what the others are held against. */
static const struct first_log *reference_load(const struct precheck_work *work)
{
    const struct first_log *least = NULL;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind != TUNE_LOG_LOAD || !log->usable) continue;
        if (!least || log->entry->load_kg < least->entry->load_kg) least = log;
    }
    return least;
}

/* What the logs compare is the difference of the moments m L: the masses are weighed apart, one arm is the
 * same in both. */
double precheck_weight_doubt(const struct tune_log_entry *log,
                             const struct tune_log_entry *reference)
{
    const double arm = log->load_arm_m, mass = log->load_kg, less = reference->load_kg;
    const double other = less > 0.0 ? reference->load_arm_m : arm;
    const double masses = hypot(arm * log->load_std_kg, other * reference->load_std_kg);
    const double arms = arm == other
                            ? (mass - less) * log->load_arm_std_m
                            : hypot(mass * log->load_arm_std_m, less * reference->load_arm_std_m);
    return hypot(masses, arms) / fabs(mass * arm - less * other);
}

/* Compare one load with the reference; false: these two tell nothing, why says the reason. */
static enum tune_status compare_load(struct tune_estimate *ratio, bool *good, char *why,
                                     const struct precheck_work *work, const struct first_log *log,
                                     const struct first_log *reference, struct tune_error *err)
{
    const struct tune_axis_entry *axis = &work->chain.logbook.axis;
    const struct tune_weight weight = tune_log_weight(axis, log->entry);
    const struct tune_weight other = tune_log_weight(axis, reference->entry);
    const double scale = precheck_known(&work->angle) ? 1.0 / work->angle.value : 1.0;
    struct tune_load_fit fit;
    enum tune_status status;
    *good = false;
    if (isnan(weight.tilt_rad) || weight.tilt_rad > tune_rad_from_deg(80.0)) {
        (void)snprintf(why, TUNE_NOTE_LENGTH, "%s",
                       isnan(weight.tilt_rad)
                           ? "the inclination of the axis is not known: state latitude_deg or "
                             "load_axis_tilt_deg"
                           : "an upright axis does not feel a weight: pull on a known lever with a "
                             "spring balance instead, and trust the inertia");
        return TUNE_OK;
    }
    status = tune_load_fit(&fit, &log->load, &weight, &reference->load, &other, scale, err);
    if (status == TUNE_EDATA || status == TUNE_EINVAL) {
        (void)snprintf(why, TUNE_NOTE_LENGTH, "%.*s", TUNE_NOTE_LENGTH - 1, err ? err->text : "");
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (status) return status;
    /* the ratio is one over what the weight did to the torque: where that is nothing, it is anything */
    if (!(fit.ratio.std <= 0.5 * fabs(fit.ratio.value))) {
        (void)snprintf(why, TUNE_NOTE_LENGTH, "%s",
                       "no difference between the two load logs beyond their scatter; look whether "
                       "the weight was on in one and off in the other");
        return TUNE_OK;
    }
    *good = true;
    *ratio = fit.ratio;
    ratio->std =
        hypot(fit.ratio.std, fit.ratio.value * precheck_weight_doubt(log->entry, reference->entry));
    return TUNE_OK;
}

enum tune_status precheck_find_ratio(struct precheck_work *work, char why[TUNE_NOTE_LENGTH],
                                     struct tune_error *err)
{
    const struct first_log *reference = reference_load(work);
    struct tune_estimate *room = malloc((work->n + 1) * sizeof *room);
    enum tune_status status = TUNE_OK;
    size_t n = 0, loads = 0;
    if (!room) return tune_error_memory(err, "comparing weights");
    for (size_t i = 0; !status && i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        bool good;
        if (log->entry->kind != TUNE_LOG_LOAD || !log->usable || log == reference) continue;
        loads++;
        status = compare_load(&room[n], &good, why, work, log, reference, err);
        n += good;
    }
    work->ratio = precheck_mean(room, n);
    /* one weight, one arm, one reference: their errors do not average out */
    for (size_t i = 0; i < n; i++)
        work->ratio.std = fmax(work->ratio.std, fmin(room[i].std, room[0].std));
    if (reference && loads == 0)
        (void)snprintf(why, TUNE_NOTE_LENGTH, "%s",
                       "there is one load log only: it takes the same slow moves with and without "
                       "the weight");
    free(room);
    return status;
}

/* ---- what went into it ---------------------------------------------------------------------------*/

static const char *tilt_from(const struct tune_axis_entry *axis, const struct tune_log_entry *log)
{
    if (!isnan(log->load_axis_tilt_deg)) return "load_axis_tilt_deg";
    if (!strcmp(axis->name, "azimuth")) return "an azimuth axis is upright";
    if (!strcmp(axis->name, "hour-angle")) return "the latitude, as for every hour-angle axis";
    return "taken as level; state load_axis_tilt_deg where it is not";
}

static bool same_tilt(const struct tune_log_entry *one, const struct tune_log_entry *other)
{
    return one->load_axis_tilt_deg == other->load_axis_tilt_deg ||
           (isnan(one->load_axis_tilt_deg) && isnan(other->load_axis_tilt_deg));
}

void precheck_note_weights(struct precheck_work *work)
{
    const struct tune_axis_entry *axis = &work->chain.logbook.axis;
    const struct tune_log_entry *before = NULL;
    for (size_t i = 0; i < work->n; i++) {
        const struct tune_log_entry *log = work->log[i].entry;
        const struct tune_weight weight = tune_log_weight(axis, log);
        if (log->kind != TUNE_LOG_LOAD || (before && same_tilt(before, log))) continue;
        before = log;
        if (isnan(weight.tilt_rad)) continue; /* the check says that it is not known */
        tune_notes_add(&work->out->notes,
                       "Weight (log %s): g = %.5f m/s^2 (%s), axis inclined by %.4g deg (%s), arm "
                       "%.4g deg above the horizontal in the middle of the log's motion.",
                       log->name, weight.gravity_m_per_s2,
                       isnan(axis->latitude_deg) ? "standard; no latitude_deg is stated"
                                                 : "normal gravity at latitude_deg",
                       tune_deg_from_rad(weight.tilt_rad), tilt_from(axis, log),
                       log->load_arm_angle_deg);
    }
}
