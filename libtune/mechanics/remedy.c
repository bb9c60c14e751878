/* remedy.c - which masses to shift by how much.
 *
 * First the least |b + A x| within the bounds, one amount at a time (convex). Where nothing need be left, many x
 * leave nothing: the one of least effort sum e |x| has prices y, one for each of the two parts, with
 *     a_k y > e_k: x_k at its upper end;  a_k y < -e_k: at its lower end;  between: 0;  equal: as needed
 * (linear programming; two equations, so two amounts are as needed). Every pair is tried.
 * Last, what hardly matters is left where it is.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "mechanics/remedy.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ROUNDS = 20000, CORNERS_MAX = 12 };

static const double nothing = 1e-6; /* of the pull there was */
static const double hardly = 0.01;  /* of the pull there was: what leaves no more is not touched */
static const double worth = 0.9;    /* of the pull there was: less than a tenth is not worth it */
static const double radius95 = 2.4477; /* sqrt of chi-square, 2 degrees of freedom, 95 % */

struct adjusting {
    const struct tune_adjuster *adjuster;
    size_t n;
    double part[TUNE_ADJUSTERS_MAX][2]; /* cosine and sine of one unit */
    bool left_out[TUNE_ADJUSTERS_MAX];
    double b[2];
};

static enum tune_status refuse(struct tune_error *err, const char *what, size_t i, double value,
                               const char *limit)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "%s of adjuster %zu is %s but must be %s", what, i + 1,
                         text, limit);
    tune_error_about(err, what, text, limit);
    return TUNE_EINVAL;
}

static enum tune_status check(const struct tune_measured_pull *p, const struct tune_adjuster *a,
                              size_t n, struct tune_error *err)
{
    if (n > TUNE_ADJUSTERS_MAX)
        return tune_error_set(err, TUNE_EINVAL, "%zu things to adjust: at most %d", n,
                              TUNE_ADJUSTERS_MAX);
    if (!(isfinite(p->cosine_nm) && isfinite(p->sine_nm) && p->variance_cosine >= 0.0 &&
          p->variance_sine >= 0.0 && isfinite(p->variance_cosine + p->variance_sine) &&
          p->covariance * p->covariance <= p->variance_cosine * p->variance_sine * (1.0 + 1e-9)))
        return tune_error_set(err, TUNE_EINVAL,
                              "the out-of-balance to mend must be finite, its covariance positive");
    for (size_t i = 0; i < n; i++) {
        if (!(a[i].pull_nm_per_unit > 0.0 && isfinite(a[i].pull_nm_per_unit)))
            return refuse(err, "pull_nm_per_unit", i, a[i].pull_nm_per_unit, "above 0");
        if (!isfinite(a[i].angle_rad)) return refuse(err, "angle_rad", i, a[i].angle_rad, "finite");
        if (!(a[i].low <= 0.0 && isfinite(a[i].low)))
            return refuse(err, "low", i, a[i].low, "0 or less");
        if (!(a[i].high >= 0.0 && isfinite(a[i].high)))
            return refuse(err, "high", i, a[i].high, "0 or more");
        if (!(a[i].step >= 0.0 && isfinite(a[i].step)))
            return refuse(err, "step", i, a[i].step, "0 or more");
        if (!(a[i].effort > 0.0 && isfinite(a[i].effort)))
            return refuse(err, "effort", i, a[i].effort, "above 0");
    }
    return TUNE_OK;
}

static void prepare(struct adjusting *work, const struct tune_measured_pull *pull,
                    const struct tune_adjuster *adjuster, size_t n)
{
    *work = (struct adjusting){.adjuster = adjuster, .n = n, .b = {pull->cosine_nm, pull->sine_nm}};
    for (size_t i = 0; i < n; i++) {
        work->part[i][0] = adjuster[i].pull_nm_per_unit * cos(adjuster[i].angle_rad);
        work->part[i][1] = adjuster[i].pull_nm_per_unit * sin(adjuster[i].angle_rad);
    }
}

static double dot(const double a[2], const double b[2])
{
    return a[0] * b[0] + a[1] * b[1];
}

static double size(const double r[2])
{
    return hypot(r[0], r[1]);
}

static void add(double r[2], const double part[2], double amount)
{
    r[0] += part[0] * amount;
    r[1] += part[1] * amount;
}

