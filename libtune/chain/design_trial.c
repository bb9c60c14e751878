/* design_trial.c - the recommended gains on the simulated axis: what the linear count cannot say.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/trial.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "chain/design_internal.h"
#include "core/units.h"

/* A loop on its torque limit runs away slowly: ten times as far off as at the start is away. */
static const double away = 10.0;

static void take_case(struct tune_tried *out, const struct tune_trial_case *from, double start_rad)
{
    const bool far = start_rad > 0.0 && !from->settled && from->peak_rad > away * start_rad;
    *out = (struct tune_tried){.settled = from->settled,
                               .ran_away = from->diverged || far,
                               .given_s = from->given_s,
                               .settling_s = from->settling_s,
                               .peak_arcsec = tune_arcsec_from_rad(from->peak_rad),
                               .peak_torque_nm = from->peak_torque_nm,
                               .saturated_s = from->saturated_s};
}

static void take_run(struct tune_pointing_trial *out, const struct tune_trial_run *run,
                     const struct tune_trial_opts *opts, const char *pointing)
{
    *out = (struct tune_pointing_trial){
        .offset_arcsec = tune_arcsec_from_rad(opts->offset_rad),
        .push_nm = run->push_nm,
        .large_offset_arcsec = tune_arcsec_from_rad(run->large_rad),
        .band_arcsec = tune_arcsec_from_rad(run->band_rad),
        .quiet_s = run->quiet_s,
        .encoder_rms_arcsec = tune_arcsec_from_rad(run->encoder_rms_rad),
        .expected_rms_arcsec = tune_arcsec_from_rad(run->expected_rms_rad),
        .expected_interval_arcsec = {tune_arcsec_from_rad(run->expected95_rad[0]),
                                     tune_arcsec_from_rad(run->expected95_rad[1])},
        .torque_rms_nm = run->torque_rms_nm,
        .expected_torque_rms_nm = run->expected_torque_nm,
        .quiet_saturated_s = run->quiet_saturated_s};
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing);
    take_case(&out->offset, &run->offset, opts->offset_rad);
    take_case(&out->push, &run->push, 0.0);
    take_case(&out->large_offset, &run->held, run->large_rad);
    take_case(&out->bare, &run->large, run->large_rad);
}

/* What a drive has that the logbook does not state is left out, and said so. */
static struct tune_trial_opts conditions(struct tune_notes *notes, const struct design_work *work)
{
    const struct tune_logbook *logbook = &work->basis.chain.logbook;
    const double limit_nm = logbook->drive.torque_limit_nm;
    const double counts = logbook->drive.encoder_counts_per_turn;
    struct tune_trial_opts opts = tune_trial_defaults();
    opts.threads = work->basis.chain.job->threads;
    if (limit_nm > 0.0)
        opts.torque_limit_nm = limit_nm;
    else
        tune_notes_add(notes, "Simulated trial: torque_limit_nm is not stated; nothing saturates.");
    if (counts > 0.0)
        opts.encoder_step_rad = 2.0 * TUNE_PI / counts;
    else
        tune_notes_add(notes, "Simulated trial: encoder_counts_per_turn is not stated; the encoder "
                              "has no steps.");
    if (logbook->expected.coulomb_nm > 0.0)
        tune_notes_add(notes,
                       "Simulated trial: the friction of [expected], coulomb_nm = %.3g, is left "
                       "out, as it is from the design and every forecast; with it an axis comes "
                       "to rest otherwise.",
                       logbook->expected.coulomb_nm);
    return opts;
}

static void note_quiet(struct tune_notes *notes, const struct tune_trial *trial,
                       const struct design_work *work)
{
    for (size_t i = 0; i < trial->n; i++) {
        const struct tune_trial_run *run = &trial->run[i];
        if (!(run->encoder_rms_rad < run->expected95_rad[0]) &&
            !(run->encoder_rms_rad > run->expected95_rad[1]))
            continue;
        tune_notes_add(notes,
                       "Simulated trial at %s: %.3g arcsec rms in the quiet, where 95 %% of such "
                       "stretches lie between %.3g and %.3g; one in twenty does not by chance.",
                       work->basis.plants.name[run->pointing],
                       tune_arcsec_from_rad(run->encoder_rms_rad),
                       tune_arcsec_from_rad(run->expected95_rad[0]),
                       tune_arcsec_from_rad(run->expected95_rad[1]));
    }
}

