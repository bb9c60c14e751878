/* encoder.c - noise, glitches and steps of the measured angle.
 *
 * e[k] = x[k] - (x[k-1] + x[k+1])/2 all but removes smooth motion; white noise of std s leaves
 * std sqrt(3/2) s in it, a single wrong sample A leaves -A/2, A, -A/2.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { SAMPLES = 20000, REACH = 8, GLITCHES_UNFIT = 10 };

/* A glitch is so many times the middling bend around it, and of the whole log, and so many steps of
 * the encoder: 20 middling ones are 13 sigma of Gaussian noise. */
static const double far_outside = 20.0, steps_outside = 4.0;

/* median |e| of Gaussian noise over its std */
static const double median_of_normal = 0.6745;

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The smallest non-zero difference and second difference of neighbours: on a fast ramp only the second
 * differences are single steps. What rounding makes of equal values counts as none. */
static double smallest_step(const double *x, size_t n)
{
    double least = INFINITY, largest = 0.0;
    for (size_t k = 0; k < n; k++)
        largest = fmax(largest, fabs(x[k]));
    for (size_t k = 1; k + 1 < n; k++) {
        const double first = fabs(x[k] - x[k - 1]), second = fabs(2.0 * health_bend(x, k));
        if (first > 8.0 * DBL_EPSILON * largest && first < least) least = first;
        if (second > 16.0 * DBL_EPSILON * largest && second < least) least = second;
    }
    return isfinite(least) ? least : 0.0;
}

enum tune_status health_measure_encoder(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const size_t stride = 1 + (c->rec->n - 2) / SAMPLES;
    const size_t m = (c->rec->n - 3) / stride + 1;
    double *bend = malloc(m * sizeof *bend);
    if (!bend) return tune_error_memory(err, "judging a log");
    for (size_t i = 0; i < m; i++)
        bend[i] = fabs(health_bend(x, 1 + i * stride));
    qsort(bend, m, sizeof *bend, by_value);
    c->noise_rad = bend[m / 2] / (median_of_normal * sqrt(1.5));
    c->step_rad = smallest_step(x, c->rec->n);
    free(bend);
    return TUNE_OK;
}

/* ---- glitches ------------------------------------------------------------------------------------*/

/* Median |e| of the neighbours, those that a glitch at k reaches left out. */
static double middling_around(const double *x, size_t n, size_t k)
{
    double bend[2 * REACH] = {0};
    size_t m = 0;
    for (size_t i = k > REACH ? k - REACH : 1; i + 1 < n && i <= k + REACH; i++)
        if (i + 1 < k || i > k + 1) bend[m++] = fabs(health_bend(x, i));
    qsort(bend, m, sizeof *bend, by_value);
    return bend[m / 2];
}

/* A sample is wrong where its bend stands out from the log and from its neighbourhood, and above the
 * bends beside it, which a glitch also raises. */
static bool is_glitch(const struct health_case *c, size_t k)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const double bend = fabs(health_bend(x, k));
    const double step = fmax(c->step_rad, c->opts->encoder_step_rad);
    if (bend <= steps_outside * step) return false;
    if (bend <= far_outside * median_of_normal * sqrt(1.5) * c->noise_rad) return false;
    if (k > 1 && fabs(health_bend(x, k - 1)) > bend) return false;
    if (k + 2 < c->rec->n && fabs(health_bend(x, k + 1)) >= bend) return false;
    return bend > far_outside * middling_around(x, c->rec->n, k);
}

void health_check_glitches(struct health_case *c)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    size_t count = 0, first = 0;
    double worst = 0.0;
    for (size_t k = 1; k + 1 < c->rec->n; k++) {
        if (!is_glitch(c, k)) continue;
        if (!count++) first = k + 1;
        worst = fmax(worst, fabs(health_bend(x, k)));
    }
    if (!count) return;
    health_add(c, "encoder-glitch", count > GLITCHES_UNFIT ? TUNE_UNFIT : TUNE_WITH_CARE, first,
               (double)count, "check the encoder's cable, its alignment and the counter, log again",
               "%zu isolated jump%s of the position, up to %.3g arcsec", count,
               count == 1 ? "" : "s", tune_arcsec_from_rad(worst));
}

/* ---- steps ---------------------------------------------------------------------------------------*/

/* Do the differences of neighbours lie on multiples of the step? */
static bool lies_on_grid(const double *x, size_t n, double step)
{
    const size_t stride = 1 + n / SAMPLES;
    for (size_t k = 1; k < n; k += stride) {
        const double steps = (x[k] - x[k - 1]) / step;
        if (fabs(steps - round(steps)) > 0.1) return false;
    }
    return true;
}

void health_check_quantisation(struct health_case *c)
{
    const double declared = c->opts->encoder_step_rad, seen = c->step_rad;
    /* 1.5: the next possible is twice the step */
    if (!(declared > 0.0) || seen <= 1.5 * declared) return;
    if (!lies_on_grid(c->rec->channel[TUNE_ROLE_POSITION], c->rec->n, seen)) return;
    health_add(c, "quantisation-coarse", TUNE_WITH_CARE, 0, seen / declared,
               "log the position with more digits, or correct encoder_counts_per_turn",
               "the position steps by %.3g arcsec, the encoder by %.3g", tune_arcsec_from_rad(seen),
               tune_arcsec_from_rad(declared));
}
