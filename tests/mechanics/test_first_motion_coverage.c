/* test_first_motion_coverage.c - value +- 1.96 std covers the truth in 95 % of many simulated motions, with
 * Coulomb friction, drive noise, sensor noise and quantisation.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "mechanics/first_motion.h"
#include "synthetic_motion.h"

/* 400 runs: the std of a coverage of 95 % is 1.1 %, so that 92 .. 98 % is 2.7 sigma of it */
enum { RUNS = 400 };

struct tally {
    size_t runs, covered, beyond; /* within 1.96 std, beyond 4 std */
    double squares;
};

static void count(struct tally *tally, const struct tune_estimate *x, double truth)
{
    const double z = (x->value - truth) / x->std;
    tally->runs++;
    tally->covered += fabs(z) <= 1.96;
    tally->beyond += fabs(z) > 4.0;
    tally->squares += z * z;
}

static void covers(const struct tally *tally, const char *what)
{
    const double covered = (double)tally->covered / (double)tally->runs;
    print_message(
        "# %s: %.1f %% covered, rms of (value - truth)/std %.2f, %zu of %zu beyond 4 std\n", what,
        100.0 * covered, sqrt(tally->squares / (double)tally->runs), tally->beyond, tally->runs);
    check_between(covered, 0.92, 0.98);
    assert_true(tally->beyond <= 1 + tally->runs / 1000);
}

/* axes: 0 as it is, 1 a coarse encoder with noise, 2 a rough drive and strong friction, 3 a slow logger */
static struct synthetic_axis one_of(int which)
{
    struct synthetic_axis axis = synthetic_axis();
    axis.rate_hz = 500.0;
    if (which == 1) axis.sensor_noise_rad = axis.step_rad = 5e-6;
    if (which == 2) axis.drive_noise_nm = 20.0, axis.coulomb_nm = 15.0;
    if (which == 3) axis.rate_hz = 150.0;
    return axis;
}

static void gain_and_friction_of_pulses_are_as_sure_as_they_say(void **state)
{
    static const char *const name[] = {"gain", "gain, coarse encoder", "gain, rough drive",
                                       "gain, slow logger"};
    const struct synthetic_pulses program = {60.0, 0.5, 1.0};
    (void)state;
    for (int which = 0; which < 4; which++) {
        const struct synthetic_axis axis = one_of(which);
        struct tally gain = {0}, friction = {0};
        for (uint64_t run = 0; run < RUNS * check_multiplier(); run++) {
            struct tune_record rec =
                synthetic_motion(&axis, 12.0, synthetic_pulse, &program, 1000 + run);
            struct tune_pulse_fit fit;
            struct tune_error err;
            assert_int_equal(tune_pulse_fit(&fit, &rec, &err), TUNE_OK);
            count(&gain, &fit.gain, 1.0 / axis.inertia_kg_m2);
            count(&friction, &fit.coulomb_nm, axis.coulomb_nm);
            tune_record_free(&rec);
        }
        covers(&gain, name[which]);
        covers(&friction, "  friction");
    }
}

static void friction_of_a_coast_is_as_sure_as_it_says(void **state)
{
    (void)state;
    for (int which = 0; which < 2; which++) {
        struct synthetic_axis axis = one_of(which);
        struct tally tally = {0};
        axis.offset_nm = 0.0;
        /* so little noise that the step of the synthetic axis would show */
        if (which == 0) axis.sensor_noise_rad = 1e-6;
        axis.start_rad_per_s = which ? -0.02 : 0.02;
        for (uint64_t run = 0; run < RUNS * check_multiplier(); run++) {
            struct tune_record rec =
                synthetic_motion(&axis, 8.0, synthetic_coast, NULL, 7000 + run);
            struct tune_coast_fit fit;
            struct tune_error err;
            assert_int_equal(tune_coast_fit(&fit, &rec, &err), TUNE_OK);
            count(&tally, &fit.friction_per_s2, axis.coulomb_nm / axis.inertia_kg_m2);
            tune_record_free(&rec);
        }
        covers(&tally, which ? "coast, coarse encoder" : "coast");
    }
}

/* With a rough drive the scatter decides, not the 1 % allowed for friction that differs both ways. */
static void the_torque_ratio_of_a_weight_is_as_sure_as_it_says(void **state)
{
    const struct tune_weight weight = {5.0, 1.0, 0.0, 0.0, 9.8}, none = {0.0, 1.0, 0.0, 0.0, 9.8};
    struct synthetic_axis axis = one_of(2);
    struct tally tally = {0};
    (void)state;
    axis.rate_hz = 100.0;
    axis.coulomb_nm = 2.0;
    axis.drive_noise_nm = 12.0;
    for (uint64_t run = 0; run < RUNS * check_multiplier(); run++) {
        struct tune_record with, without;
        struct tune_load_fit fit;
        struct tune_error err;
        synthetic_loads(&with, &without, axis, 49.0, 20.0, 3000 + run);
        assert_int_equal(tune_load_fit(&fit, &with, &weight, &without, &none, 0.0, &err), TUNE_OK);
        count(&tally, &fit.ratio, 1.0);
        tune_record_free(&with);
        tune_record_free(&without);
    }
    covers(&tally, "torque ratio");
}

static bool rest_and_move(double *torque, double time_s, double x, double v, const void *user)
{
    const double t = time_s - 1.0;
    const double target = t < 0.0 ? 0.0 : 0.05 * fmin(t, 2.0);
    (void)user;
    *torque = 4e5 * (target - x) + 4e4 * ((t > 0.0 && t < 2.0 ? 0.05 : 0.0) - v);
    return true;
}

/* The way by the encoder against the true one: quantisation and noise decide. */
static void a_move_is_as_sure_as_it_says(void **state)
{
    struct synthetic_axis axis = one_of(1);
    struct tally tally = {0};
    (void)state;
    axis.rate_hz = 200.0;
    for (uint64_t run = 0; run < RUNS * check_multiplier(); run++) {
        struct synthetic_axis true_axis = axis;
        struct tune_record seen = synthetic_motion(&axis, 6.0, rest_and_move, NULL, 9000 + run),
                           truth;
        struct tune_estimate way;
        struct tune_error err;
        true_axis.sensor_noise_rad = true_axis.step_rad = 0.0; /* the same motion, seen exactly */
        truth = synthetic_motion(&true_axis, 6.0, rest_and_move, NULL, 9000 + run);
        assert_int_equal(tune_move_measure(&way, &seen, &err), TUNE_OK);
        count(&tally, &way,
              truth.channel[TUNE_ROLE_POSITION][truth.n - 1] -
                  truth.channel[TUNE_ROLE_POSITION][0]);
        tune_record_free(&seen);
        tune_record_free(&truth);
    }
    /* creep counts in full, so it is on the safe side: surer than it says is no fault here */
    print_message("# move: %.1f %% covered\n", 100.0 * (double)tally.covered / (double)tally.runs);
    check_between((double)tally.covered / (double)tally.runs, 0.92, 1.0);
    check_between(sqrt(tally.squares / (double)tally.runs), 0.1, 1.1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gain_and_friction_of_pulses_are_as_sure_as_they_say),
        cmocka_unit_test(friction_of_a_coast_is_as_sure_as_it_says),
        cmocka_unit_test(the_torque_ratio_of_a_weight_is_as_sure_as_it_says),
        cmocka_unit_test(a_move_is_as_sure_as_it_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
