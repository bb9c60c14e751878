/* test_simulated_trouble.c - what is made wrong with a simulated log, and what is told of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "chain/simulated_trouble_internal.h"
#include "core/units.h"
#include "health/health.h"

enum { N = 2000 };
static const double rate_hz = 1000.0, arcsec = TUNE_PI / 648000.0;

/* A run of no axis: every column its own simple function. */
static double position[N], torque[N], target[N], excitation[N], sky[N];

static double position_at(size_t i)
{
    return 1e-3 * (double)i + 0.2;
}

static double torque_at(size_t i)
{
    return 3.0 * sin(0.05 * (double)i) + 0.5;
}

static struct tune_axis_trace make_trace(void)
{
    for (size_t i = 0; i < N; i++) {
        position[i] = target[i] = sky[i] = position_at(i);
        torque[i] = torque_at(i);
        excitation[i] = i < 100 || i >= 1900 ? 0.0 : sin(0.1 * (double)i);
    }
    return (struct tune_axis_trace){.n = N,
                                    .position_rad = position,
                                    .torque_nm = torque,
                                    .true_rad = position,
                                    .sky_rad = sky};
}

static struct written_log troubled(const struct tune_trouble *trouble, struct tune_truth_log *truth)
{
    const struct tune_simulated_log entry = {
        .kind = TUNE_LOG_SWEEP, .ramp_rad_per_s = 1.0, .trouble = *trouble};
    const struct tune_axis axis = {.torque_limit_nm = trouble->saturation_nm};
    const struct tune_axis_trace trace = make_trace();
    const struct trouble_case c = {.log = &entry,
                                   .axis = &axis,
                                   .trace = &trace,
                                   .excitation_nm = excitation,
                                   .stated_limit_nm = 3.6,
                                   .declared_step_rad = 1e-7,
                                   .rate_hz = rate_hz,
                                   .raw_per_rad = 1.0};
    struct written_log log;
    struct tune_random rng;
    struct tune_error err;
    *truth = (struct tune_truth_log){0};
    tune_random_init(&rng, 1, 3);
    assert_int_equal(written_log_make(&log, &entry, &trace, target, excitation, rate_hz, &err),
                     TUNE_OK);
    assert_int_equal(chain_trouble_columns(&log, &c, &rng, &err), TUNE_OK);
    chain_tell_troubles(truth, &c, &log);
    assert_int_equal(chain_trouble_rows(&log, trouble, rate_hz, &rng, &err), TUNE_OK);
    return log;
}

/* One trouble and nothing else is told; its name is one of inspect's. */
static void check_truth(const struct tune_truth_log *truth, const char *finding, size_t row,
                        double value, double allowed)
{
    size_t i = 0;
    assert_int_equal(truth->n_troubles, 1);
    assert_string_equal(truth->trouble[0].finding, finding);
    assert_int_equal(truth->trouble[0].row, row);
    check_close(truth->trouble[0].value, value, allowed);
    while (tune_finding_name(i) && strcmp(tune_finding_name(i), finding) != 0)
        i++;
    assert_non_null(tune_finding_name(i));
}

static void without_trouble_everything_is_as_it_was(void **state)
{
    const struct tune_trouble none = {0};
    struct tune_truth_log truth;
    struct written_log log = troubled(&none, &truth);
    (void)state;
    assert_int_equal(truth.n_troubles, 0);
    assert_int_equal(log.n, N);
    assert_null(log.channel[TUNE_ROLE_SKY]);
    assert_memory_equal(log.channel[TUNE_ROLE_TORQUE], torque, sizeof torque);
    assert_memory_equal(log.channel[TUNE_ROLE_POSITION], position, sizeof position);
    assert_memory_equal(log.channel[TUNE_ROLE_EXCITATION], excitation, sizeof excitation);
    check_close(log.channel[TUNE_ROLE_TIME][7], 7.0 / rate_hz, 0.0);
    written_log_free(&log);
}

/* ---- clock and rows -----------------------------------------------------------------------------*/

