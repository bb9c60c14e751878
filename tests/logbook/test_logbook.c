/* test_logbook.c - axis.ini, read and joined.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "logbook/logbook.h"

#define SHORT                                                                                      \
    "[axis]\n[drive]\nloop_rate_hz = 4000\n[log east-45]\nkind = sweep\nfile = logs/a.csv.gz\n"

static const char full[] =
    "\xef\xbb\xbf; an invented axis\r\n"
    "[axis]\r\n"
    "site          = Heron Flat 0.8 m\r\n"
    "name          = hour-angle               ; hour-angle | declination\r\n"
    "configuration = \"spectrograph ; fitted, \"\"new\"\"\"   ; a quoted text\n"
    "date          = 2026-05-14\n"
    "latitude_deg  = -31.2\n"
    "\n"
    "# another comment, \"unbalanced\n"
    "  [drive]   ; indented\n"
    "  loop_rate_hz              = 4000\n"
    "sample_rate_hz=2000\n"
    "torque_per_unit_nm : 18.4\n"
    "torque_limit_nm           = 300\n"
    "torque_continuous_nm      = 120\n"
    "encoder_counts_per_turn   = 268435456\n"
    "encoder_lines_per_turn    = 31488\n"
    "travel_limit_deg          = -95   95\n"
    "rate_limit_deg_per_s      = 5\n"
    "max_biquads               = 5\n"
    "coefficient_format        = Q2.30\n"
    "[controller]\n"
    "kp_nm_per_rad         = 2.1e6\n"
    "ki_nm_per_rad_s       = 4.0e6\n"
    "kd_nm_s_per_rad       = 9.5e4\n"
    "derivative_filter_hz  = 400\n"
    "lowpass_hz            = 600\n"
    "biquad2_zero_hz = 41.2\nbiquad2_zero_zeta = 0\nbiquad2_pole_hz = 43\nbiquad2_pole_zeta = .4\n"
    "biquad1_zero_hz = 21.2\nbiquad1_zero_zeta = .1\nbiquad1_pole_hz = 23\nbiquad1_pole_zeta = .3\n"
    "[requirement]\n"
    "jitter_rms_arcsec          = 0.10\n"
    "jitter_of                  = sky\n"
    "phase_margin_deg           = 40\n"
    "gain_margin_db             = 6\n"
    "gain_reduction_margin_db   = 8\n"
    "peak_sensitivity           = 1.7\n"
    "tracking_rate_arcsec_per_s = 15.041\n"
    "settle_arcsec              = 0.5\n"
    "settle_s                   = 3\n"
    "[slide counterweight]\nmass_kg = 60\nangle_deg = 20\ntravel_mm = -80 120\nstep_mm = 1\n"
    "[place plate]\narm_m = 0.9\nangle_deg = 200\nmost_kg = 12\n"
    "[payload]\n"
    "ratio1_hz = 14.8\nratio1 = -3.3\nratio2_hz = 31\nratio2 = 1.42\n"
    "payload_accel_arm_m = -1.5\nsky_exposure_s = 0.02\n"
    "[log east-45]\n"
    "kind      = sweep\n"
    "file      = logs/east-45.csv.gz\n"
    "pointing  = east\n"
    "angle_deg = -45\n"
    "other_axis_deg = 20\n"
    "other_axis_state = braked\n"
    "torque = \"Iq act; filtered\"\n"
    "torque_unit = \xe2\x80\xb0\n"
    "torque_scale = 2\n"
    "torque_offset = -1.5\n"
    "torque_sign = -1\n"
    "torque_delay_samples = 1.5\n"
    "load_position = ring_deg\n"
    "payload_accel_unit = g\n"
    "time_unit = ms\n"
    "[log east-45.2]\n"
    "kind = response\nof = loop\nfile = /data/analyser.csv\npointing = east\n"
    "controller = soft.ini\nsample_rate_hz = 1000\n";

static struct tune_logbook parse(const char *text)
{
    struct tune_logbook logbook;
    struct tune_error err = {0};
    if (tune_logbook_parse(&logbook, "books/ha/axis.ini", text, strlen(text), &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    return logbook;
}

static void every_key_arrives_where_it_belongs(void **state)
{
    struct tune_logbook book = parse(full);
    const struct tune_controller *c = &book.controller;
    const struct tune_requirement *r = &book.requirement;
    (void)state;
    assert_string_equal(book.folder, "books/ha");
    assert_string_equal(book.ini_path, "books/ha/axis.ini");
    assert_string_equal(book.axis.site, "Heron Flat 0.8 m");
    assert_string_equal(book.axis.name, "hour-angle");
    assert_string_equal(book.axis.configuration, "spectrograph ; fitted, \"new\"");
    assert_string_equal(book.axis.date, "2026-05-14");
    check_close(book.axis.latitude_deg, -31.2, 0.0);

    check_close(book.drive.loop_rate_hz, 4000.0, 0.0);
    check_close(book.drive.torque_per_unit_nm, 18.4, 0.0);
    check_close(book.drive.torque_limit_nm, 300.0, 0.0);
    check_close(book.drive.torque_continuous_nm, 120.0, 0.0);
    check_close(book.drive.encoder_counts_per_turn, 268435456.0, 0.0);
    check_close(book.drive.encoder_lines_per_turn, 31488.0, 0.0);
    check_close(book.drive.travel_limit_deg[0], -95.0, 0.0);
    check_close(book.drive.travel_limit_deg[1], 95.0, 0.0);
    check_close(book.drive.rate_limit_deg_per_s, 5.0, 0.0);
    assert_int_equal(book.drive.max_biquads, 5);
    assert_string_equal(book.drive.coefficient_format, "Q2.30");

    assert_true(book.has_controller);
    check_close(c->loop_rate_hz, 4000.0, 0.0);
    check_close(c->kp_nm_per_rad, 2.1e6, 0.0);
    check_close(c->ki_nm_per_rad_s, 4.0e6, 0.0);
    check_close(c->kd_nm_s_per_rad, 9.5e4, 0.0);
    check_close(c->derivative_filter_hz, 400.0, 0.0);
    check_close(c->lowpass_hz, 600.0, 0.0);
    assert_int_equal(c->lowpass_order, 2);
    check_close(c->lowpass_zeta, 0.7071, 0.0);
    assert_int_equal(c->n_biquads, 2);
    check_close(c->biquad[0].zero_hz, 21.2, 0.0);
    check_close(c->biquad[0].pole_zeta, 0.3, 0.0);
    check_close(c->biquad[1].zero_zeta, 0.0, 0.0);
    check_close(c->biquad[1].pole_hz, 43.0, 0.0);

    check_close(r->jitter_rms_arcsec, 0.1, 0.0);
    assert_true(r->jitter_of_sky);
    check_close(r->phase_margin_deg, 40.0, 0.0);
    check_close(r->gain_margin_db, 6.0, 0.0);
    check_close(r->gain_reduction_margin_db, 8.0, 0.0);
    check_close(r->peak_sensitivity, 1.7, 0.0);
    check_close(r->noise_torque_rms_nm, 0.02 * 120.0, 1e-15); /* the default */
    check_close(r->tracking_rate_arcsec_per_s, 15.041, 0.0);
    check_close(r->settle_arcsec, 0.5, 0.0);
    check_close(r->settle_s, 3.0, 0.0);

    assert_int_equal(book.n_weights, 2);
    assert_string_equal(book.weight[0].name, "counterweight");
    assert_false(book.weight[0].place);
    check_close(book.weight[0].mass_kg, 60.0, 0.0);
    check_close(book.weight[0].travel_mm[0], -80.0, 0.0);
    check_close(book.weight[0].step_mm, 1.0, 0.0);
    assert_true(book.weight[1].place);
    check_close(book.weight[1].arm_m, 0.9, 0.0);
    check_close(book.weight[1].angle_deg, 200.0, 0.0);
    check_close(book.weight[1].step_kg, 0.0, 0.0);
    assert_int_equal(book.n_payload_ratios, 2);
    check_close(book.payload_ratio[0].f_hz, 14.8, 0.0);
    check_close(book.payload_ratio[0].ratio, -3.3, 0.0);
    check_close(book.payload_ratio[1].ratio, 1.42, 0.0);
    check_close(book.payload_sensors.accel_arm_m, -1.5, 0.0);
    check_close(book.payload_sensors.accel_arm_std_m, 0.03, 1e-15); /* the default, 2 % */
    check_close(book.payload_sensors.sky_exposure_s, 0.02, 0.0);
    tune_logbook_free(&book);
}

