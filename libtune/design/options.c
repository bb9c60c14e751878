/* options.c - what may be asked of a design, and the demands that follow from it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>

#include "core/units.h"

struct tune_design_opts tune_design_defaults(void)
{
    return (struct tune_design_opts){
        .max_biquads = 3,
        .peak_sensitivity = 1.7,
        .reduction_peak = 2.5,
        .ladder_peak = 2.0,
        .delay_peak = 2.5,
        .mode_shift = 0.05,
        .pole_zeta_min = 0.1,
    };
}

/* A limit that is switched off is in range. */
static double or_most(double peak)
{
    return peak == 0.0 ? 100.0 : peak;
}

static enum tune_status check_options(const struct tune_design_opts *o, double rate_hz,
                                      struct tune_error *err)
{
    const struct {
        const char *what;
        double value, lowest, highest;
        const char *limit;
    } range[] = {
        {"max_biquads", (double)o->max_biquads, 0.0, TUNE_BIQUADS_MAX, "0 .. 16"},
        {"peak_sensitivity", o->peak_sensitivity, 1.01, 100.0, "1.01 .. 100"},
        {"reduction_peak", or_most(o->reduction_peak), 1.01, 100.0, "0 (off) or 1.01 .. 100"},
        {"ladder_peak", or_most(o->ladder_peak), 1.01, 100.0, "0 (off) or 1.01 .. 100"},
        {"delay_peak", or_most(o->delay_peak), 1.01, 100.0, "0 (off) or 1.01 .. 100"},
        {"phase_margin_rad", o->phase_margin_rad, 0.0, 1.5, "0 .. 1.5"},
        {"gain_margin", o->gain_margin == 0.0 ? 1.0 : o->gain_margin, 1.0, 100.0, "1 .. 100"},
        {"gain_reduction_margin", o->gain_reduction_margin == 0.0 ? 1.0 : o->gain_reduction_margin,
         1.0, 1000.0, "1 .. 1000"},
        {"noise_torque_rms_nm", o->noise_torque_rms_nm, 1e-300, 1e300, "above 0"},
        {"sensor_noise_rad", o->sensor_noise_rad, 0.0, 1.0, "0 .. 1"},
        {"mode_shift", o->mode_shift, 0.0, 0.5, "0 .. 0.5"},
        {"gain_stabilised_above_hz", o->gain_stabilised_above_hz, 0.0, 0.45 * rate_hz,
         "0 (off) .. 0.45 of the loop rate"},
        {"pole_zeta_min", o->pole_zeta_min, 1e-3, 1.0, "0.001 .. 1"},
        {"encoder_limit_rad", o->encoder_limit_rad, 0.0, 1e3, "0 (none) .. 1000"},
        {"sky_limit_rad", o->sky_limit_rad, 0.0, 1e3, "0 (none) .. 1000"},
        {"goal", o->goal, TUNE_GOAL_BOLD, TUNE_GOAL_CALM, "bold or calm"},
    };
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++)
        if (!(range[i].value >= range[i].lowest && range[i].value <= range[i].highest))
            return tune_error_range(err, range[i].what, range[i].value, range[i].limit);
    return TUNE_OK;
}

static enum tune_status check_plant(const struct tune_plant *plant, double rate_hz,
                                    struct tune_error *err)
{
    if (!(plant->loop_rate_hz == rate_hz && rate_hz > 0.0 && isfinite(rate_hz)))
        return tune_error_range(err, "loop_rate_hz", plant->loop_rate_hz,
                                "positive, one for all pointings");
    if (!(plant->inertia_kg_m2 > 0.0 && isfinite(plant->inertia_kg_m2)))
        return tune_error_range(err, "inertia_kg_m2", plant->inertia_kg_m2, "positive");
    if (!(plant->viscous_nm_s_per_rad >= 0.0 && isfinite(plant->viscous_nm_s_per_rad)))
        return tune_error_range(err, "viscous_nm_s_per_rad", plant->viscous_nm_s_per_rad,
                                "0 or more");
    if (!(plant->delay_s >= 0.0 && plant->delay_s * rate_hz < 1000.0))
        return tune_error_range(err, "delay_s", plant->delay_s, "0 .. 1000 loop periods");
    if (plant->n_modes > TUNE_MODES_MAX)
        return tune_error_range(err, "n_modes", (double)plant->n_modes, "0 .. 24");
    for (size_t k = 0; k < plant->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        if (!(mode->f_hz > 0.0 && isfinite(mode->f_hz)))
            return tune_error_range(err, "mode frequency_hz", mode->f_hz, "positive");
        if (!(mode->zeta > 0.0 && mode->zeta < 1.0))
            return tune_error_range(err, "mode damping_ratio", mode->zeta, "between 0 and 1");
        if (!isfinite(mode->gain)) return tune_error_range(err, "mode gain", mode->gain, "finite");
        if (isinf(mode->payload_ratio))
            return tune_error_range(err, "mode payload_ratio", mode->payload_ratio,
                                    "finite or not known");
    }
    return TUNE_OK;
}

