/* test_controller_file.c - controller files: written, read back, the same.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "logbook/logbook.h"

static double between(struct tune_random *rng, double low, double high)
{
    return low + (high - low) * tune_random_uniform(rng);
}

static struct tune_controller any_controller(struct tune_random *rng)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = exp(between(rng, 0.0, 20.0));
    c.ki_nm_per_rad_s = exp(between(rng, -20.0, 20.0));
    c.kd_nm_s_per_rad = exp(between(rng, 0.0, 15.0));
    if (tune_random_uniform(rng) < 0.7) c.derivative_filter_hz = between(rng, 1.0, 1999.0);
    if (tune_random_uniform(rng) < 0.7) {
        c.lowpass_hz = between(rng, 1.0, 1999.0);
        c.lowpass_order = tune_random_uniform(rng) < 0.5 ? 1 : 2;
        if (c.lowpass_order == 2) c.lowpass_zeta = between(rng, 0.1, 1.0);
    }
    c.n_biquads = (size_t)between(rng, 0.0, TUNE_BIQUADS_MAX + 0.999);
    for (size_t i = 0; i < c.n_biquads; i++)
        c.biquad[i] = (struct tune_biquad_spec){between(rng, 1.0, 1999.0), between(rng, 0.0, 1.0),
                                                between(rng, 1.0, 1999.0), between(rng, 0.01, 1.0)};
    return c;
}

/* Every number to the last bit. */
static void same_controller(const struct tune_controller *got, const struct tune_controller *want)
{
    assert_true(got->loop_rate_hz == want->loop_rate_hz);
    assert_true(got->kp_nm_per_rad == want->kp_nm_per_rad);
    assert_true(got->ki_nm_per_rad_s == want->ki_nm_per_rad_s);
    assert_true(got->kd_nm_s_per_rad == want->kd_nm_s_per_rad);
    assert_true(got->derivative_filter_hz == want->derivative_filter_hz);
    assert_true(got->lowpass_hz == want->lowpass_hz);
    assert_int_equal(got->lowpass_order, want->lowpass_order);
    assert_true(got->lowpass_zeta == want->lowpass_zeta);
    assert_int_equal(got->n_biquads, want->n_biquads);
    assert_memory_equal(got->biquad, want->biquad, sizeof got->biquad); /* doubles only */
}

static void written_and_read_back_is_the_same(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (int run = 0; run < 300; run++) {
        const struct tune_controller want = any_controller(&rng);
        struct tune_controller got;
        struct tune_error err = {0};
        char *text;
        assert_int_equal(tune_controller_text(&text, &want, "; for the test\n; two lines", &err),
                         TUNE_OK);
        if (tune_controller_parse(&got, "c.ini", text, strlen(text), 4000.0, &err) != TUNE_OK)
            fail_msg("%ld: %s\n%s", err.line, err.text, text);
        same_controller(&got, &want);
        free(text);
    }
}

static void the_file_reads_as_people_write_it(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_error err;
    char *text;
    (void)state;
    c.kp_nm_per_rad = 2.1e6;
    c.ki_nm_per_rad_s = 0.0;
    c.kd_nm_s_per_rad = 95000.5;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){41.2, 0.05, 43.0, 0.4};
    assert_int_equal(tune_controller_text(&text, &c, NULL, &err), TUNE_OK);
    assert_string_equal(text, "[controller]\n"
                              "kp_nm_per_rad        = 2100000\n"
                              "ki_nm_per_rad_s      = 0\n"
                              "kd_nm_s_per_rad      = 95000.5\n"
                              "biquad1_zero_hz      = 41.2\n"
                              "biquad1_zero_zeta    = 0.05\n"
                              "biquad1_pole_hz      = 43\n"
                              "biquad1_pole_zeta    = 0.4\n");
    free(text);
}

static void a_file_on_disk_is_read(void **state)
{
    static const char text[] = "[controller]\nkp_nm_per_rad = 3\n";
    char *folder = check_folder(), *path = check_file(folder, "c.ini", text, strlen(text));
    struct tune_controller c;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_controller_read(&c, path, 1000.0, &err), TUNE_OK);
    check_close(c.kp_nm_per_rad, 3.0, 0.0);
    check_close(c.loop_rate_hz, 1000.0, 0.0);
    check_close(c.derivative_filter_hz, 0.0, 0.0);
    free(path);
    path = check_file(folder, "bad.ini", "[controller]\nkp = 3\n", 20);
    assert_int_equal(tune_controller_read(&c, path, 1000.0, &err), TUNE_EDATA);
    assert_string_equal(err.file, path);
    assert_int_equal(err.line, 2);
    check_close(c.loop_rate_hz, 0.0, 0.0); /* nothing is handed out */
    free(path);
    check_folder_remove(folder);
}

static void what_cannot_be_written_is_refused(void **state)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    struct tune_error err;
    char *text = (char *)1;
    (void)state;
    c.kp_nm_per_rad = 1.0;
    assert_int_equal(tune_controller_text(&text, &c, "; good\nbad", &err), TUNE_EINVAL);
    assert_null(text);
    c.kp_nm_per_rad = NAN;
    assert_int_equal(tune_controller_text(&text, &c, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "kp_nm_per_rad");
    assert_null(text);
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    struct tune_random rng;
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    tune_random_init(&rng, 6, 0);
    const struct tune_controller want = any_controller(&rng);
    char *text;
    do {
        struct tune_error err = {0};
        check_fail_allocation(++k);
        status = tune_controller_text(&text, &want, NULL, &err);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || (status == TUNE_ENOMEM && !text));
    } while (status != TUNE_OK);
    assert_true(k > 1);
    k = 0;
    do {
        struct tune_controller got;
        check_fail_allocation(++k);
        status = tune_controller_parse(&got, "c.ini", text, strlen(text), 4000.0, NULL);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
    } while (status != TUNE_OK);
    assert_true(k > 5);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(written_and_read_back_is_the_same),
        cmocka_unit_test(the_file_reads_as_people_write_it),
        cmocka_unit_test(a_file_on_disk_is_read),
        cmocka_unit_test(what_cannot_be_written_is_refused),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
