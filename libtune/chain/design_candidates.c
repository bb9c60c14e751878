/* design_candidates.c - which controllers are judged: the gains in use, and what is proposed or given.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "chain/design_internal.h"
#include "core/units.h"

void chain_take_step(struct tune_candidate *out, const char *name,
                     const struct tune_design_step *step)
{
    (void)snprintf(out->name, sizeof out->name, "%s", name);
    out->controller = step->controller;
    out->feasible = step->feasible;
    out->sky_rms_arcsec = tune_arcsec_from_rad(step->sky_rms_rad);
    out->noise_torque_rms_nm = step->noise_torque_rms_nm;
    out->worst_sensitivity = step->sens_peak;
    (void)snprintf(out->limit, sizeof out->limit, "%s", step->binding);
}

/* Gains from outside, judged on the same scenarios. */
static enum tune_status appraise(struct tune_proposal *out, const char *name,
                                 const struct tune_controller *controller,
                                 const struct design_work *work, struct tune_error *err)
{
    struct tune_design_step step;
    const enum tune_status status = tune_design_appraise(
        &step, controller, work->basis.plants.plant, work->basis.plants.name, work->basis.plants.n,
        &work->basis.quiet.disturbance, &work->opts, err);
    if (!status) chain_take_step(&out->candidate[out->n_candidates++], name, &step);
    return status;
}

static enum tune_status take_present(struct tune_proposal *out, const struct design_work *work,
                                     struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->basis.chain.logbook;
    if (!logbook->has_controller) return TUNE_OK;
    out->candidate[0].present = true;
    return appraise(out, "present", &logbook->controller, work, err);
}

/* ---- proposed -----------------------------------------------------------------------------------*/

static void take_curve(struct tune_proposal *out, const struct tune_tradeoff *tradeoff)
{
    size_t between = 0;
    for (size_t i = 0; i < tradeoff->n; i++) {
        const struct tune_tradeoff_point *point = &tradeoff->point[i];
        char name[TUNE_NAME_LENGTH + 1];
        if (point->name[0])
            (void)snprintf(name, sizeof name, "%s", point->name);
        else
            (void)snprintf(name, sizeof name, "between-%zu", ++between);
        out->candidate[out->n_candidates].between = !point->name[0];
        chain_take_step(&out->candidate[out->n_candidates++], name, &point->step);
    }
}

/* Where nothing lies between, one point stands for several proposals. */
static size_t place_of(const struct tune_proposal *out, const struct tune_tradeoff *tradeoff,
                       enum tune_proposed proposed)
{
    return out->n_candidates - tradeoff->n + tradeoff->proposal[proposed];
}

static enum tune_status take_purchases(struct tune_proposal *out, const char *goal,
                                       const struct tune_design *design,
                                       const struct tune_controller *taken, struct tune_error *err)
{
    struct tune_purchase *more =
        realloc(out->purchase, (out->n_purchases + design->n_steps + 1) * sizeof *more);
    if (!more) return tune_error_memory(err, "gathering designs");
    out->purchase = more;
    for (size_t i = 0; i < design->n_steps; i++) {
        const struct tune_design_step *step = &design->step[i];
        struct tune_purchase *p = &out->purchase[out->n_purchases++];
        *p = (struct tune_purchase){
            .biquads = step->controller.n_biquads,
            .encoder_rms_arcsec = tune_arcsec_from_rad(step->encoder_most_rad),
            .sky_rms_arcsec = tune_arcsec_from_rad(step->sky_most_rad),
            .noise_torque_rms_nm = step->noise_torque_rms_nm,
            .worst_sensitivity = step->sens_peak,
            .feasible = step->feasible,
            .taken = step->controller.n_biquads == taken->n_biquads,
        };
        (void)snprintf(p->goal, sizeof p->goal, "%s", goal);
    }
    return TUNE_OK;
}

/* Gains of an earlier design are not those of this one. */
static const char *earlier(const struct chain *chain)
{
    char path[TUNE_PATH_LENGTH + TUNE_RESULT_FILE];
    (void)snprintf(path, sizeof path, "%s/controller.ini", chain->folder);
    return access(path, F_OK) == 0
               ? ". The controller.ini among the answers is of an earlier design"
               : "";
}

