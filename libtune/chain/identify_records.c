/* identify_records.c - the sweeps of one pointing, each read, judged and estimated.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "chain/health_internal.h"
#include "chain/identify_internal.h"
#include "spectrum/psd.h"

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

/* Rows without excitation at both ends, as the estimate takes them for quiet. */
static bool has_quiet_ends(const struct tune_record *rec)
{
    enum { QUIET_ROWS_MIN = 16 };
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    for (size_t k = 0; d && k < QUIET_ROWS_MIN && k < rec->n; k++)
        if (d[k] != 0.0 || d[rec->n - 1 - k] != 0.0) return false;
    return d != NULL;
}

/* Further angles logged beside: their responses to the same torque. One that cannot be estimated is told
 * and left out; the plant does not rest on it. */
static const enum tune_role further[] = {TUNE_ROLE_LOAD_POSITION, TUNE_ROLE_PAYLOAD_ACCEL,
                                         TUNE_ROLE_SKY};

static enum tune_status estimate_further(struct pointing_record *out,
                                         struct pointing_work *pointing,
                                         const struct tune_record *rec, struct tune_error *err)
{
    struct tune_frf_opts opts = tune_frf_defaults();
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < sizeof further / sizeof *further; i++) {
        struct pointing_output *output = &out->output[out->n_outputs];
        if (!rec->channel[further[i]]) continue;
        opts.output = output->role = further[i];
        status = tune_frf_estimate(&output->frf, &output->lines, rec, &opts, err);
        if (status == TUNE_EDATA) {
            tune_notes_add(&pointing->notes, "Log %s: no response of the %s: %s", out->log->name,
                           tune_role_name(further[i]), err->text);
            status = TUNE_OK;
        } else if (!status) {
            const size_t rows = tune_sensor_hold_rows(rec->channel[further[i]], rec->n);
            output->hold_s = rows > 1 ? (double)rows / rec->rate_hz : 0.0;
            out->n_outputs++;
        }
    }
    return status;
}

static enum tune_status estimate_record(struct pointing_record *out, struct pointing_work *pointing,
                                        const struct chain *chain, const struct tune_record *rec,
                                        struct tune_error *err)
{
    const struct tune_log_entry *log = out->log;
    const struct tune_frf_opts opts = tune_frf_defaults();
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, log->file, err);
    if (!status) status = tune_record_require(rec, TUNE_ROLE_TORQUE, log->file, err);
    if (!status) {
        status = chain_require_judged(&out->health, &pointing->notes, &pointing->accepted, chain,
                                      log, rec, err);
        out->too_little = status == TUNE_EDATA && chain_tells_too_little(chain, &out->health);
    }
    if (!status) {
        status = tune_frf_estimate(&out->frf, &out->lines, rec, &opts, err);
        out->too_little = status == TUNE_EDATA;
    }
    if (!status) status = sensor_noise(&out->noise_square, rec, err);
    if (!status) status = estimate_further(out, pointing, rec, err);
    if (!status) status = chain_record_circumstances(out, pointing, rec, err);
    if (status) return status;
    out->duration_s = (double)rec->n / rec->rate_hz;
    out->quiet_ends = has_quiet_ends(rec);
    out->torque_rms_nm = sqrt(mean_square(rec->channel[TUNE_ROLE_TORQUE], rec->n));
    out->excitation_rms_nm = rec->channel[TUNE_ROLE_EXCITATION]
                                 ? sqrt(mean_square(rec->channel[TUNE_ROLE_EXCITATION], rec->n))
                                 : (double)NAN;
    return TUNE_OK;
}

/* One record: the log where it begins is the one that is blamed. One that tells too little is kept with its
 * error until it is known whether others stand. */
static enum tune_status take_record(struct pointing_work *pointing, struct chain_runs *runs,
                                    struct tune_error *err)
{
    struct pointing_record *out = &pointing->record[pointing->n_records];
    const size_t first = runs->at;
    struct tune_record rec;
    enum tune_status status;
    out->log = pointing->log[first];
    status = chain_run_read(&rec, runs, err);
    if (status) return status;
    out->n_logs = runs->at - first;
    pointing->n_records++;
    status = estimate_record(out, pointing, runs->chain, &rec, err);
    tune_record_free(&rec);
    status = chain_blame_log(runs->chain, out->log, status, err);
    if (!out->too_little) return status;
    out->why = *err;
    tune_error_clear(err);
    return TUNE_OK;
}

enum tune_status chain_identify_records(struct pointing_work *pointing, const struct chain *chain,
                                        struct progress_item *watch, struct tune_error *err)
{
    struct chain_runs runs = {.pointing = pointing, .chain = chain};
    enum tune_status status = TUNE_OK;
    if (pointing->log[0]->kind == TUNE_LOG_RESPONSE)
        return chain_identify_table_records(pointing, chain, err);
    pointing->record = calloc(pointing->n_logs, sizeof *pointing->record);
    if (!pointing->record) return tune_error_memory(err, "estimating responses");
    while (!status && runs.at < pointing->n_logs) {
        status = progress_stage(watch, "reading", 0.3 * (double)runs.at / (double)pointing->n_logs,
                                0.3, err);
        if (!status) status = take_record(pointing, &runs, err);
    }
    tune_record_free(&runs.next);
    return status ? status : chain_leave_out_logs(pointing, err);
}

void chain_record_free(struct pointing_record *record)
{
    tune_frf_free(&record->frf);
    tune_lines_free(&record->lines);
    chain_circumstances_free(record);
    for (size_t k = 0; k < record->n_outputs; k++) {
        tune_frf_free(&record->output[k].frf);
        tune_lines_free(&record->output[k].lines);
    }
}

void chain_records_free(struct pointing_work *pointing)
{
    for (size_t i = 0; i < pointing->n_records; i++)
        chain_record_free(&pointing->record[i]);
    free(pointing->record);
    pointing->record = NULL;
    pointing->n_records = 0;
}
