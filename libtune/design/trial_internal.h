/* trial_internal.h - what a trial plans and expects before it runs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRIAL_INTERNAL_H
#define TUNE_TRIAL_INTERNAL_H

#include "design/design_internal.h"
#include "design/trial.h"

/* How long each part of one pointing's trial is given, and how hard the axis is pushed. */
struct trial_plan {
    double given_s, large_s, large_rad, push_nm;
};

struct trial {
    const struct tune_controller *controller;
    const struct tune_plant *plants;
    const struct tune_trial_opts *opts;
    struct tune_disturbance smooth; /* at the loop rate, without bands */
    size_t n_pointings;
    struct tune_trial_run *run; /* [n_pointings] */
    struct trial_plan *plan;    /* [n_pointings] */
    struct pulse pulse;
    atomic_size_t done;
};

/* trial_plan.c: forecast, band and plan of one pointing (a struct trial as user, for tune_workers_run). */
enum tune_status trial_look_ahead(void *user, size_t pointing, struct tune_error *err);

#endif