/* A jitter that no gains keep: not to be passed over in silence, unless nobody stated it, or the least of it
 * was asked for. */
static enum tune_status check_reach(struct tune_proposal *out, const struct tune_tradeoff *tradeoff,
                                    const struct design_work *work, struct tune_error *err)
{
    const struct chain *chain = &work->basis.chain;
    if (tradeoff->met) return TUNE_OK;
    tune_notes_add(&out->limits, "%s.", tradeoff->in_the_way);
    if (chain->job->bold || !(chain->logbook.requirement.jitter_rms_arcsec > 0.0)) return TUNE_OK;
    tune_error_set(err, TUNE_ENOSOL,
                   "%s. Correct [requirement], or see what is nearest with --bold%s",
                   tradeoff->in_the_way, earlier(chain));
    return tune_error_place(err, chain->logbook.ini_path, 0, 0);
}

void chain_take_implied(struct tune_proposal *out, const struct tune_design_opts *opts)
{
    struct tune_implied implied[TUNE_IMPLIED_MAX];
    const size_t n = tune_design_implied(implied, opts);
    memset(&out->implied, 0, sizeof out->implied);
    for (size_t i = 0; i < n; i++)
        tune_notes_add(&out->implied, "%s: follows from %s.", implied[i].name, implied[i].by);
}

static enum tune_status propose(struct tune_proposal *out, struct design_work *work,
                                const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_tradeoff *tradeoff = calloc(1, sizeof *tradeoff);
    const bool bold = work->basis.chain.job->bold;
    enum tune_status status = tradeoff ? TUNE_OK : tune_error_memory(err, "designing a controller");
    if (!status)
        status = tune_design_tradeoff(tradeoff, work->basis.plants.plant, work->basis.plants.name,
                                      work->basis.plants.n, &work->basis.quiet.disturbance,
                                      &work->opts, &work->tradeoff, watch, err);
    if (!status) status = check_reach(out, tradeoff, work, err);
    if (!status) {
        const struct tune_tradeoff_point *calm =
            &tradeoff->point[tradeoff->proposal[TUNE_PROPOSED_CALM]];
        const struct tune_tradeoff_point *least =
            &tradeoff->point[tradeoff->proposal[TUNE_PROPOSED_BOLD]];
        take_curve(out, tradeoff);
        out->recommended = place_of(out, tradeoff, bold ? TUNE_PROPOSED_BOLD : TUNE_PROPOSED_CALM);
        work->bound_of = place_of(out, tradeoff, TUNE_PROPOSED_BOLD);
        work->bound_peak = least->peak_sensitivity;
        work->opts.peak_sensitivity = bold ? least->peak_sensitivity : calm->peak_sensitivity;
        work->kept.encoder_rad = bold ? least->encoder_limit_rad : calm->encoder_limit_rad;
        work->kept.peak_most = least->peak_sensitivity;
        work->kept.sky_rad = bold ? least->sky_limit_rad : calm->sky_limit_rad;
        status = take_purchases(out, "calm", &tradeoff->calm, &calm->step.controller, err);
        if (!status)
            status = take_purchases(out, "bold", &tradeoff->bold, &least->step.controller, err);
        chain_describe_tradeoff(out, tradeoff, work);
        chain_take_implied(out, &work->opts);
    }
    free(tradeoff);
    return status;
}

/* ---- the whole ----------------------------------------------------------------------------------*/

enum tune_status chain_candidates(struct tune_proposal *out, struct design_work *work,
                                  const struct tune_watch *watch, struct tune_error *err)
{
    const bool given = work->basis.chain.job->evaluate != NULL;
    enum tune_status status;
    (void)snprintf(out->goal, sizeof out->goal, "%s",
                   given                         ? "given"
                   : work->basis.chain.job->bold ? "bold"
                                                 : "calm");
    out->candidate = calloc(TUNE_CURVE_MAX + 3, sizeof *out->candidate);
    if (!out->candidate) return tune_error_memory(err, "gathering designs");
    status = take_present(out, work, err);
    if (status) return status;
    if (!given) return propose(out, work, watch, err);
    out->recommended = out->n_candidates;
    work->bound_of = out->recommended;
    work->bound_peak = work->opts.peak_sensitivity;
    return appraise(out, "given", &work->given.controller, work, err);
}