static void rows_are_taken_out_and_repeated(void **state)
{
    struct tune_trouble trouble = {.missing_rows = 7, .missing_at_s = 0.5};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    (void)state;
    check_truth(&truth, "samples-missing", 501, 7.0, 0.0);
    assert_int_equal(log.n, N - 7);
    check_close(log.channel[TUNE_ROLE_TIME][499], 0.499, 0.0);
    check_close(log.channel[TUNE_ROLE_TIME][500], 0.507, 0.0);
    check_close(log.channel[TUNE_ROLE_TORQUE][500], torque_at(507), 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.repeated_rows = 2, .repeated_at_s = 1.0};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "stamps-repeated", 1002, 2.0, 0.0);
    assert_int_equal(log.n, N + 2);
    for (size_t k = 1000; k < 1003; k++) {
        check_close(log.channel[TUNE_ROLE_TIME][k], 1.0, 0.0);
        check_close(log.channel[TUNE_ROLE_POSITION][k], position_at(1000), 0.0);
    }
    check_close(log.channel[TUNE_ROLE_TIME][1003], 1.001, 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.rows = 40};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "too-short", 0, 40.0, 0.0);
    assert_int_equal(log.n, 40);
    written_log_free(&log);
}

static void stamps_go_wrong_and_rows_stay(void **state)
{
    struct tune_trouble trouble = {.repeated_stamps = 2, .repeated_at_s = 1.0};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    const double *t = log.channel[TUNE_ROLE_TIME];
    (void)state;
    check_truth(&truth, "stamps-repeated", 1001, 2.0, 0.0);
    check_close(t[999], 0.999, 0.0);
    check_close(t[1000], 0.999, 0.0);
    check_close(t[1001], 0.999, 0.0);
    check_close(t[1002], 1.002, 0.0);
    check_close(log.channel[TUNE_ROLE_POSITION][1001], position_at(1001), 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.backward_s = 0.25, .backward_at_s = 1.5};
    log = troubled(&trouble, &truth);
    t = log.channel[TUNE_ROLE_TIME];
    check_truth(&truth, "stamps-backward", 1501, 0.249, 1e-15);
    check_close(t[1499], 1.499, 0.0);
    check_close(t[1500], 1.25, 0.0);
    check_close(t[N - 1], 1.749, 1e-15);
    written_log_free(&log);
    trouble.backward_rows = 1;
    log = troubled(&trouble, &truth);
    check_close(log.channel[TUNE_ROLE_TIME][1500], 1.25, 0.0);
    check_close(log.channel[TUNE_ROLE_TIME][1501], 1.501, 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.stamp_step_s = 0.004};
    log = troubled(&trouble, &truth);
    /* 0, -1, -2, -3 ms in turn: variance (4^2 - 1)/12 ms^2; of four rows one has a stamp of its own */
    assert_int_equal(truth.n_troubles, 2);
    assert_string_equal(truth.trouble[0].finding, "stamps-uneven");
    check_close(truth.trouble[0].value, 0.001 * sqrt(15.0 / 12.0), 1e-12);
    assert_string_equal(truth.trouble[1].finding, "stamps-repeated");
    assert_int_equal(truth.trouble[1].row, 2);
    check_close(truth.trouble[1].value, 0.75 * N, 0.0);
    check_close(log.channel[TUNE_ROLE_TIME][11], 0.008, 1e-15);
    check_close(log.channel[TUNE_ROLE_TIME][12], 0.012, 1e-15);
    written_log_free(&log);
}

static void a_clock_runs_fast_and_scatters(void **state)
{
    struct tune_trouble trouble = {.rate_ppm = 2000.0};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    double sum = 0.0;
    (void)state;
    check_truth(&truth, "rate-differs", 0, rate_hz / 1.002, 1e-9);
    check_close(log.channel[TUNE_ROLE_TIME][1000], 1.002, 1e-12);
    written_log_free(&log);
    trouble = (struct tune_trouble){.stamp_scatter_s = 1e-4};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "stamps-uneven", 0, 1e-4, 0.0);
    for (size_t i = 0; i < N; i++)
        sum += pow(log.channel[TUNE_ROLE_TIME][i] - (double)i / rate_hz, 2.0);
    /* statistical, 5 sigma: the variance of N Gaussian values scatters by sqrt(2/N) */
    check_close_rel(sum / N, 1e-8, 5.0 * sqrt(2.0 / N));
    written_log_free(&log);
}

/* ---- columns ------------------------------------------------------------------------------------*/

