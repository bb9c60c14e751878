/* test_psd.c - power spectra: Parseval, the level of known signals, published variance factors.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "spectrum/psd.h"

enum { SAMPLES = 4096 };

static void fill_noise(double *x, size_t n, double std, double offset, uint64_t stream)
{
    struct tune_random rng;
    tune_random_init(&rng, 31, stream);
    for (size_t i = 0; i < n; i++)
        x[i] = offset + std * tune_random_normal(&rng);
}

static double sum_power(const struct tune_psd *psd)
{
    double sum = 0.0;
    for (size_t k = 0; k < psd->n; k++)
        sum += psd->power[k] * psd->df_hz;
    return sum;
}

static double variance(const double *x, size_t n)
{
    double sum = 0.0, square = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        square += (x[i] - sum) * (x[i] - sum) / (double)n;
    return square;
}

static void one_rectangular_segment_keeps_the_mean_square(void **state)
{
    static double x[SAMPLES + 1];
    (void)state;
    for (size_t n = SAMPLES; n <= SAMPLES + 1; n++) { /* even and odd */
        struct tune_psd psd;
        struct tune_error err;
        fill_noise(x, n, 3.0, 5.0, n);
        assert_int_equal(tune_psd_welch(&psd, x, n, 250.0, n, 0.0, TUNE_WINDOW_RECTANGLE, &err),
                         TUNE_OK);
        assert_int_equal(psd.n, n / 2 + 1);
        check_close_rel(psd.df_hz, 250.0 / (double)n, 1e-15);
        check_close_rel(sum_power(&psd), variance(x, n), 1e-12); /* rounding: Parseval */
        check_close(psd.dof, 2.0, 0.0);
        tune_psd_free(&psd);
    }
}

static void tone_under_a_hann_window(void **state)
{
    /* 3 sin(2 pi 32 t), 1024 samples at 1024 Hz: mean square 4.5 (Parseval), density 4.5/1.5 per Hz
     * at its bin; scipy.signal.periodogram agrees */
    double x[1024];
    struct tune_psd psd;
    struct tune_error err;
    (void)state;
    for (int i = 0; i < 1024; i++)
        x[i] = 3.0 * sin(2.0 * TUNE_PI * 32.0 * i / 1024.0);
    assert_int_equal(tune_psd_welch(&psd, x, 1024, 1024.0, 1024, 0.0, TUNE_WINDOW_HANN, &err),
                     TUNE_OK);
    check_close(sum_power(&psd), 4.5, 1e-9);
    check_close(psd.power[32], 3.0, 1e-9);
    check_close(psd.resolution_hz, 1.5, 1e-12);
    tune_psd_free(&psd);
}

static void white_noise_has_its_level(void **state)
{
    /* unit variance at 500 Hz: 2/500 per Hz, one-sided */
    static double x[SAMPLES], kept[SAMPLES];
    const double level = 2.0 / 500.0;
    (void)state;
    for (size_t tapers = 1; tapers <= 64; tapers *= 4) {
        double mean = 0.0, scatter = 0.0;
        struct tune_psd psd;
        struct tune_error err;
        fill_noise(x, SAMPLES, 1.0, -40.0, tapers);
        memcpy(kept, x, sizeof x);
        assert_int_equal(tune_psd_multitaper(&psd, x, SAMPLES, 500.0, tapers, &err), TUNE_OK);
        assert_memory_equal(x, kept, sizeof x);
        const size_t first = tapers + 1, last = psd.n - tapers - 2;
        const double bins = (double)(last - first + 1);
        for (size_t k = first; k <= last; k++)
            mean += psd.power[k] / level / bins;
        for (size_t k = first; k <= last; k++)
            scatter += pow(psd.power[k] / level - mean, 2.0) / bins;
        /* statistical, 5 sigma: the mean of all bins is a variance of SAMPLES normal deviates;
         * a bin is chi square with dof degrees of freedom, relative variance 2/dof, correlated with
         * about dof neighbours: the scatter's own relative std is below 2 sqrt(dof/bins) */
        check_close(mean, 1.0, 5.0 * sqrt(2.0 / SAMPLES));
        check_close(psd.dof, 2.0 * (double)tapers, 0.0);
        check_close_rel(scatter, 2.0 / psd.dof, 5.0 * 2.0 * sqrt(psd.dof / bins));
        check_close_rel(psd.resolution_hz, ((double)tapers + 1.0) * 500.0 / (SAMPLES + 1.0), 1e-12);
        tune_psd_free(&psd);
    }
}

