/* test_drive.c - first motions against mechanics done by hand: what the drive gives, reads, stops.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "simulation/drive.h"

static const double rate = 1000.0, inertia = 2.0, counts = 1e6;

/* A rigid axis without friction or noise. */
static struct tune_axis free_axis(void)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant.inertia_kg_m2 = inertia;
    axis.plant.loop_rate_hz = rate;
    return axis;
}

/* Friction enough to come to rest. */
static struct tune_axis rubbing_axis(void)
{
    struct tune_axis axis = free_axis();
    axis.friction = (struct tune_friction){0.5, 0.5, 1e-3, 5e3, 20.0, 0.0};
    return axis;
}

static struct tune_controller controller(void)
{
    struct tune_controller c = tune_controller_defaults(rate);
    c.kp_nm_per_rad = 400.0;
    c.ki_nm_per_rad_s = 800.0;
    c.kd_nm_s_per_rad = 40.0;
    c.derivative_filter_hz = 200.0;
    return c;
}

static struct tune_drive_run run_of(const struct tune_drive_step *step, size_t n,
                                    const struct tune_controller *gains)
{
    return (struct tune_drive_run){
        .step = step,
        .n_steps = n,
        .controller = gains,
        .preset_rad = 0.5,
        .counts_per_turn = counts,
        .limit_rad = {NAN, NAN},
        .following_error_rad = NAN,
        .acceleration_rad_per_s2 = 0.5,
        .astray_rad = 0.3,
        .index_rad = NAN,
        .mismatch = tune_mismatch_none(),
    };
}

static struct tune_drive_trace simulated(const struct tune_axis *axis,
                                         const struct tune_drive_run *run)
{
    struct tune_drive_trace trace;
    struct tune_error err;
    if (tune_drive_simulate(&trace, axis, run, NULL, &err)) fail_msg("%s", err.text);
    return trace;
}

static double read_angle(const struct tune_drive_trace *trace, size_t i)
{
    return trace->counts[i] * 2.0 * TUNE_PI / counts;
}

/* ---- open loop -----------------------------------------------------------------------------------*/

/* Two opposite pulses turn a free axis by T t^2 / J and leave it at rest. */
static void pulses_turn_a_free_axis_as_they_must(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_TORQUE, .torque_nm = 0.0, .duration_s = 0.1},
        {.kind = TUNE_STEP_TORQUE, .torque_nm = 0.4, .duration_s = 0.2},
        {.kind = TUNE_STEP_TORQUE, .torque_nm = -0.4, .duration_s = 0.2},
        {.kind = TUNE_STEP_TORQUE, .torque_nm = 0.0, .duration_s = 0.1}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    /* encoder sign, counts factor, torque sign, torque factor, electrical angle */
    const double wrong[][5] = {{1, 1, 1, 1, 0},     {-1, 1, 1, 1, 0},  {1, 4, 1, 1, 0},
                               {1, 1, -1, 1, 0},    {1, 1, 1, 1.5, 0}, {1, 1, 1, 1, 0.5},
                               {-1, 0.25, -1, 2, 1}};
    (void)state;
    for (size_t k = 0; k < sizeof wrong / sizeof *wrong; k++) {
        struct tune_drive_run run = run_of(step, 4, &gains);
        struct tune_drive_trace trace;
        const double *w = wrong[k], give = w[2] * w[3] * cos(w[4]);
        const double turned = give * 0.4 * 0.2 * 0.2 / inertia;
        run.mismatch.encoder_sign = w[0];
        run.mismatch.counts_factor = w[1];
        run.mismatch.torque_sign = w[2];
        run.mismatch.torque_factor = w[3];
        run.mismatch.commutation_offset_rad = w[4];
        trace = simulated(&axis, &run);
        assert_int_equal(trace.n, 600);
        assert_int_equal(trace.end, TUNE_DRIVE_DONE);
        check_close(trace.torque_nm[150], 0.4, 0.0);
        check_close(trace.torque_nm[350], -0.4, 0.0);
        check_close(trace.enabled[150], 1.0, 0.0);
        check_close(trace.true_rad[599] - 0.5, turned, 1e-12);                /* rounding */
        check_close(trace.true_rad[300] - 0.5, 0.5 * turned, 1e-12);          /* rounding */
        check_close(read_angle(&trace, 0), 0.5, 0.51 * 2 * TUNE_PI / counts); /* half a count */
        check_close(read_angle(&trace, 599) - 0.5, w[0] * w[1] * turned,
                    1.01 * 2 * TUNE_PI / counts); /* half a count at both ends */
        check_close(trace.counts[599], floor(trace.counts[599]), 0.0);
        check_close(trace.target_rad[599], read_angle(&trace, 599), 0.0);
        tune_drive_trace_free(&trace);
    }
}

