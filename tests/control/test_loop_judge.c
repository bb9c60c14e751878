/* test_loop_judge.c - the loop of an axis against the eigenvalues of its matrix: stable or not, and
 * what its margins mean.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "support/axis_matrix.h"

/* ---- stability ----------------------------------------------------------------------------------*/

static void judgement_agrees_with_the_eigenvalues(void **state)
{
    struct tune_random rng;
    struct tune_error err;
    const int loops = 200 * (int)check_multiplier();
    int stable_loops = 0, skipped = 0;
    (void)state;
    tune_random_init(&rng, 31, 0);
    for (int i = 0; i < loops; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double nearest;
        const size_t outside = axis_poles_outside(&plant, &c, &nearest);
        bool stable;
        /* eigenvalues near z = 1 come in clusters of three and are good to 1e-9 or so */
        if (nearest < 1e-8) {
            skipped++;
            continue;
        }
        if (tune_loop_judge(NULL, &stable, &plant, &c, &err) != TUNE_OK)
            fail_msg("loop %d of seed 31: %s", i, err.text);
        if (stable != (outside == 0))
            fail_msg("loop %d of seed 31: %zu poles outside, judged %s", i, outside,
                     stable ? "stable" : "unstable");
        stable_loops += stable;
    }
    check_between(stable_loops, 0.2 * loops, 0.8 * loops); /* the test sees both kinds */
    check_between(skipped, 0, 0.02 * loops);
}

/* A mode so thin that no grid meets it by chance, pole and zero a hair apart: the loop must be looked at
 * where the plant says it is. */
static void a_mode_thin_as_a_hair_is_not_overlooked(void **state)
{
    struct tune_random rng;
    struct tune_error err;
    int unstable_by_it = 0;
    (void)state;
    tune_random_init(&rng, 36, 0);
    for (int checked = 0; checked < 60 * (int)check_multiplier();) {
        struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double nearest;
        size_t outside;
        bool stable;
        if (axis_poles_outside(&plant, &c, &nearest) > 0) continue;
        plant.mode[plant.n_modes++] =
            (struct tune_mode){.f_hz = exp(log(300.0) * tune_random_uniform(&rng)),
                               .zeta = 2e-5,
                               .gain = tune_random_uniform(&rng) < 0.5 ? 1e-3 : -1e-3,
                               .payload_ratio = 1.0};
        outside = axis_poles_outside(&plant, &c, &nearest);
        if (nearest < 1e-8) continue;
        assert_int_equal(tune_loop_judge(NULL, &stable, &plant, &c, &err), TUNE_OK);
        assert_int_equal(stable, outside == 0);
        unstable_by_it += !stable;
        checked++;
    }
    assert_true(unstable_by_it > 10);
}

/* ---- margins ------------------------------------------------------------------------------------*/

static struct tune_controller times(const struct tune_controller *c, double factor)
{
    struct tune_controller scaled = *c;
    scaled.kp_nm_per_rad *= factor;
    scaled.ki_nm_per_rad_s *= factor;
    scaled.kd_nm_s_per_rad *= factor;
    return scaled;
}

static bool really_stable(const struct tune_plant *plant, const struct tune_controller *c)
{
    double nearest;
    return axis_poles_outside(plant, c, &nearest) == 0;
}

/* The bounds every loop obeys, from the distance 1/Ms of L to -1 (S. Skogestad, I. Postlethwaite,
 * Multivariable Feedback Control, sec. 2.4.3, from memory) and S + T = 1. */
static void check_bounds(const struct tune_margins *m)
{
    const double ms = m->sens_peak, slack = 1.0 - 1e-9; /* rounding */
    assert_true(ms >= 1.0 * slack);
    assert_true(m->gain_margin >= ms / (ms - 1.0) * slack);
    assert_true(m->gain_reduction_margin >= (ms + 1.0) / ms * slack);
    assert_true(m->phase_margin_rad >= 2.0 * asin(0.5 / ms) * slack);
    assert_true(m->gain_margin >= (1.0 + 1.0 / m->comp_sens_peak) * slack);
    assert_true(m->phase_margin_rad >= 2.0 * asin(fmin(1.0, 0.5 / m->comp_sens_peak)) * slack);
    assert_true(fabs(ms - m->comp_sens_peak) <= 1.0 + 1e-9);
}

