/* turn_curve.c - the torque of slow turns by angle and direction.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "mechanics/turn_internal.h"

struct bins {
    double sum[2][TUNE_TURN_BINS];
    size_t count[2][TUNE_TURN_BINS];
};

/* The mean angle of a window, from low to a turn above it. */
static double angle_of(const double x[TUNE_TURN_TERMS], double low_rad)
{
    const double turn = 2.0 * TUNE_PI;
    const double angle = fmod(atan2(-x[TUNE_TURN_SINE], -x[TUNE_TURN_COSINE]) - low_rad, turn);
    return angle < 0.0 ? angle + turn : angle;
}

static void sort_in(struct bins *bins, const struct turn_rows *rows,
                    const struct tune_turn_fit *fit, const struct tune_turn_curve *curve)
{
    for (size_t k = 0; k < rows->n; k++) {
        const double *x = rows->x[k];
        const double at = angle_of(x, curve->low_rad) / curve->step_rad;
        const size_t falling = x[TUNE_TURN_VISCOUS] < 0.0, i = (size_t)at;
        /* a window across a reversal belongs to neither */
        if (!rows->used[k] || fabs(x[TUNE_TURN_COULOMB]) < 0.999 || i >= curve->n) continue;
        bins->sum[falling][i] += rows->y[k] -
                                 fit->value[TUNE_TURN_INERTIA].value * x[TUNE_TURN_INERTIA] -
                                 fit->value[TUNE_TURN_VISCOUS].value * x[TUNE_TURN_VISCOUS];
        bins->count[falling][i]++;
    }
}

enum tune_status tune_turn_measure(struct tune_turn_curve *out, const struct tune_turn_fit *fit,
                                   const struct tune_turn_log *log, size_t n_logs,
                                   struct tune_error *err)
{
    const double arc = fmin(fit->high_rad - fit->low_rad, 2.0 * TUNE_PI);
    struct turn_rows rows = {0};
    struct bins *bins = calloc(1, sizeof *bins);
    enum tune_status status = bins ? TUNE_OK : tune_error_memory(err, "drawing a turn");
    memset(out, 0, sizeof *out);
    out->low_rad = fit->low_rad;
    /* no narrower than the way from window to window, else most stay empty */
    out->step_rad = fmax(fmax(tune_rad_from_deg(1.0), arc / TUNE_TURN_BINS),
                         0.5 * fit->window_s * fit->fastest_rad_per_s);
    out->n = (size_t)fmin(ceil(arc / out->step_rad), TUNE_TURN_BINS);
    for (size_t i = 0; i < n_logs && !status; i++) {
        double window_s;
        status = turn_rows_add(&rows, &window_s, &log[i], 0.0, err);
    }
    if (!status) sort_in(bins, &rows, fit, out);
    for (size_t i = 0; i < out->n && !status; i++) {
        out->rising_nm[i] =
            bins->count[0][i] ? bins->sum[0][i] / (double)bins->count[0][i] : (double)NAN;
        out->falling_nm[i] =
            bins->count[1][i] ? bins->sum[1][i] / (double)bins->count[1][i] : (double)NAN;
    }
    turn_rows_free(&rows);
    free(bins);
    if (status) memset(out, 0, sizeof *out);
    return status;
}