static void a_log_knows_how_to_be_read(void **state)
{
    struct tune_logbook book = parse(full);
    const struct tune_log_entry *log = book.log;
    const struct tune_column_map *torque = &log->reading.map[TUNE_ROLE_TORQUE];
    (void)state;
    assert_int_equal(book.n_logs, 2);
    assert_string_equal(log->name, "east-45");
    assert_string_equal(log->pointing, "east");
    assert_int_equal(log->kind, TUNE_LOG_SWEEP);
    assert_string_equal(log->file, "logs/east-45.csv.gz");
    assert_string_equal(log->controller_file, "");
    check_close(log->angle_deg, -45.0, 0.0);
    check_close(log->other_axis_deg, 20.0, 0.0);
    assert_string_equal(log->other_axis_state, "braked");
    long line = 1;
    for (const char *at = full; at < strstr(full, "[log east-45]"); at++)
        line += *at == '\n';
    assert_int_equal(log->line, line);
    check_close(log->reading.torque_per_unit_nm, 18.4, 0.0);
    check_close(log->reading.encoder_counts_per_turn, 268435456.0, 0.0);
    check_close(log->reading.sample_rate_hz, 2000.0, 0.0);
    assert_string_equal(torque->column, "Iq act; filtered");
    assert_string_equal(torque->unit, "permille");
    check_close(torque->scale, 2.0, 0.0);
    check_close(torque->offset, -1.5, 0.0);
    check_close(torque->sign, -1.0, 0.0);
    check_close(torque->delay_samples, 1.5, 0.0);
    assert_string_equal(log->reading.map[TUNE_ROLE_LOAD_POSITION].column, "ring_deg");
    assert_string_equal(log->reading.map[TUNE_ROLE_PAYLOAD_ACCEL].unit, "g");
    assert_string_equal(log->reading.map[TUNE_ROLE_TIME].unit, "ms");
    check_close(log->reading.map[TUNE_ROLE_POSITION].scale, 1.0, 0.0);

    assert_string_equal(log[1].name, "east-45.2");
    assert_int_equal(log[1].kind, TUNE_LOG_RESPONSE);
    assert_true(log[1].of_loop);
    assert_string_equal(log[1].controller_file, "soft.ini");
    check_close(log[1].reading.sample_rate_hz, 1000.0, 0.0);
    tune_logbook_free(&book);
    tune_logbook_free(&book);
    assert_null(book.log);
}

