/* test_feedforward.c - torque of a move, how fast, how smoothly: by hand, and against the axis in time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/feedforward.h"
#include "core/units.h"
#include "mechanics/gravity.h"
#include "simulation/axis.h"

#define RATE     20000.0
#define STIFF_HZ 700.0 /* far above the modes: holds the encoder to the target */

/* A payload of 26 kg m^2 on a spring: locked rotor at 12/sqrt(1.35) Hz. */
static struct tune_plant spring_axis(double zeta)
{
    struct tune_plant plant = {.inertia_kg_m2 = 100.0, .loop_rate_hz = RATE, .n_modes = 1};
    plant.mode[0] = (struct tune_mode){12.0, zeta, 0.35, -1.0 / 0.35, 0.0};
    return plant;
}

/* Two payload modes and one that the encoder sees the other way round. */
static struct tune_plant rich_axis(void)
{
    struct tune_plant plant = spring_axis(0.006);
    plant.viscous_nm_s_per_rad = 4.0;
    plant.n_modes = 3;
    plant.mode[0].gain_quadrature = 0.01;
    plant.complex_residues = true;
    plant.mode[1] = (struct tune_mode){34.0, 0.01, 0.10, 0.4, 0.0};
    plant.mode[2] = (struct tune_mode){80.0, 0.02, -0.01, 0.0, 0.0};
    return plant;
}

static struct tune_slew slew_of(double acceleration, double speed, double jerk_time_s)
{
    return (struct tune_slew){.acceleration_rad_per_s2 = acceleration,
                              .speed_rad_per_s = speed,
                              .jerk_time_s = jerk_time_s};
}

/* ---- torque --------------------------------------------------------------------------------------*/

static void torque_is_the_sum_of_its_parts(void **state)
{
    static const struct tune_imbalance table[] = {{-1.0, 4.0}, {0.0, 2.0}, {1.0, -6.0}};
    struct tune_plant plant = spring_axis(0.01);
    struct tune_feedforward f;
    (void)state;
    plant.viscous_nm_s_per_rad = 7.0;
    f = tune_feedforward_from(&plant);
    assert_int_equal(tune_feedforward_check(&f, NULL), TUNE_OK);
    check_close(tune_feedforward_torque(&f, 0.3, 0.2, 0.05), 100.0 * 0.05 + 7.0 * 0.2, 1e-12);
    f.coulomb_nm.value = 3.0;
    f.smooth_rad_per_s = 0.01;
    check_close(tune_feedforward_torque(&f, 0.3, 0.5, 0.0), 7.0 * 0.5 + 3.0, 1e-12);
    check_close(tune_feedforward_torque(&f, 0.3, -0.5, 0.0), -7.0 * 0.5 - 3.0, 1e-12);
    check_close(tune_feedforward_torque(&f, 0.3, 0.01, 0.0), 0.07 + 3.0 * tanh(1.0), 1e-12);
    f.imbalance = table;
    f.n_imbalance = 3;
    assert_int_equal(tune_feedforward_check(&f, NULL), TUNE_OK);
    check_close(tune_feedforward_torque(&f, 0.25, 0.0, 0.0), 0.0, 1e-12);
    check_close(tune_feedforward_imbalance(&f, -0.5), 3.0, 1e-12);
    check_close(tune_feedforward_imbalance(&f, 0.5), -2.0, 1e-12);
    check_close(tune_feedforward_imbalance(&f, -9.0), 4.0, 0.0);
    check_close(tune_feedforward_imbalance(&f, 9.0), -6.0, 0.0);
    check_close(tune_feedforward_torque(&f, 9.0, 0.0, 0.0), 6.0, 1e-12);
}

