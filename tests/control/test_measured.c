/* test_measured.c - margins from tables of L: against the same loops known in closed form or by loop.h,
 * published margins, statistics under noise.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "control/measured.h"
#include "core/random.h"
#include "core/units.h"

enum { POINTS_MOST = 4000 };

static const struct tune_plant axis = {
    .inertia_kg_m2 = 500.0,
    .viscous_nm_s_per_rad = 20.0,
    .delay_s = 0.0006,
    .loop_rate_hz = 2000.0,
    .n_modes = 3,
    .mode = {{18.0, 0.012, 0.25, NAN}, {47.0, 0.02, 0.10, NAN}, {90.0, 0.015, -0.06, NAN}}};

static struct tune_controller gains(void)
{
    struct tune_controller c = tune_controller_defaults(2000.0);
    c.kp_nm_per_rad = 2.0e5;
    c.ki_nm_per_rad_s = 6.0e5;
    c.kd_nm_s_per_rad = 1.6e4;
    c.derivative_filter_hz = 100.0;
    return c;
}

struct made {
    double f_hz[POINTS_MOST], std[POINTS_MOST];
    double complex exact[POINTS_MOST], l[POINTS_MOST];
    struct tune_loop_table table;
};

static void frequencies(struct made *m, size_t n, double low_hz, double high_hz)
{
    for (size_t i = 0; i < n; i++) {
        m->f_hz[i] = low_hz * pow(high_hz / low_hz, (double)i / (double)(n - 1));
        m->std[i] = 0.0;
    }
    m->table = (struct tune_loop_table){.n = n, .f_hz = m->f_hz, .l = m->l, .std = m->std};
}

static void axis_loop(struct made *m, size_t n, double low_hz, double high_hz)
{
    const struct tune_controller c = gains();
    frequencies(m, n, low_hz, high_hz);
    tune_plant_eval(m->exact, &axis, TUNE_PATH_MOTOR_ENCODER, m->f_hz, n);
    tune_controller_eval(m->l, &c, m->f_hz, n);
    for (size_t i = 0; i < n; i++)
        m->exact[i] = m->l[i] = m->l[i] * m->exact[i];
}

/* White noise of size relative |L| + absolute, stated as std. */
static void add_noise(struct made *m, double relative, double absolute, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    for (size_t i = 0; i < m->table.n; i++) {
        m->std[i] = relative * cabs(m->exact[i]) + absolute;
        const double part = m->std[i] * sqrt(0.5);
        m->l[i] =
            m->exact[i] + CMPLX(part * tune_random_normal(&rng), part * tune_random_normal(&rng));
    }
}

static void measure(struct tune_measured_margins *out, const struct made *m)
{
    struct tune_error err = {0};
    assert_int_equal(tune_measured_margins(out, &m->table, &err), TUNE_OK);
}

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

/* ---- noise --------------------------------------------------------------------------------------*/

/* 200 tables: each margin's rms error against what is claimed. Statistical: the std of a std over 200 is
 * 5 %; the claim holds what the last widening of the window moved, which is noise too where there is no
 * bend, and makes it up to a third too large. */
static void claimed_std_is_right(void **state)
{
    static struct made m;
    static struct tune_measured_margins exact, out;
    const int tables = 200 * (int)check_multiplier();
    double square[4] = {0}, claimed[4] = {0}, bias = 0.0;
    (void)state;
    axis_loop(&m, 400, 0.8, 400.0);
    measure(&exact, &m);
    for (int t = 0; t < tables; t++) {
        add_noise(&m, 0.02, 0.0, 1000 + (uint64_t)t);
        measure(&out, &m);
        const struct tune_estimate got[4] = {out.gain_margin, out.phase_margin_rad,
                                             out.delay_margin_s, out.sens_peak};
        const double want[4] = {exact.gain_margin.value, exact.phase_margin_rad.value,
                                exact.delay_margin_s.value, exact.sens_peak.value};
        for (int k = 0; k < 4; k++) {
            square[k] += pow(got[k].value - want[k], 2.0) / tables;
            claimed[k] += got[k].std * got[k].std / tables;
        }
        bias += (out.sens_peak.value - exact.sens_peak.value) / tables;
    }
    for (int k = 0; k < 4; k++)
        check_between(sqrt(square[k] / claimed[k]), 0.65, 1.35);
    check_close(bias, 0.0, sqrt(claimed[3]));
}

