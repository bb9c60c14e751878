/* precheck_scales.c - counts, signs, torque per unit and inertia, from first motions.
 *
 * Beside each tolerance: common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

static double relative(const struct tune_estimate *x)
{
    return fabs(x->std / x->value);
}

/* ---- encoder -------------------------------------------------------------------------------------*/

/* Logged angle / true angle from all moves; NAN where none tells, or where they contradict in sign. */
static enum tune_status find_angle(struct precheck_work *work, const struct first_log **told,
                                   struct tune_error *err)
{
    struct tune_estimate *each = malloc((work->n + 1) * sizeof *each);
    size_t n = 0;
    if (!each) return tune_error_memory(err, "comparing moves");
    *told = NULL;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        const double known = tune_rad_from_deg(log->entry->known_angle_deg);
        if (log->entry->kind != TUNE_LOG_MOVE || !log->usable) continue;
        each[n].value = log->move_rad.value / known;
        each[n].std = fabs(each[n].value) *
                      hypot(relative(&log->move_rad),
                            log->entry->known_angle_std_deg / fabs(log->entry->known_angle_deg));
        if (n == 0) *told = log;
        n++;
    }
    for (size_t i = 1; i < n; i++)
        work->contradict = work->contradict || each[i].value * each[0].value < 0.0;
    work->angle = work->contradict ? (struct tune_estimate){(double)NAN, (double)NAN}
                                   : precheck_mean(each, n);
    free(each);
    return TUNE_OK;
}

static void check_counts(struct precheck_work *work, const struct first_log *told)
{
    const double counts = work->chain.logbook.drive.encoder_counts_per_turn;
    const bool stated = counts > 0.0;
    struct tune_check *check =
        precheck_add(work, "counts-per-turn", stated ? "counts/turn" : "logged/true angle");
    const struct tune_estimate *r = &work->angle;
    const char *why;
    check->stated = stated ? counts : 1.0;
    if (!precheck_known(r)) {
        precheck_missing(
            check, work, TUNE_LOG_MOVE,
            "a move over an angle that another instrument measures, as far as is safe");
        return;
    }
    check->measured.value = check->stated * fabs(r->value);
    check->measured.std = check->stated * r->std;
    precheck_text(check, "A move of %.6g deg by the other instrument is logged as %.6g deg.",
                  told->entry->known_angle_deg, tune_deg_from_rad(told->move_rad.value));
    precheck_judge(check, 0.001 * check->stated, 0.005 * check->stated,
                   "move farther, or measure the angle better (known_angle_std_deg).");
    if (check->answer != TUNE_CHECK_DISAGREES) return;
    why = precheck_confusion(PRECHECK_COUNTS, fabs(r->value), relative(r));
    precheck_advise(check,
                    "Every angle of the log is wrong by the factor %.5g%s%s: correct %s before "
                    "anything else moves.",
                    fabs(r->value), why ? "; known to come from " : "", why ? why : "",
                    stated ? "encoder_counts_per_turn" : "the unit or scale of position");
}

/* ---- torque --------------------------------------------------------------------------------------*/

static void find_gain(struct precheck_work *work, struct tune_estimate *room)
{
    size_t n = 0;
    for (size_t i = 0; i < work->n; i++)
        if (work->log[i].entry->kind == TUNE_LOG_PULSE && work->log[i].usable)
            room[n++] = work->log[i].pulse.gain;
    work->gain = precheck_mean(room, n);
}

static void check_torque(struct precheck_work *work, const char *why_not)
{
    const double unit = work->chain.logbook.drive.torque_per_unit_nm;
    const bool stated = unit > 0.0;
    struct tune_check *check =
        precheck_add(work, "torque-per-unit", stated ? "N m/unit" : "true/logged torque");
    const struct tune_estimate *r = &work->ratio;
    const char *why;
    check->stated = stated ? unit : 1.0;
    if (!precheck_known(r)) {
        precheck_missing(check, work, TUNE_LOG_LOAD,
                         "slow moves both ways with and without a known weight on a known arm");
        if (why_not[0]) precheck_text(check, "The weight tells nothing: %.250s.", why_not);
        return;
    }
    check->measured.value = check->stated * fabs(r->value);
    check->measured.std = check->stated * r->std;
    precheck_text(check,
                  "A known weight on a known arm, friction taken out by moving both ways: true "
                  "torque is %.4g times the logged one.",
                  fabs(r->value));
    precheck_judge(check, 0.02 * check->stated, 0.025 * check->stated,
                   "take a heavier weight or a longer arm, measure both better, move slower and "
                   "more often.");
    if (check->answer != TUNE_CHECK_DISAGREES) return;
    why = precheck_confusion(PRECHECK_TORQUE, fabs(r->value), relative(r));
    precheck_advise(check, "Every torque, gain and limit is wrong by the factor %.4g%s%s%s.",
                    fabs(r->value), why ? "; known to come from " : "", why ? why : "",
                    fabs(r->value) < 1.0 ? "; an error of the commutation angle looks the same"
                                         : "");
}