/* With too many pole pairs the torque goes with the cosine of the angle turned. */
static void wrong_pole_pairs_lose_torque_away_from_the_start(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_HAND, .to_rad = 0.75, .duration_s = 3.0},
        {.kind = TUNE_STEP_HAND, .to_rad = 0.75, .duration_s = 3.0},
        {.kind = TUNE_STEP_HAND, .to_rad = 0.75, .duration_s = 2.0},
        {.kind = TUNE_STEP_TORQUE, .torque_nm = 0.2, .duration_s = 0.1}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    struct tune_drive_run run = run_of(step, 4, &gains);
    struct tune_drive_trace trace;
    (void)state;
    run.mismatch.pole_pairs_excess = 4.0;
    trace = simulated(&axis, &run);
    /* model: the angle changes a little under the pulse, and the hand leaves a last tremble */
    check_close(trace.true_rad[8099] - trace.true_rad[8000],
                0.5 * cos(4.0 * 0.25) * 0.2 / inertia * 0.099 * 0.099, 1e-6);
    tune_drive_trace_free(&trace);
}

static void torque_stays_within_the_limit_of_the_drive(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_TORQUE, .torque_nm = -3.0, .duration_s = 0.1}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    struct tune_drive_run run = run_of(step, 1, &gains);
    struct tune_drive_trace trace;
    (void)state;
    run.torque_limit_nm = 2.0;
    run.mismatch.torque_factor = 0.5;
    trace = simulated(&axis, &run);
    check_close(trace.torque_nm[50], -2.0, 0.0);
    /* rounding; the last row is 99 periods after the first */
    check_close(trace.true_rad[99] - 0.5, -0.5 * 1.0 / inertia * 0.099 * 0.099, 1e-12);
    tune_drive_trace_free(&trace);
}

/* Energy of a swinging weight: J/2 v^2 + m g h, h = arm sin(elevation), owes nothing to the formula of
 * the torque. */
static void a_weight_swings_without_losing_energy(void **state)
{
    const struct tune_drive_step step[] = {{.kind = TUNE_STEP_FREE, .duration_s = 4.0}};
    const struct tune_controller gains = controller();
    struct tune_axis axis = free_axis();
    (void)state;
    for (int side = -1; side <= 1; side += 2) {
        const double arm = 0.1 * side, elevation = 0.3, g = 9.8, mass = 3.0;
        struct tune_drive_run run = run_of(step, 1, &gains);
        struct tune_drive_trace trace;
        double lowest = 0.0;
        run.weight = (struct tune_weight){mass, arm, elevation, 0.0, g};
        run.middle_rad = 0.5;
        trace = simulated(&axis, &run);
        assert_true(side * (trace.true_rad[500] - 0.5) > 0.01); /* down it goes, towards the pull */
        for (size_t i = 1; i + 1 < trace.n; i++) {
            const double v = 0.5 * (trace.true_rad[i + 1] - trace.true_rad[i - 1]) * rate;
            const double now = elevation - side * (trace.true_rad[i] - 0.5);
            const double fallen = fabs(arm) * (sin(elevation) - sin(now));
            /* model: a torque held over a period T lags by T/2 and so adds at most
             * T/2 m g arm v^2 t to the energy, v^2 < 4, t = 4 s */
            check_close(0.5 * inertia * v * v, mass * g * fallen,
                        0.5 / rate * mass * g * fabs(arm) * 4.0 * 4.0);
            lowest = fmax(lowest, fallen);
        }
        assert_true(lowest > 0.12); /* m: through the lowest point */
        tune_drive_trace_free(&trace);
    }
}

