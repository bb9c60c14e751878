/* test_fit_values.c - the Cramer-Rao bound against values from outside.
 *
 * "From memory" marks a source whose printed page was not seen; the figures were recomputed with numpy.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/fit.h"

struct lines {
    struct tune_lines lines;
    double *sigma2;
};

static struct lines empty_lines(size_t n)
{
    struct lines l = {.lines = {.n = n}};
    l.lines.f_hz = calloc(n, sizeof(double));
    l.lines.u = calloc(n, sizeof(double complex));
    l.sigma2 = calloc(n, sizeof(double));
    assert_non_null(l.lines.f_hz);
    assert_non_null(l.lines.u);
    assert_non_null(l.sigma2);
    return l;
}

static void free_lines(struct lines *l)
{
    free(l->lines.f_hz);
    free(l->lines.u);
    free(l->sigma2);
}

static void bound_of_one_pole_is_the_closed_form(void **state)
{
    /* A pole R/(j w - p), p and R unknown, noise E|n|^2 = sn^2 on lines dw apart, peak A = |R|/sigma:
     * var(w) = var(sigma) = 2 sigma dw sn^2/(pi A^2) (derived). sigma = 2 pi 0.5, dw = 2 pi 0.02, A = 1,
     * sn = 0.01: 0.0050133 rad/s, 0.000798 Hz, and zeta to 0.0015958 of itself. The full Fisher matrix
     * gives 0.0050173. Here the pole is a mode at 1 kHz with a residue of any phase, far from its conjugate
     * and from the ends; the rigid body and the delay are known well enough from lines at low frequency,
     * where the mode is not seen. */
    enum { LOW = 40, AROUND = 40001 };
    const double f_hz = 1000.0, w = 2.0 * TUNE_PI * f_hz, sigma = TUNE_PI, step_hz = 0.02;
    struct tune_plant plant = {.inertia_kg_m2 = 1.0,
                               .viscous_nm_s_per_rad = 3.0,
                               .loop_rate_hz = 1e6,
                               .delay_s = 0.3e-6,
                               .complex_residues = true,
                               .n_modes = 1};
    const size_t p = 7;
    double covariance[7 * 7], f_std, zeta_std;
    struct lines l = empty_lines(LOW + AROUND);
    struct tune_error err;
    (void)state;
    /* g/(s^2 + 2 sigma s + w^2) peaks with g/(2 sigma w) = 1 */
    plant.mode[0] = (struct tune_mode){f_hz, sigma / w, 2.0 * sigma * w, 1.0, 0.0};
    for (size_t i = 0; i < LOW + AROUND; i++) {
        const bool low = i < LOW;
        l.lines.f_hz[i] =
            low ? 0.5 * (double)(i + 1) : f_hz + step_hz * ((double)(i - LOW) - AROUND / 2);
        l.lines.u[i] = 1.0;
        l.sigma2[i] = low ? 1e-6 : 1e-4;
    }
    assert_int_equal(tune_fit_bound(covariance, &plant, &l.lines, l.sigma2, &err), TUNE_OK);
    f_std = f_hz * sqrt(covariance[3 * (p + 1)]);
    zeta_std = sqrt(covariance[4 * (p + 1)]);
    /* model: the sum over lines for an integral, 1 part in 50 lines squared, and the ends */
    check_close_rel(2.0 * TUNE_PI * f_std, 0.0050133, 2e-3);
    check_close_rel(f_std, 0.000798, 2e-3);
    check_close_rel(zeta_std, 0.0015958, 2e-3);
    free_lines(&l);
}

static void bound_of_a_delay_is_that_of_a_tone(void **state)
{
    /* The frequency of a complex exponential of amplitude b from samples n T, n = n0 .. n0 + N - 1, noise
     * variance s2 of each part: s2/(b^2 T^2 sum n^2) where its phase is known; where it is not, n is
     * counted from its mean: 12 s2/(b^2 T^2 N (N^2 - 1)), N = 64, s2 = 0.005, b = T = 1: 2.289377e-7 (D. C.
     * Rife and R. R. Boorstyn, IEEE Trans. IT-20, 1974, from memory). A delay turns evenly spaced lines as
     * a frequency turns samples; inertia alone is their amplitude, and their phase is known. */
    enum { N = 64 };
    const double step_hz = 0.003, mean = 0.5 * (N + 1.0);
    const struct tune_plant plant = {.inertia_kg_m2 = 2.0, .loop_rate_hz = 4000.0, .delay_s = 1e-4};
    double covariance[3 * 3], per_line, information;
    struct lines l = empty_lines(N);
    struct tune_error err;
    (void)state;
    for (size_t i = 0; i < N; i++) {
        double complex g;
        l.lines.f_hz[i] = step_hz * (double)(i + 1);
        tune_plant_eval(&g, &plant, TUNE_PATH_MOTOR_ENCODER, &l.lines.f_hz[i], 1);
        l.lines.u[i] = 1.0 / g;
        l.sigma2[i] = 2.0 * 0.005;
    }
    assert_int_equal(tune_fit_bound(covariance, &plant, &l.lines, l.sigma2, &err), TUNE_OK);
    /* phase per line of a delay of one loop period */
    per_line = 2.0 * TUNE_PI * step_hz / plant.loop_rate_hz;
    information = 1.0 / (covariance[8] * per_line * per_line);
    /* 1 + 4 + ... + 64^2; model: aliases of the held torque, (f/rate)^2 */
    check_close_rel(information, 89440.0 / 0.005, 1e-7);
    check_close(1.0 / (information - N * mean * mean / 0.005), 2.289377e-7, 1e-13);
    free_lines(&l);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bound_of_one_pole_is_the_closed_form),
        cmocka_unit_test(bound_of_a_delay_is_that_of_a_tone),
    };
    return cmocka_run_group_tests_name("fit values", tests, NULL, NULL);
}
