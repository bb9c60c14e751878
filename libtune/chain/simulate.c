/* simulate.c - a logbook from a simulated axis.
 *
 * Every log is one run of the axis in closed loop, with its own stream of the seed, so that a log comes
 * out the same whichever others are made with it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/simulate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/ini_writer_internal.h"
#include "chain/log_writer_internal.h"
#include "chain/progress_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "excite/sweep.h"
#include "jitter/tracking.h"
#include "logbook/description.h"
#include "results/file.h"
#include "simulation/axis.h"

static const double settle_s = 20.0; /* run before the log starts: the soft loop comes to rest */

struct simulation_work {
    const struct tune_simulation_job *job;
    struct tune_description description;
    struct tune_controller controller;
    uint64_t seed;
    size_t *log; /* [n] chosen logs, as indices of the description */
    size_t n;
    struct tune_truth_log *truth; /* [n] */
    struct tune_logbook existing;
    bool exists;
    bool own_controller; /* the gains differ from those axis.ini states */
    struct progress progress;
};

/* ---- one run ------------------------------------------------------------------------------------*/

/* Commands of one log; the ramp passes the pointing's angle at half time. */
struct commands {
    size_t n;
    double *target_rad, *excitation_nm;
};

static void free_commands(struct commands *commands)
{
    free(commands->target_rad);
    free(commands->excitation_nm);
}

static enum tune_status make_commands(struct commands *out, const struct tune_simulated_log *log,
                                      double angle_deg, double rate_hz, struct tune_error *err)
{
    const bool sweep = log->kind == TUNE_LOG_SWEEP;
    memset(out, 0, sizeof *out);
    out->n = sweep ? tune_sweep_samples(&log->sweep) : (size_t)lround(log->duration_s * rate_hz);
    out->target_rad = calloc(out->n + 1, sizeof *out->target_rad);
    out->excitation_nm = calloc(out->n + 1, sizeof *out->excitation_nm);
    if (!out->target_rad || !out->excitation_nm) return tune_error_memory(err, "simulating a log");
    for (size_t i = 0; i < out->n; i++)
        out->target_rad[i] =
            tune_rad_from_deg(angle_deg) +
            log->ramp_rad_per_s * ((double)i - 0.5 * (double)(out->n - 1)) / rate_hz;
    return sweep ? tune_sweep_fill(out->excitation_nm, &log->sweep, err) : TUNE_OK;
}

static double rms_about_line(const double *x, const double *from, size_t n, double rate_hz,
                             double *scratch)
{
    struct tune_tracking tracking;
    for (size_t i = 0; i < n; i++)
        scratch[i] = x[i] - from[i];
    if (tune_tracking_measure(&tracking, scratch, n, rate_hz, NULL)) return (double)NAN;
    return tune_arcsec_from_rad(tracking.rms_rad);
}

static enum tune_status tell_truth(struct tune_truth_log *out, const struct tune_axis_trace *trace,
                                   const struct commands *commands, double rate_hz,
                                   struct tune_error *err)
{
    double sum = 0.0, *scratch = malloc((trace->n + 1) * sizeof *scratch);
    if (!scratch) return tune_error_memory(err, "simulating a log");
    out->rows = trace->n;
    out->duration_s = (double)trace->n / rate_hz;
    out->true_rms_arcsec =
        rms_about_line(trace->true_rad, commands->target_rad, trace->n, rate_hz, scratch);
    out->measured_rms_arcsec =
        rms_about_line(trace->position_rad, commands->target_rad, trace->n, rate_hz, scratch);
    out->sky_rms_arcsec =
        rms_about_line(trace->sky_rad, commands->target_rad, trace->n, rate_hz, scratch);
    for (size_t i = 0; i < trace->n; i++)
        sum += trace->torque_nm[i] * trace->torque_nm[i];
    out->torque_rms_nm = sqrt(sum / (double)trace->n);
    out->saturated_fraction = (double)trace->saturated / (double)trace->n;
    free(scratch);
    return TUNE_OK;
}

