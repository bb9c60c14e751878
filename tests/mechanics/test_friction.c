/* test_friction.c - friction with presliding stiffness and the Stribeck effect.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "mechanics/friction.h"

/* Parameters of Table I in C. Canudas de Wit, H. Olsson, K. J. Astrom, P. Lischinsky, IEEE TAC
 * 40(3), 1995 (seen as quoted in a reproduction); per metre there, per radian here. */
static struct tune_friction table_1(void)
{
    return (struct tune_friction){.coulomb_nm = 1.0,
                                  .breakaway_nm = 1.5,
                                  .stribeck_rad_per_s = 0.001,
                                  .bristle_nm_per_rad = 1e5,
                                  .bristle_nm_s_per_rad = sqrt(1e5),
                                  .viscous_nm_s_per_rad = 0.4};
}

static void steady_friction_has_the_published_curve(void **state)
{
    const struct tune_friction f = table_1();
    (void)state;
    /* from the formula at the table's parameters, computed apart; rounding of the digits given */
    check_close(tune_friction_steady(&f, 1e-4), 1.49506492, 1e-8);
    check_close(tune_friction_steady(&f, 1e-3), 1.18433972, 1e-8);
    check_close(tune_friction_steady(&f, 2e-3), 1.00995782, 1e-8);
    check_close(tune_friction_steady(&f, 0.1), 1.04, 1e-8);
    check_close(tune_friction_steady(&f, 0.0), 0.0, 0.0);
    /* the Stribeck minimum, from the same formula */
    check_close(tune_friction_steady(&f, 2.98632e-3), 1.0012615, 1e-7);
    assert_true(tune_friction_steady(&f, 2.9e-3) > tune_friction_steady(&f, 2.98632e-3));
    assert_true(tune_friction_steady(&f, 3.1e-3) > tune_friction_steady(&f, 2.98632e-3));
    for (double v = 1e-6; v < 1.0; v *= 3.0)
        check_close(tune_friction_steady(&f, -v), -tune_friction_steady(&f, v), 0.0);
}

static void long_sliding_reaches_the_steady_curve_with_any_step(void **state)
{
    const struct tune_friction f = table_1();
    (void)state;
    for (double v = -1e-2; v < 2e-2; v += 3.3e-3)
        for (double dt = 1e-7; dt < 20.0; dt *= 100.0) {
            double z = 0.0, torque = 0.0, moved = 0.0;
            while (moved < 60.0 * 1.5e-5) { /* many bristle lengths Fs/s0 */
                const double step = fabs(v) * dt < 1e-7 ? 1e-7 / fabs(v) : dt;
                torque = tune_friction_step(&f, &z, v, step);
                moved += fabs(v) * step;
            }
            check_close_rel(torque, tune_friction_steady(&f, v), 1e-9); /* rounding */
        }
}

static void presliding_is_a_spring_and_a_damper(void **state)
{
    const struct tune_friction f = table_1();
    double z = 0.0;
    const double x = 1e-9, dt = 1e-3; /* far less than the bristle length 1e-5 */
    double torque = tune_friction_step(&f, &z, x / dt, dt);
    (void)state;
    check_close_rel(z, x, 1e-4); /* model: to first order in x s0/Fs = 7e-5 */
    check_close_rel(torque, 1e5 * x + (sqrt(1e5) + 0.4) * x / dt, 2e-4);
    /* the stuck bristles keep their torque */
    torque = tune_friction_step(&f, &z, 0.0, 10.0);
    check_close_rel(torque, 1e5 * x, 1e-4);
}

static void one_step_is_the_same_as_many(void **state)
{
    const struct tune_friction f = table_1();
    double one = 3e-6, many = 3e-6;
    (void)state;
    (void)tune_friction_step(&f, &one, -4e-4, 0.05);
    for (int i = 0; i < 1000; i++)
        (void)tune_friction_step(&f, &many, -4e-4, 0.05 / 1000.0);
    check_close(one, many, 1e-17); /* rounding: at constant speed the step is exact */
}

static void bristles_never_exceed_the_breakaway_torque(void **state)
{
    const struct tune_friction f = table_1();
    double z = 0.0;
    (void)state;
    for (int i = 0; i < 20000; i++) {
        const double v = 2e-3 * sin(0.01 * i) + 5e-3 * sin(0.37 * i);
        (void)tune_friction_step(&f, &z, v, 1e-3);
        assert_true(fabs(z) * f.bristle_nm_per_rad <= f.breakaway_nm * (1.0 + 1e-12));
    }
}

static void without_coulomb_friction_only_viscosity_is_left(void **state)
{
    struct tune_friction f = {.viscous_nm_s_per_rad = 2.5};
    double z = 0.0;
    (void)state;
    check_close(tune_friction_steady(&f, -0.2), -0.5, 1e-16);
    check_close(tune_friction_step(&f, &z, 0.2, 0.01), 0.5, 1e-16);
    check_close(z, 0.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steady_friction_has_the_published_curve),
        cmocka_unit_test(long_sliding_reaches_the_steady_curve_with_any_step),
        cmocka_unit_test(presliding_is_a_spring_and_a_damper),
        cmocka_unit_test(one_step_is_the_same_as_many),
        cmocka_unit_test(bristles_never_exceed_the_breakaway_torque),
        cmocka_unit_test(without_coulomb_friction_only_viscosity_is_left),
    };
    return cmocka_run_group_tests_name("friction", tests, NULL, NULL);
}
