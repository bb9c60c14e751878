/* simulated_motion.c - the log of a first motion, in the units of the drive.
 *
 * Position and target in counts, torque in amperes (or whatever unit torque_per_unit_nm is for), as the
 * drive has them, whether its settings are right or not. What an engineer measures beside the drive, the
 * angle of a move, a weight and its arm, scatters about the truth by the std stated for it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/log_writer_internal.h"
#include "chain/simulate_internal.h"
#include "core/random.h"
#include "core/units.h"
#include "simulation/drive.h"

static const double settle_s = 20.0;  /* the soft loop comes to rest before the log starts */
static const double rest_s = 0.5;     /* between moves */
static const double astray_deg = 5.0; /* emergency stop */

enum { STEPS_MAX = 512 };

/* What is done, step by step. */
struct course {
    struct tune_drive_step step[STEPS_MAX];
    size_t n;
    double start_rad; /* true angle */
    bool closed;      /* from the start */
};

/* ---- the steps of each kind ----------------------------------------------------------------------*/

static void rest(struct course *course, double duration_s)
{
    course->step[course->n++] =
        (struct tune_drive_step){.kind = TUNE_STEP_REST, .duration_s = duration_s};
}

static void move(struct course *course, double to_rad, double speed_rad_per_s)
{
    course->step[course->n++] = (struct tune_drive_step){
        .kind = TUNE_STEP_MOVE, .to_rad = to_rad, .speed_rad_per_s = speed_rad_per_s};
    rest(course, rest_s);
}

static void torque(struct course *course, double torque_nm, double duration_s)
{
    course->step[course->n++] = (struct tune_drive_step){
        .kind = TUNE_STEP_TORQUE, .torque_nm = torque_nm, .duration_s = duration_s};
}

static void jump(struct course *course, double to_rad)
{
    course->step[course->n++] =
        (struct tune_drive_step){.kind = TUNE_STEP_JUMP, .to_rad = to_rad, .duration_s = 1.0};
}

/* Pairs of opposite pulses bring the axis to rest again; every other pair starts the other way, so
 * that it comes back. */
static void make_pulses(struct course *course, const struct tune_simulated_motion *motion)
{
    course->closed = false;
    torque(course, 0.0, motion->gap_s);
    for (size_t i = 0; i < motion->pulses; i++) {
        const double nm = i % 2 ? -motion->pulse_nm : motion->pulse_nm;
        torque(course, nm, motion->pulse_s);
        torque(course, -nm, motion->pulse_s);
        torque(course, 0.0, motion->gap_s);
    }
}

/* The hand's path is fastest in its middle: 15/8 of the mean speed. */
static void make_hand_move(struct course *course, const struct tune_simulated_motion *motion)
{
    const double to = course->start_rad + motion->way_rad;
    const double turning = 1.875 * fabs(motion->way_rad) / motion->speed_rad_per_s;
    const struct tune_drive_step hand[] = {
        {.kind = TUNE_STEP_HAND, .to_rad = course->start_rad, .duration_s = 2.0 * rest_s},
        {.kind = TUNE_STEP_HAND, .to_rad = to, .duration_s = turning},
        {.kind = TUNE_STEP_HAND, .to_rad = to, .duration_s = 4.0 * rest_s},
    };
    course->closed = false;
    course->n = sizeof hand / sizeof *hand;
    memcpy(course->step, hand, sizeof hand);
}

static void make_move(struct course *course, const struct tune_simulated_motion *motion)
{
    const double to = course->start_rad + motion->way_rad;
    if (motion->by_hand) {
        make_hand_move(course, motion);
        return;
    }
    rest(course, rest_s);
    move(course, to, motion->speed_rad_per_s);
    rest(course, 3.0 * rest_s);
    if (motion->jump_rad > 0.0) jump(course, to - copysign(motion->jump_rad, motion->way_rad));
}

/* A second at full speed before the drive is switched off. */
static void make_coast(struct course *course, const struct tune_simulated_motion *motion)
{
    const double v = motion->speed_rad_per_s, a = motion->acceleration_rad_per_s2;
    rest(course, rest_s);
    course->step[course->n++] =
        (struct tune_drive_step){.kind = TUNE_STEP_FLY,
                                 .to_rad = course->start_rad + v * 1.0 + 0.5 * v * fabs(v) / a,
                                 .speed_rad_per_s = fabs(v)};
    course->step[course->n++] =
        (struct tune_drive_step){.kind = TUNE_STEP_FREE, .duration_s = motion->coast_s};
}

