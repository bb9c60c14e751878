/* test_frf_records.c - several records of one pointing: bins of records of the same length become one
 * better bin, with a std that is true; others stand beside each other.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "plant/small_axis.h"

enum { RATE = 1000, ROWS = 38000 };

static struct tune_record swept_record(void)
{
    struct tune_record rec = small_record(ROWS, RATE);
    small_sweep(rec.channel[TUNE_ROLE_EXCITATION], ROWS, RATE, 3.0, 5.0, 0.8, 100.0);
    return rec;
}

/* 95 % radius over std: sqrt(F.95(2, 2 dof)), which has the closed form dof (0.05^(-1/dof) - 1). */
static double radius(double dof)
{
    return sqrt(dof * (pow(0.05, -1.0 / dof) - 1.0));
}

/* ---- one bin ---------------------------------------------------------------------------------- */

/* A response of one bin. */
struct single {
    double f_hz, std, coh, dof;
    double complex g;
};

static struct tune_frf as_frf(struct single *bin)
{
    return (struct tune_frf){.n = 1,
                             .f_hz = &bin->f_hz,
                             .g = &bin->g,
                             .std = &bin->std,
                             .coh = &bin->coh,
                             .dof = &bin->dof,
                             .band_hz = {bin->f_hz, bin->f_hz}};
}

static struct single join(struct single *bin, size_t n)
{
    struct tune_frf all = {0};
    struct tune_error err;
    struct single out;
    for (size_t i = 0; i < n; i++) {
        const struct tune_frf one = as_frf(&bin[i]);
        assert_int_equal(tune_frf_append(&all, &one, &err), TUNE_OK);
    }
    assert_int_equal(all.n, 1);
    out = (struct single){all.f_hz[0], all.std[0], all.coh[0], all.dof[0], all.g[0]};
    tune_frf_free(&all);
    return out;
}

static void bins_of_known_noise_are_weighed_by_it(void **state)
{
    /* variances 1 and 4: weights 0.8 and 0.2, variance 0.8 */
    struct single known[] = {{10.0, 1.0, 0.5, (double)INFINITY, 2.0},
                             {10.0, 2.0, 1.0, (double)INFINITY, CMPLX(7.0, 5.0)}};
    struct single exact[] = {{10.0, 0.0, 0.5, 14.0, 2.0}, {10.0, 1.0, 1.0, 14.0, 4.0}};
    struct single out = join(known, 2);
    (void)state;
    check_close(cabs(out.g - CMPLX(3.0, 1.0)), 0.0, 1e-15); /* rounding */
    check_close(out.std, sqrt(0.8), 1e-15);
    check_close(out.coh, 0.6, 1e-15);
    assert_true(isinf(out.dof));
    out = join(exact, 2);
    check_close(cabs(out.g - 2.0), 0.0, 0.0);
    check_close(out.std, 0.0, 0.0);
    exact[1].std = 0.0; /* both exact: their mean */
    out = join(exact, 2);
    check_close(cabs(out.g - 3.0), 0.0, 1e-15);
}

