/* frf_excerpt.c - the three signals of a record, freed of what is no response to the excitation.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/frf_internal.h"
#include "spectrum/fft.h"

/* An excitation below this part of its peak is none: it is a commanded, noise-free signal. */
static const double SILENCE = 1e-9;

/* Fewer silent rows than this are a sweep that begins at 0, no quiet end. */
enum { QUIET_ROWS_MIN = 16 };

/* Parts of the quiet ends under the taper: after the sweep the axis still rings, which must not be
 * touched, before it only the first rows of the sweep's own filter matter. */
static const double TAPER_FRONT = 0.9, TAPER_REAR = 0.45;

static double peak(const double *x, size_t n)
{
    double largest = 0.0;
    for (size_t i = 0; i < n; i++)
        largest = fmax(largest, fabs(x[i]));
    return largest;
}

static double mean(const double *x, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i];
    return sum / (double)n;
}

static void subtract(double *x, size_t n, double value)
{
    for (size_t i = 0; i < n; i++)
        x[i] -= value;
}

static bool is_constant(const double *x, size_t n)
{
    for (size_t i = 1; i < n; i++)
        if (x[i] < x[0] || x[i] > x[0]) return false;
    return true;
}

static void find_quiet_ends(struct tune_excerpt *e)
{
    const double *d = e->x[TUNE_SIGNAL_REFERENCE];
    const double limit = SILENCE * peak(d, e->n);
    while (fabs(d[e->quiet_front]) <= limit)
        e->quiet_front++;
    while (fabs(d[e->n - 1 - e->quiet_rear]) <= limit)
        e->quiet_rear++;
    if (e->quiet_front < QUIET_ROWS_MIN) e->quiet_front = 0;
    if (e->quiet_rear < QUIET_ROWS_MIN) e->quiet_rear = 0;
}

/* Least-squares straight line through `of` over the first `front` and the last `rear` rows,
 * subtracted from all of x. */
static void subtract_line(double *x, const double *of, size_t n, size_t front, size_t rear)
{
    const double middle = 0.5 * (double)(n - 1), count = (double)(front + rear);
    double st = 0.0, stt = 0.0, sx = 0.0, stx = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double t = (double)i - middle;
        if (i >= front && i < n - rear) continue;
        st += t;
        stt += t * t;
        sx += of[i];
    }
    const double t_mean = st / count, x_mean = sx / count;
    for (size_t i = 0; i < n; i++)
        if (i < front || i >= n - rear) stx += ((double)i - middle - t_mean) * (of[i] - x_mean);
    const double slope = stx / (stt - count * t_mean * t_mean);
    for (size_t i = 0; i < n; i++)
        x[i] -= x_mean + slope * ((double)i - middle - t_mean);
}

/* What the axis does without excitation: the standing torque; the ramp it rides on. A straight line
 * is a free motion of the axis, so taking it away leaves the response to torque as it was; a target
 * that bends is therefore not subtracted itself, only its straight line. */
static void remove_standing(struct tune_excerpt *e, const double *target)
{
    const size_t n = e->n, quiet = e->quiet_front ? e->quiet_front : n;
    double *y = e->x[TUNE_SIGNAL_POSITION];
    if (target) {
        subtract_line(y, target, n, n, 0);
        subtract(y, n, mean(y, quiet));
    } else if (e->quiet_front && e->quiet_rear) {
        subtract_line(y, y, n, e->quiet_front, e->quiet_rear);
    }
    e->line_left = !target && !(e->quiet_front && e->quiet_rear);
    subtract(e->x[TUNE_SIGNAL_TORQUE], n, mean(e->x[TUNE_SIGNAL_TORQUE], quiet));
    if (e->indirect && !e->quiet_front && !e->quiet_rear)
        subtract(e->x[TUNE_SIGNAL_REFERENCE], n, mean(e->x[TUNE_SIGNAL_REFERENCE], n));
}

static enum tune_status check_moves(const double *x, size_t n, enum tune_role role,
                                    const struct tune_record *rec, struct tune_error *err)
{
    if (!is_constant(x, n)) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA,
                   "the %s never changes: there is no response to estimate; check that the column "
                   "was recorded and that the axis was excited",
                   tune_role_name(role));
    tune_error_about(err, rec->column[role][0] ? rec->column[role] : tune_role_name(role),
                     "constant", "a signal that changes");
    return TUNE_EDATA;
}

