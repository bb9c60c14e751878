/* course.c - the slow course of the angles: drift against the target, and whether two angles have one
 * scale.
 *
 * Both are regressions over means of a quarter of a second. What the mean square of the residual says
 * about their std holds for white noise only; here it is the highest power that the residual has at low
 * frequency, S: the slope of a straight line over T then has the variance 6 S/T^3.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"
#include "spectrum/psd.h"

enum { BLOCKS_LEAST = 32, BLOCKS_MOST = 2048, COLUMNS = 4, TAPERS = 4, LOW_BINS = 12 };
static const double block_s = 0.25;

/* So many std away from none; the std is itself known from a few bins only. */
static const double distinct = 8.0;

/* Common practice, no source. */
static const double scale_care = 1e-3, scale_unfit = 1e-2;

/* On a straight ramp a wrong scale and a drift are one; slower than this it is called a drift. */
static const double fast_rad_per_s = 100.0 * TUNE_PI / 648000.0;

/* A target whose course departs from a straight line by less than this part of its travel is one. */
static const double straight = 1e-3;

struct blocks {
    size_t n;
    double period_s;
    double *column[COLUMNS]; /* [n] 1, t, x, dx/dt; then orthonormal */
    double *y;               /* [n] what is regressed; then the residual */
};

static void blocks_free(struct blocks *b)
{
    for (int i = 0; i < COLUMNS; i++)
        free(b->column[i]);
    free(b->y);
}

static void average(double *mean, const double *x, size_t n, size_t rows)
{
    for (size_t b = 0; b < n; b++) {
        mean[b] = 0.0;
        for (size_t k = b * rows; k < (b + 1) * rows; k++)
            mean[b] += (x[k] - x[0]) / (double)rows;
    }
}

static enum tune_status blocks_make(struct blocks *b, const struct tune_record *rec,
                                    const double *y, const double *x, struct tune_error *err)
{
    size_t rows = (size_t)fmax(1.0, block_s * rec->rate_hz);
    if (rec->n / rows < BLOCKS_LEAST) rows = rec->n / BLOCKS_LEAST;
    if (rec->n / rows > BLOCKS_MOST) rows = rec->n / BLOCKS_MOST;
    *b = (struct blocks){.n = rec->n / rows, .period_s = (double)rows / rec->rate_hz};
    for (int i = 0; i < COLUMNS; i++)
        b->column[i] = malloc(b->n * sizeof(double));
    b->y = malloc(b->n * sizeof(double));
    if (!b->y || !b->column[0] || !b->column[1] || !b->column[2] || !b->column[3]) {
        blocks_free(b);
        return tune_error_memory(err, "following the course of a log");
    }
    average(b->y, y, b->n, rows);
    if (x) average(b->column[2], x, b->n, rows);
    for (size_t i = 0; i < b->n; i++) {
        b->column[0][i] = 1.0;
        b->column[1][i] = ((double)i - 0.5 * (double)(b->n - 1)) * b->period_s;
    }
    for (size_t i = 0; x && i < b->n; i++) {
        const size_t before = i ? i - 1 : 0, after = i + 1 < b->n ? i + 1 : i;
        b->column[3][i] =
            (b->column[2][after] - b->column[2][before]) / ((double)(after - before) * b->period_s);
    }
    return TUNE_OK;
}

