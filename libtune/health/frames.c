/* frames.c - an image that stands for several rows: a camera slower than the loop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>

#include "health/findings_internal.h"

#include "plant/sensor.h"

/* The mean over an exposure weakens and delays what the image shows of a resonance; the exposure cannot be
 * told from a slower payload. */
enum tune_status health_check_frames(struct health_case *c, struct tune_error *err)
{
    const double *sky = c->rec->channel[TUNE_ROLE_SKY];
    const size_t n = c->rec->n;
    (void)err;
    if (!c->opts->sweep || !sky || c->opts->sky_exposure_s > 0.0) return TUNE_OK;
    const size_t rows = tune_sensor_hold_rows(sky, n);
    if (rows < 2 || rows > n / 16) return TUNE_OK;
    const double rate_hz = c->rec->rate_hz / (double)rows;
    health_add(c, "frames-repeated", TUNE_WITH_CARE, 0, rate_hz,
               "state sky_exposure_s in [payload], the time over which each image is exposed: "
               "without it the sky looks late and its resonances weak",
               "the sky stands for %zu rows at a time: a camera of %.4g frames per second, whose "
               "exposure is not stated",
               rows, rate_hz);
    return TUNE_OK;
}
