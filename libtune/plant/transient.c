/* transient.c - the fit of records that neither begin nor end at rest: rounds, covariance.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/transient.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plant/dense_internal.h"
#include "plant/frf_internal.h"
#include "plant/transient_internal.h"

/* Each round subtracts T and fits. A step is quadratic in what is still wrong: resonances blurred by a tenth
 * come out right to parts in 1e4 after three. */
enum { ROUNDS = 3 };

/* Of ln B/J, as in the fit: within a factor e^1.5. */
static const double DRAG_WEIGHT = 0.5 / (1.5 * 1.5);

struct rounds {
    size_t n;
    struct tune_transient *record;                      /* [n] */
    double *hessian, *lost, *gradient, *inverse, *step; /* [p x p], [p] */
};

static void rounds_free(struct rounds *r)
{
    for (size_t i = 0; r->record && i < r->n; i++)
        tune_transient_free(&r->record[i]);
    free(r->record);
    free(r->hessian);
    free(r->lost);
    free(r->gradient);
    free(r->inverse);
    free(r->step);
    memset(r, 0, sizeof *r);
}

static enum tune_status rounds_init(struct rounds *r, const struct tune_fit *fit,
                                    struct tune_lines *const *record, size_t n,
                                    struct tune_error *err)
{
    const size_t p = fit->n_params;
    enum tune_status status = TUNE_OK;
    r->n = n;
    r->record = calloc(n, sizeof *r->record);
    r->hessian = calloc(p * p, sizeof *r->hessian);
    r->lost = calloc(p * p, sizeof *r->lost);
    r->gradient = calloc(p, sizeof *r->gradient);
    r->inverse = calloc(p * p, sizeof *r->inverse);
    r->step = calloc(p, sizeof *r->step);
    if (!r->record || !r->hessian || !r->lost || !r->gradient || !r->inverse || !r->step)
        status = tune_error_memory(err, "fitting what a record began with");
    for (size_t i = 0; !status && i < n; i++)
        status = tune_transient_init(&r->record[i], record[i], &fit->plant, p, err);
    if (status) rounds_free(r);
    return status;
}

/* The inverse of the information less `lost` times what the unknown c take, the prior of the drag with
 * it. */
static void invert(struct rounds *r, size_t p, double lost, double *scratch)
{
    for (size_t i = 0; i < p * p; i++)
        scratch[i] = r->hessian[i] - lost * r->lost[i];
    scratch[p + 1] += DRAG_WEIGHT;
    tune_spd_inverse(r->inverse, scratch, p);
}

/* Information of all records at the fit, and the step of theta that goes with the best c. */
static enum tune_status gather(struct rounds *r, const struct tune_fit *fit, bool first,
                               struct tune_error *err)
{
    const size_t p = fit->n_params;
    double *scratch = calloc(p * p, sizeof *scratch);
    enum tune_status status = TUNE_OK;
    if (!scratch) return tune_error_memory(err, "fitting what a record began with");
    for (size_t i = 0; !status && i < r->n; i++)
        status =
            tune_transient_gather(&r->record[i], r->hessian, r->lost, r->gradient, fit, first, err);
    invert(r, p, 1.0, scratch);
    for (size_t i = 0; i < p; i++) {
        r->step[i] = 0.0;
        for (size_t j = 0; j < p; j++)
            r->step[i] += r->inverse[i * p + j] * r->gradient[j];
    }
    free(scratch);
    return status;
}

/* The fit took every c for known: add what it costs that they are not, at the fit's own level of noise. */
static enum tune_status widen(struct tune_fit *fit, struct rounds *r, const double band_hz[2],
                              struct tune_error *err)
{
    const size_t p = fit->n_params;
    const double drag = fit->covariance[p + 1];
    double *known = calloc(2 * p * p, sizeof *known), level = 0.0;
    if (!known) return tune_error_memory(err, "fitting what a record began with");
    invert(r, p, 0.0, known + p * p);
    memcpy(known, r->inverse, p * p * sizeof *known);
    invert(r, p, 1.0, known + p * p);
    for (size_t i = 0; i < p; i++)
        level += log(fit->covariance[i * (p + 1)] / known[i * (p + 1)]) / (double)p;
    level = isfinite(level) ? exp(level) : 1.0;
    for (size_t i = 0; i < p * p; i++)
        fit->covariance[i] += level * (r->inverse[i] - known[i]);
    free(known);