static double inner(const double *a, const double *b, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

static void subtract(double *x, double factor, const double *column, size_t n)
{
    for (size_t i = 0; i < n; i++)
        x[i] -= factor * column[i];
}

/* Take column j out of another series; what is left of x counts only where it stands out. */
static double take_out(double *x, const double *unit, size_t n)
{
    const double factor = inner(x, unit, n);
    subtract(x, factor, unit, n);
    return factor;
}

/* Make column j orthonormal to the columns in use; returns its length before that, 0 where it depends on
 * them but for the given part. */
static double orthonormalise(struct blocks *b, const int *used, int n_used, int j, double part)
{
    double *x = b->column[j];
    const double before = sqrt(inner(x, x, b->n));
    for (int pass = 0; pass < 2; pass++) /* twice: rounding */
        for (int i = 0; i < n_used; i++)
            (void)take_out(x, b->column[used[i]], b->n);
    const double length = sqrt(inner(x, x, b->n));
    if (!(length > part * before)) return 0.0;
    for (size_t i = 0; i < b->n; i++)
        x[i] /= length;
    return length;
}

/* Highest one-sided power of the residual at low frequency. */
static enum tune_status low_power(double *power, const struct blocks *b, struct tune_error *err)
{
    struct tune_psd psd;
    const enum tune_status status =
        tune_psd_multitaper(&psd, b->y, b->n, 1.0 / b->period_s, TAPERS, err);
    *power = 0.0;
    if (status) return status;
    for (size_t k = 1; k < psd.n && k <= LOW_BINS; k++)
        *power = fmax(*power, psd.power[k]);
    tune_psd_free(&psd);
    return TUNE_OK;
}

/* Coefficient of the column `wanted` (made orthonormal last, of that length) in y. */
static enum tune_status regress(struct tune_estimate *out, struct blocks *b, const int *used,
                                int n_used, double length, struct tune_error *err)
{
    double power = 0.0, factor = 0.0;
    for (int i = 0; i < n_used; i++)
        factor = take_out(b->y, b->column[used[i]], b->n);
    const enum tune_status status = low_power(&power, b, err);
    *out = (struct tune_estimate){factor / length, sqrt(0.5 * power / b->period_s) / length};
    return status;
}

static double span(const double *x, size_t n)
{
    double low = x[0], high = x[0];
    for (size_t k = 0; k < n; k++) {
        low = fmin(low, x[k]);
        high = fmax(high, x[k]);
    }
    return high - low;
}

/* ---- scale ---------------------------------------------------------------------------------------*/

struct scale {
    bool known, line; /* line: x is a straight ramp, of that speed */
    double speed;
    struct tune_estimate slope; /* of y on x */
};

/* y = a + slope x (+ drift t + lag dx/dt, where x is more than a ramp). */
static enum tune_status measure_scale(struct scale *out, const struct tune_record *rec,
                                      const double *y, const double *x, struct tune_error *err)
{
    struct blocks b;
    int used[COLUMNS] = {0}, n_used = 1;
    const double travel = span(x, rec->n);
    *out = (struct scale){.speed = (x[rec->n - 1] - x[0]) * rec->rate_hz / (double)rec->n};
    if (travel == 0.0) return TUNE_OK;
    enum tune_status status = blocks_make(&b, rec, y, x, err);
    if (status) return status;
    double length = orthonormalise(&b, used, 0, 0, 0.0);
    double *ramp = b.column[2];
    (void)orthonormalise(&b, used, n_used, 1, 0.0);
    /* how far x is from a straight line decides what can be told apart */
    double off = 0.0;
    const double c0 = inner(ramp, b.column[0], b.n), c1 = inner(ramp, b.column[1], b.n);
    for (size_t i = 0; i < b.n; i++)
        off = fmax(off, fabs(ramp[i] - c0 * b.column[0][i] - c1 * b.column[1][i]));
    out->line = off < straight * travel;
    if (!out->line) {
        used[n_used++] = 1;
        if (orthonormalise(&b, used, n_used, 3, 1e-9) > 0.0) used[n_used++] = 3;
    }
    length = orthonormalise(&b, used, n_used, 2, 0.1 * straight);
    if (length > 0.0) {
        used[n_used++] = 2;
        status = regress(&out->slope, &b, used, n_used, length, err);
        out->known = !status;
    }
    blocks_free(&b);
    return status;
}

/* Returns whether it says something. */
static bool report_scale(struct health_case *c, enum tune_role of, enum tune_role on,
                         const struct scale *s)
{
    const double apart = s->slope.value - 1.0, std = s->slope.std;
    /* an axis that is moved about by a soft loop overshoots its target by some parts in a thousand */
    const bool kept = on != TUNE_ROLE_TARGET || c->opts->sweep || c->opts->on_target;
    const double least = kept ? scale_care : scale_unfit;
    if (!s->known || fabs(apart) < least || fabs(apart) < distinct * std) return false;
    const bool unfit = fabs(apart) > scale_unfit;
    if (s->line && !unfit && fabs(s->speed) < fast_rad_per_s) return false; /* told as a drift */
    health_add(c, "scale-differs", unfit ? TUNE_UNFIT : TUNE_WITH_CARE, 0, s->slope.value,
               s->slope.value < 0.0
                   ? "correct the sign of one of them in axis.ini: a wrong sign can drive an axis "
                     "into its stop"
                   : "correct scale or unit of one of them, encoder_counts_per_turn, or the gear "
                     "between them",
               "the %s moves by %.6g +- %.2g of what the %s moves by%s", tune_role_name(of),
               s->slope.value, std, tune_role_name(on),
               s->slope.value < 0.0 ? ", the other way" : "");
    return true;
}

/* ---- drift ---------------------------------------------------------------------------------------*/

static enum tune_status measure_drift(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION],
                 *target = c->rec->channel[TUNE_ROLE_TARGET];
    struct blocks b;
    static const int used[] = {0, 1};
    enum tune_status status = blocks_make(&b, c->rec, x, target, err);
    if (status) return status;
    if (target) subtract(b.y, 1.0, b.column[2], b.n);
    (void)orthonormalise(&b, used, 0, 0, 0.0);
    const double length = orthonormalise(&b, used, 1, 1, 0.0);
    status = regress(&c->out->measures.drift_rad_per_s, &b, used, 2, length, err);
    blocks_free(&b);
    return status;
}

