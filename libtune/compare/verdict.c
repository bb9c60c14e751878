/* verdict.c - may one interpolate between the pointings?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include <gsl/gsl_cdf.h>

#include "compare/compare_internal.h"

static const double coarse = 0.01;       /* of a frequency: rule of the house, no source */
static const double false_alarms = 0.01; /* of all sound logbooks */

static double relative_error(const struct tune_track *track, size_t p)
{
    return fabs(track->point[p].f_hz.value / track->left_out[p].predicted - 1.0);
}

void tracks_judge(struct tune_tracks *tracks)
{
    double z = -1.0, error = -1.0;
    size_t checks = 0;
    tracks->z_limit = (double)NAN;
    tracks->worst_z[0] = tracks->worst_error[0] = tracks->n;
    for (size_t t = 0; t < tracks->n; t++)
        for (size_t p = 0; p < tracks->n_pointings; p++) {
            const struct tune_left_out *left_out = &tracks->track[t].left_out[p];
            if (!left_out->checked) continue;
            checks++;
            if (fabs(left_out->z) > z) {
                z = fabs(left_out->z);
                tracks->worst_z[0] = t;
                tracks->worst_z[1] = p;
            }
            if (left_out->inside && relative_error(&tracks->track[t], p) > error) {
                error = relative_error(&tracks->track[t], p);
                tracks->worst_error[0] = t;
                tracks->worst_error[1] = p;
            }
        }
    tracks->interpolation = TUNE_INTERPOLATION_UNCHECKED;
    if (checks == 0) return;
    tracks->z_limit = gsl_cdf_ugaussian_Qinv(0.5 * false_alarms / (double)checks);
    tracks->interpolation = z > tracks->z_limit ? TUNE_INTERPOLATION_FAILS
                            : error > coarse    ? TUNE_INTERPOLATION_COARSE
                                                : TUNE_INTERPOLATION_HOLDS;
}