static void columns_die_stick_and_slip(void **state)
{
    struct tune_trouble trouble = {.dead = TUNE_ROLE_TORQUE};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    (void)state;
    check_truth(&truth, "dead-channel", 1, 0.5, 0.0);
    check_close(log.channel[TUNE_ROLE_TORQUE][N - 1], 0.5, 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.stuck = TUNE_ROLE_POSITION, .stuck_at_s = 0.3, .stuck_s = 0.1};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "stuck-channel", 301, 0.1, 0.0);
    check_close(log.channel[TUNE_ROLE_POSITION][399], position_at(300), 0.0);
    check_close(log.channel[TUNE_ROLE_POSITION][400], position_at(400), 0.0);
    written_log_free(&log);
    for (int samples = -3; samples <= 3; samples += 6) {
        trouble = (struct tune_trouble){.skew = TUNE_ROLE_TORQUE, .skew_samples = samples};
        log = troubled(&trouble, &truth);
        check_truth(&truth, "columns-skewed", 0, samples, 0.0);
        /* ends for which one column has nothing are cut off */
        assert_int_equal(log.n, N - 3);
        for (size_t k = 0; k < log.n; k++) {
            const size_t row = samples > 0 ? k + 3 : k;
            check_close(log.channel[TUNE_ROLE_TIME][k], (double)row / rate_hz, 0.0);
            check_close(log.channel[TUNE_ROLE_POSITION][k], position_at(row), 0.0);
            check_close(log.channel[TUNE_ROLE_TORQUE][k],
                        torque_at(samples > 0 ? row - 3 : row + 3), 0.0);
        }
        written_log_free(&log);
    }
    trouble = (struct tune_trouble){.no_target = true};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "target-missing", 0, 0.0, 0.0);
    assert_null(log.channel[TUNE_ROLE_TARGET]);
    written_log_free(&log);
    trouble = (struct tune_trouble){.unreadable = true, .unreadable_at_s = 0.7};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "unreadable", 701, 0.0, 0.0);
    assert_true(isnan(log.channel[TUNE_ROLE_POSITION][700]));
    written_log_free(&log);
}

static void torque_is_scaled_flipped_and_limited(void **state)
{
    struct tune_trouble trouble = {.torque_scale = 2.0};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    size_t first = 0;
    (void)state;
    while (2.0 * torque_at(first) <= 3.6)
        first++;
    /* the sine comes within 1e-4 of its peak of 3.5 N m */
    check_truth(&truth, "torque-above-limit", first + 1, 7.0 / 3.6, 1e-4);
    check_close(log.channel[TUNE_ROLE_TORQUE][40], 2.0 * torque_at(40), 0.0);
    check_close(log.channel[TUNE_ROLE_EXCITATION][150], 2.0 * excitation[150], 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.flipped = TUNE_FLIPPED_TORQUE};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "torque-sign", 0, -1.0, 0.0);
    check_close(log.channel[TUNE_ROLE_TORQUE][40], -torque_at(40), 0.0);
    check_close(log.channel[TUNE_ROLE_EXCITATION][150], excitation[150], 0.0);
    written_log_free(&log);
    trouble.flipped = TUNE_FLIPPED_ALL;
    log = troubled(&trouble, &truth);
    check_truth(&truth, "torque-sign", 0, -1.0, 0.0);
    check_close(log.channel[TUNE_ROLE_EXCITATION][150], -excitation[150], 0.0);
    written_log_free(&log);
}

/* A first-order loop answers a held unit step with 1 - exp(-k T/lag) after k periods. */
static void a_measured_torque_lags_the_command(void **state)
{
    struct tune_trouble trouble = {.measured = TUNE_MEASURED_BESIDE, .measured_lag_s = 0.004};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth), instead;
    double *u = log.channel[TUNE_ROLE_TORQUE], *y = log.channel[TUNE_ROLE_MEASURED_TORQUE];
    double current = u[0];
    (void)state;
    assert_int_equal(truth.n_troubles, 0); /* both logged: no trouble */
    check_close(u[77], torque_at(77), 0.0);
    check_close(y[0], u[0], 0.0);
    for (size_t k = 1; k < N; k++) {
        current += (u[k - 1] - current) * (1.0 - exp(-0.001 / 0.004));
        check_close(y[k], current, 1e-12); /* rounding */
    }
    trouble.measured = TUNE_MEASURED_INSTEAD;
    instead = troubled(&trouble, &truth);
    /* a ramp of commands, one more each ms, is followed at this distance, less the half ms of hold */
    check_truth(&truth, "torque-measured", 0, 0.001 / (1.0 - exp(-0.25)) - 0.0005, 1e-15);
    assert_null(instead.channel[TUNE_ROLE_MEASURED_TORQUE]);
    assert_memory_equal(instead.channel[TUNE_ROLE_TORQUE], y, N * sizeof *y);
    written_log_free(&instead);
    written_log_free(&log);
    trouble.measured_lag_s = 0.0; /* one sample late all the same */
    log = troubled(&trouble, &truth);
    check_close(log.channel[TUNE_ROLE_TORQUE][50], torque_at(49), 0.0);
    written_log_free(&log);
}

/* ---- position -----------------------------------------------------------------------------------*/

