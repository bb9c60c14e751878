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
    double *known;         /* [n] the same as known without the model */
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

/* band_hz: q of a mode outside it is held at 0, where it could be anything; {0, 0}: none is held. */
struct fit_problem {
    const struct fit_data *data;
    struct fit_prior prior;
    struct fit_bounds bounds;
    double band_hz[2];
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

/* Mode k lies within the usable band, ends included. */
bool tune_fit_in_band(const struct fit_point *point, size_t k, const double band_hz[2]);
size_t tune_fit_modes_in_band(const struct fit_point *point, const double band_hz[2]);

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

/* Best further mode for the residual of a point on data: score = cost it saves at once when 1/J is
 * multiplied by rigid (gain and quadrature, as all gains, are then still relative to the old 1/J). */
struct fit_candidate {
    double f_hz, zeta, gain, quadrature, rigid, score;
};
struct fit_search; /* bins and blocks, reused from search to search */
enum tune_status tune_fit_search_init(struct fit_search **search, const struct fit_data *data,
                                      struct tune_error *err);
struct fit_candidate tune_fit_search_best(struct fit_search *search, const struct fit_data *data,
                                          const struct fit_point *point, double lowest_hz,
                                          double highest_hz, bool complex_residues);
void tune_fit_search_free(struct fit_search *search);

/* point with one mode more, the rigid body moved along. */
void tune_fit_add_mode(struct fit_point *point, const struct fit_candidate *mode,
                       bool complex_residues);

/* Where modes are sought, and how. */
struct fit_scope {
    size_t max_modes;
    double lowest_hz, highest_hz;
    bool complex_residues;
};

/* Forward selection on a thinned response; fills point with the plant worth refining. */
enum tune_status tune_fit_insert_modes(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, const struct fit_scope *scope,
                                       struct tune_error *err);

/* var = known noise + (relative |G|)^2 f/f_middle: what is not yet explained counts by octave, not by
 * bin, or the many bins above the resonances would set the inertia. */
void tune_fit_set_floor(struct fit_data *response, double relative);

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

/* What dropping each mode would cost by the curvature alone, b^T (C_bb)^-1 b, b its gain and, where
 * complex, its q, C the inverse of the point's Hessian: cost[modes]. */
void tune_fit_drop_cost(double *cost, const struct fit_point *point, const double *inverse);

/* out is point without mode k, the others moved to where they are best without it, to first order. */
void tune_fit_without_mode(struct fit_point *out, const struct fit_point *point,
                           const double *inverse, size_t k);

/* Refine, then drop every mode whose absence costs the likelihood less than chance would. */
enum tune_status tune_fit_remove_modes(struct fit_point *point, struct fit_data *lines,
                                       struct fit_problem *problem, bool *converged,
                                       struct tune_error *err);

/* Start from the poles of vector fitting: their gains by linear least squares on the response, those
 * of little weight dropped, the rest fitted to it; the rigid body of point is where it begins. */
enum tune_status tune_fit_vector_start(struct fit_point *point, struct fit_data *response,
                                       struct fit_problem *problem, const struct fit_scope *scope,
                                       struct tune_error *err);

/* ---- evidence: what a likelihood must be better by --------------------------------------------*/

/* Beside tune_fit_mode_price(): that there are phases at all costs 6 (docs/theory.md). */
double tune_fit_price(const struct fit_point *point, const double band_hz[2], size_t n_lines);

/* A plant settled on the lines, and how likely it makes them. */
struct fit_solution {
    struct fit_point point;
    double *var; /* [lines] the noise it was settled with, owned */
    double whittle, kinship, price;
    enum tune_fit_start start;
    bool converged;
};

/* sum ln var + |y - G u|^2/var */
double tune_fit_whittle(const struct fit_data *lines, const struct fit_point *point);

/* Whittle value and price, the latter times the larger kinship of the two: the lower sum wins. A plant
 * that did not converge is worse than one that did. */
bool tune_fit_is_better(const struct fit_solution *a, const struct fit_solution *b);

/* Refine and remove; lines->var is the noise to start from and that of the solution afterwards. */
enum tune_status tune_fit_settle(struct fit_solution *out, struct fit_data *lines,
                                 struct fit_problem *problem, struct tune_error *err);

/* Insert further modes for as long as the lines ask for one. */
enum tune_status tune_fit_complete(struct fit_solution *best, struct fit_data *lines,
                                   struct fit_problem *problem, const struct fit_scope *scope,
                                   struct tune_error *err);

/* Exactly `wanted` modes within the band: the least missed go, the best further ones come. TUNE_ENOSOL
 * where that cannot be had. */
enum tune_status tune_fit_force_order(struct fit_solution *best, struct fit_data *lines,
                                      struct fit_problem *problem, const struct fit_scope *scope,
                                      size_t wanted, struct tune_error *err);

/* ---- the choice among several starts ----------------------------------------------------------*/

struct fit_choice {
    struct fit_data *response, *lines;
    const struct tune_lines *source; /* of lines */
    const size_t *index;             /* [lines->n] which of the source */
    struct fit_problem *problem;     /* its prior is that of the last fit */
    struct fit_scope scope;
    double delay_weight;           /* of the prior on the delay, on the response alone */
    const struct fit_point *start; /* rigid body and delay; with given, modes as well */
    bool given, rough;             /* see struct tune_fit_opts */
    struct fit_solution *best, *trial;
    bool any;                        /* best is one */
    double whittle[TUNE_FIT_STARTS]; /* least from each start; NAN where it led to a known plant */
};

/* Leaves the plant the lines speak for in *c->best, c->scope with or without complex residues. */
enum tune_status tune_fit_choose(struct fit_choice *c, struct tune_error *err);

/* Modes to rising frequency; the Hessian follows. */
void tune_fit_sort_modes(struct fit_point *point);

/* The estimates of out from out->theta, out->covariance, out->plant. */
enum tune_status tune_fit_estimates(struct tune_fit *out, const double band_hz[2],
                                    struct tune_error *err);

/* Noise of the output error known from the regression, E|Vy - G Vu|^2, to data->known. */
void tune_fit_known_noise(struct fit_data *data, const size_t *index,
                          const struct tune_lines *lines, const struct fit_point *point);

/* Keep every var above what rounding leaves of y. */
void tune_fit_guard(struct fit_data *data);

/* Re(slope^H covariance slope): E|dG|^2 when the parameters have that covariance[p x p]. */
double tune_fit_spread(const double *covariance, const double complex *slope, size_t p);

#endif
