/* test_measured.c - margins from tables of L: against the same loops known in closed form or by loop.h,
 * published margins, what is refused.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "control/measured_case.h"
#include "core/units.h"

/* ---- against the loop itself --------------------------------------------------------------------*/

static void a_dense_table_has_the_margins_of_the_loop(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    const struct tune_controller c = gains();
    struct tune_margins want;
    struct tune_error err;
    bool stable;
    size_t phases = 0, sizes = 0;
    (void)state;
    assert_int_equal(tune_loop_judge(&want, &stable, &axis, &c, &err), TUNE_OK);
    assert_true(stable);
    axis_loop(&m, POINTS_MOST, 0.3, 950.0);
    measure(&out, &m);
    assert_true(want.n_gain_crossings >= 3 && want.n_phase_crossings >= 3);
    for (size_t i = 0; i < out.n_crossings; i++) {
        const struct tune_measured_crossing *at = &out.crossing[i];
        if (at->of_phase) {
            check_close_rel(at->f_hz.value, want.phase_crossing_hz[phases], 1e-6);
            check_close_rel(at->margin.value, 1.0 / want.phase_crossing_gain[phases], 1e-6);
            phases++;
        } else {
            check_close_rel(at->f_hz.value, want.gain_crossing_hz[sizes], 1e-6);
            check_close(at->margin.value, want.gain_crossing_phase_rad[sizes] + TUNE_PI, 1e-6);
            sizes++;
        }
        check_close(at->margin.std, 0.0, 0.0);
    }
    assert_int_equal(sizes, want.n_gain_crossings);
    /* half the rate itself, where L is real, lies beyond the table */
    assert_true(phases + 1 >= want.n_phase_crossings && phases <= want.n_phase_crossings);
    check_close_rel(out.gain_margin.value, want.gain_margin, 1e-6);
    check_close_rel(out.gain_reduction_margin.value, want.gain_reduction_margin, 1e-6);
    check_close_rel(out.phase_margin_rad.value, want.phase_margin_rad, 1e-6);
    check_close_rel(out.delay_margin_s.value, want.delay_margin_s, 1e-6);
    check_close_rel(out.sens_peak.value, want.sens_peak, 1e-6);
    check_close_rel(out.sens_peak_hz, want.sens_peak_hz, 1e-6);
    assert_int_equal(out.n_coarse, 0);
    assert_false(out.sens_peak_at_end);
}

/* A point every 2 %, as many as an analyser gives: a resonance is a pole, and interpolated as one. */
static void resonances_between_the_points_are_seen(void **state)
{
    static struct made m;
    static struct tune_measured_margins dense, out;
    (void)state;
    axis_loop(&m, POINTS_MOST, 0.6, 500.0);
    measure(&dense, &m);
    axis_loop(&m, 336, 0.6, 500.0);
    measure(&out, &m);
    assert_int_equal(out.n_crossings, dense.n_crossings);
    for (size_t i = 0; i < out.n_crossings; i++) {
        /* model: the rest of L over four points is a parabola to some parts in 1e5 */
        check_close_rel(out.crossing[i].f_hz.value, dense.crossing[i].f_hz.value, 1e-4);
        check_close(out.crossing[i].margin.value, dense.crossing[i].margin.value,
                    1e-3 * fabs(dense.crossing[i].margin.value));
    }
    check_close_rel(out.sens_peak.value, dense.sens_peak.value, 1e-3);
}

static void a_sparse_table_says_so(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    (void)state;
    axis_loop(&m, 60, 0.6, 500.0);
    measure(&out, &m);
    assert_true(out.n_coarse > 0);
    assert_true(out.coarse_hz[1] > out.coarse_hz[0]);
    /* about a mode or the antiresonance under it */
    check_between(out.coarse_hz[0], 14.0, 92.0);
}

/* A loop with a resonance of gain 1 at 22 Hz. */
static void one_mode(struct made *m, size_t n)
{
    static const struct tune_plant plant = {.inertia_kg_m2 = 100.0,
                                            .viscous_nm_s_per_rad = 10.0,
                                            .delay_s = 0.0017,
                                            .loop_rate_hz = 4000.0,
                                            .n_modes = 1,
                                            .mode = {{22.0, 0.012, 0.2, NAN}}};
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 1.6e4;
    c.ki_nm_per_rad_s = 3e4;
    c.kd_nm_s_per_rad = 1.8e3;
    c.derivative_filter_hz = 60.0;
    frequencies(m, n, 0.5, 200.0);
    tune_plant_eval(m->exact, &plant, TUNE_PATH_MOTOR_ENCODER, m->f_hz, n);
    tune_controller_eval(m->l, &c, m->f_hz, n);
    for (size_t i = 0; i < n; i++)
        m->exact[i] = m->l[i] = m->l[i] * m->exact[i];
}

