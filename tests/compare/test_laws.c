/* test_laws.c - laws over conditions, leaving one out, the verdict, the next pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "compare/law_internal.h"
#include "fits.h"

static const double nine[] = {-80.0, -60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0, 80.0};
static const double std_tight[3] = {2e-4, 0.03, 0.002};

static void fit_tracks(struct tune_tracks *tracks, const struct fits *fits)
{
    struct tune_tracks_opts opts = tune_tracks_defaults();
    struct tune_error err;
    tune_error_clear(&err);
    opts.travel_rad[0] = tune_rad_from_deg(-100.0);
    opts.travel_rad[1] = tune_rad_from_deg(100.0);
    if (tune_tracks_fit(tracks, fits->plant, fits->n, &opts, NULL, &err)) fail_msg("%s", err.text);
}

static const struct tune_estimate *coefficient(const struct tune_law *law, enum tune_law_term term)
{
    for (size_t j = 0; j < law->n_terms; j++)
        if (law->term[j] == term) return &law->coefficient[j];
    fail_msg("no term %s", tune_law_term_name(term));
    return NULL;
}

/* ---- mixtures: closed forms of one normal density -----------------------------------------------*/

static void one_normal_density_has_its_known_width(void **state)
{
    const struct law_normal one = {3.0, 0.5, 1.0};
    const struct law_normal two[] = {{-1.0, 1e-9, 0.5}, {1.0, 1e-9, 0.5}};
    (void)state;
    check_close(law_mean(&one, 1), 3.0, 1e-15);
    check_close(law_half_width(&one, 1), 0.5, 1e-12);
    check_close(law_deviate(&one, 1, 3.0 + 4.0 * 0.5), 4.0, 1e-9);
    check_close(law_deviate(&one, 1, 3.0 - 7.0 * 0.5), -7.0, 1e-9);
    /* all of the weight lies 1 away from the mean */
    check_close(law_half_width(two, 2), 1.0, 1e-8);
    check_close(law_deviate(two, 2, 0.0), 0.0, 1e-9);
}

/* ---- laws ------------------------------------------------------------------------------------------*/

/* Fits of one mode whose ln f follows given coefficients; errors of the std claimed. */
static void made_by_law(struct fits *fits, const double *angle_deg, size_t n, const double c[4],
                        double std, struct tune_random *random)
{
    const double errors[3] = {std, 0.03, 0.002};
    fits_open(fits, angle_deg, n);
    for (size_t p = 0; p < n; p++) {
        struct tune_condition *at = &fits->plant[p].at;
        const double f = 30.0 * exp(c[0] * cos(at->angle_rad) + c[1] * sin(at->angle_rad));
        fits_add(fits, p, 0, f, 0.01, 0.1, errors, random);
        at->other_axis_rad = tune_rad_from_deg((double)(p * 37 % 90));
        at->other_axis = p % 2 ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_HOLDING;
        fits->fit[p].inertia.value =
            800.0 * exp(c[2] * cos(2.0 * at->other_axis_rad) + (p % 2 ? c[3] : 0.0) +
                        5e-4 * tune_random_normal(random));
        fits->fit[p].inertia.std = 5e-4 * fits->fit[p].inertia.value;
    }
}

/* ln density of the data under a set of terms and a tau, with the n x n covariance of the data: not the
 * way the library goes. */
static double density(const struct law_series *series, const struct law_terms *set, double tau,
                      double mean)
{
    const size_t n = series->n;
    double matrix[16 * 16], y[16], cost = 0.0;
    for (size_t i = 0; i < n; i++) {
        y[i] = series->value[i] - mean;
        for (size_t k = 0; k < n; k++) {
            matrix[i * n + k] = i == k ? tau * tau + series->std[i] * series->std[i] : 0.0;
            for (size_t j = 0; j < set->n; j++)
                matrix[i * n + k] += (j ? series->size * series->size : 4.0) *
                                     law_term_value(set->term[j], &series->plant[i].at) *
                                     law_term_value(set->term[j], &series->plant[k].at);
        }
    }
    assert_true(dense_cholesky(matrix, n));
    dense_forward(matrix, n, y);
    for (size_t i = 0; i < n; i++)
        cost += y[i] * y[i] + 2.0 * log(matrix[i * n + i]);
    return -0.5 * cost;
}

