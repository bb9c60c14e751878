/* measured_curve.c - a table of L as a curve: smooth where noise asks for it, a cubic in between.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "control/loop_grid_internal.h"
#include "control/measured_internal.h"

/* Half widths tried, in points. */
static const size_t half_width[] = {2, 3, 4, 6, 8, 12, 16, 24};
enum { WIDTHS = sizeof half_width / sizeof *half_width };

/* A parabola is believed while noise leaves residuals of that size once in a thousand (3.09 is that quantile
 * of the normal law), and while its value stays within so many std of every narrower one. */
static const double residuals_quantile = 3.09, disagreement_most = 3.0;

/* ---- one window ---------------------------------------------------------------------------------*/

/* Value and std at the middle of a weighted parabola, and its misfit sum |e|^2/var. */
struct window {
    double complex value;
    double std, misfit;
};

struct moments {
    double s[5];
    double complex t[3];
};

static double complex scaled(const struct tune_loop_table *table, size_t k, size_t at)
{
    const double ratio = table->f_hz[k] / table->f_hz[at];
    return table->l[k] * ratio * ratio;
}

/* Of the point scaled likewise. */
static double weight_of(const struct tune_loop_table *table, size_t k, size_t at)
{
    const double ratio = table->f_hz[k] / table->f_hz[at];
    const double std = table->std[k] * ratio * ratio;
    return 1.0 / (std * std);
}

static struct moments moments_of(const struct tune_loop_table *table, size_t at, size_t from,
                                 size_t to, double unit)
{
    struct moments m = {0};
    for (size_t k = from; k <= to; k++) {
        const double x = log(table->f_hz[k] / table->f_hz[at]) / unit;
        double power = weight_of(table, k, at);
        for (int i = 0; i < 5; i++, power *= x) {
            m.s[i] += power;
            if (i < 3) m.t[i] += power * scaled(table, k, at);
        }
    }
    return m;
}

static struct window parabola(const struct tune_loop_table *table, size_t at, size_t from,
                              size_t to)
{
    const double unit = log(table->f_hz[to] / table->f_hz[from]);
    const struct moments m = moments_of(table, at, from, to, unit);
    const double *s = m.s;
    /* cofactors of the symmetric matrix [s0 s1 s2; s1 s2 s3; s2 s3 s4] */
    const double c00 = s[2] * s[4] - s[3] * s[3], c01 = s[2] * s[3] - s[1] * s[4],
                 c02 = s[1] * s[3] - s[2] * s[2], c11 = s[0] * s[4] - s[2] * s[2],
                 c12 = s[1] * s[2] - s[0] * s[3], c22 = s[0] * s[2] - s[1] * s[1];
    const double det = s[0] * c00 + s[1] * c01 + s[2] * c02;
    const double complex a = (c00 * m.t[0] + c01 * m.t[1] + c02 * m.t[2]) / det,
                         b = (c01 * m.t[0] + c11 * m.t[1] + c12 * m.t[2]) / det,
                         c = (c02 * m.t[0] + c12 * m.t[1] + c22 * m.t[2]) / det;
    struct window out = {.value = a, .std = sqrt(c00 / det)};
    for (size_t k = from; k <= to; k++) {
        const double x = log(table->f_hz[k] / table->f_hz[at]) / unit;
        out.misfit +=
            tune_norm2(scaled(table, k, at) - (a + x * (b + x * c))) * weight_of(table, k, at);
    }
    return out;
}

/* ---- the widest that holds ----------------------------------------------------------------------*/

/* Twice the misfit is chi-square distributed: its quantile by E. B. Wilson and M. M. Hilferty, Proc. Nat.
 * Acad. Sci. 17, 1931. */
static double most_misfit(double freedom)
{
    const double root = 1.0 / (3.0 * sqrt(freedom));
    return freedom * pow(1.0 - root * root + residuals_quantile * root, 3.0);
}

static bool holds(const struct window *next, size_t points, const struct window *narrower, size_t n)
{
    if (!(next->misfit <= most_misfit((double)points - 3.0)) || !(next->std > 0.0)) return false;
    for (size_t i = 0; i < n; i++)
        if (cabs(next->value - narrower[i].value) > disagreement_most * narrower[i].std)
            return false;
    return true;
}

static bool noisy(const struct tune_loop_table *table, size_t from, size_t to)
{
    for (size_t k = from; k <= to; k++)
        if (!(table->std[k] > 0.0)) return false;
    return true;
}

static void smooth_point(struct measured_curve *out, const struct tune_loop_table *table, size_t at)
{
    struct window tried[WIDTHS + 1] = {{.value = table->l[at], .std = table->std[at]}};
    size_t n = 1;
    for (size_t w = 0; w < WIDTHS; w++) {
        const size_t half = half_width[w];
        if (at < half || at + half >= table->n || !noisy(table, at - half, at + half)) break;
        tried[n] = parabola(table, at, at - half, at + half);
        if (!holds(&tried[n], 2 * half + 1, tried, n)) break;
        n++;
    }
    out->l[at] = tried[n - 1].value;
    /* what the last widening moved may be bend as well as noise */
    out->std[at] = n > 1 ? hypot(tried[n - 1].std, cabs(tried[n - 1].value - tried[n - 2].value))
                         : tried[0].std;
}