/* What a margin says is true of the poles: just short of it stable, just beyond it not. */
static void check_meaning(const struct tune_plant *plant, const struct tune_controller *c,
                          const struct tune_margins *m)
{
    const double near = 1e-4;
    struct tune_controller other;
    if (isfinite(m->gain_margin)) {
        other = times(c, m->gain_margin * (1.0 - near));
        assert_true(really_stable(plant, &other));
        other = times(c, m->gain_margin * (1.0 + near));
        assert_false(really_stable(plant, &other));
    }
    if (isfinite(m->gain_reduction_margin)) {
        other = times(c, (1.0 + near) / m->gain_reduction_margin);
        assert_true(really_stable(plant, &other));
        other = times(c, (1.0 - near) / m->gain_reduction_margin);
        assert_false(really_stable(plant, &other));
    }
    /* the matrix holds so many waiting torques. Whole samples of delay turn L exactly; a fraction of
     * one changes what is folded down from above half the rate, too: model, when no mode is near */
    if (m->delay_margin_s * plant->loop_rate_hz < 20.0) {
        const double samples = m->delay_margin_s * plant->loop_rate_hz;
        const double highest = plant->n_modes ? plant->mode[plant->n_modes - 1].f_hz : 0.0;
        struct tune_plant late = *plant;
        late.delay_s = plant->delay_s + floor(samples) / plant->loop_rate_hz;
        assert_true(really_stable(&late, c));
        if (highest > 0.05 * plant->loop_rate_hz || samples < 0.1) return;
        late.delay_s = plant->delay_s + m->delay_margin_s * 0.99;
        assert_true(really_stable(&late, c));
        late.delay_s = plant->delay_s + m->delay_margin_s * 1.01;
        assert_false(really_stable(&late, c));
    }
}

/* L where the margins say it crosses. */
static void check_places(const struct tune_plant *plant, const struct tune_controller *c,
                         const struct tune_margins *m)
{
    for (size_t i = 0; i < m->n_gain_crossings + m->n_phase_crossings; i++) {
        const bool gain = i < m->n_gain_crossings;
        const double f =
            gain ? m->gain_crossing_hz[i] : m->phase_crossing_hz[i - m->n_gain_crossings];
        double complex g, k, l;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        tune_controller_eval(&k, c, &f, 1);
        l = g * k;
        /* rounding, magnified by the slope of L: up to 1/zeta = 500 at a resonance */
        if (gain) check_close(cabs(l), 1.0, 1e-10);
        if (!gain) check_close(cimag(l), 0.0, 1e-10 * cabs(l));
        if (!gain) assert_true(creal(l) < 0.0);
    }
}

static void margins_mean_what_they_say(void **state)
{
    struct tune_random rng;
    struct tune_error err;
    const int wanted = 60 * (int)check_multiplier();
    (void)state;
    tune_random_init(&rng, 32, 0);
    for (int checked = 0; checked < wanted;) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        struct tune_margins m;
        bool stable;
        assert_int_equal(tune_loop_judge(&m, &stable, &plant, &c, &err), TUNE_OK);
        check_places(&plant, &c, &m);
        if (!stable) continue;
        check_bounds(&m);
        check_meaning(&plant, &c, &m);
        checked++;
    }
}

/* Looked at in 200 000 places, the loop shows no crossing that was not told, and no higher peak. (A
 * change of sign from one quadrant to the opposite one is a zero of L, no crossing.) */
