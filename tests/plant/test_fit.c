/* test_fit.c - the fit on responses made from known plants and known noise.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "plant/synthetic.h"

/* A short sweep keeps the sanitized run quick; 4 to 6 lines inside the narrowest peak. */
static const struct sweep short_sweep = {60.0, 20.0, 0.8, 220.0, {1.3, 205.0}, 4};

static void fit_sweep(struct tune_fit *fit, struct synthetic *data, const struct tune_plant *plant,
                      const struct sweep *sweep, double noise, double scale, uint64_t seed)
{
    const struct tune_fit_opts opts = tune_fit_defaults(plant->loop_rate_hz);
    struct tune_error err;
    synthetic_sweep(data, plant, sweep, noise, scale, seed);
    assert_int_equal(tune_fit_plant(fit, &data->frf, &data->lines, &opts, NULL, &err), TUNE_OK);
}

static void a_fit_without_noise_returns_the_plant(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    double theta[TUNE_PARAMS_MAX];
    (void)state;
    fit_sweep(&fit, &data, &plant, &short_sweep, 0.0, 1.0, 1);
    assert_int_equal(fit.plant.n_modes, 5);
    tune_plant_to_params(theta, &plant);
    /* rounding, of the difference of two costs at the last step; drag is held by its prior */
    for (size_t i = 0; i < fit.n_params; i++)
        check_close(fit.theta[i], theta[i], i == 1 ? 0.1 : 1e-6);
    check_close_rel(fit.inertia.value, 1500.0, 1e-6);
    check_close_rel(fit.delay.value, 3e-4, 1e-5);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

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
    double chi_square = 0.0;
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
        /* statistical: the rms of n normal deviates is 1 +- 1/sqrt(2 n); the pooled ones are not
         * independent within a seed, so n counts a third; 4 sigma */
        const double n = (double)pool.n[kind], allowed = 4.0 / sqrt(2.0 * n / 3.0);
        check_close(sqrt(pool.claimed[kind] / n), 1.0, allowed);
        check_close(sqrt(pool.bound[kind] / n), 1.0, allowed);
    }
    /* statistical: each is 1 +- 1/sqrt(lines), 6000 lines; 5 sigma */
    check_close(chi_square, 1.0, 5.0 / sqrt(6000.0 * (double)seeds));
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

/* 240 lines a hertz apart, equal torque in all, from 1 % of noise: a bench whose torque is in an
 * unknown unit. */
static void bench_lines(struct synthetic *data, const struct tune_plant *plant, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    synthetic_allocate(data, 240, 240);
    data->lines.df_hz = 1.0;
    for (size_t i = 0; i < 240; i++) {
        const double f = 11.0 + (double)i, omega = 2.0 * TUNE_PI * f;
        const double rigid = 1.0 / (plant->inertia_kg_m2 * omega * omega);
        double complex g;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
        data->lines.f_hz[i] = data->frf.f_hz[i] = f;
        data->lines.u[i] = CMPLX(cos(0.1 * f * f), sin(0.1 * f * f));
        data->lines.var_y[i] = data->sigma2[i] = 1e-4 * rigid * rigid;
        data->lines.y[i] = g * data->lines.u[i] + normal_pair(&rng, data->lines.var_y[i]);
        data->frf.g[i] = data->lines.y[i] / data->lines.u[i];
        data->frf.std[i] = sqrt(data->lines.var_y[i]);
        data->frf.dof[i] = 19.0;
        data->frf.coh[i] = 1.0;
    }
    data->frf.band_hz[0] = 11.0;
    data->frf.band_hz[1] = 250.0;
}

/* Antiresonance at 54 Hz: g = (76.3/54.1)^2 - 1. */
static struct tune_plant bench(double inertia, double gain)
{
    return (struct tune_plant){
        .inertia_kg_m2 = inertia,
        .viscous_nm_s_per_rad = 0.4 * inertia,
        .delay_s = 1.2e-4,
        .loop_rate_hz = 2500.0,
        .n_modes = 1,
        .mode[0] = {76.3, 0.017, gain, (double)NAN},
    };
}

