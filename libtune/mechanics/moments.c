/* moments.c - where the mass of a two-axis mount sits.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/moments.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

/* Singular values below this part of what a level axis would give are taken as 0: an axis within a second of
 * arc of upright, or turns that differ by less, tell nothing. A moment counts as known where its direction
 * lies in what is seen to this part. */
static const double seen = 1e-6;

void tune_moments_torque(double *outer_nm, double *inner_nm, const double moment_kg_m[TUNE_MOMENTS],
                         double latitude_rad, double outer_rad, double inner_rad,
                         double gravity_m_per_s2)
{
    const double sl = sin(latitude_rad), cl = cos(latitude_rad);
    const double sh = sin(outer_rad), ch = cos(outer_rad);
    const double sd = sin(inner_rad), cd = cos(inner_rad);
    const double along = moment_kg_m[TUNE_MOMENT_ALONG], across = moment_kg_m[TUNE_MOMENT_ACROSS];
    *outer_nm = gravity_m_per_s2 * cl *
                ((along * cd - across * sd + moment_kg_m[TUNE_MOMENT_OUTER]) * sh -
                 moment_kg_m[TUNE_MOMENT_INNER_AXIS] * ch);
    *inner_nm =
        -gravity_m_per_s2 * (along * (sl * cd - cl * sd * ch) - across * (sl * sd + cl * cd * ch));
}

/* Cosine and sine part of what a moment of 1 kg m does to the axis turned: torque at 0 and at a quarter. */
static void response(double part[2], const struct tune_turned *turned, enum tune_moment moment,
                     double latitude_rad, double gravity)
{
    double one[TUNE_MOMENTS] = {0.0}, outer, inner;
    one[moment] = 1.0;
    for (int quarter = 0; quarter < 2; quarter++) {
        const double angle = quarter * M_PI_2, other = turned->other_angle_rad;
        tune_moments_torque(&outer, &inner, one, latitude_rad, turned->inner ? other : angle,
                            turned->inner ? angle : other, gravity);
        part[quarter] = turned->inner ? inner : outer;
    }
}

static enum tune_status refuse(struct tune_error *err, const char *what, const char *limit)
{
    (void)tune_error_set(err, TUNE_EINVAL, "%s of a turned axis must be %s", what, limit);
    tune_error_about(err, what, NULL, limit);
    return TUNE_EINVAL;
}

static enum tune_status check(const struct tune_turned *turned, size_t n, double latitude_rad,
                              double gravity, struct tune_error *err)
{
    if (n == 0) return refuse(err, "number", "1 or more");
    if (!isfinite(latitude_rad)) return refuse(err, "latitude_rad", "finite");
    if (!(gravity > 0.0 && isfinite(gravity))) return refuse(err, "gravity", "above 0");
    for (size_t i = 0; i < n; i++) {
        const struct tune_turned *t = &turned[i];
        if (!isfinite(t->other_angle_rad) || !isfinite(t->cosine_nm) || !isfinite(t->sine_nm))
            return refuse(err, "angle or torque", "finite");
        if (!(t->variance_cosine > 0.0 && isfinite(t->variance_cosine) && t->variance_sine > 0.0 &&
              isfinite(t->variance_sine) &&
              t->covariance * t->covariance < t->variance_cosine * t->variance_sine))
            return refuse(err, "covariance", "positive definite");
    }
    return TUNE_OK;
}

/* Two rows for each turn, white: by the inverse of the covariance's Cholesky factor. */
static void whiten(double row[2], const struct tune_turned *t, const double part[2])
{
    const double a = sqrt(t->variance_cosine), b = t->covariance / a;
    const double c = sqrt(t->variance_sine - b * b);
    row[0] = part[0] / a;
    row[1] = (part[1] - b * row[0]) / c;
}

static void fill(gsl_matrix *a, gsl_vector *y, const struct tune_turned *turned, size_t n,
                 double latitude_rad, double gravity)
{
    for (size_t i = 0; i < n; i++) {
        const double told[2] = {turned[i].cosine_nm, turned[i].sine_nm};
        double part[2], row[2];
        for (size_t k = 0; k < TUNE_MOMENTS; k++) {
            response(part, &turned[i], (enum tune_moment)k, latitude_rad, gravity);
            whiten(row, &turned[i], part);
            for (size_t r = 0; r < 2; r++)
                gsl_matrix_set(a, 2 * i + r, k, row[r]);
        }
        whiten(row, &turned[i], told);
        for (size_t r = 0; r < 2; r++)
            gsl_vector_set(y, 2 * i + r, row[r]);
    }
}

/* a = u diag(s) v' */
struct spectral {
    gsl_matrix *u, *v;
    gsl_vector *s;
    size_t rank;
};

static double along_seen(const struct spectral *d, size_t moment, size_t j)
{
    return gsl_matrix_get(d->v, moment, j);
}

