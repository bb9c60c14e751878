/* simulated_trouble.c - what is made wrong with a simulated log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/simulated_trouble_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"

/* ---- what is written ----------------------------------------------------------------------------*/

static enum tune_status add_channel(struct written_log *log, enum tune_role role, const double *x,
                                    struct tune_error *err)
{
    double *copy = malloc((log->n + 1) * sizeof *copy);
    if (!copy) return tune_error_memory(err, "writing a log");
    if (x) memcpy(copy, x, log->n * sizeof *copy);
    log->channel[role] = copy;
    return TUNE_OK;
}

enum tune_status written_log_make(struct written_log *out, const struct tune_simulated_log *log,
                                  const struct tune_axis_trace *trace, const double *target_rad,
                                  const double *excitation_nm, double rate_hz,
                                  struct tune_error *err)
{
    const double *source[TUNE_ROLE_COUNT] = {
        [TUNE_ROLE_EXCITATION] = excitation_nm,
        [TUNE_ROLE_TORQUE] = trace->torque_nm,
        [TUNE_ROLE_POSITION] = trace->position_rad,
        [TUNE_ROLE_TARGET] = log->trouble.no_target ? NULL : target_rad,
        [TUNE_ROLE_LOAD_POSITION] = log->log_load ? trace->sky_rad : NULL,
        [TUNE_ROLE_PAYLOAD_ACCEL] = log->log_accel ? trace->payload_rad_per_s2 : NULL,
        [TUNE_ROLE_SKY] = log->log_sky ? trace->sky_rad : NULL,
        [TUNE_ROLE_OTHER_POSITION] = log->log_other ? trace->other_rad : NULL,
    };
    enum tune_status status;
    *out = (struct written_log){.n = trace->n};
    status = add_channel(out, TUNE_ROLE_TIME, NULL, err);
    for (size_t i = 0; !status && i < out->n; i++)
        out->channel[TUNE_ROLE_TIME][i] = (double)i / rate_hz;
    for (int role = 0; !status && role < TUNE_ROLE_COUNT; role++)
        if (source[role]) status = add_channel(out, (enum tune_role)role, source[role], err);
    return status;
}

void written_log_free(struct written_log *log)
{
    for (size_t i = 0; i < TUNE_ROLE_COUNT; i++)
        free(log->channel[i]);
    *log = (struct written_log){0};
}

size_t chain_trouble_sample(double at_s, double rate_hz, size_t n)
{
    const double at = fmax(1.0, rint(at_s * rate_hz));
    return at < (double)(n - 1) ? (size_t)at : n - 1;
}

/* ---- axis and drive -----------------------------------------------------------------------------*/

void chain_trouble_axis(struct tune_axis *axis, const struct tune_simulated_log *log,
                        const struct tune_drive_entry *drive)
{
    const struct tune_trouble *t = &log->trouble;
    if (t->saturation_nm > 0.0) axis->torque_limit_nm = t->saturation_nm;
    if (t->encoder_noise_rad > 0.0) axis->encoder_noise_rad = t->encoder_noise_rad;
    if (!isnan(drive->encoder_lines_per_turn))
        axis->encoder_lines_per_turn = drive->encoder_lines_per_turn;
    memcpy(axis->interpolation_rad, t->interpolation_rad, sizeof axis->interpolation_rad);
}

void chain_trouble_sweep(struct tune_sweep *sweep, const struct tune_trouble *trouble)
{
    if (trouble->sweep_to_hz > 0.0) sweep->to_hz = trouble->sweep_to_hz;
}

/* ---- torque -------------------------------------------------------------------------------------*/

/* The current at t_k is what a first-order loop made of the commands held until then, u[k-1] the last. */
static void lag(double *y, const double *u, size_t n, const struct tune_trouble *t, double rate_hz,
                struct tune_random *rng)
{
    const double keep = t->measured_lag_s > 0.0 ? exp(-1.0 / (t->measured_lag_s * rate_hz)) : 0.0;
    double current = u[0], before = u[0];
    for (size_t k = 0; k < n; k++) {
        const double command = u[k]; /* y may be u */
        if (k) current = keep * current + (1.0 - keep) * before;
        y[k] = current + t->measured_noise_nm * tune_random_normal(rng);
        before = command;
    }
}

