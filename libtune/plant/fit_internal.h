/* fit_internal.h - the parts of the fit: data, damped Gauss-Newton, search for modes, noise shape.
 *
 * Everywhere below the cost is V = sum |y - G u|^2/var + sum prior_weight (theta - prior_mean)^2,
 * which is minus the log-likelihood of complex normal noise with E|noise|^2 = var; the information
 * matrix of theta is 2 H with H = Re sum conj(a)^T a + diag(prior_weight), a = u dG/dtheta/std.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FIT_INTERNAL_H
#define TUNE_FIT_INTERNAL_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "core/watch.h"
#include "plant/fit.h"
#include "plant/model.h"

/* Responses to fit: y = G u + noise. Owned by whoever made it; release with tune_fit_data_free(). */
struct fit_data {
    size_t n;
    double loop_rate_hz;
    double *f_hz;          /* [n] rising */
    double complex *u, *y; /* [n] */
    double *var;           /* [n] E|noise|^2 > 0, as used */
    double *known;         /* [n] the same as known without the model; of lines only */
};

enum tune_status tune_fit_data_init(struct fit_data *data, size_t n, double loop_rate_hz,
                                    struct tune_error *err);
void tune_fit_data_free(struct fit_data *data);

/* Copies of what can be used. index[lines->n] says which lines those are. TUNE_EDATA where too few. */
enum tune_status tune_fit_take_response(struct fit_data *out, const struct tune_frf *frf,
                                        double rate, struct tune_error *err);
enum tune_status tune_fit_take_lines(struct fit_data *out, size_t *index,
                                     const struct tune_lines *lines, double rate,
                                     struct tune_error *err);

/* First delay in loop periods, from the phases alone; no less than tune_fit_delay_least. */
extern const double tune_fit_delay_least;
double tune_fit_initial_delay(const struct fit_data *response);

/* theta[0], theta[1] given the delay theta[2]; drag B/J no smaller than drag_guess. */
enum tune_status tune_fit_initial_rigid_body(double *theta, const struct fit_data *response,
                                             double drag_guess, struct tune_error *err);

/* Gaussian knowledge beside the data: adds weight (theta - mean)^2, weight = 1/(2 std^2), to V. Only
 * the three rigid-body parameters have any. */
struct fit_prior {
    double mean[3], weight[3];
};

/* The box every iterate is held in. */
struct fit_bounds {
    double ln_f[2], ln_zeta[2], delay_min;
};

/* One point of the iteration: p = 3 + 3 modes or, complex, 3 + 4 modes parameters in the order of
 * model.h. hessian is [p x p], both triangles. */
struct fit_point {
    size_t modes, p;
    double theta[TUNE_PARAMS_MAX];
    double cost;
    double gradient[TUNE_PARAMS_MAX]; /* Re sum conj(a) e/std, downhill */
    double hessian[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX];
};

struct fit_problem {
    const struct fit_data *data;
    struct fit_prior prior;
    struct fit_bounds bounds;
    struct fit_progress *progress;
};

/* Progress of the whole fit; the steps of the iteration tick it. */
struct fit_progress {
    const struct tune_watch *watch;
    const char *stage;
    double done, target; /* each tick goes a part of the way from done to target */
};
enum tune_status tune_fit_tick(struct fit_progress *progress, struct tune_error *err);

/* What parameter k of a point is. */
enum fit_part { FIT_RIGID, FIT_LN_F, FIT_LN_ZETA, FIT_GAIN, FIT_QUADRATURE };
enum fit_part tune_fit_part(size_t modes, size_t k);

/* Cost, gradient, Hessian at theta; point->modes and point->p are set by the caller. */
void tune_fit_evaluate(struct fit_point *point, const struct fit_problem *problem,
                       const double *theta);

/* H += row^T row, lower triangle, and gradient += row^T e, over a multiple of four rows. */
void tune_fit_add_rows(double *hessian, double *gradient, const double *rows, const double *e,
                       size_t n_rows, size_t p);

