/* test_fit_accuracy.c - errors of the fit against what it claims and against the Cramer-Rao bound.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/fit_case.h"

/* Sums of squares over seeds, pooled by kind of parameter. */
enum kind { LN_F, LN_ZETA, GAIN, RIGID, ZERO_F, ZERO_ZETA, RESPONSE, KINDS };
struct pool {
    double claimed[KINDS], bound[KINDS];
    size_t n[KINDS];
};

static void pool_one(struct pool *pool, enum kind kind, double error, double claimed, double bound)
{
    pool->claimed[kind] += error * error / (claimed * claimed);
    pool->bound[kind] += error * error / (bound * bound);
    pool->n[kind]++;
}

static void pool_fit(struct pool *pool, const struct tune_fit *fit, const struct synthetic *data,
                     const struct tune_plant *plant)
{
    static const double f[] = {2.1, 12.94, 14.8, 22.0, 62.5, 110.0, 168.0, 190.0};
    double theta[TUNE_PARAMS_MAX], bound[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX], std[8];
    double complex got[8], want[8];
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t zeros;
    struct tune_error err;
    const size_t p = fit->n_params;
    tune_plant_to_params(theta, plant);
    assert_int_equal(tune_fit_bound(bound, plant, &data->lines, data->sigma2, &err), TUNE_OK);
    for (size_t i = 0; i < p; i++)
        if (i != 1)
            pool_one(pool, i < 3 ? RIGID : (enum kind)(i % 3), fit->theta[i] - theta[i],
                     sqrt(fit->covariance[i * (p + 1)]), sqrt(bound[i * (p + 1)]));
    assert_int_equal(tune_plant_antiresonances(zero, &zeros, plant, &err), TUNE_OK);
    assert_int_equal(fit->n_antiresonances, zeros);
    for (size_t i = 0; i < zeros; i++) {
        const struct tune_estimate at = fit->antiresonance_f_hz[i];
        const struct tune_estimate zeta = fit->antiresonance_zeta[i];
        pool_one(pool, ZERO_F, at.value - zero[i].f_hz, at.std, at.std);
        pool_one(pool, ZERO_ZETA, zeta.value - zero[i].zeta, zeta.std, zeta.std);
    }
    tune_plant_eval(want, plant, TUNE_PATH_MOTOR_ENCODER, f, 8);
    assert_int_equal(tune_fit_response(got, std, fit, f, 8, &err), TUNE_OK);
    for (size_t i = 0; i < 8; i++)
        pool_one(pool, RESPONSE, cabs(got[i] - want[i]), std[i], std[i]);
}

static void errors_are_as_large_as_claimed_and_no_larger_than_the_bound(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const size_t seeds = 20 * check_multiplier();
    struct pool pool = {0};
    double chi_square = 0.0, claimed = 0.0, bound = 0.0, modes = 0.0;
    (void)state;
    for (size_t seed = 1; seed <= seeds; seed++) {
        struct synthetic data;
        struct tune_fit fit;
        fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, seed);
        assert_int_equal(fit.plant.n_modes, 5);
        pool_fit(&pool, &fit, &data, &plant);
        chi_square += fit.reduced_chi_square / (double)seeds;
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
    for (int kind = 0; kind < KINDS; kind++) {
        /* statistical: the rms of n normal deviates is 1 +- 1/sqrt(2 n); those of one fit are correlated
         * among rigid parameters, zeros and response, so that n counts a third; 4 sigma */
        const double n = (double)pool.n[kind];
        const double allowed = 4.0 / sqrt(2.0 * n / (kind < RIGID ? 1.0 : 3.0));
        check_close(sqrt(pool.claimed[kind] / n), 1.0, allowed);
        check_close(sqrt(pool.bound[kind] / n), 1.0, allowed);
        if (kind > GAIN) continue;
        claimed += pool.claimed[kind];
        bound += pool.bound[kind];
        modes += n;
    }
    /* all three together; damping and gain of one mode go together, so two thirds of them count */
    check_close(sqrt(claimed / modes), 1.0, 4.0 / sqrt(4.0 / 3.0 * modes));
    check_close(sqrt(bound / modes), 1.0, 4.0 / sqrt(4.0 / 3.0 * modes));
    /* statistical: each is 1 +- 1/sqrt(lines), 4800 lines; 5 sigma */
    check_close(chi_square, 1.0, 5.0 / sqrt(4800.0 * (double)seeds));
}

static struct tune_plant random_plant(struct tune_random *rng)
{
    struct tune_plant plant = {.viscous_nm_s_per_rad = 60.0,
                               .delay_s = 3.0 * tune_random_uniform(rng) / 4000.0,
                               .loop_rate_hz = 4000.0};
    const size_t modes = 2 + (size_t)(tune_random_bits(rng) % 4);
    double f = 10.0;
    plant.inertia_kg_m2 = 1500.0 * exp(0.6 * tune_random_uniform(rng) - 0.3);
    for (size_t k = 0; k < modes; k++) {
        const bool apart = f > 50.0 && tune_random_uniform(rng) < 0.3;
        f *= 1.15 + 0.6 * tune_random_uniform(rng);
        plant.mode[plant.n_modes++] = (struct tune_mode){
            .f_hz = f,
            .zeta = 0.004 * exp(log(5.0) * tune_random_uniform(rng)),
            .gain = 0.02 * exp(log(15.0) * tune_random_uniform(rng)) * (apart ? -1.0 : 1.0),
            .payload_ratio = 1.0,
        };
    }
    return plant;
}

static void the_number_of_modes_is_found(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 3, 0);
    for (unsigned round = 0; round < 12 * check_multiplier(); round++) {
        const struct tune_plant plant = random_plant(&rng);
        struct synthetic data;
        struct tune_fit fit;
        fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, round);
        assert_int_equal(fit.plant.n_modes, plant.n_modes);
        for (size_t k = 0; k < plant.n_modes; k++) {
            check_close_rel(fit.plant.mode[k].f_hz, plant.mode[k].f_hz, 2e-3);
            assert_true((fit.plant.mode[k].gain > 0.0) == (plant.mode[k].gain > 0.0));
        }
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(errors_are_as_large_as_claimed_and_no_larger_than_the_bound),
        cmocka_unit_test(the_number_of_modes_is_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
