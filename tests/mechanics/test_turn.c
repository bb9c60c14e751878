/* test_turn.c - inertia, friction and out-of-balance from slow turns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "core/units.h"
#include "support/check.h"
#include "turned_axis.h"

/* ---- identities: signals made from the formula ---------------------------------------------------*/

enum { N = 40000 };

struct made {
    double position[N], torque[N];
    struct tune_turn_log log;
};

/* A slow sine of the angle about centre, amplitude rad, and the torque it asks for. */
static void make(struct made *m, double centre, double amplitude, double period_s,
                 const double value[TUNE_TURN_TERMS])
{
    const double rate = 500.0, w = 2.0 * TUNE_PI / period_s;
    for (size_t k = 0; k < N; k++) {
        const double t = (double)k / rate + 0.0123, q = centre + amplitude * sin(w * t);
        const double v = amplitude * w * cos(w * t), a = -w * w * amplitude * sin(w * t);
        m->position[k] = q;
        m->torque[k] = value[TUNE_TURN_INERTIA] * a + value[TUNE_TURN_VISCOUS] * v +
                       value[TUNE_TURN_COULOMB] * (double)((v > 0.0) - (v < 0.0)) +
                       value[TUNE_TURN_OFFSET] - value[TUNE_TURN_COSINE] * cos(q) -
                       value[TUNE_TURN_SINE] * sin(q);
    }
    m->log = (struct tune_turn_log){m->position, m->torque, N, rate};
}

static const double truth[TUNE_TURN_TERMS] = {800.0, 40.0, 20.0, 1.0, 4.0, -3.0};

static struct made *made(double centre, double amplitude, double period_s)
{
    struct made *m = malloc(sizeof *m);
    assert_non_null(m);
    make(m, centre, amplitude, period_s, truth);
    return m;
}

static void what_was_put_in_comes_out(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct made *m = made(0.3, 1.5, 20.0);
    struct tune_turn_fit fit;
    (void)state;
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    for (size_t t = 0; t < TUNE_TURN_TERMS; t++) {
        assert_true(fit.known[t]);
        check_close_rel(fit.value[t].value, truth[t], 1e-3);
    }
    check_close_rel(fit.imbalance_nm.value, 5.0, 1e-3);
    check_close(fit.imbalance_angle_rad.value, atan2(-3.0, 4.0), 1e-3);
    check_close(fit.low_rad, -1.2, 1e-3);
    check_close(fit.high_rad, 1.8, 1e-3);
    check_close_rel(fit.up_s, fit.down_s, 0.03);
    free(m);
}

/* The positive sign of every term is that of the convention: changed alone it comes out changed. */
static void gravity_and_offset_have_the_signs_they_are_said_to_have(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct made *m = made(0.3, 1.5, 20.0);
    struct tune_turn_fit fit;
    (void)state;
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    check_close(tune_turn_gravity(&fit, 0.5).value, 4.0 * cos(0.5) - 3.0 * sin(0.5), 0.02);
    check_close(tune_turn_standing(&fit, 0.5).value, 4.0 * cos(0.5) - 3.0 * sin(0.5) - 1.0, 0.02);
    check_close(tune_turn_friction(&fit, 0.1).value, 24.0, 0.05);
    check_close(tune_turn_rest(&fit, 0.5).value, 20.0 - fabs(4.0 * cos(0.5) - 3.0 * sin(0.5) - 1.0),
                0.02);
    check_close(tune_turn_rest(&fit, 2.5).value, 20.0 - fabs(4.0 * cos(2.5) - 3.0 * sin(2.5) - 1.0),
                0.05);
    assert_true(tune_turn_gravity(&fit, 0.5).std >= 0.0);
    free(m);
}