/* Weights stand as the densities, tau = 0 with the odds of all others together. Rounding: the matrices have
 * a condition of (2/1e-3)^2 and their inverses enter with y of some 10 std. */
static void sets_are_weighed_by_their_density(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct law_ensemble *all = malloc(sizeof *all);
    struct tune_random random;
    struct law_series series = {.n = 9, .plant = fits->plant, .asked = 9, .size = 0.05};
    const double c[4] = {0.004, -0.003, 0.0, 0.0};
    size_t compared = 0;
    (void)state;
    tune_random_init(&random, 26, 0);
    made_by_law(fits, nine, 9, c, 1e-3, &random);
    for (size_t p = 0; p < 9; p++) {
        series.known[p] = true;
        series.std[p] = 1e-3;
        series.value[p] = log(fits->fit[p].mode_f_hz[0].value);
    }
    law_solve_all(all, &series);
    const double first = density(&series, &all->set[all->set_of[0]], all->tau[0], all->mean);
    for (size_t k = 1; k < all->n; k++) {
        const double odds = all->tau[k] > 0.0 ? 1.0 / (LAW_SCATTERS - 1.0) : 1.0;
        if (all->part[k].weight < 1e-12 || all->part[0].weight < 1e-12) continue;
        check_close(log(all->part[k].weight / all->part[0].weight),
                    density(&series, &all->set[all->set_of[k]], all->tau[k], all->mean) - first +
                        log(odds),
                    1e-6);
        compared++;
    }
    assert_true(compared > 100);
    free(all);
    free(fits);
}

/* Statistical: 6 std, of 100 x 4 coefficients; the terms asked for were put in 20 std large. */
static void terms_put_in_are_found(void **state)
{
    struct tune_random random;
    double squares = 0.0, n = 0.0;
    size_t surplus = 0;
    (void)state;
    tune_random_init(&random, 21, 0);
    for (int trial = 0; trial < 100; trial++) {
        const double c[4] = {0.015, -0.02, 0.03, -0.05};
        struct fits *fits = malloc(sizeof *fits);
        struct tune_tracks tracks;
        made_by_law(fits, nine, 9, c, 3e-4, &random);
        fit_tracks(&tracks, fits);
        assert_int_equal(tracks.n, 1);
        const struct tune_law *law = &tracks.track[0].law, *inertia = &tracks.inertia_law;
        const struct tune_estimate *found[] = {coefficient(law, TUNE_TERM_COS_ANGLE),
                                               coefficient(law, TUNE_TERM_SIN_ANGLE),
                                               coefficient(inertia, TUNE_TERM_COS_TWICE_OTHER),
                                               coefficient(inertia, TUNE_TERM_OTHER_BRAKED)};
        surplus += law->n_terms + inertia->n_terms - 6;
        for (size_t k = 0; k < 4; k++) {
            /* holding is the commonest state of the nine: braked is against it */
            check_close(found[k]->value, c[k], 6.0 * found[k]->std);
            squares += (found[k]->value - c[k]) * (found[k]->value - c[k]) /
                       (found[k]->std * found[k]->std);
            n += 1.0;
        }
        assert_int_equal(law->n_points, 9);
        tune_tracks_free(&tracks);
        free(fits);
    }
    print_message("rms of coefficients over std %.3f, %zu surplus terms in 200 laws\n",
                  sqrt(squares / n), surplus);
    /* 400 squares, those of one law correlated in pairs: std of the rms below 0.06; heavier tails allow
       for std that had to be guessed from the scatter */
    check_between(sqrt(squares / n), 0.7, 1.2);
    /* one that is not there comes in by z^2 > 2 ln(size/std), size 0.05 and std 3e-4: 0.0014 each, of some four
       in each of 200 laws 1.1 expected; more than 7 are 2e-5 of a Poisson law */
    assert_true(surplus <= 7);
}