static void remaining(double r[2], const struct adjusting *work, const double *x)
{
    r[0] = work->b[0];
    r[1] = work->b[1];
    for (size_t i = 0; i < work->n; i++)
        add(r, work->part[i], x[i]);
}

/* ---- least of all --------------------------------------------------------------------------------*/

/* What remains, r, from any x within the bounds. */
static void descend(double *x, double r[2], const struct adjusting *work)
{
    for (int round = 0; round < ROUNDS; round++) {
        double moved = 0.0;
        remaining(r, work, x);
        for (size_t i = 0; i < work->n; i++) {
            const struct tune_adjuster *a = &work->adjuster[i];
            const double curve = a->pull_nm_per_unit * a->pull_nm_per_unit;
            const double wanted = x[i] - dot(work->part[i], r) / curve;
            const double by = fmin(fmax(wanted, a->low), a->high) - x[i];
            if (work->left_out[i]) continue;
            add(r, work->part[i], by);
            x[i] += by;
            moved = fmax(moved, fabs(by) * a->pull_nm_per_unit);
        }
        if (moved <= 1e-12 * size(work->b)) break;
    }
    remaining(r, work, x);
}

/* ---- least effort --------------------------------------------------------------------------------*/

/* x y = right for the 2 x 2 of columns a, b; false: they point the same way. */
static bool columns(double x[2], const double a[2], const double b[2], const double right[2])
{
    const double det = a[0] * b[1] - a[1] * b[0];
    if (fabs(det) < 1e-9 * size(a) * size(b)) return false;
    x[0] = (right[0] * b[1] - right[1] * b[0]) / det;
    x[1] = (a[0] * right[1] - a[1] * right[0]) / det;
    return true;
}

static bool fits(const struct tune_adjuster *a, double amount, double sign)
{
    const double slack = 1e-9 * (a->high - a->low);
    return amount * sign >= -slack && amount >= a->low - slack && amount <= a->high + slack;
}

/* Amounts i, j as needed, with those signs; false where these prices do not hold. */
static bool try_pair(double *x, const struct adjusting *work, size_t i, size_t j, double sign_i,
                     double sign_j)
{
    const double *a = work->part[i], *b = work->part[j];
    const double rows[2][2] = {{a[0], b[0]}, {a[1], b[1]}};
    const double effort[2] = {sign_i * work->adjuster[i].effort, sign_j * work->adjuster[j].effort};
    double y[2], rest[2] = {-work->b[0], -work->b[1]}, pair[2];
    if (!columns(y, rows[0], rows[1], effort)) return false;
    for (size_t k = 0; k < work->n; k++) {
        const struct tune_adjuster *other = &work->adjuster[k];
        const double gain = dot(work->part[k], y);
        x[k] = 0.0;
        if (k == i || k == j) continue;
        if (fabs(gain) > other->effort * (1.0 + 1e-12))
            x[k] = gain > 0.0 ? other->high : other->low;
        add(rest, work->part[k], -x[k]);
    }
    if (!columns(pair, a, b, rest)) return false;
    x[i] = pair[0];
    x[j] = pair[1];
    return fits(&work->adjuster[i], x[i], sign_i) && fits(&work->adjuster[j], x[j], sign_j);
}

/* x stays as it is where no pair does it: all point the same way. */
static void least_effort(double *x, const struct adjusting *work)
{
    double y[TUNE_ADJUSTERS_MAX];
    for (size_t i = 0; i < work->n; i++)
        for (size_t j = i + 1; j < work->n; j++)
            for (int signs = 0; signs < 4; signs++) {
                if (!try_pair(y, work, i, j, signs & 1 ? -1.0 : 1.0, signs & 2 ? -1.0 : 1.0))
                    continue;
                memcpy(x, y, work->n * sizeof *x);
                return;
            }
}

/* ---- what hardly matters -------------------------------------------------------------------------*/

