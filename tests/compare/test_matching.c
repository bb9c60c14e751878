/* test_matching.c - smooth functions, and which mode is which.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "compare/compare_internal.h"
#include "fits.h"

static const double std_tight[3] = {2e-4, 0.03, 0.002};

/* ---- smooth functions --------------------------------------------------------------------------*/

static void some_conditions(struct tune_condition *at, size_t n, struct tune_random *random)
{
    for (size_t i = 0; i < n; i++) {
        at[i].angle_rad = i % 5 == 4 ? (double)NAN : 3.0 * tune_random_normal(random);
        at[i].other_axis_rad = i % 3 == 2 ? (double)NAN : 2.0 * tune_random_normal(random);
        at[i].other_axis =
            (enum tune_other_axis)(tune_random_bits(random) % TUNE_OTHER_AXIS_STATES);
    }
}

/* A correlation is positive semidefinite, with unknown angles and all states in it: with 1e-9 added the
 * factor exists. */
static void correlations_are_a_correlation(void **state)
{
    enum { N = 24 };
    struct tune_condition at[N];
    struct tune_random random;
    double r[N * N];
    (void)state;
    tune_random_init(&random, 12, 0);
    for (int trial = 0; trial < 50; trial++) {
        some_conditions(at, N, &random);
        for (size_t i = 0; i < N; i++)
            for (size_t k = 0; k < N; k++)
                r[i * N + k] = i == k ? 1.0 + 1e-9 : smooth_correlation(&at[i], &at[k]);
        assert_true(dense_cholesky(r, N));
    }
    check_close(smooth_correlation(&at[0], &at[0]), 1.0, 0.0);
}

/* The density of all values is that of the others times that of one given the others: two routes, one
 * through the determinant, one through the prediction. Rounding: condition (3/0.05)^2. */
static void a_prediction_agrees_with_the_density(void **state)
{
    enum { N = 7 };
    struct tune_condition at[N];
    struct tune_random random;
    double r[N * N], value[N], std[N], room[N * N + 2 * N], mean, variance;
    bool known[N];
    const struct smooth_scale scale = {0.3, 3.0, 0.4, 0.05};
    struct smooth_series series = {N, value, std, known, r};
    (void)state;
    tune_random_init(&random, 13, 0);
    some_conditions(at, N, &random);
    for (size_t i = 0; i < N; i++) {
        value[i] = tune_random_normal(&random);
        std[i] = 0.1 * tune_random_uniform(&random);
        known[i] = i != 5;
        for (size_t k = 0; k < N; k++)
            r[i * N + k] = i == k ? 1.0 : smooth_correlation(&at[i], &at[k]);
    }
    const double all = smooth_cost(&series, &scale, room);
    smooth_predict(&mean, &variance, &series, 2, r + 2 * N, &scale, room);
    known[2] = false;
    const double others = smooth_cost(&series, &scale, room);
    variance += std[2] * std[2] + scale.scatter * scale.scatter;
    check_close(all - others,
                (value[2] - mean) * (value[2] - mean) / variance + log(2.0 * TUNE_PI * variance),
                1e-9);
}

/* ---- which mode is which -------------------------------------------------------------------------*/

static void fit_tracks(struct tune_tracks *tracks, const struct fits *fits)
{
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct tune_error err;
    tune_error_clear(&err);
    if (tune_tracks_fit(tracks, fits->plant, fits->n, &opts, NULL, &err)) fail_msg("%s", err.text);
}

static const double seven[] = {-75.0, -50.0, -25.0, 0.0, 25.0, 50.0, 75.0};

/* Five modes, two of them crossing somewhere between the outer pointings with gains of other size or sign,
 * one that a random pointing lacks; errors as claimed. None may be taken for another. */