/* The smallest |1 + L| of raw noisy points is the smallest of their noise; the curve's is not. */
static void noise_does_not_make_the_peak(void **state)
{
    static struct made m;
    static struct tune_measured_margins exact, out;
    double raw = 0.0, curve = 0.0;
    const int tables = 50;
    (void)state;
    axis_loop(&m, 800, 0.8, 400.0);
    measure(&exact, &m);
    for (int t = 0; t < tables; t++) {
        double least = INFINITY;
        add_noise(&m, 0.0, 0.1, 5000 + (uint64_t)t);
        measure(&out, &m);
        for (size_t i = 0; i < m.table.n; i++)
            least = fmin(least, cabs(1.0 + m.l[i]));
        raw += (1.0 / least - exact.sens_peak.value) / tables;
        curve += (out.sens_peak.value - exact.sens_peak.value) / tables;
        assert_true(out.n_unsure > 0); /* L is noise at the upper end, and has no phase there */
    }
    assert_true(raw > 0.1);
    assert_true(fabs(curve) < 0.25 * raw);
}

/* What the margins are, in one row. */
enum { QUANTITIES = 5 };
static void row_of(double value[QUANTITIES], double std[QUANTITIES],
                   const struct tune_measured_margins *m)
{
    const struct tune_estimate *of[QUANTITIES] = {&m->gain_margin, &m->gain_reduction_margin,
                                                  &m->phase_margin_rad, &m->delay_margin_s,
                                                  &m->sens_peak};
    for (int k = 0; k < QUANTITIES; k++) {
        value[k] = of[k]->value;
        if (std) std[k] = of[k]->std;
    }
}

/* An error of every L by the same small factor moves each margin as the error of the L there does: r + j i of
 * std e each make e hypot(dm/dr, dm/di). Model: the slopes of
 * ln L are taken over a step of the table, right to 2e-3 beside a resonance. */
static void the_std_is_that_of_the_slopes(void **state)
{
    static struct made m;
    static struct tune_measured_margins out;
    const double step = 1e-5, relative = 1e-13; /* too small for any window to hold */
    double slope[2][QUANTITIES], value[QUANTITIES], std[QUANTITIES];
    (void)state;
    axis_loop(&m, POINTS_MOST, 0.3, 400.0);
    for (int part = 0; part < 2; part++)
        for (int side = -1; side <= 1; side += 2) {
            const double by = side * step;
            for (size_t i = 0; i < m.table.n; i++)
                m.l[i] = m.exact[i] * (part ? CMPLX(1.0, by) : CMPLX(1.0 + by, 0.0));
            measure(&out, &m);
            row_of(value, NULL, &out);
            for (int k = 0; k < QUANTITIES; k++)
                slope[part][k] = (side < 0 ? 0.0 : slope[part][k]) + side * value[k] / (2.0 * step);
        }
    for (size_t i = 0; i < m.table.n; i++) {
        m.l[i] = m.exact[i];
        m.std[i] = relative * cabs(m.exact[i]);
    }
    measure(&out, &m);
    row_of(value, std, &out);
    for (int k = 0; k < QUANTITIES; k++)
        check_close_rel(std[k], relative * sqrt(0.5) * hypot(slope[0][k], slope[1][k]), 2e-3);
}

static void noise_grows_and_so_does_the_std(void **state)
{
    static struct made m;
    static struct tune_measured_margins small, large;
    (void)state;
    /* few points, a factor of a thousand: no window holds more than the point itself, or all do alike */
    axis_loop(&m, 400, 0.8, 400.0);
    add_noise(&m, 1e-9, 0.0, 7);
    measure(&small, &m);
    add_noise(&m, 1e-6, 0.0, 7);
    measure(&large, &m);
    check_between(large.phase_margin_rad.std / small.phase_margin_rad.std, 200.0, 2000.0);
    check_between(large.sens_peak.std / small.sens_peak.std, 200.0, 2000.0);
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
        cmocka_unit_test(published_margins),
        cmocka_unit_test(claimed_std_is_right),
        cmocka_unit_test(noise_does_not_make_the_peak),
        cmocka_unit_test(the_std_is_that_of_the_slopes),
        cmocka_unit_test(noise_grows_and_so_does_the_std),
        cmocka_unit_test(what_lies_beyond_the_band_does_not_exist),
        cmocka_unit_test(what_cannot_be_used_is_refused),
        cmocka_unit_test(want_of_memory_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
