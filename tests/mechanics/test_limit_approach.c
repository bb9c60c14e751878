/* test_limit_approach.c - where a move into a limit begins to slow down, with a loop that overshoots.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include "mechanics/first_motion.h"

enum { N = 6000 };
static const double rate = 1000.0, slow = 0.01; /* rad/s */

/* Speed: a start in 0.2 s with 20 % overshoot that decays, then even, from 4 s on braking over 0.3 s. */
static double speed_at(double t)
{
    if (t < 1.0) return 0.0;
    if (t < 1.2) return 1.2 * slow * (t - 1.0) / 0.2;
    if (t < 4.0) return slow * (1.0 + 0.2 * exp(-(t - 1.2) / 0.2));
    return fmax(0.0, slow * (1.0 - (t - 4.0) / 0.3));
}

static struct tune_record approach(double side)
{
    struct tune_record rec = {.n = N, .rate_hz = rate};
    double x = 0.0;
    rec.channel[TUNE_ROLE_POSITION] = malloc(N * sizeof(double));
    for (size_t k = 0; k < N; k++) {
        rec.channel[TUNE_ROLE_POSITION][k] = side * x;
        x += speed_at((double)k / rate) / rate;
    }
    return rec;
}

static void braking_begins_where_the_even_speed_ends(void **state)
{
    (void)state;
    for (double side = -1.0; side < 2.0; side += 2.0) {
        struct tune_record rec = approach(side);
        struct tune_limit_fit fit;
        struct tune_error err = {0};
        const double *x = rec.channel[TUNE_ROLE_POSITION];
        if (tune_limit_fit(&fit, &rec, side > 0.0, &err)) fail_msg("%s", err.text);
        check_close(fit.speed_rad_per_s, side * slow, 0.01 * slow);
        /* nine tenths of the speed are reached 0.03 s after 4 s; the smoothing is +- 0.025 s */
        check_close(fit.brake_rad, x[4030], 0.03 * slow);
        check_close(fit.end_rad, x[N - 1], 1e-12);
        assert_false(fit.dropped);
        tune_record_free(&rec);
    }
}

/* A target that goes on behind the limit was asked for; one that jumps when the axis rests was not. */
static void how_far_the_target_asked_is_told(void **state)
{
    (void)state;
    for (double side = -1.0; side < 2.0; side += 2.0) {
        struct tune_record rec = approach(side);
        struct tune_limit_fit fit;
        struct tune_error err = {0};
        double *target = malloc(N * sizeof *target);
        assert_int_equal(tune_limit_fit(&fit, &rec, side > 0.0, &err), TUNE_OK);
        assert_true(isnan(fit.asked_rad));
        rec.channel[TUNE_ROLE_TARGET] = target;
        for (size_t k = 0; k < N; k++)
            target[k] = side * slow * fmin(4.5, fmax(0.0, (double)k / rate - 1.0));
        assert_int_equal(tune_limit_fit(&fit, &rec, side > 0.0, &err), TUNE_OK);
        check_close(fit.asked_rad, side * slow * 4.5, 1e-9);
        for (size_t k = 0; k < N; k++)
            target[k] = rec.channel[TUNE_ROLE_POSITION][k] + (k > 5000 ? side : 0.0);
        assert_int_equal(tune_limit_fit(&fit, &rec, side > 0.0, &err), TUNE_OK);
        check_close(fit.asked_rad, fit.end_rad, 1e-9);
        tune_record_free(&rec);
    }
}

static void want_of_memory_is_told(void **state)
{
    struct tune_record rec = approach(1.0);
    bool refused = true;
    (void)state;
    for (unsigned long k = 1; refused; k++) {
        struct tune_limit_fit fit;
        struct tune_error err = {0};
        check_fail_allocation(k);
        const enum tune_status status = tune_limit_fit(&fit, &rec, true, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
    }
    tune_record_free(&rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(braking_begins_where_the_even_speed_ends),
        cmocka_unit_test(how_far_the_target_asked_is_told),
        cmocka_unit_test(want_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