static void crossing_modes_are_told_apart(void **state)
{
    struct tune_random random;
    size_t wrong = 0, sets = 0, ambiguous = 0, misplaced = 0;
    (void)state;
    tune_random_init(&random, 14, 0);
    for (unsigned trial = 0; trial < 200 * check_multiplier(); trial++, sets++) {
        struct fits *fits = malloc(sizeof *fits);
        struct tune_tracks tracks;
        const double slope = 0.02 + 0.03 * tune_random_uniform(&random);
        const double at =
            0.8 * (2.0 * tune_random_uniform(&random) - 1.0); /* sin of the crossing */
        const double sign = trial % 2 ? 1.0 : -1.0,
                     size = 0.03 + 0.1 * tune_random_uniform(&random);
        const struct fits_mode mode[] = {
            {20.0, 0.03, 0.01, 0.006, 0.15},
            {40.0 * (1.0 - slope * at), slope, 0.0, 0.010, size},
            {40.0 * (1.0 + slope * at), -slope, 0.0, 0.010, sign > 0.0 ? 2.5 * size : -size},
            {75.0, 0.0, 0.02, 0.02, -0.05},
            {120.0, -0.01, 0.0, 0.012, 0.05}};
        const size_t lacking = tune_random_bits(&random) % 7,
                     lacked = tune_random_bits(&random) % 5;
        fits_open(fits, seven, 7);
        for (size_t p = 0; p < 7; p++)
            for (size_t k = 0; k < 5; k++)
                if (p != lacking || k != lacked)
                    fits_add(fits, p, k, fits_frequency(&mode[k], fits->plant[p].at.angle_rad),
                             mode[k].zeta, mode[k].gain, std_tight, &random);
        fit_tracks(&tracks, fits);
        if (tracks.n != 5 || fits_wrong(fits, &tracks)) wrong++;
        for (size_t t = 0; t < tracks.n; t++)
            for (size_t p = 0; p < 7; p++) {
                ambiguous += tracks.track[t].point[p].ambiguous ? 1 : 0;
                misplaced += p != lacking && tracks.track[t].point[p].finding != TUNE_TRACK_FOUND;
            }
        tune_tracks_free(&tracks);
        free(fits);
    }
    print_message("%zu of %zu sets wrong, %zu points called ambiguous\n", wrong, sets, ambiguous);
    assert_int_equal(wrong, 0);
    assert_int_equal(misplaced, 0);
    /* odds of 20 : 1 are met nearly always where gains differ by a factor of 2.5 or a sign */
    assert_true(ambiguous < 7 * 5 * sets / 100);
}

/* A wrong turn at a crossing, the same beyond it at every pointing, is undone as a whole. */
static void a_wrong_turn_is_undone(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct matching m;
    struct tune_error err;
    bool changed = false;
    const struct fits_mode mode[] = {{40.0, 0.03, 0.0, 0.01, 0.05}, {40.4, -0.03, 0.0, 0.01, 0.08}};
    (void)state;
    fits_open(fits, seven, 7);
    for (size_t p = 0; p < 7; p++)
        for (size_t k = 0; k < 2; k++)
            fits_add(fits, p, k, fits_frequency(&mode[k], fits->plant[p].at.angle_rad), 0.01,
                     mode[k].gain, std_tight, NULL);
    assert_int_equal(matching_open(&m, fits->plant, 7, &err), TUNE_OK);
    assert_int_equal(matching_run(&m, &err), TUNE_OK);
    assert_int_equal(m.tracks, 2);
    assert_int_equal(swaps_improve(&m, &changed, 0.0, &err), TUNE_OK);
    assert_false(changed);
    for (size_t p = 4; p < 7; p++) {
        const size_t kept = m.mode[p];
        m.mode[p] = m.mode[7 + p];
        m.mode[7 + p] = kept;
    }
    assert_int_equal(swaps_improve(&m, &changed, 0.0, &err), TUNE_OK);
    assert_true(changed);
    for (size_t t = 0; t < 2; t++)
        for (size_t p = 1; p < 7; p++)
            assert_int_equal(fits->truth[p][m.mode[t * 7 + p]], fits->truth[0][m.mode[t * 7]]);
    matching_close(&m);
    free(fits);
}

/* Alike in gain and damping, and at the same frequency at one pointing: nobody can say which is which
 * there. */
static void what_cannot_be_told_apart_is_called_ambiguous(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    const struct fits_mode mode[] = {{40.0, 0.03, 0.0, 0.01, 0.06}, {40.0, -0.03, 0.0, 0.01, 0.06}};
    bool middle = false, elsewhere = false;
    (void)state;
    fits_open(fits, seven, 7);
    for (size_t p = 0; p < 7; p++)
        for (size_t k = 0; k < 2; k++)
            fits_add(fits, p, k, fits_frequency(&mode[k], fits->plant[p].at.angle_rad), 0.01, 0.06,
                     std_tight, NULL);
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 2);
    for (size_t p = 0; p < 7; p++) {
        const bool doubt = tracks.track[0].point[p].ambiguous && tracks.track[1].point[p].ambiguous;
        if (p == 3)
            middle = doubt;
        else
            elsewhere = elsewhere || doubt;
    }
    assert_true(middle);
    /* elsewhere they are 2.5 % apart and more, and their slopes run on */
    assert_false(elsewhere);
    tune_tracks_free(&tracks);
    free(fits);
}

