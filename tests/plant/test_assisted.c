/* test_assisted.c - the response with the model's help: what it takes back of a wrong model, whether its
 * regions hold, records put together, bad input.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>

#include "plant/assisted.h"
#include "plant/fit_case.h"
#include "spectrum/coherence.h"

static const struct sweep narrow_sweep = {60.0, 60.0, 0.8, 220.0, {1.3, 110.0}, 8};

static void assist_every(struct tune_frf *out, const struct tune_fit *fit,
                         const struct tune_lines *const *record, size_t n, size_t stride)
{
    const struct tune_assisted_opts opts = {20, 2, stride};
    struct tune_error err = {0};
    const enum tune_status status = tune_frf_assisted(out, fit, record, n, &opts, &err);
    if (status) print_error("%s\n", err.text);
    assert_int_equal(status, TUNE_OK);
}

static void assist(struct tune_frf *out, const struct tune_fit *fit,
                   const struct tune_lines *const *record, size_t n)
{
    assist_every(out, fit, record, n, tune_assisted_defaults().stride);
}

/* A fit that found this plant, every parameter uncertain by std on its own. */
static struct tune_fit known_fit(const struct tune_plant *plant, double std)
{
    struct tune_fit fit = {.plant = *plant, .n_params = tune_plant_param_count(plant)};
    tune_plant_to_params(fit.theta, plant);
    fit.covariance = calloc(fit.n_params * fit.n_params, sizeof(double));
    assert_non_null(fit.covariance);
    for (size_t i = 0; i < fit.n_params; i++)
        fit.covariance[i * (fit.n_params + 1)] = std * std;
    return fit;
}

static double complex truth(const struct tune_plant *plant, double f_hz)
{
    double complex g;
    tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    return g;
}

