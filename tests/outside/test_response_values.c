/* test_response_values.c - errors of averaged responses and coherences against values from outside.
 *
 * "From memory" marks a source whose printed page was not seen; the figures were recomputed with numpy
 * and scipy. A local polynomial of order 0 over 2n+1 bins without a transient is the plain average of
 * so many spectra, H1 = Gyx/Gxx.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/random.h"
#include "core/units.h"
#include "spectrum/coherence.h"
#include "spectrum/lpm.h"

/* complex normal deviate of unit mean square */
static double complex normal_pair(struct tune_random *rng)
{
    const double re = tune_random_normal(rng);
    return CMPLX(re, tune_random_normal(rng)) * sqrt(0.5);
}

struct average {
    double complex g;     /* H1 */
    double variance, coh; /* of g, unbiased; biased coherence 1 - residual/total */
    double coh_honest;    /* each mean square by its degrees of freedom */
};

/* Average of 2n+1 spectra. */
static struct average averaged(const double complex *u, const double complex *y, size_t n)
{
    const struct tune_lpm_opts opts = {.half_width = n, .order = 0, .at_rest = true};
    const size_t bin = n + 1;
    const double dof = 2.0 * (double)n;
    struct tune_lpm lpm;
    struct tune_error err;
    struct average out;
    if (tune_lpm_estimate(&lpm, u, &y, 1, 2 * n + 3, &bin, 1, &opts, &err))
        fail_msg("%s", err.text);
    assert_int_equal(lpm.dof, 2 * n);
    out.g = lpm.g[0];
    out.variance = lpm.gain[0] * creal(lpm.cov_v[0]);
    out.coh_honest = 1.0 - creal(lpm.cov_v[0]) / lpm.power[0];
    out.coh = 1.0 - creal(lpm.cov_v[0]) * dof / (lpm.power[0] * (dof + 1.0));
    tune_lpm_free(&lpm);
    return out;
}

static void errors_of_gain_and_phase_are_the_published_ones(void **state)
{
    /* Random error of |H|, and of the phase in rad: sqrt(1 - g2)/(sqrt(g2) sqrt(2 nd)): J. S. Bendat
     * and A. G. Piersol, Random Data, ch. 9. The formula is for many averages; with the degrees of
     * freedom of the residual in place of nd it holds for few. */
    static const struct {
        double coh;
        size_t dof;
        double gain, phase_deg;
    } want[] = {{0.50, 10, 0.22361, 12.8117}, {0.50, 100, 0.07071, 4.0514},
                {0.80, 20, 0.07906, 4.5296},  {0.90, 20, 0.05270, 3.0198},
                {0.95, 20, 0.03627, 2.0783},  {0.99, 100, 0.00711, 0.4072}};
    (void)state;
    for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
        enum { MOST = 103 };
        double complex u[MOST] = {0.0}, y[MOST] = {0.0};
        const size_t averages = want[i].dof + 1;
        const double complex h = CMPLX(-2.0, 0.7);
        const double noise = cabs(h) * sqrt((1.0 - want[i].coh) / want[i].coh);
        struct average seen;
        for (size_t k = 1; k <= averages; k++) { /* noise that is orthogonal to the reference */
            u[k] = 1.0;
            y[k] = h + noise * cexp(CMPLX(0.0, 2.0 * TUNE_PI * (double)k / (double)averages));
        }
        seen = averaged(u, y, want[i].dof / 2);
        check_close(seen.coh, want[i].coh, 1e-12);
        /* both parts of g are as uncertain: half its variance along it, half across */
        check_close(sqrt(0.5 * seen.variance) / cabs(seen.g), want[i].gain, 1e-5);
        check_close(tune_deg_from_rad(sqrt(0.5 * seen.variance) / cabs(seen.g)), want[i].phase_deg,
                    1e-4);
    }
}

struct moments {
    double n, sum, square;
};

static void moments_add(struct moments *m, double x)
{
    m->n += 1.0;
    m->sum += x;
    m->square += x * x;
}

static double moments_std(const struct moments *m)
{
    return sqrt((m->square - m->sum * m->sum / m->n) / (m->n - 1.0));
}

static double moments_relative(const struct moments *m)
{
    return moments_std(m) / (m->sum / m->n);
}