static void a_mode_that_vanishes_is_bounded(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    const double std[3] = {2e-4, 0.02, 0.001};
    (void)state;
    fits_open(fits, seven, 7);
    for (size_t p = 0; p < 7; p++) {
        fits_add(fits, p, 0, 20.0, 0.01, 0.2, std, NULL);
        if (p != 2) fits_add(fits, p, 1, 60.0, 0.01, 0.02, std, NULL);
    }
    /* here gains are known half as well, by the other mode */
    fits->fit[2].mode_gain[0].std *= 2.0;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 2);
    const struct tune_track_point *point = &tracks.track[1].point[2];
    assert_int_equal(point->finding, TUNE_TRACK_ABSENT);
    assert_int_equal(tracks.track[1].n_found, 6);
    /* closed form: s = 0.002, threshold 1.5 ln 20000 + 6, one-sided 95 % */
    check_close_rel(point->gain_bound, 0.002 * (sqrt(2.0 * (1.5 * log(2e4) + 6.0)) + 1.645), 1e-9);
    assert_true(isnan(point->gain.value));
    /* where all agree the prediction is what all say */
    check_close(point->f_hz.value, 60.0, 0.01);
    tune_tracks_free(&tracks);
    /* a second mode within a line width may hide it: no bound then */
    fits_add(fits, 2, 2, 60.9, 0.01, -0.9, std, NULL);
    fit_tracks(&tracks, fits);
    for (size_t t = 0; t < tracks.n; t++)
        if (tracks.track[t].n_found == 6) {
            assert_int_equal(tracks.track[t].point[2].finding, TUNE_TRACK_HIDDEN);
            assert_int_equal(tracks.track[t].point[2].mode, 1);
            assert_true(isnan(tracks.track[t].point[2].gain_bound));
        }
    tune_tracks_free(&tracks);
    /* outside of the band nothing is to be said */
    fits->fit[2].plant.n_modes = 1;
    fits->plant[2].band_hz[1] = 50.0;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.track[1].point[2].finding, TUNE_TRACK_UNEXCITED);
    tune_tracks_free(&tracks);
    free(fits);
}

static void a_stray_mode_becomes_a_track_of_its_own(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    (void)state;
    fits_open(fits, seven, 7);
    for (size_t p = 0; p < 7; p++) {
        fits_add(fits, p, 0, 20.0, 0.01, 0.2, std_tight, NULL);
        fits_add(fits, p, 1, 60.0, 0.01, 0.05, std_tight, NULL);
    }
    fits_add(fits, 4, 2, 33.0, 0.02, -0.01, std_tight, NULL);
    /* out of band: serves the fit only, is no mode to track */
    fits_add(fits, 5, 3, 900.0, 0.02, 0.3, std_tight, NULL);
    fits->fit[5].out_of_band[2] = true;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 3);
    assert_int_equal(fits_wrong(fits, &tracks), 0);
    assert_int_equal(tracks.track[1].n_found, 1);
    assert_int_equal(tracks.track[1].point[4].mode, 1);
    tune_tracks_free(&tracks);
    free(fits);
}

static void the_state_of_the_other_axis_may_move_a_mode_far(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    (void)state;
    fits_open(fits, seven, 7);
    for (size_t p = 0; p < 7; p++) {
        const bool braked = p >= 4;
        fits->plant[p].at.other_axis = braked ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_HOLDING;
        fits_add(fits, p, 0, braked ? 22.0 : 20.0, 0.01, 0.2, std_tight, NULL);
        fits_add(fits, p, 1, braked ? 48.0 : 45.0, 0.01, -0.05, std_tight, NULL);
    }
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 2);
    assert_int_equal(fits_wrong(fits, &tracks), 0);
    tune_tracks_free(&tracks);
    free(fits);
}

