/* turn.c - inertia, friction and out-of-balance from slow turns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/turn.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "mechanics/motion_internal.h"
#include "mechanics/turn_internal.h"

enum { ROWS_MOST = 20000 };

/* Of the largest singular value, columns of length 1: what is smaller is not told apart. Of the square, for it is
 * x'x that is taken apart: a thousandth of the column. */
static const double told = 1e-6;

struct tune_turn_opts tune_turn_defaults(void)
{
    return (struct tune_turn_opts){.torque_limit_nm = 0.0};
}

static enum tune_status refuse(struct tune_error *err, const char *what, double value,
                               const char *limit)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "%s of a turn is %s but must be %s", what, text, limit);
    tune_error_about(err, what, text, limit);
    return TUNE_EINVAL;
}

static enum tune_status check(const struct tune_turn_log *log, size_t n_logs,
                              const struct tune_turn_opts *opts, struct tune_error *err)
{
    if (n_logs == 0 || n_logs > TUNE_TURN_LOGS_MAX)
        return refuse(err, "number of logs", (double)n_logs, "1 .. 64");
    if (!(opts->torque_limit_nm >= 0.0 && isfinite(opts->torque_limit_nm)))
        return refuse(err, "torque_limit_nm", opts->torque_limit_nm, "0 (not known) or more");
    for (size_t i = 0; i < n_logs; i++)
        if (!(log[i].rate_hz > 0.0 && isfinite(log[i].rate_hz)))
            return refuse(err, "rate_hz", log[i].rate_hz, "above 0");
    return TUNE_OK;
}

/* ---- least squares -------------------------------------------------------------------------------*/

struct normal {
    double scale[TUNE_TURN_TERMS]; /* length of a column; 0: a term that is left out */
    double matrix[TUNE_TURN_TERMS * TUNE_TURN_TERMS], right[TUNE_TURN_TERMS];
};

static void normal_make(struct normal *out, const struct turn_rows *rows, bool level)
{
    *out = (struct normal){0};
    for (size_t t = 0; t < (level ? TUNE_TURN_COSINE : TUNE_TURN_TERMS); t++) {
        for (size_t k = 0; k < rows->n; k++)
            if (rows->used[k]) out->scale[t] += rows->x[k][t] * rows->x[k][t];
        out->scale[t] = sqrt(out->scale[t]);
    }
    for (size_t s = 0; s < TUNE_TURN_TERMS; s++) {
        if (out->scale[s] == 0.0) continue;
        for (size_t k = 0; k < rows->n; k++) {
            const double x = rows->x[k][s] / out->scale[s];
            if (!rows->used[k]) continue;
            out->right[s] += x * rows->y[k];
            for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
                if (out->scale[t] > 0.0)
                    out->matrix[s * TUNE_TURN_TERMS + t] += x * rows->x[k][t] / out->scale[t];
        }
    }
}

/* V, the inverse over the directions that are told; a term is known where it has no part in the others. */
static enum tune_status invert(double inverse[TUNE_TURN_TERMS][TUNE_TURN_TERMS],
                               bool known[TUNE_TURN_TERMS], struct normal *normal,
                               struct tune_error *err)
{
    enum { N = TUNE_TURN_TERMS };
    double v[N * N], s[N];
    gsl_matrix_view u = gsl_matrix_view_array(normal->matrix, N, N);
    gsl_matrix_view right = gsl_matrix_view_array(v, N, N);
    gsl_vector_view singular = gsl_vector_view_array(s, N);
    if (gsl_linalg_SV_decomp_jacobi(&u.matrix, &right.matrix, &singular.vector))
        return tune_error_set(err, TUNE_EDATA, "friction cannot be told from these turns");
    for (size_t i = 0; i < N; i++) {
        double untold = 0.0;
        for (size_t j = 0; j < N; j++) {
            inverse[i][j] = 0.0;
            if (!(s[j] > told * s[0])) untold += v[i * N + j] * v[i * N + j];
        }
        known[i] = normal->scale[i] > 0.0 && untold < told;
    }
    for (size_t i = 0; i < N; i++)
        for (size_t k = 0; k < N; k++)
            for (size_t j = 0; j < N; j++)
                if (s[j] > told * s[0] && normal->scale[i] > 0.0 && normal->scale[k] > 0.0)
                    inverse[i][k] +=
                        v[i * N + j] * v[k * N + j] / (s[j] * normal->scale[i] * normal->scale[k]);
    return TUNE_OK;
}