static void no_crossing_is_missed(void **state)
{
    enum { MANY = 200000 };
    struct tune_random rng;
    struct tune_error err;
    static double f[MANY];
    static double complex l[MANY], k[MANY];
    (void)state;
    tune_random_init(&rng, 33, 0);
    for (int i = 0; i < 6 * (int)check_multiplier(); i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        struct tune_margins m;
        bool stable;
        size_t gain = 0, phase = 0;
        double peak = 0.0;
        assert_int_equal(tune_loop_judge(&m, &stable, &plant, &c, &err), TUNE_OK);
        for (size_t n = 0; n < MANY; n++)
            f[n] = 1e-3 * pow(0.4999 * plant.loop_rate_hz / 1e-3, (double)n / (MANY - 1));
        tune_plant_eval(l, &plant, TUNE_PATH_MOTOR_ENCODER, f, MANY);
        tune_controller_eval(k, &c, f, MANY);
        for (size_t n = 0; n < MANY; n++) {
            l[n] *= k[n];
            peak = fmax(peak, 1.0 / cabs(1.0 + l[n]));
            if (n == 0) continue;
            gain += (cabs(l[n]) < 1.0) != (cabs(l[n - 1]) < 1.0);
            if (cabs(l[n]) > 1e6) continue; /* judge does not look where |L| is a million */
            phase += (cimag(l[n]) < 0.0) != (cimag(l[n - 1]) < 0.0) && creal(l[n]) < -1e-8 &&
                     creal(l[n - 1]) < -1e-8;
        }
        assert_in_range(m.n_gain_crossings, gain, gain + 1); /* one may lie below 1 mHz */
        assert_true(m.n_phase_crossings >= phase);
        assert_true(m.sens_peak >= peak * (1.0 - 1e-12));
    }
}

/* Neither L nor 1 + L turns far between the frequencies looked at, however near to the edge the loop is. */
static void frequencies_looked_at_follow_the_loop(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 37, 0);
    for (int i = 0; i < 20; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double *f;
        double complex *l, *k;
        size_t n;
        assert_int_equal(tune_loop_frequencies(&f, &n, &plant, &c, NULL), TUNE_OK);
        l = calloc(n, sizeof *l);
        k = calloc(n, sizeof *k);
        assert_true(l && k);
        tune_plant_eval(l, &plant, TUNE_PATH_MOTOR_ENCODER, f, n);
        tune_controller_eval(k, &c, f, n);
        check_close_rel(f[n - 1], 0.5 * plant.loop_rate_hz, 1e-12);
        for (size_t j = 0; j < n; j++) {
            l[j] *= k[j];
            if (j == 0 || cabs(l[j - 1]) < 1e-8) continue; /* rounding rules the phase of nothing */
            assert_true(f[j] > f[j - 1]);
            assert_true(fabs(carg(l[j] / l[j - 1])) < 0.301 || f[j] < f[j - 1] * (1.0 + 1e-11));
            assert_true(fabs(carg((1.0 + l[j]) / (1.0 + l[j - 1]))) < 0.301 ||
                        f[j] < f[j - 1] * (1.0 + 1e-11));
        }
        free(f);
        free(l);
        free(k);
    }
}

/* ---- statuses -----------------------------------------------------------------------------------*/

static void judged(const struct tune_plant *plant, const struct tune_controller *c,
                   enum tune_status want)
{
    static const struct tune_margins empty;
    struct tune_error err = {.text = ""};
    struct tune_margins m;
    bool stable = true;
    double rms = 1.0;
    assert_int_equal(tune_loop_judge(&m, &stable, plant, c, &err), want);
    assert_false(stable);
    assert_memory_equal(&m, &empty, sizeof m);
    assert_true(strlen(err.text) > 0);
    assert_int_equal(tune_loop_noise_torque(&rms, plant, c, 1e-8, &err), want);
    check_close(rms, 0.0, 0.0);
}