static enum tune_status run_axis(struct tune_axis_trace *out, const struct simulation_work *work,
                                 size_t log, const struct commands *commands,
                                 struct progress_item *watch, struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_axis axis = tune_description_axis(&work->description, entry->pointing);
    const double rate_hz = axis.plant.loop_rate_hz;
    const struct tune_axis_run run = {
        .n = commands->n,
        .target_rad = commands->target_rad,
        .excitation_nm = commands->excitation_nm,
        .controller = &work->controller,
        .start_rad = commands->n ? commands->target_rad[0] : 0.0,
        .start_rad_per_s = entry->ramp_rad_per_s,
        .seed = work->seed,
        .stream = log,
        .settle = (size_t)lround(settle_s * rate_hz),
    };
    enum tune_status status = tune_axis_simulate(out, &axis, &run, &watch->watch, err);
    if (status || !out->diverged) return status;
    tune_error_set(err, TUNE_ENOSOL, "the loop ran away: these gains do not hold the axis");
    tune_error_about(err, "log", entry->name, NULL);
    return TUNE_ENOSOL;
}

static enum tune_status log_path(char out[TUNE_PATH_LENGTH], const struct simulation_work *work,
                                 const char *folder, const char *name, const char *ending,
                                 struct tune_error *err)
{
    const int length =
        snprintf(out, TUNE_PATH_LENGTH, "%s/%s/%s%s", work->job->folder, folder, name, ending);
    if (length > 0 && length < TUNE_PATH_LENGTH) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL, "the name of the folder is too long");
}

static enum tune_status write_trace(const struct simulation_work *work, size_t log,
                                    const struct tune_axis_trace *trace,
                                    const struct commands *commands, double rate_hz,
                                    struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct simulated_columns columns = {
        .n = trace->n,
        .rate_hz = rate_hz,
        .excitation_nm = commands->excitation_nm,
        .torque_nm = trace->torque_nm,
        .position_rad = trace->position_rad,
        .target_rad = commands->target_rad,
        .sky_rad = entry->log_sky ? trace->sky_rad : NULL,
    };
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = log_path(path, work, "logs", entry->name, ".csv.gz", err);
    return status ? status : chain_write_log(path, &columns, err);
}

static enum tune_status simulate_one(void *user, size_t item, struct tune_error *err)
{
    struct simulation_work *work = user;
    const size_t log = work->log[item];
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_pointing_entry *pointing = &work->description.pointing[entry->pointing];
    const double rate_hz = work->description.axis.plant.loop_rate_hz;
    struct tune_truth_log *truth = &work->truth[item];
    struct commands commands;
    struct tune_axis_trace trace = {0};
    struct progress_item watch;
    enum tune_status status;

    progress_item(&watch, &work->progress, item, entry->name);
    (void)snprintf(truth->name, sizeof truth->name, "%s", entry->name);
    (void)snprintf(truth->pointing, sizeof truth->pointing, "%s", pointing->name);
    truth->kind = entry->kind;
    truth->seed = work->seed;
    status = make_commands(&commands, entry, pointing->angle_deg, rate_hz, err);
    if (!status) status = progress_stage(&watch, "simulating", 0.0, 0.7, err);
    if (!status) status = run_axis(&trace, work, log, &commands, &watch, err);
    if (!status) status = progress_stage(&watch, "writing", 0.7, 1.0, err);
    if (!status) status = tell_truth(truth, &trace, &commands, rate_hz, err);
    if (!status) status = write_trace(work, log, &trace, &commands, rate_hz, err);
    free_commands(&commands);
    tune_axis_trace_free(&trace);
    if (!status) status = tune_watch_tick(&watch.watch, "written", 1.0, err);
    return status;
}

/* ---- what is there already ----------------------------------------------------------------------*/

