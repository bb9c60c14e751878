/* simulated_log.c - one run of the axis, written as a log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/simulate_internal.h"
#include "chain/simulated_columns_internal.h"
#include "chain/simulated_trouble_internal.h"
#include "core/units.h"
#include "excite/sweep.h"
#include "jitter/tracking.h"
#include "simulation/axis.h"

static const double settle_s = 20.0; /* run before the log starts: the soft loop comes to rest */

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

/* One after the other, the first part of the log quiet, half a second of silence after each. */
static void fill_tones(double *excitation_nm, size_t n, const struct tune_simulated_log *log,
                       double rate_hz)
{
    const size_t part = n / (log->n_tones + 1), silence = (size_t)(0.5 * rate_hz);
    for (size_t k = 0; k < log->n_tones; k++)
        for (size_t i = 0; i + silence < part; i++)
            excitation_nm[(k + 1) * part + i] =
                log->tone_nm[k] * sin(2.0 * TUNE_PI * log->tone_hz[k] * (double)i / rate_hz);
}

static enum tune_status make_commands(struct commands *out, const struct tune_simulated_log *log,
                                      double angle_deg, double rate_hz, struct tune_error *err)
{
    const bool sweep = log->kind == TUNE_LOG_SWEEP;
    struct tune_sweep swept = log->sweep;
    enum tune_status status = TUNE_OK;
    memset(out, 0, sizeof *out);
    chain_trouble_sweep(&swept, &log->trouble);
    out->n = sweep ? tune_sweep_samples(&swept) : (size_t)lround(log->duration_s * rate_hz);
    out->target_rad = calloc(out->n + 1, sizeof *out->target_rad);
    out->excitation_nm = calloc(out->n + 1, sizeof *out->excitation_nm);
    if (!out->target_rad || !out->excitation_nm) return tune_error_memory(err, "simulating a log");
    for (size_t i = 0; i < out->n; i++)
        out->target_rad[i] =
            tune_rad_from_deg(angle_deg) +
            (log->kind == TUNE_LOG_TURN
                 ? tune_turn_target(&log->motion, (double)i / rate_hz)
                 : log->ramp_rad_per_s * ((double)i - 0.5 * (double)(out->n - 1)) / rate_hz);
    if (sweep) status = tune_sweep_fill(out->excitation_nm, &swept, err);
    fill_tones(out->excitation_nm, out->n, log, rate_hz);
    for (size_t i = 0; log->trouble.excitation_scaled && i < out->n; i++)
        out->excitation_nm[i] *= log->trouble.excitation_scale;
    return status;
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

/* The axis of a log, with the troubles that act in it. */
static struct tune_axis run_as(const struct simulation_work *work, size_t log)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    struct tune_axis axis = tune_description_axis(&work->description, entry->pointing);
    chain_trouble_axis(&axis, entry, &work->description.logbook.drive);
    return axis;
}

static enum tune_status run_axis(struct tune_axis_trace *out, const struct simulation_work *work,
                                 size_t log, const struct commands *commands,
                                 struct progress_item *watch, struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_axis axis = run_as(work, log);
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

enum tune_status chain_simulated_path(char out[TUNE_PATH_LENGTH],
                                      const struct simulation_work *work, const char *sub,
                                      const char *name, const char *ending, struct tune_error *err)
{
    const int length =
        snprintf(out, TUNE_PATH_LENGTH, "%s/%s/%s%s", work->job->folder, sub, name, ending);
    if (length > 0 && length < TUNE_PATH_LENGTH) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL, "the name of the folder is too long");
}

/* Of the payload's motion what its sensors read; their noise is a stream of its own. */
static void read_sensors(struct written_log *written, const struct tune_simulated_sensors *sensors,
                         uint64_t seed, size_t log, double rate_hz)
{
    const double accel_std = sensors->accel_noise_m_per_s2_per_rthz * sqrt(0.5 * rate_hz);
    double *angle = written->channel[TUNE_ROLE_LOAD_POSITION];
    double *accel = written->channel[TUNE_ROLE_PAYLOAD_ACCEL];
    struct tune_random rng;
    tune_random_init(&rng, ~seed, 4 * log);
    for (size_t i = 0; angle && i < written->n; i++)
        angle[i] += sensors->load_noise_rad * tune_random_normal(&rng);
    tune_random_init(&rng, ~seed, 4 * log + 1);
    for (size_t i = 0; accel && i < written->n; i++)
        accel[i] = sensors->accel_arm_m * accel[i] + accel_std * tune_random_normal(&rng);
}

