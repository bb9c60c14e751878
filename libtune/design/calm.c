/* calm.c - least noise torque that keeps the jitter limits, from bold designs.
 *
 * A bold loop has noise torque to give away: the search goes downhill from it along the jitter limits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <string.h>

#include "core/workers.h"

enum { ROUNDS = 25 };

struct tune_design_opts design_bold_opts(const struct tune_design_opts *opts)
{
    struct tune_design_opts bold = *opts;
    bold.goal = TUNE_GOAL_BOLD;
    bold.encoder_objective = opts->encoder_limit_rad > 0.0 && !(opts->sky_limit_rad > 0.0);
    bold.encoder_limit_rad = bold.sky_limit_rad = 0.0;
    return bold;
}

struct field {
    const struct problem *problem;
    struct pulse *pulse;
    struct candidate *candidate;
};

static enum tune_status search_one(void *user, size_t item, struct tune_error *err)
{
    struct field *field = user;
    return design_search(&field->candidate[item], field->problem, ROUNDS, field->pulse, err);
}

/* Valleys differ: from the bold design, and from the calm one of a biquad less. */
static enum tune_status next(struct candidate *best, const struct candidate *before,
                             const struct problem *problem, struct pulse *pulse,
                             struct tune_error *err)
{
    struct candidate grown;
    enum tune_status status;
    /* one that misses a limit grows into what the bold design gave already, or into nothing */
    if (!before || (!design_feasible(before) && design_feasible(best))) return TUNE_OK;
    status = design_grow(&grown, before, problem, pulse, err);
    if (status == TUNE_OK && design_better(&grown, best)) *best = grown;
    return status;
}

enum tune_status design_calm(struct tune_design *out, struct candidate *found, size_t n,
                             struct problem *problem, struct pulse *pulse, struct tune_error *err)
{
    struct field field = {.problem = problem, .pulse = pulse, .candidate = found};
    const double from = pulse->done, to = pulse->until;
    enum tune_status status = tune_workers_run(n, problem->opts->threads, search_one, &field, err);
    for (size_t i = 0; i < n && status == TUNE_OK; i++) {
        struct standing worst;
        atomic_store(&pulse->done, from + (to - from) * (double)(i + 1) / (double)(n + 1));
        status = next(&found[i], i > 0 ? &found[i - 1] : NULL, problem, pulse, err);
        if (status == TUNE_OK)
            status = design_settle(&out->step[i], &worst, &found[i], problem, pulse, err);
        if (status != TUNE_OK) break;
        if (i > 0 && !design_improves(&out->step[i], &out->step[i - 1], TUNE_GOAL_CALM)) {
            memset(&out->step[i], 0, sizeof out->step[i]);
            break;
        }
        out->n_steps = i + 1;
    }
    return status;
}
