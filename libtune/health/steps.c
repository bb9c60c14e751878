/* steps.c - the grid on which the positions lie: of the encoder, of the log's digits, of single precision.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { SAMPLES = 20000, DIGITS_MOST = 15, CHANGES_LEAST = 32, OTHERS_LEAST = 8, STRAYS = 4 };

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* ---- as the file has it --------------------------------------------------------------------------*/

struct raw {
    const double *x;
    size_t n;
    double scale, offset; /* si = scale raw + offset */
    double largest;       /* |raw| */
};

static double raw_at(const struct raw *raw, size_t k)
{
    return (raw->x[k] - raw->offset) / raw->scale;
}

static struct raw raw_of(const struct tune_record *rec)
{
    struct raw raw = {.x = rec->channel[TUNE_ROLE_POSITION],
                      .n = rec->n,
                      .scale = rec->unit_scale[TUNE_ROLE_POSITION],
                      .offset = rec->unit_offset[TUNE_ROLE_POSITION]};
    if (raw.scale == 0.0) raw.scale = 1.0; /* a record made in memory */
    for (size_t k = 0; k < raw.n; k++)
        raw.largest = fmax(raw.largest, fabs(raw_at(&raw, k)));
    return raw;
}

/* Value of the last decimal digit that the numbers were written with; 0 where none can be told. */
static double decimal_step(const struct raw *raw)
{
    const size_t stride = 1 + raw->n / 2000;
    double power = 1.0;
    for (int digits = 0; digits <= DIGITS_MOST; digits++, power *= 10.0) {
        /* what rounding leaves of a whole number after the way to SI and back */
        const double rounding =
            8.0 * DBL_EPSILON * (raw->largest + fabs(raw->offset / raw->scale)) * power;
        bool whole = true;
        if (rounding > 0.05) return 0.0;
        for (size_t k = 0; k < raw->n && whole; k += stride) {
            const double x = raw_at(raw, k) * power;
            whole = fabs(x - round(x)) <= rounding + 1e-9;
        }
        if (whole) return 1.0 / power;
    }
    return 0.0;
}

/* Do the steps from row to row differ, as counts of q? Where they do not, q is the speed of the axis, and
 * says nothing of the grid. A few that differ are wrong samples. */
static bool varies(const double *x, size_t n, double q)
{
    const size_t stride = 1 + n / SAMPLES;
    double usual = 0.0, votes = 0.0; /* the count that most have (Boyer and Moore's vote) */
    size_t others = 0;
    for (size_t k = 1; k < n; k += stride) {
        const double count = round((x[k] - x[k - 1]) / q);
        if (votes == 0.0) usual = count;
        votes += count == usual ? 1.0 : -1.0;
    }
    for (size_t k = 1; k < n; k += stride)
        others += round((x[k] - x[k - 1]) / q) != usual;
    return others >= OTHERS_LEAST;
}

/* The numbers are whole multiples of `digit`; of which one all their differences are: 0.05 where they were
 * written as 0.05, 0.10, 0.20. */
static double common_step(const struct raw *raw, double digit)
{
    const size_t stride = 1 + raw->n / SAMPLES;
    double common = 0.0;
    if (digit == 0.0) return 0.0;
    for (size_t k = 1; k < raw->n && common != 1.0; k += stride) {
        double a = fabs(round((raw_at(raw, k) - raw_at(raw, k - 1)) / digit)), b = common;
        if (a > 1e15) return digit;
        while (b > 0.0) { /* Euclid */
            const double rest = fmod(a, b);
            a = b;
            b = rest;
        }
        common = a;
    }
    if (common <= 1.0 || !varies(raw->x, raw->n, fabs(digit * common * raw->scale))) return digit;
    return digit * common;
}

/* ---- the grid ------------------------------------------------------------------------------------*/

