/* test_trouble.c - what a description may ask for in a simulated log: formats and troubles.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/refused.h"

#include <stdlib.h>

#include "core/units.h"
#include "logbook/description.h"

#define HEAD                                                                                       \
    "[axis]\n[drive]\nloop_rate_hz = 1000\ntorque_limit_nm = 60\n"                                 \
    "[controller]\nkp_nm_per_rad = 1e5\n[plant]\ninertia_kg_m2 = 820\n[pointing p]\n" /* 9 lines */
#define HOLD "[log q]\nkind = hold\npointing = p\nduration_s = 20\n"                  /* 4 lines */
#define SWEEP                                                                                      \
    "[log s]\nkind = sweep\npointing = p\nduration_s = 20\nsweep_from_hz = 1\n"                    \
    "sweep_to_hz = 200\namplitude_nm = 40\nquiet_after_s = 4\n" /* 8 lines */

/* clang-format off */
static const struct refused bad[] = {
    {"a key misspelt", TEXT(HEAD HOLD "trouble_mising_rows = 3\n"), AT(14, 23),
     ABOUT("trouble_mising_rows", "3"),
     .sentence = "unknown key trouble_mising_rows in [log]: did you mean trouble_missing_rows?"},
    {"a format misspelt", TEXT(HEAD HOLD "log_seperator = tab\n"), AT(14, 17),
     ABOUT("log_seperator", "tab"), .sentence = "did you mean log_separator?"},
    {"an order too high", TEXT(HEAD HOLD "trouble_interpolation5_arcsec = 1\n"), AT(14, 33),
     ABOUT("trouble_interpolation5_arcsec", "1"), .sentence = "unknown key"},
    {"a key of a log elsewhere", TEXT(HEAD "trouble_dead = torque\n" HOLD), AT(10, 16),
     ABOUT("trouble_dead", "torque"), .sentence = "does not belong in [pointing] but in [log]"},
    {"no rows missing", TEXT(HEAD HOLD "trouble_missing_rows = 0\n"), AT(14, 24),
     ABOUT("trouble_missing_rows", "0"), .sentence = "expected a whole number from 1 to"},
    {"half a row missing", TEXT(HEAD HOLD "trouble_missing_rows = 0.5\n"), AT(14, 24),
     ABOUT("trouble_missing_rows", "0.5"), .sentence = "expected a whole number from 1 to"},
    {"a column nobody knows", TEXT(HEAD HOLD "trouble_dead = current\n"), AT(14, 16),
     ABOUT("trouble_dead", "current"), .sentence = "expected one of excitation|torque|"},
    {"a scale of nothing", TEXT(HEAD HOLD "trouble_torque_scale = 0\n"), AT(14, 24),
     ABOUT("trouble_torque_scale", "0"), .sentence = "expected a number above 0"},
    {"a time without rows", TEXT(HEAD HOLD "trouble_missing_at_s = 3\n"), AT(14, 24),
     ABOUT("trouble_missing_at_s", "3"),
     .sentence = "trouble_missing_at_s has no effect without trouble_missing_rows: add it or"},
    {"a lag of nothing", TEXT(HEAD HOLD "trouble_measured_lag_s = 1\n"), AT(14, 26),
     ABOUT("trouble_measured_lag_s", "1"), .sentence = "no effect without trouble_measured"},
    {"glitches of no size", TEXT(HEAD HOLD "trouble_glitches = 3\n"), AT(14, 20),
     ABOUT("trouble_glitches", "3"), .sentence = "no effect without trouble_glitch_arcsec"},
    {"a skew of nothing", TEXT(HEAD HOLD "trouble_skew_samples = 3\n"), AT(14, 24),
     ABOUT("trouble_skew_samples", "3"), .sentence = "no effect without trouble_skew"},
    {"signed what does not wrap", TEXT(HEAD HOLD "trouble_wrap_signed = yes\n"), AT(14, 23),
     ABOUT("trouble_wrap_signed", "yes"), .sentence = "no effect without trouble_wrap_deg"},
    {"two wraps", TEXT(HEAD HOLD "trouble_wrap_deg = 360\ntrouble_wrap_counts = 65536\n"),
     AT(15, 23), ABOUT("trouble_wrap_counts", "65536"),
     .sentence = "trouble_wrap_counts and trouble_wrap_deg exclude each other"},
    {"rows repeated twice", TEXT(HEAD HOLD "trouble_repeated_rows = 1\n"
     "trouble_repeated_stamps = 1\n"), AT(15, 27), ABOUT("trouble_repeated_stamps", "1"),
     .sentence = "exclude each other"},
    {"stamps that are not there", TEXT(HEAD HOLD "log_time = none\ntrouble_missing_rows = 4\n"),
     AT(15, 24), ABOUT("trouble_missing_rows", "4"),
     .sentence = "shows in the time stamps only, which log_time = none leaves out"},
    {"counts of an unknown encoder", TEXT(HEAD HOLD "log_angle_unit = counts\n"), AT(14, 18),
     ABOUT("log_angle_unit", "counts"), .sentence = "needs encoder_counts_per_turn in [drive]"},
    {"amperes of an unknown motor", TEXT(HEAD HOLD "log_torque_unit = a\n"), AT(14, 19),
     ABOUT("log_torque_unit", "a"), .sentence = "needs torque_per_unit_nm in [drive]"},
    {"lines of an unknown encoder", TEXT(HEAD HOLD "trouble_interpolation2_arcsec = 1\n"),
     AT(14, 33), ABOUT("trouble_interpolation2_arcsec", "1"),
     .sentence = "needs encoder_lines_per_turn in [drive]"},
    {"commas between decimal commas", TEXT(HEAD HOLD "log_decimal = comma\n"), AT(14, 15),
     ABOUT("log_decimal", "comma"), .sentence = "unless log_separator is semicolon or tab"},
    {"no excitation in a hold", TEXT(HEAD HOLD "trouble_excitation_scale = 0\n"), AT(14, 28),
     ABOUT("trouble_excitation_scale", "0"), .sentence = "goes with kind = sweep only"},
    {"a sweep that ends later", TEXT(HEAD SWEEP "trouble_sweep_to_hz = 200\n"), AT(18, 23),
     ABOUT("trouble_sweep_to_hz", "200"), .sentence = "between sweep_from_hz and sweep_to_hz"},
    {"half a sample of skew", TEXT(HEAD HOLD "trouble_skew = torque\ntrouble_skew_samples = 0.5\n"),
     AT(15, 24), ABOUT("trouble_skew_samples", "0.5"), .sentence = "expected a whole number but 0"},
    {"a skew of no samples", TEXT(HEAD HOLD "trouble_skew = torque\ntrouble_skew_samples = 0\n"),
     AT(15, 24), ABOUT("trouble_skew_samples", "0"), .sentence = "expected a whole number but 0"},
    {"a gap behind the end", TEXT(HEAD HOLD "trouble_missing_rows = 4\ntrouble_missing_at_s = 20\n"),
     AT(15, 24), ABOUT("trouble_missing_at_s", "20"), .sentence = "expected a time within the log"},
    {"a gap that does not end", TEXT(HEAD SWEEP "trouble_missing_rows = 4000\n"
     "trouble_missing_at_s = 20\n"), AT(18, 24), ABOUT("trouble_missing_rows", "4000"),
     .sentence = "expected so few that rows are left behind the gap"},
    {"stuck to the end", TEXT(HEAD HOLD "trouble_stuck = position\ntrouble_stuck_s = 10\n"),
     AT(15, 19), ABOUT("trouble_stuck_s", "10"), .sentence = "that it ends within the log"},
    {"glitches side by side", TEXT(HEAD HOLD "trouble_glitches = 501\ntrouble_glitch_arcsec = 1\n"),
     AT(14, 20), ABOUT("trouble_glitches", "501"), .sentence = "expected at most one in 40 rows"},
    {"a limit above the drive's", TEXT(HEAD HOLD "trouble_saturation_nm = 61\n"), AT(14, 25),
     ABOUT("trouble_saturation_nm", "61"), .sentence = "expected at most torque_limit_nm"},
    {"a sky that is not written", TEXT(HEAD HOLD "trouble_dead = sky\n"), AT(14, 16),
     ABOUT("trouble_dead", "sky"), .sentence = "has no column sky without log_sky = yes"},
    {"a target left out and stuck", TEXT(HEAD HOLD "trouble_no_target = yes\n"
     "trouble_skew = target\ntrouble_skew_samples = 1\n"), AT(15, 16),
     ABOUT("trouble_skew", "target"), .sentence = "no column target without trouble_no_target = no"},
    {"a current that is not measured", TEXT(HEAD HOLD "trouble_stuck = measured_torque\n"
     "trouble_stuck_s = 1\n"), AT(14, 17), ABOUT("trouble_stuck", "measured_torque"),
     .sentence = "no column measured_torque without trouble_measured = beside"},
};
/* clang-format on */

