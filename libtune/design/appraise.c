/* appraise.c - a controller judged on every scenario, independent of what the optimiser believed.
 *
 * Margins, peaks and stability come from the loop's own judge, loop by loop, on the controller as it
 * would be written down; jitter from a finer grid. Designs and given gains pass the same way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/workers.h"

/* What one scenario makes of the controller. */
struct verdict {
    bool stable;
    double sens_peak;
    struct fine_figures figures;
    struct proof proof;
    struct standing each[DEMANDS_MAX];
    struct standing worst;
};

struct bench {
    const struct problem *problem;
    const struct tune_controller *controller;
    struct verdict *verdict;
    const bool *near; /* [n_scenarios x demands.n] what to judge; NULL: all */
};

/* Note how a demand stands: under its own number, and if it is the worst of all. */
static void stand(struct verdict *verdict, const struct problem *problem,
                  const struct demand *demand, double excess, double f_hz)
{
    const struct demands *demands = &problem->demands;
    const struct standing here = {.excess = excess,
                                  .kind = demand->kind,
                                  .value = demand->value,
                                  .scenario = verdict->worst.scenario,
                                  .f_hz = f_hz,
                                  .unstable = isinf(excess)};
    for (size_t d = 0; d < demands->n; d++)
        if (demands->demand[d].kind == demand->kind && demands->demand[d].value == demand->value &&
            excess > verdict->each[d].excess)
            verdict->each[d] = here;
    if (excess > verdict->worst.excess) verdict->worst = here;
}

/* The loop of one demand: the gains as they would be set, the plant with the delay asked for. */
static void loop_of(struct tune_controller *controller, struct tune_plant *plant,
                    const struct demand *demand)
{
    if (demand->kind == DEMAND_LADDER) {
        *controller = tune_controller_scaled(controller, demand->value);
    } else if (demand->kind == DEMAND_REDUCED) {
        controller->kp_nm_per_rad *= demand->value;
        controller->ki_nm_per_rad_s *= demand->value;
        controller->kd_nm_s_per_rad *= demand->value;
    } else if (demand->kind == DEMAND_DELAY) {
        plant->delay_s += demand->value / plant->loop_rate_hz;
    }
}

enum tune_status design_judge(struct tune_margins *margins, bool *stable,
                              const struct tune_plant *plant,
                              const struct tune_controller *controller, struct tune_error *err)
{
    const enum tune_status status = tune_loop_judge(margins, stable, plant, controller, err);
    if (status != TUNE_ENOSOL) return status;
    *stable = false;
    tune_error_clear(err);
    return TUNE_OK;
}

/* Margins the logbook asks for beside the sensitivity limits. */
static void stand_margins(struct verdict *verdict, const struct tune_margins *m,
                          const struct problem *problem)
{
    const struct demands *demands = &problem->demands;
    const struct demand phase = {.kind = DEMAND_DISC, .value = demands->phase_margin_rad};
    const struct demand gain = {.kind = DEMAND_GAIN_MARGIN, .value = demands->gain_margin};
    const struct demand reduction = {.kind = DEMAND_REDUCTION_MARGIN,
                                     .value = demands->gain_reduction_margin};
    if (demands->phase_margin_rad > 0.0 && isfinite(m->phase_margin_rad))
        stand(verdict, problem, &phase,
              log(tan(0.5 * demands->phase_margin_rad) / tan(0.5 * m->phase_margin_rad)),
              m->phase_margin_hz);
    if (demands->gain_margin > 1.0)
        stand(verdict, problem, &gain, log(demands->gain_margin / m->gain_margin),
              m->gain_margin_hz);
    if (demands->gain_reduction_margin > 1.0)
        stand(verdict, problem, &reduction,
              log(demands->gain_reduction_margin / m->gain_reduction_margin),
              m->gain_reduction_margin_hz);
}

