/* test_crossings.c - every crossing in one list, and its counterpart in a plant a little off.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/crossings.h"
#include "core/random.h"
#include "core/units.h"
#include "support/axis_matrix.h"

static struct tune_crossings crossings_of(const struct tune_plant *plant,
                                          const struct tune_controller *c, struct tune_margins *m)
{
    struct tune_crossings crossings;
    struct tune_error err;
    bool stable;
    assert_int_equal(tune_loop_judge(m, &stable, plant, c, &err), TUNE_OK);
    tune_loop_crossings(&crossings, m);
    return crossings;
}

static struct tune_controller times(struct tune_controller c, double factor)
{
    c.kp_nm_per_rad *= factor;
    c.ki_nm_per_rad_s *= factor;
    c.kd_nm_s_per_rad *= factor;
    return c;
}

static void the_worst_of_the_list_are_the_margins(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 51, 0);
    for (int i = 0; i < 40; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        struct tune_margins m;
        const struct tune_crossings list = crossings_of(&plant, &c, &m);
        double phase = INFINITY, rise = INFINITY, fall = INFINITY;
        assert_int_equal(list.n, m.n_gain_crossings + m.n_phase_crossings);
        for (size_t k = 0; k < list.n; k++) {
            const struct tune_crossing *x = &list.crossing[k];
            if (k > 0) assert_true(x->f_hz >= list.crossing[k - 1].f_hz);
            if (!x->of_phase) phase = fmin(phase, fabs(x->margin));
            if (x->of_phase && x->margin >= 1.0) rise = fmin(rise, x->margin);
            if (x->of_phase && x->margin <= 1.0) fall = fmin(fall, 1.0 / x->margin);
        }
        check_close(phase, fabs(m.phase_margin_rad), 1e-14); /* rounding */
        check_close_rel(rise, m.gain_margin, 1e-14);
        check_close_rel(fall, m.gain_reduction_margin, 1e-14);
    }
}

/* Does the phase of L fall through -pi around f? Below it L is then under the axis, above it over it. */
static bool phase_falls(const struct tune_plant *plant, const struct tune_controller *c,
                        double f_hz)
{
    const double f[2] = {f_hz * (1.0 - 1e-7), f_hz * (1.0 + 1e-7)};
    double complex g[2], k[2];
    tune_plant_eval(g, plant, TUNE_PATH_MOTOR_ENCODER, f, 2);
    tune_controller_eval(k, c, f, 2);
    return cimag(g[0] * k[0]) < cimag(g[1] * k[1]);
}

/* |L| goes through 1 downwards and upwards in turn; both kinds say which way. */
static void senses_of_crossings_are_told(void **state)
{
    struct tune_random rng;
    int seen = 0;
    (void)state;
    tune_random_init(&rng, 52, 0);
    for (int i = 0; i < 40; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        struct tune_margins m;
        const struct tune_crossings list = crossings_of(&plant, &c, &m);
        bool falls = true; /* an axis has more than 1 at low frequency */
        for (size_t k = 0; k < list.n; k++) {
            const struct tune_crossing *x = &list.crossing[k];
            if (x->of_phase && x->f_hz < 0.499 * plant.loop_rate_hz)
                assert_int_equal(x->falls, phase_falls(&plant, &c, x->f_hz));
            if (x->of_phase) continue;
            assert_int_equal(x->falls, falls);
            falls = !falls;
            seen++;
        }
    }
    assert_true(seen > 60);
}

/* Gain raised by 1 + e: L crosses the negative axis where it did, with 1/(1 + e) of the margin. */
static void gain_scales_the_margins_of_phase_crossings(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller(), more = times(c, 1.01);
    struct tune_margins m;
    const struct tune_crossings base = crossings_of(&plant, &c, &m);
    const struct tune_crossings other = crossings_of(&plant, &more, &m);
    size_t partner[2 * TUNE_CROSSINGS_MAX], phases = 0;
    (void)state;
    tune_crossings_pair(partner, &base, &other);
    for (size_t i = 0; i < base.n; i++) {
        assert_true(partner[i] < other.n);
        if (!base.crossing[i].of_phase) continue;
        check_close_rel(other.crossing[partner[i]].f_hz, base.crossing[i].f_hz, 1e-10);
        check_close_rel(other.crossing[partner[i]].margin, base.crossing[i].margin / 1.01, 1e-9);
        phases++;
    }
    assert_true(phases >= 2);
}