static void faulty_axes_are_refused(void **state)
{
    const struct tune_plant good_plant = axis_example_plant();
    const struct tune_controller good = axis_example_controller();
    struct tune_plant plant = good_plant;
    struct tune_controller c = good;
    struct tune_error err;
    double rms;
    (void)state;
    c.lowpass_hz = 5000.0;
    judged(&plant, &c, TUNE_EINVAL);
    c = good;
    c.loop_rate_hz = 4001.0;
    judged(&plant, &c, TUNE_EINVAL);
    plant.inertia_kg_m2 = 0.0;
    judged(&plant, &good, TUNE_EINVAL);
    plant = good_plant;
    plant.viscous_nm_s_per_rad = NAN;
    judged(&plant, &good, TUNE_EINVAL);
    plant = good_plant;
    plant.delay_s = -1e-4;
    judged(&plant, &good, TUNE_EINVAL);
    plant = good_plant;
    plant.n_modes = TUNE_MODES_MAX + 1;
    judged(&plant, &good, TUNE_EINVAL);
    plant = good_plant;
    plant.mode[1].zeta = 0.0;
    judged(&plant, &good, TUNE_EINVAL);
    plant.mode[1].zeta = 0.02;
    plant.mode[1].gain = INFINITY;
    judged(&plant, &good, TUNE_ENOSOL);
    assert_int_equal(tune_loop_noise_torque(&rms, &good_plant, &good, -1.0, &err), TUNE_EINVAL);
    c = times(&good, 30.0);
    assert_int_equal(tune_loop_noise_torque(&rms, &good_plant, &c, 1e-8, &err), TUNE_ENOSOL);
    check_close(rms, 0.0, 0.0);
}

static void a_controller_that_holds_no_position_is_not_stable(void **state)
{
    struct tune_plant plant = axis_example_plant();
    struct tune_controller c = axis_example_controller();
    struct tune_margins m;
    struct tune_error err;
    bool stable = true;
    (void)state;
    c.kp_nm_per_rad = c.ki_nm_per_rad_s = 0.0;
    assert_int_equal(tune_loop_judge(&m, &stable, &plant, &c, &err), TUNE_OK);
    assert_false(stable);
    c.kd_nm_s_per_rad = 0.0; /* nothing at all: L = 0 */
    stable = true;
    assert_int_equal(tune_loop_judge(&m, &stable, &plant, &c, &err), TUNE_OK);
    assert_false(stable);
    assert_int_equal(m.n_gain_crossings, 0);
    check_close(m.sens_peak, 1.0, 0.0);
    /* kp alone on a body without friction: a spring and a hold's lag, unstable */
    c.kp_nm_per_rad = 1e6;
    c.n_biquads = 0;
    c.lowpass_hz = 0.0;
    plant.viscous_nm_s_per_rad = 0.0;
    plant.n_modes = 0;
    stable = true;
    assert_int_equal(tune_loop_judge(&m, &stable, &plant, &c, &err), TUNE_OK);
    assert_false(stable);
}

static void running_out_of_memory_is_told(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_margins m;
    struct tune_error err;
    enum tune_status status;
    bool stable;
    double rms;
    unsigned long k = 0;
    (void)state;
    do {
        check_fail_allocation(++k);
        status = tune_loop_judge(&m, &stable, &plant, &c, &err);
        if (check_allocation_failed()) {
            assert_int_equal(status, TUNE_ENOMEM);
            assert_false(stable);
        }
    } while (check_allocation_failed());
    assert_int_equal(status, TUNE_OK);
    assert_true(stable);
    k = 0;
    do {
        double *f;
        size_t n;
        check_fail_allocation(++k);
        status = tune_loop_frequencies(&f, &n, &plant, &c, &err);
        assert_true((status == TUNE_OK) == (f != NULL));
        free(f);
    } while (check_allocation_failed());
    k = 0;
    do {
        check_fail_allocation(++k);
        status = tune_loop_noise_torque(&rms, &plant, &c, 1e-8, &err);
        if (check_allocation_failed()) assert_int_equal(status, TUNE_ENOMEM);
    } while (check_allocation_failed());
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(judgement_agrees_with_the_eigenvalues),
        cmocka_unit_test(a_mode_thin_as_a_hair_is_not_overlooked),
        cmocka_unit_test(margins_mean_what_they_say),
        cmocka_unit_test(no_crossing_is_missed),
        cmocka_unit_test(frequencies_looked_at_follow_the_loop),
        cmocka_unit_test(faulty_axes_are_refused),
        cmocka_unit_test(a_controller_that_holds_no_position_is_not_stable),
        cmocka_unit_test(running_out_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