static void scale(double *x, size_t n, double factor)
{
    for (size_t i = 0; x && i < n; i++)
        x[i] *= factor;
}

static enum tune_status trouble_torque(struct written_log *log, const struct tune_trouble *t,
                                       double rate_hz, struct tune_random *rng,
                                       struct tune_error *err)
{
    double *torque = log->channel[TUNE_ROLE_TORQUE];
    const double factor = t->torque_scale > 0.0 ? t->torque_scale : 1.0;
    const double sign = t->flipped == TUNE_FLIPPED_NONE ? 1.0 : -1.0;
    if (t->measured == TUNE_MEASURED_INSTEAD) lag(torque, torque, log->n, t, rate_hz, rng);
    if (t->measured == TUNE_MEASURED_BESIDE) {
        const enum tune_status status = add_channel(log, TUNE_ROLE_MEASURED_TORQUE, NULL, err);
        if (status) return status;
        lag(log->channel[TUNE_ROLE_MEASURED_TORQUE], torque, log->n, t, rate_hz, rng);
    }
    scale(torque, log->n, factor * sign);
    scale(log->channel[TUNE_ROLE_MEASURED_TORQUE], log->n, factor * sign);
    scale(log->channel[TUNE_ROLE_EXCITATION], log->n,
          factor * (t->flipped == TUNE_FLIPPED_ALL ? -1.0 : 1.0));
    return TUNE_OK;
}

/* ---- position -----------------------------------------------------------------------------------*/

/* One in each of `glitches` equal parts of the log, its ends left out: never two side by side. */
static void add_glitches(double *x, size_t n, const struct tune_trouble *t, struct tune_random *rng)
{
    const double part = 0.9 * (double)n / (double)(t->glitches ? t->glitches : 1);
    for (size_t i = 0; i < t->glitches; i++) {
        const double within = 0.1 + 0.8 * tune_random_uniform(rng);
        const double sign = tune_random_uniform(rng) < 0.5 ? -1.0 : 1.0;
        x[(size_t)(0.05 * (double)n + part * ((double)i + within))] += sign * t->glitch_rad;
    }
}

static double rounded(double x, double step)
{
    return step > 0.0 ? step * floor(x / step + 0.5) : x;
}

/* Glitches and drift are whole steps of the encoder. */
static void trouble_position(double *x, size_t n, const struct trouble_case *c,
                             struct tune_random *rng)
{
    const struct tune_trouble *t = &c->log->trouble;
    const double low = t->wrap_signed ? -0.5 * t->wrap_rad : 0.0;
    const double raw_per_rad = c->raw_per_rad;
    add_glitches(x, n, t, rng);
    for (size_t i = 0; i < n; i++) {
        if (t->drift_rad_per_s != 0.0) x[i] += t->drift_rad_per_s * (double)i / c->rate_hz;
        if (t->drift_rad_per_s != 0.0 || t->glitches) x[i] = rounded(x[i], c->declared_step_rad);
        if (t->position_scale > 0.0) x[i] *= t->position_scale;
        x[i] = rounded(x[i], t->position_step_rad);
        if (t->wrap_rad > 0.0) x[i] -= t->wrap_rad * floor((x[i] - low) / t->wrap_rad);
        if (t->float32) x[i] = (double)(float)(x[i] * raw_per_rad) / raw_per_rad;
    }
}

/* ---- columns of any kind ------------------------------------------------------------------------*/

/* Row k holds what belongs to row k - samples; the ends, which are held, are cut off with the rows. */
static enum tune_status skew(double *x, size_t n, double samples, struct tune_error *err)
{
    double *old = malloc((n + 1) * sizeof *old);
    if (!old) return tune_error_memory(err, "writing a log");
    memcpy(old, x, n * sizeof *old);
    for (size_t k = 0; k < n; k++) {
        const double from = (double)k - samples;
        x[k] = old[from < 0.0 ? 0 : from > (double)(n - 1) ? n - 1 : (size_t)from];
    }
    free(old);
    return TUNE_OK;
}

static void hold(double *x, size_t from, size_t to)
{
    for (size_t k = from + 1; k < to; k++)
        x[k] = x[from];
}

