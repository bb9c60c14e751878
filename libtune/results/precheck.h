/* precheck.h - is the axis what the logbook says, from its first motions. precheck.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RESULTS_PRECHECK_H
#define TUNE_RESULTS_PRECHECK_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "results/notes.h"
#include "results/provenance.h"

enum tune_check_answer { TUNE_CHECK_AGREES, TUNE_CHECK_DISAGREES, TUNE_CHECK_NOT_TESTED };

enum { TUNE_CHECKS_MAX = 24 };

/* One question. Plain data. */
struct tune_check {
    char name[32]; /* "counts-per-turn", "torque-sign", ... */
    enum tune_check_answer answer;
    double stated;                 /* by the logbook; NAN: it says nothing */
    struct tune_estimate measured; /* NAN: nothing measured */
    double tolerance; /* of |measured - stated| beside the uncertainty; NAN: judged otherwise */
    char unit[32];    /* of stated, measured and tolerance */
    char text[TUNE_NOTE_LENGTH];   /* one sentence: how it was found, what it means */
    char advice[TUNE_NOTE_LENGTH]; /* what to do; empty: nothing */
};

/* Release with tune_precheck_free(). */
struct tune_precheck {
    struct tune_provenance provenance;
    size_t n_checks;
    struct tune_check check[TUNE_CHECKS_MAX];
    struct tune_notes notes, cautions;
};

/* "agrees", "disagrees", "not tested" */
TUNE_API const char *tune_check_answer_name(enum tune_check_answer answer);

/* Is what is stated a bound, at most that, rather than the value itself? */
TUNE_API bool tune_check_at_most(const struct tune_check *check);

/* The check of that name, or NULL. */
TUNE_API const struct tune_check *tune_precheck_find(const struct tune_precheck *result,
                                                     const char *name);

/* How many have this answer. */
TUNE_API size_t tune_precheck_count(const struct tune_precheck *result,
                                    enum tune_check_answer answer);

TUNE_API enum tune_status tune_precheck_json(char **text, const struct tune_precheck *result,
                                             struct tune_error *err);
TUNE_API enum tune_status tune_precheck_parse(struct tune_precheck *out, const char *name,
                                              const char *text, size_t size,
                                              struct tune_error *err);
TUNE_API void tune_precheck_free(struct tune_precheck *result);

#endif