enum tune_status tune_excerpt_take(struct tune_excerpt *out, const struct tune_record *rec,
                                   enum tune_role output, struct tune_error *err)
{
    const size_t n = rec->n;
    const double *excitation = rec->channel[TUNE_ROLE_EXCITATION];
    /* an image may stand still while the axis rides on a ramp */
    const bool follows_target = output == TUNE_ROLE_POSITION || output == TUNE_ROLE_LOAD_POSITION;
    const enum tune_role role[TUNE_SIGNALS] = {excitation ? TUNE_ROLE_EXCITATION : TUNE_ROLE_TORQUE,
                                               TUNE_ROLE_TORQUE, output};

    memset(out, 0, sizeof *out);
    out->n = n;
    out->rate_hz = rec->rate_hz;
    out->indirect = excitation != NULL;
    for (int s = 0; s < TUNE_SIGNALS; s++) {
        enum tune_status status = check_moves(rec->channel[role[s]], n, role[s], rec, err);
        if (!status && (s || excitation) && !(out->x[s] = malloc(n * sizeof *out->x[s])))
            status = tune_error_memory(err, "preparing a log for its frequency response");
        if (status) {
            tune_excerpt_free(out);
            return status;
        }
        if (out->x[s]) memcpy(out->x[s], rec->channel[role[s]], n * sizeof *out->x[s]);
        out->delay_samples[s] = rec->delay_samples[role[s]];
    }
    if (excitation) find_quiet_ends(out);
    /* the target is this axis' own */
    remove_standing(out, follows_target ? rec->channel[TUNE_ROLE_TARGET] : NULL);
    if (!excitation) out->x[TUNE_SIGNAL_REFERENCE] = out->x[TUNE_SIGNAL_TORQUE];
    return TUNE_OK;
}

/* Rows to give up, at the end or at the start, for a length of small prime factors. */
static void shorten(struct tune_excerpt *e)
{
    const size_t surplus = e->n - tune_fft_good_length(e->n);
    const bool nothing_quiet = !e->quiet_front && !e->quiet_rear;
    if (surplus <= e->quiet_rear / 2 || (nothing_quiet && surplus <= e->n / 100)) {
        e->quiet_rear -= nothing_quiet ? 0 : surplus;
    } else if (surplus <= e->quiet_front / 2) {
        e->quiet_front -= surplus;
        for (int s = e->indirect ? 0 : 1; s < TUNE_SIGNALS; s++)
            memmove(e->x[s], e->x[s] + surplus, (e->n - surplus) * sizeof *e->x[s]);
    } else {
        return; /* slower, but nothing of the sweep is lost */
    }
    e->n -= surplus;
}

static double rise(size_t i, size_t rows)
{
    return pow(sin(0.5 * TUNE_PI * ((double)i + 0.5) / (double)rows), 2.0);
}

void tune_excerpt_taper(struct tune_excerpt *e)
{
    double *y = e->x[TUNE_SIGNAL_POSITION];
    if (e->line_left) subtract_line(y, y, e->n, e->n, 0);
    shorten(e);
    const size_t front = (size_t)(TAPER_FRONT * (double)e->quiet_front);
    const size_t rear = (size_t)(TAPER_REAR * (double)e->quiet_rear);
    for (int s = TUNE_SIGNAL_TORQUE; s < TUNE_SIGNALS; s++) {
        for (size_t i = 0; i < front; i++)
            e->x[s][i] *= rise(i, front);
        for (size_t i = 0; i < rear; i++)
            e->x[s][e->n - 1 - i] *= rise(i, rear);
    }
    /* the mean of sin^4 is 3/8 */
    e->taper_energy = 1.0 - 5.0 / 8.0 * (double)(front + rear) / (double)e->n;
    e->at_rest = front > 0 && rear > 0;
}

void tune_excerpt_free(struct tune_excerpt *e)
{
    if (e->x[TUNE_SIGNAL_REFERENCE] != e->x[TUNE_SIGNAL_TORQUE]) free(e->x[TUNE_SIGNAL_REFERENCE]);
    free(e->x[TUNE_SIGNAL_TORQUE]);
    free(e->x[TUNE_SIGNAL_POSITION]);
    memset(e, 0, sizeof *e);
}
