/* fits.h - made-up fits of one axis at several pointings, for the tests of compare.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FITS_H
#define TEST_FITS_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "compare/tracks.h"
#include "core/random.h"
#include "core/units.h"

enum { FITS_MOST = 16 };

/* A physical mode: f = f_hz (1 + of_sin sin + of_cos (cos - 1)), the rest alike everywhere. */
struct fits_mode {
    double f_hz, of_sin, of_cos, zeta, gain;
};

struct fits {
    size_t n;
    struct tune_fit fit[FITS_MOST];
    struct tune_tracked_fit plant[FITS_MOST];
    size_t truth[FITS_MOST][TUNE_MODES_MAX]; /* which physical mode it is */
};

static inline void fits_open(struct fits *fits, const double *angle_deg, size_t n)
{
    memset(fits, 0, sizeof *fits);
    fits->n = n;
    for (size_t p = 0; p < n; p++) {
        fits->plant[p] = (struct tune_tracked_fit){
            .fit = &fits->fit[p],
            .at = {tune_rad_from_deg(angle_deg[p]), (double)NAN, TUNE_OTHER_AXIS_UNKNOWN},
            .band_hz = {1.0, 1000.0}};
        fits->fit[p].lines = 10000;
        fits->fit[p].inertia = (struct tune_estimate){800.0, 0.4};
    }
}

/* Put a mode in, by frequency, with noise of the std claimed (relative for f, zeta; of gain absolute). */
static inline void fits_add(struct fits *fits, size_t p, size_t physical, double f_hz, double zeta,
                            double gain, const double std[3], struct tune_random *random)
{
    struct tune_fit *fit = &fits->fit[p];
    size_t k = fit->plant.n_modes++;
    const double f = f_hz * exp(std[0] * (random ? tune_random_normal(random) : 0.0));
    const double z = zeta * exp(std[1] * (random ? tune_random_normal(random) : 0.0));
    const double g = gain + std[2] * (random ? tune_random_normal(random) : 0.0);
    for (; k > 0 && fit->mode_f_hz[k - 1].value > f; k--) {
        fit->mode_f_hz[k] = fit->mode_f_hz[k - 1];
        fit->mode_zeta[k] = fit->mode_zeta[k - 1];
        fit->mode_gain[k] = fit->mode_gain[k - 1];
        fits->truth[p][k] = fits->truth[p][k - 1];
    }
    fit->mode_f_hz[k] = (struct tune_estimate){f, std[0] * f};
    fit->mode_zeta[k] = (struct tune_estimate){z, std[1] * z};
    fit->mode_gain[k] = (struct tune_estimate){g, std[2]};
    fits->truth[p][k] = physical;
    for (size_t i = 0; i < fit->plant.n_modes; i++)
        fit->plant.mode[i].payload_ratio = (double)NAN;
}

static inline double fits_frequency(const struct fits_mode *mode, double angle_rad)
{
    return mode->f_hz *
           (1.0 + mode->of_sin * sin(angle_rad) + mode->of_cos * (cos(angle_rad) - 1.0));
}

/* Points of all tracks that stand with modes of another physical mode than the track's first, and tracks
 * that share a physical mode. */
static inline size_t fits_wrong(const struct fits *fits, const struct tune_tracks *tracks)
{
    size_t wrong = 0, first[64], n = 0;
    for (size_t t = 0; t < tracks->n && t < 64; t++) {
        bool any = false;
        for (size_t p = 0; p < fits->n; p++) {
            const struct tune_track_point *point = &tracks->track[t].point[p];
            if (point->finding != TUNE_TRACK_FOUND) continue;
            if (!any) {
                first[n] = fits->truth[p][point->mode];
                for (size_t i = 0; i < n; i++)
                    wrong += first[i] == first[n] ? 1 : 0;
            }
            any = true;
            wrong += fits->truth[p][point->mode] != first[n] ? 1 : 0;
        }
        n++;
    }
    return wrong;
}

#endif
