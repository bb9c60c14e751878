/* friction.c - does the sweep make more noise than there is without it?
 *
 * Friction that changes sign with the motion answers a sweep with torques at all frequencies, which no
 * linear response explains: they stay in the residual of the local regression. Without a sweep, under the
 * same gains, the position has only the disturbance's noise. Source of the residual: R. Pintelon and J. Schoukens,
 * System Identification, 2nd ed. 2012, ch. 7.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"
#include "spectrum/fft.h"
#include "spectrum/lpm.h"

const double tune_noise_band_hz[TUNE_NOISE_BANDS][2] = {{1.3, 4.0}, {4.0, 12.0}};

enum { STRIDE = 8, ESTIMATES_LEAST = 4 };

/* So much more, and so many std more, is no chance. Wind may differ between the logs: hence with care. */
static const double more = 1.15, distinct = 6.0;

/* position - target, or the position, less its straight line through the ends' tenths, [n]. */
static enum tune_status error_of(double **out, const struct tune_record *rec, size_t n,
                                 struct tune_error *err)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION], *target = rec->channel[TUNE_ROLE_TARGET];
    double *e = malloc(n * sizeof *e), front = 0.0, rear = 0.0;
    const size_t tenth = n / 10;
    *out = e;
    if (!e) return tune_error_memory(err, "comparing a sweep with the quiet log");
    for (size_t k = 0; k < n; k++)
        e[k] = target ? x[k] - target[k] : x[k] - x[0];
    for (size_t k = 0; k < tenth; k++) {
        front += e[k] / (double)tenth;
        rear += e[n - 1 - k] / (double)tenth;
    }
    const double slope = (rear - front) / (double)(n - tenth);
    for (size_t k = 0; k < n; k++)
        e[k] -= front + slope * ((double)k - 0.5 * (double)tenth);
    return TUNE_OK;
}

static enum tune_status transform(double complex **X, const double *x, size_t n,
                                  struct tune_error *err)
{
    *X = malloc((n / 2 + 1) * sizeof **X);
    if (!*X) return tune_error_memory(err, "comparing a sweep with the quiet log");
    return tune_fft_real(*X, x, n, err);
}

/* Mean one-sided power of the noise in each band, and its equivalent degrees of freedom. */
struct noise {
    double power[TUNE_NOISE_BANDS], dof[TUNE_NOISE_BANDS];
};

/* Y regressed on D (NULL: on nothing but the local polynomial, the transient). */
static enum tune_status noise_in_bands(struct noise *out, const double complex *D,
                                       const double complex *Y, size_t n, double rate_hz,
                                       struct tune_error *err)
{
    const double complex *const output[] = {Y};
    const size_t bins = n / 2 + 1;
    const struct tune_lpm_opts opts = tune_lpm_defaults();
    enum tune_status status = TUNE_OK;
    for (int band = 0; band < TUNE_NOISE_BANDS && !status; band++) {
        size_t first = (size_t)ceil(tune_noise_band_hz[band][0] * (double)n / rate_hz);
        size_t last = (size_t)(tune_noise_band_hz[band][1] * (double)n / rate_hz);
        struct tune_lpm lpm;
        out->power[band] = out->dof[band] = 0.0;
        if (first < opts.half_width + 1) first = opts.half_width + 1;
        if (last + opts.half_width + 1 >= bins || last < first + STRIDE * ESTIMATES_LEAST) continue;
        const size_t m = (last - first) / STRIDE + 1;
        size_t *bin = malloc(m * sizeof *bin);
        if (!bin) return tune_error_memory(err, "comparing a sweep with the quiet log");
        for (size_t i = 0; i < m; i++)
            bin[i] = first + i * STRIDE;
        status = tune_lpm_estimate(&lpm, D, output, 1, bins, bin, m, &opts, err);
        free(bin);
        if (status) return status;
        for (size_t i = 0; i < m; i++)
            out->power[band] += creal(lpm.cov_v[i]) / (double)m;
        out->power[band] *= 2.0 / ((double)n * rate_hz);
        /* residuals of estimates STRIDE bins apart share bins: as many are independent as the band has
         * windows */
        out->dof[band] =
            (double)(last - first + 1) * (double)lpm.dof / (2.0 * (double)opts.half_width + 1.0);
        tune_lpm_free(&lpm);
    }
    return status;
}

static enum tune_status measure(struct noise *out, const struct tune_record *rec, bool sweep,
                                struct tune_error *err)
{
    const size_t n = tune_fft_good_length(rec->n);
    double *e = NULL;
    double complex *Y = NULL, *D = NULL;
    enum tune_status status = error_of(&e, rec, n, err);
    if (!status) status = transform(&Y, e, n, err);
    if (!status && sweep) status = transform(&D, rec->channel[TUNE_ROLE_EXCITATION], n, err);
    if (!status && !sweep && !(D = calloc(n / 2 + 1, sizeof *D)))
        status = tune_error_memory(err, "comparing a sweep with the quiet log");
    if (!status) status = noise_in_bands(out, D, Y, n, rec->rate_hz, err);
    free(e);
    free(Y);
    free(D);
    return status;
}

enum tune_status health_check_friction(struct health_case *c, struct tune_error *err)
{
    const struct tune_record *quiet = c->opts->quiet;
    struct noise sweep, calm;
    int worst = -1;
    if (!c->opts->sweep || !quiet || !c->rec->channel[TUNE_ROLE_EXCITATION] ||
        !quiet->channel[TUNE_ROLE_POSITION] || quiet->n < 1000 || c->rec->n < 1000)
        return TUNE_OK;
    enum tune_status status = measure(&sweep, c->rec, true, err);
    if (!status) status = measure(&calm, quiet, false, err);
    for (int band = 0; band < TUNE_NOISE_BANDS && !status; band++) {
        struct tune_estimate *ratio = &c->out->measures.noise_ratio[band];
        if (!(sweep.dof[band] > 0.0) || !(calm.dof[band] > 0.0) || !(calm.power[band] > 0.0))
            continue;
        ratio->value = sweep.power[band] / calm.power[band];
        ratio->std = ratio->value * sqrt(1.0 / sweep.dof[band] + 1.0 / calm.dof[band]);
        /* the scatter that a ratio of 1 would have */
        if (ratio->value < fmax(more, 1.0 + distinct * ratio->std / ratio->value)) continue;
        if (worst < 0 || ratio->value > c->out->measures.noise_ratio[worst].value) worst = band;
    }
    if (status || worst < 0) return status;
    const struct tune_estimate ratio = c->out->measures.noise_ratio[worst];
    health_add(
        c, "friction-suspected", TUNE_WITH_CARE, 0, ratio.value,
        "sweep on a faster ramp, so that the axis never turns back, and compare again; see whether "
        "there was more wind",
        "from %.3g to %.3g Hz the position has %.3g +- %.2g times the noise power of the quiet "
        "log: "
        "friction, or more wind",
        tune_noise_band_hz[worst][0], tune_noise_band_hz[worst][1], ratio.value, ratio.std);
    return TUNE_OK;
}
