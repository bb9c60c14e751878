/* fit.c - the plant and its covariance from a response and the lines behind it.
 *
 * 1. Rigid body and delay from the low end of the response.
 * 2. Modes inserted one by one on the thinned response (mode_insertion.c).
 * 3. Maximum likelihood on all lines, noise from its residuals (likelihood.c, noise_shape.c).
 * 4. Modes that chance explains removed again (mode_removal.c).
 * 5. Covariance = inverse of the information matrix 2 H.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"

enum { BLOCK = 128 };

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
    if (!(opts->lowest_mode_hz >= 0.0) || isinf(opts->lowest_mode_hz))
        return tune_error_set(err, TUNE_EINVAL, "the lowest mode must lie at 0 Hz or above, not %g",
                              opts->lowest_mode_hz);
    return TUNE_OK;
}

/* Noise of the output error known from the regression: E|Vy - G Vu|^2. */
static void regression_noise(struct fit_data *data, const size_t *index,
                             const struct tune_lines *lines, const struct fit_point *point)
{
    double *var = data->known;
    double complex g[BLOCK];
    for (size_t i = 0; i < data->n; i++) {
        const size_t line = index[i], at = i % BLOCK;
        if (at == 0)
            tune_plant_eval_jacobian(g, NULL, point->theta, point->p, point->modes,
                                     data->loop_rate_hz, data->f_hz + i,
                                     data->n - i < BLOCK ? data->n - i : BLOCK);
        var[i] = lines->var_y[line] + creal(g[at] * conj(g[at])) * lines->var_u[line] -
                 2.0 * creal(conj(g[at]) * lines->cov_yu[line]);
        if (!isfinite(var[i])) var[i] = lines->var_y[line];
    }
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
    return tune_fit_initial_rigid_body(run->point.theta, &run->response,
                                       exp(run->problem.prior.mean[1]), err);
}

static size_t modes_allowed(const struct fit_run *run, size_t wanted)
{
    const size_t fewer = run->response.n < run->lines.n ? run->response.n : run->lines.n;
    const size_t most = (fewer - 3) / 3; /* twice as many equations as unknowns */
    return wanted < most ? wanted : most;
}

static enum tune_status find_plant(struct fit_run *run, const struct tune_lines *lines,
                                   const struct tune_fit_opts *opts, struct tune_error *err)
{
    bool converged = false;
    enum tune_status status;
    run->problem.data = &run->response;
    run->problem.progress = &run->progress;
    run->progress.stage = "finding modes";
    run->progress.target = 0.4;
    status = tune_fit_insert_modes(&run->point, &run->response, &run->problem,
                                   modes_allowed(run, opts->max_modes), run->lowest_hz,
                                   run->highest_hz, err);
    if (status) return status;
    regression_noise(&run->lines, run->index, lines, &run->point);
    memcpy(run->lines.var, run->lines.known, run->lines.n * sizeof *run->lines.var);
    tune_fit_guard(&run->lines);
    run->problem.prior.weight[2] = 0.0; /* the delay is known from the data from here on */
    run->progress.stage = "fitting modes";
    run->progress.target = 1.0;
    status = tune_fit_remove_modes(&run->point, &run->lines, &run->problem, &converged, err);
    if (!status && !converged)
        return tune_error_set(
            err, TUNE_ENOSOL,
            "the fit of %zu modes did not converge; inspect the log, or limit the "
            "number of modes",
            run->point.modes);
    return status;
}

/* sum |e|^2/s, s the regression's noise averaged along the shape of the residuals' own: the raw
 * values have few degrees of freedom each, and the mean of their inverse is too large. */
static enum tune_status chi_square(double *reduced, struct fit_run *run,
                                   const struct tune_lines *lines, struct tune_error *err)
{
    struct fit_data *data = &run->lines;
    enum tune_status status;
    regression_noise(data, run->index, lines, &run->point);
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
    const double kinship = tune_fit_kinship(&run->lines, &run->point);
    enum tune_status status = chi_square(&out->reduced_chi_square, run, lines, err);
    if (status) return status;
    tune_fit_sort_modes(&run->point);
    out->covariance = malloc(p * p * sizeof *out->covariance);
    if (!out->covariance) return tune_error_memory(err, "fitting the plant");
    tune_spd_inverse(out->covariance, run->point.hessian, p);
    for (size_t i = 0; i < p * p; i++)
        out->covariance[i] *= 0.5 * kinship;
    out->delay_wanted_s = run->point.theta[2] / run->lines.loop_rate_hz;
    run->point.theta[2] = fmax(run->point.theta[2], 0.0); /* the safe side for a design */
    out->n_params = p;
    out->lines = run->lines.n;
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
    if (!status) status = find_plant(run, lines, opts, err);
    if (!status) status = report(out, run, frf, lines, err);
    if (status) tune_fit_free(out);
    tune_fit_data_free(&run->response);
    tune_fit_data_free(&run->lines);
    free(run->index);
    free(run);
    return status;
}