    fit->viscous_prior_share = fmin(fit->viscous_prior_share * fit->covariance[p + 1] / drag, 1.0);
    return tune_fit_estimates(fit, band_hz, err);
}

static enum tune_status fit_again(struct tune_fit *out, const struct tune_frf *frf,
                                  struct tune_lines *const *record, size_t n,
                                  const struct tune_fit_opts *opts, struct tune_error *err)
{
    struct tune_lines all = {0};
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < n; i++)
        status = tune_lines_append(&all, record[i], err);
    if (!status) status = tune_fit_plant(out, frf, &all, opts, NULL, err);
    if (status == TUNE_ENOSOL && opts->from) {
        struct tune_fit_opts anew = *opts;
        anew.from = NULL;
        status = tune_fit_plant(out, frf, &all, &anew, NULL, err);
    }
    tune_lines_free(&all);
    return status;
}

/* One round: T at the fit so far, subtracted; a new fit that begins there. In the last only the covariance. */
static enum tune_status one_round(struct tune_fit *fit, int round, const struct tune_frf *frf,
                                  struct tune_lines *const *record, size_t n,
                                  const struct tune_fit_opts *opts, struct tune_error *err)
{
    struct rounds r = {0};
    struct tune_fit next = {0};
    struct tune_fit_opts from = *opts;
    enum tune_status status = rounds_init(&r, fit, record, n, err);
    if (!status) status = gather(&r, fit, round == 0, err);
    if (!status && round == ROUNDS) status = widen(fit, &r, frf->band_hz, err);
    for (size_t i = 0; !status && round < ROUNDS && i < n; i++)
        tune_transient_subtract(&r.record[i], r.step, &fit->plant);
    if (!status && round < ROUNDS) {
        const struct tune_plant plant = fit->plant;
        from.from = round == 1
                        ? NULL
                        : &plant; /* half-way once more from nothing: blurred lines breed modes */
        from.rough = round + 1 < ROUNDS;
        status = fit_again(&next, frf, record, n, &from, err);
        if (!status) {
            /* the search was the first fit's, which the caller still has */
            next.start = fit->start;
            memcpy(next.whittle, fit->whittle, sizeof next.whittle);
            if (round > 0) tune_fit_free(fit);
            *fit = next;
        }
    }
    rounds_free(&r);
    return status;
}

/* The record's lines become all its raw ones. */
static enum tune_status take_raw(struct tune_lines *lines, struct tune_error *err)
{
    struct tune_lines all;
    const enum tune_status status = tune_lines_clone(&all, lines->raw, err);
    if (status) return status;
    all.raw = lines->raw;
    lines->raw = NULL;
    tune_lines_free(lines);
    *lines = all;
    return TUNE_OK;
}

enum tune_status tune_fit_transients(struct tune_fit *fit, const struct tune_frf *frf,
                                     struct tune_lines *const *record, size_t n_records,
                                     const struct tune_fit_opts *opts,
                                     const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_fit first = *fit;
    enum tune_status status = TUNE_OK;
    bool any = false;
    for (size_t i = 0; !status && i < n_records; i++) {
        if (!record[i]->raw) continue;
        any = true;
        status = take_raw(record[i], err);
    }
    for (int round = 0; !status && any && round <= ROUNDS; round++) {
        status = tune_watch_tick(watch, "fitting again", (double)round / (ROUNDS + 1), err);
        if (!status) status = one_round(fit, round, frf, record, n_records, opts, err);
    }
    if (fit->covariance == first.covariance) return status;
    tune_fit_free(status ? fit : &first);
    if (status) *fit = first;
    return status;
}