/* Points to both sides of it show its foot and not its peak: crossings are missed, and it is said. */
static void a_resonance_stepped_over_is_told(void **state)
{
    static const size_t points[] = {16, 24, 40};
    static struct made m;
    static struct tune_measured_margins dense, out;
    (void)state;
    one_mode(&m, POINTS_MOST);
    measure(&dense, &m);
    assert_int_equal(dense.n_coarse, 0);
    for (size_t k = 0; k < 3; k++)
        for (uint64_t seed = 0; seed < 50; seed++) {
            one_mode(&m, points[k]);
            add_noise(&m, 0.01, 0.0, seed);
            measure(&out, &m);
            if (points[k] != 24) assert_true(out.n_crossings < dense.n_crossings);
            assert_true(out.n_coarse > 0);
            assert_true(out.coarse_hz[0] < 22.0 && out.coarse_hz[1] > 22.0);
        }
}

/* Noise of 20 % hides the foot as well: what is known from elsewhere tells. */
static void a_known_resonance_asks_for_points(void **state)
{
    static const struct tune_mode known = {
        .f_hz = 22.0, .zeta = 0.012, .gain = 0.2, .payload_ratio = NAN};
    static struct made m;
    static struct tune_measured_margins out;
    const double most = log(400.0) / 0.024; /* steps of 2 zeta */
    size_t silent = 0;
    (void)state;
    for (uint64_t seed = 0; seed < 20; seed++) {
        one_mode(&m, 40);
        add_noise(&m, 0.2, 0.0, seed);
        measure(&out, &m);
        silent += out.n_coarse == 0;
        m.table.mode = &known;
        m.table.n_modes = 1;
        measure(&out, &m);
        assert_true(out.n_coarse > 0);
    }
    assert_true(silent > 0);
    one_mode(&m, (size_t)most + 2);
    m.table.mode = &known;
    m.table.n_modes = 1;
    add_noise(&m, 0.2, 0.0, 1);
    measure(&out, &m);
    assert_int_equal(out.n_coarse, 0);
    one_mode(&m, (size_t)most);
    m.table.mode = &known;
    m.table.n_modes = 1;
    add_noise(&m, 0.2, 0.0, 1);
    measure(&out, &m);
    assert_true(out.coarse_hz[0] < 22.0 && out.coarse_hz[1] > 22.0);
}

/* A point every 1.5 %, near enough for half widths from 1.2 %: neighbours agree within 5 std, which noise
 * breaks once in e^25 points, and no step turns L by more than a radian and 3 std (once in 700 at most, at
 * the one step that turns by nearly a radian without noise). */
static void a_noisy_table_is_not_coarse(void **state)
{
    static const double noise[] = {0.01, 0.05};
    static struct made m;
    static struct tune_measured_margins out;
    (void)state;
    for (int k = 0; k < 2; k++)
        for (uint64_t seed = 0; seed < 50; seed++) {
            axis_loop(&m, 400, 0.8, 400.0);
            add_noise(&m, noise[k], 0.0, seed);
            measure(&out, &m);
            assert_int_equal(out.n_coarse, 0);
            one_mode(&m, 400);
            add_noise(&m, noise[k], 0.0, seed);
            measure(&out, &m);
            assert_int_equal(out.n_coarse, 0);
        }
}

/* ---- published ----------------------------------------------------------------------------------*/

/* K (s + z)/((s + p0)(s + p1)(s + p2)) e^{-s delay}; z = INFINITY: no zero. Angular frequencies. */
struct published {
    double gain, pole[3], delay;
    double gain_margin, phase_margin_deg, sens_peak, delay_margin_s, allowed;
};

