/* move.c - moves: over a known angle, into a limit, and what the drive makes of following errors.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

enum { ROWS_MIN = 64 };

static enum tune_status long_enough(const struct tune_record *rec, struct tune_error *err)
{
    if (rec->n >= ROWS_MIN) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA, "the log is too short: %zu rows, at least %d wanted",
                          rec->n, ROWS_MIN);
}

/* ---- over a known angle --------------------------------------------------------------------------*/

/* Mean of x over [first, first + n) and what it is worth: what the two halves of the window differ by is
 * how far a steady creep takes the axis from the mean to the end; noise averages out beside it. */
static struct tune_estimate rest_at(const double *x, size_t first, size_t n, double noise)
{
    double half[2] = {0.0, 0.0};
    for (size_t i = 0; i < n; i++)
        half[i < n / 2 ? 0 : 1] += x[first + i];
    half[0] /= (double)(n / 2);
    half[1] /= (double)(n - n / 2);
    return (struct tune_estimate){0.5 * (half[0] + half[1]),
                                  hypot(half[1] - half[0], noise / sqrt((double)n))};
}

enum tune_status tune_move_measure(struct tune_estimate *out, const struct tune_record *rec,
                                   struct tune_error *err)
{
    const double window_s = 0.2, creep = 0.01; /* part of the way that is no rest any more */
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    *out = (struct tune_estimate){0.0, 0.0};
    if (!status) status = long_enough(rec, err);
    if (status) return status;
    const size_t n = (size_t)fmin(8.0 + window_s * rec->rate_hz, (double)(rec->n / 4));
    const double noise = motion_noise(x, rec->n);
    if (noise < 0.0) return tune_error_memory(err, "measuring a move");
    const struct tune_estimate from = rest_at(x, 0, n, noise);
    const struct tune_estimate to = rest_at(x, rec->n - n, n, noise);
    const double way = to.value - from.value;
    if (fabs(way) < 20.0 * noise || fabs(way) < 2.0 * fmax(from.std, to.std))
        return tune_error_set(err, TUNE_EDATA,
                              "the axis ends where it began: log a move from one angle to another, "
                              "at rest before and after");
    if (fmax(from.std, to.std) > creep * fabs(way))
        return tune_error_set(err, TUNE_EDATA,
                              "the axis does not stand still at the %s of the log: let it rest "
                              "there for a second",
                              from.std > to.std ? "beginning" : "end");
    *out = (struct tune_estimate){
        way, sqrt(from.std * from.std + to.std * to.std + noise * noise / 12.0)};
    return TUNE_OK;
}

/* ---- into a limit --------------------------------------------------------------------------------*/

/* Row of the farthest angle on that side. */
static size_t farthest(const double *x, size_t n, double side)
{
    size_t best = 0;
    for (size_t k = 1; k < n; k++)
        if (side * x[k] > side * x[best]) best = k;
    return best;
}

/* Speed of the even part of the approach: the median of what is faster than half of the fastest. The
 * fastest itself is no measure: a loop overshoots when it starts. Below 0: want of memory. */
static double cruise(const double *v, size_t end, double side)
{
    double *room = malloc((end + 1) * sizeof *room), top = 0.0;
    size_t n = 0;
    if (!room) return -1.0;
    for (size_t k = 0; k <= end; k++)
        top = fmax(top, side * v[k]);
    for (size_t k = 0; k <= end; k++)
        if (side * v[k] >= 0.5 * top) room[n++] = side * v[k];
    if (n > 0) top = motion_quantile(room, n, 0.5);
    free(room);
    return top;
}

/* Farthest target until the axis rests and, where the target goes on steadily, behind that; what jumps then is
 * another trial. */
