/* enable_proof.c - every gain of the ladder counted stable, and everything between them proved so.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "core/workers.h"

/* Powers of k with which the derivative, proportional and integral parts of C grow along a path. */
struct path {
    int power[3];
};

static const struct path ladder = {{1, 2, 3}}, integrator = {{0, 0, 1}};

size_t enable_nominal(const struct problem *problem, size_t pointing)
{
    size_t s = 0;
    while (problem->scenario[s].pointing != pointing || problem->scenario[s].shift != 0.0 ||
           problem->scenario[s].spread != 0.0)
        s++;
    return s;
}

/* ---- the three parts of the controller ----------------------------------------------------------*/

enum tune_status enable_climb_init(struct climb *climb, const struct problem *problem,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    struct tune_controller alone[3] = {*controller, *controller, *controller};
    *climb = (struct climb){.problem = problem, .controller = controller};
    for (size_t i = 0; i < 3; i++) {
        if (i != 0) alone[i].kd_nm_s_per_rad = 0.0;
        if (i != 1) alone[i].kp_nm_per_rad = 0.0;
        if (i != 2) alone[i].ki_nm_per_rad_s = 0.0;
        climb->part[i] = calloc(problem->n, sizeof *climb->part[i]);
    }
    climb->loop = calloc(ENABLE_STEPS * problem->n_scenarios, sizeof *climb->loop);
    if (!climb->part[0] || !climb->part[1] || !climb->part[2] || !climb->loop) {
        enable_climb_free(climb);
        return tune_error_memory(err, "proving the enable ladder");
    }
    for (size_t i = 0; i < 3; i++)
        tune_controller_eval(climb->part[i], &alone[i], problem->f_hz, problem->n);
    return TUNE_OK;
}

void enable_climb_free(struct climb *climb)
{
    for (size_t i = 0; i < 3; i++)
        free(climb->part[i]);
    free(climb->loop);
    memset(climb, 0, sizeof *climb);
}

/* ---- between two gains --------------------------------------------------------------------------*/

/* The largest |C_b - C_a| |G| |S_a| over the scenario's grid. Each part grows steadily along the path, so the
 * sum of what they change bounds |C - C_a| for every C between. */
static double largest_change(double *f_hz, const struct climb *climb, const struct scenario *s,
                             const struct path *path, double from, double to)
{
    double before[3], change[3], largest2 = 0.0;
    for (size_t i = 0; i < 3; i++) {
        before[i] = pow(from, path->power[i]);
        change[i] = pow(to, path->power[i]) - before[i];
    }
    for (size_t k = 0; k < s->n; k++) {
        double complex c = 0.0, loop;
        double more = 0.0, ratio2;
        for (size_t i = 0; i < 3; i++) {
            const double complex part = climb->part[i][s->at[k]];
            c += scaled(part, before[i]);
            more += sqrt(square(part)) * change[i];
        }
        loop = times(c, s->g[k]);
        ratio2 = more * more * square(s->g[k]) / square(1.0 + loop);
        if (ratio2 > largest2) {
            largest2 = ratio2;
            *f_hz = climb->problem->f_hz[s->at[k]];
        }
    }
    return sqrt(largest2);
}

/* Stable at `from`: is every gain up to `to`? Where the step is too large for the bound it is halved; what is
 * not proved in two hundred and fifty-sixths lies on the edge. */
static bool proved(double *f_hz, const struct climb *climb, const struct scenario *s,
                   const struct path *path, double from, double to, int halvings)
{
    const double allowed = 0.9; /* below 1 by what a grid may hide of a peak */
    const double middle = sqrt(from * to);
    if (largest_change(f_hz, climb, s, path, from, to) < allowed) return true;
    return halvings > 0 && proved(f_hz, climb, s, path, from, middle, halvings - 1) &&
           proved(f_hz, climb, s, path, middle, to, halvings - 1);
}

/* ---- one gain, every scenario -------------------------------------------------------------------*/