static void a_bench_of_few_lines_is_fitted_in_any_unit_of_torque(void **state)
{
    double reference[TUNE_PARAMS_MAX] = {0};
    (void)state;
    for (double inertia = 1e-4; inertia < 2e6; inertia *= 1e5) {
        const struct tune_plant plant = bench(inertia, 0.989);
        const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
        struct synthetic data;
        struct tune_fit fit;
        struct tune_error err;
        bench_lines(&data, &plant, 4);
        assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
        assert_int_equal(fit.plant.n_modes, 1);
        assert_int_equal(fit.n_antiresonances, 1);
        /* statistical: 5 sigma */
        check_close(fit.mode_f_hz[0].value, 76.3, 5.0 * fit.mode_f_hz[0].std);
        check_close(fit.mode_zeta[0].value, 0.017, 5.0 * fit.mode_zeta[0].std);
        check_close(fit.mode_gain[0].value, 0.989, 5.0 * fit.mode_gain[0].std);
        check_close(fit.antiresonance_f_hz[0].value, 54.1,
                    5.0 * fit.antiresonance_f_hz[0].std + 0.03);
        check_between(fit.mode_f_hz[0].std, 1e-3, 0.05);
        check_close(fit.inertia.value, inertia, 5.0 * fit.inertia.std);
        check_close(fit.delay.value, 1.2e-4, 5.0 * fit.delay.std);
        /* the same noise in another unit gives the same modes: rounding, through the last step */
        for (size_t i = 2; i < 6; i++)
            check_close(fit.theta[i], reference[i] == 0.0 ? fit.theta[i] : reference[i], 1e-5);
        memcpy(reference, fit.theta, sizeof reference);
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
}

static void the_far_side_has_one_mode_of_negative_gain_and_no_antiresonance(void **state)
{
    const struct tune_plant plant = bench(0.03, -1.0);
    const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 5);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(fit.plant.n_modes, 1);
    assert_int_equal(fit.n_antiresonances, 0);
    check_close(fit.mode_f_hz[0].value, 76.3, 5.0 * fit.mode_f_hz[0].std);
    check_close(fit.mode_gain[0].value, -1.0, 5.0 * fit.mode_gain[0].std);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void modes_in_any_order_fit_alike(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct tune_plant turned = plant;
    struct synthetic data, other;
    struct tune_fit fit, again;
    (void)state;
    turned.mode[0] = plant.mode[3];
    turned.mode[3] = plant.mode[1];
    turned.mode[1] = plant.mode[0];
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 9);
    fit_sweep(&again, &other, &turned, &short_sweep, 1.0, 1.0, 9);
    assert_int_equal(fit.n_params, again.n_params);
    for (size_t i = 0; i < fit.n_params; i++) /* rounding of the sums, through the last step */
        check_close(again.theta[i], fit.theta[i],
                    1e-3 * sqrt(fit.covariance[i * (fit.n_params + 1)]));
    tune_fit_free(&fit);
    tune_fit_free(&again);
    synthetic_free(&data);
    synthetic_free(&other);
}

