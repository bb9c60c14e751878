/* fit.c - the plant and its covariance from a response and the lines behind it.
 *
 * 1. Rigid body and delay from the low end of the response.
 * 2. Modes inserted one by one on the thinned response (mode_insertion.c); a second start from the
 *    poles of vector fitting (vector_start.c).
 * 3. Maximum likelihood on all lines, noise from its residuals (likelihood.c, noise_shape.c).
 * 4. Modes that chance explains removed again (mode_removal.c).
 * 5. The likeliest is taken; phases of residues are tried (fit_choice.c), the order is forced where
 *    asked for (mode_order.c).
 * 6. Covariance = inverse of the information matrix 2 H.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

struct tune_fit_opts tune_fit_defaults(double loop_rate_hz)
{
    return (struct tune_fit_opts){.loop_rate_hz = loop_rate_hz, .max_modes = 10};
}

void tune_fit_free(struct tune_fit *fit)
{
    free(fit->covariance);
    *fit = (struct tune_fit){0};
}

static enum tune_status check_opts(const struct tune_fit_opts *opts, struct tune_error *err)
{
    if (!(opts->loop_rate_hz > 0.0) || isinf(opts->loop_rate_hz))
        return tune_error_set(err, TUNE_EINVAL, "the loop rate must be positive, not %g Hz",
                              opts->loop_rate_hz);
    if (opts->max_modes > TUNE_MODES_MAX)
        return tune_error_set(err, TUNE_EINVAL, "at most %d modes can be fitted, not %zu",
                              (int)TUNE_MODES_MAX, opts->max_modes);
    if (opts->modes > TUNE_MODES_MAX)
        return tune_error_set(err, TUNE_EINVAL, "at most %d modes can be asked for, not %zu",
                              (int)TUNE_MODES_MAX, opts->modes);
    if (!(opts->lowest_mode_hz >= 0.0) || isinf(opts->lowest_mode_hz))
        return tune_error_set(err, TUNE_EINVAL, "the lowest mode must lie at 0 Hz or above, not %g",
                              opts->lowest_mode_hz);
    return TUNE_OK;
}

/* B/J is hardly seen above the first few bins: it is held near 0.5 % of the lowest angular frequency,
 * within a factor e^1.5, unless the data know better. */
static void set_priors(struct fit_problem *problem, double lowest_hz, double delay)
{
    problem->prior = (struct fit_prior){
        .mean = {0.0, log(0.005 * 2.0 * TUNE_PI * lowest_hz), delay},
        .weight = {0.0, 0.5 / (1.5 * 1.5), 0.5 / (0.7 * 0.7)},
    };
}

/* Everything between the checks and the result. */
struct fit_run {
    struct fit_data response, lines;
    size_t *index;
    double lowest_hz, highest_hz; /* where modes are sought */
    struct fit_problem problem;
    struct fit_progress progress;
    struct fit_point point;
    struct fit_solution solution[2];
    struct fit_choice choice;
    size_t evident; /* modes within the band before their number was forced */
};

static void set_range(struct fit_run *run, const struct tune_fit_opts *opts)
{
    const double *f = run->response.f_hz, top = f[run->response.n - 1];
    const double nyquist = 0.5 * opts->loop_rate_hz;
    run->lowest_hz = opts->lowest_mode_hz > 0.0 ? opts->lowest_mode_hz : 2.0 * f[0];
    run->highest_hz = fmax(fmin(1.8 * top, 0.98 * nyquist), 1.02 * top);
    run->problem.bounds = (struct fit_bounds){
        .ln_f = {log(0.5 * run->lowest_hz), log(2.0 * run->highest_hz)},
        .ln_zeta = {log(1e-4), log(0.3)},
        .delay_min = tune_fit_delay_least,
    };
}

static enum tune_status start_run(struct fit_run *run, const struct tune_frf *frf,
                                  const struct tune_lines *lines, const struct tune_fit_opts *opts,
                                  struct tune_error *err)
{
    enum tune_status status;
    run->index = malloc((lines->n + 1) * sizeof *run->index);
    if (!run->index) return tune_error_memory(err, "fitting the plant");
    status = tune_fit_take_response(&run->response, frf, opts->loop_rate_hz, err);
    if (!status)
        status = tune_fit_take_lines(&run->lines, run->index, lines, opts->loop_rate_hz, err);
    if (status) return status;
    set_range(run, opts);
    run->point.p = 3;
    run->point.theta[2] = tune_fit_initial_delay(&run->response);
    set_priors(&run->problem, run->response.f_hz[0], run->point.theta[2]);
    if (opts->from) {
        run->point.modes = opts->from->n_modes;
        run->point.p = tune_plant_param_count(opts->from);
        tune_plant_to_params(run->point.theta, opts->from);
        return TUNE_OK;
    }
    return tune_fit_initial_rigid_body(run->point.theta, &run->response,
                                       exp(run->problem.prior.mean[1]), err);
}

static size_t modes_allowed(const struct fit_run *run, size_t wanted)
{
    const size_t fewer = run->response.n < run->lines.n ? run->response.n : run->lines.n;
    const size_t most = (fewer - 3) / 3; /* twice as many equations as unknowns */
    return wanted < most ? wanted : most;
}