static enum tune_status judge_loop(void *user, size_t item, struct tune_error *err)
{
    struct climb *climb = user;
    const struct problem *problem = climb->problem;
    const struct scenario *s = &problem->scenario[item];
    struct rung_loop *loop = &climb->loop[climb->step * problem->n_scenarios + item];
    const double k = tune_ratio_from_db(enable_gain_db(climb->step));
    const struct tune_controller rung = tune_controller_scaled(climb->controller, k);
    struct tune_margins m;
    const enum tune_status status = design_judge(&m, &loop->stable, &s->plant, &rung, err);
    if (status != TUNE_OK) return status;
    loop->sens_peak = m.sens_peak;
    loop->sens_peak_hz = m.sens_peak_hz;
    loop->crossover_hz = m.crossover_hz;
    loop->top_hz = m.top_crossing_hz;
    loop->phase_margin_rad = m.phase_margin_rad;
    loop->gain_margin = m.gain_margin;
    loop->gain_reduction_margin = m.gain_reduction_margin;
    loop->gain_reduction_hz = m.gain_reduction_margin_hz;
    loop->unproved_hz = m.sens_peak_hz;
    loop->proved = loop->stable;
    if (loop->stable && climb->step + 1 < ENABLE_STEPS)
        loop->proved =
            proved(&loop->unproved_hz, climb, s, &ladder, k, k * tune_ratio_from_db(1.0), 8);
    return TUNE_OK;
}

enum tune_status enable_look(struct climb *climb, size_t step, struct tune_error *err)
{
    const struct problem *problem = climb->problem;
    enum tune_status status;
    if (climb->seen[step]) return TUNE_OK;
    climb->step = step;
    status = tune_workers_run(problem->n_scenarios, problem->opts->threads, judge_loop, climb, err);
    climb->seen[step] = status == TUNE_OK;
    return status;
}

/* ---- the integrator last ------------------------------------------------------------------------*/

/* With ki = 0 and every gain times a factor the loop is stable for each factor in (0, 1] if it is at 1 and
 * L nowhere meets the negative axis beyond -1. From a thousandth on the integrator is proved as a path;
 * below, its corner lies so far under everything that it is only there. */
static enum tune_status raise_integrator(double *peak, const struct climb *climb,
                                         const struct scenario *s, struct tune_error *err)
{
    static const double share[] = {0.0, 1.0 / 1024.0, 1.0 / 16.0, 1.0 / 8.0, 0.25, 0.5, 1.0};
    enum { SHARES = sizeof share / sizeof share[0] };
    struct tune_controller c = *climb->controller;
    double f_hz;
    *peak = 0.0;
    for (size_t i = 0; i < SHARES; i++) {
        struct tune_margins m;
        bool stable;
        enum tune_status status;
        c.ki_nm_per_rad_s = share[i] * climb->controller->ki_nm_per_rad_s;
        status = design_judge(&m, &stable, &s->plant, &c, err);
        if (status != TUNE_OK) return status;
        if (!stable || (i == 0 && isfinite(m.gain_reduction_margin))) *peak = INFINITY;
        if (i != 1) *peak = fmax(*peak, m.sens_peak);
    }
    if (!proved(&f_hz, climb, s, &integrator, share[1], 1.0, 16)) *peak = INFINITY;
    return TUNE_OK;
}

struct integrator_work {
    const struct climb *climb;
    double *peak; /* [n_scenarios] */
};

static enum tune_status raise_one(void *user, size_t item, struct tune_error *err)
{
    const struct integrator_work *work = user;
    return raise_integrator(&work->peak[item], work->climb, &work->climb->problem->scenario[item],
                            err);
}

enum tune_status enable_integrator_last(struct tune_enable_ladder *out, const struct climb *climb,
                                        struct tune_error *err)
{
    const struct problem *problem = climb->problem;
    struct integrator_work work = {climb, calloc(problem->n_scenarios, sizeof(double))};
    enum tune_status status;
    if (!work.peak) return tune_error_memory(err, "proving the enable ladder");
    status = tune_workers_run(problem->n_scenarios, problem->opts->threads, raise_one, &work, err);
    for (size_t s = 0; s < problem->n_scenarios && status == TUNE_OK; s++)
        out->integrator_last_peak = fmax(out->integrator_last_peak, work.peak[s]);
    out->integrator_last = isfinite(out->integrator_last_peak);
    free(work.peak);
    return status;
}
