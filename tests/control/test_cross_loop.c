/* test_cross_loop.c - two axes of a mount judged together, against the eigenvalues of both.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <math.h>
#include <string.h>

#include "control/cross_internal.h"
#include "core/units.h"
#include "support/axis_matrix.h"

struct mount {
    struct tune_plant plant, other;
    double ratio[TUNE_MODES_MAX];
    struct tune_controller controller, held;
};

/* The other axis has a rigid body of its own and the shared modes by reciprocity: what they move it by, squared. */
static void share(struct mount *m)
{
    m->other.n_modes = m->plant.n_modes;
    for (size_t k = 0; k < m->plant.n_modes; k++) {
        m->other.mode[k] = m->plant.mode[k];
        m->other.mode[k].gain *=
            m->ratio[k] * m->ratio[k] * m->other.inertia_kg_m2 / m->plant.inertia_kg_m2;
    }
}

static struct mount random_mount(struct tune_random *rng, double coupling)
{
    struct mount m = {.plant = axis_random_plant(rng)};
    m.other = m.plant;
    m.other.inertia_kg_m2 *= 0.3 + tune_random_uniform(rng);
    m.other.delay_s += (double)(tune_random_bits(rng) % 2) / m.plant.loop_rate_hz;
    for (size_t k = 0; k < m.plant.n_modes; k++)
        m.ratio[k] = coupling * (2.0 * tune_random_uniform(rng) - 1.0);
    share(&m);
    m.controller = axis_random_controller(rng, &m.plant);
    m.held = axis_random_controller(rng, &m.other);
    return m;
}

static struct tune_cross_axes axes_of(const struct mount *m, const struct tune_controller *before)
{
    struct tune_cross_axes axes = {.plant = &m->plant, .other = &m->other, .before = before};
    memcpy(axes.ratio, m->ratio, sizeof axes.ratio);
    return axes;
}

/* The other axis free in the sweeps: then nothing is left out. */
static void the_count_is_that_of_the_eigenvalues_of_both_axes(void **state)
{
    static struct axis_matrix matrix;
    struct tune_random rng;
    struct tune_error err;
    const int mounts = 200 * (int)check_multiplier(), decided = mounts / 10;
    int judged = 0, stable_ones = 0, upset = 0;
    (void)state;
    tune_random_init(&rng, 71, 0);
    /* and on, until the other axis has decided often enough whether this one is stable */
    while (judged < mounts || upset < decided) {
        const struct mount m = random_mount(&rng, judged % 2 ? 6.0 : 1.5);
        const struct tune_cross_axes axes = axes_of(&m, NULL);
        double nearest, nearest_other;
        bool stable, alone;
        if (axis_poles_outside(&m.other, &m.held, &nearest_other) > 0 || nearest_other < 1e-8)
            continue;
        axis_pair_matrix_make(&matrix, &m.plant, &m.controller, &m.other, &m.held, m.ratio);
        const size_t outside = axis_matrix_poles_outside(&matrix, &nearest);
        if (nearest < 1e-8) continue;
        if (tune_cross_judge(NULL, &stable, &axes, &m.controller, &m.held, &err) != TUNE_OK)
            fail_msg("mount %d of seed 71: %s", judged, err.text);
        if (stable != (outside == 0))
            fail_msg("mount %d of seed 71: %zu poles outside, judged %s", judged, outside,
                     stable ? "stable" : "unstable");
        assert_int_equal(tune_loop_judge(NULL, &alone, &m.plant, &m.controller, &err), TUNE_OK);
        assert_true(++judged < 20 * mounts);
        stable_ones += stable;
        upset += stable != alone;
    }
    check_between(stable_ones, 0.2 * judged, 0.8 * judged);
}

/* The example axis, its first mode moving the other axis, too. */
static struct mount example_mount(void)
{
    struct mount m = {.plant = axis_example_plant(), .controller = axis_example_controller()};
    m.other = m.plant;
    m.other.inertia_kg_m2 = 900.0;
    m.ratio[0] = 1.5;
    m.ratio[1] = -0.8;
    share(&m);
    m.held = axis_example_controller();
    m.held.kp_nm_per_rad *= 0.5;
    m.held.ki_nm_per_rad_s *= 0.4;
    m.held.kd_nm_s_per_rad *= 0.6;
    return m;
}