static void report_drift(struct health_case *c)
{
    const struct tune_estimate drift = c->out->measures.drift_rad_per_s;
    const double *target = c->rec->channel[TUNE_ROLE_TARGET];
    const double total = fabs(drift.value) * (double)c->rec->n / c->rec->rate_hz;
    /* without a target only a hold is known to have none */
    if (!target && !c->opts->at_rest) return;
    if (fabs(drift.value) < distinct * drift.std) return;
    if (total < 2.0 * fmax(c->step_rad, c->opts->encoder_step_rad)) return;
    health_add(c, "position-drift", TUNE_WITH_CARE, 0, tune_arcsec_from_rad(drift.value),
               target
                   ? "see that the loop has an integral gain that is not switched off, and that "
                     "position and target have one scale"
                   : "log the target; let the axis warm up, look for creep and for a loop that is "
                     "open",
               "the position drifts %s by %.3g +- %.2g arcsec/s, %.3g arcsec in all",
               target ? "away from the target" : "though the axis is to stand still",
               tune_arcsec_from_rad(drift.value), tune_arcsec_from_rad(drift.std),
               tune_arcsec_from_rad(total));
}

enum tune_status health_check_course(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION],
                 *target = c->rec->channel[TUNE_ROLE_TARGET];
    const double *load = c->rec->channel[TUNE_ROLE_LOAD_POSITION];
    bool said = false;
    struct scale scale;
    if (span(x, c->rec->n) == 0.0) return TUNE_OK; /* a dead channel, which is told */
    enum tune_status status = measure_drift(c, err);
    if (!status && target) {
        status = measure_scale(&scale, c->rec, x, target, err);
        if (!status) said = report_scale(c, TUNE_ROLE_POSITION, TUNE_ROLE_TARGET, &scale);
    }
    if (!status && !said) report_drift(c);
    if (!status && load) {
        status = measure_scale(&scale, c->rec, load, x, err);
        if (!status) (void)report_scale(c, TUNE_ROLE_LOAD_POSITION, TUNE_ROLE_POSITION, &scale);
    }
    return status;
}