static void take(struct tune_turn_fit *out, const double beta[TUNE_TURN_TERMS],
                 double covariance[TUNE_TURN_TERMS][TUNE_TURN_TERMS])
{
    for (size_t s = 0; s < TUNE_TURN_TERMS; s++) {
        out->value[s] = (struct tune_estimate){0.0, INFINITY};
        if (!out->known[s]) continue;
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
            if (out->known[t]) out->covariance[s][t] = covariance[s][t];
        out->value[s] = (struct tune_estimate){beta[s], sqrt(covariance[s][s])};
    }
}

/* Of size and angle of (cosine, sine), first order. */
static void take_imbalance(struct tune_turn_fit *out)
{
    const double c = out->value[TUNE_TURN_COSINE].value, s = out->value[TUNE_TURN_SINE].value;
    const double size = hypot(c, s);
    const double cc = out->covariance[TUNE_TURN_COSINE][TUNE_TURN_COSINE];
    const double ss = out->covariance[TUNE_TURN_SINE][TUNE_TURN_SINE];
    const double cs = out->covariance[TUNE_TURN_COSINE][TUNE_TURN_SINE];
    out->imbalance_nm = out->imbalance_angle_rad = (struct tune_estimate){NAN, NAN};
    if (!out->known[TUNE_TURN_COSINE] || !out->known[TUNE_TURN_SINE] || !(size > 0.0)) return;
    out->imbalance_nm = (struct tune_estimate){
        size, sqrt(fmax(c * c * cc + 2.0 * c * s * cs + s * s * ss, 0.0)) / size};
    out->imbalance_angle_rad = (struct tune_estimate){
        atan2(s, c), sqrt(fmax(s * s * cc - 2.0 * c * s * cs + c * c * ss, 0.0)) / (size * size)};
}