/* Cost alone of the plain residuals, without prior. */
double tune_fit_misfit(const struct fit_data *data, const struct fit_point *point);

/* Levenberg-Marquardt from point->theta (point->p set); on return point is the best one found and
 * evaluated. *converged (may be NULL) says that the last step lowered V by less than tolerance. */
enum tune_status tune_fit_descend(struct fit_point *point, const struct fit_problem *problem,
                                  int rounds, double tolerance, bool *converged,
                                  struct tune_error *err);

/* Best further mode for the residual of theta on data: score = cost it saves at once when 1/J is
 * multiplied by rigid (gain, as all gains, is then still relative to the old 1/J). */
struct fit_candidate {
    double f_hz, zeta, gain, rigid, score;
};
struct fit_search; /* bins and blocks, reused from search to search */
enum tune_status tune_fit_search_init(struct fit_search **search, const struct fit_data *data,
                                      struct tune_error *err);
struct fit_candidate tune_fit_search_best(struct fit_search *search, const struct fit_data *data,
                                          const struct fit_point *point, double lowest_hz,
                                          double highest_hz);
void tune_fit_search_free(struct fit_search *search);

/* Forward selection on a thinned response; fills point with the plant worth refining. */
enum tune_status tune_fit_insert_modes(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, size_t max_modes,
                                       double lowest_hz, double highest_hz, struct tune_error *err);

/* Poles of a response by relocation of up to `pairs` of them (vector_fit.c), in no order, spurious ones
 * included; out->n may be less, 0 where nothing can be solved. */
enum { FIT_PAIRS_MAX = 14 };
struct fit_poles {
    size_t n;
    double f_hz[FIT_PAIRS_MAX], zeta[FIT_PAIRS_MAX];
};
enum tune_status tune_fit_vector_poles(struct fit_poles *out, const struct fit_data *response,
                                       double delay_periods, size_t pairs,
                                       struct fit_progress *progress, struct tune_error *err);

/* Replace data->var by the noise seen in the residuals of point (evaluated on data). */
enum tune_status tune_fit_noise(struct fit_data *data, const struct fit_point *point,
                                struct tune_error *err);

/* var times the log-adaptive moving mean of power/var: var takes the level of power, keeps its own
 * shape within the window. */
enum tune_status tune_fit_level(double *var, const double *power, const struct fit_data *data,
                                struct tune_error *err);

/* By how much more the whitened residuals of neighbouring lines add up than independent ones would:
 * 1 + 2 sum (1 - k/17) rho_k over 16 lags, of that part of their power that exceeds the known noise; at
 * least 1, and 1 unless chance is out of the question (3 sigma). Above 1 the model misses something
 * smooth, and a likelihood of independent lines believes too much in it: significance is divided by
 * this, variances multiplied. */
double tune_fit_kinship(const struct fit_data *lines, const struct fit_point *point);

/* Maximum likelihood on the lines: descend and re-estimate the noise in turn, `rounds` descents. */
enum tune_status tune_fit_refine(struct fit_point *point, struct fit_data *lines,
                                 struct fit_problem *problem, int rounds, bool *converged,
                                 struct tune_error *err);

/* Refine, then drop every mode whose absence costs the likelihood less than chance would. */
enum tune_status tune_fit_remove_modes(struct fit_point *point, struct fit_data *lines,
                                       struct fit_problem *problem, bool *converged,
                                       struct tune_error *err);

/* Modes to rising frequency; the Hessian follows. */
void tune_fit_sort_modes(struct fit_point *point);

/* The estimates of out from out->theta, out->covariance, out->plant. */
enum tune_status tune_fit_estimates(struct tune_fit *out, const double band_hz[2],
                                    struct tune_error *err);

/* Keep every var above what rounding leaves of y. */
void tune_fit_guard(struct fit_data *data);

/* Re(slope^H covariance slope): E|dG|^2 when the parameters have that covariance[p x p]. */
double tune_fit_spread(const double *covariance, const double complex *slope, size_t p);

#endif
