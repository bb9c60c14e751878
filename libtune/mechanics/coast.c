/* coast.c - the axis after the drive was disabled at speed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

enum { BLOCKS = 12, BLOCKS_MIN = 5, BLOCK_MIN = 8 };

/* parts of the speed at the start: below the first the axis is not followed; above the second friction
 * and drag look alike */
static const double SLOWEST = 0.15, FASTEST_END = 0.7;
static const double settle_s = 0.1; /* what was bent under torque swings after the drive lets go */

/* First row of the last stretch without drive; n where there is none. */
static size_t disabled_from(const struct tune_record *rec)
{
    const double *enabled = rec->channel[TUNE_ROLE_ENABLED], *torque;
    size_t k = rec->n;
    torque = rec->channel[TUNE_ROLE_TORQUE];
    while (k > 0 && (enabled ? enabled[k - 1] <= 0.5 : torque[k - 1] == 0.0))
        k--;
    return k;
}

/* Mean and std of a normal deviate that is known not to be negative. */
static struct tune_estimate not_negative(struct tune_estimate x)
{
    const double a = -x.value / x.std;
    /* far in the tail the ratio of density and tail is a + 1/a */
    const double hazard =
        a < 30.0 ? gsl_ran_ugaussian_pdf(a) / gsl_cdf_ugaussian_Q(a) : a + 1.0 / a;
    return (struct tune_estimate){x.value + x.std * hazard,
                                  x.std * sqrt(fmax(1.0 + a * hazard - hazard * hazard, 1e-4))};
}

/* deceleration = friction + drag speed, over blocks; everything turned so that the axis moves upwards */
static bool regress(struct tune_coast_fit *out, const struct tune_record *rec, const double *v,
                    size_t begin, size_t length, size_t blocks)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    const double turn = out->speed_rad_per_s < 0.0 ? -1.0 : 1.0;
    double row[2 * BLOCKS], y[BLOCKS], mean = 0.0;
    struct motion_ols ols;
    for (size_t i = 0; i < blocks; i++) {
        const size_t first = begin + i * length;
        row[2 * i] = 1.0;
        row[2 * i + 1] = turn * motion_block_mean(v + first, length);
        mean += row[2 * i + 1] / (double)blocks;
        y[i] = -turn * motion_block_acceleration(x + first, length, rec->rate_hz);
    }
    if (!motion_ols_fit(&ols, row, y, blocks, 2)) return false;
    /* the deceleration at the mean speed and the slope about it are independent */
    out->drag_per_s = not_negative(motion_ols_estimate(&ols, 1));
    out->mean_speed_rad_per_s = mean;
    out->mean_per_s2.value = ols.beta[0] + ols.beta[1] * mean;
    out->mean_per_s2.std = motion_widening(ols.dof) *
                           sqrt(fmax(0.0, ols.covariance[0][0] + 2.0 * mean * ols.covariance[0][1] +
                                              mean * mean * ols.covariance[1][1]));
    out->friction_per_s2.value = out->mean_per_s2.value - mean * out->drag_per_s.value;
    out->friction_per_s2.std = hypot(out->mean_per_s2.std, mean * out->drag_per_s.std);
    return true;
}

/* Where and when it came to rest, if it did. */
static void find_rest(struct tune_coast_fit *out, const struct tune_record *rec, const double *v,
                      double floor_rad_per_s)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    size_t k = out->row;
    const double turn = out->speed_rad_per_s < 0.0 ? -1.0 : 1.0;
    while (k < rec->n && turn * v[k] > floor_rad_per_s)
        k++;
    out->distance_rad = out->time_s = (double)NAN;
    if (k == rec->n) return;
    out->distance_rad = fabs(x[k] - x[out->row]);
    out->time_s = (double)(k - out->row) / rec->rate_hz;
}