static void a_wrong_model_is_put_right(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct tune_plant wrong = plant;
    struct synthetic data;
    struct tune_frf frf;
    const struct tune_lines *record = &data.lines;
    double model = 0.0, worst = 0.0;
    (void)state;
    synthetic_sweep(&data, &plant, &narrow_sweep, 0.0, 1.0, 1);
    wrong.inertia_kg_m2 *= 1.05;
    wrong.delay_s *= 1.5;
    struct tune_fit fit = known_fit(&wrong, 0.01);
    assist(&frf, &fit, &record, 1);
    assert_int_equal(frf.estimator, TUNE_FRF_ASSISTED);
    for (size_t k = 0; k < frf.n; k++) {
        const double complex g = truth(&plant, frf.f_hz[k]);
        if (frf.f_hz[k] > 8.0) continue;
        model = fmax(model, cabs(truth(&wrong, frf.f_hz[k]) / g - 1.0));
        worst = fmax(worst, cabs(frf.g[k] / g - 1.0));
        check_close(frf.coh[k], 1.0, 1e-6);
    }
    check_between(model, 0.04, 0.06);
    /* model: below the modes what is left is 5 % of a rigid body, and of modes that change by a thirtieth
     * over a window */
    check_close(worst, 0.0, 1e-5);
    tune_frf_free(&frf);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

struct tally {
    double bins, inside, square;
};

static void count(struct tally *all, struct tally *near, const struct tune_frf *frf,
                  const struct tune_plant *plant)
{
    for (size_t k = 0; k < frf->n; k++) {
        const double f_hz = frf->f_hz[k];
        const double complex g = truth(plant, f_hz);
        const double off = cabs(frf->g[k] - g);
        const bool in = off <= frf->std[k] * sqrt(tune_f95_two(2.0 * frf->dof[k]));
        struct tally *of[] = {all,
                              fabs(f_hz - 14.8) < 0.18 || fabs(f_hz - 12.95) < 0.15 ? near : NULL};
        for (int i = 0; i < 2; i++) {
            if (!of[i]) continue;
            of[i]->bins += 1.0;
            of[i]->inside += in;
            of[i]->square += pow(off / cabs(g), 2.0);
        }
    }
}

/* Beside the response of the same lines without a model, whose 17 lines are as good as 6. */
static void regions_hold_and_are_smaller(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const unsigned runs = 12 * check_multiplier();
    struct tally all = {0}, near = {0}, plain = {0}, plain_near = {0};
    (void)state;
    for (unsigned run = 0; run < runs; run++) {
        struct synthetic data;
        struct tune_fit fit;
        struct tune_frf frf;
        const struct tune_lines *record = &data.lines;
        fit_sweep(&fit, &data, &plant, &narrow_sweep, 1.0, 1.0, 100 + run);
        assist(&frf, &fit, &record, 1);
        count(&all, &near, &frf, &plant);
        count(&plain, &plain_near, &data.frf, &plant);
        tune_frf_free(&frf);
        tune_fit_free(&fit);
        synthetic_free(&data);
    }
    /* statistical, 5 sigma: bins 8 lines apart share most of a window of 41, a fifth are independent;
     * the narrow bands are one each and run */
    check_close(all.inside / all.bins, 0.95, 5.0 * sqrt(0.95 * 0.05 * 5.0 / all.bins));
    check_between(near.inside / near.bins, 0.95 - 4.0 * sqrt(0.95 * 0.05 / (2.0 * runs)), 1.0);
    check_between(sqrt(all.square / all.bins) / sqrt(plain.square / plain.bins), 0.5, 0.8);
}

/* One parameter that is not known makes errors along a line: 3.84 of their square mean holds 95 %, not 3.00. */
static void errors_along_a_line_have_a_wider_region(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct synthetic data;
    struct tune_frf frf;
    const struct tune_lines *record = &data.lines;
    double widest = 0.0;
    (void)state;
    synthetic_sweep(&data, &plant, &narrow_sweep, 0.01, 1.0, 1);
    struct tune_fit fit = known_fit(&plant, 0.0);
    fit.covariance[4 * (fit.n_params + 1)] = 0.01; /* ln zeta of the first mode, by 10 % */
    assist_every(&frf, &fit, &record, 1, 1);
    for (size_t k = 0; k < frf.n; k++) {
        const double limit = tune_f95_two(2.0 * frf.dof[k]);
        assert_true(limit > 2.99);
        if (fabs(frf.f_hz[k] - 14.8) > 0.03) continue;
        widest = fmax(widest, limit);
        /* J C J: the peak is g/(2 zeta), and its ln changes as that of zeta; the window of 0.6 Hz takes
         * back what of it is smooth, a small part */
        check_between(frf.std[k] / cabs(truth(&plant, frf.f_hz[k])), 0.05, 0.1);
    }
    check_close(widest, 3.8415, 0.02);
    tune_frf_free(&frf);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void records_of_one_length_are_averaged_others_stand_beside(void **state)
{
    const struct tune_plant plant = telescope_axis();
    struct sweep other = narrow_sweep;
    struct synthetic data[3];
    struct tune_frf one, two, three;
    double ratio = 0.0;
    (void)state;
    other.sweep_s = 51.0;
    synthetic_sweep(&data[0], &plant, &narrow_sweep, 1.0, 1.0, 1);
    synthetic_sweep(&data[1], &plant, &narrow_sweep, 1.0, 1.0, 2);
    synthetic_sweep(&data[2], &plant, &other, 1.0, 1.0, 3);
    const struct tune_lines *const record[] = {&data[0].lines, &data[1].lines, &data[2].lines};
    struct tune_fit fit = known_fit(&plant, 1e-9);
    assist(&one, &fit, record, 1);
    assist(&two, &fit, record, 2);
    assist(&three, &fit, record, 3);
    assert_int_equal(two.n, one.n);
    assert_true(three.n > two.n + 100);
    for (size_t k = 0; k < one.n; k++) {
        check_close(two.f_hz[k], one.f_hz[k], 0.0);
        ratio += pow(two.std[k] / one.std[k], 2.0) / (double)one.n;
    }
    /* statistical: the mean of a few hundred ratios near 1/2 */
    check_close(ratio, 0.5, 0.03);
    for (size_t k = 1; k < three.n; k++)
        assert_true(three.f_hz[k] > three.f_hz[k - 1]);
    tune_frf_free(&one);
    tune_frf_free(&two);
    tune_frf_free(&three);
    tune_fit_free(&fit);
    for (int i = 0; i < 3; i++)
        synthetic_free(&data[i]);
}

static void a_periodic_record_has_a_bin_at_every_line(void **state)
{
    const struct tune_plant plant = bench_axis(1.0, 0.989);
    struct synthetic data;
    struct tune_frf frf;
    double ratio = 0.0;
    const struct tune_lines *record = &data.lines;
    (void)state;
    bench_lines(&data, &plant, 1);
    data.lines.periodic = true;
    struct tune_fit fit = known_fit(&plant, 1e-7);
    assist(&frf, &fit, &record, 1);
    assert_int_equal(frf.n, data.lines.n);
    check_close(frf.band_hz[0], 11.0, 0.0);
    check_close(frf.band_hz[1], 250.0, 0.0);
    for (size_t k = 0; k < frf.n; k++) {
        const double off = cabs(frf.g[k] - truth(&plant, frf.f_hz[k]));
        assert_true(off < 6.0 * frf.std[k]);
        ratio += pow(frf.std[k] / data.frf.std[k], 2.0) / (double)frf.n;
    }
    /* 41 lines, parabolas: 9/(4 * 41) in the middle and 9/41 at the ends, were the noise white beside the
     * model's; statistical and model: half the middle to the ends */
    check_between(ratio, 0.5 * 9.0 / 164.0, 4.0 * 9.0 / 164.0);
    tune_frf_free(&frf);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void what_cannot_be_is_refused(void **state)
{
    static const struct tune_assisted_opts bad[] = {
        {2, 2, 8}, {20, 5, 8}, {20, 2, 0}, {SIZE_MAX, 2, 8}};
    const struct tune_plant plant = telescope_axis();
    const struct tune_assisted_opts opts = tune_assisted_defaults();
    struct synthetic data;
    struct tune_frf frf;
    struct tune_error err;
    const struct tune_lines *record = &data.lines;
    (void)state;
    synthetic_sweep(&data, &plant, &narrow_sweep, 1.0, 1.0, 1);
    struct tune_fit fit = known_fit(&plant, 0.01);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(tune_frf_assisted(&frf, &fit, &record, 1, &bad[i], &err), TUNE_EINVAL);
        assert_null(frf.g);
    }
    assert_int_equal(tune_frf_assisted(&frf, &fit, NULL, 0, &opts, &err), TUNE_EDATA);
    data.lines.n = 40; /* a window has 41 */
    assert_int_equal(tune_frf_assisted(&frf, &fit, &record, 1, &opts, &err), TUNE_EDATA);
    assert_null(frf.g);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

static void no_memory_leaves_nothing_behind(void **state)
{
    const struct tune_plant plant = bench_axis(1.0, 0.989);
    const struct tune_assisted_opts opts = tune_assisted_defaults();
    struct synthetic data;
    struct tune_frf frf;
    struct tune_error err;
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    bench_lines(&data, &plant, 1);
    const struct tune_lines *const record[] = {&data.lines, &data.lines};
    struct tune_fit fit = known_fit(&plant, 1e-4);
    do {
        check_fail_allocation(++k);
        status = tune_frf_assisted(&frf, &fit, record, 2, &opts, &err);
        if (!check_allocation_failed()) break;
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(frf.g);
    } while (k < 200);
    check_fail_allocation(0);
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 40);
    tune_frf_free(&frf);
    tune_fit_free(&fit);
    synthetic_free(&data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_wrong_model_is_put_right),
        cmocka_unit_test(regions_hold_and_are_smaller),
        cmocka_unit_test(errors_along_a_line_have_a_wider_region),
        cmocka_unit_test(records_of_one_length_are_averaged_others_stand_beside),
        cmocka_unit_test(a_periodic_record_has_a_bin_at_every_line),
        cmocka_unit_test(what_cannot_be_is_refused),
        cmocka_unit_test(no_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