static void a_level_axis_has_no_gravity_in_it(void **state)
{
    const double level[TUNE_TURN_TERMS] = {800.0, 40.0, 20.0, 1.0, 0.0, 0.0};
    const struct tune_turn_opts opts = {.level = true};
    struct made *m = malloc(sizeof *m);
    struct tune_turn_fit fit;
    (void)state;
    assert_non_null(m);
    make(m, 0.0, 1.0, 20.0, level);
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    for (size_t t = 0; t < TUNE_TURN_COSINE; t++)
        check_close_rel(fit.value[t].value, level[t], 2e-3);
    assert_false(fit.known[TUNE_TURN_COSINE] || fit.known[TUNE_TURN_SINE]);
    assert_true(isnan(fit.imbalance_nm.value));
    check_close(tune_turn_gravity(&fit, 0.3).value, 0.0, 0.0);
    check_close_rel(tune_turn_rest(&fit, 0.3).value, 19.0, 2e-3);
    free(m);
}

/* At one speed one way nothing is told apart but gravity's change: offset, Coulomb and viscous friction are one
 * number. */
static void one_direction_tells_sums_only(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct made *m = malloc(sizeof *m);
    struct tune_turn_fit fit;
    (void)state;
    assert_non_null(m);
    for (size_t k = 0; k < N; k++) {
        const double q = -1.5 + 3.0 * (double)k / N;
        m->position[k] = q;
        m->torque[k] = 21.0 - 4.0 * cos(q) + 3.0 * sin(q);
    }
    m->log = (struct tune_turn_log){m->position, m->torque, N, 500.0};
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    assert_false(fit.known[TUNE_TURN_COULOMB] || fit.known[TUNE_TURN_OFFSET]);
    assert_true(isinf(fit.value[TUNE_TURN_COULOMB].std));
    assert_true(fit.known[TUNE_TURN_COSINE] && fit.known[TUNE_TURN_SINE]);
    check_close_rel(fit.imbalance_nm.value, 5.0, 1e-3);
    check_close(fit.down_s, 0.0, 0.0);
    free(m);
}

static void the_curve_is_the_torque_by_angle_and_direction(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct made *m = made(0.3, 1.5, 20.0);
    struct tune_turn_curve curve;
    struct tune_turn_fit fit;
    size_t both = 0;
    (void)state;
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    assert_int_equal(tune_turn_measure(&curve, &fit, &m->log, 1, NULL), TUNE_OK);
    /* 3 rad; windows 0.2 s apart at up to 0.47 rad/s */
    check_close_rel(curve.step_rad, 0.5 * fit.window_s * fit.fastest_rad_per_s, 1e-12);
    assert_int_equal(curve.n, (size_t)ceil((fit.high_rad - fit.low_rad) / curve.step_rad));
    for (size_t i = 0; i < curve.n; i++) {
        const double at = curve.low_rad + ((double)i + 0.5) * curve.step_rad;
        const double hold = 1.0 - 4.0 * cos(at) + 3.0 * sin(at);
        if (!isfinite(curve.rising_nm[i]) || !isfinite(curve.falling_nm[i])) continue;
        both++;
        /* a bin's windows lie within half its width of its middle, on a slope of up to 5 N m/rad */
        check_close(curve.rising_nm[i], hold + 20.0, 2.5 * curve.step_rad + 0.02);
        check_close(curve.falling_nm[i], hold - 20.0, 2.5 * curve.step_rad + 0.02);
    }
    assert_true(both + 4 > curve.n); /* but for the reversals */
    free(m);
}

/* ---- outside values ------------------------------------------------------------------------------*/

/* A. Janot, M. Gautier, M. Brunot, Data Set and Reference Models of EMPS, Workshop on Nonlinear System
 * Identification Benchmarks, Eindhoven 2019: published with the log, mass 95.1089 kg, viscous 203.5034 N s/m,
 * Coulomb 20.3935 N, offset -3.1648 N. A linear axis stands for a turning one. */
