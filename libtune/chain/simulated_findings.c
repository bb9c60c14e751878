/* simulated_findings.c - what inspect should find in a simulated log: the truth of each trouble.
 *
 * Rows are of the log before rows were taken out or repeated, from 1: those of a record repaired. Values are
 * in what the finding's own value is in, as far as the truth can tell it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/simulated_trouble_internal.h"
#include "core/units.h"

static void add(struct tune_truth_log *truth, const char *finding, size_t row, double value)
{
    struct tune_truth_trouble *trouble;
    if (truth->n_troubles == TUNE_TRUTH_TROUBLES_MAX) return;
    trouble = &truth->trouble[truth->n_troubles++];
    (void)snprintf(trouble->finding, sizeof trouble->finding, "%s", finding);
    trouble->row = row;
    trouble->value = value;
}

static size_t row_at(const struct trouble_case *c, double at_s)
{
    return chain_trouble_sample(at_s, c->rate_hz, c->trace->n) + 1;
}

/* ---- clock and rows -----------------------------------------------------------------------------*/

/* Stamps in steps: how far they scatter about their mean, and how many repeat the one before. */
static void tell_steps(struct tune_truth_log *truth, const struct trouble_case *c)
{
    const struct tune_trouble *t = &c->log->trouble;
    const double n = (double)c->trace->n;
    size_t count = 0, first = 0;
    double before = -1.0, sum = 0.0, square = 0.0;
    if (t->stamp_step_s == 0.0 && t->stamp_scatter_s == 0.0) return;
    for (size_t i = 0; t->stamp_step_s > 0.0 && i < c->trace->n; i++) {
        const double stamp_s = (double)i / c->rate_hz, step = chain_trouble_step(stamp_s, t);
        if (step == before && !count++) first = i + 1;
        before = step;
        sum += step - stamp_s;
        square += (step - stamp_s) * (step - stamp_s);
    }
    add(truth, "stamps-uneven", 0,
        sqrt(fmax(square / n - pow(sum / n, 2.0), 0.0) + pow(t->stamp_scatter_s, 2.0)));
    if (count) add(truth, "stamps-repeated", first, (double)count);
}

static void tell_clock(struct tune_truth_log *truth, const struct trouble_case *c)
{
    const struct tune_trouble *t = &c->log->trouble;
    if (t->unreadable) add(truth, "unreadable", row_at(c, t->unreadable_at_s), 0.0);
    if (t->rows && t->rows < c->trace->n) add(truth, "too-short", 0, (double)t->rows);
    if (t->rate_ppm != 0.0) add(truth, "rate-differs", 0, c->rate_hz / (1.0 + 1e-6 * t->rate_ppm));
    tell_steps(truth, c);
    if (t->missing_rows)
        add(truth, "samples-missing", row_at(c, t->missing_at_s), (double)t->missing_rows);
    if (t->repeated_rows) /* the row behind those that are one too many */
        add(truth, "stamps-repeated", row_at(c, t->repeated_at_s) + 1, (double)t->repeated_rows);
    if (t->repeated_stamps)
        add(truth, "stamps-repeated", row_at(c, t->repeated_at_s), (double)t->repeated_stamps);
    if (t->backward_s > 0.0) /* from the row before */
        add(truth, "stamps-backward", row_at(c, t->backward_at_s),
            t->backward_s - 1.0 / c->rate_hz);
}

/* ---- columns ------------------------------------------------------------------------------------*/

static void tell_columns(struct tune_truth_log *truth, const struct trouble_case *c,
                         const struct written_log *columns)
{
    const struct tune_trouble *t = &c->log->trouble;
    if (t->dead) add(truth, "dead-channel", 1, columns->channel[t->dead][0]);
    if (t->stuck) add(truth, "stuck-channel", row_at(c, t->stuck_at_s), t->stuck_s);
    if (t->no_target) add(truth, "target-missing", 0, 0.0);
    if (t->skew) add(truth, "columns-skewed", 0, t->skew_samples);
}

static void tell_excitation(struct tune_truth_log *truth, const struct trouble_case *c)
{
    const struct tune_trouble *t = &c->log->trouble;
    if (t->excitation_scaled)
        add(truth, t->excitation_scale == 0.0 ? "no-excitation" : "coherence-low", 0,
            t->excitation_scale);
    if (t->sweep_to_hz > 0.0) add(truth, "band-narrow", 0, t->sweep_to_hz / c->log->sweep.from_hz);
}

/* What a first-order loop, looked at once a period, delays at low frequency: T / (1 - exp(-T/lag)); the half
 * period that any held command is late is not the loop's. */
static double current_lag(const struct trouble_case *c)
{
    const double lag_s = c->log->trouble.measured_lag_s;
    const double kept = lag_s > 0.0 ? exp(-1.0 / (lag_s * c->rate_hz)) : 0.0;
    return (1.0 / (1.0 - kept) - 0.5) / c->rate_hz;
}