/* From 26 to 46 Hz while the other axis turns by 50 deg and changes its state: gain and damping tell that it is one. */
static void a_mode_that_goes_far_is_one(void **state)
{
    static const enum tune_other_axis axis[6] = {TUNE_OTHER_AXIS_HOLDING, TUNE_OTHER_AXIS_BRAKED,
                                                 TUNE_OTHER_AXIS_HOLDING, TUNE_OTHER_AXIS_BRAKED,
                                                 TUNE_OTHER_AXIS_FREE,    TUNE_OTHER_AXIS_HOLDING};
    static const double angle_deg[6] = {-75.0, -45.0, -15.0, 15.0, 45.0, 75.0};
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    size_t gap[2];
    (void)state;
    fits_open(fits, angle_deg, 6);
    for (size_t p = 0; p < 6; p++) {
        fits->plant[p].at.other_axis_rad = tune_rad_from_deg(10.0 * (double)p);
        fits->plant[p].at.other_axis = axis[p];
        fits_add(fits, p, 0, 17.2, 0.008, 0.22, std_tight, NULL);
        fits_add(fits, p, 1, 26.4 + 3.96 * (double)p, 0.012, 0.09, std_tight, NULL);
        fits_add(fits, p, 2, 58.0, 0.007, 0.05, std_tight, NULL);
        fits_add(fits, p, 3, 97.0, 0.015, -0.04, std_tight, NULL);
    }
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.n, 4);
    assert_int_equal(fits_wrong(fits, &tracks), 0);
    assert_false(tune_tracks_gap(gap, &tracks));
    assert_int_not_equal(tracks.interpolation, TUNE_INTERPOLATION_HOLDS);
    tune_tracks_free(&tracks);
    free(fits);
}

/* Two parts that matching left apart: neither is called absent where the other one stands, and a third of another gain
 * is. */
static void a_mode_that_may_have_moved_is_not_absent(void **state)
{
    struct fits *fits = malloc(sizeof *fits);
    struct tune_track track[2] = {{.f_hz = 30.0}, {.f_hz = 42.0}};
    struct tune_tracks tracks = {.n_pointings = 7, .n = 2, .track = track};
    struct matching m;
    struct tune_error err;
    size_t gap[2];
    (void)state;
    for (int other_gain = 0; other_gain < 2; other_gain++) {
        struct tune_track_point point[2][7];
        fits_open(fits, seven, 7);
        for (size_t p = 0; p < 7; p++) {
            const size_t t = p < 3 ? 0 : 1;
            const double gain = t && other_gain ? 0.04 : 0.09;
            fits_add(fits, p, t, track[t].f_hz, 0.012, gain, std_tight, NULL);
            point[t][p] = (struct tune_track_point){.finding = TUNE_TRACK_FOUND,
                                                    .f_hz = fits->fit[p].mode_f_hz[0],
                                                    .zeta = fits->fit[p].mode_zeta[0],
                                                    .gain = fits->fit[p].mode_gain[0]};
            point[1 - t][p] =
                (struct tune_track_point){.finding = TUNE_TRACK_ABSENT, .gain_bound = (double)NAN};
        }
        track[0].point = point[0];
        track[1].point = point[1];
        assert_int_equal(matching_open(&m, fits->plant, 7, &err), TUNE_OK);
        absence_tell(&tracks, &m);
        for (size_t p = 0; p < 7; p++) {
            const struct tune_track_point *none = &point[p < 3][p];
            assert_int_equal(none->finding, other_gain ? TUNE_TRACK_ABSENT : TUNE_TRACK_ELSEWHERE);
            assert_true(isnan(none->gain_bound)); /* no mode is shared to tell by */
        }
        assert_true(tune_tracks_gap(gap, &tracks));
        assert_true(gap[0] == 0 && gap[1] == 3);
        matching_close(&m);
    }
    free(fits);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(correlations_are_a_correlation),
        cmocka_unit_test(a_prediction_agrees_with_the_density),
        cmocka_unit_test(crossing_modes_are_told_apart),
        cmocka_unit_test(a_wrong_turn_is_undone),
        cmocka_unit_test(what_cannot_be_told_apart_is_called_ambiguous),
        cmocka_unit_test(a_mode_that_vanishes_is_bounded),
        cmocka_unit_test(a_stray_mode_becomes_a_track_of_its_own),
        cmocka_unit_test(the_state_of_the_other_axis_may_move_a_mode_far),
        cmocka_unit_test(a_mode_that_goes_far_is_one),
        cmocka_unit_test(a_mode_that_may_have_moved_is_not_absent),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