static void a_hand_turns_the_axis_whatever_the_settings(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_HAND, .to_rad = 0.9, .duration_s = 4.0},
        {.kind = TUNE_STEP_HAND, .to_rad = 0.9, .duration_s = 2.0}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = rubbing_axis();
    struct tune_drive_run run = run_of(step, 2, &gains);
    struct tune_drive_trace trace;
    (void)state;
    run.mismatch.torque_sign = run.mismatch.encoder_sign = -1.0;
    run.mismatch.counts_factor = 0.5;
    trace = simulated(&axis, &run);
    for (size_t i = 0; i < trace.n; i++) {
        check_close(trace.enabled[i], 0.0, 0.0);
        check_close(trace.torque_nm[i], 0.0, 0.0);
    }
    check_close(trace.true_rad[trace.n - 1], 0.9, 0.01); /* model: the hand yields to friction */
    check_close(read_angle(&trace, trace.n - 1) - 0.5, -0.5 * (trace.true_rad[trace.n - 1] - 0.5),
                2 * TUNE_PI / counts);
    tune_drive_trace_free(&trace);
}

/* Constant friction stops a free axis after v^2 J / (2 F). */
static void a_coast_ends_where_friction_stops_it(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_REST, .duration_s = 0.5},
        {.kind = TUNE_STEP_FLY, .to_rad = 0.9, .speed_rad_per_s = 0.2},
        {.kind = TUNE_STEP_FREE, .duration_s = 30.0}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = rubbing_axis();
    struct tune_drive_run run = run_of(step, 3, &gains);
    struct tune_drive_trace trace;
    size_t off = 0;
    double v;
    (void)state;
    run.settle_s = 2.0;
    trace = simulated(&axis, &run);
    assert_true(trace.n < 9000); /* it did not wait 30 s */
    while (off < trace.n && trace.enabled[off] == 1.0)
        off++;
    assert_true(off > 1000);
    check_close(trace.target_rad[off - 1], 0.9, 0.2 / rate); /* a sample of target motion */
    v = (trace.true_rad[off] - trace.true_rad[off - 1]) * rate;
    check_close(v, 0.2, 0.004); /* model: what is left of the start-up transient */
    /* model: bristles give a little at the end */
    check_close(trace.true_rad[trace.n - 1] - trace.true_rad[off], v * v * inertia / (2.0 * 0.5),
                0.02 * v * v * inertia);
    tune_drive_trace_free(&trace);
}

/* ---- closed loop ---------------------------------------------------------------------------------*/

static void a_move_ends_at_its_goal_in_the_drives_own_units(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_REST, .duration_s = 0.5},
        {.kind = TUNE_STEP_MOVE, .to_rad = 0.7, .speed_rad_per_s = 0.1},
        {.kind = TUNE_STEP_REST, .duration_s = 3.0}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    (void)state;
    for (double factor = 0.8; factor < 1.3; factor += 0.2)
        for (double sign = -1.0; sign < 2.0; sign += 2.0) {
            struct tune_drive_run run = run_of(step, 3, &gains);
            struct tune_drive_trace trace;
            run.settle_s = 1.0;
            run.mismatch.counts_factor = factor;
            run.mismatch.encoder_sign = run.mismatch.torque_sign = sign;
            trace = simulated(&axis, &run);
            /* 0.5 s, then 0.2 rad at 0.1 rad/s with 0.2 s to start and stop, then 3 s */
            check_between((double)trace.n, 5680.0, 5710.0);
            check_close(trace.target_rad[0], 0.5, 4e-6); /* a count */
            check_close(trace.target_rad[trace.n - 1], 0.7, 0.0);
            check_close(read_angle(&trace, trace.n - 1), 0.7, 1e-4); /* model: settled after 3 s */
            check_close(trace.true_rad[trace.n - 1] - 0.5, sign * 0.2 / factor, 2e-4);
            for (size_t i = 2; i < trace.n; i++) {
                const double v = (trace.target_rad[i] - trace.target_rad[i - 1]) * rate;
                const double a = v - (trace.target_rad[i - 1] - trace.target_rad[i - 2]) * rate;
                assert_true(v < 0.1 + 1e-9 && v > -1e-9);
                /* the last step may close what is left of the way at once */
                assert_true(fabs(a) * rate < 1.3 * run.acceleration_rad_per_s2);
            }
            tune_drive_trace_free(&trace);
        }
}