static void what_is_not_given_is_nan_or_its_default(void **state)
{
    struct tune_logbook book = parse(SHORT);
    (void)state;
    assert_false(book.has_controller);
    assert_true(isnan(book.axis.latitude_deg));
    assert_string_equal(book.axis.name, "");
    check_close(book.drive.sample_rate_hz, 4000.0, 0.0);
    assert_true(isnan(book.drive.torque_limit_nm));
    assert_true(isnan(book.drive.travel_limit_deg[0]));
    assert_int_equal(book.drive.max_biquads, 3);
    assert_string_equal(book.drive.coefficient_format, "float64");
    assert_true(isnan(book.requirement.jitter_rms_arcsec));
    assert_true(isnan(book.requirement.settle_s));
    assert_true(isnan(book.requirement.noise_torque_rms_nm));
    assert_false(book.requirement.jitter_of_sky);
    assert_int_equal(book.n_payload_ratios, 0);
    assert_true(isnan(book.payload_sensors.accel_arm_m));
    assert_string_equal(book.log[0].pointing, "east-45");
    assert_true(isnan(book.log[0].angle_deg));
    check_close(book.log[0].reading.torque_per_unit_nm, 0.0, 0.0);
    tune_logbook_free(&book);
}

static void a_folder_or_its_file_names_the_logbook(void **state)
{
    char *folder = check_folder(), *path = check_file(folder, "axis.ini", SHORT, strlen(SHORT));
    char with_slash[300], joined[TUNE_PATH_LENGTH], want[300];
    struct tune_logbook book;
    struct tune_error err;
    (void)state;
    (void)snprintf(with_slash, sizeof with_slash, "%s//", folder);
    (void)snprintf(want, sizeof want, "%s/logs/a.csv.gz", folder);
    const char *const way[] = {folder, path, with_slash};
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(tune_logbook_read(&book, way[i], &err), TUNE_OK);
        assert_string_equal(book.folder, folder);
        assert_string_equal(book.ini_path, path);
        assert_int_equal(tune_logbook_join(joined, &book, book.log[0].file, &err), TUNE_OK);
        assert_string_equal(joined, want);
        assert_int_equal(tune_logbook_join(joined, &book, "/abs/x.csv", &err), TUNE_OK);
        assert_string_equal(joined, "/abs/x.csv");
        tune_logbook_free(&book);
    }
    free(path);
    check_folder_remove(folder);
}