/* There and back about the pointing. */
static void make_passes(struct course *course, const struct tune_simulated_motion *motion,
                        size_t passes)
{
    const double centre = course->start_rad;
    course->start_rad = centre - 0.5 * motion->way_rad;
    rest(course, rest_s);
    for (size_t i = 0; i < passes; i++)
        move(course, centre + (i % 2 ? -0.5 : 0.5) * motion->way_rad, motion->speed_rad_per_s);
}

static void make_limit(struct course *course, const struct tune_simulated_motion *motion,
                       const double limit_deg[2])
{
    const double out = motion->limit_side == TUNE_LIMIT_HIGH ? 1.0 : -1.0;
    const double limit = tune_rad_from_deg(limit_deg[motion->limit_side]);
    rest(course, rest_s);
    move(course, limit + out * motion->beyond_rad, motion->speed_rad_per_s);
    rest(course, rest_s);
    if (motion->jump_rad > 0.0) jump(course, limit - out * motion->jump_rad);
}

static void make_course(struct course *course, const struct tune_simulated_log *log,
                        const struct tune_drive_entry *drive, double angle_rad)
{
    *course = (struct course){.start_rad = angle_rad, .closed = true};
    if (log->kind == TUNE_LOG_PULSE) make_pulses(course, &log->motion);
    if (log->kind == TUNE_LOG_MOVE) make_move(course, &log->motion);
    if (log->kind == TUNE_LOG_COAST) make_coast(course, &log->motion);
    if (log->kind == TUNE_LOG_LOAD) make_passes(course, &log->motion, 2);
    if (log->kind == TUNE_LOG_LIMIT) make_limit(course, &log->motion, drive->travel_limit_deg);
    if (log->kind == TUNE_LOG_INDEX) make_passes(course, &log->motion, log->motion.passes);
}

/* ---- the run -------------------------------------------------------------------------------------*/

/* Hang the weight on the axis: torque and inertia. */
static void hang_weight(struct tune_drive_run *run, struct tune_axis *axis,
                        struct tune_truth_log *truth, const struct tune_simulated_motion *motion,
                        const struct tune_axis_entry *entry, struct tune_random *rng)
{
    const double mass = motion->load_kg + motion->load_std_kg * tune_random_normal(rng);
    const double arm = motion->load_arm_m + motion->load_arm_std_m * tune_random_normal(rng);
    struct tune_log_entry stated = {.load_kg = mass,
                                    .load_arm_m = arm,
                                    .load_arm_angle_deg = motion->load_arm_angle_deg,
                                    .load_axis_tilt_deg = motion->load_axis_tilt_deg};
    if (motion->load_kg == 0.0) return;
    run->weight = tune_log_weight(entry, &stated);
    axis->plant.inertia_kg_m2 += mass * arm * arm;
    truth->load_nm = tune_weight_torque(&run->weight, 0.0);
}

static double given(double x)
{
    return isnan(x) ? 0.0 : x;
}

static struct tune_drive_run make_run(const struct simulation_work *work, size_t log,
                                      const struct course *course)
{
    const struct tune_description *description = &work->description;
    const struct tune_drive_entry *drive = &description->logbook.drive;
    const struct tune_simulated_log *entry = &description->log[log];
    return (struct tune_drive_run){
        .step = course->step,
        .n_steps = course->n,
        .settle_s = course->closed ? settle_s : 0.0,
        .controller = &work->controller,
        .preset_rad = course->start_rad,
        .counts_per_turn = drive->encoder_counts_per_turn,
        .torque_limit_nm = given(drive->torque_limit_nm),
        .limit_rad = {tune_rad_from_deg(drive->travel_limit_deg[0]),
                      tune_rad_from_deg(drive->travel_limit_deg[1])},
        .following_error_rad = tune_rad_from_deg(drive->following_error_limit_deg),
        .acceleration_rad_per_s2 = entry->motion.acceleration_rad_per_s2,
        .astray_rad = tune_rad_from_deg(astray_deg),
        .middle_rad = tune_rad_from_deg(description->pointing[entry->pointing].angle_deg),
        .index_rad = entry->kind == TUNE_LOG_INDEX ? entry->motion.index_rad : (double)NAN,
        .mismatch = description->mismatch,
        .seed = work->seed,
        .stream = log,
    };
}

/* ---- the log -------------------------------------------------------------------------------------*/

