/* identify.c - from sweep logs to the plant at every pointing.
 *
 * The logs of one pointing are read, judged and estimated one after the other and their lines put
 * together; the pointings run side by side.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/identify.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/chain_internal.h"
#include "chain/health_internal.h"
#include "chain/progress_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "results/tables.h"
#include "spectrum/psd.h"

/* What one pointing is made of, and what it leaves besides the result. */
struct pointing_work {
    const struct tune_log_entry **log; /* [n_logs] its sweeps, in the order of the logbook */
    size_t n_logs;
    size_t *rows; /* [n_logs] */
    struct tune_notes notes;
    struct chain_file frf, model;
};

struct identification_work {
    const struct chain *chain;
    size_t n;
    struct pointing_work *pointing;     /* [n] */
    struct tune_pointing_plant *result; /* [n] */
    struct progress progress;
};

/* ---- choosing -----------------------------------------------------------------------------------*/

static struct pointing_work *find_pointing(struct identification_work *work, const char *name)
{
    for (size_t i = 0; i < work->n; i++)
        if (!strcmp(work->pointing[i].log[0]->pointing, name)) return &work->pointing[i];
    return NULL;
}

static enum tune_status add_log(struct identification_work *work, const struct tune_log_entry *log,
                                size_t room, struct tune_error *err)
{
    struct pointing_work *pointing = find_pointing(work, log->pointing);
    if (!pointing) {
        pointing = &work->pointing[work->n];
        pointing->log = calloc(room, sizeof *pointing->log);
        pointing->rows = calloc(room, sizeof *pointing->rows);
        work->n++;
    }
    if (!pointing->log || !pointing->rows) return tune_error_memory(err, "choosing sweeps");
    pointing->log[pointing->n_logs++] = log;
    return TUNE_OK;
}

/* The sweeps of the job. --log chooses among sweeps only where it names one: `verify --log tracking`
 * is no reason to identify nothing. */
static enum tune_status choose(struct identification_work *work, const struct chain *chain,
                               struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    bool named = false;
    enum tune_status status = TUNE_OK;
    work->pointing = calloc(logbook->n_logs + 1, sizeof *work->pointing);
    if (!work->pointing) return tune_error_memory(err, "choosing sweeps");
    for (size_t i = 0; i < logbook->n_logs; i++)
        named = named || (logbook->log[i].kind == TUNE_LOG_SWEEP &&
                          chain_log_named(chain, &logbook->log[i]));
    for (size_t i = 0; !status && i < logbook->n_logs; i++) {
        const struct tune_log_entry *log = &logbook->log[i];
        if (log->kind != TUNE_LOG_SWEEP || !chain_pointing_chosen(chain, log->pointing)) continue;
        if (named && !chain_log_named(chain, log)) continue;
        status = add_log(work, log, logbook->n_logs, err);
    }
    if (status || work->n > 0) return status;
    tune_error_set(err, TUNE_EDATA,
                   "there is no sweep to identify the axis from: take one at each pointing that "
                   "matters and give it kind = sweep");
    tune_error_place(err, logbook->ini_path, 0, 0);
    return TUNE_EDATA;
}

static void free_work(struct identification_work *work)
{
    for (size_t i = 0; work->pointing && i < work->n; i++) {
        free(work->pointing[i].log);
        free(work->pointing[i].rows);
        free(work->pointing[i].frf.text);
        free(work->pointing[i].model.text);
    }
    free(work->pointing);
    free(work);
}

static enum tune_status provenance(struct tune_provenance *out, const struct chain *chain,
                                   const struct identification_work *work, struct tune_error *err)
{
    enum tune_status status = chain_provenance(out, chain, TUNE_SCHEMA_IDENTIFY, err);
    for (size_t i = 0; i < work->n; i++)
        for (size_t k = 0; !status && k < work->pointing[i].n_logs; k++)
            status = chain_add_log(out, chain, work->pointing[i].log[k], 0, err);
    if (!status)
        status = tune_provenance_add_option(out, err, "torque_limit_nm", "%.15g",
                                            chain->logbook.drive.torque_limit_nm);
    return status;
}

/* ---- one pointing -------------------------------------------------------------------------------*/

static double mean_square(const double *x, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * x[i];
    return sum / (double)n;
}

/* Mean square of the white noise in the position, rad^2 per sample. The slow course of the record is
 * taken off first, or its leakage would reach the band looked at. */
