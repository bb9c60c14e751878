/* test_sensor_refusals.c - a second sensor that tells nothing, and no memory.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/sensed.h"

static void what_cannot_be_done_is_refused(void **state)
{
    struct sensed s;
    struct tune_sensor out;
    struct tune_error err;
    struct tune_sensor_opts opts = tune_sensor_defaults(TUNE_PAYLOAD_STATED, 1.0);
    struct tune_lines few;
    (void)state;
    sense(&s, TUNE_PAYLOAD_LOAD_ENCODER, 1.0, 7);
    assert_int_equal(tune_sensor_estimate(&out, &s.fit, &s.data.lines, &s.second, &opts, &err),
                     TUNE_EINVAL);
    opts = tune_sensor_defaults(TUNE_PAYLOAD_ACCELEROMETER, 0.0);
    assert_int_equal(tune_sensor_estimate(&out, &s.fit, &s.data.lines, &s.second, &opts, &err),
                     TUNE_EINVAL);
    opts = tune_sensor_defaults(TUNE_PAYLOAD_LOAD_ENCODER, 1.0);
    opts.hold_s = -1.0;
    assert_int_equal(tune_sensor_estimate(&out, &s.fit, &s.data.lines, &s.second, &opts, &err),
                     TUNE_EINVAL);
    opts.hold_s = 0.0;
    few = s.second;
    few.n = 20;
    assert_int_equal(tune_sensor_estimate(&out, &s.fit, &s.data.lines, &few, &opts, &err),
                     TUNE_EDATA);
    assert_null(out.covariance);
    s.fit.plant.n_modes = 0;
    assert_int_equal(tune_sensor_estimate(&out, &s.fit, &s.data.lines, &s.second, &opts, &err),
                     TUNE_EDATA);
    s.fit.plant.n_modes = 5;
    sensed_free(&s);
}

static void an_allocation_that_fails_leaves_nothing_behind(void **state)
{
    struct sensed s;
    const struct tune_sensor_opts opts = tune_sensor_defaults(TUNE_PAYLOAD_LOAD_ENCODER, 1.0);
    bool refused = true;
    (void)state;
    sense(&s, TUNE_PAYLOAD_LOAD_ENCODER, 1.0, 7);
    s.second.n = s.data.lines.n = 200; /* quick; what is found does not matter */
    for (unsigned long k = 1; refused; k++) {
        struct tune_sensor out;
        struct tune_error err;
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_sensor_estimate(&out, &s.fit, &s.data.lines, &s.second, &opts, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(out.covariance);
        tune_sensor_free(&out);
        assert_true(k < 200);
    }
    sensed_free(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cannot_be_done_is_refused),
        cmocka_unit_test(an_allocation_that_fails_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