enum tune_status chain_design_trial(struct tune_proposal *out, const struct design_work *work,
                                    const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_trial_opts opts = conditions(&out->notes, work);
    struct tune_trial trial;
    enum tune_status status = tune_design_trial(
        &trial, &out->candidate[out->recommended].controller, work->basis.plants.plant,
        work->basis.plants.n, &work->basis.quiet.disturbance, &opts, watch, err);
    if (status) return status;
    out->trial = calloc(trial.n, sizeof *out->trial);
    if (out->trial) {
        out->n_trials = trial.n;
        for (size_t i = 0; i < trial.n; i++) {
            take_run(&out->trial[i], &trial.run[i], &opts,
                     work->basis.plants.name[trial.run[i].pointing]);
            if (opts.torque_limit_nm > 0.0)
                out->trial[i].tracking_s =
                    tune_controller_tracking_s(&out->candidate[out->recommended].controller);
        }
        note_quiet(&out->notes, &trial, work);
    } else {
        status = tune_error_memory(err, "trying the proposed gains");
    }
    tune_trial_free(&trial);
    return status;
}

/* ---- judging ------------------------------------------------------------------------------------*/

static void tell(struct tune_notes *limits, const struct tune_pointing_trial *t,
                 const struct tune_tried *tried, const char *after, double size, const char *unit)
{
    if (tried->settled) return;
    if (tried->ran_away)
        tune_notes_add(limits,
                       "Missed: tried on the simulated axis at %s, the loop runs away after %s of "
                       "%.3g %s.",
                       t->pointing, after, size, unit);
    else
        tune_notes_add(limits,
                       "Missed: tried on the simulated axis at %s, the loop does not come to rest "
                       "within %.3g arcsec after %s of %.3g %s, in %.3g s%s.",
                       t->pointing, t->band_arcsec, after, size, unit, tried->given_s,
                       tried->saturated_s > 0.0 ? "; the drive saturates" : "");
}

/* What a drive without anti-windup would do, at the first pointing where it does not come to rest. */
static void caution_windup(struct tune_notes *cautions, const struct tune_pointing_trial *t)
{
    if (t->bare.settled || t->tracking_s <= 0.0) return;
    tune_notes_add(
        cautions,
        "Never without anti-windup: on the simulated axis at %s, %.3g arcsec off, these "
        "gains without it %s (%.3g deg in %.3g s, at full torque). With back-calculation, "
        "tracking time %.3g s, the axis %s. Enable with the target at the position.",
        t->pointing, t->large_offset_arcsec, t->bare.ran_away ? "run away" : "do not come to rest",
        t->bare.peak_arcsec / 3600.0, t->bare.given_s, t->tracking_s,
        t->large_offset.settled ? "comes to rest" : "does not come to rest either");
    tune_notes_add(cautions,
                   "Gains that bear saturation better are had for gain_reduction_margin_db = 20 in "
                   "[requirement], at the price of more jitter or noise torque: compare both.");
}

/* The first pointing that does not settle stands for all in the requirement; each has its sentences. */
void chain_judge_trial(struct tune_proposal *out)
{
    bool missed = false, cautioned = false;
    for (size_t i = 0; i < out->n_trials; i++) {
        const struct tune_pointing_trial *t = &out->trial[i];
        if (!cautioned) caution_windup(&out->cautions, t);
        cautioned = cautioned || !t->bare.settled;
        if (t->offset.settled && t->push.settled && t->large_offset.settled) continue;
        if (!missed)
            tune_judgements_add(&out->requirement, TUNE_JUDGEMENT_SETTLES, 1.0, 0.0, false,
                                t->pointing);
        missed = true;
        tell(&out->limits, t, &t->offset, "an offset", t->offset_arcsec, "arcsec");
        tell(&out->limits, t, &t->push, "a push", t->push_nm, "N m");
        tell(&out->limits, t, &t->large_offset, "an offset", t->large_offset_arcsec, "arcsec");
    }
}
