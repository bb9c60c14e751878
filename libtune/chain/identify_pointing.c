/* identify_pointing.c - from the sweeps of one pointing to its plant.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "core/units.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "results/tables.h"

static bool is_table(const struct pointing_work *pointing)
{
    return pointing->log[0]->kind == TUNE_LOG_RESPONSE;
}

static int compare_numbers(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(const double *x, size_t n)
{
    double result = (double)NAN, *copy = malloc((n + 1) * sizeof *copy);
    if (copy && n > 0) {
        memcpy(copy, x, n * sizeof *copy);
        qsort(copy, n, sizeof *copy, compare_numbers);
        result = copy[n / 2];
    }
    free(copy);
    return result;
}

/* The records of the pointing put together. */
static enum tune_status join_records(struct tune_frf *frf, struct tune_lines *lines,
                                     struct tune_pointing_plant *out,
                                     struct pointing_work *pointing, struct tune_error *err)
{
    double torque_square = 0.0, noise_square = 0.0;
    const double n = (double)pointing->n_records;
    enum tune_status status = TUNE_OK;
    pointing->unquiet_s = 0.0;
    for (size_t i = 0; !status && i < pointing->n_records; i++) {
        const struct pointing_record *record = &pointing->record[i];
        status = tune_frf_append(frf, &record->frf, err);
        if (!status) status = tune_lines_append(lines, &record->lines, err);
        torque_square += record->torque_rms_nm * record->torque_rms_nm / n;
        noise_square += record->noise_square / n;
        if (record->frf.estimator != TUNE_FRF_PERIODIC && !record->quiet_ends)
            pointing->unquiet_s = pointing->unquiet_s > 0.0
                                      ? fmin(pointing->unquiet_s, record->duration_s)
                                      : record->duration_s;
    }
    out->torque_rms_nm = sqrt(torque_square);
    out->sensor_noise_arcsec = tune_arcsec_from_rad(sqrt(noise_square));
    return status;
}

static enum tune_status tables(struct tune_pointing_plant *out, struct pointing_work *pointing,
                               const struct tune_frf *frf, struct tune_error *err)
{
    const double nyquist_hz = 0.5 * out->fit.plant.loop_rate_hz;
    const double low_hz = 0.5 * frf->band_hz[0];
    const double high_hz = fmin(1.6 * frf->band_hz[1], 0.98 * nyquist_hz);
    enum tune_status status = tune_frf_csv(&pointing->frf.text, frf, err);
    if (!status) status = tune_model_csv(&pointing->model.text, &out->fit, low_hz, high_hz, err);
    if (status) return status;
    (void)snprintf(pointing->frf.name, sizeof pointing->frf.name, "frf-%s.csv", out->name);
    (void)snprintf(pointing->model.name, sizeof pointing->model.name, "model-%s.csv", out->name);
    chain_result_file(&out->frf_file, &pointing->frf);
    chain_result_file(&out->model_file, &pointing->model);
    return TUNE_OK;
}

/* Far below its modes an axis answers a torque with an acceleration of the same sign: G lies left of the
 * imaginary axis. Where it lies right of it over the lowest octave a sign is wrong, or the axis sticks
 * and answers like a spring: either way no gains may be made from it. */
static enum tune_status check_sign(const struct tune_frf *frf, const struct tune_log_entry *log,
                                   struct tune_error *err)
{
    double cosine = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < frf->n && frf->f_hz[i] <= 2.0 * frf->band_hz[0]; i++) {
        if (!(cabs(frf->g[i]) > 0.0)) continue;
        cosine += creal(frf->g[i]) / cabs(frf->g[i]);
        n++;
    }
    if (n == 0 || cosine / (double)n < 0.5) return TUNE_OK;
    tune_error_set(
        err, TUNE_EDATA,
        "at low frequency the position follows the torque as in a spring: a sign is wrong "
        "(torque_sign, position_sign), or the axis sticks and must be swept on a ramp");
    tune_error_about(err, log->name, NULL, NULL);
    return TUNE_EDATA;
}

/* Whoever accepts an unfit log may be left with noise: no gains come from an axis whose inertia is not known
 * to a third (common practice, no source). */
static enum tune_status require_inertia(const struct tune_estimate *inertia, struct tune_error *err)
{
    char value[32], limit[32];
    if (inertia->std <= inertia->value / 3.0) return TUNE_OK;
    tune_error_set(err, TUNE_ENOSOL,
                   "the sweep says nearly nothing of the axis: its inertia comes out as %.3g +- "
                   "%.2g kg m^2",
                   inertia->value, inertia->std);
    (void)snprintf(value, sizeof value, "%.3g kg m^2", inertia->std);
    (void)snprintf(limit, sizeof limit, "at most %.3g", inertia->value / 3.0);
    tune_error_about(err, "std of the inertia", value, limit);
    return TUNE_ENOSOL;
}

/* ---- the fit ------------------------------------------------------------------------------------*/

