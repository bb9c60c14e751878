/* test_wind.c - the spectrum of the wind torque and its realisations.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include <gsl/gsl_integration.h>

#include "simulation/axis_internal.h"
#include "spectrum/psd.h"

static double at(double f_hz, void *user)
{
    return tune_axis_wind_psd(user, f_hz);
}

static void spectrum_integrates_to_its_mean_square(void **state)
{
    struct tune_axis axis = tune_axis_defaults();
    const double from[] = {0.0, 1.0, 8.0, 40.0}, to[] = {1.0, 8.0, 40.0, 200.0}; /* corners */
    (void)state;
    axis.wind_rms_nm = 20.0;
    for (double corner = 0.05; corner < 2.0; corner *= 3.0) {
        gsl_function f = {at, &axis};
        double sum = 0.0;
        axis.wind_corner_hz = corner;
        for (int k = 0; k < 4; k++) {
            double part, error;
            size_t evaluations;
            assert_int_equal(gsl_integration_qng(&f, from[k] * corner, to[k] * corner, 0.0, 1e-11,
                                                 &part, &error, &evaluations),
                             0);
            sum += part;
        }
        check_close_rel(sum, 400.0, 1e-10);
        /* the shape itself */
        check_close_rel(tune_axis_wind_psd(&axis, corner) / tune_axis_wind_psd(&axis, 0.0),
                        pow(2.0, -5.0 / 6.0) / (1.0 + 1.0 / 64.0), 1e-14);
        check_close_rel(tune_axis_wind_psd(&axis, 8.0 * corner) / tune_axis_wind_psd(&axis, 0.0),
                        pow(65.0, -5.0 / 6.0) / 2.0, 1e-14);
    }
    axis.wind_rms_nm = 0.0;
    check_close(tune_axis_wind_psd(&axis, 0.3), 0.0, 0.0);
}

static void realisations_have_the_spectrum(void **state)
{
    const size_t n = 100000; /* 1000 s */
    const double rate = 100.0, edge[] = {0.02, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 49.0};
    double *wind = malloc(n * sizeof *wind);
    struct tune_random rng;
    struct tune_psd psd;
    struct tune_error err;
    (void)state;
    assert_non_null(wind);
    tune_random_init(&rng, 77, 0);
    assert_int_equal(tune_wind_realise(wind, n, rate, 5.0, 0.3, &rng, &err), TUNE_OK);
    assert_int_equal(tune_psd_multitaper(&psd, wind, n, rate, 6, &err), TUNE_OK);
    for (size_t b = 0; b + 1 < sizeof edge / sizeof *edge; b++) {
        double seen = 0.0, count = 0.0;
        for (size_t i = 1; i < psd.n; i++) {
            const double f = (double)i * psd.df_hz;
            if (f < edge[b] || f >= edge[b + 1]) continue;
            seen += psd.power[i] / tune_wind_psd(5.0, 0.3, f);
            count += 1.0;
        }
        /* statistical, 5 sigma: one independent periodogram ordinate per bin */
        check_close(seen / count, 1.0, 5.0 / sqrt(count));
    }
    tune_psd_free(&psd);
    free(wind);
}

static void realisations_have_the_rms(void **state)
{
    /* mean square over many short runs: their low frequencies must be there too */
    enum { N = 500, RUNS = 100 };
    double wind[N], sum = 0.0, ends = 0.0;
    struct tune_random rng;
    struct tune_error err;
    (void)state;
    tune_random_init(&rng, 78, 0);
    for (int r = 0; r < RUNS; r++) {
        assert_int_equal(tune_wind_realise(wind, N, 50.0, 3.0, 0.1, &rng, &err), TUNE_OK);
        for (int i = 0; i < N; i++)
            sum += wind[i] * wind[i] / (N * (double)RUNS);
        ends += (wind[N - 1] - wind[0]) * (wind[N - 1] - wind[0]) / RUNS;
    }
    /* statistical, 5 sigma: a 10 s run is at worst one independent value of the mean square */
    check_close_rel(sum, 9.0, 5.0 * sqrt(2.0 / RUNS));
    /* the ends of a run, 10 s apart, hardly know each other: mean square difference near 2 x 9 */
    check_close_rel(ends, 18.0, 0.2 + 5.0 * sqrt(2.0 / RUNS));
}

static void the_real_lines_at_both_ends_have_their_half_interval(void **state)
{
    /* a sample taken alone, under a corner far above the rate, is made of lines 0 and rate/2 only */
    enum { RUNS = 500 };
    const double corner = 50.0, df = 0.5;
    const double want =
        (tune_wind_psd(1.0, corner, 0.0) + tune_wind_psd(1.0, corner, df)) * df / 2.0;
    double sum = 0.0;
    struct tune_random rng;
    struct tune_error err;
    (void)state;
    tune_random_init(&rng, 79, 0);
    for (int r = 0; r < RUNS; r++) {
        double wind;
        assert_int_equal(tune_wind_realise(&wind, 1, 1.0, 1.0, corner, &rng, &err), TUNE_OK);
        sum += wind * wind / RUNS;
    }
    check_close_rel(sum, want, 5.0 * sqrt(2.0 / RUNS)); /* statistical, 5 sigma */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(spectrum_integrates_to_its_mean_square),
        cmocka_unit_test(realisations_have_the_spectrum),
        cmocka_unit_test(realisations_have_the_rms),
        cmocka_unit_test(the_real_lines_at_both_ends_have_their_half_interval),
    };
    return cmocka_run_group_tests_name("wind", tests, NULL, NULL);
}
