/* test_loop_noise.c - torque made of sensor noise, against Lyapunov's equation and a run in time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "control/loop.h"
#include "support/axis_matrix.h"

/* Variance of c x + d v for white v: P = a P a' + b b' by doubling (R. A. Smith, SIAM J. Appl. Math.
 * 16, 1968): after k rounds P holds the first 2^k terms of the sum of a^i b b' a'^i. */
static double variance_by_lyapunov(struct axis_matrix *m)
{
    static double p[AXIS_STATES_MOST][AXIS_STATES_MOST], t[AXIS_STATES_MOST][AXIS_STATES_MOST],
        s[AXIS_STATES_MOST][AXIS_STATES_MOST];
    const size_t n = m->n;
    double variance = m->d * m->d;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            p[i][j] = m->b[i] * m->b[j];
    for (int round = 0; round < 40; round++) {
        memset(t, 0, sizeof t);
        memset(s, 0, sizeof s);
        for (size_t i = 0; i < n; i++)
            for (size_t k = 0; k < n; k++)
                for (size_t j = 0; j < n; j++) {
                    t[i][j] += m->a[i][k] * p[k][j];
                    s[i][j] += m->a[i][k] * m->a[k][j];
                }
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                for (size_t k = 0; k < n; k++)
                    p[i][j] += t[i][k] * m->a[j][k];
        memcpy(m->a, s, sizeof s);
    }
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            variance += m->c[i] * p[i][j] * m->c[j];
    return variance;
}

static void noise_torque_agrees_with_lyapunov(void **state)
{
    static struct axis_matrix matrix;
    struct tune_random rng;
    struct tune_error err;
    (void)state;
    tune_random_init(&rng, 34, 0);
    for (int checked = 0; checked < 8 * (int)check_multiplier();) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double rms, want, nearest;
        if (axis_poles_outside(&plant, &c, &nearest) > 0 || nearest < 1e-6) continue;
        assert_int_equal(tune_loop_noise_torque(&rms, &plant, &c, 2e-8, &err), TUNE_OK);
        axis_matrix_make(&matrix, &plant, &c);
        want = 2e-8 * sqrt(variance_by_lyapunov(&matrix));
        /* rounding of the doubling, some eps/nearest^2 at worst */
        check_close_rel(rms, want, 1e-6);
        checked++;
    }
}

/* The loop run sample by sample with noise on its sensor. */
static void noise_torque_agrees_with_a_run_in_time(void **state)
{
    enum { PARTS = 50, LENGTH = 8000, SETTLE = 20000 };
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    static struct axis_matrix m;
    double x[AXIS_STATES_MOST] = {0.0}, next[AXIS_STATES_MOST], sum = 0.0, sum2 = 0.0, part = 0.0;
    double rms, mean, spread;
    struct tune_random rng;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_loop_noise_torque(&rms, &plant, &c, 1.0, &err), TUNE_OK);
    axis_matrix_make(&m, &plant, &c);
    tune_random_init(&rng, 35, 0);
    for (int k = -SETTLE; k < PARTS * LENGTH; k++) {
        const double noise = tune_random_normal(&rng);
        double torque = m.d * noise;
        for (size_t i = 0; i < m.n; i++) {
            next[i] = m.b[i] * noise;
            torque += m.c[i] * x[i];
            for (size_t j = 0; j < m.n; j++)
                next[i] += m.a[i][j] * x[j];
        }
        memcpy(x, next, sizeof x);
        if (k >= 0) part += torque * torque / LENGTH;
        if (k >= 0 && (k + 1) % LENGTH == 0) {
            sum += part / PARTS;
            sum2 += part * part / PARTS;
            part = 0.0;
        }
    }
    mean = sum;
    spread = sqrt((sum2 - sum * sum) / (PARTS - 1.0));
    /* statistical: 4 sigma, from the scatter of the parts, each far longer than the loop remembers */
    check_close(rms * rms, mean, 4.0 * spread);
    assert_true(spread < 0.01 * mean);
}

static void noise_torque_scales_with_the_noise(void **state)
{
    const struct tune_plant plant = axis_example_plant();
    const struct tune_controller c = axis_example_controller();
    struct tune_error err;
    double one, three, zero;
    (void)state;
    assert_int_equal(tune_loop_noise_torque(&one, &plant, &c, 1e-8, &err), TUNE_OK);
    assert_int_equal(tune_loop_noise_torque(&three, &plant, &c, 3e-8, &err), TUNE_OK);
    assert_int_equal(tune_loop_noise_torque(&zero, &plant, &c, 0.0, &err), TUNE_OK);
    check_close_rel(three, 3.0 * one, 1e-14);
    check_close(zero, 0.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_torque_agrees_with_lyapunov),
        cmocka_unit_test(noise_torque_agrees_with_a_run_in_time),
        cmocka_unit_test(noise_torque_scales_with_the_noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