static enum tune_status find_plant(struct fit_run *run, const struct tune_frf *frf,
                                   const struct tune_lines *lines, const struct tune_fit_opts *opts,
                                   struct tune_error *err)
{
    struct fit_choice *choice = &run->choice;
    enum tune_status status;
    memcpy(run->problem.band_hz, frf->band_hz, sizeof run->problem.band_hz);
    run->problem.progress = &run->progress;
    *choice = (struct fit_choice){
        .response = &run->response,
        .lines = &run->lines,
        .source = lines,
        .index = run->index,
        .problem = &run->problem,
        .scope = {.max_modes = modes_allowed(run, opts->max_modes),
                  .lowest_hz = run->lowest_hz,
                  .highest_hz = run->highest_hz},
        .delay_weight = run->problem.prior.weight[2],
        .start = &run->point,
        .given = opts->from != NULL,
        .rough = opts->rough,
        .best = &run->solution[0],
        .trial = &run->solution[1],
    };
    for (int i = 0; i < 2; i++) {
        run->solution[i].var = malloc(run->lines.n * sizeof *run->solution[i].var);
        if (!run->solution[i].var) return tune_error_memory(err, "fitting the plant");
    }
    status = tune_fit_choose(choice, err);
    if (!status) run->evident = tune_fit_modes_in_band(&choice->best->point, frf->band_hz);
    if (!status && opts->modes > 0)
        status = tune_fit_force_order(choice->best, &run->lines, &run->problem, &choice->scope,
                                      opts->modes, err);
    if (!status && !choice->best->converged && !opts->rough)
        return tune_error_set(
            err, TUNE_ENOSOL,
            "the fit of %zu modes did not converge; inspect the log, or limit the "
            "number of modes",
            choice->best->point.modes);
    if (status) return status;
    run->point = choice->best->point;
    memcpy(run->lines.var, choice->best->var, run->lines.n * sizeof *run->lines.var);
    return TUNE_OK;
}

/* sum |e|^2/s, s the regression's noise averaged along the shape of the residuals' own: the raw
 * values have few degrees of freedom each, and the mean of their inverse is too large. */
static enum tune_status chi_square(double *reduced, struct fit_run *run,
                                   const struct tune_lines *lines, struct tune_error *err)
{
    struct fit_data *data = &run->lines;
    enum tune_status status;
    tune_fit_known_noise(data, run->index, lines, &run->point);
    status = tune_fit_level(data->var, data->known, data, err);
    tune_fit_guard(data);
    *reduced = tune_fit_misfit(data, &run->point) / ((double)data->n - 0.5 * (double)run->point.p);
    return status;
}

static enum tune_status report(struct tune_fit *out, struct fit_run *run,
                               const struct tune_frf *frf, const struct tune_lines *lines,
                               struct tune_error *err)
{
    const size_t p = run->point.p;
    const double kinship = run->choice.best->kinship;
    enum tune_status status = chi_square(&out->reduced_chi_square, run, lines, err);
    if (status) return status;
    tune_fit_sort_modes(&run->point);
    out->covariance = malloc(p * p * sizeof *out->covariance);
    if (!out->covariance) return tune_error_memory(err, "fitting the plant");
    tune_spd_inverse(out->covariance, run->point.hessian, p);
    for (size_t i = 0; i < p * p; i++)
        out->covariance[i] *= 0.5 * kinship;
    out->viscous_prior_share =
        fmin(2.0 * run->problem.prior.weight[1] * out->covariance[p + 1] / kinship, 1.0);
    out->delay_wanted_s = run->point.theta[2] / run->lines.loop_rate_hz;
    run->point.theta[2] = fmax(run->point.theta[2], 0.0); /* the safe side for a design */
    out->n_params = p;
    out->lines = run->lines.n;
    out->evident_modes = run->evident;
    out->order_forced = run->evident != tune_fit_modes_in_band(&run->point, frf->band_hz);
    out->start = run->choice.best->start;
    memcpy(out->whittle, run->choice.whittle, sizeof out->whittle);
    memcpy(out->theta, run->point.theta, p * sizeof *out->theta);
    tune_plant_from_params(&out->plant, out->theta, p, run->point.modes, run->lines.loop_rate_hz);
    return tune_fit_estimates(out, frf->band_hz, err);
}

enum tune_status tune_fit_plant(struct tune_fit *out, const struct tune_frf *frf,
                                const struct tune_lines *lines, const struct tune_fit_opts *opts,
                                const struct tune_watch *watch, struct tune_error *err)
{
    struct fit_run *run = NULL;
    enum tune_status status;
    *out = (struct tune_fit){0};
    status = check_opts(opts, err);
    if (status) return status;
    run = calloc(1, sizeof *run);
    if (!run) return tune_error_memory(err, "fitting the plant");
    run->progress.watch = watch;
    status = start_run(run, frf, lines, opts, err);
    if (!status) status = find_plant(run, frf, lines, opts, err);
    if (!status) status = report(out, run, frf, lines, err);
    if (status) tune_fit_free(out);
    tune_fit_data_free(&run->response);
    tune_fit_data_free(&run->lines);
    free(run->solution[0].var);
    free(run->solution[1].var);
    free(run->index);
    free(run);
    return status;
}