static enum tune_status sensor_noise(double *square, const struct tune_record *rec,
                                     struct tune_error *err)
{
    const size_t tapers = 6;
    const double from = 0.3 * rec->rate_hz, to = 0.48 * rec->rate_hz;
    struct tune_psd psd = {0};
    double *error = NULL, sum = 0.0;
    size_t n = 0;
    enum tune_status status = chain_tracking_error(&error, rec, err);
    if (!status) status = chain_remove_line(error, rec->n, rec->rate_hz, err);
    if (!status) status = tune_psd_multitaper(&psd, error, rec->n, rec->rate_hz, tapers, err);
    for (size_t i = 0; !status && i < psd.n; i++) {
        const double f_hz = (double)i * psd.df_hz;
        if (f_hz < from || f_hz > to) continue;
        sum += psd.power[i];
        n++;
    }
    *square = n ? 0.5 * rec->rate_hz * sum / (double)n : (double)NAN;
    tune_psd_free(&psd);
    free(error);
    return status;
}

/* What the logs of one pointing add up to. */
struct sums {
    double torque_square, noise_square;
};

static enum tune_status estimate_log(struct tune_frf *frf, struct tune_lines *lines,
                                     struct pointing_work *pointing, const struct chain *chain,
                                     size_t k, struct sums *sums, struct tune_error *err)
{
    double noise_square = 0.0;
    const struct tune_log_entry *log = pointing->log[k];
    const struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_record rec;
    enum tune_status status = chain_read_log(&rec, chain, log, err);
    if (!status) status = tune_record_require(&rec, TUNE_ROLE_POSITION, log->file, err);
    if (!status) status = tune_record_require(&rec, TUNE_ROLE_TORQUE, log->file, err);
    if (!status) status = chain_require_health(&pointing->notes, chain, log, &rec, err);
    if (!status) status = tune_frf_estimate(frf, lines, &rec, &opts, err);
    if (!status) status = sensor_noise(&noise_square, &rec, err);
    if (!status) {
        pointing->rows[k] = rec.n;
        sums->torque_square += mean_square(rec.channel[TUNE_ROLE_TORQUE], rec.n);
        sums->noise_square += noise_square;
    }
    tune_record_free(&rec);
    return chain_blame_log(chain, log, status, err);
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

/* Every log of the pointing, estimated and put together. */
static enum tune_status estimate_all(struct tune_frf *frf, struct tune_lines *lines,
                                     struct tune_pointing_plant *out,
                                     struct pointing_work *pointing, const struct chain *chain,
                                     struct progress_item *watch, struct tune_error *err)
{
    struct sums sums = {0.0, 0.0};
    enum tune_status status = estimate_log(frf, lines, pointing, chain, 0, &sums, err);
    for (size_t k = 1; !status && k < pointing->n_logs; k++) {
        struct tune_frf more_frf = {0};
        struct tune_lines more_lines = {0};
        status =
            progress_stage(watch, "reading", 0.3 * (double)k / (double)pointing->n_logs, 0.3, err);
        if (!status) status = estimate_log(&more_frf, &more_lines, pointing, chain, k, &sums, err);
        if (!status) status = tune_frf_append(frf, &more_frf, err);
        if (!status) status = tune_lines_append(lines, &more_lines, err);
        tune_frf_free(&more_frf);
        tune_lines_free(&more_lines);
    }
    out->torque_rms_nm = sqrt(sums.torque_square / (double)pointing->n_logs);
    out->sensor_noise_arcsec =
        tune_arcsec_from_rad(sqrt(sums.noise_square / (double)pointing->n_logs));
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

/* What the reader should doubt. */
static void doubts(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    if (out->estimator == TUNE_FRF_DIRECT && out->closed_loop)
        tune_notes_add(&pointing->notes,
                       "Pointing %s: the injected signal was not logged, so the response is biased "
                       "wherever the loop answers to disturbances; log it.",
                       out->name);
    if (!(out->median_coherence > 0.9))
        tune_notes_add(&pointing->notes,
                       "Pointing %s: median coherence only %.3f; sweep longer or harder.",
                       out->name, out->median_coherence);
    if (!(out->fit.reduced_chi_square < 2.0))
        tune_notes_add(&pointing->notes,
                       "Pointing %s: the model misses the data by more than noise explains "
                       "(reduced chi-square %.2f); its uncertainties are too small.",
                       out->name, out->fit.reduced_chi_square);
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

static enum tune_status identify_one(void *user, size_t item, struct tune_error *err)
{
    struct identification_work *work = user;
    struct pointing_work *pointing = &work->pointing[item];
    struct tune_pointing_plant *out = &work->result[item];
    const double loop_rate_hz = work->chain->logbook.drive.loop_rate_hz;
    const struct tune_fit_opts opts = tune_fit_defaults(loop_rate_hz);
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    struct progress_item watch;
    enum tune_status status;

    (void)snprintf(out->name, sizeof out->name, "%s", pointing->log[0]->pointing);
    out->angle_deg = pointing->log[0]->angle_deg;
    out->n_logs = pointing->n_logs;
    progress_item(&watch, &work->progress, item, out->name);
    status = progress_stage(&watch, "reading", 0.0, 0.3, err);
    if (!status) status = estimate_all(&frf, &lines, out, pointing, work->chain, &watch, err);
    if (!status) status = check_sign(&frf, pointing->log[0], err);
    if (!status) status = progress_stage(&watch, "fitting", 0.3, 1.0, err);
    if (!status) {
        status = tune_fit_plant(&out->fit, &frf, &lines, &opts, &watch.watch, err);
    }
    status = chain_blame_log(work->chain, pointing->log[0], status, err);
    if (!status) {
        out->bins = frf.n;
        memcpy(out->band_hz, frf.band_hz, sizeof out->band_hz);
        out->estimator = frf.estimator;
        out->closed_loop = frf.closed_loop;
        out->median_coherence = median(frf.coh, frf.n);
        doubts(pointing, out);
        status = tables(out, pointing, &frf, err);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    if (!status) status = tune_watch_tick(&watch.watch, "done", 1.0, err);
    return status;
}

/* ---- all of them --------------------------------------------------------------------------------*/

static void note_left_out(struct tune_identification *out, const struct chain *chain)
{
    for (size_t i = 0; i < chain->logbook.n_logs; i++)
        if (chain->logbook.log[i].kind == TUNE_LOG_RESPONSE)
            tune_notes_add(
                &out->notes,
                "Log %s holds a table of responses; this version identifies from records "
                "only and leaves it out.",
                chain->logbook.log[i].name);
}

static enum tune_status write_all(struct tune_identification *out, const struct chain *chain,
                                  struct identification_work *work, struct tune_error *err)
{
    struct chain_file *file = calloc(2 * work->n, sizeof *file);
    enum tune_status status;
    if (!file) return tune_error_memory(err, "writing the responses");
    for (size_t i = 0; i < work->n; i++) {
        file[2 * i] = work->pointing[i].frf;
        file[2 * i + 1] = work->pointing[i].model;
        tune_notes_join(&out->notes, &work->pointing[i].notes);
        for (size_t k = 0; k < work->pointing[i].n_logs; k++)
            chain_set_rows(&out->provenance, work->pointing[i].log[k]->file,
                           work->pointing[i].rows[k]);
    }
    chain_note_signs(&out->notes, &chain->logbook);
    note_left_out(out, chain);
    status = chain_write(out, chain, &chain_identify_kind, file, 2 * work->n, err);
    free(file);
    return status;
}

static enum tune_status identify_all(struct tune_identification *out, const struct chain *chain,
                                     struct identification_work *work, struct tune_error *err)
{
    enum tune_status status;
    out->pointing = calloc(work->n, sizeof *out->pointing);
    if (!out->pointing) return tune_error_memory(err, "identifying");
    out->n_pointings = work->n;
    work->chain = chain;
    work->result = out->pointing;
    progress_start(&work->progress, chain->job->watch, work->n, 0.0, 1.0);
    status = tune_workers_run(work->n, chain->job->threads, identify_one, work, err);
    if (!status) status = write_all(out, chain, work, err);
    return status;
}

enum tune_status tune_chain_identify(struct tune_identification *out, const struct tune_job *job,
                                     struct tune_error *err)
{
    struct identification_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    struct chain chain;
    bool fresh = false;
    enum tune_status status = chain_open(&chain, job, err);

    memset(out, 0, sizeof *out);
    if (!status && !work) status = tune_error_memory(err, "identifying");
    if (!status) status = choose(work, &chain, err);
    if (!status) status = provenance(&now, &chain, work, err);
    if (!status) status = chain_reuse(out, &fresh, &chain, &chain_identify_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = identify_all(out, &chain, work, err);
    }
    if (status) tune_identification_free(out);
    tune_provenance_free(&now);
    if (work) free_work(work);
    chain_close(&chain);
    return status;
}