static enum tune_status fit_from(struct tune_coast_fit *out, const struct tune_record *rec,
                                 const double *v, double noise_rad_per_s, struct tune_error *err)
{
    const size_t begin = out->row + 1 + (size_t)(settle_s * rec->rate_hz);
    size_t end = begin, length, blocks = BLOCKS;
    double turn;
    out->speed_rad_per_s = v[out->row];
    turn = out->speed_rad_per_s < 0.0 ? -1.0 : 1.0;
    if (fabs(out->speed_rad_per_s) < 20.0 * noise_rad_per_s)
        return tune_error_set(err, TUNE_EDATA,
                              "the axis hardly moves when the drive is disabled: disable it at "
                              "speed, where the axis has room to run out");
    while (end + 1 < rec->n && turn * v[end] > SLOWEST * fabs(out->speed_rad_per_s))
        end++;
    if (end + 1 >= rec->n && turn * v[rec->n - 1] > FASTEST_END * fabs(out->speed_rad_per_s))
        return tune_error_set(err, TUNE_EDATA,
                              "the axis hardly slows down while it is logged: log until it rests, "
                              "or start slower");
    length = end > begin ? (end - begin - 1) / BLOCKS : 0;
    if (length < BLOCK_MIN) {
        length = BLOCK_MIN;
        blocks = end > begin ? (end - begin - 1) / BLOCK_MIN : 0;
    }
    if (blocks < BLOCKS_MIN || !regress(out, rec, v, begin, length, blocks))
        return tune_error_set(err, TUNE_EDATA,
                              "the run-out is too short to tell friction from it (%.3g s): disable "
                              "the drive at a higher speed, or log faster",
                              (double)(end - out->row) / rec->rate_hz);
    find_rest(out, rec, v, fmax(3.0 * noise_rad_per_s, 1e-3 * fabs(out->speed_rad_per_s)));
    return TUNE_OK;
}

enum tune_status tune_coast_fit(struct tune_coast_fit *out, const struct tune_record *rec,
                                struct tune_error *err)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    double *v = NULL, noise;
    const size_t half = (size_t)(0.01 * rec->rate_hz) + 2;
    memset(out, 0, sizeof *out);
    if (!status && !rec->channel[TUNE_ROLE_ENABLED])
        status = tune_record_require(rec, TUNE_ROLE_TORQUE, NULL, err);
    if (status) return status;
    out->row = disabled_from(rec);
    if (out->row + 8 > rec->n || out->row < 2)
        return tune_error_set(err, TUNE_EDATA,
                              "the log does not show the drive disabled at speed: log from before "
                              "it until the axis rests");
    status = motion_speed(&v, x, rec->n, rec->rate_hz, half, err);
    noise = status ? 0.0 : motion_noise(x, rec->n);
    if (noise < 0.0) status = tune_error_memory(err, "looking at a coast");
    if (!status)
        status =
            fit_from(out, rec, v, noise * sqrt(1.5 / pow((double)half, 3.0)) * rec->rate_hz, err);
    free(v);
    if (status) memset(out, 0, sizeof *out);
    return status;
}

/* v' = -(a + b v), v(0) = v0: rest at t = ln(1 + b v0/a)/b after v0/b - a t/b. For small b v0/a both
 * are differences of nearly equal numbers: there the series in u = b v0/a. */
void tune_coast_predict(double *way_rad, double *time_s, double speed_rad_per_s,
                        double friction_per_s2, double drag_per_s)
{
    const double v = fabs(speed_rad_per_s), a = friction_per_s2, b = drag_per_s;
    const double u = b * v / a;
    if (a <= 0.0) { /* never quite at rest */
        *way_rad = v / b;
        *time_s = INFINITY;
    } else if (u < 1e-3) {
        *way_rad = v * v / a * (0.5 - u / 3.0 + u * u / 4.0 - u * u * u / 5.0);
        *time_s = v / a * (1.0 - u / 2.0 + u * u / 3.0 - u * u * u / 4.0);
    } else {
        *time_s = log1p(u) / b;
        *way_rad = v / b - a * *time_s / b;
    }
}
