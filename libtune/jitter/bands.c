/* bands.c - sources of torque and of reading confined to a band.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "jitter/disturbance.h"

static double bands_psd(const struct tune_disturbance *d, enum tune_band_of of, double f_hz)
{
    double sum = 0.0;
    for (size_t i = 0; i < d->n_bands; i++) {
        const struct tune_band *b = &d->band[i];
        if (b->of == of && f_hz > b->from_hz && f_hz < b->to_hz)
            sum += b->rms * b->rms / (f_hz * log(b->to_hz / b->from_hz));
    }
    return sum;
}

double tune_disturbance_drive_psd(const struct tune_disturbance *disturbance, double f_hz)
{
    return disturbance->drive_psd + bands_psd(disturbance, TUNE_BAND_TORQUE, f_hz);
}

double tune_disturbance_sensor_psd(const struct tune_disturbance *disturbance, double f_hz,
                                   double rate_hz)
{
    return disturbance->sensor_psd * disturbance->rate_hz / rate_hz +
           bands_psd(disturbance, TUNE_BAND_SENSOR, f_hz);
}

static enum tune_status refuse(struct tune_error *err, size_t i, const char *what, double value,
                               const char *limit)
{
    char thing[40], text[32];
    (void)snprintf(thing, sizeof thing, "band %zu %s", i + 1, what);
    (void)snprintf(text, sizeof text, "%g", value);
    (void)tune_error_set(err, TUNE_EINVAL, "%s of the disturbance is %s but must be %s", thing,
                         text, limit);
    tune_error_about(err, thing, text, limit);
    return TUNE_EINVAL;
}

enum tune_status tune_disturbance_check_bands(const struct tune_disturbance *disturbance,
                                              struct tune_error *err)
{
    if (disturbance->n_bands > TUNE_BANDS_MAX)
        return refuse(err, TUNE_BANDS_MAX, "number", (double)disturbance->n_bands, "8 or less");
    for (size_t i = 0; i < disturbance->n_bands; i++) {
        const struct tune_band *b = &disturbance->band[i];
        if (b->of != TUNE_BAND_TORQUE && b->of != TUNE_BAND_SENSOR)
            return refuse(err, i, "of", (double)b->of, "of torque or of the sensor");
        if (!(b->from_hz > 0.0 && isfinite(b->from_hz)))
            return refuse(err, i, "from_hz", b->from_hz, "positive");
        if (!(b->to_hz > 1.01 * b->from_hz && isfinite(b->to_hz)))
            return refuse(err, i, "to_hz", b->to_hz, "at least 1 % above from_hz");
        if (!(b->rms >= 0.0 && isfinite(b->rms))) return refuse(err, i, "rms", b->rms, "0 or more");
    }
    return TUNE_OK;
}

size_t tune_disturbance_edges(double edge_hz[4 * TUNE_BANDS_MAX],
                              const struct tune_disturbance *disturbance)
{
    size_t n = 0;
    for (size_t i = 0; i < disturbance->n_bands && i < TUNE_BANDS_MAX; i++) {
        const double at[] = {disturbance->band[i].from_hz, disturbance->band[i].to_hz};
        for (size_t k = 0; k < 2; k++) {
            edge_hz[n++] = at[k] * (1.0 - 5e-4);
            edge_hz[n++] = at[k] * (1.0 + 5e-4);
        }
    }
    return n;
}
