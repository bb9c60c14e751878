/* measured.c - margins of a measured loop, and how sure they are.
 *
 * Let L have the error L (r + j i), E r^2 = E i^2 = e^2 = (std/|L|)^2/2, and d ln L/d ln f = a + j p.
 * |L| = 1 then lies at ln f - r/a, the phase there is off by i - r p/a; L is real at ln f - i/p, and ln |L|
 * there is off by r - i a/p.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/measured.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "control/loop_grid_internal.h"
#include "control/measured_internal.h"
#include "core/units.h"

/* L below so many of its std has no phase. */
static const double least_sure = 3.0;

enum { FEATURES_MOST = 8192 };

static enum tune_status refuse(struct tune_error *err, size_t i, const char *what)
{
    return tune_error_set(err, TUNE_EINVAL, "point %zu of the measured loop %s", i + 1, what);
}

static enum tune_status check(const struct tune_loop_table *table, struct tune_error *err)
{
    if (table->n < TUNE_LOOP_POINTS_MIN)
        return tune_error_set(err, TUNE_EINVAL,
                              "the measured loop has %zu points, at least %d are needed", table->n,
                              (int)TUNE_LOOP_POINTS_MIN);
    for (size_t i = 0; i < table->n; i++) {
        const double before = i ? table->f_hz[i - 1] : 0.0;
        if (!(table->f_hz[i] > before) || !isfinite(table->f_hz[i]))
            return refuse(err, i, "does not lie above the one before, or above 0 Hz");
        if (!isfinite(creal(table->l[i])) || !isfinite(cimag(table->l[i])))
            return refuse(err, i, "is not finite");
        if (!(table->std[i] >= 0.0) || isinf(table->std[i]))
            return refuse(err, i, "has a std that is negative or not finite");
    }
    return TUNE_OK;
}

static void eval_curve(void *user, double complex *l, const double *f_hz, size_t n)
{
    const struct measured_curve *curve = user;
    for (size_t i = 0; i < n; i++)
        l[i] = measured_curve_at(curve, f_hz[i]);
}

/* Every point of the table, or some thousands of them, is put among the frequencies looked at. */
static enum tune_status find_margins(struct tune_margins *out, const struct tune_loop_table *table,
                                     struct measured_curve *curve, struct tune_error *err)
{
    const size_t step = 1 + table->n / FEATURES_MOST, n = (table->n - 1) / step;
    double *feature_hz = malloc((n + 1) * sizeof *feature_hz);
    double *zeta = calloc(n + 1, sizeof *zeta);
    const struct tune_loop loop = {.eval = eval_curve,
                                   .user = curve,
                                   .f_low_hz = table->f_hz[0],
                                   .f_high_hz = table->f_hz[table->n - 1],
                                   .feature_hz = feature_hz,
                                   .feature_zeta = zeta,
                                   .n_features = n};
    enum tune_status status = TUNE_OK;
    if (!feature_hz || !zeta) status = tune_error_memory(err, "looking at a measured loop");
    for (size_t i = 0; !status && i < n; i++)
        feature_hz[i] = table->f_hz[i * step];
    if (!status) status = tune_loop_margins(out, &loop, err);
    free(feature_hz);
    free(zeta);
    return status;
}

/* ---- crossings ----------------------------------------------------------------------------------*/

/* Std of either part of ln L. */
static double part_std(const struct measured_curve *curve, double f_hz, double gain)
{
    return measured_curve_std(curve, f_hz) / (sqrt(2.0) * gain);
}

static struct tune_measured_crossing gain_crossing(const struct measured_curve *curve, double f_hz,
                                                   double phase_rad)
{
    const double complex slope = measured_curve_slope(curve, f_hz);
    const double e = part_std(curve, f_hz, 1.0);
    return (struct tune_measured_crossing){
        .f_hz = {f_hz, f_hz * e / fabs(creal(slope))},
        .margin = {phase_rad + TUNE_PI, e * hypot(1.0, cimag(slope) / creal(slope))}};
}

static struct tune_measured_crossing phase_crossing(const struct measured_curve *curve, double f_hz,
                                                    double gain)
{
    const double complex slope = measured_curve_slope(curve, f_hz);
    const double e = part_std(curve, f_hz, gain);
    return (struct tune_measured_crossing){
        .of_phase = true,
        .f_hz = {f_hz, f_hz * e / fabs(cimag(slope))},
        .margin = {1.0 / gain, e / gain * hypot(1.0, creal(slope) / cimag(slope))}};
}

/* Of (phase - -pi)/(2 pi f), both moved by the same error. */
static double delay_std(const struct measured_curve *curve, double f_hz, double distance_rad)
{
    const double complex slope = measured_curve_slope(curve, f_hz);
    const double e = part_std(curve, f_hz, 1.0);
    const double by_size = (cimag(slope) - distance_rad) / creal(slope);
    return e * hypot(1.0, by_size) / (2.0 * TUNE_PI * f_hz);
}

