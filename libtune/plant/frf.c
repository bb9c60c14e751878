/* frf.c - frequency response of the plant: the estimator that fits the record; joining results.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/frf.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/frf_internal.h"

enum { SAMPLES_MIN = 64 };

struct tune_frf_opts tune_frf_defaults(void)
{
    return (struct tune_frf_opts){
        .lpm = tune_lpm_defaults(), .output = TUNE_ROLE_POSITION, .stride = 8};
}

const char *tune_frf_estimator_name(enum tune_frf_estimator estimator)
{
    static const char *const name[] = {
        [TUNE_FRF_INDIRECT] = "indirect local polynomial",
        [TUNE_FRF_DIRECT] = "direct local polynomial",
        [TUNE_FRF_PERIODIC] = "mean over periods",
    };
    if ((unsigned)estimator >= sizeof name / sizeof *name) return "unknown estimator";
    return name[estimator];
}

double complex tune_frf_turn(double cycles)
{
    const double phase = 2.0 * TUNE_PI * cycles;
    return CMPLX(cos(phase), sin(phase));
}

void tune_frf_advance(double complex *X, size_t bins, double scale, double delay)
{
    const bool late = delay > 0.0 || delay < 0.0;
    for (size_t k = 0; k < bins; k++)
        X[k] *= late ? scale * tune_frf_turn((double)k * delay) : scale;
}

/* e = (Vy - G Vu)/U to first order */
double tune_frf_ratio_variance(double complex g, double complex u, const struct tune_noise *noise)
{
    const double gain2 = pow(cabs(g), 2.0);
    const double var = noise->yy + gain2 * noise->uu - 2.0 * creal(conj(g) * noise->yu);
    return fmax(var, 0.0) / pow(cabs(u), 2.0);
}

static enum tune_status check_options(const struct tune_frf_opts *opts, struct tune_error *err)
{
    const double *band = opts->band_hz;
    if (opts->stride < 1)
        return tune_error_set(err, TUNE_EINVAL, "a stride of 0 bins between estimates");
    if (opts->output != TUNE_ROLE_POSITION && opts->output != TUNE_ROLE_LOAD_POSITION &&
        opts->output != TUNE_ROLE_SKY)
        return tune_error_set(err, TUNE_EINVAL, "the %s cannot be the plant's output",
                              tune_role_name(opts->output));
    if (!(band[0] >= 0.0 &&
          (band[1] > band[0] || (band[0] <= 0.0 && band[1] >= 0.0 && band[1] <= 0.0))))
        return tune_error_set(err, TUNE_EINVAL,
                              "a band from %g to %g Hz: it rises, or is 0 to 0 for the excited one",
                              band[0], band[1]);
    return TUNE_OK;
}

static enum tune_status check_record(const struct tune_record *rec,
                                     const struct tune_frf_opts *opts, struct tune_error *err)
{
    const enum tune_role needed[] = {TUNE_ROLE_TORQUE, opts->output};
    for (int i = 0; i < 2; i++)
        if (!rec->channel[needed[i]]) {
            tune_error_set(err, TUNE_EDATA,
                           "the log has no %s: name its column in the log's section",
                           tune_role_name(needed[i]));
            tune_error_about(err, tune_role_name(needed[i]), "not logged", NULL);
            return TUNE_EDATA;
        }
    if (!(rec->rate_hz > 0.0))
        return tune_error_set(err, TUNE_EDATA, "the log has no sampling rate");
    if (rec->n < SAMPLES_MIN)
        return tune_error_set(err, TUNE_EDATA,
                              "%zu rows are too few for a frequency response: record at least %d",
                              rec->n, SAMPLES_MIN);
    return TUNE_OK;
}

enum tune_status tune_frf_estimate(struct tune_frf *out, struct tune_lines *lines,
                                   const struct tune_record *rec, const struct tune_frf_opts *opts,
                                   struct tune_error *err)
{
    struct tune_excerpt excerpt = {0};
    struct tune_periods periods = {0};
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (lines) memset(lines, 0, sizeof *lines);
    status = check_options(opts, err);
    if (!status) status = check_record(rec, opts, err);
    if (!status) status = tune_excerpt_take(&excerpt, rec, opts->output, err);
    if (!status) status = tune_frf_find_periods(&periods, &excerpt, err);
    if (!status)
        status = periods.periods ? tune_frf_periodic(out, lines, &excerpt, &periods, opts, err)
                                 : tune_frf_sweep(out, lines, &excerpt, opts, err);
    tune_excerpt_free(&excerpt);
    if (status) {
        tune_frf_free(out);
        if (lines) tune_lines_free(lines);
    }
    return status;
}

/* ---- storage ---------------------------------------------------------------------------------- */

