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

static double least_gain(const struct tune_track *track, size_t n)
{
    double least = (double)INFINITY;
    for (size_t p = 0; p < n; p++)
        if (track->point[p].finding == TUNE_TRACK_FOUND)
            least = fmin(least, fabs(track->point[p].gain.value));
    return least;
}

bool tune_tracks_gap(size_t place[2], const struct tune_tracks *tracks)
{
    for (size_t t = 0; t < tracks->n; t++)
        for (size_t p = 0; p < tracks->n_pointings; p++) {
            const struct tune_track *track = &tracks->track[t];
            const struct tune_track_point *point = &track->point[p];
            place[0] = t;
            place[1] = p;
            if (point->finding == TUNE_TRACK_ELSEWHERE) return true;
            if (point->finding == TUNE_TRACK_ABSENT &&
                !(point->gain_bound >= least_gain(track, tracks->n_pointings)))
                return true;
        }
    place[0] = place[1] = 0;
    return false;
}

void tracks_judge(struct tune_tracks *tracks)
{
    double z = -1.0, error = -1.0;
    size_t checks = 0, gap[2];
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
    tracks->interpolation = z > tracks->z_limit            ? TUNE_INTERPOLATION_FAILS
                            : error > coarse               ? TUNE_INTERPOLATION_COARSE
                            : tune_tracks_gap(gap, tracks) ? TUNE_INTERPOLATION_GAPS
                                                           : TUNE_INTERPOLATION_HOLDS;
}