/* What the definition says at one frequency. */
static double complex loop_at(const struct mount *m, double f_hz)
{
    struct tune_plant across = m->plant;
    double complex g11, g22, with, without, c1, c2;
    for (size_t k = 0; k < across.n_modes; k++)
        across.mode[k].payload_ratio = m->ratio[k];
    tune_plant_eval(&g11, &m->plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_plant_eval(&g22, &m->other, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_plant_eval(&with, &across, TUNE_PATH_MOTOR_PAYLOAD, &f_hz, 1);
    across.n_modes = 0;
    tune_plant_eval(&without, &across, TUNE_PATH_MOTOR_PAYLOAD, &f_hz, 1);
    tune_controller_eval(&c1, &m->controller, &f_hz, 1);
    tune_controller_eval(&c2, &m->held, &f_hz, 1);
    return c1 * (g11 - (with - without) * (with - without) * c2 / (1.0 + g22 * c2));
}

static void margins_are_those_of_the_definition(void **state)
{
    const struct mount m = example_mount();
    const struct tune_cross_axes axes = axes_of(&m, NULL);
    struct tune_margins margins, alone;
    struct tune_error err;
    double peak = 0.0;
    bool stable;
    (void)state;
    assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    assert_true(stable);
    assert_int_equal(tune_loop_judge(&alone, &stable, &m.plant, &m.controller, &err), TUNE_OK);
    assert_true(fabs(margins.sens_peak - alone.sens_peak) > 0.005);
    for (double f = 0.5; f < 1000.0; f *= 1.0002)
        peak = fmax(peak, 1.0 / cabs(1.0 + loop_at(&m, f)));
    check_close_rel(margins.sens_peak, peak, 1e-5);
    check_close_rel(cabs(loop_at(&m, margins.crossover_hz)), 1.0, 1e-9);
    check_close_rel(margins.phase_margin_rad, fabs(carg(-loop_at(&m, margins.phase_margin_hz))),
                    1e-6);
}

static void an_axis_that_takes_no_part_changes_nothing(void **state)
{
    struct mount m = example_mount();
    struct tune_cross_axes axes = axes_of(&m, NULL);
    struct tune_margins margins, alone;
    struct tune_error err;
    bool stable;
    (void)state;
    memset(axes.ratio, 0, sizeof axes.ratio);
    assert_int_equal(tune_loop_judge(&alone, &stable, &m.plant, &m.controller, &err), TUNE_OK);
    assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    assert_true(stable);
    check_close_rel(margins.sens_peak, alone.sens_peak, 1e-7);
    check_close_rel(margins.phase_margin_rad, alone.phase_margin_rad, 1e-9);
    check_close_rel(margins.gain_margin, alone.gain_margin, 1e-9);
    /* nor do gains that stay as they were, whatever the coupling */
    axes = axes_of(&m, &m.held);
    assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    check_close_rel(margins.sens_peak, alone.sens_peak, 1e-7);
    check_close_rel(margins.gain_reduction_margin, alone.gain_reduction_margin, 1e-9);
}

/* The other axis was fitted at another pointing, its shared modes lie elsewhere by some percent: what the mount does
 * here is told all the same. */
static void modes_fitted_at_another_pointing_do_no_harm(void **state)
{
    struct mount m = example_mount();
    struct tune_plant elsewhere = m.other;
    struct tune_cross_axes axes = axes_of(&m, NULL);
    struct tune_margins margins, want;
    struct tune_error err;
    bool stable;
    (void)state;
    assert_int_equal(tune_cross_judge(&want, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    for (size_t k = 0; k < elsewhere.n_modes; k++) {
        elsewhere.mode[k].f_hz *= k ? 0.97 : 1.03;
        elsewhere.mode[k].gain *= 1.2;
    }
    axes.other = &elsewhere;
    assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    assert_true(stable);
    check_close_rel(margins.sens_peak, want.sens_peak, 1e-6);
    check_close_rel(margins.phase_margin_rad, want.phase_margin_rad, 1e-6);
}

/* The same numbers read from two files. */
static void gains_equal_by_value_change_nothing_however_stiff(void **state)
{
    struct mount m = example_mount();
    struct tune_controller copy = m.held;
    const struct tune_cross_axes axes = axes_of(&m, &m.held);
    struct tune_margins margins, alone;
    struct tune_error err;
    bool stable;
    (void)state;
    copy.position_divider = 1;
    copy.biquad[TUNE_BIQUADS_MAX - 1].zero_hz = 7.0; /* none of those that run */
    assert_int_equal(tune_loop_judge(&alone, &stable, &m.plant, &m.controller, &err), TUNE_OK);
    if (tune_cross_judge(&margins, &stable, &axes, &m.controller, &copy, &err) != TUNE_OK)
        fail_msg("%s", err.text);
    assert_true(stable);
    check_close_rel(margins.sens_peak, alone.sens_peak, 1e-7);
    copy.ki_nm_per_rad_s *= 1.0 + 1e-15;
    assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &copy, &err),
                     TUNE_ENOSOL);
}

/* Two shared modes 7 % apart, fitted elsewhere 6 % lower: there the second lies nearest to the first one's place, and
 * whoever takes the nearest pair first leaves the lower one beside. */
static void near_modes_do_not_take_each_others_partner(void **state)
{
    struct mount m = example_mount();
    m.plant.n_modes = 3;
    m.plant.mode[2] = m.plant.mode[0];
    m.plant.mode[2].f_hz *= 1.07;
    m.ratio[2] = 0.7;
    share(&m);
    struct tune_plant elsewhere = m.other;
    struct tune_cross_axes axes = axes_of(&m, NULL);
    struct tune_margins margins, want;
    struct tune_error err;
    bool stable;
    (void)state;
    assert_int_equal(tune_cross_judge(&want, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_OK);
    assert_true(stable);
    for (int down = 0; down < 2; down++) {
        for (size_t k = 0; k < elsewhere.n_modes; k++)
            elsewhere.mode[k].f_hz = m.other.mode[k].f_hz * (down ? 0.94 : 1.06);
        axes.other = &elsewhere;
        assert_int_equal(tune_cross_judge(&margins, &stable, &axes, &m.controller, &m.held, &err),
                         TUNE_OK);
        assert_true(stable);
        check_close_rel(margins.sens_peak, want.sens_peak, 1e-6);
        check_close_rel(margins.phase_margin_rad, want.phase_margin_rad, 1e-6);
    }
}

/* What a mode lost in the noise may do is tried out with a share that is not its own: it takes nobody's partner. */
static void a_lost_mode_takes_no_partner(void **state)
{
    static struct cross_shared shared;
    struct mount m = example_mount();
    struct tune_plant elsewhere = m.other;
    struct tune_cross_axes axes;
    struct tune_error err;
    (void)state;
    m.plant.n_modes = 3;
    m.plant.mode[2] = m.plant.mode[0];
    m.plant.mode[2].f_hz *= 0.95;
    axes = axes_of(&m, NULL);
    axes.ratio[2] = 0.01;
    elsewhere.n_modes = 3;
    elsewhere.mode[2] = elsewhere.mode[0]; /* of its own, beside the shared one */
    elsewhere.mode[2].f_hz *= 1.06;
    axes.other = &elsewhere;
    for (int lost = 0; lost < 2; lost++) {
        axes.lost[2] = lost;
        assert_int_equal(tune_cross_share(&shared, &axes, NULL, &cross_limits_usual, &err),
                         TUNE_OK);
        /* taken for a shared one it would have the first, and the first the second */
        assert_int_equal(shared.other.n_modes, lost ? 4 : 3);
        assert_true((shared.other.mode[2].f_hz == elsewhere.mode[2].f_hz) == lost);
        assert_true((shared.other.mode[0].f_hz == m.plant.mode[0].f_hz) == lost);
    }
}

static void what_cannot_be_judged_together_is_refused(void **state)
{
    struct mount m = example_mount();
    struct tune_cross_axes axes = axes_of(&m, NULL);
    struct tune_error err;
    bool stable = true;
    (void)state;
    m.held.kp_nm_per_rad *= 1000.0;
    assert_int_equal(tune_cross_judge(NULL, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_ENOSOL);
    assert_false(stable);
    assert_non_null(strstr(err.text, "other axis"));
    m = example_mount();
    struct tune_controller other_now = m.held;
    axes.before = &m.held;
    other_now.kp_nm_per_rad *= 0.9;
    assert_int_equal(tune_cross_judge(NULL, &stable, &axes, &m.controller, &other_now, &err),
                     TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "softer gains"));
    axes = axes_of(&m, NULL);
    axes.ratio[1] = (double)NAN;
    assert_int_equal(tune_cross_judge(NULL, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_EINVAL);
    assert_non_null(strstr(err.text, "mode 2"));
    axes = axes_of(&m, NULL);
    m.other.n_modes = TUNE_MODES_MAX;
    for (size_t k = 0; k < TUNE_MODES_MAX; k++)
        m.other.mode[k] =
            (struct tune_mode){.f_hz = 300.0 + 10.0 * (double)k, .zeta = 0.02, .gain = 1e-3};
    assert_int_equal(tune_cross_judge(NULL, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "identify it with fewer"));
    m = example_mount();
    m.other.loop_rate_hz = 2000.0;
    assert_int_equal(tune_cross_judge(NULL, &stable, &axes, &m.controller, &m.held, &err),
                     TUNE_EINVAL);
    assert_non_null(strstr(err.text, "2000 Hz"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_count_is_that_of_the_eigenvalues_of_both_axes),
        cmocka_unit_test(margins_are_those_of_the_definition),
        cmocka_unit_test(an_axis_that_takes_no_part_changes_nothing),
        cmocka_unit_test(modes_fitted_at_another_pointing_do_no_harm),
        cmocka_unit_test(gains_equal_by_value_change_nothing_however_stiff),
        cmocka_unit_test(near_modes_do_not_take_each_others_partner),
        cmocka_unit_test(a_lost_mode_takes_no_partner),
        cmocka_unit_test(what_cannot_be_judged_together_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