/* One more sample of delay turns L by 2 pi f T: |L| = 1 where it was, with that much less phase. */
static void delay_turns_the_margins_of_gain_crossings(void **state)
{
    struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    const double period = 1.0 / plant.loop_rate_hz;
    struct tune_margins m;
    const struct tune_crossings base = crossings_of(&plant, &c, &m);
    struct tune_crossings other;
    size_t partner[2 * TUNE_CROSSINGS_MAX], gains = 0;
    (void)state;
    plant.delay_s += period;
    other = crossings_of(&plant, &c, &m);
    tune_crossings_pair(partner, &base, &other);
    for (size_t i = 0; i < base.n; i++) {
        const struct tune_crossing *x = &base.crossing[i];
        if (x->of_phase) continue;
        assert_true(partner[i] < other.n);
        check_close_rel(other.crossing[partner[i]].f_hz, x->f_hz, 1e-10);
        check_close(remainder(x->margin - 2.0 * TUNE_PI * x->f_hz * period -
                                  other.crossing[partner[i]].margin,
                              2.0 * TUNE_PI),
                    0.0, 1e-8); /* rounding, times the slope of a resonance */
        gains++;
    }
    assert_true(gains >= 3);
}

/* A resonance whose top comes just over 1 makes two crossings; a little less gain takes both away and
 * leaves every other crossing its own partner. */
static void a_pair_that_vanishes_has_no_partner(void **state)
{
    struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_margins m;
    struct tune_crossings base, other;
    size_t partner[2 * TUNE_CROSSINGS_MAX], lost = 0;
    double low = 0.0, high = 2.0;
    (void)state;
    plant.mode[plant.n_modes++] = (struct tune_mode){50.0, 0.004, 0.0, 1.0, 0.0};
    for (int i = 0; i < 50; i++) { /* the gain at which |L| just reaches 1 at 50 Hz */
        plant.mode[2].gain = 0.5 * (low + high);
        base = crossings_of(&plant, &c, &m);
        *(m.top_crossing_hz > 45.0 ? &high : &low) = plant.mode[2].gain;
    }
    plant.mode[2].gain = 1.001 * high;
    base = crossings_of(&plant, &c, &m);
    plant.mode[2].gain = 0.999 * high;
    other = crossings_of(&plant, &c, &m);
    tune_crossings_pair(partner, &base, &other);
    for (size_t i = 0; i < base.n; i++) {
        lost += partner[i] == other.n;
        if (partner[i] < other.n)
            check_close_rel(other.crossing[partner[i]].f_hz, base.crossing[i].f_hz, 0.01);
        else
            check_close(base.crossing[i].f_hz, 50.0, 1.0);
    }
    assert_int_equal(lost, 2);
}

/* The other way round: what is new in `other` has no partner in `base`, and takes none away. */
static void no_crossing_serves_two(void **state)
{
    const struct tune_crossings two = {
        .n = 2, .crossing = {{false, true, 10.0, 0.5}, {false, true, 10.4, 0.6}}};
    const struct tune_crossings one = {.n = 1, .crossing = {{false, true, 10.5, 0.7}}};
    const struct tune_crossings unlike = {
        .n = 3,
        .crossing = {{true, true, 10.0, 0.5}, {false, false, 10.0, 0.5}, {false, true, 13.0, 0.5}}};
    size_t partner[2];
    (void)state;
    tune_crossings_pair(partner, &two, &one);
    assert_int_equal(partner[0], 1); /* none */
    assert_int_equal(partner[1], 0);
    tune_crossings_pair(partner, &one, &two);
    assert_int_equal(partner[0], 1);
    tune_crossings_pair(partner, &two, &unlike); /* other kind, other sense, too far */
    assert_int_equal(partner[0], 3);
    assert_int_equal(partner[1], 3);
}