static void modes_past_the_band_are_told_apart(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_fit fit;
    (void)state;
    plant.mode[4].f_hz = 290.0;
    plant.mode[4].gain = 0.3;
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 2);
    assert_int_equal(fit.plant.n_modes, 5);
    for (size_t k = 0; k < 5; k++)
        assert_true(fit.out_of_band[k] == (k == 4));
    assert_true(fit.mode_f_hz[4].std > 0.0);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void the_same_data_give_the_same_bytes_and_stay_as_they_were(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const struct tune_fit_opts opts = tune_fit_defaults(4000.0);
    struct synthetic data, untouched;
    struct tune_fit fit, again;
    struct tune_error err;
    (void)state;
    synthetic_sweep(&untouched, &plant, &short_sweep, 1.0, 1.0, 6);
    fit_sweep(&fit, &data, &plant, &short_sweep, 1.0, 1.0, 6);
    assert_int_equal(tune_fit_plant(&again, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_memory_equal(fit.theta, again.theta, sizeof fit.theta);
    assert_memory_equal(fit.covariance, again.covariance,
                        fit.n_params * fit.n_params * sizeof(double));
    assert_memory_equal(data.lines.y, untouched.lines.y, data.lines.n * sizeof *data.lines.y);
    assert_memory_equal(data.lines.var_y, untouched.lines.var_y, data.lines.n * sizeof(double));
    assert_memory_equal(data.frf.g, untouched.frf.g, data.frf.n * sizeof *data.frf.g);
    tune_fit_free(&fit);
    tune_fit_free(&again);
    synthetic_free(&data);
    synthetic_free(&untouched);
}

static void an_allocation_that_fails_leaves_nothing_behind(void **state)
{
    const struct tune_plant plant = bench(0.03, 0.989);
    const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_error err;
    double bound[36];
    bool refused = true;
    (void)state;
    bench_lines(&data, &plant, 4);
    for (unsigned long k = 1; refused; k++) {
        struct tune_fit fit;
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(fit.covariance);
        tune_fit_free(&fit);
        assert_true(k < 200);
    }
    refused = true;
    for (unsigned long k = 1; refused; k++) {
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_fit_bound(bound, &plant, &data.lines, data.sigma2, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
    }
    synthetic_free(&data);
}

static void bad_options_and_poor_data_are_refused(void **state)
{
    const struct tune_plant plant = bench(0.03, 0.989);
    struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_error err;
    double f = 0.0, std, bound[36];
    double complex g;
    (void)state;
    bench_lines(&data, &plant, 4);
    opts.loop_rate_hz = 0.0;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);
    opts.max_modes = TUNE_MODES_MAX + 1;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);
    opts.lowest_mode_hz = (double)NAN;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EINVAL);
    opts = tune_fit_defaults(2500.0);

    data.sigma2[7] = 0.0;
    assert_int_equal(tune_fit_bound(bound, &plant, &data.lines, data.sigma2, &err), TUNE_EINVAL);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(tune_fit_response(&g, &std, &fit, &f, 1, &err), TUNE_EINVAL);
    tune_fit_free(&fit);
    tune_fit_free(&fit); /* once freed, empty */

    for (size_t i = 7; i < 240; i++)
        data.lines.u[i] = i % 2 ? 0.0 : (double)NAN;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EDATA);
    assert_null(fit.covariance);
    for (size_t i = 7; i < 240; i++)
        data.frf.std[i] = i % 2 ? (double)NAN : (double)INFINITY;
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &opts, NULL, &err), TUNE_EDATA);
    synthetic_free(&data);
}

struct counter {
    double stop, last;
    int ticks;
};

static int count_ticks(void *user, const char *stage, double done)
{
    struct counter *counter = user;
    (void)stage;
    assert_true(done >= counter->last && done <= 1.0);
    counter->last = done;
    counter->ticks++;
    return done >= counter->stop;
}

static void a_fit_can_be_watched_and_cancelled(void **state)
{
    const struct tune_plant plant = bench(0.03, 0.989);
    const struct tune_fit_opts opts = tune_fit_defaults(2500.0);
    struct synthetic data;
    struct tune_error err;
    (void)state;
    bench_lines(&data, &plant, 4);
    for (double stop = 0.0; stop < 1.2; stop += 0.3) {
        struct counter counter = {.stop = stop};
        const struct tune_watch watch = {count_ticks, &counter};
        struct tune_fit fit;
        const enum tune_status status =
            tune_fit_plant(&fit, &data.frf, &data.lines, &opts, &watch, &err);
        assert_int_equal(status, counter.last >= stop ? TUNE_ECANCELLED : TUNE_OK);
        assert_true(counter.ticks > 0);
        if (status) assert_null(fit.covariance);
        tune_fit_free(&fit);
    }
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_fit_without_noise_returns_the_plant),
        cmocka_unit_test(errors_are_as_large_as_claimed_and_no_larger_than_the_bound),
        cmocka_unit_test(the_number_of_modes_is_found),
        cmocka_unit_test(a_bench_of_few_lines_is_fitted_in_any_unit_of_torque),
        cmocka_unit_test(the_far_side_has_one_mode_of_negative_gain_and_no_antiresonance),
        cmocka_unit_test(modes_in_any_order_fit_alike),
        cmocka_unit_test(modes_past_the_band_are_told_apart),
        cmocka_unit_test(the_same_data_give_the_same_bytes_and_stay_as_they_were),
        cmocka_unit_test(an_allocation_that_fails_leaves_nothing_behind),
        cmocka_unit_test(bad_options_and_poor_data_are_refused),
        cmocka_unit_test(a_fit_can_be_watched_and_cancelled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
