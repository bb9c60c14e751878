/* test_drive_keys.c - what [drive] says of the controller it accepts: defaults, units, refusals.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "logbook/logbook.h"

#define HEAD "[axis]\n[drive]\nloop_rate_hz = 4000\n" /* lines 1 to 3 */
#define LOG  "[log a]\nkind = sweep\nfile = a.csv\n"

static enum tune_status parse(struct tune_drive_entry *drive, const char *keys,
                              struct tune_error *err)
{
    char text[2048];
    struct tune_logbook book;
    enum tune_status status;
    (void)snprintf(text, sizeof text, HEAD "%s" LOG, keys);
    status = tune_logbook_parse(&book, "axis.ini", text, strlen(text), err);
    *drive = book.drive;
    tune_logbook_free(&book);
    return status;
}

static void nothing_said_is_a_parallel_pid_in_si(void **state)
{
    const struct tune_drive_form plain = tune_drive_form_defaults();
    struct tune_drive_entry drive;
    (void)state;
    assert_int_equal(parse(&drive, "", NULL), TUNE_OK);
    assert_int_equal(drive.form.structure, TUNE_FORM_PARALLEL);
    assert_int_equal(drive.form.filters, TUNE_FILTERS_BIQUAD);
    assert_int_equal(drive.form.notch_width, TUNE_WIDTH_HZ);
    assert_int_equal(drive.form.coefficients.kind, TUNE_FLOAT64);
    assert_int_equal(drive.form.position_divider, 1);
    check_close(drive.position_rate_hz, 4000.0, 0.0);
    assert_string_equal(drive.form.torque_unit, plain.torque_unit);
    assert_string_equal(drive.form.angle_unit, plain.angle_unit);
    assert_string_equal(drive.form.time_unit, plain.time_unit);
    for (int q = 0; q < TUNE_DRIVE_QUANTITIES; q++)
        check_close(tune_drive_factor(&drive.form, (enum tune_drive_quantity)q), 1.0, 0.0);
}

static void everything_said_arrives(void **state)
{
    struct tune_drive_entry drive;
    struct tune_error err = {0};
    const struct tune_drive_limit *limit = drive.form.limit;
    (void)state;
    assert_int_equal(parse(&drive,
                           "torque_per_unit_nm = 18.4\nencoder_counts_per_turn = 268435456\n"
                           "coefficient_format = Q2.30\ncontroller_form = cascade\n"
                           "position_rate_hz = 1000\nvelocity_integral = gain\n"
                           "filter_form = notch\nnotch_width = q\ngain_torque_unit = a\n"
                           "gain_angle_unit = counts\ngain_time_unit = samples\n"
                           "position_gain_range = 0 0.5\nposition_gain_step = 0.001\n"
                           "velocity_gain_digits = 5\nvelocity_ki_scale = 65536\n"
                           "notch_depth_range = 0 40\nderivative_filter_step = 10\n"
                           "lowpass_zeta_digits = 3\nnotch_width_range = 0.5 20\n",
                           &err),
                     TUNE_OK);
    assert_int_equal(drive.form.structure, TUNE_FORM_CASCADE);
    assert_int_equal(drive.form.position_divider, 4);
    assert_true(drive.form.velocity_integral_by_gain);
    assert_int_equal(drive.form.filters, TUNE_FILTERS_NOTCH);
    assert_int_equal(drive.form.notch_width, TUNE_WIDTH_Q);
    assert_int_equal(drive.form.coefficients.kind, TUNE_FIXED);
    check_close(drive.form.torque_unit_nm, 18.4, 0.0);
    check_close_rel(drive.form.angle_unit_rad, 2.0 * TUNE_PI / 268435456.0, 1e-15);
    check_close(drive.form.time_unit_s, 1.0 / 4000.0, 0.0);
    assert_string_equal(drive.form.torque_unit, "A");
    assert_string_equal(drive.form.angle_unit, "count");
    assert_string_equal(drive.form.time_unit, "sample");
    check_close(limit[TUNE_DRIVE_POSITION_GAIN].range[0], 0.0, 0.0);
    check_close(limit[TUNE_DRIVE_POSITION_GAIN].range[1], 0.5, 0.0);
    check_close(limit[TUNE_DRIVE_POSITION_GAIN].step, 0.001, 0.0);
    assert_int_equal(limit[TUNE_DRIVE_VELOCITY_GAIN].digits, 5);
    check_close(limit[TUNE_DRIVE_VELOCITY_KI].scale, 65536.0, 0.0);
    check_close(limit[TUNE_DRIVE_NOTCH_DEPTH].range[1], 40.0, 0.0);
    check_close(limit[TUNE_DRIVE_DERIVATIVE_FILTER].step, 10.0, 0.0);
    assert_int_equal(limit[TUNE_DRIVE_LOWPASS_ZETA].digits, 3);
    check_close(limit[TUNE_DRIVE_NOTCH_WIDTH].range[0], 0.5, 0.0);
    /* N m s/rad -> A sample/count: / 18.4 * (2 pi/2^28) * 4000 */
    check_close_rel(tune_drive_factor(&drive.form, TUNE_DRIVE_VELOCITY_GAIN),
                    4000.0 * 2.0 * TUNE_PI / 268435456.0 / 18.4, 1e-14);
    check_close_rel(tune_drive_factor(&drive.form, TUNE_DRIVE_POSITION_GAIN), 1.0 / 4000.0, 1e-14);
}