static void a_positioning_axis_has_the_published_friction(void **state)
{
    static const double published[] = {95.1089, 203.5034, 20.3935, -3.1648};
    static const double n_per_v = 35.15065188;
    const struct tune_turn_opts opts = {.level = true};
    const char *folder = getenv("TUNE_OPEN_DATA");
    struct made *m = malloc(sizeof *m);
    struct tune_turn_fit fit;
    char path[1024], line[256];
    size_t n = 0;
    FILE *file;
    (void)state;
    assert_non_null(m);
    if (folder) (void)snprintf(path, sizeof path, "%s/positioning-axis/trapezoids.csv", folder);
    file = folder ? fopen(path, "r") : NULL;
    if (!file) {
        free(m);
        skip(); /* TUNE_OPEN_DATA does not hold it */
    }
    assert_non_null(fgets(line, sizeof line, file));
    while (n < N && fgets(line, sizeof line, file)) {
        double time, target, volt;
        assert_int_equal(sscanf(line, "%lf,%lf,%lf,%lf", &time, &target, &m->position[n], &volt),
                         4);
        m->torque[n++] = n_per_v * volt;
    }
    (void)fclose(file);
    assert_int_equal(n, 24841);
    m->log = (struct tune_turn_log){m->position, m->torque, n, 1000.0};
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    for (size_t t = 0; t < 4; t++) {
        print_message("# %.4f +- %.4f, published %.4f: %+.2f %%\n", fit.value[t].value,
                      fit.value[t].std, published[t],
                      100.0 * (fit.value[t].value / published[t] - 1.0));
        check_close_rel(fit.value[t].value, published[t], 0.01);
        check_between(fit.value[t].std / fabs(published[t]), 1e-3, 0.1);
    }
    free(m);
}

/* ---- the simulated axis --------------------------------------------------------------------------*/

static void a_simulated_axis_that_sticks_gives_its_numbers_back(void **state)
{
    const struct tune_turn_opts opts = {.torque_limit_nm = 300.0};
    const struct tune_axis axis = turned_axis();
    const struct tune_simulated_motion slow = turn_of(200.0, 1.0, 1), fast = turn_of(200.0, 4.0, 2);
    struct tune_axis_trace trace[2];
    struct tune_turn_fit fit;
    (void)state;
    assert_int_equal(turned(&trace[0], &axis, &slow, 0.2, 1), TUNE_OK);
    assert_int_equal(turned(&trace[1], &axis, &fast, 0.2, 2), TUNE_OK);
    const struct tune_turn_log log[] = {turned_log(&trace[0]), turned_log(&trace[1])};
    assert_int_equal(tune_turn_estimate(&fit, log, 2, &opts, NULL), TUNE_OK);
    check_close_rel(fit.value[TUNE_TURN_INERTIA].value, 800.0, 0.01);
    check_close_rel(fit.value[TUNE_TURN_COULOMB].value, 20.0, 0.01);
    check_close_rel(fit.value[TUNE_TURN_VISCOUS].value, 40.0, 0.1);
    check_close(fit.value[TUNE_TURN_OFFSET].value, 1.0, 0.05);
    check_close_rel(fit.imbalance_nm.value, 5.0, 0.01);
    check_close(fit.imbalance_angle_rad.value, 0.6, 0.01);
    check_close(fit.saturated, 0.0, 0.0);
    check_close_rel(fit.slowest_rad_per_s, 1.0 * TURNED_DEG, 0.1);
    check_close_rel(fit.fastest_rad_per_s, 4.0 * TURNED_DEG, 0.05);
    for (size_t i = 0; i < 2; i++)
        tune_axis_trace_free(&trace[i]);
}