/* A pointing on the way from its records to its plant. */
struct pointing_fit {
    const struct identification_work *work;
    struct pointing_work *pointing;
    struct tune_pointing_plant *out;
    struct progress_item *watch;
    struct tune_fit_opts opts;
    struct tune_frf frf;
    struct tune_lines lines;
};

static void empty(struct pointing_fit *f)
{
    tune_frf_free(&f->frf);
    tune_lines_free(&f->lines);
}

static bool has_raw_lines(const struct pointing_work *pointing)
{
    for (size_t i = 0; i < pointing->n_records; i++)
        if (pointing->record[i].lines.raw) return true;
    return false;
}

/* Of all records together. */
static enum tune_status fit_records(struct pointing_fit *f, struct tune_error *err)
{
    struct pointing_work *pointing = f->pointing;
    enum tune_status status = join_records(&f->frf, &f->lines, f->out, pointing, err);
    if (!status) status = check_sign(&f->frf, pointing->log[0], err);
    if (!status)
        status =
            progress_stage(f->watch, "fitting", 0.3, pointing->unquiet_s > 0.0 ? 0.5 : 1.0, err);
    if (status) return status;
    f->opts.rough = has_raw_lines(pointing); /* then fitted again */
    status = tune_fit_plant(&f->out->fit, &f->frf, &f->lines, &f->opts, &f->watch->watch, err);
    f->opts.rough = false;
    if (is_table(pointing))
        status = chain_table_check(&f->out->fit, status, &f->frf, &f->lines, &f->opts, pointing,
                                   f->work->chain, err);
    if (!status)
        status = chain_identify_transients(f->out, pointing, &f->frf, &f->opts, f->watch, err);
    return status ? status : require_inertia(&f->out->fit.inertia, err);
}

/* ---- what follows from it -----------------------------------------------------------------------*/

static enum tune_status complete(struct pointing_fit *f, struct tune_error *err)
{
    struct tune_pointing_plant *out = f->out;
    struct pointing_work *pointing = f->pointing;
    const struct chain *chain = f->work->chain;
    enum tune_status status;
    /* on its bound it has none */
    if (out->fit.delay_wanted_s < 0.0) out->fit.delay.std = (double)NAN;
    chain_identify_condition(out, pointing);
    out->n_logs = pointing->n_logs;
    out->bins = f->frf.n;
    memcpy(out->band_hz, f->frf.band_hz, sizeof out->band_hz);
    out->estimator = f->frf.estimator;
    out->closed_loop = f->frf.closed_loop;
    out->median_coherence = median(f->frf.coh, f->frf.n);
    status = chain_identify_levels(out, pointing, err);
    if (!status) status = chain_identify_cross(out, pointing, chain, err);
    if (!status) status = chain_identify_verdicts(out, pointing, chain, err);
    chain_identify_doubts(pointing, out, f->opts.modes);
    if (!status) status = tables(out, pointing, &f->frf, err);
    if (!status) status = chain_identify_sensors(out, pointing, &f->lines, chain, err);
    if (!status && !is_table(pointing)) status = chain_identify_assisted(out, pointing, err);
    return status;
}

/* A pointing that tells too little is no failure of the work while others stand. Asked for a number of modes
 * it is: that may be what does not fit. */
static enum tune_status judge_failure(struct pointing_fit *f, enum tune_status status,
                                      struct tune_error *err)
{
    struct pointing_work *pointing = f->pointing;
    if (!status || f->opts.modes || is_table(pointing)) return status;
    if (status == TUNE_ENOSOL) chain_tell_reasons(err, pointing);
    pointing->failed = status == TUNE_ENOSOL;
    if (status == TUNE_EDATA && pointing->n_records > 0) {
        pointing->failed = true;
        for (size_t i = 0; i < pointing->n_records; i++)
            pointing->failed = pointing->failed && pointing->record[i].too_little;
    }
    if (!pointing->failed) return status;
    pointing->why = *err;
    tune_error_clear(err);
    return TUNE_OK;
}

enum tune_status chain_identify_pointing(void *user, size_t item, struct tune_error *err)
{
    struct identification_work *work = user;
    struct pointing_work *pointing = &work->pointing[item];
    struct progress_item watch;
    struct pointing_fit f = {
        .work = work, .pointing = pointing, .out = &work->result[item], .watch = &watch};
    enum tune_status status;

    f.opts = tune_fit_defaults(work->chain->logbook.drive.loop_rate_hz);
    f.opts.modes = work->chain->job->modes;
    (void)snprintf(f.out->name, sizeof f.out->name, "%s", pointing->log[0]->pointing);
    progress_item(&watch, &work->progress, item, f.out->name);
    status = progress_stage(&watch, "reading", 0.0, 0.3, err);
    if (!status) status = chain_identify_records(pointing, work->chain, &watch, err);
    if (!status) status = fit_records(&f, err);
    status = chain_blame_log(work->chain, pointing->log[0], status, err);
    status = judge_failure(&f, status, err);
    if (!status && !pointing->failed) status = complete(&f, err);
    empty(&f);
    chain_records_free(pointing);
    if (!status) status = tune_watch_tick(&watch.watch, "done", 1.0, err);
    return status;
}