static void random_trials_have_the_published_errors(void **state)
{
    /* g2 = 0.8. Bendat and Piersol, ch. 9 (from memory): errors of Gxy 1/(sqrt(g2) sqrt(nd)), of the
     * coherent output power sqrt(2 - g2)/(sqrt(g2) sqrt(nd)), of the coherence
     * sqrt(2)(1 - g2)/(sqrt(g2) sqrt(nd)), nd = 20: 0.25, 0.27386, 0.07071; and of |H| and the phase
     * 0.07906, which trials exceed as 20 : 19. Twenty averages hold one more in 2n+1. */
    enum { N = 10, AVERAGES = 2 * N + 1 };
    const int trials = 20000 * (int)check_multiplier();
    const double coh = 0.8, noise = sqrt((1.0 - coh) / coh), more = sqrt(20.0 / AVERAGES);
    struct moments gain = {0}, phase = {0}, power = {0}, seen = {0};
    double cross = 0.0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 33, 0);
    for (int trial = 0; trial < trials; trial++) {
        double complex u[AVERAGES + 2] = {0.0}, y[AVERAGES + 2] = {0.0};
        struct average average;
        double uu = 0.0;
        for (int k = 1; k <= AVERAGES; k++) {
            u[k] = normal_pair(&rng);
            y[k] = u[k] + noise * normal_pair(&rng);
            uu += pow(cabs(u[k]), 2.0);
        }
        average = averaged(u, y, N);
        moments_add(&gain, cabs(average.g));
        moments_add(&phase, carg(average.g));
        /* as a complex number: the formula counts its phase, too */
        cross += pow(cabs(average.g * uu / AVERAGES - 1.0), 2.0) / trials;
        moments_add(&power, pow(cabs(average.g), 2.0) * uu);
        moments_add(&seen, average.coh);
    }
    /* sqrt((1 - g2)/(g2 2 (nd - 1))): exact for the real part of H1, nd - 1 = 20. Statistical, 4 sigma:
     * a standard deviation from so many trials is good to 1/sqrt(2 trials), of a phase with tails 1.5
     * times that; 1 % for the bend of modulus and phase, the square of their error */
    check_close_rel(moments_std(&gain), 0.07906, 4.0 / sqrt(2.0 * trials) + 0.01);
    check_close_rel(moments_std(&phase), 0.07906, 6.0 / sqrt(2.0 * trials) + 0.01);
    /* exact: E|Gxy^ - Gxy|^2 = Gxx Gyy/nd; |e|^2 scatters by about itself */
    check_close_rel(sqrt(cross), 0.25 * more, 2.0 / sqrt(trials));
    /* model: first-order formulas, terms of 1/nd left out */
    check_close_rel(moments_relative(&power), 0.27386 * more, 1.0 / AVERAGES);
    check_close_rel(moments_relative(&seen), 0.07071 * more, 2.0 / AVERAGES);
}

static void a_coherence_that_may_be_none_reaches_to_the_origin(void **state)
{
    /* 1 - 0.05^(1/(nd - 1)), the 95 % threshold of a coherence that is zero (standard, from memory): there
     * the 95 % circle of the response just holds 0 */
    static const double want[][2] = {
        {10.0, 0.283129}, {20.0, 0.145869}, {50.0, 0.059306}, {100.0, 0.029807}};
    (void)state;
    for (int i = 0; i < 4; i++) {
        const double n = want[i][0], slope = 0.5 / want[i][1]; /* d ln radius/d coh, about */
        check_close(tune_coherence_radius95(want[i][1], n), 1.0, 1e-6 * slope + 1e-6);
        assert_true(tune_coherence_radius95(want[i][1] + 2e-6, n) < 1.0);
        assert_true(tune_coherence_radius95(want[i][1] - 2e-6, n) > 1.0);
    }
}

static void uncorrelated_averages_exceed_the_threshold_one_time_in_twenty(void **state)
{
    enum { N = 5, AVERAGES = 2 * N + 1 };
    const int trials = 20000 * (int)check_multiplier();
    double beyond = 0.0, mean = 0.0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 34, 0);
    for (int trial = 0; trial < trials; trial++) {
        double complex u[AVERAGES + 2] = {0.0}, y[AVERAGES + 2] = {0.0};
        struct average average;
        for (int k = 1; k <= AVERAGES; k++) {
            u[k] = normal_pair(&rng);
            y[k] = normal_pair(&rng);
        }
        average = averaged(u, y, N);
        beyond += tune_coherence_radius95(average.coh, AVERAGES) < 1.0;
        mean += average.coh_honest / trials;
    }
    /* statistical, 4 sigma: binomial; coherence of nothing has the std 1/nd, about, and the mean 0 once
     * each mean square is divided by its degrees of freedom */
    check_close(beyond / trials, 0.05, 4.0 * sqrt(0.05 * 0.95 / trials));
    check_close(mean, 0.0, 4.0 / (AVERAGES * sqrt(trials)));
}

