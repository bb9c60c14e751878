/* precheck_internal.h - first motions measured log by log, then held against the logbook.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PRECHECK_INTERNAL_H
#define TUNE_PRECHECK_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "chain/chain_internal.h"
#include "chain/progress_internal.h"
#include "mechanics/first_motion.h"
#include "results/precheck.h"

/* What one log shows. */
struct first_log {
    const struct tune_log_entry *entry;
    size_t rows;
    bool usable;
    char why[TUNE_NOTE_LENGTH]; /* where not */
    /* by kind */
    struct tune_pulse_fit pulse;
    struct tune_estimate move_rad;
    struct tune_coast_fit coast;
    struct tune_limit_fit limit;
    struct tune_index_fit index;
    bool follows; /* following error could be looked at */
    struct tune_following_fit following;
    struct tune_record load; /* kept until the weights are compared */
};

/* A number that may not be known: value NAN. */
struct precheck_work {
    struct chain chain;
    size_t n;
    struct first_log *log; /* [n] */
    struct progress progress;
    struct tune_precheck *out;

    /* found on the way, for the checks behind */
    struct tune_estimate angle; /* logged angle / true angle, signed */
    struct tune_estimate gain;  /* rad/s^2 per N m as logged, signed */
    struct tune_estimate ratio; /* true torque / logged torque, signed */
    bool contradict;            /* the signs of move, load and pulses do not fit together */
    /* What became of the two above in the inertia and behind it: without sign; 1 +- 0, the stated scale,
     * where the check of the scale is not answered. */
    struct tune_estimate angle_used, ratio_used;
    struct tune_estimate inertia;
    bool inertia_measured;        /* else it is the expected one */
    struct tune_estimate coulomb; /* N m, true */
    double drag_nm_s_per_rad;
};

/* precheck_logs.c */
enum tune_status precheck_measure(struct precheck_work *work, struct tune_error *err);

/* precheck_scales.c: counts per turn, signs, torque per unit, inertia. */
enum tune_status precheck_scales(struct precheck_work *work, struct tune_error *err);
/* precheck_weights.c: true torque / logged torque from the weights; why: where they do not tell it. */
enum tune_status precheck_find_ratio(struct precheck_work *work, char why[TUNE_NOTE_LENGTH],
                                     struct tune_error *err);
/* Part of the weights' torque that mass and arm leave uncertain. */
double precheck_weight_doubt(const struct tune_log_entry *log,
                             const struct tune_log_entry *reference);
/* Gravity and inclination that went into it, and where from. */
void precheck_note_weights(struct precheck_work *work);
/* precheck_signs.c */
void precheck_encoder_sign(struct precheck_work *work);
void precheck_torque_sign(struct precheck_work *work);
/* precheck_scales.c: needs what the checks of counts and torque answered. */
void precheck_inertia(struct precheck_work *work);
/* precheck_commutation.c */
void precheck_commutation(struct precheck_work *work);
/* precheck_stopping.c; stopping needs what friction found. */
void precheck_friction(struct precheck_work *work);
void precheck_stopping(struct precheck_work *work);
/* precheck_limits.c */
void precheck_index(struct precheck_work *work);
void precheck_following(struct precheck_work *work);
void precheck_travel(struct precheck_work *work, enum tune_limit_side side);
/* precheck.c */
void precheck_doubt_by_counts(struct tune_precheck *out);

/* ---- precheck_judge.c: words and rules they share ------------------------------------------------*/

/* The next check of the result: not tested, nothing stated, nothing measured. */
struct tune_check *precheck_add(struct precheck_work *work, const char *name, const char *unit);

/* disagrees: off by more than tolerance + 4 std; agrees: within tolerance + 2 std and std at most
 * std_most; else not tested, with the advice given. */
void precheck_judge(struct tune_check *check, double tolerance, double std_most,
                    const char *if_uncertain);

void precheck_text(struct tune_check *check, const char *format, ...) TUNE_PRINTF(2, 3);
void precheck_advise(struct tune_check *check, const char *format, ...) TUNE_PRINTF(2, 3);

/* Why no usable log of this kind tells: there is none, or the first one's reason. */
void precheck_missing(struct tune_check *check, const struct precheck_work *work,
                      enum tune_log_kind kind, const char *what_to_log);

/* The confusion known to give this ratio of measured to stated, or NULL. */
enum precheck_scale { PRECHECK_COUNTS, PRECHECK_TORQUE };
const char *precheck_confusion(enum precheck_scale scale, double ratio, double relative_std);

/* Weighted mean of estimates, std widened where they scatter more than they say. */
struct tune_estimate precheck_mean(const struct tune_estimate *x, size_t n);

bool precheck_known(const struct tune_estimate *x);

/* Has the check of that name come to this answer? */
bool precheck_answered(const struct precheck_work *work, const char *name,
                       enum tune_check_answer answer);

/* 1, -1, or 0 where the value is not known or within 5 std of 0. */
double precheck_sign(const struct tune_estimate *x);

#endif