/* Its random numbers are a stream of their own: wind and noise of the run stay what they are. */
static enum tune_status trouble_log(struct written_log *written, struct tune_truth_log *truth,
                                    const struct simulation_work *work,
                                    const struct trouble_case *c, size_t log,
                                    struct tune_error *err)
{
    struct tune_random rng;
    enum tune_status status;
    tune_random_init(&rng, work->seed, 4 * log + 3);
    status = chain_trouble_columns(written, c, &rng, err);
    if (status) return status;
    chain_tell_troubles(truth, c, written);
    return chain_trouble_rows(written, &c->log->trouble, c->rate_hz, &rng, err);
}

static enum tune_status write_trace(const struct simulation_work *work, size_t log,
                                    struct tune_truth_log *truth,
                                    const struct tune_axis_trace *trace,
                                    const struct commands *commands, double rate_hz,
                                    struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_drive_entry *drive = &work->description.logbook.drive;
    const struct tune_axis axis = run_as(work, log);
    const struct trouble_case c = {
        .log = entry,
        .axis = &axis,
        .trace = trace,
        .excitation_nm = commands->excitation_nm,
        .stated_limit_nm = work->description.axis.torque_limit_nm,
        .declared_step_rad = work->description.axis.encoder_step_rad,
        .rate_hz = rate_hz,
        .raw_per_rad = chain_position_per_rad(&entry->format, drive),
    };
    struct written_log written;
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = chain_simulated_path(path, work, "logs", entry->name,
                                                   chain_columns_ending(&entry->format), err);
    if (status) return status;
    status = written_log_make(&written, entry, trace, commands->target_rad, commands->excitation_nm,
                              rate_hz, err);
    if (!status) read_sensors(&written, &work->description.sensors, work->seed, log, rate_hz);
    if (!status) status = trouble_log(&written, truth, work, &c, log, err);
    if (!status) status = chain_write_columns(path, &written, &entry->format, drive, err);
    written_log_free(&written);
    return status;
}

static enum tune_status simulate_course(struct simulation_work *work, size_t log,
                                        struct tune_truth_log *truth, struct progress_item *watch,
                                        struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const double angle_deg = work->description.pointing[entry->pointing].angle_deg;
    const double rate_hz = work->description.axis.plant.loop_rate_hz;
    struct commands commands;
    struct tune_axis_trace trace = {0};
    enum tune_status status = make_commands(&commands, entry, angle_deg, rate_hz, err);
    if (!status) status = progress_stage(watch, "simulating", 0.0, 0.7, err);
    if (!status) status = run_axis(&trace, work, log, &commands, watch, err);
    if (!status) status = progress_stage(watch, "writing", 0.7, 1.0, err);
    if (!status) status = tell_truth(truth, &trace, &commands, rate_hz, err);
    if (!status) status = write_trace(work, log, truth, &trace, &commands, rate_hz, err);
    free_commands(&commands);
    tune_axis_trace_free(&trace);
    return status;
}

enum tune_status chain_simulate_log(void *user, size_t item, struct tune_error *err)
{
    struct simulation_work *work = user;
    const size_t log = work->log[item];
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_pointing_entry *pointing = &work->description.pointing[entry->pointing];
    struct tune_truth_log *truth = &work->truth[item];
    struct progress_item watch;
    enum tune_status status;

    progress_item(&watch, &work->progress, item, entry->name);
    (void)snprintf(truth->name, sizeof truth->name, "%s", entry->name);
    (void)snprintf(truth->pointing, sizeof truth->pointing, "%s", pointing->name);
    truth->kind = entry->kind;
    truth->seed = work->seed;
    if (entry->kind == TUNE_LOG_RESPONSE)
        status = chain_simulate_response(work, log, truth, err);
    else
        status = (tune_log_is_motion(entry->kind) ? chain_simulate_motion
                                                  : simulate_course)(work, log, truth, &watch, err);
    if (!status) status = tune_watch_tick(&watch.watch, "written", 1.0, err);
    return status;
}