static void every_unit_has_its_size(void **state)
{
    static const struct {
        const char *key, *word, *name;
        double si;
    } c[] = {{"torque", "nm", "N m", 1.0},
             {"torque", "a", "A", 18.4},
             {"torque", "v", "V", 18.4},
             {"torque", "fraction", "full scale", 18.4},
             {"torque", "permille", "permille", 0.0184},
             {"angle", "rad", "rad", 1.0},
             {"angle", "deg", "deg", 0.017453292519943295},
             {"angle", "arcsec", "arcsec", 4.84813681109536e-06},
             {"angle", "turns", "turn", 6.283185307179586},
             {"angle", "counts", "count", 6.283185307179586e-3},
             {"time", "s", "s", 1.0},
             {"time", "ms", "ms", 1e-3},
             {"time", "samples", "sample", 2.5e-4}};
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        struct tune_drive_entry drive;
        struct tune_error err = {0};
        char keys[200];
        (void)snprintf(keys, sizeof keys,
                       "torque_per_unit_nm = 18.4\nencoder_counts_per_turn = 1000\n"
                       "gain_%s_unit = %s\n",
                       c[i].key, c[i].word);
        assert_int_equal(parse(&drive, keys, &err), TUNE_OK);
        const struct tune_drive_form *form = &drive.form;
        const bool torque = c[i].key[1] == 'o', angle = c[i].key[0] == 'a';
        check_close_rel(torque  ? form->torque_unit_nm
                        : angle ? form->angle_unit_rad
                                : form->time_unit_s,
                        c[i].si, 1e-14);
        assert_string_equal(torque  ? form->torque_unit
                            : angle ? form->angle_unit
                                    : form->time_unit,
                            c[i].name);
    }
}

/* Every quantity has its four keys; they go to its own limit. */
static void every_number_has_its_keys(void **state)
{
    (void)state;
    for (int q = 0; q < TUNE_DRIVE_QUANTITIES; q++) {
        const char *name = tune_drive_quantity_name((enum tune_drive_quantity)q);
        const char *forms[] = {"parallel", "standard", "cascade"};
        char keys[512];
        struct tune_drive_entry drive;
        struct tune_error err = {0};
        const int form = q < TUNE_DRIVE_GAIN ? 0 : q < TUNE_DRIVE_POSITION_GAIN ? 1 : 2;
        (void)snprintf(keys, sizeof keys,
                       "controller_form = %s\n%sfilter_form = notch\n%s_range = 2 3\n%s_step = 4\n"
                       "%s_scale = 5\n",
                       forms[form], q == TUNE_DRIVE_VELOCITY_KI ? "velocity_integral = gain\n" : "",
                       name, name, name);
        assert_int_equal(parse(&drive, keys, &err), TUNE_OK);
        check_close(drive.form.limit[q].range[0], 2.0, 0.0);
        check_close(drive.form.limit[q].range[1], 3.0, 0.0);
        check_close(drive.form.limit[q].step, 4.0, 0.0);
        check_close(drive.form.limit[q].scale, 5.0, 0.0);
    }
}