/* A moment is known where no unseen direction has a part in it. */
static void take(struct tune_moments_fit *out, const struct spectral *d, const gsl_vector *y)
{
    for (size_t k = 0; k < TUNE_MOMENTS; k++) {
        double unseen = 0.0;
        for (size_t j = d->rank; j < TUNE_MOMENTS; j++)
            unseen += along_seen(d, k, j) * along_seen(d, k, j);
        out->known[k] = unseen < seen;
    }
    for (size_t k = 0; k < TUNE_MOMENTS; k++) {
        struct tune_estimate *moment = &out->moment_kg_m[k];
        *moment = (struct tune_estimate){0.0, INFINITY};
        if (!out->known[k]) continue;
        for (size_t j = 0; j < d->rank; j++) {
            double projected = 0.0;
            const double s = gsl_vector_get(d->s, j);
            for (size_t i = 0; i < y->size; i++)
                projected += gsl_matrix_get(d->u, i, j) * gsl_vector_get(y, i);
            moment->value += along_seen(d, k, j) * projected / s;
            for (size_t m = 0; m < TUNE_MOMENTS; m++)
                if (out->known[m])
                    out->covariance[k][m] += along_seen(d, k, j) * along_seen(d, m, j) / (s * s);
        }
        moment->std = sqrt(out->covariance[k][k]);
    }
}

/* What the seen directions leave of the observations. */
static double left_over(const struct spectral *d, const gsl_vector *y)
{
    double sum = 0.0;
    for (size_t i = 0; i < y->size; i++)
        sum += gsl_vector_get(y, i) * gsl_vector_get(y, i);
    for (size_t j = 0; j < d->rank; j++) {
        double projected = 0.0;
        for (size_t i = 0; i < y->size; i++)
            projected += gsl_matrix_get(d->u, i, j) * gsl_vector_get(y, i);
        sum -= projected * projected;
    }
    return fmax(sum, 0.0);
}

/* What 1 kg m on a level axis would be, in standard deviations of the best turn. */
static double largest(const struct tune_turned *turned, size_t n, double gravity)
{
    double variance = INFINITY;
    for (size_t i = 0; i < n; i++)
        variance = fmin(variance, fmin(turned[i].variance_cosine, turned[i].variance_sine));
    return gravity / sqrt(variance);
}

static enum tune_status judge(struct tune_moments_fit *out, struct spectral *d, const gsl_vector *y,
                              double scale, struct tune_error *err)
{
    bool any = false;
    while (d->rank < TUNE_MOMENTS && gsl_vector_get(d->s, d->rank) > seen * scale)
        d->rank++;
    take(out, d, y);
    out->chi_square = left_over(d, y);
    for (size_t k = 0; k < TUNE_MOMENTS; k++)
        any = any || out->known[k];
    if (any) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "no moment of the mount is known from these turns: an upright axis feels "
                          "no weight, and the other one was not turned");
}

enum tune_status tune_moments_solve(struct tune_moments_fit *out, const struct tune_turned *turned,
                                    size_t n, double latitude_rad, double gravity_m_per_s2,
                                    struct tune_error *err)
{
    /* at least as many rows as columns: those of 0 say nothing */
    const size_t rows = 2 * n > TUNE_MOMENTS ? 2 * n : TUNE_MOMENTS;
    double v[TUNE_MOMENTS * TUNE_MOMENTS], s[TUNE_MOMENTS], *room;
    enum tune_status status = check(turned, n, latitude_rad, gravity_m_per_s2, err);
    *out = (struct tune_moments_fit){0};
    if (status) return status;
    room = calloc(rows * (TUNE_MOMENTS + 1), sizeof *room);
    if (!room) return tune_error_memory(err, "solving for the moments of a mount");
    gsl_matrix_view a = gsl_matrix_view_array(room, rows, TUNE_MOMENTS);
    gsl_vector_view y = gsl_vector_view_array(room + rows * TUNE_MOMENTS, rows);
    gsl_matrix_view right = gsl_matrix_view_array(v, TUNE_MOMENTS, TUNE_MOMENTS);
    gsl_vector_view singular = gsl_vector_view_array(s, TUNE_MOMENTS);
    struct spectral d = {&a.matrix, &right.matrix, &singular.vector, 0};
    fill(d.u, &y.vector, turned, n, latitude_rad, gravity_m_per_s2);
    if (gsl_linalg_SV_decomp_jacobi(d.u, d.v, d.s))
        status = tune_error_set(err, TUNE_ENOSOL, "the moments of a mount cannot be solved for");
    if (!status) status = judge(out, &d, &y.vector, largest(turned, n, gravity_m_per_s2), err);
    if (!status) out->degrees_of_freedom = 2 * n - d.rank;
    free(room);
    if (status) *out = (struct tune_moments_fit){0};
    return status;
}

const char *tune_moment_name(enum tune_moment moment)
{
    static const char *const name[TUNE_MOMENTS] = {"along the tube", "across the tube",
                                                   "along the inner axis", "across the fork"};
    return name[moment];
}
