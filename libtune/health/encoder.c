/* encoder.c - noise and glitches of the measured angle.
 *
 * e[k] = x[k] - (x[k-1] + x[k+1])/2 all but removes smooth motion; white noise of std s leaves
 * std sqrt(3/2) s in it, a single wrong sample A leaves -A/2, A, -A/2.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { SAMPLES = 20000, REACH = 8, GLITCHES_UNFIT = 10, ENDS = 12 };

/* A glitch is so many times the middling bend around it, and of the whole log, and so many steps of
 * the encoder: 20 middling ones are 13 sigma of Gaussian noise. */
static const double far_outside = 20.0, steps_outside = 4.0;

/* median |e| of Gaussian noise over its std */
static const double median_of_normal = 0.6745;

enum tune_status health_measure_encoder(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const size_t stride = 1 + (c->rec->n - 2) / SAMPLES;
    const size_t m = (c->rec->n - 3) / stride + 1;
    double *bend = malloc(m * sizeof *bend);
    if (!bend) return tune_error_memory(err, "judging a log");
    for (size_t i = 0; i < m; i++)
        bend[i] = fabs(health_bend(x, 1 + i * stride));
    c->noise_rad = health_median(bend, m) / (median_of_normal * sqrt(1.5));
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
    return health_median(bend, m);
}

/* A sample is wrong where its bend stands out from the log and from its neighbourhood, and above the
 * bends beside it, which a glitch also raises. */
static bool is_glitch(const struct health_case *c, size_t k)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const double bend = fabs(health_bend(x, k));
    const double step = fmax(c->step_rad, c->opts->encoder_step_rad);
    /* a row that came twice, or one that was left out, bends a ramp by half of what it moves per row; so do
     * ends that a recorder held while its columns came in */
    if (bend <= fabs(x[k + 1] - x[k - 1]) && (c->repaired || k < ENDS || k + ENDS >= c->rec->n))
        return false;
    if (bend <= steps_outside * step) return false;
    /* a channel that stuck comes to itself again with a jump */
    if (c->stuck[0] < c->stuck[1] && k + 2 >= c->stuck[0] && k <= c->stuck[1] + 1) return false;
    if (bend <= far_outside * median_of_normal * sqrt(1.5) * c->noise_rad) return false;
    if (k > 1 && fabs(health_bend(x, k - 1)) > bend) return false;
    if (k + 2 < c->rec->n && fabs(health_bend(x, k + 1)) >= bend) return false;
    return bend > far_outside * middling_around(x, c->rec->n, k);
}

enum tune_status health_check_glitches(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    size_t count = 0, first = 0;
    double worst = 0.0;
    (void)err;
    for (size_t k = 1; k + 1 < c->rec->n; k++) {
        if (!is_glitch(c, k)) continue;
        if (count < HEALTH_GLITCHES_KEPT) c->glitch[c->n_glitches++] = k;
        if (!count++) first = k + 1;
        worst = fmax(worst, fabs(health_bend(x, k)));
    }
    if (!count) return TUNE_OK;
    health_add(c, "encoder-glitch", count > GLITCHES_UNFIT ? TUNE_UNFIT : TUNE_WITH_CARE, first,
               (double)count, "check the encoder's cable, its alignment and the counter, log again",
               "%zu isolated jump%s of the position, up to %.3g arcsec", count,
               count == 1 ? "" : "s", tune_arcsec_from_rad(worst));
    return TUNE_OK;
}
