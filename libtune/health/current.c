/* current.c - is the torque the command, or what the drive measured?
 *
 * The torque answers the excitation d by U/D = S F, S = 1/(1 + C G) the loop's sensitivity, which goes to 1
 * at high frequency, and F = 1 where the torque is the command of the same row. There, to second order in
 * 1/omega and in omega tau,
 *     arg U/D = -omega tau - a/omega,      ln|U/D| = k - c omega^2 - b/omega^2 .
 * A column that is late by whole rows has tau = rows T and c = 0, a current loop of first order c = tau^2/2,
 * one of second order with damping zeta = 1/sqrt 2 c = 0 and |U/D| falling later. With both logged the same
 * holds of measured torque over torque, with a = b = 0.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { SHIFT_MOST = 8, POINTS_LEAST = 24, TERMS = 3, ROUNDS = 12 };

/* The upper two octaves of the band. */
static const double octaves = 4.0;

static const double distinct = 8.0;

/* A lag this near to whole rows is a column that is late; beyond it a current loop. */
static const double near_whole = 0.15;

/* The modes that the loop sees make U/D wander; a lag is known no better than this part of a row. */
static const double row_floor = 0.01;

/* Loop gain at the lower end of what is fitted, at most. */
static const double loop_most = 0.3;

/* omega tau at the top of what is fitted where no loop is: x^7 of an arctangent is then 0.01. */
static const double angle_most = 0.8;

/* Where gains are not stated, the two terms for the loop leave so much, found with a soft loop on an axis with five
 * modes up to 176 Hz (0.1 rows, 0.1 rows^2): half as much again is allowed for, and more. */
static const double left_biased = 0.1, rows_biased = 0.25, fall_biased = 0.15;

/* The torque follows the excitation this well at the lower end of the band: no loop is closed. */
static const double open_loop = 0.05;

/* Least squares with weights that forget what lies far off (Tukey's biweight at 4.7 std, J. W. Tukey and A. E.
 * Beaton, Technometrics 16, 1974). x[TERMS][n], y[n]; coefficients and std out. */
struct fit {
    double value[TERMS], std[TERMS];
};

static bool solve(double a[TERMS][TERMS], double inverse[TERMS][TERMS])
{
    double m[TERMS][2 * TERMS];
    for (int i = 0; i < TERMS; i++)
        for (int j = 0; j < TERMS; j++) {
            m[i][j] = a[i][j];
            m[i][TERMS + j] = i == j;
        }
    for (int i = 0; i < TERMS; i++) {
        if (!(fabs(m[i][i]) > 1e-14)) return false; /* positive definite: no pivoting */
        for (int j = 2 * TERMS - 1; j >= i; j--)
            m[i][j] /= m[i][i];
        for (int k = 0; k < TERMS; k++)
            for (int j = 2 * TERMS - 1; k != i && j >= i; j--)
                m[k][j] -= m[k][i] * m[i][j];
    }
    for (int i = 0; i < TERMS; i++)
        memcpy(inverse[i], m[i] + TERMS, sizeof inverse[i]);
    return true;
}

struct points {
    size_t n;
    double *x[TERMS], *y, *weight, *work; /* [n] */
};

static double residual(const struct points *p, const struct fit *fit, size_t k)
{
    double r = p->y[k];
    for (int i = 0; i < TERMS; i++)
        r -= fit->value[i] * p->x[i][k];
    return r;
}

static bool round_of_fit(struct fit *fit, const struct points *p)
{
    double a[TERMS][TERMS] = {{0.0}}, inverse[TERMS][TERMS], b[TERMS] = {0.0};
    double left = 0.0, weight = 0.0;
    for (size_t k = 0; k < p->n; k++)
        for (int i = 0; i < TERMS; i++) {
            b[i] += p->weight[k] * p->x[i][k] * p->y[k];
            for (int j = 0; j < TERMS; j++)
                a[i][j] += p->weight[k] * p->x[i][k] * p->x[j][k];
        }
    if (!solve(a, inverse)) return false;
    for (int i = 0; i < TERMS; i++) {
        fit->value[i] = 0.0;
        for (int j = 0; j < TERMS; j++)
            fit->value[i] += inverse[i][j] * b[j];
    }
    for (size_t k = 0; k < p->n; k++) {
        left += p->weight[k] * pow(residual(p, fit, k), 2.0);
        weight += p->weight[k];
    }
    for (int i = 0; i < TERMS; i++)
        fit->std[i] = sqrt(left / fmax(weight - TERMS, 1.0) * inverse[i][i]);
    return true;
}