static void effective_averages_are_the_published_ones(void **state)
{
    /* P. D. Welch, IEEE Trans. AU-15, 1967; D. B. Percival and A. T. Walden, Spectral Analysis for
     * Physical Applications, 1993 (from memory); digits recomputed with a 4096 sample window */
    (void)state;
    check_close(tune_psd_effective_averages(8, 0.50, TUNE_WINDOW_HANN), 7.6291, 1e-4);
    check_close(tune_psd_effective_averages(39, 0.50, TUNE_WINDOW_HANN), 36.9973, 1e-4);
    check_close(tune_psd_effective_averages(1000000, 0.50, TUNE_WINDOW_HANN) / 1e6, 18.0 / 19.0,
                1e-5);
    check_close(tune_psd_effective_averages(8, 0.75, TUNE_WINDOW_HANN), 4.4393, 1e-4);
    check_close(tune_psd_effective_averages(39, 0.75, TUNE_WINDOW_HANN), 20.5317, 1e-4);
    /* rectangle at 50 %: rho^2 = 1/4 */
    check_close(tune_psd_effective_averages(2, 0.5, TUNE_WINDOW_RECTANGLE), 2.0 / 1.25, 1e-12);
    check_close(tune_psd_effective_averages(5, 0.0, TUNE_WINDOW_HANN), 5.0, 0.0);
    check_close(tune_psd_effective_averages(1, 0.5, TUNE_WINDOW_HANN), 1.0, 0.0);
    assert_true(isnan(tune_psd_effective_averages(0, 0.5, TUNE_WINDOW_HANN)));
    assert_true(isnan(tune_psd_effective_averages(4, 1.0, TUNE_WINDOW_HANN)));
}

static void averaged_segments_scatter_as_predicted(void **state)
{
    enum { SEGMENT = 256 };
    const int runs = 40 * (int)check_multiplier();
    static double x[20 * SEGMENT];
    double mean = 0.0, square = 0.0, dof = 0.0, count = 0.0;
    (void)state;
    for (int run = 0; run < runs; run++) {
        struct tune_psd psd;
        struct tune_error err;
        fill_noise(x, 20 * SEGMENT, 1.0, 0.0, 1000 + (uint64_t)run);
        assert_int_equal(
            tune_psd_welch(&psd, x, 20 * SEGMENT, 1.0, SEGMENT, 0.5, TUNE_WINDOW_HANN, &err),
            TUNE_OK);
        for (size_t k = 10; k < psd.n - 10; k += 3) { /* every third bin: uncorrelated */
            mean += psd.power[k];
            square += psd.power[k] * psd.power[k];
            count += 1.0;
        }
        dof = psd.dof;
        tune_psd_free(&psd);
    }
    mean /= count;
    /* 39 segments at 50 %: 36.9973 effective ones (Welch 1967, as above) */
    check_close(dof, 2.0 * 36.9973, 2e-4);
    check_close(mean, 2.0, 5.0 * 2.0 * sqrt(2.0 / dof / count)); /* statistical, 5 sigma */
    check_close_rel(square / count / (mean * mean) - 1.0, 2.0 / dof, 5.0 * sqrt(2.0 / count));
}

static void wrong_requests_are_refused(void **state)
{
    double x[64] = {0};
    struct tune_psd psd;
    struct tune_error err;
    const enum tune_window hann = TUNE_WINDOW_HANN;
    (void)state;
    assert_int_equal(tune_psd_multitaper(&psd, x, 15, 1.0, 1, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_multitaper(&psd, x, 64, 1.0, 0, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_multitaper(&psd, x, 64, 1.0, 9, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_multitaper(&psd, x, 64, 0.0, 1, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_multitaper(&psd, x, 64, (double)NAN, 1, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_welch(&psd, x, 64, 1.0, 65, 0.5, hann, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_welch(&psd, x, 64, 1.0, 8, 0.5, hann, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_welch(&psd, x, 64, 1.0, 32, 1.0, hann, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_welch(&psd, x, 64, 1.0, 32, -0.1, hann, &err), TUNE_EINVAL);
    assert_int_equal(tune_psd_welch(&psd, x, 64, -1.0, 32, 0.5, hann, &err), TUNE_EINVAL);
    assert_null(psd.power);
}

static void no_memory_leaves_nothing_behind(void **state)
{
    double x[64] = {0};
    (void)state;
    for (int kind = 0; kind < 2; kind++) {
        unsigned long k = 0;
        enum tune_status status;
        struct tune_psd psd;
        struct tune_error err;
        for (;;) {
            check_fail_allocation(++k);
            status = kind ? tune_psd_welch(&psd, x, 64, 1.0, 32, 0.5, TUNE_WINDOW_HANN, &err)
                          : tune_psd_multitaper(&psd, x, 64, 1.0, 3, &err);
            if (!check_allocation_failed()) break;
            assert_int_equal(status, TUNE_ENOMEM);
            assert_null(psd.power);
        }
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_OK);
        assert_int_equal(k, 8); /* four arrays, three transforms, then none refused */
        tune_psd_free(&psd);
        tune_psd_free(&psd);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_rectangular_segment_keeps_the_mean_square),
        cmocka_unit_test(tone_under_a_hann_window),
        cmocka_unit_test(white_noise_has_its_level),
        cmocka_unit_test(effective_averages_are_the_published_ones),
        cmocka_unit_test(averaged_segments_scatter_as_predicted),
        cmocka_unit_test(wrong_requests_are_refused),
        cmocka_unit_test(no_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
