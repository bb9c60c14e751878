/* bound.c - the least jitter any linear controller of one pointing can reach.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/bound.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/bound_internal.h"

struct tune_bound_opts tune_bound_defaults(void)
{
    return (struct tune_bound_opts){.peak_sensitivity = 1.7};
}

/* As a design of one pointing without mode shifts. Limits that are not asked are set where the design's
 * own check lets them pass. */
static struct tune_design_opts as_design(const struct tune_bound_opts *opts)
{
    struct tune_design_opts design = tune_design_defaults();
    design.encoder_objective = opts->encoder_objective;
    design.mode_shift = 0.0;
    design.sensor_noise_rad = opts->sensor_noise_rad;
    design.noise_torque_rms_nm = opts->noise_torque_rms_nm == 0.0 ? 1.0 : opts->noise_torque_rms_nm;
    if (opts->peak_sensitivity != 0.0) design.peak_sensitivity = opts->peak_sensitivity;
    return design;
}

static enum tune_status check_start(const struct tune_plant *plant,
                                    const struct tune_controller *start, struct tune_error *err)
{
    bool stable = false;
    enum tune_status status = tune_controller_check(start, err);
    if (status == TUNE_OK) status = tune_loop_judge(NULL, &stable, plant, start, err);
    if (status != TUNE_OK || stable) return status;
    (void)tune_error_set(err, TUNE_EINVAL,
                         "the controller to start from does not hold the axis stably: take the one "
                         "in use, or a design");
    tune_error_about(err, "start", "unstable", "stable");
    return TUNE_EINVAL;
}

/* What every level needs, and the grid it stands on. */
struct task {
    struct problem *problem;
    struct tune_controller first, start;
    struct bound_limits limits;
    struct bound_points points;
};

/* What one level found. */
struct level {
    struct bound_figures figures, start; /* by the grid after it */
    size_t n;
    double least2, dual2; /* J^2 on its own grid, and below what it cannot go there */
};

static enum tune_status stand_on(struct task *task, struct tune_error *err)
{
    bound_points_free(&task->points);
    return bound_points_init(&task->points, task->problem, &task->first, &task->start, err);
}

/* Solve on this grid, look at it on the next. */
static enum tune_status solve_in(struct level *out, struct task *task,
                                 const struct bound_basis *basis, const struct bound_space *space,
                                 struct bound_progress progress, struct tune_error *err)
{
    double *x = calloc(space->n, sizeof *x);
    double complex *dr = NULL;
    enum tune_status status = TUNE_OK;
    out->n = space->n;
    if (!x) status = tune_error_memory(err, "bounding the jitter");
    if (status == TUNE_OK)
        status = bound_minimise(x, &out->least2, &out->dual2, &task->points, space, task->limits,
                                progress, err);
    if (status == TUNE_OK) status = bound_grid_halve(task->problem, err);
    if (status == TUNE_OK) status = stand_on(task, err);
    if (status == TUNE_OK) dr = calloc(task->points.n, sizeof *dr);
    if (status == TUNE_OK && !dr) status = tune_error_memory(err, "bounding the jitter");
    if (status == TUNE_OK) status = bound_space_respond(dr, space, basis, &task->points, x, err);
    if (status == TUNE_OK) {
        out->figures = bound_figures_at(&task->points, dr);
        out->start = bound_figures_at(&task->points, task->points.start);
    }
    free(dr);
    free(x);
    return status;
}

static enum tune_status solve_level(struct level *out, struct task *task, int fineness,
                                    struct bound_progress progress, struct tune_error *err)
{
    struct bound_basis *basis = malloc(sizeof *basis);
    struct bound_space space = {0};
    enum tune_status status;
    if (!basis) return tune_error_memory(err, "bounding the jitter");
    bound_basis_plan(basis, task->problem, fineness);
    status = bound_space_init(&space, basis, &task->points, task->limits.torque2, err);
    if (status == TUNE_OK) status = solve_in(out, task, basis, &space, progress, err);
    bound_space_free(&space);
    free(basis);
    return status;
}

/* Once, and once more with basis and grid doubled: the answer, and how much it still moved. */
static enum tune_status solve_levels(struct tune_bound *out, struct task *task,
                                     const struct tune_watch *watch, struct tune_error *err)
{
    struct level level[2] = {0};
    enum tune_status status = bound_grid_begin(task->problem, err);
    if (status == TUNE_OK) status = stand_on(task, err);
    for (int i = 0; i < 2 && status == TUNE_OK; i++) {
        const struct bound_progress progress = {watch, 0.15 * i, i == 0 ? 0.15 : 1.0};
        status = solve_level(&level[i], task, i, progress, err);
    }
    bound_points_free(&task->points);
    if (status != TUNE_OK) return status;
    *out = (struct tune_bound){.rms_rad = sqrt(level[1].figures.jitter2),
                               .peak_sensitivity = level[1].figures.peak,
                               .noise_torque_rms_nm = sqrt(level[1].figures.torque2),
                               .start_rms_rad = sqrt(level[1].start.jitter2),
                               .basis = level[1].n,
                               .gap_rad = fmax(0.0, sqrt(level[1].least2) - sqrt(level[1].dual2))};
    out->spread = fmax(fabs(sqrt(level[0].figures.jitter2) / out->rms_rad - 1.0),
                       fabs(sqrt(level[1].least2) / out->rms_rad - 1.0));
    return TUNE_OK;
}

enum tune_status tune_design_bound(struct tune_bound *out, const struct tune_plant *plant,
                                   const struct tune_controller *start,
                                   const struct tune_disturbance *disturbance,
                                   const struct tune_bound_opts *opts,
                                   const struct tune_watch *watch, struct tune_error *err)
{
    static const char *const names[] = {"this pointing"};
    const struct tune_design_opts design = as_design(opts);
    const double torque_nm = opts->sensor_noise_rad > 0.0 ? opts->noise_torque_rms_nm : 0.0;
    struct problem problem;
    struct task task = {
        .problem = &problem,
        .start = *start,
        .limits = {opts->peak_sensitivity * opts->peak_sensitivity, torque_nm * torque_nm}};
    enum tune_status status =
        design_problem_init(&problem, plant, names, 1, disturbance, &design, err);
    memset(out, 0, sizeof *out);
    if (status != TUNE_OK) return status;
    status = check_start(plant, start, err);
    if (status == TUNE_OK) status = bound_first(&task.first, &problem, start, err);
    if (status == TUNE_OK) status = solve_levels(out, &task, watch, err);
    design_problem_free(&problem);
    if (status == TUNE_OK) status = tune_watch_tick(watch, "bound", 1.0, err);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}