static enum tune_status solve(struct tune_turn_fit *out, const struct turn_rows *rows, bool level,
                              struct tune_error *err)
{
    double inverse[TUNE_TURN_TERMS][TUNE_TURN_TERMS], covariance[TUNE_TURN_TERMS][TUNE_TURN_TERMS];
    double beta[TUNE_TURN_TERMS] = {0.0}, sum = 0.0;
    double *residual = calloc(rows->n + 1, sizeof *residual);
    struct normal normal;
    enum tune_status status;
    if (!residual) return tune_error_memory(err, "estimating friction from turns");
    normal_make(&normal, rows, level);
    status = invert(inverse, out->known, &normal, err);
    for (size_t s = 0; s < TUNE_TURN_TERMS && !status; s++)
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
            beta[s] += inverse[s][t] * normal.right[t] * normal.scale[t];
    for (size_t k = 0; k < rows->n && !status; k++) {
        if (!rows->used[k]) continue;
        residual[k] = rows->y[k];
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
            residual[k] -= beta[t] * rows->x[k][t];
        sum += residual[k] * residual[k];
    }
    if (!status)
        status = turn_covariance(covariance, rows, residual, inverse,
                                 level ? TUNE_TURN_COSINE : TUNE_TURN_TERMS, err);
    free(residual);
    if (status) return status;
    out->residual_nm = sqrt(sum / (double)out->windows);
    take(out, beta, covariance);
    take_imbalance(out);
    return TUNE_OK;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

/* Time and speed each way, of the windows used; they overlap by half. */
static enum tune_status describe(struct tune_turn_fit *out, const struct turn_rows *rows,
                                 struct tune_error *err)
{
    double *speed = malloc((rows->n + 1) * sizeof *speed);
    if (!speed) return tune_error_memory(err, "estimating friction from turns");
    for (size_t k = 0; k < rows->n; k++) {
        if (!rows->used[k]) continue;
        speed[out->windows++] = fabs(rows->x[k][TUNE_TURN_VISCOUS]);
        *(rows->x[k][TUNE_TURN_VISCOUS] > 0.0 ? &out->up_s : &out->down_s) += 0.5 * out->window_s;
    }
    if (out->windows > 0) {
        out->slowest_rad_per_s = motion_quantile(speed, out->windows, 0.05);
        out->fastest_rad_per_s = motion_quantile(speed, out->windows, 0.95);
    }
    free(speed);
    return out->windows > 2 * TUNE_TURN_TERMS ? TUNE_OK : turn_hardly_moves(err);
}

static void look(struct tune_turn_fit *out, const struct tune_turn_log *log, size_t n_logs,
                 double limit_nm)
{
    size_t samples = 0, saturated = 0;
    out->low_rad = INFINITY;
    out->high_rad = -INFINITY;
    for (size_t i = 0; i < n_logs; i++)
        for (size_t k = 0; k < log[i].n; k++) {
            out->low_rad = fmin(out->low_rad, log[i].position_rad[k]);
            out->high_rad = fmax(out->high_rad, log[i].position_rad[k]);
            saturated += limit_nm > 0.0 && fabs(log[i].torque_nm[k]) >= 0.999 * limit_nm;
            samples++;
        }
    out->saturated = samples > 0 ? (double)saturated / (double)samples : 0.0;
}

enum tune_status tune_turn_estimate(struct tune_turn_fit *out, const struct tune_turn_log *log,
                                    size_t n_logs, const struct tune_turn_opts *opts,
                                    struct tune_error *err)
{
    struct turn_rows rows = {0};
    double all_s = 0.0;
    enum tune_status status = check(log, n_logs, opts, err);
    *out = (struct tune_turn_fit){0};
    for (size_t i = 0; i < n_logs && !status; i++)
        all_s += (double)log[i].n / log[i].rate_hz;
    for (size_t i = 0; i < n_logs && !status; i++) {
        double window_s;
        status = turn_rows_add(&rows, &window_s, &log[i], 2.0 * all_s / ROWS_MOST, err);
        if (i == 0) out->window_s = window_s;
    }
    if (!status) {
        look(out, log, n_logs, opts->torque_limit_nm);
        status = describe(out, &rows, err);
    }
    out->level = opts->level;
    if (!status) status = solve(out, &rows, opts->level, err);
    turn_rows_free(&rows);
    if (status) *out = (struct tune_turn_fit){0};
    return status;
}

/* ---- what is known of sums -----------------------------------------------------------------------*/

/* sum of weight times term, with its std; INFINITY where one of them is not known. */
static struct tune_estimate combine(const struct tune_turn_fit *fit,
                                    const double weight[TUNE_TURN_TERMS])
{
    struct tune_estimate sum = {0.0, 0.0};
    for (size_t s = 0; s < TUNE_TURN_TERMS; s++) {
        if (weight[s] == 0.0) continue;
        if (!fit->known[s]) return (struct tune_estimate){0.0, INFINITY};
        sum.value += weight[s] * fit->value[s].value;
        for (size_t t = 0; t < TUNE_TURN_TERMS; t++)
            sum.std += weight[s] * weight[t] * fit->covariance[s][t];
    }
    sum.std = sqrt(fmax(sum.std, 0.0));
    return sum;
}

/* cosine and sine of gravity, times sign. */
static void weigh_gravity(double weight[TUNE_TURN_TERMS], const struct tune_turn_fit *fit,
                          double angle_rad, double sign)
{
    if (fit->level) return;
    weight[TUNE_TURN_COSINE] = sign * cos(angle_rad);
    weight[TUNE_TURN_SINE] = sign * sin(angle_rad);
}

struct tune_estimate tune_turn_gravity(const struct tune_turn_fit *fit, double angle_rad)
{
    double weight[TUNE_TURN_TERMS] = {0.0};
    weigh_gravity(weight, fit, angle_rad, 1.0);
    return combine(fit, weight);
}

struct tune_estimate tune_turn_standing(const struct tune_turn_fit *fit, double angle_rad)
{
    double weight[TUNE_TURN_TERMS] = {[TUNE_TURN_OFFSET] = -1.0};
    weigh_gravity(weight, fit, angle_rad, 1.0);
    return combine(fit, weight);
}

struct tune_estimate tune_turn_rest(const struct tune_turn_fit *fit, double angle_rad)
{
    const double against = tune_turn_standing(fit, angle_rad).value < 0.0 ? 1.0 : -1.0;
    double weight[TUNE_TURN_TERMS] = {[TUNE_TURN_COULOMB] = 1.0, [TUNE_TURN_OFFSET] = -against};
    weigh_gravity(weight, fit, angle_rad, against);
    return combine(fit, weight);
}

struct tune_estimate tune_turn_friction(const struct tune_turn_fit *fit, double speed_rad_per_s)
{
    const double weight[TUNE_TURN_TERMS] = {
        [TUNE_TURN_COULOMB] = 1.0, [TUNE_TURN_VISCOUS] = speed_rad_per_s};
    return combine(fit, weight);
}
