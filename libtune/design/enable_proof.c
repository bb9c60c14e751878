/* enable_proof.c - every gain of the ladder counted stable, and everything between them proved so.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "core/workers.h"

/* C along a path is the sum of parts that grow with these powers of k. */
struct path {
    int power[3];
    struct tune_controller (*at)(const struct tune_controller *controller, double k);
    double taken_at[3]; /* C at these k tells the parts */
};

static struct tune_controller with_integrator(const struct tune_controller *controller, double k)
{
    struct tune_controller c = *controller;
    c.ki_nm_per_rad_s *= k;
    return c;
}

/* kd k, kp k^2, ki k^3, be it a PID or a cascade with its loops at two rates, whose gains then scale with k each;
 * and ki alone, of a PID. */
static const struct path ladder = {{1, 2, 3}, tune_controller_scaled, {0.5, 1.0, 2.0}};
static const struct path integrator = {{0, 0, 1}, with_integrator, {0.0, 0.0, 1.0}};

size_t enable_nominal(const struct problem *problem, size_t pointing)
{
    size_t s = 0;
    while (problem->scenario[s].pointing != pointing || problem->scenario[s].shift != 0.0 ||
           problem->scenario[s].spread != 0.0)
        s++;
    return s;
}

enum tune_status enable_climb_init(struct climb *climb, const struct problem *problem,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    *climb = (struct climb){.problem = problem, .controller = controller};
    climb->loop = calloc(ENABLE_STEPS * problem->n_scenarios, sizeof *climb->loop);
    return climb->loop ? TUNE_OK : tune_error_memory(err, "proving the enable ladder");
}

void enable_climb_free(struct climb *climb)
{
    free(climb->loop);
    memset(climb, 0, sizeof *climb);
}

/* ---- between two gains --------------------------------------------------------------------------*/

/* A loop at one gain of a path, over the frequencies it asks for. */
struct survey {
    size_t n;
    double *f_hz;
    double complex *g, *part[3]; /* [n] each */
};

/* The parts from C at three k: a parabola in k through C/k (Lagrange), or the difference of two. */
static void split(struct survey *survey, const struct path *path)
{
    for (size_t i = 0; i < survey->n; i++) {
        const double complex a = survey->part[0][i], b = survey->part[1][i], c = survey->part[2][i];
        if (path->power[0] == 0) {
            survey->part[1][i] = 0.0;
            survey->part[2][i] = c - a;
            continue;
        }
        survey->part[0][i] = scaled(a, 16.0 / 3.0) - scaled(b, 2.0) + scaled(c, 1.0 / 6.0);
        survey->part[1][i] = scaled(b, 5.0) - scaled(a, 8.0) - scaled(c, 0.5);
        survey->part[2][i] = scaled(a, 8.0 / 3.0) - scaled(b, 2.0) + scaled(c, 1.0 / 3.0);
    }
}

static enum tune_status make_survey(struct survey *survey, const struct climb *climb,
                                    const struct scenario *s, const struct path *path, double from,
                                    struct tune_error *err)
{
    const struct tune_controller here = path->at(climb->controller, from);
    enum tune_status status =
        tune_loop_frequencies(&survey->f_hz, &survey->n, &s->plant, &here, err);
    survey->g = NULL;
    if (status != TUNE_OK) return status;
    survey->g = calloc(4 * survey->n, sizeof *survey->g);
    if (!survey->g) return tune_error_memory(err, "proving the enable ladder");
    tune_plant_eval(survey->g, &s->plant, TUNE_PATH_MOTOR_ENCODER, survey->f_hz, survey->n);
    for (size_t i = 0; i < 3; i++) {
        const struct tune_controller rung = path->at(climb->controller, path->taken_at[i]);
        survey->part[i] = survey->g + (i + 1) * survey->n;
        tune_controller_eval(survey->part[i], &rung, survey->f_hz, survey->n);
    }
    split(survey, path);
    return TUNE_OK;
}

static void free_survey(struct survey *survey)
{
    free(survey->f_hz);
    free(survey->g);
}

/* The largest |C_b - C_a| |G| |S_a|. Each part grows steadily along the path, so the sum of what they change
 * bounds |C - C_a| for every C between; 1 + L between two frequencies is taken along the chord. */