static enum tune_status stand_loop(struct verdict *verdict, const struct demand *demand,
                                   const struct scenario *s, const struct bench *bench,
                                   struct tune_error *err)
{
    struct tune_controller controller = *bench->controller;
    struct tune_plant plant = s->plant;
    struct tune_margins margins = {0};
    bool stable = false;
    enum tune_status status;
    loop_of(&controller, &plant, demand);
    status = design_judge(&margins, &stable, &plant, &controller, err);
    if (status != TUNE_OK) return status;
    stand(verdict, bench->problem, demand,
          stable ? log(margins.sens_peak / demand->limit) : HUGE_VAL, margins.sens_peak_hz);
    if (demand->kind != DEMAND_PEAK) return TUNE_OK;
    verdict->stable = stable;
    verdict->sens_peak = stable ? margins.sens_peak : HUGE_VAL;
    if (stable) stand_margins(verdict, &margins, bench->problem);
    return TUNE_OK;
}

static bool is_loop(enum demand_kind kind)
{
    return kind == DEMAND_PEAK || kind == DEMAND_REDUCED || kind == DEMAND_LADDER ||
           kind == DEMAND_DELAY;
}

static double fine_figure(const struct fine_figures *figures, enum demand_kind kind)
{
    if (kind == DEMAND_TORQUE) return figures->torque2;
    return kind == DEMAND_ENCODER ? figures->encoder2 : figures->sky2;
}

/* Rungs and gains between those the search was constrained on. */
static enum tune_status stand_proof(struct verdict *verdict, const struct scenario *s,
                                    const struct bench *bench, struct tune_error *err)
{
    struct proof *proof = &verdict->proof;
    const struct demand gain = {.kind = DEMAND_SCALED_GAIN};
    struct demand rung = {.kind = DEMAND_LADDER};
    const struct tune_design_opts *opts = bench->problem->opts;
    const enum tune_status status = design_prove(proof, bench->controller, s, bench->problem, err);
    if (status != TUNE_OK) return status;
    rung.value = proof->rung_factor;
    if (opts->ladder_peak > 0.0)
        stand(verdict, bench->problem, &rung, log(proof->rung_excess), proof->rung_hz);
    if (opts->reduction_peak > 0.0 && !proof->gain_stable)
        stand(verdict, bench->problem, &gain, HUGE_VAL, proof->gain_hz);
    return TUNE_OK;
}

static enum tune_status stand_figures(struct verdict *verdict, const struct scenario *s,
                                      const struct bench *bench, struct tune_error *err)
{
    const struct problem *problem = bench->problem;
    struct fine_figures *figures = &verdict->figures;
    const enum tune_status status =
        design_fine_figures(figures, bench->controller, s, problem, err);
    for (size_t d = 0; d < problem->demands.n && status == TUNE_OK; d++) {
        const struct demand *demand = &problem->demands.demand[d];
        if (is_figure(demand->kind))
            stand(verdict, problem, demand,
                  0.5 * log(fine_figure(figures, demand->kind)) - log(demand->limit), 0.0);
        else if (demand->kind == DEMAND_ROLLOFF)
            stand(verdict, problem, demand, 0.5 * log(figures->gain2) - log(demand->limit),
                  figures->gain_hz);
    }
    return status;
}

static enum tune_status judge_scenario(void *user, size_t item, struct tune_error *err)
{
    struct bench *bench = user;
    const struct scenario *s = &bench->problem->scenario[item];
    const struct demands *demands = &bench->problem->demands;
    struct verdict *verdict = &bench->verdict[item];
    enum tune_status status = TUNE_OK;
    *verdict = (struct verdict){.figures = {HUGE_VAL, HUGE_VAL, HUGE_VAL, 0, 0}};
    verdict->worst = (struct standing){.excess = -HUGE_VAL, .scenario = item};
    for (size_t d = 0; d < DEMANDS_MAX; d++)
        verdict->each[d] = verdict->worst;
    for (size_t d = 0; d < demands->n && status == TUNE_OK; d++)
        if (is_loop(demands->demand[d].kind) &&
            (!bench->near || d == 0 || bench->near[item * demands->n + d]))
            status = stand_loop(verdict, &demands->demand[d], s, bench, err);
    if (status == TUNE_OK) status = stand_proof(verdict, s, bench, err);
    if (status == TUNE_OK && verdict->stable) status = stand_figures(verdict, s, bench, err);
    return status;
}