/* A weight fixed to the axis, its torque tabulated: what is fed forward holds it. */
static void a_table_of_a_weight_holds_it(void **state)
{
    enum { POINTS = 181 };
    static struct tune_imbalance table[POINTS];
    const struct tune_weight weight = {2.0, 0.3, 0.4, 0.0, TUNE_GRAVITY_STANDARD};
    const struct tune_plant plant = spring_axis(0.01);
    struct tune_feedforward f = tune_feedforward_from(&plant);
    (void)state;
    for (int i = 0; i < POINTS; i++) {
        table[i].angle_rad = tune_rad_from_deg(i - 90.0);
        table[i].torque_nm = tune_weight_torque(&weight, table[i].angle_rad);
    }
    f.imbalance = table;
    f.n_imbalance = POINTS;
    /* model: straight lines over 1 deg, (1 deg)^2/8 of the amplitude */
    for (double angle = -1.5; angle < 1.5; angle += 0.0371)
        check_close(tune_feedforward_torque(&f, angle, 0.0, 0.0) +
                        tune_weight_torque(&weight, angle),
                    0.0, 2.0 * 0.3 * 9.81 * 4e-5);
}

/* ---- moves ---------------------------------------------------------------------------------------*/

/* Integrate the acceleration anew; speed, way and limits must come out. */
static void check_move(const struct tune_slew *slew, double angle_rad)
{
    enum { N = 40000 };
    const struct tune_slew_move move = tune_slew_plan(slew, angle_rad);
    const double step = move.time_s / N;
    double angle, speed, acceleration, at = 0.0, rate = 0.0, last = 0.0, jerk = 0.0;
    for (int i = 1; i <= N; i++) {
        tune_slew_at(&angle, &speed, &acceleration, &move, i * step);
        rate += 0.5 * step * (acceleration + last);
        at += step * (rate - step * (acceleration - last) / 6.0 - 0.5 * step * last) +
              0.5 * step * step * last;
        jerk = fmax(jerk, fabs(acceleration - last) / step);
        last = acceleration;
        check_between(fabs(acceleration), 0.0, slew->acceleration_rad_per_s2 * (1.0 + 1e-9));
        check_between(fabs(speed), 0.0, slew->speed_rad_per_s * (1.0 + 1e-9));
        if (i % 1000 == 0) check_close(rate, speed, 1e-3 * slew->speed_rad_per_s);
    }
    check_close(at, angle_rad, 2e-3 * fabs(angle_rad));
    check_between(jerk, 0.0, slew->acceleration_rad_per_s2 / slew->jerk_time_s * (1.0 + 1e-6));
    check_close(angle, angle_rad, 1e-12);
    check_close(speed, 0.0, 1e-12);
    tune_slew_at(&angle, &speed, &acceleration, &move, move.time_s + 1.0);
    check_close(angle, angle_rad, 0.0);
    tune_slew_at(&angle, &speed, &acceleration, &move, -1.0);
    check_close(angle, 0.0, 0.0);
}

static void moves_arrive_and_keep_their_limits(void **state)
{
    const struct tune_slew usual = slew_of(0.02, 0.05, 0.1), slow = slew_of(0.02, 0.001, 0.1);
    struct tune_slew_move move;
    (void)state;
    check_move(&usual, 1.0);
    check_move(&usual, -0.3);
    check_move(&usual, 0.01); /* full speed is not reached */
    check_move(&usual, 1e-4); /* nor full acceleration */
    check_move(&slow, 0.01);  /* full speed before full acceleration */
    move = tune_slew_plan(&usual, 1.0);
    check_close(move.time_s, 1.0 / 0.05 + 0.05 / 0.02 + 0.1, 1e-12);
    move = tune_slew_plan(&usual, 1e-4);
    check_close(move.time_s, 4.0 * 0.1, 1e-12);
    move = tune_slew_plan(&usual, 0.0);
    check_close(move.time_s, 0.0, 0.0);
}

/* ---- ringing -------------------------------------------------------------------------------------*/

/* A base that accelerates with a: the payload on its spring, without damping, rings by a/w^2, after a ramp
 * of Tj by |sin(pi f Tj)/(pi f Tj)| of it; elementary. */