enum tune_status measured_curve_init(struct measured_curve *out,
                                     const struct tune_loop_table *table, struct tune_error *err)
{
    *out = (struct measured_curve){.n = table->n};
    out->x = malloc(table->n * sizeof *out->x);
    out->l = malloc(table->n * sizeof *out->l);
    out->std = malloc(table->n * sizeof *out->std);
    if (!out->x || !out->l || !out->std) {
        measured_curve_free(out);
        return tune_error_memory(err, "looking at a measured loop");
    }
    for (size_t i = 0; i < table->n; i++) {
        out->x[i] = log(table->f_hz[i]);
        smooth_point(out, table, i);
    }
    return TUNE_OK;
}

void measured_curve_free(struct measured_curve *curve)
{
    free(curve->x);
    free(curve->l);
    free(curve->std);
    *curve = (struct measured_curve){0};
}

/* Where the third difference of four points exceeds so many of its std they are joined as a resonance
 * is, by a parabola over a straight line, whose pole must be no nearer than that, in steps. */
static const double sure_bend = 4.0, nearest_pole = 0.1;

/* ---- in between ---------------------------------------------------------------------------------*/

/* The point below x, so that there is one above. */
static size_t below(const struct measured_curve *curve, double x)
{
    size_t low = 0, high = curve->n - 1;
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        if (curve->x[middle] <= x)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* The cubic through four values at x[4], at 0. */
static double complex cubic(const double x[4], const double complex y[4])
{
    double complex sum = 0.0;
    for (int i = 0; i < 4; i++) {
        double weight = 1.0;
        for (int k = 0; k < 4; k++)
            if (k != i) weight *= x[k] / (x[k] - x[i]);
        sum += weight * y[i];
    }
    return sum;
}

/* Third divided difference. */
static double complex third_difference(const double x[4], const double complex y[4])
{
    double complex sum = 0.0;
    for (int i = 0; i < 4; i++) {
        double weight = 1.0;
        for (int k = 0; k < 4; k++)
            if (k != i) weight /= x[i] - x[k];
        sum += weight * y[i];
    }
    return sum;
}

/* A parabola over 1 + d x through the four values, at 0: y (1 + d x) is a parabola where its third
 * difference is 0. False where the pole -1/d lies so near the middle step, from x[1] to x[2], that it could
 * be made by noise. */
static bool resonance(double complex *value, const double x[4], const double complex y[4])
{
    const double step = x[2] - x[1];
    double complex z[4], pole;
    for (int i = 0; i < 4; i++)
        z[i] = x[i] * y[i];
    pole = third_difference(x, z) / third_difference(x, y);
    if (!isfinite(creal(pole)) || !isfinite(cimag(pole)) || pole == 0.0) return false;
    const double along = fmin(fmax(creal(pole), x[1]), x[2]);
    if (cabs(pole - along) < nearest_pole * step) return false;
    for (int i = 0; i < 4; i++)
        z[i] = y[i] * (1.0 - x[i] / pole);
    *value = cubic(x, z);
    return true;
}

double complex measured_foretold(const double x[4], const double complex y[4], bool as_resonance)
{
    double complex value;
    if (!as_resonance) return cubic(x, y);
    return resonance(&value, x, y) ? value : CMPLX(NAN, NAN);
}

double complex measured_curve_at(const struct measured_curve *curve, double f_hz)
{
    const double at = log(f_hz);
    size_t first = below(curve, at);
    double x[4], noise2 = 0.0;
    double complex y[4], value;
    first = first > 0 ? first - 1 : 0;
    if (first + 4 > curve->n) first = curve->n - 4;
    for (size_t i = 0; i < 4; i++) {
        x[i] = curve->x[first + i] - at;
        y[i] = curve->l[first + i] * exp(2.0 * x[i]); /* L (f_i/f)^2 */
        noise2 += curve->std[first + i] * curve->std[first + i];
    }
    /* the third difference times the cube of the mean step, of which the weights are 1, 3, 3, 1 at most */
    const double step = (x[3] - x[0]) / 3.0, least2 = 20.0 * noise2 / 4.0;
    if (tune_norm2(6.0 * step * step * step * third_difference(x, y)) >
            sure_bend * sure_bend * least2 &&
        resonance(&value, x, y))
        return value;
    return cubic(x, y);
}

double measured_curve_std(const struct measured_curve *curve, double f_hz)
{
    const double x = log(f_hz);
    const size_t i = below(curve, x);
    const double part = (x - curve->x[i]) / (curve->x[i + 1] - curve->x[i]);
    return curve->std[i] + fmin(fmax(part, 0.0), 1.0) * (curve->std[i + 1] - curve->std[i]);
}

double complex measured_curve_slope(const struct measured_curve *curve, double f_hz)
{
    const double widest = 0.1, at = log(f_hz);
    const size_t i = below(curve, at);
    const double low = curve->x[0], high = curve->x[curve->n - 1];
    double half = 0.5 * (curve->x[i + 1] - curve->x[i]);
    for (;; half *= 1.5) {
        const double before = fmax(at - half, low), behind = fmin(at + half, high);
        const double complex ratio =
            measured_curve_at(curve, exp(behind)) / measured_curve_at(curve, exp(before));
        const double noise = measured_curve_std(curve, f_hz) / cabs(measured_curve_at(curve, f_hz));
        if (cabs(clog(ratio)) > 6.0 * noise || half > widest)
            return clog(ratio) / (behind - before);
    }
}