static enum tune_status check_disturbance(const struct tune_disturbance *d, struct tune_error *err)
{
    if (!(d->wind_rms_nm >= 0.0 && isfinite(d->wind_rms_nm)))
        return tune_error_range(err, "wind_rms_nm", d->wind_rms_nm, "0 or more");
    if (d->wind_rms_nm > 0.0 && !(d->wind_corner_hz > 0.0 && isfinite(d->wind_corner_hz)))
        return tune_error_range(err, "wind_corner_hz", d->wind_corner_hz, "positive");
    if (!(d->drive_psd >= 0.0 && isfinite(d->drive_psd)))
        return tune_error_range(err, "drive_psd", d->drive_psd, "0 or more");
    if (!(d->sensor_psd >= 0.0 && isfinite(d->sensor_psd)))
        return tune_error_range(err, "sensor_psd", d->sensor_psd, "0 or more");
    if (tune_disturbance_check_bands(d, err) != TUNE_OK) return TUNE_EINVAL;
    /* without torque to fight, the best loop is an open one */
    if (d->wind_rms_nm > 0.0 || d->drive_psd > 0.0) return TUNE_OK;
    for (size_t i = 0; i < d->n_bands; i++)
        if (d->band[i].of == TUNE_BAND_TORQUE && d->band[i].rms > 0.0) return TUNE_OK;
    (void)tune_error_set(
        err, TUNE_EINVAL,
        "there is no torque disturbance to design against: take a longer quiet log "
        "under softer gains, or state wind or drive torque noise");
    tune_error_about(err, "disturbance", "0", "above 0");
    return TUNE_EINVAL;
}

/* Three std stay well inside what leaves a plant a plant. */
static enum tune_status check_spread(const struct tune_design_spread *spread,
                                     const struct tune_plant *plant, struct tune_error *err)
{
    const double delay = spread->delay_std_s * plant->loop_rate_hz;
    for (size_t k = 0; k < plant->n_modes; k++)
        if (!(spread->mode_std[k] >= 0.0 && spread->mode_std[k] <= 0.2))
            return tune_error_range(err, "spread mode_std", spread->mode_std[k], "0 .. 0.2");
    if (!(spread->inertia_std >= 0.0 && spread->inertia_std <= 0.2))
        return tune_error_range(err, "spread inertia_std", spread->inertia_std, "0 .. 0.2");
    if (!(delay >= 0.0 && delay <= 10.0))
        return tune_error_range(err, "spread delay_std_s", spread->delay_std_s,
                                "0 .. 10 loop periods");
    return TUNE_OK;
}

/* The calmest loop of all is none: without a jitter to keep there is no answer, nor without noise. */
static enum tune_status check_goal(const struct tune_design_opts *o, struct tune_error *err)
{
    if (o->goal != TUNE_GOAL_CALM) return TUNE_OK;
    if (!(o->encoder_limit_rad > 0.0) && !(o->sky_limit_rad > 0.0))
        return tune_error_range(err, "encoder_limit_rad", 0.0,
                                "above 0, or sky_limit_rad, for a calm design");
    if (!(o->sensor_noise_rad > 0.0))
        return tune_error_range(err, "sensor_noise_rad", 0.0, "above 0 for a calm design");
    return TUNE_OK;
}

enum tune_status design_check(const struct tune_design_opts *opts, const struct tune_plant *plants,
                              size_t n_pointings, const struct tune_disturbance *disturbance,
                              struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (n_pointings == 0) return tune_error_range(err, "pointings", 0.0, "1 or more");
    for (size_t i = 0; i < n_pointings && status == TUNE_OK; i++)
        status = check_plant(&plants[i], plants[0].loop_rate_hz, err);
    if (status == TUNE_OK) status = check_options(opts, plants[0].loop_rate_hz, err);
    for (size_t i = 0; i < n_pointings && status == TUNE_OK && opts->spread; i++)
        status = check_spread(&opts->spread[i], &plants[i], err);
    if (status == TUNE_OK) status = check_goal(opts, err);
    if (status == TUNE_OK) status = check_disturbance(disturbance, err);
    return status;
}

enum demand_kind design_objective_kind(const struct tune_design_opts *opts)
{
    if (opts->goal == TUNE_GOAL_CALM) return DEMAND_TORQUE;
    return opts->encoder_objective ? DEMAND_ENCODER : DEMAND_SKY;
}

enum tune_status design_check_rate(const struct tune_controller *controller,
                                   const struct problem *problem, struct tune_error *err)
{
    if (controller->loop_rate_hz == problem->rate_hz) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL, "the controller runs at %g Hz but the axis at %g Hz",
                          controller->loop_rate_hz, problem->rate_hz);
}