/* One after the other, the least useful first, while what remains grows by a hundredth only. */
static void prune(double *x, struct adjusting *work)
{
    const double before = size(work->b);
    double r[2];
    remaining(r, work, x);
    const double allowed = size(r) + hardly * before;
    for (size_t i = 0; i < work->n; i++)
        work->left_out[i] = x[i] == 0.0;
    for (;;) {
        double best[TUNE_ADJUSTERS_MAX], least = INFINITY;
        size_t which = 0;
        for (size_t i = 0; i < work->n; i++) {
            double y[TUNE_ADJUSTERS_MAX];
            if (work->left_out[i]) continue;
            memcpy(y, x, work->n * sizeof *y);
            y[i] = 0.0;
            work->left_out[i] = true;
            descend(y, r, work);
            work->left_out[i] = false;
            if (!(size(r) < least)) continue;
            least = size(r);
            which = i;
            memcpy(best, y, work->n * sizeof *best);
        }
        if (!(least <= allowed)) return;
        work->left_out[which] = true;
        memcpy(x, best, work->n * sizeof *x);
    }
}

/* ---- steps ---------------------------------------------------------------------------------------*/

/* Multiples of the steps around x, the corner that leaves least; steps of many amounts are rounded plainly. */
static void round_to_steps(double *x, const struct adjusting *work)
{
    size_t stepped[CORNERS_MAX], n = 0;
    double best[TUNE_ADJUSTERS_MAX], least = INFINITY;
    for (size_t i = 0; i < work->n; i++) {
        const double step = work->adjuster[i].step;
        if (step == 0.0 || x[i] == 0.0) continue;
        if (n < CORNERS_MAX)
            stepped[n++] = i;
        else
            x[i] = step * trunc(x[i] / step);
    }
    for (size_t corner = 0; corner < (size_t)1 << n; corner++) {
        double y[TUNE_ADJUSTERS_MAX], r[2];
        bool within = true;
        for (size_t i = 0; i < work->n; i++)
            y[i] = x[i];
        for (size_t k = 0; k < n; k++) {
            const struct tune_adjuster *a = &work->adjuster[stepped[k]];
            double *at = &y[stepped[k]];
            *at = a->step * (floor(*at / a->step + 1e-9) + (double)(corner >> k & 1u));
            within = within && *at >= a->low - 1e-9 * a->step && *at <= a->high + 1e-9 * a->step;
        }
        remaining(r, work, y);
        if (!within || size(r) >= least) continue;
        least = size(r);
        for (size_t i = 0; i < work->n; i++)
            best[i] = y[i];
    }
    for (size_t i = 0; i < work->n && isfinite(least); i++)
        x[i] = best[i];
}

/* Semi-axis of the error ellipse that is larger. */
static double error_radius(const struct tune_measured_pull *p)
{
    const double mean = 0.5 * (p->variance_cosine + p->variance_sine);
    const double half = 0.5 * (p->variance_cosine - p->variance_sine);
    return radius95 * sqrt(mean + hypot(half, p->covariance));
}

static void interval(double out[2], double nm, double radius)
{
    out[0] = fmax(0.0, nm - radius);
    out[1] = nm + radius;
}

enum tune_status tune_remedy_find(struct tune_remedy *out, const struct tune_measured_pull *pull,
                                  const struct tune_adjuster *adjuster, size_t n,
                                  struct tune_error *err)
{
    struct adjusting work;
    double x[TUNE_ADJUSTERS_MAX] = {0.0}, r[2], radius;
    const enum tune_status status = check(pull, adjuster, n, err);
    *out = (struct tune_remedy){.worth_it = false};
    if (status) return status;
    prepare(&work, pull, adjuster, n);
    radius = error_radius(pull);
    out->before_nm = hypot(pull->cosine_nm, pull->sine_nm);
    interval(out->before_nm_95, out->before_nm, radius);
    if (n > 0 && out->before_nm > 2.0 * radius) {
        descend(x, r, &work);
        if (size(r) < nothing * out->before_nm) least_effort(x, &work);
        prune(x, &work);
        round_to_steps(x, &work);
        remaining(r, &work, x);
        out->worth_it = size(r) < worth * out->before_nm;
    }
    for (size_t i = 0; i < n; i++)
        out->amount[i] = out->worth_it ? x[i] : 0.0;
    remaining(r, &work, out->amount);
    out->after_cosine_nm = r[0];
    out->after_sine_nm = r[1];
    out->after_nm = size(r);
    interval(out->after_nm_95, out->after_nm, radius);
    return TUNE_OK;
}