static void paths_are_joined_or_refused_as_too_long(void **state)
{
    struct tune_logbook book = {.folder = "."};
    char joined[TUNE_PATH_LENGTH], path[2 * TUNE_PATH_LENGTH];
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_logbook_join(joined, &book, "a/b", &err), TUNE_OK);
    assert_string_equal(joined, "a/b");
    strcpy(book.folder, "/");
    assert_int_equal(tune_logbook_join(joined, &book, "a/b", &err), TUNE_OK);
    assert_string_equal(joined, "/a/b");
    memset(path, 'x', sizeof path);
    for (size_t length = TUNE_PATH_LENGTH - 4; length < TUNE_PATH_LENGTH + 4; length++) {
        path[length] = '\0';
        const enum tune_status want = length + 1 < TUNE_PATH_LENGTH ? TUNE_OK : TUNE_EINVAL;
        assert_int_equal(tune_logbook_join(joined, &book, path, &err), want);
        path[length] = 'x';
    }
    path[1500] = '\0';
    assert_int_equal(tune_logbook_parse(&book, path, SHORT, strlen(SHORT), &err), TUNE_EINVAL);
    assert_int_equal(tune_logbook_parse(&book, "/axis.ini", SHORT, strlen(SHORT), &err), TUNE_OK);
    assert_string_equal(book.folder, "/");
    tune_logbook_free(&book);
    assert_int_equal(tune_logbook_parse(&book, "axis.ini", SHORT, strlen(SHORT), &err), TUNE_OK);
    assert_string_equal(book.folder, ".");
    tune_logbook_free(&book);
}

static void what_is_not_there_is_a_system_error(void **state)
{
    char *folder = check_folder();
    struct tune_logbook book;
    struct tune_controller controller;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_logbook_read(&book, "/nonexistent", &err), TUNE_EIO);
    assert_string_equal(err.file, "/nonexistent");
    assert_int_equal(tune_logbook_read(&book, folder, &err), TUNE_EIO);
    assert_non_null(strstr(err.file, "/axis.ini"));
    assert_int_equal(tune_controller_read(&controller, folder, 4000.0, &err), TUNE_EIO);
    assert_string_equal(err.file, folder);
    assert_int_equal(tune_controller_read(&controller, "/nonexistent", 4000.0, &err), TUNE_EIO);
    check_folder_remove(folder);
}