static void the_angle_is_bent_in_every_way(void **state)
{
    struct tune_trouble trouble = {.position_scale = 1.01};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    (void)state;
    check_truth(&truth, "scale-differs", 0, 1.01, 0.0);
    check_close(log.channel[TUNE_ROLE_POSITION][9], 1.01 * position_at(9), 0.0);
    check_close(log.channel[TUNE_ROLE_TARGET][9], position_at(9), 0.0);
    written_log_free(&log);
    trouble = (struct tune_trouble){.drift_rad_per_s = -2.0 * arcsec};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "position-drift", 0, -2.0, 1e-12);
    check_close(log.channel[TUNE_ROLE_POSITION][1500], position_at(1500) - 3.0 * arcsec, 5.0001e-8);
    written_log_free(&log);
    trouble = (struct tune_trouble){.position_step_rad = 3e-5};
    log = troubled(&trouble, &truth);
    check_truth(&truth, "quantisation-coarse", 0, 300.0, 1e-9);
    for (size_t i = 0; i < N; i++) {
        const double steps = log.channel[TUNE_ROLE_POSITION][i] / 3e-5;
        check_close(steps, rint(steps), 1e-6);
        check_close(log.channel[TUNE_ROLE_POSITION][i], position_at(i), 1.5001e-5);
    }
    written_log_free(&log);
    trouble = (struct tune_trouble){.float32 = true};
    log = troubled(&trouble, &truth);
    /* IEEE 754: 24 significant bits; the middle, 1.2 rad, lies in 1..2 */
    check_truth(&truth, "position-float32", 0, pow(2.0, -23.0) / arcsec, 1e-9);
    check_close(log.channel[TUNE_ROLE_POSITION][900], (double)(float)position_at(900), 0.0);
    written_log_free(&log);
}

static void the_angle_wraps_where_it_leaves_its_range(void **state)
{
    struct tune_trouble trouble = {.wrap_rad = 1.0};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    (void)state;
    /* 0.2 to 2.199 rad: past 1 at row 801 (0.2 + 0.8), past 2 */
    check_truth(&truth, "encoder-wrapped", 801, 2.0, 0.0);
    check_close(log.channel[TUNE_ROLE_POSITION][799], position_at(799), 1e-15);
    check_close(log.channel[TUNE_ROLE_POSITION][801], position_at(801) - 1.0, 1e-15);
    check_close(log.channel[TUNE_ROLE_POSITION][N - 1], position_at(N - 1) - 2.0, 1e-15);
    written_log_free(&log);
    trouble.wrap_signed = true;
    log = troubled(&trouble, &truth);
    check_truth(&truth, "encoder-wrapped", 301, 2.0, 0.0); /* past 0.5 and 1.5 */
    check_close(log.channel[TUNE_ROLE_POSITION][301], position_at(301) - 1.0, 1e-15);
    written_log_free(&log);
}

static void glitches_stand_alone(void **state)
{
    const struct tune_trouble trouble = {.glitches = 50, .glitch_rad = 0.5};
    struct tune_truth_log truth;
    struct written_log log = troubled(&trouble, &truth);
    size_t count = 0, first = 0, last = 0, up = 0;
    (void)state;
    for (size_t i = 0; i < N; i++) {
        const double jump = log.channel[TUNE_ROLE_POSITION][i] - position_at(i);
        if (fabs(jump) < 1e-7) continue; /* in steps of 1e-7 */
        check_close(fabs(jump), 0.5, 5.0001e-8);
        assert_true(!count || i > last + 2);
        if (!count++) first = i + 1;
        last = i;
        up += jump > 0.0;
    }
    check_truth(&truth, "encoder-glitch", first, 50.0, 0.0);
    assert_int_equal(count, 50);
    assert_in_range(up, 8, 42); /* statistical, 4.8 sigma */
    written_log_free(&log);
}

/* ---- the axis -----------------------------------------------------------------------------------*/