static bool fit_points(struct fit *fit, const struct points *p)
{
    for (size_t k = 0; k < p->n; k++)
        p->weight[k] = 1.0;
    for (int round = 0; round < ROUNDS; round++) {
        if (!round_of_fit(fit, p)) return false;
        for (size_t k = 0; k < p->n; k++)
            p->work[k] = fabs(residual(p, fit, k));
        const double reach = 4.7 / 0.6745 * health_median(p->work, p->n) + 1e-12;
        for (size_t k = 0; k < p->n; k++) {
            const double part = residual(p, fit, k) / reach;
            p->weight[k] = fabs(part) < 1.0 ? pow(1.0 - part * part, 2.0) : 0.0;
        }
    }
    return true;
}

/* ---- lag of a response ---------------------------------------------------------------------------*/

struct lag {
    bool known;
    struct tune_estimate tau_s;   /* delay at low frequency */
    struct tune_estimate fall_s2; /* c */
    double gain;                  /* exp(k) */
    double first_hz, last_hz;
    double
        biased; /* 1 where what the loop adds had to be fitted too, 0 where it is known or nothing */
};

/* exp(i omega tau) g, tau whole rows, comes nearest to 1. */
static int whole_rows(const struct tune_frf *frf, size_t from, size_t n, double rate_hz)
{
    int best = 0;
    double most = -INFINITY;
    for (int rows = -SHIFT_MOST; rows <= SHIFT_MOST; rows++) {
        double sum = 0.0;
        for (size_t i = from; i < n; i++) {
            const double turn = 2.0 * TUNE_PI * frf->f_hz[i] * rows / rate_hz;
            sum += creal(frf->g[i] * CMPLX(cos(turn), sin(turn))) / cabs(frf->g[i]);
        }
        if (sum > most) most = sum, best = rows;
    }
    return best;
}

static enum tune_status points_make(struct points *p, size_t n, struct tune_error *err)
{
    double *room = malloc((TERMS + 3) * n * sizeof *room);
    if (!room) return tune_error_memory(err, "measuring the lag of the torque");
    p->n = n;
    for (int i = 0; i < TERMS; i++)
        p->x[i] = room + (size_t)i * n;
    p->y = room + TERMS * n;
    p->weight = p->y + n;
    p->work = p->weight + n;
    return TUNE_OK;
}

/* arg and ln of frf->g[from ...] as polynomials in x = f/top, the one of whole rows taken out. With `loop` a
 * term for what is left of the loop at high frequency takes the place of the highest. */
static bool fit_response(struct fit *phase, struct fit *size, struct points *p,
                         const struct tune_frf *frf, size_t from, double turn_top, bool loop)
{
    const double top = frf->f_hz[from + p->n - 1];
    for (size_t k = 0; k < p->n; k++) {
        const double x = frf->f_hz[from + k] / top, turn = turn_top * x;
        p->y[k] = carg(frf->g[from + k] * CMPLX(cos(turn), sin(turn)));
        p->x[0][k] = -x;
        p->x[1][k] = x * x * x;
        p->x[2][k] = loop ? -1.0 / x : pow(x, 5.0);
    }
    if (!fit_points(phase, p)) return false;
    for (size_t k = 0; k < p->n; k++) {
        const double x = frf->f_hz[from + k] / top;
        p->y[k] = log(cabs(frf->g[from + k]));
        p->x[0][k] = -x * x;
        p->x[1][k] = 1.0;
        p->x[2][k] = loop ? -1.0 / (x * x) : pow(x, 4.0);
    }
    return fit_points(size, p);
}

/* From the first n estimates, the upper two octaves of them. */
static enum tune_status lag_below(struct lag *out, const struct tune_frf *frf, size_t n,
                                  double rate_hz, bool loop, struct tune_error *err)
{
    const double top = n ? frf->f_hz[n - 1] : 0.0, omega = 2.0 * TUNE_PI * top;
    size_t from = 0;
    struct points p = {0};
    struct fit phase, size;
    *out = (struct lag){.known = false, .biased = loop ? 1.0 : 0.0, .last_hz = top};
    while (from < n && frf->f_hz[from] * octaves < top)
        from++;
    if (n < from + POINTS_LEAST) return TUNE_OK;
    for (size_t i = from; i < n; i++)
        if (!(cabs(frf->g[i]) > 0.0)) return TUNE_OK;
    const double rows = whole_rows(frf, from, n, rate_hz);
    const enum tune_status status = points_make(&p, n - from, err);
    if (status) return status;
    out->known = fit_response(&phase, &size, &p, frf, from, omega * rows / rate_hz, loop);
    free(p.x[0]);
    if (!out->known) return TUNE_OK;
    out->tau_s.value = phase.value[0] / omega + rows / rate_hz;
    out->tau_s.std = hypot(phase.std[0] / omega, row_floor / rate_hz);
    out->fall_s2.value = size.value[0] / (omega * omega);
    out->fall_s2.std = hypot(size.std[0], 1e-4) / (omega * omega);
    out->gain = exp(size.value[1]);
    out->first_hz = frf->f_hz[from];
    /* the two terms hold while the loop gain is small */
    out->known = !loop || (fabs(phase.value[2]) * octaves < loop_most &&
                           fabs(size.value[2]) * octaves * octaves < loop_most);
    return TUNE_OK;
}