static double largest_change(double *f_hz, const struct survey *survey, const struct path *path,
                             double from, double to)
{
    double before[3], change[3], largest2 = 0.0, last_more2 = 0.0;
    double complex last = 0.0;
    for (size_t i = 0; i < 3; i++) {
        before[i] = pow(from, path->power[i]);
        change[i] = pow(to, path->power[i]) - before[i];
    }
    for (size_t k = 0; k < survey->n; k++) {
        double complex c = 0.0, here;
        double more = 0.0, more2, ratio2;
        for (size_t i = 0; i < 3; i++) {
            c += scaled(survey->part[i][k], before[i]);
            more += sqrt(square(survey->part[i][k])) * change[i];
        }
        here = 1.0 + times(c, survey->g[k]);
        more2 = more * more * square(survey->g[k]);
        ratio2 = fmax(more2, last_more2) / design_distance2(k > 0 ? last : here, here);
        if (!(ratio2 <= largest2)) {
            largest2 = ratio2;
            *f_hz = survey->f_hz[k];
        }
        last = here;
        last_more2 = more2;
    }
    return sqrt(largest2);
}

/* Stable at `from`: is every gain up to `to`? Where the step is too large for the bound it is halved; what is
 * not proved in two hundred and fifty-sixths lies on the edge. */
static enum tune_status prove(bool *proved, double *f_hz, const struct climb *climb,
                              const struct scenario *s, const struct path *path, double from,
                              double to, int halvings, struct tune_error *err)
{
    const double allowed = 0.9; /* below 1 by what the chords leave open */
    const double middle = sqrt(from * to);
    struct survey survey = {0};
    enum tune_status status = make_survey(&survey, climb, s, path, from, err);
    *proved = status == TUNE_OK && largest_change(f_hz, &survey, path, from, to) < allowed;
    free_survey(&survey);
    if (status == TUNE_ENOSOL) { /* the loop turns without end: no place to be */
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (status != TUNE_OK || *proved || halvings == 0) return status;
    status = prove(proved, f_hz, climb, s, path, from, middle, halvings - 1, err);
    if (status != TUNE_OK || !*proved) return status;
    return prove(proved, f_hz, climb, s, path, middle, to, halvings - 1, err);
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
    if (!loop->stable || climb->step + 1 == ENABLE_STEPS) return TUNE_OK;
    return prove(&loop->proved, &loop->unproved_hz, climb, s, &ladder, k,
                 k * tune_ratio_from_db(1.0), 8, err);
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
    enum tune_status status;
    bool proved;
    double f_hz;
    *peak = 0.0;
    for (size_t i = 0; i < SHARES; i++) {
        struct tune_margins m;
        bool stable;
        c.ki_nm_per_rad_s = share[i] * climb->controller->ki_nm_per_rad_s;
        status = design_judge(&m, &stable, &s->plant, &c, err);
        if (status != TUNE_OK) return status;
        if (!stable || (i == 0 && isfinite(m.gain_reduction_margin))) *peak = INFINITY;
        if (i != 1) *peak = fmax(*peak, m.sens_peak);
    }
    if (!isfinite(*peak)) return TUNE_OK;
    status = prove(&proved, &f_hz, climb, s, &integrator, share[1], 1.0, 16, err);
    if (!proved) *peak = INFINITY;
    return status;
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
    struct integrator_work work = {.climb = climb};
    enum tune_status status;
    /* the gains of a cascade at two rates are not those of three parts that could rise alone */
    out->integrator_last_peak = climb->controller->position_divider > 1 ? HUGE_VAL : 0.0;
    if (out->integrator_last_peak > 0.0) return TUNE_OK;
    work.peak = calloc(problem->n_scenarios, sizeof *work.peak);
    if (!work.peak) return tune_error_memory(err, "proving the enable ladder");
    status = tune_workers_run(problem->n_scenarios, problem->opts->threads, raise_one, &work, err);
    for (size_t s = 0; s < problem->n_scenarios && status == TUNE_OK; s++)
        out->integrator_last_peak = fmax(out->integrator_last_peak, work.peak[s]);
    out->integrator_last = isfinite(out->integrator_last_peak);
    free(work.peak);
    return status;
}