enum tune_status chain_trouble_columns(struct written_log *log, const struct trouble_case *c,
                                       struct tune_random *rng, struct tune_error *err)
{
    const struct tune_trouble *t = &c->log->trouble;
    const double rate_hz = c->rate_hz;
    const size_t n = log->n;
    enum tune_status status = trouble_torque(log, t, rate_hz, rng, err);
    if (status) return status;
    trouble_position(log->channel[TUNE_ROLE_POSITION], n, c, rng);
    if (t->skew) status = skew(log->channel[t->skew], n, t->skew_samples, err);
    if (status) return status;
    if (t->stuck) {
        const size_t from = chain_trouble_sample(t->stuck_at_s, rate_hz, n);
        hold(log->channel[t->stuck], from,
             chain_trouble_sample(t->stuck_at_s + t->stuck_s, rate_hz, n));
    }
    if (t->dead) hold(log->channel[t->dead], 0, n);
    if (t->unreadable)
        log->channel[TUNE_ROLE_POSITION][chain_trouble_sample(t->unreadable_at_s, rate_hz, n)] =
            (double)NAN;
    return TUNE_OK;
}

/* ---- rows and stamps ----------------------------------------------------------------------------*/

/* What is a step but for rounding counts as one. */
double chain_trouble_step(double stamp_s, const struct tune_trouble *trouble)
{
    return trouble->stamp_step_s * floor(stamp_s / trouble->stamp_step_s + 1e-6);
}

static void trouble_stamps(double *stamp, size_t n, const struct tune_trouble *t, double rate_hz,
                           struct tune_random *rng)
{
    const size_t back = chain_trouble_sample(t->backward_at_s, rate_hz, n);
    const size_t repeat = chain_trouble_sample(t->repeated_at_s, rate_hz, n);
    for (size_t i = 0; i < n; i++) {
        if (t->rate_ppm != 0.0) stamp[i] *= 1.0 + 1e-6 * t->rate_ppm;
        if (t->stamp_scatter_s > 0.0) stamp[i] += t->stamp_scatter_s * tune_random_normal(rng);
        if (t->stamp_step_s > 0.0) stamp[i] = chain_trouble_step(stamp[i], t);
    }
    for (size_t i = back; t->backward_s > 0.0 && i < n; i++)
        if (!t->backward_rows || i < back + t->backward_rows) stamp[i] -= t->backward_s;
    if (t->repeated_stamps) hold(stamp, repeat - 1, repeat + t->repeated_stamps);
}

/* Which sample each row holds; row[] has room for n + repeated_rows. Returns how many rows there are. */
static size_t choose_rows(size_t *row, size_t n, const struct tune_trouble *t, double rate_hz)
{
    const size_t gap = chain_trouble_sample(t->missing_at_s, rate_hz, n);
    const size_t repeat = chain_trouble_sample(t->repeated_at_s, rate_hz, n);
    const size_t from = (size_t)fmax(t->skew_samples, 0.0);
    const size_t to = n - (size_t)fmax(-t->skew_samples, 0.0);
    size_t used = 0;
    for (size_t i = from; i < to; i++) {
        if (t->missing_rows && i >= gap && i < gap + t->missing_rows) continue;
        row[used++] = i;
        for (size_t k = 0; i == repeat && k < t->repeated_rows; k++)
            row[used++] = i;
    }
    return t->rows && t->rows < used ? t->rows : used;
}

enum tune_status chain_trouble_rows(struct written_log *log, const struct tune_trouble *t,
                                    double rate_hz, struct tune_random *rng, struct tune_error *err)
{
    const size_t n = log->n;
    size_t *row;
    trouble_stamps(log->channel[TUNE_ROLE_TIME], n, t, rate_hz, rng);
    if (!t->missing_rows && !t->repeated_rows && !t->rows && !t->skew) return TUNE_OK;
    row = malloc((n + t->repeated_rows) * sizeof *row);
    if (!row) return tune_error_memory(err, "writing a log");
    log->n = choose_rows(row, n, t, rate_hz);
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++) {
        double *x = log->channel[role], *chosen;
        if (!x) continue;
        chosen = malloc((log->n + 1) * sizeof *chosen);
        if (!chosen) {
            free(row);
            return tune_error_memory(err, "writing a log");
        }
        for (size_t k = 0; k < log->n; k++)
            chosen[k] = x[row[k]];
        free(x);
        log->channel[role] = chosen;
    }
    free(row);
    return TUNE_OK;
}