/* ---- std ----------------------------------------------------------------------------------------*/

enum { PARAMETERS = 9 };

/* A plant with each parameter off by so many of its own standard deviations. */
static struct tune_plant stepped(const double z[PARAMETERS])
{
    struct tune_plant plant = axis_example_plant();
    plant.inertia_kg_m2 *= exp(1e-3 * z[0]);
    plant.viscous_nm_s_per_rad *= exp(0.05 * z[1]);
    plant.delay_s += 2e-6 * z[2];
    for (size_t k = 0; k < 2; k++) {
        plant.mode[k].f_hz *= exp(1e-4 * z[3 + 3 * k]);
        plant.mode[k].zeta *= exp(3e-3 * z[4 + 3 * k]);
        plant.mode[k].gain += 1e-3 * z[5 + 3 * k];
    }
    return plant;
}

static void add_step(double *square, const struct tune_crossings *base, size_t parameter)
{
    const struct tune_controller c = axis_example_controller();
    double z[PARAMETERS] = {0.0};
    struct tune_crossings side[2];
    size_t partner[2][2 * TUNE_CROSSINGS_MAX];
    for (int s = 0; s < 2; s++) {
        struct tune_plant plant;
        struct tune_margins m;
        z[parameter] = s ? 1.0 : -1.0;
        plant = stepped(z);
        side[s] = crossings_of(&plant, &c, &m);
        tune_crossings_pair(partner[s], base, &side[s]);
    }
    for (size_t i = 0; i < base->n; i++) {
        double change;
        assert_true(partner[0][i] < side[0].n && partner[1][i] < side[1].n);
        change =
            0.5 * (side[1].crossing[partner[1][i]].margin - side[0].crossing[partner[0][i]].margin);
        square[i] += change * change;
    }
}

/* The delta method's std of every crossing's margin against that of random plants. */
static void stds_of_all_margins_are_those_of_random_plants(void **state)
{
    const int runs = 400 * (int)check_multiplier();
    const struct tune_controller c = axis_example_controller();
    const struct tune_plant plant = axis_example_plant();
    struct tune_margins m;
    const struct tune_crossings base = crossings_of(&plant, &c, &m);
    double square[2 * TUNE_CROSSINGS_MAX] = {0.0}, seen[2 * TUNE_CROSSINGS_MAX] = {0.0};
    struct tune_random rng;
    (void)state;
    assert_in_range(base.n, 5, 30);
    for (size_t p = 0; p < PARAMETERS; p++)
        add_step(square, &base, p);
    tune_random_init(&rng, 53, 0);
    for (int run = 0; run < runs; run++) {
        double z[PARAMETERS];
        size_t partner[2 * TUNE_CROSSINGS_MAX];
        struct tune_crossings list;
        struct tune_plant other;
        for (size_t p = 0; p < PARAMETERS; p++)
            z[p] = tune_random_normal(&rng);
        other = stepped(z);
        list = crossings_of(&other, &c, &m);
        tune_crossings_pair(partner, &base, &list);
        for (size_t i = 0; i < base.n; i++) {
            assert_true(partner[i] < list.n);
            seen[i] += pow(list.crossing[partner[i]].margin - base.crossing[i].margin, 2) / runs;
        }
    }
    /* statistical: a std of n draws has relative std 1/sqrt(2 n); 4 of them, and 2 % of curvature */
    for (size_t i = 0; i < base.n; i++)
        check_close_rel(sqrt(seen[i]), sqrt(square[i]), 4.0 / sqrt(2.0 * runs) + 0.02);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_worst_of_the_list_are_the_margins),
        cmocka_unit_test(senses_of_crossings_are_told),
        cmocka_unit_test(gain_scales_the_margins_of_phase_crossings),
        cmocka_unit_test(delay_turns_the_margins_of_gain_crossings),
        cmocka_unit_test(a_pair_that_vanishes_has_no_partner),
        cmocka_unit_test(no_crossing_serves_two),
        cmocka_unit_test(stds_of_all_margins_are_those_of_random_plants),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