static void noise_on_either_side_biases_as_published(void **state)
{
    /* Power 10 times the noise at the input, 5 times at the output: H1/H = 1/(1 + 1/10), H2/H = 1 + 1/5,
     * coherence H1/H2 = 0.757576. Bendat and Piersol, ch. 6 (from memory), and derived. */
    enum { N = 20000, AVERAGES = 2 * N + 1 };
    double complex *u = calloc(AVERAGES + 2, sizeof *u), *y = calloc(AVERAGES + 2, sizeof *y);
    const double complex h = CMPLX(0.6, -1.1);
    struct average average;
    struct tune_random rng;
    double std;
    (void)state;
    assert_non_null(u);
    assert_non_null(y);
    tune_random_init(&rng, 35, 0);
    for (int k = 1; k <= AVERAGES; k++) {
        const double complex x = normal_pair(&rng);
        u[k] = x + sqrt(0.1) * normal_pair(&rng);
        y[k] = h * x + sqrt(0.2) * cabs(h) * normal_pair(&rng);
    }
    average = averaged(u, y, N);
    std = sqrt(average.variance) / cabs(h);
    /* statistical, 4 sigma */
    check_close(cabs(average.g / h), 0.909091, 4.0 * std);
    check_close(carg(average.g / h), 0.0, 4.0 * std);
    check_close(cabs(average.g / h) / average.coh_honest, 1.2, 8.0 * std);
    check_close(average.coh_honest, 0.757576, 4.0 * sqrt(2.0 / AVERAGES) * (1.0 - 0.757576));
    free(u);
    free(y);
}

static void noise_of_few_bins_is_measured(void **state)
{
    /* Response and transient of second order, n = 4, noise E|V|^2 = 0.04: residuals with 3 degrees of
     * freedom give 0.04 in the mean (0.0398 in 20 000 trials recomputed with numpy), and g has the
     * variance sigma^2 [(A^H A)^-1]_11. Method: R. Pintelon and J. Schoukens, System Identification, 2nd
     * ed. 2012, ch. 7 (from memory). */
    enum { N = 4, BINS = 2 * N + 3 };
    const struct tune_lpm_opts opts = {.half_width = N, .order = 2};
    const int trials = 20000 * (int)check_multiplier();
    const size_t bin = N + 1;
    double complex u[BINS];
    double mean = 0.0, square = 0.0, gain = 0.0;
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 36, 0);
    for (int k = 0; k < BINS; k++)
        u[k] = normal_pair(&rng);
    for (int trial = 0; trial < trials; trial++) {
        double complex y[BINS];
        const double complex *output = y;
        struct tune_lpm lpm;
        for (int k = 0; k < BINS; k++) {
            const double r = ((double)k - (double)bin) / N;
            y[k] = u[k] * (CMPLX(2.0, -1.0) + r * CMPLX(0.3, 0.2) + r * r * CMPLX(-0.1, 0.4)) +
                   CMPLX(0.5, 0.1) - r * CMPLX(0.2, 0.3) + r * r * 0.1 + 0.2 * normal_pair(&rng);
        }
        assert_int_equal(tune_lpm_estimate(&lpm, u, &output, 1, BINS, &bin, 1, &opts, NULL),
                         TUNE_OK);
        assert_int_equal(lpm.dof, 3);
        mean += creal(lpm.cov_v[0]) / trials;
        square += pow(cabs(lpm.g[0] - CMPLX(2.0, -1.0)), 2.0) / trials;
        gain = lpm.gain[0];
        tune_lpm_free(&lpm);
    }
    /* statistical, 4 sigma: relative std 1/sqrt(3) of one, and 1 of |e|^2 */
    check_close_rel(mean, 0.04, 4.0 / sqrt(3.0 * trials));
    check_close_rel(square, 0.04 * gain, 4.0 / sqrt(trials));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(errors_of_gain_and_phase_are_the_published_ones),
        cmocka_unit_test(random_trials_have_the_published_errors),
        cmocka_unit_test(a_coherence_that_may_be_none_reaches_to_the_origin),
        cmocka_unit_test(uncorrelated_averages_exceed_the_threshold_one_time_in_twenty),
        cmocka_unit_test(noise_on_either_side_biases_as_published),
        cmocka_unit_test(noise_of_few_bins_is_measured),
    };
    return cmocka_run_group_tests_name("response values", tests, NULL, NULL);
}
