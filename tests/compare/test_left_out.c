/* test_left_out.c - pointings that alone have their condition, and cancelling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include "fits.h"

static void fit_tracks(struct tune_tracks *tracks, const struct fits *fits)
{
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct tune_error err;
    tune_error_clear(&err);
    if (tune_tracks_fit(tracks, fits->plant, fits->n, &opts, NULL, &err)) fail_msg("%s", err.text);
}

/* Six pointings of three modes; one of them (`which`: 0 alone with a brake, 1 alone at another declination,
 * 2 alone at another angle) has frequencies higher by `shift`. */
static size_t odd_pointing(struct fits *fits, int which, double shift, struct tune_random *random)
{
    const double spread[] = {0.0, 15.0, 30.0, 45.0, 60.0, 75.0}, one[] = {0, 0, 0, 0, 0, 60.0};
    const double f_hz[] = {14.8, 31.0, 62.5}, std[3] = {5e-5, 5e-3, 1e-3};
    const size_t odd = which == 2 ? 5 : 2;
    fits_open(fits, which == 2 ? one : spread, 6);
    for (size_t p = 0; p < 6; p++) {
        struct tune_condition *at = &fits->plant[p].at;
        at->other_axis = which == 0 && p == odd ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_HOLDING;
        at->other_axis_rad = which == 1 && p == odd ? 1.0 : 0.3;
        for (size_t k = 0; k < 3; k++)
            fits_add(fits, p, k, f_hz[k] * (p == odd ? 1.0 + shift : 1.0), 0.01, 0.1, std, random);
    }
    return odd;
}

/* The others cannot know what it alone has: no failure may be called (1 % of sound logbooks by claim, 50
 * seeds: 5 or more have a chance below 2e-4), and its prediction does not interpolate. */
static void a_pointing_alone_with_its_condition_is_no_failure(void **state)
{
    const double shift[] = {0.003, 0.02, 0.02};
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    (void)state;
    for (int which = 0; which < 3; which++) {
        size_t fails = 0;
        for (uint64_t seed = 1; seed <= 50; seed++) {
            struct tune_random random;
            tune_random_init(&random, seed, 0);
            const size_t odd = odd_pointing(fits, which, shift[which], &random);
            fit_tracks(&tracks, fits);
            fails += tracks.interpolation == TUNE_INTERPOLATION_FAILS ? 1 : 0;
            assert_false(tracks.track[0].left_out[odd].inside);
            /* half of the weight is an effect of std 5 % (of x - x_common): far wider than the fits */
            assert_true(tracks.track[0].left_out[odd].std > 1e-3 * tracks.track[0].f_hz);
            if (which == 0) assert_true(tracks.track[0].left_out[1].inside);
            tune_tracks_free(&tracks);
        }
        print_message("case %d: %zu of 50 fail\n", which, fails);
        assert_true(fails < 5);
    }
    /* the same shift without a reason stays a failure */
    odd_pointing(fits, 0, 0.003, NULL);
    for (size_t p = 0; p < 6; p++)
        fits->plant[p].at.other_axis = TUNE_OTHER_AXIS_HOLDING;
    fit_tracks(&tracks, fits);
    assert_int_equal(tracks.interpolation, TUNE_INTERPOLATION_FAILS);
    assert_int_equal(tracks.worst_z[1], 2);
    tune_tracks_free(&tracks);
    free(fits);
}

/* ---- cancelling ---------------------------------------------------------------------------------------*/

struct counter {
    size_t ticks, stop_at;
    double last;
};

static int count(void *user, const char *stage, double done)
{
    struct counter *counter = user;
    assert_non_null(stage);
    assert_true(done >= counter->last && done <= 1.0);
    counter->last = done;
    return ++counter->ticks == counter->stop_at;
}

/* At every tick, in every stage. */
static void comparing_can_be_cancelled(void **state)
{
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct fits *fits = malloc(sizeof *fits);
    struct tune_tracks tracks;
    struct tune_error err;
    size_t total;
    (void)state;
    odd_pointing(fits, 0, 0.003, NULL);
    struct counter counter = {0};
    const struct tune_watch watch = {count, &counter};
    assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 6, &opts, &watch, &err), TUNE_OK);
    tune_tracks_free(&tracks);
    total = counter.ticks;
    assert_true(total > 20);
    for (size_t k = 1; k <= total; k++) {
        counter = (struct counter){.stop_at = k};
        assert_int_equal(tune_tracks_fit(&tracks, fits->plant, 6, &opts, &watch, &err),
                         TUNE_ECANCELLED);
        assert_int_equal(counter.ticks, k);
        assert_null(tracks.track);
        assert_null(tracks.inertia_left_out);
    }
    free(fits);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_pointing_alone_with_its_condition_is_no_failure),
        cmocka_unit_test(comparing_can_be_cancelled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
