/* trial_plan.c - what a trial should show, and how long it must be.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/trial_internal.h"

#include <math.h>

#include "control/loop.h"
#include "jitter/prediction.h"

/* NAN where there is no forecast. */
static enum tune_status foretell(struct tune_trial_run *run, double *whole_rad,
                                 const struct trial *trial, const struct tune_plant *plant,
                                 struct tune_error *err)
{
    double *const seen[2] = {whole_rad, &run->expected_rms_rad};
    const double duration_s[2] = {0.0, run->quiet_s};
    *whole_rad = run->expected_rms_rad = run->expected_torque_nm = (double)NAN;
    run->expected95_rad[0] = run->expected95_rad[1] = (double)NAN;
    for (size_t i = 0; i < 2; i++) {
        struct tune_jitter jitter;
        const enum tune_status status = tune_jitter_predict(&jitter, &trial->smooth, plant, plant,
                                                            trial->controller, duration_s[i], err);
        if (status == TUNE_ENOSOL) {
            tune_error_clear(err);
            return TUNE_OK;
        }
        if (status != TUNE_OK) return status;
        *seen[i] = jitter.measured_rms_rad.value;
        run->expected_torque_nm = jitter.torque_rms_nm;
        run->expected95_rad[0] = jitter.interval95_rad[0];
        run->expected95_rad[1] = jitter.interval95_rad[1];
        tune_jitter_free(&jitter);
    }
    return TUNE_OK;
}

static double ratio_or_0(double above, double below)
{
    return below > 0.0 ? above / below : 0.0;
}

/* How long each part is given, and how hard it is pushed. */
static void make_plan(struct trial_plan *plan, const struct trial *trial,
                      const struct tune_plant *plant, double crossover_hz, double torque_nm)
{
    const struct tune_controller *c = trial->controller;
    const struct tune_trial_opts *opts = trial->opts;
    const double longest_s = 20.0; /* a softer integral is not waited for */
    const double slow_s = fmin(longest_s, fmax(ratio_or_0(c->kp_nm_per_rad, c->ki_nm_per_rad_s),
                                               ratio_or_0(c->kd_nm_s_per_rad, c->kp_nm_per_rad)));
    const double limit = opts->torque_limit_nm;
    const bool saturates = limit > 0.0 && c->kp_nm_per_rad > 0.0;
    plan->large_rad = opts->large_offset_rad;
    if (plan->large_rad == 0.0)
        plan->large_rad = saturates ? 3.0 * limit / c->kp_nm_per_rad : 100.0 * opts->offset_rad;
    plan->given_s = 10.0 / crossover_hz + 10.0 * slow_s;
    plan->large_s =
        3.0 * plan->given_s +
        (limit > 0.0 ? 8.0 * sqrt(plan->large_rad * plant->inertia_kg_m2 / limit) : 0.0);
    plan->push_nm = opts->push_nm;
    if (plan->push_nm == 0.0) plan->push_nm = limit > 0.0 ? 0.5 * limit : 20.0 * torque_nm;
}

enum tune_status trial_look_ahead(void *user, size_t pointing, struct tune_error *err)
{
    const struct trial *trial = user;
    const struct tune_plant *plant = &trial->plants[pointing];
    const struct tune_trial_opts *opts = trial->opts;
    struct tune_trial_run *run = &trial->run[pointing];
    const double rate = plant->loop_rate_hz, slowest_hz = 0.05;
    struct tune_margins margins;
    bool stable;
    double whole_rad = 0.0, crossover_hz;
    enum tune_status status = design_judge(&margins, &stable, plant, trial->controller, err);
    if (status != TUNE_OK) return status;
    crossover_hz = margins.crossover_hz > slowest_hz ? margins.crossover_hz : slowest_hz;
    run->pointing = pointing;
    run->quiet_s = opts->quiet_s > 0.0 ? opts->quiet_s : fmax(10.0, 30.0 / crossover_hz);
    run->quiet_s = ceil(run->quiet_s * rate) / rate;
    status = foretell(run, &whole_rad, trial, plant, err);
    if (status != TUNE_OK) return status;
    run->band_rad = opts->encoder_step_rad + (whole_rad > 0.0 ? 5.0 * whole_rad : 0.0);
    if (!(run->band_rad > 0.0)) run->band_rad = 0.02 * opts->offset_rad;
    make_plan(&trial->plan[pointing], trial, plant, crossover_hz,
              run->expected_torque_nm > 0.0 ? run->expected_torque_nm : 0.0);
    run->large_rad = trial->plan[pointing].large_rad;
    run->push_nm = trial->plan[pointing].push_nm;
    return TUNE_OK;
}