static void published_margins(void **state)
{
    /* L = 3/(s + 1)^3: gain margin 8/3, phase margin 41.7 degrees (K. J. Astrom and R. M. Murray,
     * Feedback Systems, 2008, printed 2.67 and 41.7; from memory); the delay margin follows.
     * L = e^-s/(2 s): 3.14, 61.4 degrees, Ms 1.59, 2.14 s (S. Skogestad, J. Process Control 13, 2003,
     * from memory; exact pi). Digits beyond those printed were recomputed independently. */
    static const struct published loop[] = {
        {3.0, {1.0, 1.0, 1.0}, 0.0, 8.0 / 3.0, 41.690, 2.2000, 0.70014, 1e-4},
        {0.5, {0.0, INFINITY, INFINITY}, 1.0, TUNE_PI, 61.352, 1.5905, 2.1416, 1e-4}};
    static struct made m;
    static struct tune_measured_margins out;
    (void)state;
    for (size_t c = 0; c < sizeof loop / sizeof *loop; c++) {
        frequencies(&m, 400, 0.01, 2.0);
        for (size_t i = 0; i < m.table.n; i++) {
            const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * m.f_hz[i]);
            m.l[i] = loop[c].gain * cexp(-s * loop[c].delay);
            for (int k = 0; k < 3; k++)
                if (isfinite(loop[c].pole[k])) m.l[i] /= s + loop[c].pole[k];
        }
        measure(&out, &m);
        check_close_rel(out.gain_margin.value, loop[c].gain_margin, loop[c].allowed);
        check_close_rel(out.phase_margin_rad.value / TUNE_RAD_PER_DEG, loop[c].phase_margin_deg,
                        loop[c].allowed);
        check_close_rel(out.sens_peak.value, loop[c].sens_peak, loop[c].allowed);
        check_close_rel(out.delay_margin_s.value, loop[c].delay_margin_s, loop[c].allowed);
    }
}

/* ---- ends and refusals --------------------------------------------------------------------------*/

static void what_lies_beyond_the_band_does_not_exist(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    (void)state;
    axis_loop(&m, 50, 1.7, 2.8); /* between the lowest phase crossing and the crossover */
    measure(&out, &m);
    assert_true(isinf(out.phase_margin_rad.value) && isnan(out.phase_margin_rad.std));
    assert_true(isinf(out.gain_margin.value) && isnan(out.gain_margin_hz));
    assert_true(isinf(out.delay_margin_s.value) && isnan(out.delay_margin_s.std));
    assert_int_equal(out.n_crossings, 0);
    assert_true(out.sens_peak_at_end);
    check_close(out.band_hz[1], m.f_hz[49], 0.0);
}

static void what_cannot_be_used_is_refused(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    struct tune_error err;
    (void)state;
    axis_loop(&m, 50, 0.8, 200.0);
    m.table.n = TUNE_LOOP_POINTS_MIN - 1;
    assert_int_equal(tune_measured_margins(&out, &m.table, &err), TUNE_EINVAL);
    m.table.n = 50;
    m.std[3] = -1.0;
    assert_int_equal(tune_measured_margins(&out, &m.table, &err), TUNE_EINVAL);
    m.std[3] = 0.0;
    m.l[3] = NAN;
    assert_int_equal(tune_measured_margins(&out, &m.table, &err), TUNE_EINVAL);
    m.l[3] = 1.0;
    m.f_hz[3] = m.f_hz[2];
    assert_int_equal(tune_measured_margins(&out, &m.table, &err), TUNE_EINVAL);
    assert_int_equal(out.n_crossings, 0);
}

static void want_of_memory_leaves_nothing(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    struct tune_error err;
    bool failed = true;
    (void)state;
    axis_loop(&m, 60, 0.8, 200.0);
    for (unsigned long k = 1; failed; k++) {
        check_fail_allocation(k);
        const enum tune_status status = tune_measured_margins(&out, &m.table, &err);
        failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
        assert_true(failed == (out.points == 0));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_dense_table_has_the_margins_of_the_loop),
        cmocka_unit_test(resonances_between_the_points_are_seen),
        cmocka_unit_test(a_sparse_table_says_so),
        cmocka_unit_test(a_resonance_stepped_over_is_told),
        cmocka_unit_test(a_known_resonance_asks_for_points),
        cmocka_unit_test(a_noisy_table_is_not_coarse),
        cmocka_unit_test(published_margins),
        cmocka_unit_test(what_lies_beyond_the_band_does_not_exist),
        cmocka_unit_test(what_cannot_be_used_is_refused),
        cmocka_unit_test(want_of_memory_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
