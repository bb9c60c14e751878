/* leave_out.c - every pointing predicted from the others.
 *
 * The choice of terms is made anew without the pointing's value, or the test would know what it tests; its
 * condition is known. Where it is the only one with a state of the other axis, or at another angle, the
 * others say nothing of that term: it is in or out with even odds, as large as is common. The
 * prediction is a mixture of normal densities; the deviation measured is turned into the normal deviate
 * that is as improbable, so that few points (heavy tails) and many are judged by one limit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "compare/law_internal.h"

/* ---- mixtures -------------------------------------------------------------------------------------*/

double law_mean(const struct law_normal *part, size_t n)
{
    double sum = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += part[k].weight * part[k].mean;
    return sum;
}

/* Probability below x, or above. */
static double tail(const struct law_normal *part, size_t n, double x, bool above)
{
    const double sign = above ? 1.0 : -1.0;
    double sum = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += part[k].weight * 0.5 * erfc(sign * (x - part[k].mean) / (sqrt(2.0) * part[k].std));
    return sum;
}

double law_half_width(const struct law_normal *part, size_t n)
{
    const double outside = erfc(sqrt(0.5)); /* 31.73 % */
    const double mean = law_mean(part, n);
    double low = 0.0, high = 0.0;
    for (size_t k = 0; k < n; k++)
        high = fmax(high, fabs(part[k].mean - mean) + 2.0 * part[k].std);
    for (int i = 0; i < 60; i++) {
        const double middle = 0.5 * (low + high);
        if (tail(part, n, mean + middle, true) + tail(part, n, mean - middle, false) > outside)
            low = middle;
        else
            high = middle;
    }
    return high;
}

double law_deviate(const struct law_normal *part, size_t n, double x)
{
    const double least = 1e-300;
    const double above = tail(part, n, x, true), below = tail(part, n, x, false);
    return above < below ? gsl_cdf_ugaussian_Qinv(fmax(above, least))
                         : gsl_cdf_ugaussian_Pinv(fmax(below, least));
}

/* ---- one pointing ---------------------------------------------------------------------------------*/

static bool state_is_shared(const struct law_series *series, size_t left_out)
{
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i] && i != left_out &&
            series->plant[i].at.other_axis == series->plant[left_out].at.other_axis)
            return true;
    return false;
}

/* The others reach beyond it on both sides, in every angle that changes, and one has its state. */
static bool is_inside(const struct law_series *series, size_t left_out)
{
    bool inside = state_is_shared(series, left_out), varies = false;
    for (int axis = 0; axis < 2; axis++) {
        const struct tune_condition *at = &series->plant[left_out].at;
        const double x = axis ? at->other_axis_rad : at->angle_rad, least = 1e-6;
        double low = (double)INFINITY, high = -(double)INFINITY;
        for (size_t i = 0; i < series->n; i++) {
            const struct tune_condition *other = &series->plant[i].at;
            if (!series->known[i] || i == left_out) continue;
            low = fmin(low, axis ? other->other_axis_rad : other->angle_rad);
            high = fmax(high, axis ? other->other_axis_rad : other->angle_rad);
        }
        if (!isfinite(x) || !(fmax(high, x) - fmin(low, x) > least)) continue;
        varies = true;
        inside = inside && x >= low - least && x <= high + least;
    }
    return varies && inside;
}

static void predict(struct tune_left_out *out, struct law_ensemble *all,
                    const struct law_series *series, size_t i)
{
    const struct tune_condition *at = &series->plant[i].at;
    const double least = 1e-12; /* weights below count for nothing and cost time */
    size_t n = 0;
    for (size_t k = 0; k < all->n; k++) {
        double mean, variance;
        if (all->part[k].weight < least) continue;
        law_eval(&mean, &variance, &all->part[k], &all->set[all->set_of[k]], at);
        all->mixed[n++] = (struct law_normal){
            all->mean + mean,
            sqrt(variance + all->tau[k] * all->tau[k] + series->std[i] * series->std[i]),
            all->part[k].weight};
    }
    out->checked = true;
    out->inside = is_inside(series, i);
    out->predicted = exp(law_mean(all->mixed, n));
    out->std = out->predicted * law_half_width(all->mixed, n);
    out->z = law_deviate(all->mixed, n, series->value[i]);
}

enum tune_status law_leave_out(struct tune_left_out *out, const struct law_series *series,
                               const struct tune_watch *watch, double done, struct tune_error *err)
{
    enum { POINTS_LEAST = 4 };
    struct law_series others = *series;
    struct law_ensemble *all;
    enum tune_status status = TUNE_OK;
    size_t points = 0;
    for (size_t i = 0; i < series->n; i++) {
        points += series->known[i] ? 1 : 0;
        out[i] =
            (struct tune_left_out){.predicted = (double)NAN, .std = (double)NAN, .z = (double)NAN};
    }
    if (points < POINTS_LEAST) return TUNE_OK;
    all = malloc(sizeof *all);
    if (!all) return tune_error_memory(err, "checking laws over pointings");
    for (size_t i = 0; !status && i < series->n; i++) {
        if (!series->known[i]) continue;
        status = tune_watch_tick(watch, "leaving pointings out", done, err);
        if (status) break;
        others.known[i] = false;
        others.asked = i;
        law_solve_all(all, &others);
        predict(&out[i], all, series, i);
        others.known[i] = true;
    }
    free(all);
    return status;
}
