/* prediction.c - jitter under given gains.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/prediction.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "control/loop.h"
#include "jitter/jitter_internal.h"
#include "jitter/lines_internal.h"

/* Curves: points, logarithmic in frequency. */
enum { CURVE_POINTS = 300 };

enum tune_status tune_jitter_check(const struct tune_disturbance *disturbance,
                                   const struct tune_plant *quiet, const struct tune_plant *plant,
                                   struct tune_error *err)
{
    if (disturbance->n > 0 && quiet->loop_rate_hz != plant->loop_rate_hz)
        return tune_error_set(err, TUNE_EINVAL,
                              "the plant of the quiet log was fitted at %g Hz, the other at %g Hz",
                              quiet->loop_rate_hz, plant->loop_rate_hz);
    if (!(disturbance->rate_hz > 0.0) || !(disturbance->drive_psd >= 0.0) ||
        !(disturbance->sensor_psd >= 0.0) || !(disturbance->wind_rms_nm >= 0.0) ||
        !(disturbance->wind_rms_nm == 0.0 || disturbance->wind_corner_hz > 0.0))
        return tune_error_set(err, TUNE_EINVAL,
                              "the disturbance is empty, or a level of it is below 0");
    return tune_disturbance_check_bands(disturbance, err);
}

/* What closes the loop. */
static enum tune_status check(const struct tune_plant *plant,
                              const struct tune_controller *controller, double duration_s,
                              struct tune_error *err)
{
    bool stable = false;
    enum tune_status status;
    if (controller->loop_rate_hz != plant->loop_rate_hz)
        return tune_error_set(err, TUNE_EINVAL,
                              "the controller runs at %g Hz, the plant was fitted at %g Hz",
                              controller->loop_rate_hz, plant->loop_rate_hz);
    if (!(duration_s >= 0.0 && isfinite(duration_s)))
        return tune_error_set(err, TUNE_EINVAL, "a log of %g s cannot be foretold", duration_s);
    status = tune_controller_check(controller, err);
    if (!status) status = tune_loop_judge(NULL, &stable, plant, controller, err);
    if (status || stable) return status;
    return tune_error_set(err, TUNE_ENOSOL,
                          "these gains do not hold the fitted plant stably: there is no jitter to "
                          "predict");
}

/* The sums over frequency: mean squares in rad^2, and the integral of (weighted PSD)^2. */
struct totals {
    double measured, torque, wind, noise;
    double measured_squared; /* rad^4/Hz */
    double command, unrest;  /* (N m)^2 */
};

static struct totals add_up(const struct jitter_lines *lines)
{
    struct totals t = {0};
    for (size_t i = 0; i < lines->n; i++) {
        const double w = lines->weight_hz[i];
        const double seen = lines->measured[i] * w;
        t.measured += seen;
        t.torque += lines->torque[i] * w;
        t.wind += lines->torque[i] * lines->wind_share[i] * w;
        t.noise += lines->noise[i] * w;
        t.measured_squared += seen * seen / lines->width_hz[i];
        t.command += (lines->answer[i] * lines->torque[i] + lines->unrest[i]) * w;
        t.unrest += lines->unrest[i] * w;
    }
    return t;
}

/* var(J^2) = sum (a S)^2 df d_res / (dof/2): bins closer than d_res say the same, each has dof degrees
 * of freedom. std(J) = std(J^2)/(2 J). */
static struct tune_estimate estimate(double mean_square, double squared,
                                     const struct tune_disturbance *d)
{
    struct tune_estimate rms = {sqrt(fmax(mean_square, 0.0)), NAN};
    if (d->n == 0) return rms;
    rms.std = 0.0;
    if (rms.value > 0.0)
        rms.std = sqrt(squared * d->resolution_hz / (d->dof / 2.0)) / (2.0 * rms.value);
    return rms;
}

/* Where 95 % of logs of duration_s will lie: the estimate's own error, and that a log is a sample of
 * the jitter, var(J^2) = integral (a S)^2 df / duration. Symmetric in the logarithm: no rms is
 * negative. Source: J. S. Bendat and A. G. Piersol, Random Data, ch. 8 (from memory). */
static void fill_interval(struct tune_jitter *out, const struct totals *t, double duration_s)
{
    const double rms = out->measured_rms_rad.value;
    const double of_estimate = isnan(out->measured_rms_rad.std) ? 0.0 : out->measured_rms_rad.std;
    double of_log, spread;
    out->interval95_rad[0] = out->interval95_rad[1] = rms;
    if (!(rms > 0.0)) return;
    of_log = duration_s > 0.0 ? sqrt(t->measured_squared / duration_s) / (2.0 * rms) : 0.0;
    spread = exp(1.96 * hypot(of_estimate, of_log) / rms);
    out->interval95_rad[0] /= spread;
    out->interval95_rad[1] *= spread;
}

/* Where the log holds nothing but noise the whole torque may come out below 0: then there is none. */
static struct totals settle_torque(struct jitter_lines *lines)
{
    const struct totals t = add_up(lines);
    if (t.torque >= 0.0) return t;
    for (size_t i = 0; i < lines->n; i++)
        lines->torque[i] = 0.0;
    return add_up(lines);
}

/* Mean squares of the sources, none negative, summing to the true one: an unclipped estimate of a
 * source that is not there may come out just below 0. */
