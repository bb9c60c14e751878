/* interpolation.c - the error of period 1, 1/2, 1/4 of a line that an encoder's interpolation leaves.
 *
 * a sin(m lines angle + phase) is one line of a spectrum over the angle, whatever the speed:
 *     c(m) = sum w_k e_k exp(-i m lines x_k) / sum (w_k gain_k / 2),   |c| = a .
 * e is the position less target, of which the half difference to what was half a period of the line before
 * and after is taken: it doubles the line and all but stops what is slower, a sweep above all. The weights
 * w are those of a Hann window, times one over the mean square of e around, so that the quiet rows count.
 * Whether the line stands out is judged by orders nearby that no encoder has: of noise |c|^2 is
 * exponentially distributed, its ratio to the mean of q neighbours exceeds F by chance with (1 + F/q)^-q.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

const double tune_line_order[TUNE_LINE_ORDERS] = {1.0, 2.0, 4.0};

/* Neighbours lie NEXT, NEXT + 1 ... periods of the whole travel away, on both sides: a Hann window over
 * the travel has nothing left of the line there. */
enum { BINS = 1024, NEXT = 3, SIDE = 12, NEIGHBOURS = 2 * SIDE };

/* Periods the log must travel over, so that line and neighbours lie apart. Where the line passes faster than
 * structures ring, so many more that a resonance at the very frequency is broad beside that: its power at the
 * nearest neighbour is down by 1 + (NEXT/(periods zeta))^2 only, 1.6 at a damping ratio of 0.006, while a
 * line must stand out tenfold. */
static const double periods_least = 25.0, periods_ringing = 660.0, ringing_hz = 3.0;
static const double chance = 1e-6, beside = 3.0, beside_ringing = 10.0;

/* Common practice, no source: half of what is required; without a requirement two steps. */
static const double of_required = 0.5, steps_least = 2.0;

/* One order of the line, summed in BINS pieces of the log. */
struct demodulation {
    double complex sum[BINS];
    double angle[BINS], square[BINS], gain[BINS]; /* means over the bin: angle, e^2, gain */
    size_t rows[BINS];
    double weight; /* of the line: sum w gain/2 */
    double part;   /* of the travel that the weights leave, effectively */
};

/* x less target, or less the straight line between its ends. */
static double error_at(const struct health_case *c, size_t k)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION], *t = c->rec->channel[TUNE_ROLE_TARGET];
    const double line = x[0] + (x[c->rec->n - 1] - x[0]) * (double)k / (double)(c->rec->n - 1);
    return x[k] - (t ? t[k] : line);
}

/* Mean of e^2 over bins within `reach` of b. */
static double square_around(const struct demodulation *d, int b, int reach)
{
    double square = 0.0, rows = 0.0;
    for (int i = b - reach; i <= b + reach; i++) {
        if (i < 0 || i >= BINS) continue;
        square += d->square[i];
        rows += (double)d->rows[i];
    }
    return rows > 0.0 ? square / rows : 0.0;
}

/* period: of the line, in bins. The mean square is taken over 32 of them and more: over fewer the
 * weights follow what of the noise is in step with the line, and the amplitude comes out too small by the
 * inverse of twice their number. */
static void weigh(struct demodulation *d, double period)
{
    const int reach = 2 + (int)fmin(16.0 * period, BINS);
    double weight = 0.0, square = 0.0;
    for (int b = 0; b < BINS; b++) {
        const double rows = (double)d->rows[b], around = square_around(d, b, reach);
        if (rows == 0.0 || around == 0.0) continue;
        const double w = (1.0 - cos(2.0 * TUNE_PI * (b + 0.5) / BINS)) / around;
        d->angle[b] /= rows;
        d->sum[b] *= w;
        d->weight += 0.5 * w * d->gain[b];
        weight += w * rows;
        square += w * rows * w * rows;
    }
    /* 2/3 of a whole travel under a Hann window */
    d->part = square > 0.0 ? 1.5 * weight * weight / square / BINS : 0.0;
}

/* half: rows of half a period of the line at the mean speed. */
static void demodulate(struct demodulation *d, const struct health_case *c, double per_rad,
                       size_t half)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const size_t n = c->rec->n - 2 * half;
    for (size_t i = 0; i < n; i++) {
        const size_t k = i + half, b = i * BINS / n;
        const double e = error_at(c, k) - 0.5 * (error_at(c, k - half) + error_at(c, k + half));
        const double turn = fmod(per_rad * (x[k] - x[0]), 2.0 * TUNE_PI);
        const double passed = per_rad * 0.5 * (x[k + half] - x[k - half]);
        d->sum[b] += e * CMPLX(cos(turn), -sin(turn));
        d->angle[b] += x[k] - x[0];
        d->square[b] += e * e;
        d->gain[b] += 1.0 - cos(passed);
        d->rows[b]++;
    }
    weigh(d, (double)half * 2.0 * BINS / (double)n);
}