/* Steps between neighbours by size, [m], those that are rounding left out. */
static size_t differences(double *step, const double *x, size_t n, double blur)
{
    const size_t stride = 1 + n / SAMPLES;
    size_t m = 0;
    for (size_t k = 1; k + 1 < n; k += stride) {
        const double first = fabs(x[k] - x[k - 1]), second = fabs(2.0 * health_bend(x, k));
        if (first > blur) step[m++] = first;
        /* on a fast ramp only the second differences are single steps */
        if (second > 2.0 * blur) step[m++] = second;
    }
    qsort(step, m, sizeof *step, by_value);
    return m;
}

/* Sharpen q on ever larger multiples, while what is not known of it stays small in their count. */
static double sharpen(double q, const double *step, size_t m, double blur)
{
    double last = 1.0, unknown = blur;
    for (size_t i = 0; i < m; i++) {
        const double count = round(step[i] / q);
        if (count * unknown > 0.2 * q) break;
        if (count <= last || fabs(step[i] - count * q) > 0.25 * q) continue;
        q = step[i] / count;
        last = count;
        unknown = blur / count;
    }
    return q;
}

/* Do all steps lie on multiples of q? blur: rounding of one difference. exact: they are whole counts of the
 * encoder, so that a count beside the grid is no rounding. */
static bool lies_on_grid(const double *step, size_t m, double q, double blur, bool exact)
{
    const double tolerance = exact ? 1e-3 : 0.1 + 2.0 * blur / q;
    size_t off = 0, seen = 0;
    for (size_t i = 0; i < m; i++) {
        const double count = step[i] / q;
        if (count > 1e3) break;
        seen++;
        off += fabs(count - round(count)) > tolerance;
    }
    /* a wrong sample is none of the grid */
    return seen >= CHANGES_LEAST && (exact ? off <= STRAYS : off * 200 < seen);
}

struct grid {
    double step;    /* that the positions lie on; 0: none seen */
    bool on_counts; /* they lie on whole counts of the declared encoder, or that cannot be told */
};

/* Digits this fine beside a step leave it recognisable. */
static const double recognisable = 16.0;

static enum tune_status find_grid(struct grid *out, const struct raw *raw, double declared,
                                  struct tune_error *err)
{
    const double decimal = fabs(common_step(raw, decimal_step(raw)) * raw->scale);
    double largest = 0.0, *step = malloc((2 * SAMPLES + 4) * sizeof *step);
    *out = (struct grid){decimal, true};
    if (!step) return tune_error_memory(err, "judging a log");
    for (size_t k = 0; k < raw->n; k++)
        largest = fmax(largest, fabs(raw->x[k]));
    const double blur = 1.01 * decimal + 8.0 * DBL_EPSILON * largest;
    const size_t m = differences(step, raw->x, raw->n, blur);
    size_t near = 0;
    while (near < m && step[near] <= step[0] + 2.0 * blur)
        near++;
    if (m >= CHANGES_LEAST && step[near / 2] > recognisable * blur) {
        /* of the smallest steps the middle one: each is off by the rounding */
        const double q = sharpen(step[near / 2], step, m, blur);
        const bool exact = fabs(decimal - declared) < 1e-6 * declared;
        if (lies_on_grid(step, m, q, blur, exact) && varies(raw->x, raw->n, q)) out->step = q;
    }
    if (m >= CHANGES_LEAST && declared > recognisable * blur)
        out->on_counts = lies_on_grid(step, m, declared, blur, false);
    free(step);
    return TUNE_OK;
}

enum tune_status health_measure_step(struct health_case *c, struct tune_error *err)
{
    const struct raw raw = raw_of(c->rec);
    struct grid grid;
    const enum tune_status status = find_grid(&grid, &raw, c->opts->encoder_step_rad, err);
    c->step_rad = grid.step;
    c->between_counts = !grid.on_counts;
    if (!status && c->step_rad > 0.0) c->out->measures.step_rad = c->step_rad;
    return status;
}

/* ---- single precision ----------------------------------------------------------------------------*/

/* Spacing of single precision at x: 2^(exponent - 23). */
static double single_step(double x)
{
    int exponent;
    if (x == 0.0 || !isfinite(x)) return 0.0;
    (void)frexp(x, &exponent);
    return ldexp(1.0, exponent - 24);
}

