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
#include "chain/simulate_internal.h"
#include "core/workers.h"
#include "results/file.h"

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
        status = chain_simulated_path(path, work, "controllers",
                                      work->description.log[work->log[i]].name, ".ini", err);
        if (!status) status = tune_file_write(path, text, size, err);
    }
    free(text);
    return status;
}

/* ---- axis.ini -----------------------------------------------------------------------------------*/

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
        if (!status) status = chain_append_payload(&text, &description->sensors, err);
    }
    for (size_t i = 0; !status && i < work->n; i++) {
        const struct tune_simulated_log *log = &description->log[work->log[i]];
        status = chain_append_log(&text, log, &description->pointing[log->pointing],
                                  &work->truth[i], work->own_controller, err);
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
    status = tune_workers_run(work->n, work->job->threads, chain_simulate_log, work, err);
    if (!status) status = write_gains(work, err);
    if (!status) status = chain_write_truth(out, work, err);
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