static void ringing_of_a_spring_is_elementary(void **state)
{
    const struct tune_plant plant = spring_axis(1e-9);
    const double f = 12.0 / sqrt(1.35), w = 2.0 * TUNE_PI * f;
    (void)state;
    for (double periods = 0.0; periods < 3.3; periods += 0.25) {
        double ringing, want = 0.01 / (w * w);
        if (periods > 0.0) want *= fabs(sin(TUNE_PI * periods)) / (TUNE_PI * periods);
        assert_int_equal(tune_slew_ringing_ramp(&ringing, &plant, 0.01, periods / f, NULL),
                         TUNE_OK);
        check_close(ringing, want, 1e-7 * 0.01 / (w * w));
    }
}

static void damping_leaves_its_ratio_and_a_wrong_frequency_its_error(void **state)
{
    const double f = 12.0 / sqrt(1.35);
    (void)state;
    for (int k = 1; k <= 3; k++) {
        struct tune_plant plant = spring_axis(0.02);
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        double step, ramp;
        size_t n;
        assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, NULL), TUNE_OK);
        assert_int_equal(tune_slew_ringing_ramp(&step, &plant, 0.01, 0.0, NULL), TUNE_OK);
        assert_int_equal(tune_slew_ringing_ramp(&ramp, &plant, 0.01, k / zero[0].f_hz, NULL),
                         TUNE_OK);
        /* to first order; the decay over k periods is the next */
        check_close_rel(ramp, zero[0].zeta * step, 2.0 * TUNE_PI * zero[0].zeta * k);
        plant = spring_axis(1e-9);
        assert_int_equal(tune_slew_ringing_ramp(&step, &plant, 0.01, 0.0, NULL), TUNE_OK);
        assert_int_equal(tune_slew_ringing_ramp(&ramp, &plant, 0.01, 1.03 * k / f, NULL), TUNE_OK);
        check_close_rel(ramp, 0.03 * step, 0.05);
    }
}

/* ---- in the time domain --------------------------------------------------------------------------*/

struct run {
    struct tune_axis_trace trace;
    double *target, *torque;
    size_t n, end; /* end: first sample after the move */
};

/* The axis follows a move under a loop that crosses over near loop_hz, made for the inertia j. */
static void simulate(struct run *run, const struct tune_axis *axis,
                     const struct tune_slew_move *move, const struct tune_feedforward *f,
                     double loop_hz, double j)
{
    struct tune_controller c = tune_controller_defaults(RATE);
    const double w = 2.0 * TUNE_PI * loop_hz;
    c.kd_nm_s_per_rad = j * w;
    c.kp_nm_per_rad = j * w * w / 3.0;
    c.ki_nm_per_rad_s = c.kp_nm_per_rad * w / 12.0;
    run->end = 200 + (size_t)ceil(move->time_s * RATE);
    run->n = run->end + (size_t)(0.5 * RATE);
    run->target = calloc(run->n, sizeof *run->target);
    run->torque = calloc(run->n, sizeof *run->torque);
    assert_non_null(run->target);
    assert_non_null(run->torque);
    for (size_t i = 0; i < run->n; i++) {
        double speed, acceleration;
        tune_slew_at(&run->target[i], &speed, &acceleration, move, ((double)i - 200.0) / RATE);
        if (f) run->torque[i] = tune_feedforward_torque(f, run->target[i], speed, acceleration);
    }
    const struct tune_axis_run what = {
        .n = run->n, .target_rad = run->target, .excitation_nm = run->torque, .controller = &c};
    assert_int_equal(tune_axis_simulate(&run->trace, axis, &what, NULL, NULL), TUNE_OK);
    assert_false(run->trace.diverged);
}

static void discard(struct run *run)
{
    tune_axis_trace_free(&run->trace);
    free(run->target);
    free(run->torque);
}

/* Amplitude, at the end of the move, of what swings at f in payload minus encoder: least squares over four
 * periods. */