/* Over a short arc offset and cosine are nearly one number: the std say so, the sum is well known. */
static void a_short_arc_is_known_where_it_was_travelled(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct tune_axis axis = turned_axis();
    const struct tune_simulated_motion turn = turn_of(60.0, 2.0, 2);
    struct tune_axis_trace trace;
    struct tune_turn_fit fit;
    (void)state;
    axis.wind_rms_nm = 0.3;
    assert_int_equal(turned(&trace, &axis, &turn, 0.0, 3), TUNE_OK);
    const struct tune_turn_log log = turned_log(&trace);
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &opts, NULL), TUNE_OK);
    assert_true(fit.value[TUNE_TURN_COSINE].std > 5.0 * tune_turn_standing(&fit, 0.1).std);
    check_between((tune_turn_standing(&fit, 0.1).value - (5.0 * cos(0.1 - 0.6) - 1.0)) /
                      tune_turn_standing(&fit, 0.1).std,
                  -4.0, 4.0);
    tune_axis_trace_free(&trace);
}

/* ---- bad input -----------------------------------------------------------------------------------*/

static void what_tells_nothing_is_refused(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct tune_turn_opts bad = {.torque_limit_nm = -1.0};
    struct made *m = made(0.0, 1.0, 20.0);
    struct tune_turn_log log = m->log;
    struct tune_turn_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_turn_estimate(&fit, &log, 0, &opts, &err), TUNE_EINVAL);
    assert_int_equal(tune_turn_estimate(&fit, &log, TUNE_TURN_LOGS_MAX + 1, &opts, &err),
                     TUNE_EINVAL);
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &bad, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "torque_limit_nm"));
    log.rate_hz = 0.0;
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &opts, &err), TUNE_EINVAL);
    log = m->log;
    log.n = 20;
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &opts, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "hardly moves"));
    log.n = N;
    for (size_t k = 0; k < N; k++)
        m->position[k] = 0.1;
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &opts, &err), TUNE_EDATA);
    for (size_t k = 0; k < N; k++) /* at rest, encoder noise */
        m->position[k] = 0.1 + 1e-8 * sin((double)(k * k));
    assert_int_equal(tune_turn_estimate(&fit, &log, 1, &opts, &err), TUNE_EDATA);
    free(m);
}

static void saturated_torque_is_counted(void **state)
{
    const struct tune_turn_opts opts = {.torque_limit_nm = 21.0};
    struct made *m = made(0.0, 1.0, 20.0);
    struct tune_turn_fit fit;
    size_t past = 0;
    (void)state;
    for (size_t k = 0; k < N; k++) {
        past += fabs(m->torque[k]) >= 0.999 * 21.0;
        m->torque[k] = fmax(-21.0, fmin(21.0, m->torque[k]));
    }
    assert_int_equal(tune_turn_estimate(&fit, &m->log, 1, &opts, NULL), TUNE_OK);
    check_close(fit.saturated, (double)past / N, 1e-12);
    assert_true(fit.saturated > 0.1);
    free(m);
}

static void no_memory_is_reported(void **state)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct made *m = made(0.0, 1.0, 20.0);
    struct tune_error err;
    unsigned long k = 0;
    bool refused = true;
    (void)state;
    while (refused) {
        struct tune_turn_fit fit;
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_turn_estimate(&fit, &m->log, 1, &opts, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
    }
    assert_true(k > 8);
    free(m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_put_in_comes_out),
        cmocka_unit_test(gravity_and_offset_have_the_signs_they_are_said_to_have),
        cmocka_unit_test(a_level_axis_has_no_gravity_in_it),
        cmocka_unit_test(one_direction_tells_sums_only),
        cmocka_unit_test(the_curve_is_the_torque_by_angle_and_direction),
        cmocka_unit_test(a_positioning_axis_has_the_published_friction),
        cmocka_unit_test(a_simulated_axis_that_sticks_gives_its_numbers_back),
        cmocka_unit_test(a_short_arc_is_known_where_it_was_travelled),
        cmocka_unit_test(what_tells_nothing_is_refused),
        cmocka_unit_test(saturated_torque_is_counted),
        cmocka_unit_test(no_memory_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