static enum tune_status open_existing(struct simulation_work *work, struct tune_error *err)
{
    const struct tune_logbook *own = &work->description.logbook, *there = &work->existing;
    char path[TUNE_PATH_LENGTH];
    struct stat info;
    enum tune_status status;
    const int length = snprintf(path, sizeof path, "%s/axis.ini", work->job->folder);
    if (length < 0 || (size_t)length >= sizeof path)
        return tune_error_set(err, TUNE_EINVAL, "the name of the folder is too long");
    if (stat(path, &info) != 0) return TUNE_OK;
    status = tune_logbook_read(&work->existing, path, err);
    if (status) return status;
    work->exists = true;
    if (!strcmp(own->axis.site, there->axis.site) && !strcmp(own->axis.name, there->axis.name) &&
        !strcmp(own->axis.configuration, there->axis.configuration) &&
        fabs(own->drive.loop_rate_hz - there->drive.loop_rate_hz) < 1e-9)
        return TUNE_OK;
    tune_error_set(err, TUNE_EINVAL,
                   "the folder holds the logbook of another axis; choose another folder");
    tune_error_place(err, path, 0, 0);
    return TUNE_EINVAL;
}

static enum tune_status check_new(const struct simulation_work *work, const char *name,
                                  struct tune_error *err)
{
    for (size_t i = 0; work->exists && i < work->existing.n_logs; i++) {
        if (strcmp(work->existing.log[i].name, name) != 0) continue;
        tune_error_set(err, TUNE_EINVAL,
                       "the logbook has a log of this name already; choose another folder, or "
                       "--log NAME for the logs still missing");
        tune_error_place(err, work->existing.ini_path, work->existing.log[i].line, 0);
        tune_error_about(err, "log", name, NULL);
        return TUNE_EINVAL;
    }
    return TUNE_OK;
}

static enum tune_status choose_log(struct simulation_work *work, const char *name,
                                   struct tune_error *err)
{
    for (size_t i = 0; i < work->description.n_logs; i++) {
        if (strcmp(work->description.log[i].name, name) != 0) continue;
        for (size_t k = 0; k < work->n; k++)
            if (work->log[k] == i) return TUNE_OK;
        work->log[work->n++] = i;
        return check_new(work, name, err);
    }
    tune_error_set(err, TUNE_EINVAL, "the description has no log of this name");
    tune_error_place(err, work->job->description, 0, 0);
    tune_error_about(err, "log", name, NULL);
    return TUNE_EINVAL;
}

static enum tune_status choose(struct simulation_work *work, struct tune_error *err)
{
    const struct tune_description *description = &work->description;
    enum tune_status status = TUNE_OK;
    work->log = calloc(description->n_logs + 1, sizeof *work->log);
    work->truth = calloc(description->n_logs + 1, sizeof *work->truth);
    if (!work->log || !work->truth) return tune_error_memory(err, "choosing logs");
    if (work->job->n_logs == 0)
        for (size_t i = 0; !status && i < description->n_logs; i++)
            status = choose_log(work, description->log[i].name, err);
    for (size_t i = 0; !status && i < work->job->n_logs; i++)
        status = choose_log(work, work->job->log[i], err);
    if (!status && work->n == 0)
        status = tune_error_set(err, TUNE_EDATA, "the description has no logs to simulate");
    return status;
}

/* ---- gains --------------------------------------------------------------------------------------*/

static enum tune_status same_gains(bool *same, const struct tune_controller *a,
                                   const struct tune_controller *b, struct tune_error *err)
{
    char *x = NULL, *y = NULL;
    enum tune_status status = tune_controller_text(&x, a, NULL, err);
    if (!status) status = tune_controller_text(&y, b, NULL, err);
    *same = !status && !strcmp(x, y);
    free(x);
    free(y);
    return status;
}

/* The gains the loop is closed with, and whether axis.ini will state others. */
static enum tune_status choose_gains(struct simulation_work *work, struct tune_error *err)
{
    const struct tune_logbook *stated = work->exists ? &work->existing : &work->description.logbook;
    const double rate_hz = work->description.logbook.drive.loop_rate_hz;
    bool same = false;
    enum tune_status status = TUNE_OK;
    if (work->job->controller) {
        status = tune_controller_read(&work->controller, work->job->controller, rate_hz, err);
    } else if (work->description.logbook.has_controller) {
        work->controller = work->description.logbook.controller;
    } else {
        status = tune_error_set(err, TUNE_EDATA,
                                "there are no gains to close the loop with: give --controller "
                                "FILE or a section [controller] in the description");
        tune_error_place(err, work->job->description, 0, 0);
    }
    if (!status && stated->has_controller)
        status = same_gains(&same, &work->controller, &stated->controller, err);
    work->own_controller = work->job->controller != NULL || !same;
    return status;
}