static enum tune_status write_motion(const struct simulation_work *work,
                                     const struct tune_simulated_log *entry,
                                     const struct tune_drive_trace *trace, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &work->description.logbook.drive;
    const double counts = drive->encoder_counts_per_turn / (2.0 * TUNE_PI);
    const double units = 1.0 / drive->torque_per_unit_nm;
    double *time_s = malloc((trace->n + 1) * sizeof *time_s);
    const struct log_column column[] = {
        {"time_s", NULL, time_s, 1.0, 0.0, LOG_AFTER_POINT, 9},
        {"torque_a", NULL, trace->torque_nm, units, 0.0, LOG_SIGNIFICANT, 7},
        {"position_counts", NULL, trace->counts, 1.0, 0.0, LOG_WHOLE, 0},
        {"target_counts", NULL, trace->target_rad, counts, 0.0, LOG_AFTER_POINT, 2},
        {"enabled_flag", NULL, trace->enabled, 1.0, 0.0, LOG_WHOLE, 0},
        {"index_flag", NULL, trace->index, 1.0, 0.0, LOG_WHOLE, 0},
    };
    const struct log_table table =
        chain_log_table(column, entry->kind == TUNE_LOG_INDEX ? 6 : 5, trace->n);
    char path[TUNE_PATH_LENGTH];
    enum tune_status status;
    if (!time_s) return tune_error_memory(err, "writing a log");
    for (size_t i = 0; i < trace->n; i++)
        time_s[i] = (double)i / drive->loop_rate_hz;
    status = chain_simulated_path(path, work, "logs", entry->name, ".csv.gz", err);
    if (!status) status = chain_write_log(path, &table, err);
    free(time_s);
    return status;
}

static void tell_truth(struct tune_truth_log *truth, const struct simulation_work *work,
                       const struct tune_simulated_log *entry, const struct tune_drive_trace *trace,
                       struct tune_random *rng)
{
    const double rate_hz = work->description.logbook.drive.loop_rate_hz;
    const double error = tune_deg_from_rad(work->description.known_angle_error_rad) +
                         entry->motion.known_angle_std_deg * tune_random_normal(rng);
    double sum = 0.0;
    for (size_t i = 0; i < trace->n; i++)
        sum += trace->torque_nm[i] * trace->torque_nm[i];
    truth->rows = trace->n;
    truth->duration_s = (double)trace->n / rate_hz;
    truth->torque_rms_nm = sqrt(sum / (double)trace->n);
    truth->true_rms_arcsec = truth->measured_rms_arcsec = truth->sky_rms_arcsec = NAN;
    truth->turned_deg = tune_deg_from_rad(trace->true_rad[trace->n - 1] - trace->true_rad[0]);
    truth->known_angle_deg = entry->kind == TUNE_LOG_MOVE ? truth->turned_deg + error : (double)NAN;
    truth->end = trace->end;
    truth->end_s = (double)trace->end_row / rate_hz;
}

enum tune_status chain_simulate_motion(struct simulation_work *work, size_t log,
                                       struct tune_truth_log *truth, struct progress_item *watch,
                                       struct tune_error *err)
{
    const struct tune_description *description = &work->description;
    const struct tune_simulated_log *entry = &description->log[log];
    const double centre = tune_rad_from_deg(description->pointing[entry->pointing].angle_deg);
    struct tune_axis axis = tune_description_axis(description, entry->pointing);
    struct course *course = malloc(sizeof *course);
    struct tune_drive_trace trace = {0};
    struct tune_drive_run run;
    struct tune_random rng;
    enum tune_status status;
    if (!course) return tune_error_memory(err, "simulating a motion");
    make_course(course, entry, &description->logbook.drive, centre);
    run = make_run(work, log, course);
    tune_random_init(&rng, work->seed, 4 * log + 3);
    if (entry->kind == TUNE_LOG_LOAD)
        hang_weight(&run, &axis, truth, &entry->motion, &description->logbook.axis, &rng);
    status = progress_stage(watch, "simulating", 0.0, 0.7, err);
    if (!status) status = tune_drive_simulate(&trace, &axis, &run, &watch->watch, err);
    if (!status) status = progress_stage(watch, "writing", 0.7, 1.0, err);
    if (!status) tell_truth(truth, work, entry, &trace, &rng);
    if (!status) status = write_motion(work, entry, &trace, err);
    tune_drive_trace_free(&trace);
    free(course);
    return status;
}