static void what_cannot_be_is_refused_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct tune_description description;
        struct tune_error err = {0};
        check_refused(
            &bad[i], "bad.ini",
            tune_description_parse(&description, "bad.ini", bad[i].text, bad[i].size, &err), &err);
        assert_null(description.log);
    }
}

static struct tune_description parse(const char *text)
{
    struct tune_description d;
    struct tune_error err = {0};
    if (tune_description_parse(&d, "truth.ini", text, strlen(text), &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    return d;
}

static void a_log_of_which_nothing_is_said_has_no_trouble(void **state)
{
    struct tune_description d = parse(HEAD SWEEP HOLD);
    const struct tune_trouble *t = &d.log[0].trouble;
    (void)state;
    assert_int_equal(t->missing_rows + t->repeated_rows + t->repeated_stamps + t->rows, 0);
    assert_int_equal(t->dead, TUNE_ROLE_TIME);
    assert_int_equal(t->measured, TUNE_MEASURED_NONE);
    assert_false(t->excitation_scaled || t->unreadable || t->no_target || t->float32);
    check_close(t->rate_ppm + t->stamp_scatter_s + t->backward_s + t->torque_scale, 0.0, 0.0);
    assert_string_equal(d.log[1].format.angle_unit, "");
    assert_int_equal(d.log[1].format.separator, ',');
    assert_int_equal(d.log[1].format.mark, '.');
    tune_description_free(&d);
}

static void troubles_come_out_in_si_and_in_the_middle(void **state)
{
    static const char text[] =
        "[axis]\n[drive]\nloop_rate_hz = 1000\nencoder_counts_per_turn = 1048576\n"
        "encoder_lines_per_turn = 4096\ntorque_per_unit_nm = 18\n"
        "[controller]\nkp_nm_per_rad = 1e5\n[plant]\ninertia_kg_m2 = 820\n[pointing p]\n" SWEEP
        "log_time = us\nlog_angle_unit = counts\nlog_torque_unit = permille\n"
        "log_separator = semicolon\nlog_decimal = comma\nlog_heading_rows = 7\n"
        "log_units_row = yes\nlog_names = drive\nlog_gzip = no\n"
        "trouble_rate_ppm = -300\ntrouble_missing_rows = 5\ntrouble_stuck = target\n"
        "trouble_stuck_s = 1\ntrouble_stuck_at_s = 2.5\ntrouble_skew = excitation\n"
        "trouble_skew_samples = -2\ntrouble_measured = beside\ntrouble_measured_lag_s = 0\n"
        "trouble_torque_flipped = all\ntrouble_glitches = 2\ntrouble_glitch_arcsec = 3\n"
        "trouble_wrap_counts = 65536\ntrouble_wrap_signed = yes\n"
        "trouble_interpolation3_arcsec = -0.25\ntrouble_excitation_scale = 0\n"
        "trouble_drift_arcsec_per_s = -2\ntrouble_unreadable_at_s = 0\n";
    const double arcsec = TUNE_PI / 648000.0;
    struct tune_description d = parse(text);
    const struct tune_trouble *t = &d.log[0].trouble;
    const struct tune_log_format *f = &d.log[0].format;
    (void)state;
    assert_string_equal(f->time_unit, "us");
    assert_string_equal(f->angle_unit, "counts");
    assert_string_equal(f->torque_unit, "permille");
    assert_int_equal(f->separator, ';');
    assert_int_equal(f->mark, ',');
    assert_int_equal(f->heading_rows, 7);
    assert_true(f->units_row && f->drive_names && f->plain);
    check_close(t->rate_ppm, -300.0, 0.0);
    check_close(t->missing_at_s, 12.0, 0.0); /* half of 20 + 4 s */
    check_close(t->stuck_at_s, 2.5, 0.0);
    assert_int_equal(t->stuck, TUNE_ROLE_TARGET);
    assert_int_equal(t->skew, TUNE_ROLE_EXCITATION);
    check_close(t->skew_samples, -2.0, 0.0);
    assert_int_equal(t->measured, TUNE_MEASURED_BESIDE);
    assert_int_equal(t->flipped, TUNE_FLIPPED_ALL);
    check_close_rel(t->glitch_rad, 3.0 * arcsec, 1e-15);
    check_close_rel(t->wrap_rad, 2.0 * TUNE_PI / 16.0, 1e-15);
    assert_true(t->wrap_signed && t->excitation_scaled && t->unreadable);
    check_close(t->interpolation_rad[0], 0.0, 0.0);
    check_close_rel(t->interpolation_rad[2], -0.25 * arcsec, 1e-15);
    check_close_rel(t->drift_rad_per_s, -2.0 * arcsec, 1e-15);
    tune_description_free(&d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cannot_be_is_refused_with_its_place),
        cmocka_unit_test(a_log_of_which_nothing_is_said_has_no_trouble),
        cmocka_unit_test(troubles_come_out_in_si_and_in_the_middle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