/* The powers of omega tau must fall off: where the top of the band is too high for that, lower. */
static enum tune_status measure_lag(struct lag *out, const struct tune_frf *frf, double rate_hz,
                                    bool loop, struct tune_error *err)
{
    struct lag lower;
    size_t n = frf->n;
    enum tune_status status = lag_below(out, frf, n, rate_hz, loop, err);
    if (status || !out->known || loop) return status;
    while (n > 0 && 2.0 * TUNE_PI * frf->f_hz[n - 1] * out->tau_s.value > angle_most)
        n--;
    if (n == frf->n) return TUNE_OK;
    status = lag_below(&lower, frf, n, rate_hz, loop, err);
    if (!status && lower.known) *out = lower;
    return status;
}

/* Response of `output` to `input`, both read as torque and position of a record. *known false: there is none. */
static enum tune_status respond(struct tune_frf *out, bool *known, const struct tune_record *rec,
                                enum tune_role input, enum tune_role output, struct tune_error *err)
{
    struct tune_record as = *rec;
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_error why = {0};
    for (int role = 0; role < TUNE_ROLE_COUNT; role++)
        as.channel[role] = NULL;
    as.channel[TUNE_ROLE_TORQUE] = rec->channel[input];
    as.channel[TUNE_ROLE_EXCITATION] = rec->channel[TUNE_ROLE_EXCITATION];
    as.channel[TUNE_ROLE_POSITION] = rec->channel[output];
    as.delay_samples[TUNE_ROLE_TORQUE] = rec->delay_samples[input];
    as.delay_samples[TUNE_ROLE_POSITION] = rec->delay_samples[output];
    opts.stride = 1 + rec->n / 60000;
    const enum tune_status status = tune_frf_estimate(out, NULL, &as, &opts, &why);
    *known = status == TUNE_OK;
    if (status && status != TUNE_EDATA && err) *err = why;
    return status == TUNE_EDATA ? TUNE_OK : status;
}

/* A command is held for a row, on average half a row behind its stamp: that is no lag of the current loop. */
static struct tune_estimate of_the_loop(const struct lag *lag, double rate_hz)
{
    return (struct tune_estimate){lag->tau_s.value - 0.5 / rate_hz,
                                  hypot(lag->tau_s.std, left_biased * lag->biased / rate_hz)};
}

/* ---- what it means -------------------------------------------------------------------------------*/

static void report(struct health_case *c, const struct lag *lag)
{
    const double row_s = 1.0 / c->rec->rate_hz, tau = lag->tau_s.value;
    const double rows = tau / row_s, std = lag->tau_s.std / row_s, whole = round(rows);
    const double bias = rows_biased * lag->biased;
    const bool late = fabs(rows) > distinct * std + bias;
    const bool falls = lag->fall_s2.value > distinct * lag->fall_s2.std +
                                                fall_biased * lag->biased * row_s * row_s &&
                       lag->fall_s2.value > 0.05 * tau * tau;
    if (late && tau > 0.0 &&
        (falls || fabs(rows - whole) > fmax(near_whole, distinct * std) + 0.5 * bias)) {
        c->out->measures.current_lag_s = of_the_loop(lag, c->rec->rate_hz);
        health_add(
            c, "torque-measured", TUNE_WITH_CARE, 0, c->out->measures.current_lag_s.value,
            "log the command too: map it to torque and the measured one to measured_torque",
            "the torque lags the excitation by %.3g +- %.1g ms and falls off between %.3g and "
            "%.3g Hz: a measured current, whose loop then hides in the response",
            1e3 * tau, 1e3 * c->out->measures.current_lag_s.std, lag->first_hz, lag->last_hz);
    } else if (late && whole != 0.0 && fabs(rows - whole) <= near_whole) {
        health_add(
            c, "columns-skewed", TUNE_WITH_CARE, 0, whole,
            whole > 0.0
                ? "see which column is late: write torque_delay_samples into the log's section, "
                  "and compare the position with the torque too"
                : "write excitation_delay_samples into the log's section, and compare the "
                  "position with the torque too",
            "the %s is %g row%s late against the %s (%.2f +- %.2f, from %.3g to %.3g Hz)",
            whole > 0.0 ? "torque" : "excitation", fabs(whole), fabs(whole) > 1.0 ? "s" : "",
            whole > 0.0 ? "excitation" : "torque", fabs(rows), std, lag->first_hz, lag->last_hz);
    }
}

