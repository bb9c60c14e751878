/* judgement.h - a requirement of the logbook and what became of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_JUDGEMENT_H
#define TUNE_JUDGEMENT_H

#include <stdbool.h>
#include <stddef.h>

#include "logbook/logbook.h"

enum { TUNE_JUDGEMENTS_MAX = 16, TUNE_REQUIREMENT_KEY = 32 };

/* Name of a judgement that stands only where a loop is not stable: limit 1, value 0. */
#define TUNE_JUDGEMENT_STABLE "stable"

/* Stable as fitted, but not with 95 % confidence: limit 1, value 0. */
#define TUNE_JUDGEMENT_STABLE_95 "stable_95"

/* The drive cannot hold the gains within every limit of the design: limit 1, value 0. */
#define TUNE_JUDGEMENT_TYPED "typed"

/* On the simulated axis, with torque limit and encoder step, the loop ran away or did not come to rest:
 * limit 1, value 0. */
#define TUNE_JUDGEMENT_SETTLES "settles"

/* With the loop of the other axis closed on its own gains both are not stable together, or a margin asked for is
 * lost: limit 1, value 0. */
#define TUNE_JUDGEMENT_OTHER_AXIS "other_axis"

/* |S| measured at injected tones against the bounds of the gains: the worst part of a bound, at most 1; NAN where
 * no tone is surely past its bounds, nor every one surely within. */
#define TUNE_JUDGEMENT_TONES "tones"

struct tune_judgement {
    char name[TUNE_REQUIREMENT_KEY]; /* the key in [requirement], or one of those above */
    double limit;                    /* as stated there, in the unit of its key */
    double value; /* reached (designed, predicted or measured); INFINITY or NAN possible */
    bool at_most; /* the limit is the most allowed; else the least */
    bool met;
    char where[TUNE_NAME_LENGTH + 1]; /* pointing or log that decides; empty: none in particular */
};

/* Plain data. Only what the logbook states stands here, and a loop that is not stable. met follows
 * from the items alone: whatever must survive the file has to be one of them. */
struct tune_judgements {
    size_t n;
    struct tune_judgement item[TUNE_JUDGEMENTS_MAX];
    bool met; /* all of them */
};

/* Judge value against limit and add it; a NAN limit (not stated) adds nothing, a NAN value is not met. */
TUNE_API void tune_judgements_add(struct tune_judgements *out, const char *name, double limit,
                                  double value, bool at_most, const char *where);

/* Neither met nor missed by what was measured, and so not met. */
TUNE_API bool tune_judgement_cannot_tell(const struct tune_judgement *item);

#endif