/* The keys of first motions, with their defaults. */
static void first_motions_arrive_where_they_belong(void **state)
{
    struct tune_logbook book =
        parse("[axis]\n[drive]\nloop_rate_hz = 4000\nfollowing_error_limit_deg = 0.5\n"
              "pole_pairs = 33\n[expected]\ninertia_kg_m2 = 850\ncoulomb_nm = 6\n"
              "stop_room_deg = 3\nindex_repeat_arcsec = 0.2\ncommutation_offset_deg = 8\n"
              "[log m]\nkind = move\nfile = m\nknown_angle_deg = -30\n"
              "[log w]\nkind = load\nfile = w\nload_kg = 12.5\nload_std_kg = 0.01\n"
              "load_arm_m = -0.8\nload_arm_std_m = 0.001\nload_arm_angle_deg = 5\n"
              "load_axis_tilt_deg = 31\n"
              "[log high]\nkind = limit\nfile = h\nlimit_side = high\n"
              "enabled = \"Drive on\"\nindex_unit = flag\n");
    const struct tune_log_entry *log = book.log;
    (void)state;
    check_close(book.drive.following_error_limit_deg, 0.5, 0.0);
    assert_int_equal(book.drive.pole_pairs, 33);
    check_close(book.expected.inertia_kg_m2, 850.0, 0.0);
    check_close(book.expected.inertia_std_kg_m2, 85.0, 1e-12); /* 10 %, the default */
    check_close(book.expected.coulomb_nm, 6.0, 0.0);
    check_close(book.expected.stop_room_deg, 3.0, 0.0);
    check_close(book.expected.index_repeat_arcsec, 0.2, 0.0);
    check_close(book.expected.commutation_offset_deg, 8.0, 0.0);
    assert_int_equal(log[0].kind, TUNE_LOG_MOVE);
    check_close(log[0].known_angle_deg, -30.0, 0.0);
    check_close(log[0].known_angle_std_deg, 0.05, 0.0);
    assert_true(isnan(log[0].load_kg) && isnan(log[1].known_angle_deg));
    assert_int_equal(log[1].kind, TUNE_LOG_LOAD);
    check_close(log[1].load_kg, 12.5, 0.0);
    check_close(log[1].load_std_kg, 0.01, 0.0);
    check_close(log[1].load_arm_m, -0.8, 0.0);
    check_close(log[1].load_arm_std_m, 0.001, 0.0);
    check_close(log[1].load_arm_angle_deg, 5.0, 0.0);
    check_close(log[1].load_axis_tilt_deg, 31.0, 0.0);
    assert_int_equal(log[2].limit_side, TUNE_LIMIT_HIGH);
    assert_string_equal(log[2].reading.map[TUNE_ROLE_ENABLED].column, "Drive on");
    tune_logbook_free(&book);

    book = parse(SHORT "[expected]\ninertia_kg_m2 = 800\ninertia_std_kg_m2 = 20\n");
    check_close(book.expected.inertia_std_kg_m2, 20.0, 0.0);
    check_close(book.expected.commutation_offset_deg, 15.0, 0.0);
    assert_true(isnan(book.expected.coulomb_nm) && isnan(book.drive.following_error_limit_deg));
    assert_int_equal(book.drive.pole_pairs, 0);
    tune_logbook_free(&book);
    book = parse(SHORT); /* no section at all: the same defaults */
    assert_true(isnan(book.expected.inertia_kg_m2) && isnan(book.expected.inertia_std_kg_m2));
    check_close(book.expected.commutation_offset_deg, 15.0, 0.0);
    tune_logbook_free(&book);
}