/* Rows on the limit (or as far beyond it as the wrong scale makes them), and beyond the stated one. */
static void tell_torque(struct tune_truth_log *truth, const struct trouble_case *c,
                        const struct written_log *columns)
{
    const struct tune_trouble *t = &c->log->trouble;
    const double *u = columns->channel[TUNE_ROLE_TORQUE];
    size_t on_limit = 0, first_on = 0, first_above = 0;
    double most = 0.0;
    for (size_t k = 0; k < c->trace->n; k++) {
        const double limit = c->axis->torque_limit_nm;
        if (limit > 0.0 && fabs(c->trace->torque_nm[k]) >= limit && !on_limit++) first_on = k + 1;
        if (c->stated_limit_nm > 0.0 && fabs(u[k]) > c->stated_limit_nm && !first_above)
            first_above = k + 1;
        most = fmax(most, fabs(u[k]));
    }
    if (t->torque_scale > 0.0 && first_above)
        add(truth, "torque-above-limit", first_above, most / c->stated_limit_nm);
    if (on_limit) add(truth, "torque-saturated", first_on, (double)on_limit / (double)c->trace->n);
    if (t->flipped) add(truth, "torque-sign", 0, -1.0);
    if (t->measured == TUNE_MEASURED_INSTEAD) add(truth, "torque-measured", 0, current_lag(c));
}

/* ---- position -----------------------------------------------------------------------------------*/

/* How often an angle leaves the range it is kept in, and where first. */
static void tell_wraps(struct tune_truth_log *truth, const struct trouble_case *c,
                       const struct written_log *columns)
{
    const double *x = columns->channel[TUNE_ROLE_POSITION];
    size_t count = 0, first = 0;
    for (size_t k = 1; k < c->trace->n; k++)
        if (fabs(x[k] - x[k - 1]) > 0.5 * c->log->trouble.wrap_rad && !count++) first = k + 1;
    if (count) add(truth, "encoder-wrapped", first, (double)count);
}

static size_t first_glitch(const struct trouble_case *c, const struct written_log *columns)
{
    const double *x = columns->channel[TUNE_ROLE_POSITION], *y = c->trace->position_rad;
    for (size_t k = 0; k < c->trace->n; k++)
        if (fabs(x[k] - y[k]) > 0.5 * c->log->trouble.glitch_rad) return k + 1;
    return 0;
}

/* Spacing of single precision at the middle of the log. */
static double float32_spacing(const struct trouble_case *c)
{
    const float x = (float)fabs(c->trace->position_rad[c->trace->n / 2] * c->raw_per_rad);
    return (double)(nextafterf(x, INFINITY) - x) / c->raw_per_rad;
}

static void tell_position(struct tune_truth_log *truth, const struct trouble_case *c,
                          const struct written_log *columns)
{
    const struct tune_trouble *t = &c->log->trouble;
    double most = 0.0;
    for (size_t k = 0; k < TUNE_INTERPOLATION_ORDERS; k++)
        most = fmax(most, fabs(t->interpolation_rad[k]));
    if (t->wrap_rad > 0.0) tell_wraps(truth, c, columns);
    if (t->glitches) add(truth, "encoder-glitch", first_glitch(c, columns), (double)t->glitches);
    if (t->position_step_rad > 0.0)
        add(truth, "quantisation-coarse", 0,
            c->declared_step_rad > 0.0 ? t->position_step_rad / c->declared_step_rad : 0.0);
    if (t->float32) add(truth, "position-float32", 0, tune_arcsec_from_rad(float32_spacing(c)));
    if (t->encoder_noise_rad > 0.0)
        add(truth, "noise-high", 0, tune_arcsec_from_rad(t->encoder_noise_rad));
    if (most > 0.0) add(truth, "interpolation-error", 0, tune_arcsec_from_rad(most));
    if (t->drift_rad_per_s != 0.0)
        add(truth, "position-drift", 0, tune_arcsec_from_rad(t->drift_rad_per_s));
    if (t->position_scale > 0.0) add(truth, "scale-differs", 0, t->position_scale);
}

/* ---- motion -------------------------------------------------------------------------------------*/

/* Does the axis turn back while it is excited? Where it does, friction shows. */
static void tell_reversal(struct tune_truth_log *truth, const struct trouble_case *c)
{
    const double direction = c->log->ramp_rad_per_s < 0.0 ? -1.0 : 1.0;
    size_t from = 0, to = c->trace->n, reversed = 0, first = 0;
    if (c->log->kind != TUNE_LOG_SWEEP) return;
    while (from < to && c->excitation_nm[from] == 0.0)
        from++;
    while (to > from && c->excitation_nm[to - 1] == 0.0)
        to--;
    for (size_t k = from; k + 1 < to; k++)
        if (direction * (c->trace->true_rad[k + 1] - c->trace->true_rad[k]) < 0.0 && !reversed++)
            first = k + 1;
    if (!reversed) return;
    add(truth, "velocity-reversal", first, (double)reversed / (double)(to - from));
    if (c->axis->friction.coulomb_nm > 0.0)
        add(truth, "friction-suspected", 0, c->axis->friction.coulomb_nm);
}

void chain_tell_troubles(struct tune_truth_log *truth, const struct trouble_case *c,
                         const struct written_log *columns)
{
    tell_clock(truth, c);
    tell_columns(truth, c, columns);
    tell_excitation(truth, c);
    tell_torque(truth, c, columns);
    tell_position(truth, c, columns);
    tell_reversal(truth, c);
}
