/* current.c - is the torque the command, or what the drive measured?
 *
 * The torque answers the excitation d by U/D = S F, S = 1/(1 + C G) the loop's sensitivity, and F = 1 where the
 * torque is the command of the same row. With the gains known S = 1 - C Y/D, else it goes to 1 at high frequency.
 * A column that is late by whole rows has a delay tau of so many and does not fall off; a current loop of first
 * order falls as ln|F| = -omega^2 tau^2/2. With both logged measured torque over torque is F itself.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <string.h>

#include "core/units.h"
#include "health/findings_internal.h"
#include "health/lag_internal.h"

static const double distinct = 8.0;

/* A lag this near to whole rows is a column that is late; beyond it a current loop. */
static const double near_whole = 0.15;

/* Where gains are not stated, the two terms for the loop leave so much, found with a soft loop on an axis with
 * five modes up to 176 Hz (0.1 rows, 0.1 rows^2): half as much again is allowed for, and more. */
static const double left_biased = 0.1, rows_biased = 0.25, fall_biased = 0.15;

/* The torque follows the excitation this well at the lower end of the band: no loop is closed. */
static const double open_loop = 0.05;

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
    if (!status) status = health_measure_lag(&lag, &frf, c->rec->rate_hz, !gains, err);
    if (!status && !gains && is_open(&frf, &lag))
        status = health_measure_lag(&lag, &frf, c->rec->rate_hz, false, err);
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
    status = health_measure_lag(&lag, &frf, c->rec->rate_hz, false, err);
    tune_frf_free(&frf);
    if (!status && lag.known) c->out->measures.current_lag_s = of_the_loop(&lag, c->rec->rate_hz);
    return status;
}