static int by_frequency(const void *a, const void *b)
{
    const struct tune_measured_crossing *x = a, *y = b;
    return (x->f_hz.value > y->f_hz.value) - (x->f_hz.value < y->f_hz.value);
}

static void take_crossings(struct tune_measured_margins *out, const struct tune_margins *m,
                           const struct measured_curve *curve)
{
    for (size_t i = 0; i < m->n_gain_crossings; i++)
        out->crossing[out->n_crossings++] =
            gain_crossing(curve, m->gain_crossing_hz[i], m->gain_crossing_phase_rad[i]);
    for (size_t i = 0; i < m->n_phase_crossings; i++) {
        const double f_hz = m->phase_crossing_hz[i], gain = m->phase_crossing_gain[i];
        if (gain < least_sure * measured_curve_std(curve, f_hz))
            out->n_unsure++;
        else
            out->crossing[out->n_crossings++] = phase_crossing(curve, f_hz, gain);
    }
    qsort(out->crossing, out->n_crossings, sizeof *out->crossing, by_frequency);
}

/* ---- the worst ----------------------------------------------------------------------------------*/

static void take_gain_margin(struct tune_estimate *out, double *out_hz, double margin, double at_hz,
                             bool rise, const struct measured_curve *curve)
{
    *out = (struct tune_estimate){margin, (double)NAN};
    *out_hz = at_hz;
    if (isnan(at_hz)) return;
    const double gain = rise ? 1.0 / margin : margin;
    const struct tune_measured_crossing at = phase_crossing(curve, at_hz, gain);
    out->std = rise ? at.margin.std : at.margin.std * gain * gain;
    if (gain >= least_sure * measured_curve_std(curve, at_hz)) return;
    *out = (struct tune_estimate){(double)INFINITY, (double)NAN};
    *out_hz = (double)NAN;
}

static void take_worst(struct tune_measured_margins *out, const struct tune_margins *m,
                       const struct measured_curve *curve)
{
    double least_s = (double)INFINITY;
    take_gain_margin(&out->gain_margin, &out->gain_margin_hz, m->gain_margin, m->gain_margin_hz,
                     true, curve);
    take_gain_margin(&out->gain_reduction_margin, &out->gain_reduction_margin_hz,
                     m->gain_reduction_margin, m->gain_reduction_margin_hz, false, curve);
    out->phase_margin_rad = (struct tune_estimate){m->phase_margin_rad, (double)NAN};
    out->phase_margin_hz = m->phase_margin_hz;
    out->delay_margin_s = (struct tune_estimate){m->delay_margin_s, (double)NAN};
    for (size_t i = 0; i < m->n_gain_crossings; i++) {
        const double f_hz = m->gain_crossing_hz[i];
        const double distance = m->gain_crossing_phase_rad[i] + TUNE_PI;
        const double turn = distance > 0.0 ? distance : distance + 2.0 * TUNE_PI;
        if (f_hz == m->phase_margin_hz)
            out->phase_margin_rad.std =
                gain_crossing(curve, f_hz, m->gain_crossing_phase_rad[i]).margin.std;
        if (turn / f_hz >= least_s) continue;
        least_s = turn / f_hz;
        out->delay_margin_s.std = delay_std(curve, f_hz, turn);
    }
    /* |S| = 1/|1 + L|, and the std of |1 + L| is that of one part of L */
    out->sens_peak = (struct tune_estimate){
        m->sens_peak,
        m->sens_peak * m->sens_peak * measured_curve_std(curve, m->sens_peak_hz) / sqrt(2.0)};
    out->sens_peak_hz = m->sens_peak_hz;
    out->sens_peak_at_end =
        m->sens_peak_hz <= out->band_hz[0] || m->sens_peak_hz >= out->band_hz[1];
}

enum tune_status tune_measured_margins(struct tune_measured_margins *out,
                                       const struct tune_loop_table *table, struct tune_error *err)
{
    struct tune_margins *margins = malloc(sizeof *margins);
    struct measured_curve curve = {0};
    enum tune_status status =
        margins ? check(table, err) : tune_error_memory(err, "looking at a measured loop");
    memset(out, 0, sizeof *out);
    if (!status) status = measured_curve_init(&curve, table, err);
    if (!status) status = find_margins(margins, table, &curve, err);
    if (!status) {
        out->points = table->n;
        out->band_hz[0] = table->f_hz[0];
        out->band_hz[1] = table->f_hz[table->n - 1];
        take_crossings(out, margins, &curve);
        take_worst(out, margins, &curve);
        measured_take_grazing(out, &curve);
        measured_find_coarse(out, &curve, table);
    }
    measured_curve_free(&curve);
    free(margins);
    return status;
}