/* Past the limit the target stops within v^2 / (2 a). */
static void a_soft_limit_stops_the_target(void **state)
{
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    (void)state;
    for (int side = 0; side < 2; side++)
        for (int variant = 0; variant < 3; variant++) { /* as set, shifted, dead */
            const double out = side ? 1.0 : -1.0, goal = 0.5 + out * 0.3;
            const struct tune_drive_step step[] = {
                {.kind = TUNE_STEP_REST, .duration_s = 0.5},
                {.kind = TUNE_STEP_MOVE, .to_rad = goal, .speed_rad_per_s = 0.1},
                {.kind = TUNE_STEP_REST, .duration_s = 1.0}};
            struct tune_drive_run run = run_of(step, 3, &gains);
            struct tune_drive_trace trace;
            double reached, act = 0.1;
            run.limit_rad[0] = 0.4;
            run.limit_rad[1] = 0.6;
            if (variant == 1) run.mismatch.limit_shift_rad[side] = 0.05;
            if (variant == 1) act = 0.15;
            if (variant == 2) run.mismatch.limit_acts[side] = false;
            trace = simulated(&axis, &run);
            reached = out * (trace.target_rad[trace.n - 1] - 0.5);
            if (variant == 2)
                check_close(reached, 0.3, 1e-12);
            else /* the axis follows the target with a lag that the loop's integrator has made small */
                check_close(reached, act + 0.1 * 0.1 / (2.0 * 0.5), 0.004);
            check_close(trace.enabled[trace.n - 1], 1.0, 0.0);
            tune_drive_trace_free(&trace);
        }
}

static void too_large_a_following_error_disables_the_drive(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_REST, .duration_s = 0.5},
        {.kind = TUNE_STEP_JUMP, .to_rad = 0.55, .duration_s = 1.5}};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = rubbing_axis();
    const double limit[] = {0.04, 0.06}, factor[] = {1.0, 2.0, 0.5};
    (void)state;
    for (size_t i = 0; i < 2; i++)
        for (size_t k = 0; k < 4; k++) {
            struct tune_drive_run run = run_of(step, 2, &gains);
            struct tune_drive_trace trace;
            run.following_error_rad = limit[i];
            if (k < 3) run.mismatch.trip_factor = factor[k];
            run.mismatch.trip_acts = k < 3;
            trace = simulated(&axis, &run);
            if (k < 3 && limit[i] * factor[k] < 0.05) {
                assert_int_equal(trace.end, TUNE_DRIVE_TRIPPED);
                assert_int_equal(trace.end_row, 500);
                assert_int_equal(trace.n, 1500);
                check_close(trace.enabled[499], 1.0, 0.0);
                check_close(trace.enabled[500], 0.0, 0.0);
                check_close(trace.torque_nm[500], 0.0, 0.0);
            } else {
                assert_int_equal(trace.end, TUNE_DRIVE_DONE);
                assert_int_equal(trace.n, 2000);
                assert_int_equal(trace.end_row, 2000);
                check_close(trace.enabled[1999], 1.0, 0.0);
                check_close(trace.true_rad[1999], 0.55, 0.01); /* model: it followed */
            }
            tune_drive_trace_free(&trace);
        }
}

/* A wrong sign: the loop runs away from the moment it is closed, long before the log would have started. */
static void a_wrong_sign_runs_away_until_something_stops_it(void **state)
{
    const struct tune_drive_step step[] = {{.kind = TUNE_STEP_REST, .duration_s = 0.5}};
    const struct tune_controller gains = controller();
    struct tune_axis axis = rubbing_axis();
    (void)state;
    axis.friction.coulomb_nm = axis.friction.breakaway_nm = 0.05;
    axis.encoder_noise_rad = 1e-4;
    for (int k = 0; k < 4; k++) {
        struct tune_drive_run run = run_of(step, 1, &gains);
        struct tune_drive_trace trace;
        const double sign = k % 2 ? -1.0 : 1.0;
        double furthest = 0.0;
        run.settle_s = 20.0;
        run.torque_limit_nm = 5.0;
        run.mismatch.encoder_sign = -sign;
        run.mismatch.torque_sign = sign;
        if (k < 2) run.following_error_rad = 0.05;
        trace = simulated(&axis, &run);
        assert_int_equal(trace.end, k < 2 ? TUNE_DRIVE_TRIPPED : TUNE_DRIVE_STOPPED);
        assert_true(trace.end_row < 20000);
        assert_int_equal(trace.n, trace.end_row + (k < 2 ? 1000 : 4000));
        if (k >= 2) /* the brake holds it */
            check_close(trace.true_rad[trace.n - 1] - trace.true_rad[trace.n - 501], 0.0, 1e-6);
        check_close(trace.enabled[0], 1.0, 0.0); /* from the moment of enabling */
        check_close(trace.true_rad[0], 0.5, 1e-9);
        check_close(trace.enabled[trace.end_row], 0.0, 0.0);
        for (size_t i = 0; i < trace.end_row; i++)
            furthest = fmax(furthest, fabs(trace.true_rad[i] - 0.5));
        assert_true(k < 2 ? furthest < 0.06 : furthest <= 0.3);
        /* nor is anything dropped where the settling would have ended within the second after it */
        const size_t end = trace.end_row;
        tune_drive_trace_free(&trace);
        run.settle_s = ((double)end + 500.0) / rate;
        trace = simulated(&axis, &run);
        assert_int_equal(trace.end_row, end);
        assert_int_equal(trace.n, end + (k < 2 ? 1000 : 4000));
        check_close(trace.true_rad[0], 0.5, 1e-9);
        tune_drive_trace_free(&trace);
    }
}

