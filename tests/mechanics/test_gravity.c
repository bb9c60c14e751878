/* test_gravity.c - normal gravity, and the torque of a weight on an arm.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "core/units.h"
#include "mechanics/gravity.h"

/* H. Moritz, Geodetic Reference System 1980, J. Geodesy 74 (2000): 9.7803267715 m/s^2 at the equator,
 * 9.8321863685 at a pole, 9.806199203 at 45 degrees (tabulated digits: rounding). */
static void normal_gravity_is_that_of_the_reference_system(void **state)
{
    (void)state;
    check_close(tune_gravity_normal(0.0), 9.7803267715, 1e-10);
    check_close(tune_gravity_normal(TUNE_PI / 2), 9.8321863685, 2e-10);
    check_close(tune_gravity_normal(-TUNE_PI / 4), 9.806199203, 2e-9);
}

static void a_weight_pulls_with_mass_arm_and_the_level_part_of_gravity(void **state)
{
    struct tune_weight weight = {10.0, 0.5, 0.0, 0.0, 9.8};
    (void)state;
    check_close(tune_weight_torque(&weight, 0.0), 49.0, 1e-12);
    check_close(tune_weight_torque(&weight, TUNE_PI / 3), 24.5, 1e-12);
    weight.tilt_rad = TUNE_PI / 3; /* half of gravity lies along the axis */
    check_close(tune_weight_torque(&weight, 0.0), 24.5, 1e-12);
    weight.tilt_rad = TUNE_PI / 2; /* an upright axis feels nothing */
    check_close(tune_weight_torque(&weight, 0.3), 0.0, 1e-14);
}

/* A weight that is let go falls until its arm hangs straight down, whichever way that is. */
static void a_weight_falls_to_where_its_arm_hangs_down(void **state)
{
    (void)state;
    for (int side = -1; side <= 1; side += 2) {
        const double arm = 0.4, up = 0.2;
        const struct tune_weight weight = {3.0, side * arm, up, 0.0, 9.8};
        /* arm 0.2 rad above the horizontal: straight down is 0.2 + pi/2 further on */
        check_close(tune_weight_torque(&weight, side * (up + TUNE_PI / 2)), 0.0, 1e-14);
        /* potential energy m g h with h = arm sin(angle of the arm): torque = -dE/dangle */
        for (double x = -1.0; x <= 1.0; x += 0.25) {
            const double step = 1e-5;
            const double lower = 3.0 * 9.8 * arm * sin(up - side * (x - step));
            const double upper = 3.0 * 9.8 * arm * sin(up - side * (x + step));
            check_close(tune_weight_torque(&weight, x), (lower - upper) / (2 * step), 1e-7);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(normal_gravity_is_that_of_the_reference_system),
        cmocka_unit_test(a_weight_pulls_with_mass_arm_and_the_level_part_of_gravity),
        cmocka_unit_test(a_weight_falls_to_where_its_arm_hangs_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
