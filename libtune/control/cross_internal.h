/* cross_internal.h - which modes two axes share.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CROSS_INTERNAL_H
#define TUNE_CROSS_INTERNAL_H

#include "control/cross_loop.h"

/* What is taken for the same, and for softly held. */
struct cross_limits {
    double same_mode;    /* ln f: modes of one mount at two pointings lie nearer than that */
    double held_at_mode; /* loop gain of the other axis that leaves a mode recognisable */
};
extern const struct cross_limits cross_limits_usual;

/* The modes both axes share, as they are where the other one is free. */
struct cross_shared {
    struct tune_plant
        other; /* the other axis with them, and no second one of the same mode beside */
    struct tune_plant across; /* the modes of this axis with the gains of G21; 0: not shared */
};

/* before: what held the other axis in the sweeps; NULL: nothing, or it is no matter.
 * TUNE_ENOSOL: more modes than TUNE_MODES_MAX; held so stiffly that what was seen does not tell. */
enum tune_status tune_cross_share(struct cross_shared *out, const struct tune_cross_axes *axes,
                                  const struct tune_controller *before,
                                  const struct cross_limits *limits, struct tune_error *err);

/* tune_cross_judge() under other limits, for their study. */
enum tune_status tune_cross_judge_within(struct tune_margins *margins, bool *stable,
                                         const struct tune_cross_axes *axes,
                                         const struct tune_controller *controller,
                                         const struct tune_controller *other_now,
                                         const struct cross_limits *limits, struct tune_error *err);

#endif
