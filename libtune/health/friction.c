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
static const double more = 1.15, distinct = 5.0;

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

/* Mean over each band of the logarithm of the noise's one-sided power, and its variance. A mean of the power
 * itself would be that of the lowest frequencies: a soft loop lets it fall by 300 from 4 to 12 Hz. */
struct noise {
    bool known[TUNE_NOISE_BANDS];
    double level[TUNE_NOISE_BANDS], var[TUNE_NOISE_BANDS];
};

/* ln of a chi square of 2 q degrees over its mean: expectation -1/(2 q), variance 1/q + 1/(2 q^2), to
 * second order in 1/q. */
static double log_bias(double q)
{
    return -0.5 / q;
}
static double log_variance(double q)
{
    return 1.0 / q + 0.5 / (q * q);
}

/* Y regressed on D, which is 0 for a quiet log: the transient alone is left then. */
static enum tune_status noise_in_band(struct noise *out, int band, const double complex *D,
                                      const double complex *Y, size_t n, double rate_hz, bool sweep,
                                      struct tune_error *err)
{
    const double *hz = tune_noise_band_hz[band],
                 windows = 2.0 * (double)tune_lpm_defaults().half_width + 1.0;
    const struct tune_lpm_opts opts = tune_lpm_defaults();
    const double q = windows - (sweep ? 2.0 : 1.0) * (double)(opts.order + 1);
    const size_t first = (size_t)ceil(hz[0] * (double)n / rate_hz);
    const size_t last = (size_t)(hz[1] * (double)n / rate_hz);
    struct tune_lpm lpm;
    out->known[band] = false;
    if (first <= opts.half_width || last + opts.half_width >= n / 2 ||
        last < first + STRIDE * ESTIMATES_LEAST)
        return TUNE_OK;
    const size_t m = (last - first) / STRIDE + 1;
    size_t *bin = malloc(m * sizeof *bin);
    if (!bin) return tune_error_memory(err, "comparing a sweep with the quiet log");
    for (size_t i = 0; i < m; i++)
        bin[i] = first + i * STRIDE;
    const enum tune_status status =
        tune_lpm_estimate(&lpm, D, &Y, 1, n / 2 + 1, bin, m, &opts, err);
    free(bin);
    if (status) return status;
    out->known[band] = true;
    out->level[band] = log(2.0 / ((double)n * rate_hz)) - log_bias(q);
    for (size_t i = 0; i < m; i++) {
        out->known[band] = out->known[band] && creal(lpm.cov_v[i]) > 0.0;
        if (out->known[band]) out->level[band] += log(creal(lpm.cov_v[i])) / (double)m;
    }
    /* estimates that share bins are alike: as many are independent as the band has windows */
    out->var[band] = log_variance(q) * windows / (double)(last - first + 1);
    tune_lpm_free(&lpm);
    return TUNE_OK;
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
    for (int band = 0; band < TUNE_NOISE_BANDS && !status; band++)
        status = noise_in_band(out, band, D, Y, n, rec->rate_hz, sweep, err);
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
        if (!sweep.known[band] || !calm.known[band]) continue;
        ratio->value = exp(sweep.level[band] - calm.level[band]);
        ratio->std = ratio->value * sqrt(sweep.var[band] + calm.var[band]);
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