enum tune_status tune_frf_allocate(struct tune_frf *frf, size_t n, struct tune_error *err)
{
    frf->n = n;
    frf->f_hz = calloc(n, sizeof *frf->f_hz);
    frf->g = calloc(n, sizeof *frf->g);
    frf->std = calloc(n, sizeof *frf->std);
    frf->coh = calloc(n, sizeof *frf->coh);
    frf->dof = calloc(n, sizeof *frf->dof);
    if (frf->f_hz && frf->g && frf->std && frf->coh && frf->dof) return TUNE_OK;
    tune_frf_free(frf);
    return tune_error_memory(err, "storing a frequency response");
}

enum tune_status tune_lines_allocate(struct tune_lines *lines, size_t n, struct tune_error *err)
{
    lines->n = n;
    lines->f_hz = calloc(n, sizeof *lines->f_hz);
    lines->u = calloc(n, sizeof *lines->u);
    lines->y = calloc(n, sizeof *lines->y);
    lines->var_y = calloc(n, sizeof *lines->var_y);
    lines->var_u = calloc(n, sizeof *lines->var_u);
    lines->cov_yu = calloc(n, sizeof *lines->cov_yu);
    if (lines->f_hz && lines->u && lines->y && lines->var_y && lines->var_u && lines->cov_yu)
        return TUNE_OK;
    tune_lines_free(lines);
    return tune_error_memory(err, "storing spectral lines");
}

/* Merge by rising frequency, a's element first where they are equal: take(user, k, from_b, i). */
static void merge(const double *fa, size_t na, const double *fb, size_t nb,
                  void (*take)(void *user, size_t k, bool from_b, size_t i), void *user)
{
    size_t i = 0, j = 0;
    while (i < na || j < nb) {
        const bool from_b = i == na || (j < nb && fb[j] < fa[i]);
        take(user, i + j, from_b, from_b ? j : i);
        if (from_b)
            j++;
        else
            i++;
    }
}

struct frf_merge {
    struct tune_frf *out;
    const struct tune_frf *of[2];
};

static void take_frf(void *user, size_t k, bool from_b, size_t i)
{
    const struct frf_merge *m = user;
    const struct tune_frf *of = m->of[from_b];
    m->out->f_hz[k] = of->f_hz[i];
    m->out->g[k] = of->g[i];
    m->out->std[k] = of->std[i];
    m->out->coh[k] = of->coh[i];
    m->out->dof[k] = of->dof[i];
}

enum tune_status tune_frf_append(struct tune_frf *a, const struct tune_frf *b,
                                 struct tune_error *err)
{
    struct tune_frf both = a->n ? *a : *b; /* estimator and band; the arrays are replaced */
    struct frf_merge m = {&both, {a, b}};
    if (!b->n) return TUNE_OK;
    const enum tune_status status = tune_frf_allocate(&both, a->n + b->n, err);
    if (status) return status;
    merge(a->f_hz, a->n, b->f_hz, b->n, take_frf, &m);
    both.band_hz[0] = fmin(both.band_hz[0], b->band_hz[0]);
    both.band_hz[1] = fmax(both.band_hz[1], b->band_hz[1]);
    both.closed_loop = both.closed_loop || b->closed_loop;
    tune_frf_free(a);
    *a = both;
    return TUNE_OK;
}

struct lines_merge {
    struct tune_lines *out;
    const struct tune_lines *of[2];
};

static void take_line(void *user, size_t k, bool from_b, size_t i)
{
    const struct lines_merge *m = user;
    const struct tune_lines *of = m->of[from_b];
    m->out->f_hz[k] = of->f_hz[i];
    m->out->u[k] = of->u[i];
    m->out->y[k] = of->y[i];
    m->out->var_y[k] = of->var_y[i];
    m->out->var_u[k] = of->var_u[i];
    m->out->cov_yu[k] = of->cov_yu[i];
}

enum tune_status tune_lines_append(struct tune_lines *a, const struct tune_lines *b,
                                   struct tune_error *err)
{
    struct tune_lines both = a->n ? *a : *b;
    struct lines_merge m = {&both, {a, b}};
    if (!b->n) return TUNE_OK;
    const enum tune_status status = tune_lines_allocate(&both, a->n + b->n, err);
    if (status) return status;
    merge(a->f_hz, a->n, b->f_hz, b->n, take_line, &m);
    tune_lines_free(a);
    *a = both;
    return TUNE_OK;
}

void tune_frf_free(struct tune_frf *frf)
{
    free(frf->f_hz);
    free(frf->g);
    free(frf->std);
    free(frf->coh);
    free(frf->dof);
    memset(frf, 0, sizeof *frf);
}

void tune_lines_free(struct tune_lines *lines)
{
    free(lines->f_hz);
    free(lines->u);
    free(lines->y);
    free(lines->var_y);
    free(lines->var_u);
    free(lines->cov_yu);
    memset(lines, 0, sizeof *lines);
}