static void every_pass_shows_the_index_once(void **state)
{
    enum { PASSES = 40 };
    struct tune_drive_step step[PASSES];
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    (void)state;
    for (size_t i = 0; i < PASSES; i++)
        step[i] = (struct tune_drive_step){
            .kind = TUNE_STEP_MOVE, .to_rad = i % 2 ? 0.5 : 0.6, .speed_rad_per_s = 0.1};
    for (int k = 0; k < 2; k++) {
        const double scatter = k ? 1e-3 : 0.0, sample = 0.1 / rate;
        struct tune_drive_run run = run_of(step, PASSES, &gains);
        struct tune_drive_trace trace;
        size_t seen = 0;
        double sum = 0.0, squares = 0.0;
        run.index_rad = 0.55;
        run.mismatch.index_scatter_rad = scatter;
        trace = simulated(&axis, &run);
        for (size_t i = 1; i < trace.n; i++) {
            const bool up = trace.true_rad[i] > trace.true_rad[i - 1];
            const double off = trace.true_rad[i] - 0.55 - (up ? 0.5 : -0.5) * sample;
            if (trace.index[i] == 0.0) continue;
            seen++;
            sum += off;
            squares += off * off;
            if (!k) check_close(off, 0.0, 0.7 * sample);
        }
        assert_int_equal(seen, PASSES);
        check_close(sum / PASSES, 0.0, 4.0 * scatter / sqrt(PASSES) + sample);
        /* statistical: a variance of 40 values has a relative std of sqrt(2/40) = 0.22, 4 sigma */
        if (k) check_close_rel(squares / PASSES, scatter * scatter, 0.9);
        tune_drive_trace_free(&trace);
    }
}

static void the_same_seed_gives_the_same_run(void **state)
{
    const struct tune_drive_step step[] = {
        {.kind = TUNE_STEP_MOVE, .to_rad = 0.55, .speed_rad_per_s = 0.1}};
    const struct tune_controller gains = controller();
    struct tune_axis axis = rubbing_axis();
    struct tune_drive_run run = run_of(step, 1, &gains);
    struct tune_drive_trace a, b, c;
    (void)state;
    axis.encoder_noise_rad = 1e-5;
    axis.drive_noise_nm_per_rthz = 1e-3;
    axis.wind_rms_nm = 0.01;
    run.settle_s = 0.5;
    a = simulated(&axis, &run);
    b = simulated(&axis, &run);
    run.stream = 1;
    c = simulated(&axis, &run);
    assert_memory_equal(a.counts, b.counts, a.n * sizeof(double));
    assert_memory_equal(a.true_rad, b.true_rad, a.n * sizeof(double));
    assert_true(memcmp(a.counts, c.counts, a.n * sizeof(double)) != 0);
    tune_drive_trace_free(&a);
    tune_drive_trace_free(&b);
    tune_drive_trace_free(&c);
}

/* ---- refusals ------------------------------------------------------------------------------------*/