static double swing(const struct run *run, double f_hz, double zeta)
{
    const double w = 2.0 * TUNE_PI * f_hz;
    const size_t n = (size_t)(4.0 / f_hz * RATE);
    double a[2][2] = {{0}}, b[2] = {0};
    for (size_t i = 0; i < n; i++) {
        const double t = (double)i / RATE, decay = exp(-zeta * w * t);
        const double x[2] = {decay * cos(w * t), decay * sin(w * t)};
        const double y = run->trace.sky_rad[run->end + i] - run->trace.true_rad[run->end + i];
        for (int r = 0; r < 2; r++) {
            b[r] += x[r] * y;
            for (int c = 0; c < 2; c++)
                a[r][c] += x[r] * x[c];
        }
    }
    const double det = a[0][0] * a[1][1] - a[0][1] * a[1][0];
    return hypot((b[0] * a[1][1] - b[1] * a[0][1]) / det, (b[1] * a[0][0] - b[0] * a[1][0]) / det);
}

static void payload_of_the_simulated_axis_rings_as_foretold(void **state)
{
    static const double periods[] = {0.02, 0.4, 0.7, 1.0, 1.4, 2.0};
    struct tune_axis axis = tune_axis_defaults();
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_feedforward f;
    double most = 0.0;
    size_t n;
    (void)state;
    axis.plant = spring_axis(0.006);
    f = tune_feedforward_from(&axis.plant);
    assert_int_equal(tune_plant_antiresonances(zero, &n, &axis.plant, NULL), TUNE_OK);
    for (size_t i = 0; i < sizeof periods / sizeof periods[0]; i++) {
        const struct tune_slew slew = slew_of(0.02, 0.0131, periods[i] / zero[0].f_hz);
        const struct tune_slew_move move = tune_slew_plan(&slew, 0.0173);
        struct run run;
        double want;
        simulate(&run, &axis, &move, &f, STIFF_HZ, 70.0);
        assert_int_equal(tune_slew_ringing_after(&want, &move, &axis.plant, NULL), TUNE_OK);
        most = fmax(most, want);
        /* model: the loop holds the encoder against the payload to (10/700)^2, which detunes twenty
         * periods by that much each */
        check_close(swing(&run, zero[0].f_hz, zero[0].zeta), want, 0.01 * most);
        if (periods[i] == 1.0) check_between(want, 0.0, 0.05 * most);
        discard(&run);
    }
}

/* Several modes: what swings after the move is never more than the sum of all amplitudes, and most of it. */
static void ringing_is_all_that_is_left_of_several_modes(void **state)
{
    struct tune_axis axis = tune_axis_defaults();
    struct tune_feedforward f;
    const struct tune_slew slew = slew_of(0.02, 0.0131, 0.03);
    const struct tune_slew_move move = tune_slew_plan(&slew, 0.0173);
    struct run run;
    double want, most = 0.0;
    (void)state;
    axis.plant = rich_axis();
    f = tune_feedforward_from(&axis.plant);
    simulate(&run, &axis, &move, &f, STIFF_HZ, 70.0);
    assert_int_equal(tune_slew_ringing_after(&want, &move, &axis.plant, NULL), TUNE_OK);
    for (size_t i = run.end; i < run.n; i++)
        most = fmax(most, fabs(run.trace.sky_rad[i] - run.trace.true_rad[i]));
    /* model: never more than the sum at worst, most of which is the first mode's */
    check_between(most, 0.85 * want, 1.02 * want);
    discard(&run);
}

/* Largest following error of a soft loop under so many times the right feedforward. */
static double following(double scale)
{
    struct tune_axis axis = tune_axis_defaults();
    struct tune_feedforward f;
    const struct tune_slew slew = slew_of(0.02, 0.0131, 0.1);
    const struct tune_slew_move move = tune_slew_plan(&slew, 0.0173);
    struct run run;
    double most = 0.0;
    axis.plant = spring_axis(0.006);
    axis.plant.viscous_nm_s_per_rad = 40.0;
    axis.friction = (struct tune_friction){1.0, 1.0, 1e-4, 1e5, 100.0, 0.0};
    f = tune_feedforward_from(&axis.plant);
    f.coulomb_nm.value = 1.0;
    f.smooth_rad_per_s = 1e-5;
    f.inertia_kg_m2.value *= scale;
    f.viscous_nm_s_per_rad.value *= scale;
    f.coulomb_nm.value *= scale;
    simulate(&run, &axis, &move, scale != 0.0 ? &f : NULL, 4.0, 100.0);
    for (size_t i = 0; i < run.n; i++)
        most = fmax(most, fabs(run.target[i] - run.trace.true_rad[i]));
    discard(&run);
    return most;
}

