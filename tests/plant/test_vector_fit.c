/* test_vector_fit.c - zeros of a sum of terms, poles by relocation, a start from them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_case.h"
#include "plant/fit_internal.h"
#include "plant/rational_internal.h"

static struct fit_data response_of(const struct synthetic *data)
{
    struct fit_data response;
    assert_int_equal(tune_fit_take_response(&response, &data->frf, 4000.0, NULL), TUNE_OK);
    return response;
}

static void a_sum_of_terms_vanishes_at_its_zeros(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 7, 0);
    for (int plant = 0; plant < 40; plant++) {
        struct tune_rational h = {.rigid = plant % 2 == 0, .b = 0.002, .n = 1 + (size_t)plant % 7};
        double complex root[TUNE_ROOTS_MAX];
        size_t count;
        for (size_t k = 0; k < h.n; k++) {
            h.pole[k] = (0.1 + 0.9 * (double)(k + 1) / (double)h.n) * CMPLX(-0.01, 1.0);
            h.gain[k] = tune_random_normal(&rng) * (h.rigid ? 0.3 : 0.01);
            h.slope[k] = tune_random_normal(&rng) * 0.1;
        }
        assert_true(tune_rational_zeros(root, &count, &h));
        /* the degree of the numerator */
        assert_int_equal(count, 2 * h.n + (h.rigid ? 1 : 0));
        for (size_t i = 0; i < count; i++) {
            const double complex s = root[i];
            double complex sum = h.rigid ? 1.0 / (s * (s + h.b)) : 1.0;
            double size = cabs(sum);
            for (size_t k = 0; k < h.n; k++) {
                const double complex term =
                    (h.gain[k] + h.slope[k] * s) / ((s - h.pole[k]) * (s - conj(h.pole[k])));
                sum += term;
                size += cabs(term);
            }
            check_close(cabs(sum) / size, 0.0, 1e-9); /* rounding */
            for (size_t j = 0; j < i; j++)
                assert_true(cabs(root[i] - root[j]) > 1e-9);
        }
    }
}

static bool has_pole(const struct fit_poles *poles, double f_hz, double zeta, double tolerance)
{
    for (size_t k = 0; k < poles->n; k++)
        if (fabs(poles->f_hz[k] / f_hz - 1.0) < tolerance * zeta &&
            fabs(poles->zeta[k] / zeta - 1.0) < tolerance)
            return true;
    return false;
}

/* The last plant has phases: relocation does not care. */
static void vector_fitting_finds_the_poles(void **state)
{
    const struct tune_plant plant[] = {telescope_axis(),
                                       with_phases(telescope_axis(), some_phases)};
    struct fit_progress progress = {.stage = "test"};
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct synthetic data;
        struct fit_data response;
        struct fit_poles poles;
        synthetic_sweep(&data, &plant[i], &short_sweep, 0.0, 1.0, 1);
        response = response_of(&data);
        assert_int_equal(tune_fit_vector_poles(&poles, &response, 1.2, 12, &progress, NULL),
                         TUNE_OK);
        /* model: the hold bends G by less than 1e-3 over the widest peak */
        for (size_t k = 0; k < plant[i].n_modes; k++)
            assert_true(has_pole(&poles, plant[i].mode[k].f_hz, plant[i].mode[k].zeta, 0.02));
        tune_fit_data_free(&response);
        synthetic_free(&data);
    }
}

static void vector_fitting_alone_comes_near_the_plant(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const struct fit_scope scope = {.max_modes = 10, .lowest_hz = 2.6, .highest_hz = 369.0};
    struct fit_progress progress = {.stage = "test"};
    struct fit_problem problem = {.progress = &progress,
                                  .bounds = {.ln_f = {log(1.3), log(738.0)},
                                             .ln_zeta = {log(1e-4), log(0.3)},
                                             .delay_min = -1.0},
                                  .prior = {.mean = {0.0, log(0.04), 1.0}, .weight = {0.0, 0.2}}};
    struct fit_point point = {.p = 3, .theta = {-log(1500.0), log(0.04), 1.1}};
    struct synthetic data;
    struct fit_data response;
    (void)state;
    synthetic_sweep(&data, &plant, &short_sweep, 1.0, 1.0, 3);
    response = response_of(&data);
    assert_int_equal(tune_fit_vector_start(&point, &response, &problem, &scope, NULL), TUNE_OK);
    assert_true(point.modes >= 5 && point.modes <= 7);
    for (size_t k = 0; k < 5; k++) {
        double nearest = 1.0;
        for (size_t j = 0; j < point.modes; j++)
            nearest = fmin(nearest, fabs(point.theta[3 + 3 * j] - log(plant.mode[k].f_hz)));
        assert_true(nearest < plant.mode[k].zeta); /* half the width of its peak */
    }
    tune_fit_data_free(&response);
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sum_of_terms_vanishes_at_its_zeros),
        cmocka_unit_test(vector_fitting_finds_the_poles),
        cmocka_unit_test(vector_fitting_alone_comes_near_the_plant),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
