/* interpolation.c - the error of period 1, 1/2, 1/4 of a line that an encoder's interpolation leaves.
 *
 * a sin(m lines angle + phase) is one line of a spectrum over the angle, whatever the speed:
 *     c(m) = 2/sum w  sum_k w_k e_k exp(-i m lines x_k),   |c| = a
 * with e the position less target and standing offset. Whether it stands out is judged by orders nearby that
 * no encoder has: of noise |c|^2 is exponentially distributed, its ratio to the mean of q neighbours
 * exceeds F by chance with (1 + F/q)^-q.
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

/* Periods the log must travel over: those of an encoder and the neighbours must lie apart. Where the line
 * passes faster than structures ring, so many that a resonance is broad beside it: 4/(2 zeta) of a damping
 * ratio of 0.003. */
static const double periods_least = 25.0, periods_ringing = 660.0, ringing_hz = 3.0;

static const double chance = 1e-6, beside = 3.0;

/* Common practice, no source: half of what is required; without a requirement two steps. */
static const double of_required = 0.5, steps_least = 2.0;

struct demodulation {
    double complex bin[TUNE_LINE_ORDERS][BINS];
    double angle[BINS]; /* mean of each bin */
    double weight;      /* sum of w */
};

/* Rows without excitation, the longest stretch of them; all where nothing is injected. */
static void choose_rows(size_t rows[2], const struct health_case *c)
{
    const size_t n = c->rec->n, front = c->active[0], rear = n - c->active[1];
    rows[0] = 0;
    rows[1] = n;
    if (!c->rec->channel[TUNE_ROLE_EXCITATION] || c->active[0] >= c->active[1]) return;
    if (front >= rear)
        rows[1] = front;
    else
        rows[0] = c->active[1];
}

static void demodulate(struct demodulation *out, const struct health_case *c, const size_t rows[2],
                       double lines)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION] + rows[0];
    const double *target = c->rec->channel[TUNE_ROLE_TARGET];
    const size_t n = rows[1] - rows[0];
    const double slope = (x[n - 1] - x[0]) / (double)(n - 1);
    double mean = 0.0, count[BINS] = {0.0};
    if (target) target += rows[0];
    for (size_t k = 0; k < n; k++)
        mean += (target ? x[k] - target[k] : x[k] - x[0] - slope * (double)k) / (double)n;
    for (size_t k = 0; k < n; k++) {
        const size_t b = k * BINS / n;
        const double w = 1.0 - cos(2.0 * TUNE_PI * ((double)k + 0.5) / (double)n);
        const double e = (target ? x[k] - target[k] : x[k] - x[0] - slope * (double)k) - mean;
        const double turn = fmod(lines * (x[k] - x[0]), 2.0 * TUNE_PI);
        const double complex z1 = CMPLX(cos(turn), -sin(turn)), z2 = z1 * z1;
        out->bin[0][b] += w * e * z1;
        out->bin[1][b] += w * e * z2;
        out->bin[2][b] += w * e * z2 * z2;
        out->angle[b] += x[k] - x[0];
        out->weight += w;
        count[b] += 1.0;
    }
    for (int b = 0; b < BINS; b++)
        if (count[b] > 0.0) out->angle[b] /= count[b];
}

/* |c| at `off` periods per radian beside the order. */
static double amplitude(const struct demodulation *d, int order, double off)
{
    double complex sum = 0.0;
    for (int b = 0; b < BINS; b++) {
        const double turn = 2.0 * TUNE_PI * off * d->angle[b];
        sum += d->bin[order][b] * CMPLX(cos(turn), -sin(turn));
    }
    return 2.0 * cabs(sum) / d->weight;
}

struct line {
    double amplitude, floor; /* rms of the neighbours */
    bool distinct;
};

static struct line judge_line(const struct demodulation *d, int order, double travel)
{
    struct line line = {amplitude(d, order, 0.0), 0.0, false};
    double square = 0.0, largest = 0.0;
    for (int i = 0; i < SIDE; i++)
        for (int side = -1; side <= 1; side += 2) {
            const double a = amplitude(d, order, side * (double)(NEXT + i) / travel);
            square += a * a;
            largest = fmax(largest, a);
        }
    line.floor = sqrt(square / NEIGHBOURS);
    const double ratio = pow(line.amplitude / line.floor, 2.0);
    line.distinct = line.floor > 0.0 &&
                    line.amplitude * line.amplitude > beside * largest * largest &&
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
        "adjust the encoder's signals (offset, amplitude, phase) or its correction table; keep "
        "resonances away from that frequency",
        "an error of %.3g arcsec repeats %.0f time%s per line of the encoder, at %.3g Hz at this "
        "log's speed",
        tune_arcsec_from_rad(line->amplitude), tune_line_order[order], order ? "s" : "", line_hz);
}

/* Peak to peak of the angle, and the speed it is mostly travelled at. */
static double travel_of(const double *x, const size_t rows[2])
{
    double low = x[rows[0]], high = low;
    for (size_t k = rows[0]; k < rows[1]; k++) {
        low = fmin(low, x[k]);
        high = fmax(high, x[k]);
    }
    return high - low;
}

enum tune_status health_check_interpolation(struct health_case *c, struct tune_error *err)
{
    const double lines =
        c->opts->encoder_lines_per_turn; /* per turn; periods per radian times 2 pi */
    struct demodulation *d;
    size_t rows[2];
    choose_rows(rows, c);
    if (!(lines > 0.0) || rows[1] < rows[0] + BINS) return TUNE_OK;
    const double travel = travel_of(c->rec->channel[TUNE_ROLE_POSITION], rows);
    const double passed = travel * lines / (2.0 * TUNE_PI);
    const double line_hz = passed * c->rec->rate_hz / (double)(rows[1] - rows[0]);
    if (passed * tune_line_order[TUNE_LINE_ORDERS - 1] < periods_least) return TUNE_OK;
    d = calloc(1, sizeof *d);
    if (!d) return tune_error_memory(err, "looking for the encoder's lines");
    demodulate(d, c, rows, lines);
    for (int order = 0; order < TUNE_LINE_ORDERS; order++) {
        const double m = tune_line_order[order];
        /* above a quarter of the rate the lines are not followed from sample to sample */
        if (m * line_hz > 0.25 * c->rec->rate_hz) continue;
        if (m * passed < (m * line_hz > ringing_hz ? periods_ringing : periods_least)) continue;
        const struct line line = judge_line(d, order, travel);
        c->out->measures.interpolation_rad[order] =
            (struct tune_estimate){line.amplitude, line.floor / sqrt(2.0)};
        report(c, order, &line, m * line_hz);
    }
    free(d);
    return TUNE_OK;
}
