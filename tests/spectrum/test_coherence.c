/* test_coherence.c - coherence statistics against published values and closed forms.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>

#include "core/random.h"
#include "spectrum/coherence.h"

static void radius_is_the_published_one(void **state)
{
    /* J. S. Bendat and A. G. Piersol, Random Data, ch. 9; N. R. Goodman 1965 (from memory); five
     * digits from the closed form of the F distribution, confirmed by 200 000 random trials each */
    static const double want[][3] = {{0.50, 10.0, 0.62845},
                                     {0.80, 20.0, 0.20663},
                                     {0.95, 20.0, 0.09481},
                                     {0.99, 100.0, 0.01762}};
    (void)state;
    for (int i = 0; i < 4; i++)
        check_close(tune_coherence_radius95(want[i][0], want[i][1]), want[i][2], 1e-5);
    check_close(tune_coherence_radius95(1.0, 5.0), 0.0, 0.0);
}

static void mean_is_the_published_one(void **state)
{
    /* G. C. Carter, C. H. Knapp and A. H. Nuttall, IEEE Trans. AU-21, 1973 (from memory); digits
     * recomputed with scipy's hyp2f1, confirmed by random trials to 2e-4 */
    static const double want[][3] = {
        {0.80, 20.0, 0.80217}, {0.50, 10.0, 0.52761}, {0.30, 10.0, 0.35189}, {0.95, 20.0, 0.95014}};
    (void)state;
    for (int i = 0; i < 4; i++)
        check_close(tune_coherence_mean(want[i][0], want[i][1]), want[i][2], 1e-5);
}

/* mean by the power series 2F1(1,1;n+2;c) = sum k!/(n+2)_k c^k, slow near 1 */
static double mean_by_series(double c, double n)
{
    double term = 1.0, sum = 0.0;
    for (double k = 0.0; k < 4e6 && term > 1e-18; k += 1.0) {
        sum += term;
        term *= c * (k + 1.0) / (n + 2.0 + k);
    }
    return 1.0 / n + (n - 1.0) / (n + 1.0) * c * sum;
}

static void mean_agrees_with_the_series_and_its_limits(void **state)
{
    static const double coh[] = {0.0, 0.01, 0.3, 0.9, 0.99, 0.999, 0.9999};
    static const double averages[] = {1.2, 2.0, 7.5, 36.9973, 1e3, 1e6};
    (void)state;
    for (int i = 0; i < 6; i++) {
        const double n = averages[i];
        for (int c = 0; c < 7; c++) /* rounding, and the series' own tail */
            check_close(tune_coherence_mean(coh[c], n), mean_by_series(coh[c], n), 1e-12);
        check_close(tune_coherence_mean(0.0, n), 1.0 / n, 1e-15);
        check_close(tune_coherence_mean(1.0, n), 1.0, 1e-14);
        check_close(tune_coherence_mean(1.0 - 1e-15, n), 1.0, 1e-14);
    }
    check_close(tune_coherence_mean(0.4, 1.0), 1.0, 0.0);
}

/* complex normal deviate of unit mean square */
static double complex normal_pair(struct tune_random *rng)
{
    const double re = tune_random_normal(rng);
    return CMPLX(re, tune_random_normal(rng)) * sqrt(0.5);
}

static void circle_and_mean_hold_in_random_trials(void **state)
{
    const int trials = 5000 * (int)check_multiplier(), averages = 10;
    const double coh = 0.5, noise = sqrt((1.0 - coh) / coh);
    double inside = 0.0, mean = 0.0, square = 0.0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 21, 0);
    for (int trial = 0; trial < trials; trial++) {
        double xx = 0.0, yy = 0.0;
        double complex xy = 0.0;
        for (int i = 0; i < averages; i++) {
            const double complex x = normal_pair(&rng), y = x + noise * normal_pair(&rng);
            xx += cabs(x) * cabs(x);
            yy += cabs(y) * cabs(y);
            xy += conj(x) * y;
        }
        const double seen = cabs(xy) * cabs(xy) / (xx * yy);
        const double complex g = xy / xx;
        inside += cabs(g - 1.0) <= cabs(g) * tune_coherence_radius95(seen, averages);
        mean += seen / trials;
        square += seen * seen / trials;
    }
    /* statistical, 4 sigma: binomial; the mean by its own measured scatter */
    check_close(inside / trials, 0.95, 4.0 * sqrt(0.95 * 0.05 / trials));
    check_close(mean, tune_coherence_mean(coh, averages),
                4.0 * sqrt((square - mean * mean) / trials));
}

static void f_quantile_is_the_closed_form(void **state)
{
    (void)state;
    /* P(F <= x) = 1 - (1 + 2x/d)^(-d/2) for 2 and d degrees of freedom */
    for (double d = 0.5; d < 1e5; d *= 3.0)
        check_close_rel(pow(1.0 + 2.0 * tune_f95_two(d) / d, -0.5 * d), 0.05, 1e-9);
    /* common tables of F at 95 %: 2 and 2: 19.00, 2 and 10: 4.10, 2 and 22: 3.44; the limit ln 20 */
    check_close(tune_f95_two(2.0), 19.0, 1e-12);
    check_close(tune_f95_two(10.0), 4.10, 5e-3);
    check_close(tune_f95_two(22.0), 3.44, 5e-3);
    check_close(tune_f95_two(1e12), log(20.0), 1e-9);
}

static void impossible_arguments_give_nan(void **state)
{
    (void)state;
    assert_true(isnan(tune_coherence_radius95(0.0, 10.0)));
    assert_true(isnan(tune_coherence_radius95(1.1, 10.0)));
    assert_true(isnan(tune_coherence_radius95(0.5, 1.0)));
    assert_true(isnan(tune_coherence_radius95((double)NAN, 10.0)));
    assert_true(isnan(tune_coherence_mean(-0.1, 10.0)));
    assert_true(isnan(tune_coherence_mean(0.5, 0.9)));
    assert_true(isnan(tune_f95_two(0.0)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(radius_is_the_published_one),
        cmocka_unit_test(mean_is_the_published_one),
        cmocka_unit_test(mean_agrees_with_the_series_and_its_limits),
        cmocka_unit_test(circle_and_mean_hold_in_random_trials),
        cmocka_unit_test(f_quantile_is_the_closed_form),
        cmocka_unit_test(impossible_arguments_give_nan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