/* |c| at `off` periods per radian beside the order. */
static double amplitude(const struct demodulation *d, double off)
{
    double complex sum = 0.0;
    for (int b = 0; b < BINS; b++) {
        const double turn = 2.0 * TUNE_PI * off * d->angle[b];
        if (d->rows[b]) sum += d->sum[b] * CMPLX(cos(turn), -sin(turn));
    }
    return cabs(sum) / d->weight;
}

struct line {
    double amplitude, std, floor; /* rms of the neighbours */
    bool distinct;
};

static struct line judge_line(const struct demodulation *d, double travel, double per_rad,
                              double times)
{
    struct line line = {.amplitude = amplitude(d, 0.0)};
    double square = 0.0, largest = 0.0;
    for (int i = 0; i < SIDE; i++)
        for (int side = -1; side <= 1; side += 2) {
            const double a = amplitude(d, side * (double)(NEXT + i) / travel);
            square += a * a;
            largest = fmax(largest, a);
        }
    line.floor = sqrt(square / NEIGHBOURS);
    /* the angle in the exponent holds the error itself: orders mix by up to per_rad a/2 */
    line.std = hypot(line.floor / sqrt(2.0), 0.5 * per_rad * line.amplitude * line.amplitude);
    const double ratio = pow(line.amplitude / line.floor, 2.0);
    line.distinct = line.floor > 0.0 &&
                    line.amplitude * line.amplitude > times * largest * largest &&
                    pow(1.0 + ratio / NEIGHBOURS, -(double)NEIGHBOURS) < chance;
    return line;
}

static void report(struct health_case *c, int order, const struct line *line, double line_hz)
{
    const double required = c->opts->jitter_rms_rad;
    const double least = required > 0.0
                             ? of_required * required * sqrt(2.0)
                             : steps_least * fmax(c->step_rad, c->opts->encoder_step_rad);
    if (!line->distinct || line->amplitude < least) return;
    health_add(
        c, "interpolation-error", TUNE_WITH_CARE, 0, tune_arcsec_from_rad(line->amplitude),
        "adjust offset, amplitude and phase of the encoder's signals, or its correction table; "
        "keep "
        "resonances away from that frequency",
        "an error of %.3g +- %.2g arcsec repeats %.0f time%s per line of the encoder, at %.3g Hz "
        "at this log's speed",
        tune_arcsec_from_rad(line->amplitude), tune_arcsec_from_rad(line->std),
        tune_line_order[order], order ? "s" : "", line_hz);
}

static enum tune_status look_at(struct health_case *c, int order, double travel,
                                struct tune_error *err)
{
    const double per_rad = tune_line_order[order] * c->opts->encoder_lines_per_turn;
    const double duration_s = (double)c->rec->n / c->rec->rate_hz;
    const double line_hz = travel * per_rad / (2.0 * TUNE_PI) / duration_s;
    const double half = round(0.5 * c->rec->rate_hz / line_hz);
    const double needed = line_hz > ringing_hz ? periods_ringing : periods_least;
    /* fewer than four rows to a half period do not follow the line */
    if (half < 4.0 || travel * per_rad < 2.0 * TUNE_PI * needed) return TUNE_OK;
    struct demodulation *d = calloc(1, sizeof *d);
    if (!d) return tune_error_memory(err, "looking for the encoder's lines");
    demodulate(d, c, per_rad, (size_t)half);
    const double effective = d->part * travel;
    if (d->weight > 0.0 && effective * per_rad >= 2.0 * TUNE_PI * needed) {
        const struct line line =
            judge_line(d, effective, per_rad, line_hz > ringing_hz ? beside_ringing : beside);
        c->out->measures.interpolation_rad[order] =
            (struct tune_estimate){line.amplitude, line.std};
        report(c, order, &line, line_hz);
    }
    free(d);
    return TUNE_OK;
}

enum tune_status health_check_interpolation(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    enum tune_status status = TUNE_OK;
    double low = x[0], high = x[0];
    if (!(c->opts->encoder_lines_per_turn > 0.0) || c->rec->n < 4 * BINS) return TUNE_OK;
    for (size_t k = 0; k < c->rec->n; k++) {
        low = fmin(low, x[k]);
        high = fmax(high, x[k]);
    }
    for (int order = 0; order < TUNE_LINE_ORDERS && !status; order++)
        status = look_at(c, order, high - low, err);
    return status;
}
