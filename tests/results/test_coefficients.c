/* test_coefficients.c - controllers as text: refusals, advice in numbers, memory.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "results/coefficients.h"

struct sample {
    struct tune_drive_form form;
    struct tune_rounded_controller controller;
    struct tune_notes cautions;
    struct tune_coefficients_page page;
};

static void sample_make(struct sample *s, const char *format)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    struct tune_drive_setting setting;
    memset(s, 0, sizeof *s);
    c.kp_nm_per_rad = 100.0;
    c.ki_nm_per_rad_s = 50.0;
    c.kd_nm_s_per_rad = 8.0;
    c.derivative_filter_hz = 100.0;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){60.0, 0.0, 60.0, 0.05};
    s->form = tune_drive_form_defaults();
    assert_int_equal(tune_number_format_parse(&s->form.coefficients, format, NULL), TUNE_OK);
    assert_int_equal(tune_drive_setting_from(&setting, &s->form, &c, NULL), TUNE_OK);
    assert_int_equal(tune_rounded_make(&s->controller, &s->form, &setting, &c, NULL), TUNE_OK);
    tune_notes_add(&s->cautions, "One person at the stop.");
    s->page = (struct tune_coefficients_page){.title = "test",
                                              .form = &s->form,
                                              .controller = &s->controller,
                                              .cautions = &s->cautions,
                                              .torque_limit_nm = 20.0};
}

typedef enum tune_status writer(char **, const struct tune_coefficients_page *,
                                struct tune_error *);

static enum tune_status header(char **text, const struct tune_coefficients_page *page,
                               struct tune_error *err)
{
    return tune_coefficients_header(text, page, true, err);
}

static writer *const writers[] = {tune_coefficients_table, header, tune_coefficients_to_type};

static void no_numbers_without_cautions(void **state)
{
    struct sample s;
    const struct tune_notes none = {0};
    (void)state;
    sample_make(&s, "float64");
    for (size_t i = 0; i < 3; i++) {
        char *text = (char *)"untouched";
        struct tune_error err;
        s.page.cautions = i == 1 ? NULL : &none;
        assert_int_equal(writers[i](&text, &s.page, &err), TUNE_EINVAL);
        assert_null(text);
        assert_string_equal(err.thing, "cautions");
    }
}

/* R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients (from memory): the 60 Hz
 * notch, Q = 10, at 1000 Hz. */
static void coefficients_of_a_notch_are_the_cookbooks(void **state)
{
    static const double want[] = {0.981926438454, -1.825944226693, 0.981926438454, -1.825944226693,
                                  0.963852876907};
    struct sample s;
    char *text, *at;
    (void)state;
    sample_make(&s, "float64");
    assert_int_equal(tune_coefficients_table(&text, &s.page, NULL), TUNE_OK);
    at = strstr(text, "\nbiquad 1,");
    assert_non_null(at);
    at += strlen("\nbiquad 1,");
    for (size_t i = 0; i < 5; i++, at++)
        check_close(strtod(at, &at), want[i], 1e-11); /* as printed */
    free(text);
}

static bool any_holds(const struct tune_notes *notes, const char *words)
{
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], words)) return true;
    return false;
}

/* Ti = kp/ki = 2 s, Td = kd/kp = 0.08 s: sqrt(Ti Td) = 0.4 s. Cascade of the same (tau = 0): x solves
 * 8 x^2 - 100 x + 50 = 0: x = 11.978, Ti = 0.08348 s. */
static void tracking_times_are_those_of_the_rule(void **state)
{
    struct sample s;
    struct tune_notes notes = {0};
    struct tune_controller c;
    (void)state;
    sample_make(&s, "float64");
    c = s.controller.typed;
    c.derivative_filter_hz = 0.0;
    tune_antiwindup_notes(&notes, &s.form, &c, 20.0);
    assert_true(any_holds(&notes, "Tt = sqrt(Ti Td) = 0.4 s (Ti = 2 s, Td = 0.08 s)"));
    assert_true(any_holds(&notes, "at 20 N m (20 N m)"));
    assert_true(any_holds(&notes, "error of 4.125e+04 arcsec")); /* 20/100 rad */
    notes.n = 0;
    c.kd_nm_s_per_rad = 0.0;
    tune_antiwindup_notes(&notes, &s.form, &c, NAN);
    assert_true(any_holds(&notes, "Tt = Ti = 2 s"));
    assert_true(any_holds(&notes, "not stated (torque_limit_nm)"));
    notes.n = 0;
    c.kd_nm_s_per_rad = 8.0;
    s.form.structure = TUNE_FORM_CASCADE;
    tune_antiwindup_notes(&notes, &s.form, &c, 20.0);
    assert_true(any_holds(&notes, "velocity integral by back-calculation, tracking time Tt = Ti = "
                                  "0.08348 s"));
    notes.n = 0;
    c.ki_nm_per_rad_s = 0.0;
    tune_antiwindup_notes(&notes, &s.form, &c, 20.0);
    assert_true(any_holds(&notes, "no tracking time is needed"));
}

static void running_out_of_memory_leaves_nothing_behind(void **state)
{
    struct sample s;
    (void)state;
    sample_make(&s, "Q2.30");
    for (size_t i = 0; i < 3; i++) {
        enum tune_status status = TUNE_ENOMEM;
        for (unsigned long k = 1; status == TUNE_ENOMEM; k++) {
            char *text = NULL;
            check_fail_allocation(k);
            status = writers[i](&text, &s.page, NULL);
            const bool failed = check_allocation_failed();
            check_fail_allocation(0);
            assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
            assert_int_equal(text == NULL, failed);
            free(text);
        }
    }
}

/* The line of a number: new and old value, unit. */
static void check_row(const char *text, const char *name, const char *now, const char *old,
                      const char *unit)
{
    char head[40], word[3][32];
    const char *at;
    (void)snprintf(head, sizeof head, "\n%s ", name);
    at = strstr(text, head);
    assert_non_null(at);
    assert_int_equal(sscanf(at + strlen(head), "%31s %31s %31[^\n]", word[0], word[1], word[2]), 3);
    assert_string_equal(word[0], now);
    assert_string_equal(word[1], old);
    assert_string_equal(word[2], unit);
}

static void the_old_numbers_stand_beside_the_new(void **state)
{
    struct sample s, old;
    char *text;
    (void)state;
    sample_make(&s, "float64");
    sample_make(&old, "float64");
    old.controller.setting.number[0].value = 70.0;                  /* kp */
    old.controller.setting.number[1].quantity = TUNE_DRIVE_LOWPASS; /* nowhere in the new one */
    s.page.old = &old.controller;
    assert_int_equal(tune_coefficients_to_type(&text, &s.page, NULL), TUNE_OK);
    check_row(text, "kp", "100", "70", "N m/rad");
    check_row(text, "ki", "50", "off", "N m/(rad s)");
    check_row(text, "lowpass", "off", "50", "Hz");
    free(text);
    s.page.old = NULL;
    assert_int_equal(tune_coefficients_to_type(&text, &s.page, NULL), TUNE_OK);
    check_row(text, "kp", "100", "?", "N m/rad");
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_numbers_without_cautions),
        cmocka_unit_test(coefficients_of_a_notch_are_the_cookbooks),
        cmocka_unit_test(tracking_times_are_those_of_the_rule),
        cmocka_unit_test(running_out_of_memory_leaves_nothing_behind),
        cmocka_unit_test(the_old_numbers_stand_beside_the_new),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
