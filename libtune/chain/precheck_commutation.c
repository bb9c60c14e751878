/* precheck_commutation.c - torque per unit against angle, and its loss to a wrong electrical angle.
 *
 * Beside each tolerance: common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

/* Largest departure of the gain at one place from the mean of places that can be compared, and the
 * place; places of different logs only where the other axis stood alike, since it moves the inertia. */
static bool find_variation(const struct precheck_work *work, struct tune_estimate *worst,
                           double *at_deg, size_t *places)
{
    double beyond = 0.0;
    *places = 0;
    worst->value = worst->std = 0.0;
    for (size_t i = 0; i < work->n; i++) {
        struct tune_estimate gain[4 * TUNE_PULSE_PLACES_MAX], mean;
        double angle[4 * TUNE_PULSE_PLACES_MAX];
        size_t n = 0;
        if (work->log[i].entry->kind != TUNE_LOG_PULSE || !work->log[i].usable) continue;
        for (size_t k = 0; k < work->n; k++) {
            const struct first_log *log = &work->log[k];
            const double other = log->entry->other_axis_deg;
            const double here = work->log[i].entry->other_axis_deg;
            if (log->entry->kind != TUNE_LOG_PULSE || !log->usable) continue;
            if (k != i && !(fabs(other - here) < 1.0 || (isnan(other) && isnan(here)))) continue;
            for (size_t j = 0; j < log->pulse.n_places && n < 4 * TUNE_PULSE_PLACES_MAX; j++) {
                gain[n] = log->pulse.place[j].gain;
                angle[n++] = log->pulse.place[j].angle_rad;
            }
        }
        mean = precheck_mean(gain, n);
        if (n > *places) *places = n;
        for (size_t j = 0; n > 1 && j < n; j++) {
            const double off = gain[j].value / mean.value - 1.0;
            const double std = fabs(gain[j].std / mean.value);
            if (fabs(off) - 4.0 * std < beyond && worst->std > 0.0) continue;
            beyond = fabs(off) - 4.0 * std;
            *worst = (struct tune_estimate){off, std};
            *at_deg = tune_deg_from_rad(angle[j]);
        }
    }
    return *places > 1;
}

static void offset_from_ratio(struct tune_check *check, const struct tune_estimate *ratio)
{
    const double r = fabs(ratio->value), least = cos(tune_rad_from_deg(check->stated));
    const bool named = precheck_confusion(PRECHECK_TORQUE, r, ratio->std / r) != NULL;
    check->measured.value = r < 1.0 ? tune_deg_from_rad(acos(r)) : 0.0;
    /* near 0 the arc cosine is steep: what a std of the ratio would open from there */
    check->measured.std =
        tune_deg_from_rad(fmin(acos(fmax(0.0, 1.0 - ratio->std)),
                               r < 1.0 ? ratio->std / sqrt(1.0 - r * r) : TUNE_PI / 2.0));
    precheck_text(
        check,
        "Torque per unit is %.4g times the stated one; a commutation angle off by "
        "%.2g deg, at most %.2g deg (95 %%), would make that, a wrong torque constant too.",
        r, check->measured.value,
        tune_deg_from_rad(acos(fmax(0.0, fmin(1.0, r - 1.645 * ratio->std)))));
    if (r + 4.0 * ratio->std < least) {
        check->answer = named ? TUNE_CHECK_NOT_TESTED : TUNE_CHECK_DISAGREES;
        precheck_advise(check,
                        "Find out which: repeat the drive's commutation search at several angles, "
                        "compare the constant with the data sheet (rms or peak), run the check "
                        "again.");
    } else if (r - 2.0 * ratio->std > 1.02) {
        precheck_advise(check, "Correct the torque per unit first: it is larger than stated.");
    } else if (r - 2.0 * ratio->std >= least) {
        check->answer = TUNE_CHECK_AGREES;
    } else {
        precheck_advise(check, "Too uncertain to tell: measure the torque per unit better.");
    }
}

void precheck_commutation(struct precheck_work *work)
{
    struct tune_check *check = precheck_add(work, "commutation", "deg electrical");
    struct tune_estimate worst;
    double at_deg = 0.0;
    size_t places;
    const bool varied = find_variation(work, &worst, &at_deg, &places);
    const size_t poles = work->chain.logbook.drive.pole_pairs;
    check->stated = work->chain.logbook.expected.commutation_offset_deg;
    if (varied && fabs(worst.value) > 0.05 + 4.0 * worst.std) {
        check->answer = TUNE_CHECK_DISAGREES;
        precheck_text(check,
                      "Torque per unit differs from place to place: by %+.3g %% +- %.2g %% at "
                      "%.4g deg, of %zu places.",
                      100.0 * worst.value, 100.0 * worst.std, at_deg, places);
        precheck_advise(check,
                        "Wrong pole pairs%s%.0d%s, counts per turn or a slipping encoder do that; "
                        "torque may reverse elsewhere. Do not move farther before it is found.",
                        poles ? " (stated: " : "", (int)poles, poles ? ")" : "");
        return;
    }
    if (precheck_known(&work->ratio)) {
        offset_from_ratio(check, &work->ratio);
        return;
    }
    precheck_missing(check, work, TUNE_LOG_LOAD,
                     "a known weight: a commutation angle that is off costs torque per ampere");
    if (varied)
        precheck_text(check,
                      "Torque per unit is the same within %.2g %% at %zu places; whether it is as "
                      "large as stated is not tested.",
                      100.0 * fmax(fabs(worst.value), worst.std), places);
}