/* Deviates of left-out pointings: rms 1, and 68.3 % within 1 std, whatever is left is: nothing but the
 * error of the fits, or ten times that. 200 x 9 deviates, those of one set correlated: the effective
 * number is taken as 200 x 4, so 4 sigma are 0.10 of the rms and 0.066 of the share. */
static void deviates_of_left_out_pointings_are_normal(void **state)
{
    struct tune_random random;
    (void)state;
    tune_random_init(&random, 22, 0);
    for (int scattered = 0; scattered < 2; scattered++) {
        double squares = 0.0, within = 0.0, n = 0.0;
        for (unsigned trial = 0; trial < 200 * check_multiplier(); trial++) {
            const double c[4] = {0.03 * tune_random_normal(&random),
                                 0.03 * tune_random_normal(&random), 0.0, 0.0};
            struct fits *fits = malloc(sizeof *fits);
            struct tune_tracks tracks;
            made_by_law(fits, nine, 9, c, 1e-4, &random);
            for (size_t p = 0; p < 9; p++) {
                fits->plant[p].at.other_axis = TUNE_OTHER_AXIS_UNKNOWN;
                fits->plant[p].at.other_axis_rad = (double)NAN;
                if (scattered)
                    fits->fit[p].mode_f_hz[0].value *= exp(1e-3 * tune_random_normal(&random));
            }
            fit_tracks(&tracks, fits);
            for (size_t p = 0; p < 9; p++) {
                const struct tune_left_out *left_out = &tracks.track[0].left_out[p];
                assert_true(left_out->checked);
                assert_true(left_out->inside == (p > 0 && p < 8));
                squares += left_out->z * left_out->z;
                within +=
                    fabs(fits->fit[p].mode_f_hz[0].value - left_out->predicted) < left_out->std;
                n += 1.0;
            }
            tune_tracks_free(&tracks);
            free(fits);
        }
        print_message("%s: rms of z %.3f, within one std %.1f %%\n",
                      scattered ? "scatter of 0.1 %" : "errors as claimed", sqrt(squares / n),
                      100.0 * within / n);
        check_between(sqrt(squares / n), 0.9, 1.1);
        check_between(within / n, 0.683 - 0.066, 0.683 + 0.066);
    }
}

/* ---- the verdict ------------------------------------------------------------------------------------*/

static void flat_modes(struct fits *fits, size_t n, struct tune_random *random)
{
    fits_open(fits, nine, n);
    for (size_t p = 0; p < n; p++) {
        const double change = 1.0 + 0.02 * sin(fits->plant[p].at.angle_rad);
        fits_add(fits, p, 0, 25.0 * change, 0.01, 0.1, std_tight, random);
        fits_add(fits, p, 1, 60.0 / change, 0.01, -0.04, std_tight, random);
    }
}

static void interpolation_is_judged(void **state)
{
    struct tune_random random;
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    (void)state;
    tune_random_init(&random, 23, 0);
    flat_modes(fits, 9, &random);
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_HOLDS);
    /* Bonferroni over 18 checks, two-sided: normal quantile of 1 - 0.01/36 (tables: 3.45) */
    check_close(tracks.z_limit, 3.45, 0.01);
    assert_true(tracks.worst_error[0] < 2);
    tune_tracks_free(&tracks);

    /* the same, but one mode is not there at one pointing: what becomes of it between is not known */
    flat_modes(fits, 9, &random);
    fits->fit[4].plant.n_modes = 1;
    fit_tracks(&tracks, fits);
    size_t gap[2];
    assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_GAPS);
    assert_true(tune_tracks_gap(gap, &tracks));
    assert_true(gap[0] == 1 && gap[1] == 4);
    tune_tracks_free(&tracks);

    /* one pointing off by 3 %: the others know better */
    flat_modes(fits, 9, &random);
    fits->fit[3].mode_f_hz[1].value *= 1.03;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_FAILS);
    assert_int_equal(tracks.worst_z[0], 1);
    assert_int_equal(tracks.worst_z[1], 3);
    tune_tracks_free(&tracks);

    /* a jump of 8 % half-way: no law of these terms, and predictions know that they are poor */
    flat_modes(fits, 9, &random);
    for (size_t p = 5; p < 9; p++)
        fits->fit[p].mode_f_hz[0].value *= 1.08;
    fit_tracks(&tracks, fits);
    assert_true(tracks.interpolation == TUNE_INTERPOLATION_COARSE ||
                tracks.interpolation == TUNE_INTERPOLATION_FAILS);
    assert_int_equal(tracks.worst_error[0], 0);
    tune_tracks_free(&tracks);
    free(fits);
}