static void take_proof(struct tune_design_step *step, const struct proof *proof)
{
    step->n_proved += proof->n_proved;
    step->n_unstable += proof->n_unstable;
    if (proof->rung_peak <= step->rung_peak) return;
    step->rung_peak = proof->rung_peak;
    step->rung_factor = proof->rung_factor;
}

static void take_most(struct fine_figures *most, const struct fine_figures *figures)
{
    most->sky2 = fmax(most->sky2, figures->sky2);
    most->encoder2 = fmax(most->encoder2, figures->encoder2);
    most->torque2 = fmax(most->torque2, figures->torque2);
}

static void summarise(struct tune_design_step *step, struct standing *worst,
                      const struct bench *bench)
{
    const struct problem *problem = bench->problem;
    struct fine_figures fitted = {0}, most = {0};
    double jitter2 = 0.0, torque2 = 0.0;
    worst->excess = -INFINITY;
    for (size_t i = 0; i < problem->n_scenarios; i++) {
        const struct verdict *v = &bench->verdict[i];
        const struct scenario *s = &problem->scenario[i];
        jitter2 += problem->opts->encoder_objective ? v->figures.encoder2 : v->figures.sky2;
        torque2 += v->figures.torque2;
        step->sens_peak = fmax(step->sens_peak, v->sens_peak);
        take_proof(step, &v->proof);
        if (v->worst.excess > worst->excess) *worst = v->worst;
        take_most(&most, &v->figures);
        if (s->shift == 0.0 && s->spread == 0.0) take_most(&fitted, &v->figures);
    }
    step->objective_rad = sqrt(jitter2 / (double)problem->n_scenarios);
    step->objective_nm = sqrt(torque2 / (double)problem->n_scenarios);
    step->sky_rms_rad = sqrt(fitted.sky2);
    step->encoder_rms_rad = sqrt(fitted.encoder2);
    step->noise_torque_rms_nm = sqrt(fitted.torque2);
    step->sky_most_rad = sqrt(most.sky2);
    step->encoder_most_rad = sqrt(most.encoder2);
    step->feasible = worst->excess <= 0.0;
}

enum tune_status design_appraise_near(struct tune_design_step *step, struct standing *worst,
                                      struct standing *each, const bool *near,
                                      const struct tune_controller *controller,
                                      const struct problem *problem, struct tune_error *err)
{
    struct bench bench = {.problem = problem, .controller = controller, .near = near};
    enum tune_status status;
    *step = (struct tune_design_step){.controller = *controller};
    *worst = (struct standing){0};
    bench.verdict = calloc(problem->n_scenarios, sizeof *bench.verdict);
    if (!bench.verdict) return tune_error_memory(err, "appraising a controller");
    status =
        tune_workers_run(problem->n_scenarios, problem->opts->threads, judge_scenario, &bench, err);
    if (status == TUNE_OK) summarise(step, worst, &bench);
    for (size_t i = 0; i < problem->n_scenarios && status == TUNE_OK && each; i++)
        memcpy(each + i * problem->demands.n, bench.verdict[i].each,
               problem->demands.n * sizeof *each);
    free(bench.verdict);
    return status;
}

enum tune_status design_appraise(struct tune_design_step *step, struct standing *worst,
                                 struct standing *each, const struct tune_controller *controller,
                                 const struct problem *problem, struct tune_error *err)
{
    return design_appraise_near(step, worst, each, NULL, controller, problem, err);
}