/* ---- inertia -------------------------------------------------------------------------------------*/

/* Part of the gain that friction makes uncertain: within a stroke it is not the constant that the fit takes
 * it for, it rises from rest and falls with speed. A tenth of it (common practice, no source; without
 * it a third of the 95 % intervals of simulated axes missed the inertia). */
static double friction_doubt(const struct precheck_work *work)
{
    double most = 0.0;
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind != TUNE_LOG_PULSE || !log->usable) continue;
        if (!precheck_known(&log->pulse.coulomb_nm)) continue;
        most = fmax(most, 0.1 * fabs(log->pulse.coulomb_nm.value) / log->pulse.pulse_nm);
    }
    return most;
}

/* A scale as measured where its check came to an answer, else as stated. */
static struct tune_estimate scale_used(const struct precheck_work *work, const char *name,
                                       const struct tune_estimate *measured)
{
    if (!precheck_known(measured) || precheck_answered(work, name, TUNE_CHECK_NOT_TESTED))
        return (struct tune_estimate){1.0, 0.0};
    return (struct tune_estimate){fabs(measured->value), measured->std};
}

/* True inertia = true torque / true acceleration. */
static void find_inertia(struct precheck_work *work)
{
    const struct tune_expected_entry *expected = &work->chain.logbook.expected;
    double square;
    work->ratio_used = scale_used(work, "torque-per-unit", &work->ratio);
    work->angle_used = scale_used(work, "counts-per-turn", &work->angle);
    work->inertia = (struct tune_estimate){expected->inertia_kg_m2, expected->inertia_std_kg_m2};
    work->inertia_measured = precheck_sign(&work->gain) != 0.0;
    if (!work->inertia_measured) return;
    work->inertia.value = work->ratio_used.value * work->angle_used.value / fabs(work->gain.value);
    square = pow(relative(&work->gain), 2.0) + pow(friction_doubt(work), 2.0) +
             pow(relative(&work->ratio_used), 2.0) + pow(relative(&work->angle_used), 2.0);
    work->inertia.std = work->inertia.value * sqrt(square);
}

void precheck_inertia(struct precheck_work *work)
{
    const struct tune_expected_entry *expected = &work->chain.logbook.expected;
    bool torque, counts;
    struct tune_check *check;
    find_inertia(work); /* before the check is added: it asks what the scales' checks answered */
    torque = work->ratio_used.std > 0.0;
    counts = work->angle_used.std > 0.0;
    check = precheck_add(work, "inertia", "kg m^2");
    check->stated = expected->inertia_kg_m2;
    if (!work->inertia_measured) {
        precheck_missing(check, work, TUNE_LOG_PULSE, "small torque pulses both ways");
        return;
    }
    check->measured = work->inertia;
    precheck_text(check, "From the pulses, with the %s torque per unit and the %s counts per turn.",
                  torque ? "measured" : "stated", counts ? "measured" : "stated");
    if (isnan(expected->inertia_kg_m2)) {
        precheck_advise(check, "To have it judged, state inertia_kg_m2 in [expected].");
        return;
    }
    /* 15 % at the usual expected std of 10 % */
    precheck_judge(check, 1.5 * expected->inertia_std_kg_m2, 0.05 * expected->inertia_kg_m2,
                   "give more pulses, or stronger ones where that is safe.");
    if (check->answer == TUNE_CHECK_DISAGREES)
        precheck_advise(check, "%s is not what the design says%s.",
                        torque && counts ? "The inertia" : "The inertia, or a scale not tested,",
                        torque ? ""
                               : ": test the torque per unit with a known weight (kind = load)");
}

enum tune_status precheck_scales(struct precheck_work *work, struct tune_error *err)
{
    struct tune_estimate *room = malloc((work->n + 1) * sizeof *room);
    const struct first_log *told = NULL;
    char why[TUNE_NOTE_LENGTH] = "";
    enum tune_status status =
        room ? find_angle(work, &told, err) : tune_error_memory(err, "comparing first motions");
    if (!status) {
        find_gain(work, room);
        status = precheck_find_ratio(work, why, err);
    }
    free(room);
    if (status) return status;
    if (precheck_sign(&work->angle) * precheck_sign(&work->gain) * precheck_sign(&work->ratio) <
        0.0)
        work->contradict = true;
    check_counts(work, told);
    precheck_encoder_sign(work);
    precheck_torque_sign(work);
    check_torque(work, why);
    precheck_inertia(work);
    return TUNE_OK;
}