static void what_cannot_be_is_refused_by_name(void **state)
{
    const struct tune_drive_step good = {
        .kind = TUNE_STEP_MOVE, .to_rad = 0.6, .speed_rad_per_s = 0.1, .duration_s = 1.0};
    const char *const field[] = {"speed_rad_per_s", "duration_s",        "to_rad",
                                 "torque_nm",       "counts_per_turn",   "acceleration_rad_per_s2",
                                 "astray_rad",      "settle_s",          "counts_factor",
                                 "torque_factor",   "trip_factor",       "encoder_sign",
                                 "torque_sign",     "index_scatter_rad", "duration_s",
                                 "inertia_kg_m2",   "kp_nm_per_rad"};
    (void)state;
    for (size_t k = 0; k < sizeof field / sizeof *field; k++) {
        struct tune_controller gains = controller();
        struct tune_axis axis = free_axis();
        struct tune_drive_step step = good;
        struct tune_drive_run run = run_of(&step, 1, &gains);
        struct tune_drive_trace trace;
        struct tune_error err = {0};
        double *const wrong[] = {&step.speed_rad_per_s,
                                 &step.duration_s,
                                 &step.to_rad,
                                 &step.torque_nm,
                                 &run.counts_per_turn,
                                 &run.acceleration_rad_per_s2,
                                 &run.astray_rad,
                                 &run.settle_s,
                                 &run.mismatch.counts_factor,
                                 &run.mismatch.torque_factor,
                                 &run.mismatch.trip_factor,
                                 &run.mismatch.encoder_sign,
                                 &run.mismatch.torque_sign,
                                 &run.mismatch.index_scatter_rad,
                                 &run.settle_s,
                                 &axis.plant.inertia_kg_m2,
                                 &gains.kp_nm_per_rad};
        *wrong[k] = k == 14 ? 1e9 : k == 2 || k == 3 ? (double)NAN : -2.0;
        if (k == 1) step.kind = TUNE_STEP_REST;
        assert_int_equal(tune_drive_simulate(&trace, &axis, &run, NULL, &err), TUNE_EINVAL);
        assert_string_equal(err.thing, field[k]);
        assert_null(trace.counts);
    }
}

static void no_gains_are_refused(void **state)
{
    const struct tune_axis axis = free_axis();
    struct tune_drive_run run = run_of(NULL, 0, NULL);
    struct tune_drive_trace trace;
    struct tune_error err = {0};
    (void)state;
    assert_int_equal(tune_drive_simulate(&trace, &axis, &run, NULL, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "gains"));
}

static int stop_at_once(void *user, const char *stage, double done)
{
    (void)user, (void)stage, (void)done;
    return 1;
}

static void it_can_be_cancelled(void **state)
{
    const struct tune_drive_step step = {.kind = TUNE_STEP_REST, .duration_s = 1.0};
    const struct tune_controller gains = controller();
    const struct tune_axis axis = free_axis();
    const struct tune_drive_run run = run_of(&step, 1, &gains);
    const struct tune_watch watch = {.tick = stop_at_once};
    struct tune_drive_trace trace;
    struct tune_error err = {0};
    (void)state;
    assert_int_equal(tune_drive_simulate(&trace, &axis, &run, &watch, &err), TUNE_ECANCELLED);
    assert_null(trace.counts);
}

static void every_allocation_may_fail(void **state)
{
    const struct tune_drive_step step = {.kind = TUNE_STEP_REST, .duration_s = 0.01};
    const struct tune_controller gains = controller();
    struct tune_axis axis = free_axis();
    const struct tune_drive_run run = run_of(&step, 1, &gains);
    bool failed = true;
    (void)state;
    axis.wind_rms_nm = 0.1;
    for (unsigned long k = 1; failed; k++) {
        struct tune_drive_trace trace;
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_drive_simulate(&trace, &axis, &run, NULL, &err);
        failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
        if (failed) assert_null(trace.counts);
        tune_drive_trace_free(&trace);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses_turn_a_free_axis_as_they_must),
        cmocka_unit_test(wrong_pole_pairs_lose_torque_away_from_the_start),
        cmocka_unit_test(torque_stays_within_the_limit_of_the_drive),
        cmocka_unit_test(a_weight_swings_without_losing_energy),
        cmocka_unit_test(a_hand_turns_the_axis_whatever_the_settings),
        cmocka_unit_test(a_coast_ends_where_friction_stops_it),
        cmocka_unit_test(a_move_ends_at_its_goal_in_the_drives_own_units),
        cmocka_unit_test(a_soft_limit_stops_the_target),
        cmocka_unit_test(too_large_a_following_error_disables_the_drive),
        cmocka_unit_test(a_wrong_sign_runs_away_until_something_stops_it),
        cmocka_unit_test(every_pass_shows_the_index_once),
        cmocka_unit_test(the_same_seed_gives_the_same_run),
        cmocka_unit_test(what_cannot_be_is_refused_by_name),
        cmocka_unit_test(no_gains_are_refused),
        cmocka_unit_test(it_can_be_cancelled),
        cmocka_unit_test(every_allocation_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