static void what_does_not_agree_is_refused_with_its_line(void **state)
{
    static const struct {
        const char *keys;
        long line;
        const char *thing, *sentence;
    } c[] = {
        {"controller_form = series\n", 4, "controller_form", "one of parallel|standard|cascade"},
        {"position_rate_hz = 1000\n", 4, "position_rate_hz", "without controller_form = cascade"},
        {"velocity_integral = gain\n", 4, "velocity_integral", "without controller_form = cascade"},
        {"controller_form = cascade\nposition_rate_hz = 1500\n", 5, "position_rate_hz",
         "divided by a whole number"},
        {"controller_form = cascade\nposition_rate_hz = 8000\n", 5, "position_rate_hz",
         "divided by a whole number"},
        {"notch_width = q\n", 4, "notch_width", "without filter_form = notch"},
        {"gain_torque_unit = a\n", 4, "gain_torque_unit", "without torque_per_unit_nm"},
        {"gain_angle_unit = counts\n", 4, "gain_angle_unit", "without encoder_counts_per_turn"},
        {"gain_time_unit = min\n", 4, "gain_time_unit", "expected one of s|ms|samples"},
        {"td_step = 0.1\n", 4, "td_step", "has no td: it has kp, ki, kd, derivative_filter"},
        {"notch_depth_range = 0 40\n", 4, "notch_depth_range", "has no notch_depth"},
        {"kp_step = 0.1\nkp_digits = 4\n", 5, "kp_digits", "both a step and a number of digits"},
        {"kp_step = 0\n", 4, "kp_step", "a number above 0"},
        {"kp_range = 3 1\n", 4, "kp_range", "two numbers, the smaller first"},
        {"kp_digits = 16\n", 4, "kp_digits", "a whole number from 1 to 15"},
        {"kp_scale = -1\n", 4, "kp_scale", "a number above 0"},
        {"coefficient_format = Q0.31\n", 4, "coefficient_format", "expected float64, float32"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        struct tune_drive_entry drive;
        struct tune_error err = {0};
        assert_int_equal(parse(&drive, c[i].keys, &err), TUNE_EDATA);
        assert_int_equal(err.line, c[i].line);
        assert_string_equal(err.file, "axis.ini");
        assert_string_equal(err.thing, c[i].thing);
        if (!strstr(err.text, c[i].sentence)) fail_msg("%s: %s", c[i].keys, err.text);
    }
}

static void a_divided_cascade_is_written_and_read_back(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0), back;
    struct tune_error err = {0};
    char *text;
    (void)state;
    c.kp_nm_per_rad = 1e6;
    c.kd_nm_s_per_rad = 1e4;
    c.ki_nm_per_rad_s = 1e6;
    c.position_divider = 4;
    assert_int_equal(tune_controller_text(&text, &c, NULL, &err), TUNE_OK);
    assert_int_equal(tune_controller_parse(&back, "c.ini", text, strlen(text), 4000.0, &err),
                     TUNE_OK);
    assert_int_equal(back.position_divider, 4);
    free(text);
    static const char bad[] = "[controller]\nkp_nm_per_rad = 1\nkd_nm_s_per_rad = 1\n"
                              "ki_nm_per_rad_s = 1\nposition_divider = 4\n";
    assert_int_equal(tune_controller_parse(&back, "c.ini", bad, sizeof bad - 1, 4000.0, &err),
                     TUNE_EDATA);
    assert_int_equal(err.line, 5);
    assert_string_equal(err.thing, "position_divider");
    assert_non_null(strstr(err.text, "zeros of a cascade are real"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_said_is_a_parallel_pid_in_si),
        cmocka_unit_test(everything_said_arrives),
        cmocka_unit_test(every_unit_has_its_size),
        cmocka_unit_test(every_number_has_its_keys),
        cmocka_unit_test(what_does_not_agree_is_refused_with_its_line),
        cmocka_unit_test(a_divided_cascade_is_written_and_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