/* The raw values are all of single precision and use its last digit as often as not. Rows where it is as fine
 * as the digits say nothing: whole counts below 2^24 are all of single precision. */
static bool is_single(const struct raw *raw)
{
    const size_t stride = 1 + raw->n / SAMPLES;
    const double digit = decimal_step(raw);
    double off = 0.0, seen = 0.0, odd = 0.0, before = NAN;
    for (size_t k = 0; k < raw->n; k += stride) {
        const double x = raw_at(raw, k), step = single_step(x);
        if (x == before || step <= digit) continue;
        before = x;
        off +=
            fabs(x - (double)(float)x) / step; /* 0 .. 1/2, on average 1/4 for any other number */
        odd += fmod(fabs(round(x / step)), 2.0);
        seen += 1.0;
    }
    return seen >= CHANGES_LEAST && off < 0.1 * seen && odd > 0.1 * seen && odd < 0.9 * seen;
}

static bool check_single(struct health_case *c, const struct raw *raw)
{
    const double coarse = fabs(raw->scale) * single_step(raw->largest);
    const double declared = c->opts->encoder_step_rad;
    const double harmless = declared > 0.0 ? 1.5 * declared : c->opts->jitter_rms_rad / 10.0;
    const double required = c->opts->jitter_rms_rad;
    static const char advice[] = "log the position in double precision, as whole counts, or as a "
                                 "difference from the target";
    if (!is_single(raw) || coarse <= harmless) return false;
    /* whole counts below 2^24 are exact */
    if (!(declared > 0.0) && single_step(raw->largest) == 1.0) return false;
    const bool unfit = required > 0.0 && coarse / sqrt(12.0) > required;
    if (declared > 0.0)
        health_add(
            c, "position-float32", unfit ? TUNE_UNFIT : TUNE_WITH_CARE, 0,
            tune_arcsec_from_rad(coarse), advice,
            "the position went through single precision: at this angle it steps by %.3g arcsec, "
            "and above %.3g deg by more than the encoder's %.3g",
            tune_arcsec_from_rad(coarse), ldexp(declared, 23) * 180.0 / TUNE_PI,
            tune_arcsec_from_rad(declared));
    else
        health_add(
            c, "position-float32", unfit ? TUNE_UNFIT : TUNE_WITH_CARE, 0,
            tune_arcsec_from_rad(coarse), advice,
            "the position went through single precision: at this angle it steps by %.3g arcsec, "
            "twice as much at twice the angle",
            tune_arcsec_from_rad(coarse));
    return true;
}

/* ---- seen against declared -----------------------------------------------------------------------*/

enum tune_status health_check_quantisation(struct health_case *c, struct tune_error *err)
{
    const struct raw raw = raw_of(c->rec);
    const double declared = c->opts->encoder_step_rad, seen = c->step_rad;
    (void)err;
    if (check_single(c, &raw) || !(declared > 0.0) || seen == 0.0) return TUNE_OK;
    /* 1.5: the next possible is twice the step */
    if (seen > 1.5 * declared)
        health_add(c, "quantisation-coarse", TUNE_WITH_CARE, 0, seen / declared,
                   "log the position with more digits, or correct encoder_counts_per_turn",
                   "the position steps by %.3g arcsec, the encoder by %.3g",
                   tune_arcsec_from_rad(seen), tune_arcsec_from_rad(declared));
    else if (seen < declared / 1.5 && c->between_counts)
        health_add(
            c, "quantisation-fine", TUNE_WITH_CARE, 0, seen / declared,
            "correct encoder_counts_per_turn, or log the position before it is filtered: a filter "
            "delays what the controller does not see delayed",
            "the position takes values between the counts of the declared encoder, which are "
            "%.3g arcsec apart; it steps by %.3g",
            tune_arcsec_from_rad(declared), tune_arcsec_from_rad(seen));
    return TUNE_OK;
}