static void a_law_in_words(void **state)
{
    struct tune_law law = {.n_points = 2, .n_terms = 1, .scatter = 0.026};
    char text[64];
    (void)state;
    tune_law_text(text, sizeof text, &law);
    assert_string_equal(text, "no law can be told from two pointings");
    law.n_points = 3;
    tune_law_text(text, sizeof text, &law);
    assert_string_equal(text, "the same everywhere");
    law.n_terms = 3;
    law.term[1] = TUNE_TERM_SIN_OTHER;
    law.term[2] = TUNE_TERM_OTHER_BRAKED;
    law.coefficient[1].value = 0.08;
    law.coefficient[2].value = 0.0296;
    tune_law_text(text, sizeof text, &law);
    assert_string_equal(text, "8 sin(other), 2.96 braked");
}

static void three_pointings_check_nothing(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    (void)state;
    for (size_t n = 1; n <= 3; n++) {
        flat_modes(fits, n, NULL);
        fit_tracks(&tracks, fits);
        assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_UNCHECKED);
        assert_false(tracks.track[0].left_out[0].checked);
        assert_true(isnan(tracks.z_limit));
        assert_int_equal(tracks.track[0].law.n_terms > 0, n > 1);
        assert_int_equal(tracks.worst_error[0], tracks.n);
        tune_tracks_free(&tracks);
    }
    /* without angles there is no law, whatever their number, and nowhere to go */
    flat_modes(fits, 9, NULL);
    for (size_t p = 0; p < 9; p++)
        fits->plant[p].at.angle_rad = (double)NAN;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 2);
    assert_int_equal(tracks.track[0].n_found, 9);
    assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_UNCHECKED);
    assert_int_equal(tracks.track[0].law.n_terms, 0);
    assert_false(tracks.next.known);
    tune_tracks_free(&tracks);
    free(fits);
}

/* ---- the next pointing ------------------------------------------------------------------------------*/

static void next_of(struct tune_next_pointing *out, const double *angle_deg, size_t n)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_random random;
    struct tune_tracks tracks;
    tune_random_init(&random, 24, 0);
    fits_open(fits, angle_deg, n);
    for (size_t p = 0; p < n; p++) {
        const double s = sin(fits->plant[p].at.angle_rad);
        fits_add(fits, p, 0, 25.0 * (1.0 + 0.02 * s), 0.01, 0.1, std_tight, &random);
        fits_add(fits, p, 1, 60.0, 0.01, -0.04, std_tight, &random);
    }
    fit_tracks(&tracks, fits);
    *out = tracks.next;
    tune_tracks_free(&tracks);
    free(fits);
}

static void the_next_pointing_lies_where_nothing_was_swept(void **state)
{
    const double east[] = {-80.0, -60.0, -40.0, -20.0},
                 gap[] = {-90.0, -70.0, -60.0, 60.0, 70.0, 90.0};
    struct tune_next_pointing next;
    (void)state;
    next_of(&next, east, 4);
    assert_true(next.known);
    /* travel -100 .. 100, 5 % of it left for the ramp */
    check_close(next.at.angle_rad, tune_rad_from_deg(90.0), 1e-9);
    assert_int_equal(next.track, 0);
    assert_true(next.std_then < 0.5 * next.std);
    assert_true(next.std_median < next.std);
    next_of(&next, gap, 6);
    check_close(next.at.angle_rad, 0.0, tune_rad_from_deg(20.0));
}

