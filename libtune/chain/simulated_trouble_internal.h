/* simulated_trouble_internal.h - what is written of a simulated run, and what is made wrong with it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SIMULATED_TROUBLE_INTERNAL_H
#define TUNE_SIMULATED_TROUBLE_INTERNAL_H

#include "core/random.h"
#include "logbook/description.h"
#include "record/record.h"
#include "results/truth.h"
#include "simulation/axis.h"

/* Columns of one log in SI; the time column holds the stamps. */
struct written_log {
    size_t n;
    double *channel[TUNE_ROLE_COUNT]; /* [n], own; NULL: not written */
};

/* Copies of what a log holds: time, excitation, torque, position, target, and where it is asked for sky,
 * load position and the payload's acceleration (of the angle, without noise).
 * Free it after a failure too. */
enum tune_status written_log_make(struct written_log *out, const struct tune_simulated_log *log,
                                  const struct tune_axis_trace *trace, const double *target_rad,
                                  const double *excitation_nm, double rate_hz,
                                  struct tune_error *err);
void written_log_free(struct written_log *log);

/* Troubles of axis and drive, before the run. */
void chain_trouble_axis(struct tune_axis *axis, const struct tune_simulated_log *log,
                        const struct tune_drive_entry *drive);
void chain_trouble_sweep(struct tune_sweep *sweep, const struct tune_trouble *trouble);

/* What troubles are judged by: axis as it was run, what is stated of it, and the run. */
struct trouble_case {
    const struct tune_simulated_log *log;
    const struct tune_axis *axis;
    const struct tune_axis_trace *trace;
    const double *excitation_nm;
    double stated_limit_nm, declared_step_rad; /* 0: not stated */
    double rate_hz, raw_per_rad;               /* raw: the unit of the position column */
};

/* Troubles of the recorder, after the run: first the columns, then its rows and their stamps. */
enum tune_status chain_trouble_columns(struct written_log *log, const struct trouble_case *c,
                                       struct tune_random *rng, struct tune_error *err);
enum tune_status chain_trouble_rows(struct written_log *log, const struct tune_trouble *trouble,
                                    double rate_hz, struct tune_random *rng,
                                    struct tune_error *err);

/* simulated_findings.c: what inspect should find, with row and value as truth.json gives them; columns as
 * chain_trouble_columns() left them. */
void chain_tell_troubles(struct tune_truth_log *truth, const struct trouble_case *c,
                         const struct written_log *columns);

/* A stamp of a clock that goes in steps. */
double chain_trouble_step(double stamp_s, const struct tune_trouble *trouble);

/* The sample at a time, 1..n-1. */
size_t chain_trouble_sample(double at_s, double rate_hz, size_t n);

#endif