static void feedforward_takes_the_following_error_away(void **state)
{
    const double without = following(0.0);
    (void)state;
    /* model: friction sets in over the stiffness of its contact, the payload bends */
    check_between(following(1.0), 0.0, 0.15 * without);
    check_between(following(0.5), 0.4 * without, 0.6 * without);
    check_between(following(2.0), 0.9 * without, 1.2 * without);
}

/* ---- limits --------------------------------------------------------------------------------------*/

static void limits_follow_from_torque_and_modes(void **state)
{
    static const struct tune_imbalance table[] = {{-1.0, 4.0}, {1.0, -6.0}};
    struct tune_plant plant[2] = {spring_axis(0.006), spring_axis(0.006)};
    struct tune_feedforward f;
    struct tune_slew_opts opts = tune_slew_defaults();
    struct tune_slew slew;
    struct tune_slew_ringing ringing[2];
    const double low_hz = 12.0 / sqrt(1.35);
    (void)state;
    plant[1].inertia_kg_m2 = 110.0;
    plant[1].mode[0].f_hz = 12.6;
    plant[0].viscous_nm_s_per_rad = plant[1].viscous_nm_s_per_rad = 20.0;
    f = tune_feedforward_from(&plant[0]);
    f.coulomb_nm.value = 3.0;
    f.imbalance = table;
    f.n_imbalance = 2;
    opts.torque_limit_nm = 50.0;
    opts.speed_limit_rad_per_s = 0.1;
    assert_int_equal(tune_slew_limits(&slew, ringing, &f, plant, 2, &opts, NULL), TUNE_OK);
    check_close_rel(slew.acceleration_rad_per_s2, (35.0 - 3.0 - 2.0 - 6.0) / 110.0, 1e-12);
    check_close(slew.speed_rad_per_s, 0.1, 0.0);
    check_close_rel(slew.jerk_time_s, 1.0 / (1.025 * low_hz), 1e-4);
    check_close_rel(ringing[0].locked_hz, low_hz, 1e-4);
    check_close_rel(ringing[1].locked_hz, 1.05 * low_hz, 1e-4);
    /* 2.5 % off, and the lower one rings more at the same acceleration */
    for (int p = 0; p < 2; p++)
        check_close_rel(ringing[p].ringing_rad, 0.025 * ringing[p].step_rad, 0.15);
    assert_int_equal(slew.worst, 0);
    check_close(slew.ringing.ringing_rad, ringing[0].ringing_rad, 0.0);
    opts.periods = 2;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, plant, 2, &opts, NULL), TUNE_OK);
    check_close_rel(slew.jerk_time_s, 2.0 / (1.025 * low_hz), 1e-4);
    plant[0].n_modes = 0; /* a stiff axis has nothing that rings */
    assert_int_equal(tune_slew_limits(&slew, ringing, &f, plant, 1, &opts, NULL), TUNE_OK);
    check_close(slew.jerk_time_s, 0.0, 0.0);
    check_close(ringing[0].ringing_rad, 0.0, 0.0);
    assert_true(isinf(slew.jerk_rad_per_s3));
}