static void the_other_axis_is_looked_at_where_it_was_moved(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    struct tune_random random;
    (void)state;
    tune_random_init(&random, 25, 0);
    flat_modes(fits, 9, &random);
    /* 0 degrees at eight pointings, 80 at one of them */
    for (size_t p = 0; p < 9; p++)
        fits->plant[p].at.other_axis_rad = p == 8 ? tune_rad_from_deg(80.0) : 0.0;
    fit_tracks(&tracks, fits);
    assert_true(tracks.next.known);
    assert_true(tracks.next.at.other_axis_rad > tune_rad_from_deg(30.0));
    assert_true(tracks.next.at.angle_rad < 0.0);
    tune_tracks_free(&tracks);
    free(fits);
}

/* ---- what is refused -------------------------------------------------------------------------------*/

static void bad_input_is_refused(void **state)
{
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    struct tune_error err;
    (void)state;
    flat_modes(fits, 4, NULL);
    memset(&tracks, 0x5a, sizeof tracks);
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 0, &opts, NULL, &err), TUNE_EINVAL);
    assert_null(tracks.track);
    assert_int_equal(
        tune_tracks_fit(&tracks, fits->plant, TUNE_TRACK_POINTINGS_MAX + 1, &opts, NULL, &err),
        TUNE_EINVAL);
    fits->fit[2].mode_zeta[1].value = 0.0;
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 4, &opts, NULL, &err), TUNE_EINVAL);
    assert_non_null(strstr(err.text, "pointing 3"));
    flat_modes(fits, 4, NULL);
    fits->fit[1].inertia.value = (double)NAN;
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 4, &opts, NULL, &err), TUNE_EINVAL);
    flat_modes(fits, 4, NULL);
    fits->plant[0].at.other_axis = TUNE_OTHER_AXIS_STATES;
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 4, &opts, NULL, &err), TUNE_EINVAL);
    /* fits without a mode: no tracks, the inertia's law all the same */
    flat_modes(fits, 4, NULL);
    for (size_t p = 0; p < 4; p++)
        fits->fit[p].plant.n_modes = 0;
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 4, &opts, NULL, &err), TUNE_OK);
    assert_int_equal(tracks.n, 0);
    assert_int_equal(tracks.inertia_law.n_points, 4);
    assert_false(tracks.next.known);
    tune_tracks_free(&tracks);
    tune_tracks_free(&tracks);
    free(fits);
}

static void every_allocation_may_fail(void **state)
{
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    struct tune_error err;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    flat_modes(fits, 5, NULL);
    for (unsigned long k = 1; status; k++) {
        check_fail_allocation(k);
        status = tune_tracks_fit(&tracks, fits->plant, 5, &opts, NULL, &err);
        const bool failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
        if (status) assert_null(tracks.track);
        if (status) assert_null(tracks.inertia_left_out);
    }
    tune_tracks_free(&tracks);
    free(fits);
}

static void every_term_has_a_name(void **state)
{
    (void)state;
    for (int t = 0; t < TUNE_LAW_TERMS; t++)
        assert_non_null(tune_law_term_name((enum tune_law_term)t));
    assert_null(tune_law_term_name(TUNE_LAW_TERMS));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_normal_density_has_its_known_width),
        cmocka_unit_test(sets_are_weighed_by_their_density),
        cmocka_unit_test(terms_put_in_are_found),
        cmocka_unit_test(deviates_of_left_out_pointings_are_normal),
        cmocka_unit_test(interpolation_is_judged),
        cmocka_unit_test(a_law_in_words),
        cmocka_unit_test(three_pointings_check_nothing),
        cmocka_unit_test(the_next_pointing_lies_where_nothing_was_swept),
        cmocka_unit_test(the_other_axis_is_looked_at_where_it_was_moved),
        cmocka_unit_test(bad_input_is_refused),
        cmocka_unit_test(every_allocation_may_fail),
        cmocka_unit_test(every_term_has_a_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