static void add(struct demands *out, enum demand_kind kind, double value, double limit)
{
    if (out->n < DEMANDS_MAX) out->demand[out->n++] = (struct demand){kind, value, limit, false};
}

/* |1 + kappa L| >= 1/M at one kappa keeps L off the negative axis between -(1 + 1/M)/kappa and
 * -(1 - 1/M)/kappa. .5 and .316 always stand; further steps follow, each overlapping the one before,
 * until L keeps off the axis down to -reduction. */
static void add_reductions(struct demands *out, double peak, double reduction)
{
    const double inner = 1.0 - 1.0 / peak, outer = 1.0 + 1.0 / peak;
    double kappa = 0.316;
    add(out, DEMAND_REDUCED, 0.5, peak);
    add(out, DEMAND_REDUCED, kappa, peak);
    for (int i = 0; i < 8 && outer / kappa < reduction; i++) {
        kappa *= 1.02 * inner / outer;
        add(out, DEMAND_REDUCED, kappa, peak);
    }
}

double design_rung_limit(const struct tune_design_opts *opts, double k)
{
    const double peak = opts->peak_sensitivity;
    if (opts->ladder_peak == 0.0) return HUGE_VAL;
    return k > 0.71 ? fmax(opts->ladder_peak, peak) : opts->ladder_peak;
}

/* Gain may rise to M/(M - 1) where |S| <= M, so a larger gain margin asks for a smaller M. At |L| = 1
 * with phase phi from -pi, |S - T| = |1 - L|/|1 + L| = cot(phi/2): that limit gives the phase margin
 * and costs less than a smaller M would; it is asked for only where 2 asin(1/(2 M)) falls short. */
void design_demands(struct demands *out, const struct tune_design_opts *opts)
{
    static const double rung[] = {0.71, 0.5, 0.316, 0.178, 0.1};
    double peak = opts->peak_sensitivity;
    *out = (struct demands){.phase_margin_rad = opts->phase_margin_rad,
                            .gain_margin = opts->gain_margin,
                            .gain_reduction_margin = opts->gain_reduction_margin};
    if (opts->gain_margin > 1.0) peak = fmin(peak, opts->gain_margin / (opts->gain_margin - 1.0));
    add(out, DEMAND_PEAK, 1.0, peak);
    if (opts->phase_margin_rad > 2.0 * asin(0.5 / peak))
        add(out, DEMAND_DISC, opts->phase_margin_rad, 1.0 / tan(0.5 * opts->phase_margin_rad));
    if (opts->reduction_peak > 0.0)
        add_reductions(out, opts->reduction_peak, opts->gain_reduction_margin);
    for (size_t i = 0; i < sizeof rung / sizeof rung[0] && opts->ladder_peak > 0.0; i++)
        add(out, DEMAND_LADDER, rung[i], opts->ladder_peak);
    if (opts->delay_peak > 0.0) add(out, DEMAND_DELAY, 1.0, opts->delay_peak);
    if (opts->gain_stabilised_above_hz > 0.0)
        add(out, DEMAND_ROLLOFF, opts->gain_stabilised_above_hz, 0.5);
    if (opts->sensor_noise_rad > 0.0) add(out, DEMAND_TORQUE, 0.0, opts->noise_torque_rms_nm);
    if (opts->encoder_limit_rad > 0.0) add(out, DEMAND_ENCODER, 0.0, opts->encoder_limit_rad);
    if (opts->sky_limit_rad > 0.0) add(out, DEMAND_SKY, 0.0, opts->sky_limit_rad);
}

/* How far the stretches of the negative axis that L cannot be on reach out from -1 without a gap. */
static double reach(const struct demands *demands)
{
    double out = 1.0 + 1.0 / demands->demand[0].limit;
    for (size_t i = 0; i < demands->n; i++) {
        const struct demand *d = &demands->demand[i];
        if (d->kind == DEMAND_REDUCED && (1.0 - 1.0 / d->limit) / d->value <= out)
            out = fmax(out, (1.0 + 1.0 / d->limit) / d->value);
    }
    return out;
}

size_t tune_design_implied(struct tune_implied implied[TUNE_IMPLIED_MAX],
                           const struct tune_design_opts *opts)
{
    struct demands demands;
    double peak, out;
    size_t n = 0;
    design_demands(&demands, opts);
    peak = demands.demand[0].limit;
    out = reach(&demands);
    implied[n++] =
        (struct tune_implied){"phase margin", "peak sensitivity", 2.0 * asin(0.5 / peak)};
    implied[n++] = (struct tune_implied){"gain margin", "peak sensitivity", peak / (peak - 1.0)};
    implied[n++] = (struct tune_implied){"gain reduction margin",
                                         "peak sensitivity, also with the gain reduced", out};
    /* -10 dB */
    if (out >= sqrt(10.0))
        implied[n++] =
            (struct tune_implied){"any plain gain from -10 dB to 0 stable",
                                  "peak sensitivity, also with the gain reduced", 1.0 / out};
    return n;
}