/* Records of unequal noise whose variance each is known from 14 degrees of freedom. */
static void regions_of_joined_bins_hold(void **state)
{
    enum { MOST = 12 };
    const int trials = 20000 * (int)check_multiplier();
    const double dof = 14.0;
    static const size_t records[] = {1, 2, 3, 12};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 3, 0);
    for (int kind = 0; kind < 4; kind++) {
        const size_t n = records[kind];
        double inside = 0.0, error = 0.0, claimed = 0.0, least = 0.0;
        for (size_t i = 0; i < n; i++)
            least += i % 2 ? 0.25 : 1.0; /* variances 1, 4, 1 .. */
        for (int trial = 0; trial < trials; trial++) {
            struct single bin[MOST], out;
            for (size_t i = 0; i < n; i++) {
                const double sigma = i % 2 ? 2.0 : 1.0, part = sigma * sqrt(0.5);
                double square = 0.0;
                for (int k = 0; k < 28; k++)
                    square += pow(tune_random_normal(&rng), 2.0) / 28.0;
                const double re = part * tune_random_normal(&rng);
                bin[i] = (struct single){10.0, sigma * sqrt(square), 1.0, dof,
                                         CMPLX(re, part * tune_random_normal(&rng))};
            }
            out = join(bin, n);
            inside += cabs(out.g) <= out.std * radius(out.dof);
            error += pow(cabs(out.g), 2.0) / trials;
            claimed += out.std * out.std / trials;
        }
        /* statistical, 5 sigma, and model: 1 % of coverage and 2 % of variance for the second order */
        check_close(inside / trials, 0.95, 0.01 + 5.0 * sqrt(0.95 * 0.05 / trials));
        check_close_rel(claimed, error, 0.02 + 5.0 / sqrt(trials));
        /* what weights cost: at most 2 (1/dof) of the variance, and nothing beats the bound */
        check_between(error * least, 1.0 - 5.0 / sqrt(trials),
                      1.0 + 2.0 / dof + 5.0 / sqrt(trials));
    }
}

/* ---- records ----------------------------------------------------------------------------------- */

static double root_mean_relative(const struct tune_frf *frf, const struct small_axis *axis,
                                 double *claimed, double *inside)
{
    double error = 0.0;
    *claimed = *inside = 0.0;
    for (size_t k = 0; k < frf->n; k++) {
        const double complex g = small_axis_response(axis, frf->f_hz[k]);
        const double off = cabs(frf->g[k] - g);
        error += pow(off / cabs(g), 2.0) / (double)frf->n;
        *claimed += pow(frf->std[k] / cabs(g), 2.0) / (double)frf->n;
        *inside += (off <= frf->std[k] * radius(frf->dof[k])) / (double)frf->n;
    }
    *claimed = sqrt(*claimed);
    return sqrt(error);
}

static void sixteen_records_are_four_times_as_good_as_one(void **state)
{
    enum { RECORDS = 16 };
    struct small_axis axis = small_axis_defaults();
    struct tune_record rec = swept_record();
    struct tune_frf all = {0}, one;
    struct tune_error err;
    double error[2] = {0.0, 0.0}, claimed[2], inside[2];
    (void)state;
    axis.torque_noise = 0.02;
    for (uint64_t seed = 1; seed <= RECORDS; seed++) {
        small_axis_run(&rec, &axis, seed);
        small_estimate(&one, NULL, &rec, NULL);
        assert_true(seed == 1 || one.n == all.n);
        assert_int_equal(tune_frf_append(&all, &one, &err), TUNE_OK);
        if (seed == 1) error[0] = root_mean_relative(&one, &axis, &claimed[0], &inside[0]);
        tune_frf_free(&one);
    }
    error[1] = root_mean_relative(&all, &axis, &claimed[1], &inside[1]);
    /* model: weights known from 14 degrees of freedom cost up to 2/14 of the variance; statistical, 5 sigma of
     * some 400 bins, of which every other is independent */
    check_between(claimed[0] / claimed[1], 4.0 / sqrt(1.0 + 2.0 / 14.0) * 0.97, 4.0 * 1.03);
    check_between(error[0] / error[1], 4.0 / sqrt(1.0 + 2.0 / 14.0) * 0.75, 4.0 * 1.25);
    check_between(inside[1], 0.95 - 5.0 * sqrt(0.95 * 0.05 / (0.5 * (double)all.n)), 1.0);
    tune_frf_free(&all);
    small_record_free(&rec);
}

/* ---- beside each other -------------------------------------------------------------------------- */

static size_t shared(const struct tune_frf *a, const struct tune_frf *b)
{
    size_t n = 0;
    for (size_t i = 0; i < a->n; i++)
        for (size_t j = 0; j < b->n; j++)
            n += fabs(a->f_hz[i] - b->f_hz[j]) <= 1e-9 * a->f_hz[i];
    return n;
}