static void what_is_out_of_range_or_reach_is_named(void **state)
{
    static const struct tune_imbalance falling[] = {{1.0, 0.0}, {0.0, 0.0}};
    const struct tune_plant plant = spring_axis(0.006);
    const struct tune_feedforward good = tune_feedforward_from(&plant);
    struct tune_feedforward f = good;
    struct tune_slew_opts opts = tune_slew_defaults();
    struct tune_slew slew;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "torque_limit_nm");
    opts.torque_limit_nm = 10.0;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "speed_limit_rad_per_s");
    opts.speed_limit_rad_per_s = 0.1;
    opts.reserve = 1.0;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "reserve");
    opts.reserve = 0.3;
    opts.periods = 0;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "periods");
    opts.periods = 1;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 0, &opts, &err), TUNE_EINVAL);
    f.coulomb_nm.value = 8.0;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "friction takes 8 N m"));
    check_close(slew.speed_rad_per_s, 0.0, 0.0);
    f = good, f.inertia_kg_m2.value = 0.0;
    assert_int_equal(tune_feedforward_check(&f, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "inertia_kg_m2");
    f = good, f.viscous_nm_s_per_rad.value = -1.0;
    assert_int_equal(tune_feedforward_check(&f, &err), TUNE_EINVAL);
    f = good, f.coulomb_nm.value = 1.0, f.smooth_rad_per_s = 0.0;
    assert_int_equal(tune_feedforward_check(&f, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "smooth_rad_per_s");
    f = good, f.imbalance = falling, f.n_imbalance = 2;
    assert_int_equal(tune_feedforward_check(&f, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "imbalance angle_rad");
}

static void advice_names_signs_scales_and_numbers(void **state)
{
    static const struct tune_imbalance table[] = {{-1.0, 4.0}, {1.0, -6.0}};
    const struct tune_plant plant = spring_axis(0.006);
    struct tune_feedforward f = tune_feedforward_from(&plant);
    struct tune_slew_opts opts = tune_slew_defaults();
    struct tune_slew slew;
    char text[TUNE_FEEDFORWARD_ADVICE][TUNE_FEEDFORWARD_TEXT];
    size_t n;
    (void)state;
    n = tune_feedforward_advice(text, &f, NULL);
    assert_int_equal(n, 4);
    assert_non_null(strstr(text[0], "emergency stop"));
    assert_non_null(strstr(text[1], "+1 deg/s^2 is given +1.745 N m"));
    assert_non_null(strstr(text[3], "not known"));
    f.inertia_kg_m2.std = 2.0;
    f.coulomb_nm.value = 3.0;
    f.imbalance = table;
    f.n_imbalance = 2;
    opts.torque_limit_nm = 50.0;
    opts.speed_limit_rad_per_s = 0.1;
    assert_int_equal(tune_slew_limits(&slew, NULL, &f, &plant, 1, &opts, NULL), TUNE_OK);
    n = tune_feedforward_advice(text, &f, &slew);
    assert_int_equal(n, TUNE_FEEDFORWARD_ADVICE);
    assert_non_null(strstr(text[3], "known to 3.9 %"));
    assert_non_null(strstr(text[4], "3 N m with the sign of the target's speed"));
    assert_non_null(strstr(text[5], "at 57.3 deg the weight pulls -6 N m and is given +6 N m"));
    assert_non_null(strstr(text[7], "locked rotor"));
    for (size_t i = 0; i < n; i++)
        assert_true(strlen(text[i]) < TUNE_FEEDFORWARD_TEXT - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(torque_is_the_sum_of_its_parts),
        cmocka_unit_test(a_table_of_a_weight_holds_it),
        cmocka_unit_test(moves_arrive_and_keep_their_limits),
        cmocka_unit_test(ringing_of_a_spring_is_elementary),
        cmocka_unit_test(damping_leaves_its_ratio_and_a_wrong_frequency_its_error),
        cmocka_unit_test(payload_of_the_simulated_axis_rings_as_foretold),
        cmocka_unit_test(ringing_is_all_that_is_left_of_several_modes),
        cmocka_unit_test(feedforward_takes_the_following_error_away),
        cmocka_unit_test(limits_follow_from_torque_and_modes),
        cmocka_unit_test(what_is_out_of_range_or_reach_is_named),
        cmocka_unit_test(advice_names_signs_scales_and_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