/* A given file is copied byte for byte; gains of the description are written out. */
static enum tune_status write_gains(const struct simulation_work *work, struct tune_error *err)
{
    char folder[TUNE_PATH_LENGTH], path[TUNE_PATH_LENGTH], *text = NULL;
    size_t size = 0;
    enum tune_status status;
    if (!work->own_controller) return TUNE_OK;
    (void)snprintf(folder, sizeof folder, "%.*s/controllers", TUNE_PATH_LENGTH - 16,
                   work->job->folder);
    status = tune_folder_make(folder, err);
    if (!status)
        status = work->job->controller ? tune_file_read(&text, &size, work->job->controller, err)
                                       : tune_controller_text(&text, &work->controller, NULL, err);
    if (!status && !work->job->controller) size = strlen(text);
    for (size_t i = 0; !status && i < work->n; i++) {
        status = log_path(path, work, "controllers", work->description.log[work->log[i]].name,
                          ".ini", err);
        if (!status) status = tune_file_write(path, text, size, err);
    }
    free(text);
    return status;
}

/* ---- truth.json and axis.ini --------------------------------------------------------------------*/

static enum tune_status start_truth(struct tune_truth *out, const struct simulation_work *work,
                                    struct tune_error *err)
{
    const struct tune_description *description = &work->description;
    const struct tune_axis_entry *axis = &description->logbook.axis;
    const char *slash = strrchr(work->job->description, '/');
    char name[sizeof out->provenance.logbook], hash[TUNE_SHA256_TEXT];
    enum tune_status status = tune_sha256_file(hash, work->job->description, err);
    (void)snprintf(name, sizeof name, "%s, %s, %s", axis->site, axis->name, axis->configuration);
    tune_provenance_start(&out->provenance, TUNE_SCHEMA_TRUTH, name);
    if (!status)
        status = tune_provenance_add_input(
            &out->provenance, slash ? slash + 1 : work->job->description, hash, 0, err);
    out->axis = description->axis;
    out->pointing = calloc(description->n_pointings + 1, sizeof *out->pointing);
    if (!status && !out->pointing) status = tune_error_memory(err, "telling the truth");
    if (status) return status;
    out->n_pointings = description->n_pointings;
    for (size_t i = 0; i < out->n_pointings; i++) {
        struct tune_truth_pointing *pointing = &out->pointing[i];
        (void)snprintf(pointing->name, sizeof pointing->name, "%s", description->pointing[i].name);
        pointing->angle_deg = description->pointing[i].angle_deg;
        pointing->plant = tune_description_axis(description, i).plant;
    }
    return TUNE_OK;
}

/* What an earlier simulate told about logs that are still there. */
static enum tune_status earlier_truth(struct tune_truth *out, const char *path,
                                      struct tune_error *err)
{
    char *text = NULL;
    size_t size = 0;
    struct stat info;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (stat(path, &info) != 0) return TUNE_OK;
    status = tune_file_read(&text, &size, path, err);
    if (!status) status = tune_truth_parse(out, path, text, size, err);
    free(text);
    return status;
}

static enum tune_status gather_logs(struct tune_truth *out, const struct simulation_work *work,
                                    const struct tune_truth *earlier, struct tune_error *err)
{
    const size_t before = work->exists ? earlier->n_logs : 0;
    out->log = calloc(before + work->n + 1, sizeof *out->log);
    if (!out->log) return tune_error_memory(err, "telling the truth");
    for (size_t i = 0; i < before; i++)
        out->log[out->n_logs++] = earlier->log[i];
    for (size_t i = 0; i < work->n; i++)
        out->log[out->n_logs++] = work->truth[i];
    return TUNE_OK;
}