static double farthest_target(const struct tune_record *rec, size_t end, double side, double speed)
{
    const double *target = rec->channel[TUNE_ROLE_TARGET];
    const double jump = 5.0 * speed / rec->rate_hz;
    double most = (double)NAN;
    for (size_t k = 0; target && k < rec->n; k++) {
        if (k > end && fabs(target[k] - target[k - 1]) > jump) break;
        if (motion_enabled(rec, k)) most = fmax(most, side * target[k]);
    }
    return side * most;
}

static enum tune_status follow_approach(struct tune_limit_fit *out, const struct tune_record *rec,
                                        const double *v, size_t end, double side,
                                        struct tune_error *err)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION], speed = cruise(v, end, side);
    size_t brake = end;
    if (speed < 0.0) return tune_error_memory(err, "looking at a limit");
    while (brake > 0 && side * v[brake] < 0.9 * speed)
        brake--;
    out->speed_rad_per_s = side * speed;
    out->brake_rad = x[brake];
    out->end_rad = x[end];
    out->asked_rad = farthest_target(rec, end, side, speed);
    for (size_t k = 1; k <= end && !out->dropped; k++)
        if (!motion_enabled(rec, k) && motion_enabled(rec, k - 1)) {
            out->dropped = true;
            out->dropped_rad = x[k];
        }
    return TUNE_OK;
}

enum tune_status tune_limit_fit(struct tune_limit_fit *out, const struct tune_record *rec,
                                bool high, struct tune_error *err)
{
    const double side = high ? 1.0 : -1.0;
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    double *v = NULL, noise;
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    memset(out, 0, sizeof *out);
    if (!status) status = long_enough(rec, err);
    if (status) return status;
    noise = motion_noise(x, rec->n);
    if (noise < 0.0) return tune_error_memory(err, "looking at a limit");
    const size_t end = farthest(x, rec->n, side);
    if (side * (x[end] - x[0]) < 50.0 * noise || end < 4)
        return tune_error_set(err, TUNE_EDATA, "the axis does not move towards its %s limit",
                              high ? "high" : "low");
    /* a twentieth of a second smooths the noise and still sees where braking begins */
    status = motion_speed(&v, x, rec->n, rec->rate_hz, (size_t)(0.025 * rec->rate_hz) + 2, err);
    if (!status) status = follow_approach(out, rec, v, end, side, err);
    free(v);
    return status;
}

/* ---- following error -----------------------------------------------------------------------------*/

enum tune_status tune_following_fit(struct tune_following_fit *out, const struct tune_record *rec,
                                    struct tune_error *err)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION], *target = rec->channel[TUNE_ROLE_TARGET];
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    double largest = 0.0, borne = INFINITY;
    size_t run = 0;
    memset(out, 0, sizeof *out);
    if (!status) status = tune_record_require(rec, TUNE_ROLE_TARGET, NULL, err);
    if (!status) status = tune_record_require(rec, TUNE_ROLE_ENABLED, NULL, err);
    if (status) return status;
    /* a drive may take some milliseconds to act: what it bore is the least over two pieces of 10 ms */
    const size_t patience = (size_t)(0.01 * rec->rate_hz) + 1;
    double before = 0.0;
    for (size_t k = 0; k < rec->n; k++) {
        const double error = fabs(target[k] - x[k]);
        if (!motion_enabled(rec, k)) {
            if (k > 0 && motion_enabled(rec, k - 1)) {
                const double last = fmax(error, fabs(target[k - 1] - x[k - 1]));
                const double seen = last >= 0.9 * largest ? last : 0.0;
                if (seen > 0.0 && !out->tripped) {
                    out->tripped = true;
                    out->tripped_rad = seen;
                    out->row = k;
                }
            }
            run = 0;
            before = 0.0;
            borne = INFINITY;
            continue;
        }
        largest = fmax(largest, error);
        borne = fmin(borne, error);
        if (++run % patience == 0) {
            out->borne_rad = fmax(out->borne_rad, fmin(before, borne));
            before = borne;
            borne = INFINITY;
        }
    }
    if (largest > 0.0 || run > 0) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA, "the drive is never enabled in this log");
}