/* The torque is the excitation, but late: over the lowest octave. */
static bool is_open(const struct tune_frf *frf, const struct lag *lag)
{
    double apart = 0.0, n = 0.0;
    for (size_t i = 0; i < frf->n && frf->f_hz[i] < 2.0 * frf->f_hz[0]; i++) {
        const double turn = 2.0 * TUNE_PI * frf->f_hz[i] * lag->tau_s.value;
        apart += cabs(frf->g[i] * CMPLX(cos(turn), sin(turn)) - lag->gain);
        n += 1.0;
    }
    return lag->known && n > 0.0 && apart < open_loop * n * lag->gain;
}

static bool equal(const double *a, const double *b, size_t n)
{
    double most = 0.0, apart = 0.0;
    for (size_t k = 0; k < n; k++) {
        most = fmax(most, fabs(a[k]));
        apart = fmax(apart, fabs(a[k] - b[k]));
    }
    return apart <= 1e-9 * most;
}

/* Divide U/D by the sensitivity that the stated gains make: u = d - C y, y the response of the position to d
 * as it is, so S = 1 - C Y/D whatever the plant. Bins that the position does not answer in are left out. */
static enum tune_status divide_by_loop(struct tune_frf *ud, const struct health_case *c,
                                       struct tune_error *err)
{
    struct tune_frf yd;
    bool known;
    size_t kept = 0, j = 0;
    enum tune_status status =
        respond(&yd, &known, c->rec, TUNE_ROLE_EXCITATION, TUNE_ROLE_POSITION, err);
    if (status || !known) {
        ud->n = 0;
        return status;
    }
    for (size_t i = 0; i < ud->n; i++) {
        double complex gain;
        while (j < yd.n && yd.f_hz[j] < ud->f_hz[i])
            j++;
        if (j == yd.n || yd.f_hz[j] > ud->f_hz[i]) continue;
        tune_controller_eval(&gain, c->opts->controller, &ud->f_hz[i], 1);
        const double complex expected = 1.0 - gain * yd.g[j];
        if (cabs(expected) < 0.1) continue;
        ud->f_hz[kept] = ud->f_hz[i];
        ud->g[kept++] = ud->g[i] / expected;
    }
    ud->n = kept;
    tune_frf_free(&yd);
    return TUNE_OK;
}

static enum tune_status check_command(struct health_case *c, struct tune_error *err)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION], *u = c->rec->channel[TUNE_ROLE_TORQUE];
    struct tune_frf frf;
    struct lag lag = {.known = false};
    bool known;
    const bool gains = health_knows_gains(c);
    if (!c->opts->sweep || !d || c->law_holds || c->law_speaks || equal(d, u, c->rec->n))
        return TUNE_OK;
    enum tune_status status =
        respond(&frf, &known, c->rec, TUNE_ROLE_EXCITATION, TUNE_ROLE_TORQUE, err);
    if (status || !known) return status;
    if (gains) status = divide_by_loop(&frf, c, err);
    if (!status) status = measure_lag(&lag, &frf, c->rec->rate_hz, !gains, err);
    if (!status && !gains && is_open(&frf, &lag))
        status = measure_lag(&lag, &frf, c->rec->rate_hz, false, err);
    tune_frf_free(&frf);
    if (!status && lag.known) report(c, &lag);
    return status;
}

enum tune_status health_check_current(struct health_case *c, struct tune_error *err)
{
    struct tune_frf frf;
    struct lag lag = {.known = false};
    bool known;
    if (!c->rec->channel[TUNE_ROLE_TORQUE]) return TUNE_OK;
    if (!c->rec->channel[TUNE_ROLE_MEASURED_TORQUE]) return check_command(c, err);
    enum tune_status status =
        respond(&frf, &known, c->rec, TUNE_ROLE_TORQUE, TUNE_ROLE_MEASURED_TORQUE, err);
    if (status || !known) return status;
    status = measure_lag(&lag, &frf, c->rec->rate_hz, false, err);
    tune_frf_free(&frf);
    if (!status && lag.known) c->out->measures.current_lag_s = of_the_loop(&lag, c->rec->rate_hz);
    return status;
}