static enum tune_status write_truth(struct tune_truth *out, const struct simulation_work *work,
                                    struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH], *text = NULL;
    struct tune_truth *earlier = calloc(1, sizeof *earlier);
    enum tune_status status = earlier ? TUNE_OK : tune_error_memory(err, "telling the truth");
    (void)snprintf(path, sizeof path, "%.*s/truth.json", TUNE_PATH_LENGTH - 16, work->job->folder);
    if (!status) status = start_truth(out, work, err);
    if (!status) status = earlier_truth(earlier, path, err);
    if (!status) status = gather_logs(out, work, earlier, err);
    if (!status) status = tune_truth_json(&text, out, err);
    if (!status) status = tune_file_write(path, text, strlen(text), err);
    free(text);
    if (earlier) tune_truth_free(earlier);
    free(earlier);
    return status;
}

/* The result is read back before it is written: a logbook nobody can read is worse than none. */
static enum tune_status write_ini(const struct simulation_work *work, struct tune_error *err)
{
    const struct tune_description *description = &work->description;
    char path[TUNE_PATH_LENGTH], *source = NULL, *text = NULL;
    struct tune_logbook check;
    size_t size = 0;
    enum tune_status status;
    (void)snprintf(path, sizeof path, "%.*s/axis.ini", TUNE_PATH_LENGTH - 16, work->job->folder);
    status = tune_file_read(&source, &size, work->exists ? path : work->job->description, err);
    if (!status && work->exists) {
        text = source;
        source = NULL;
    } else if (!status) {
        status = chain_logbook_head(&text, source, err);
    }
    for (size_t i = 0; !status && i < work->n; i++) {
        const struct tune_simulated_log *log = &description->log[work->log[i]];
        status = chain_append_log(&text, log, &description->pointing[log->pointing],
                                  work->own_controller, err);
    }
    if (!status) {
        status = tune_logbook_parse(&check, path, text, strlen(text), err);
        if (!status) tune_logbook_free(&check);
    }
    if (!status) status = tune_file_write(path, text, strlen(text), err);
    free(source);
    free(text);
    return status;
}

/* ---- the whole ----------------------------------------------------------------------------------*/

static enum tune_status make_folders(const struct simulation_work *work, struct tune_error *err)
{
    char folder[TUNE_PATH_LENGTH];
    (void)snprintf(folder, sizeof folder, "%.*s/logs", TUNE_PATH_LENGTH - 16, work->job->folder);
    return tune_folder_make(folder, err);
}

static enum tune_status simulate_all(struct tune_truth *out, struct simulation_work *work,
                                     struct tune_error *err)
{
    int lock = -1;
    enum tune_status status = make_folders(work, err);
    if (!status) status = tune_folder_lock(&lock, work->job->folder, 0.0, err);
    if (status) return status;
    progress_start(&work->progress, work->job->watch, work->n, 0.0, 1.0);
    status = tune_workers_run(work->n, work->job->threads, simulate_one, work, err);
    if (!status) status = write_gains(work, err);
    if (!status) status = write_truth(out, work, err);
    if (!status) status = write_ini(work, err);
    tune_folder_release(lock);
    return status;
}

enum tune_status tune_chain_simulate(struct tune_truth *out, const struct tune_simulation_job *job,
                                     struct tune_error *err)
{
    struct simulation_work *work = calloc(1, sizeof *work);
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (!work) return tune_error_memory(err, "simulating");
    work->job = job;
    status = tune_description_read(&work->description, job->description, err);
    if (!status) work->seed = job->has_seed ? job->seed : work->description.seed;
    if (!status) status = open_existing(work, err);
    if (!status) status = choose(work, err);
    if (!status) status = choose_gains(work, err);
    if (!status) status = simulate_all(out, work, err);
    if (status) tune_truth_free(out);
    tune_logbook_free(&work->existing);
    tune_description_free(&work->description);
    free(work->log);
    free(work->truth);
    free(work);
    return status;
}