/* Bins of one of them only are that one's, to the bit. */
static void check_joined(const struct tune_frf *all, const struct tune_frf *a,
                         const struct tune_frf *b)
{
    const struct tune_frf *of[] = {a, b};
    size_t own = 0;
    for (int which = 0; which < 2; which++)
        for (size_t i = 0, k = 0; i < of[which]->n; i++) {
            while (k < all->n && all->f_hz[k] < of[which]->f_hz[i] * (1.0 - 1e-9))
                k++;
            assert_true(k < all->n);
            if (all->g[k] != of[which]->g[i] || all->std[k] < of[which]->std[i]) continue;
            check_close(all->std[k], of[which]->std[i], 0.0);
            check_close(all->coh[k], of[which]->coh[i], 0.0);
            check_close(all->dof[k], of[which]->dof[i], 0.0);
            own++;
        }
    assert_int_equal(own, all->n - shared(a, b));
}

static void joined_results_rise_in_frequency(void **state)
{
    struct small_axis axis = small_axis_defaults();
    struct tune_record rec = swept_record();
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_frf a, b, all = {0};
    struct tune_lines la, lb, lall = {0};
    struct tune_error err;
    (void)state;
    axis.torque_noise = 0.02;
    small_axis_run(&rec, &axis, 11);
    small_estimate(&a, &la, &rec, NULL);
    opts.band_hz[0] = 50.0;
    opts.band_hz[1] = 120.0;
    opts.stride = 5;
    small_estimate(&b, &lb, &rec, &opts);
    assert_int_equal(tune_frf_append(&all, &a, &err), TUNE_OK);
    assert_int_equal(tune_lines_append(&lall, &la, &err), TUNE_OK);
    assert_memory_equal(all.g, a.g, a.n * sizeof *a.g);
    for (unsigned long k = 1; k <= 5; k++) {
        check_fail_allocation(k);
        assert_int_equal(tune_frf_append(&all, &b, &err), TUNE_ENOMEM);
        assert_int_equal(all.n, a.n);
        assert_memory_equal(all.f_hz, a.f_hz, a.n * sizeof *a.f_hz);
    }
    for (unsigned long k = 1; k <= 6; k++) {
        check_fail_allocation(k);
        assert_int_equal(tune_lines_append(&lall, &lb, &err), TUNE_ENOMEM);
        assert_int_equal(lall.n, la.n);
    }
    check_fail_allocation(0);
    assert_int_equal(tune_frf_append(&all, &b, &err), TUNE_OK);
    assert_int_equal(tune_lines_append(&lall, &lb, &err), TUNE_OK);
    assert_int_equal(all.n, a.n + b.n - shared(&a, &b));
    assert_int_equal(lall.n, la.n + lb.n);
    for (size_t k = 1; k < all.n; k++)
        assert_true(all.f_hz[k] > all.f_hz[k - 1]);
    check_joined(&all, &a, &b);
    for (size_t k = 1; k < lall.n; k++)
        assert_true(lall.f_hz[k] >= lall.f_hz[k - 1]);
    check_close(all.band_hz[0], a.band_hz[0], 0.0);
    check_close(all.band_hz[1], fmax(a.band_hz[1], b.band_hz[1]), 0.0);
    tune_frf_free(&a);
    tune_frf_free(&b);
    tune_frf_free(&all);
    tune_lines_free(&la);
    tune_lines_free(&lb);
    tune_lines_free(&lall);
    small_record_free(&rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bins_of_known_noise_are_weighed_by_it),
        cmocka_unit_test(regions_of_joined_bins_hold),
        cmocka_unit_test(sixteen_records_are_four_times_as_good_as_one),
        cmocka_unit_test(joined_results_rise_in_frequency),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