static void a_logbook_says_how_an_axis_is_inclined(void **state)
{
    struct tune_axis_entry axis = {.name = "altitude", .latitude_deg = -45.0};
    struct tune_log_entry log = {.load_kg = 2.0,
                                 .load_arm_m = -0.5,
                                 .load_arm_angle_deg = 30.0,
                                 .load_axis_tilt_deg = (double)NAN};
    struct tune_weight weight = tune_log_weight(&axis, &log);
    (void)state;
    check_close(weight.mass_kg, 2.0, 0.0);
    check_close(weight.arm_m, -0.5, 0.0);
    check_close(weight.arm_angle_rad, TUNE_PI / 6, 1e-15);
    check_close(weight.tilt_rad, 0.0, 0.0);
    check_close(weight.gravity_m_per_s2, 9.806199203, 2e-9);
    (void)snprintf(axis.name, sizeof axis.name, "hour-angle");
    check_close(tune_log_weight(&axis, &log).tilt_rad, TUNE_PI / 4, 1e-15);
    (void)snprintf(axis.name, sizeof axis.name, "azimuth");
    check_close(tune_log_weight(&axis, &log).tilt_rad, TUNE_PI / 2, 1e-15);
    log.load_axis_tilt_deg = 20.0;
    check_close(tune_log_weight(&axis, &log).tilt_rad, TUNE_PI / 9, 1e-15);
    log.load_axis_tilt_deg = axis.latitude_deg = (double)NAN;
    (void)snprintf(axis.name, sizeof axis.name, "hour-angle");
    weight = tune_log_weight(&axis, &log);
    assert_true(isnan(weight.tilt_rad));
    check_close(weight.gravity_m_per_s2, TUNE_GRAVITY_STANDARD, 0.0);
}

static void every_kind_has_its_name(void **state)
{
    (void)state;
    static const char *const needed[TUNE_LOG_KINDS] = {
        [TUNE_LOG_MOVE] = "known_angle_deg=-30\n",
        [TUNE_LOG_LOAD] = "load_kg=0\nload_arm_m=1\n",
        [TUNE_LOG_LIMIT] = "limit_side=high\n",
    };
    for (int kind = TUNE_LOG_SWEEP; kind < TUNE_LOG_KINDS; kind++) {
        char text[200];
        (void)snprintf(
            text, sizeof text, "[axis]\n[drive]\nloop_rate_hz=1\n[log a]\nfile=a\nkind=%s\n%s",
            tune_log_kind_name((enum tune_log_kind)kind), needed[kind] ? needed[kind] : "");
        struct tune_logbook book = parse(text);
        assert_int_equal(book.log[0].kind, kind);
        tune_logbook_free(&book);
    }
    assert_string_equal(tune_log_kind_name((enum tune_log_kind)99), "unknown");
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    do {
        struct tune_logbook book;
        struct tune_error err = {0};
        check_fail_allocation(++k);
        status = tune_logbook_parse(&book, "axis.ini", full, strlen(full), &err);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        if (status != TUNE_OK) assert_non_null(strstr(err.text, "out of memory"));
        if (status != TUNE_OK) assert_null(book.log);
        tune_logbook_free(&book);
    } while (status != TUNE_OK);
    assert_in_range(k, 10, 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_key_arrives_where_it_belongs),
        cmocka_unit_test(a_log_knows_how_to_be_read),
        cmocka_unit_test(what_is_not_given_is_nan_or_its_default),
        cmocka_unit_test(a_folder_or_its_file_names_the_logbook),
        cmocka_unit_test(paths_are_joined_or_refused_as_too_long),
        cmocka_unit_test(what_is_not_there_is_a_system_error),
        cmocka_unit_test(first_motions_arrive_where_they_belong),
        cmocka_unit_test(a_logbook_says_how_an_axis_is_inclined),
        cmocka_unit_test(every_kind_has_its_name),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