static void name_sources(struct tune_jitter *out, const struct totals *t)
{
    const double wind = fmin(fmax(t->wind, 0.0), t->torque);
    out->source[0] = (struct tune_source){"wind", sqrt(wind)};
    out->source[1] = (struct tune_source){"drive torque", sqrt(t->torque - wind)};
    out->source[2] = (struct tune_source){"sensor noise", sqrt(t->noise)};
}

static void fill_numbers(struct tune_jitter *out, struct jitter_lines *lines,
                         const struct tune_disturbance *d, double duration_s)
{
    const struct totals t = settle_torque(lines);
    out->measured_rms_rad = estimate(t.measured, t.measured_squared, d);
    /* what varies is the same S_v under |S|^2, whichever of the two is formed from it */
    out->true_rms_rad = estimate(t.torque + t.noise, t.measured_squared, d);
    out->torque_rms_nm = sqrt(fmax(t.command, 0.0));
    out->noise_torque_rms_nm = sqrt(t.unrest);
    name_sources(out, &t);
    fill_interval(out, &t, duration_s);
}

/* ---- curves -----------------------------------------------------------------------------------*/

static enum tune_status allocate_curves(struct tune_jitter *out, struct tune_error *err)
{
    double **array[] = {&out->f_hz, &out->measured_psd, &out->true_psd, &out->measured_cumulative,
                        &out->true_cumulative};
    for (size_t i = 0; i < sizeof array / sizeof *array; i++)
        if (!(*array[i] = malloc(CURVE_POINTS * sizeof **array[i])))
            return tune_error_memory(err, "predicting jitter");
    out->n = CURVE_POINTS;
    return TUNE_OK;
}

/* From mean squares below f to rms, rising: the true one may fall where its estimate is negative; it is
 * held down from its end, so that it still ends at the whole. */
static void rms_from_mean_square(double *curve, size_t n)
{
    for (size_t i = n - 1; i-- > 0;)
        curve[i] = fmin(curve[i], curve[i + 1]);
    for (size_t i = 0; i < n; i++)
        curve[i] = sqrt(fmax(curve[i], 0.0));
}

static void fill_curves(struct tune_jitter *out, const struct jitter_lines *lines)
{
    const double first = lines->f_hz[0], last = lines->f_hz[lines->n - 1];
    double measured = 0.0, true_one = 0.0;
    size_t next = 0;
    for (size_t p = 0; p < out->n; p++) {
        const double share = (double)p / (double)(out->n - 1);
        const double upto = p + 1 < out->n ? first * pow(last / first, share) : last;
        double seen = 0.0, moved = 0.0, width = 0.0;
        while (next < lines->n && lines->f_hz[next] <= upto) {
            const double both = lines->torque[next] + lines->noise[next];
            seen += lines->measured[next] * lines->width_hz[next];
            moved += both * lines->width_hz[next];
            width += lines->width_hz[next];
            measured += lines->measured[next] * lines->weight_hz[next];
            true_one += both * lines->weight_hz[next];
            next++;
        }
        out->f_hz[p] = upto;
        /* where points lie closer than bins, the last bin stands for them */
        out->measured_psd[p] = width > 0.0 ? seen / width : out->measured_psd[p > 0 ? p - 1 : 0];
        out->true_psd[p] =
            width > 0.0 ? fmax(moved / width, 0.0) : out->true_psd[p > 0 ? p - 1 : 0];
        out->measured_cumulative[p] = measured;
        out->true_cumulative[p] = true_one;
    }
    rms_from_mean_square(out->measured_cumulative, out->n);
    rms_from_mean_square(out->true_cumulative, out->n);
}

enum tune_status tune_jitter_close(struct tune_jitter *out, const struct tune_jitter_open *open,
                                   const struct tune_disturbance *disturbance,
                                   const struct tune_plant *plant,
                                   const struct tune_controller *controller, double duration_s,
                                   struct tune_error *err)
{
    const double duration = duration_s > 0.0 ? duration_s : disturbance->duration_s;
    struct jitter_lines lines = {0};
    enum tune_status status;
    *out = (struct tune_jitter){0};
    status = check(plant, controller, duration_s, err);
    if (!status)
        status = tune_jitter_lines(&lines, open, disturbance, plant, controller, duration, err);
    if (!status) status = allocate_curves(out, err);
    if (!status) {
        fill_numbers(out, &lines, disturbance, duration);
        fill_curves(out, &lines);
        status = tune_jitter_sky(&out->sky_rms_rad, &out->unseen_windup_rms_rad, disturbance, plant,
                                 controller, duration, err);
    }
    tune_jitter_lines_free(&lines);
    if (status) tune_jitter_free(out);
    return status;
}

enum tune_status tune_jitter_predict(struct tune_jitter *out,
                                     const struct tune_disturbance *disturbance,
                                     const struct tune_plant *quiet, const struct tune_plant *plant,
                                     const struct tune_controller *controller, double duration_s,
                                     struct tune_error *err)
{
    struct tune_jitter_open open;
    enum tune_status status = tune_jitter_open(&open, disturbance, quiet, plant, err);
    *out = (struct tune_jitter){0};
    if (!status)
        status = tune_jitter_close(out, &open, disturbance, plant, controller, duration_s, err);
    tune_jitter_open_free(&open);
    return status;
}

void tune_jitter_free(struct tune_jitter *jitter)
{
    free(jitter->f_hz);
    free(jitter->measured_psd);
    free(jitter->true_psd);
    free(jitter->measured_cumulative);
    free(jitter->true_cumulative);
    *jitter = (struct tune_jitter){0};
}