static void what_acts_in_the_run_goes_to_the_axis(void **state)
{
    const struct tune_simulated_log log = {.trouble = {.saturation_nm = 4.0,
                                                       .encoder_noise_rad = 2e-7,
                                                       .interpolation_rad = {1e-7, 0.0, 3e-8, 0.0},
                                                       .sweep_to_hz = 12.0}};
    const struct tune_simulated_log none = {0};
    const struct tune_drive_entry drive = {.encoder_lines_per_turn = 3600.0};
    struct tune_axis axis = {.torque_limit_nm = 9.0, .encoder_noise_rad = 1e-8};
    struct tune_sweep sweep = {.to_hz = 100.0};
    (void)state;
    chain_trouble_axis(&axis, &none, &drive);
    check_close(axis.torque_limit_nm, 9.0, 0.0);
    check_close(axis.encoder_noise_rad, 1e-8, 0.0);
    chain_trouble_axis(&axis, &log, &drive);
    check_close(axis.torque_limit_nm, 4.0, 0.0);
    check_close(axis.encoder_noise_rad, 2e-7, 0.0);
    check_close(axis.encoder_lines_per_turn, 3600.0, 0.0);
    check_close(axis.interpolation_rad[2], 3e-8, 0.0);
    chain_trouble_sweep(&sweep, &none.trouble);
    check_close(sweep.to_hz, 100.0, 0.0);
    chain_trouble_sweep(&sweep, &log.trouble);
    check_close(sweep.to_hz, 12.0, 0.0);
}

/* What goes wrong by itself is told too. */
static void saturation_and_reversal_are_told_wherever_they_are(void **state)
{
    const struct tune_simulated_log entry = {.kind = TUNE_LOG_SWEEP, .ramp_rad_per_s = -1.0};
    struct tune_axis axis = {.torque_limit_nm = 3.0, .friction = {.coulomb_nm = 0.7}};
    const struct tune_axis_trace trace = make_trace();
    struct trouble_case c = {.log = &entry,
                             .axis = &axis,
                             .trace = &trace,
                             .excitation_nm = excitation,
                             .rate_hz = rate_hz};
    struct tune_truth_log truth = {0};
    struct written_log log;
    struct tune_error err;
    size_t on = 0, first = 0;
    (void)state;
    for (size_t i = 0; i < N; i++)
        if (fabs(torque[i]) >= 3.0 && !on++) first = i + 1;
    assert_in_range(on, 1, N);
    assert_int_equal(written_log_make(&log, &entry, &trace, target, excitation, rate_hz, &err),
                     TUNE_OK);
    chain_tell_troubles(&truth, &c, &log);
    assert_int_equal(truth.n_troubles, 3);
    assert_string_equal(truth.trouble[0].finding, "torque-saturated");
    assert_int_equal(truth.trouble[0].row, first);
    check_close(truth.trouble[0].value, (double)on / N, 1e-15);
    /* the ramp should go down and the axis goes up all the time: rows 101.. of the sweep */
    assert_string_equal(truth.trouble[1].finding, "velocity-reversal");
    assert_int_equal(truth.trouble[1].row, 101);
    check_close(truth.trouble[1].value, 1.0, 1e-3);
    assert_string_equal(truth.trouble[2].finding, "friction-suspected");
    written_log_free(&log);
}

static void memory_that_runs_out_is_told(void **state)
{
    const struct tune_trouble trouble = {.missing_rows = 3,
                                         .missing_at_s = 0.5,
                                         .skew = TUNE_ROLE_TORQUE,
                                         .skew_samples = 1.0,
                                         .measured = TUNE_MEASURED_BESIDE};
    const struct tune_simulated_log entry = {.kind = TUNE_LOG_HOLD, .trouble = trouble};
    const struct tune_axis_trace trace = make_trace();
    const struct trouble_case c = {.log = &entry, .trace = &trace, .rate_hz = rate_hz};
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k;
    (void)state;
    for (k = 1; status; k++) {
        struct written_log log;
        struct tune_random rng;
        tune_random_init(&rng, 1, 3);
        check_fail_allocation(k);
        status = written_log_make(&log, &entry, &trace, target, excitation, rate_hz, NULL);
        if (!status) status = chain_trouble_columns(&log, &c, &rng, NULL);
        if (!status) status = chain_trouble_rows(&log, &trouble, rate_hz, &rng, NULL);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        written_log_free(&log);
    }
    assert_in_range(k, 10, 30);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_trouble_everything_is_as_it_was),
        cmocka_unit_test(rows_are_taken_out_and_repeated),
        cmocka_unit_test(stamps_go_wrong_and_rows_stay),
        cmocka_unit_test(a_clock_runs_fast_and_scatters),
        cmocka_unit_test(columns_die_stick_and_slip),
        cmocka_unit_test(torque_is_scaled_flipped_and_limited),
        cmocka_unit_test(a_measured_torque_lags_the_command),
        cmocka_unit_test(the_angle_is_bent_in_every_way),
        cmocka_unit_test(the_angle_wraps_where_it_leaves_its_range),
        cmocka_unit_test(glitches_stand_alone),
        cmocka_unit_test(what_acts_in_the_run_goes_to_the_axis),
        cmocka_unit_test(saturation_and_reversal_are_told_wherever_they_are),
        cmocka_unit_test(memory_that_runs_out_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
