/* test_design_spread.c - what a design must bear: the std of the fit, and half the way to the next pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"

enum { POINTINGS = 3 };

struct bench {
    struct tune_identification id;
    struct tune_pointing_plant pointing[POINTINGS];
    struct tune_track track;
    struct tune_track_point point[POINTINGS];
};

/* One mode at 20, 21 and 24 Hz, known to 0.1 %; inertia 100, 104 and 110, known to 0.2 %. */
static struct bench *setup(void)
{
    static const double hz[POINTINGS] = {20.0, 24.0, 21.0},
                        inertia[POINTINGS] = {104.0, 110.0, 100.0};
    struct bench *b = calloc(1, sizeof *b);
    assert_non_null(b);
    for (size_t i = 0; i < POINTINGS; i++) {
        struct tune_fit *fit = &b->pointing[i].fit;
        fit->plant = (struct tune_plant){.loop_rate_hz = 1000.0, .n_modes = 2};
        fit->plant.mode[1].f_hz = hz[i];
        fit->plant.mode[0].f_hz = 5.0;
        fit->mode_f_hz[1] = (struct tune_estimate){hz[i], 1e-3 * hz[i]};
        fit->mode_f_hz[0] = (struct tune_estimate){5.0, (double)NAN};
        fit->inertia = (struct tune_estimate){inertia[i], 2e-3 * inertia[i]};
        fit->delay = (struct tune_estimate){1e-3, 2e-5};
        b->point[i] = (struct tune_track_point){.finding = TUNE_TRACK_FOUND, .mode = 1};
        b->point[i].f_hz = fit->mode_f_hz[1];
    }
    b->track.point = b->point;
    b->id.n_pointings = POINTINGS;
    b->id.pointing = b->pointing;
    b->id.tracks.n = 1;
    b->id.tracks.track = &b->track;
    b->id.tracks.n_pointings = POINTINGS;
    return b;
}

static struct tune_design_spread *spread_of(struct bench *b)
{
    struct tune_design_spread *spread;
    struct tune_error err;
    assert_int_equal(chain_design_spread(&spread, &b->id, &err), TUNE_OK);
    return spread;
}

/* Three std reach half the largest step: 21 to 24 Hz, 104 to 110 kg m^2. */
static void half_the_largest_step_between_neighbours_is_borne(void **state)
{
    struct bench *b = setup();
    struct tune_design_spread *spread = spread_of(b);
    const double step = log(24.0 / 21.0) / 6.0, inertia = log(110.0 / 104.0) / 6.0;
    (void)state;
    for (size_t i = 0; i < POINTINGS; i++) {
        check_close_rel(spread[i].mode_std[1], hypot(1e-3, step), 1e-12);
        check_close_rel(spread[i].inertia_std, hypot(2e-3, inertia), 1e-12);
        check_close_rel(spread[i].delay_std_s, 2e-5, 1e-15);
        check_close(spread[i].mode_std[0], 0.0,
                    0.0); /* its std is not known, and no track has it */
    }
    free(spread);
    free(b);
}

static void a_mode_counts_where_it_was_found(void **state)
{
    struct bench *b = setup();
    struct tune_design_spread *spread;
    (void)state;
    b->point[1].finding = TUNE_TRACK_ABSENT; /* that at 24 Hz */
    spread = spread_of(b);
    check_close_rel(spread[0].mode_std[1], hypot(1e-3, log(21.0 / 20.0) / 6.0), 1e-12);
    check_close_rel(spread[1].mode_std[1], 1e-3, 1e-15);
    free(spread);
    b->id.tracks.n_pointings = 0; /* one pointing only, or none told apart */
    spread = spread_of(b);
    check_close_rel(spread[0].mode_std[1], 1e-3, 1e-15);
    free(spread);
    b->id.n_pointings = 1; /* no neighbour */
    spread = spread_of(b);
    check_close_rel(spread[0].inertia_std, 2e-3, 1e-15);
    free(spread);
    free(b);
}

/* A fit that knows next to nothing asks of a design what it can be asked: a fifth, one sample of delay. */
static void what_is_hardly_known_is_limited(void **state)
{
    struct bench *b = setup();
    struct tune_design_spread *spread;
    (void)state;
    b->pointing[0].fit.mode_f_hz[1].std = 40.0;
    b->pointing[0].fit.inertia.std = 1e3;
    b->pointing[0].fit.delay.std = 1.0;
    b->pointing[1].fit.delay.std = (double)NAN;
    spread = spread_of(b);
    check_close_rel(spread[0].mode_std[1], 0.2, 1e-15);
    check_close_rel(spread[0].inertia_std, 0.2, 1e-15);
    check_close_rel(spread[0].delay_std_s, 1e-3, 1e-15);
    check_close(spread[1].delay_std_s, 0.0, 0.0);
    free(spread);
    free(b);
}

static void without_memory_nothing_is_lost(void **state)
{
    struct bench *b = setup();
    struct tune_error err;
    (void)state;
    for (unsigned long k = 1; k <= 2; k++) {
        struct tune_design_spread *spread;
        check_fail_allocation(k);
        const enum tune_status status = chain_design_spread(&spread, &b->id, &err);
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_ENOMEM);
        free(spread);
    }
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(half_the_largest_step_between_neighbours_is_borne),
        cmocka_unit_test(a_mode_counts_where_it_was_found),
        cmocka_unit_test(what_is_hardly_known_is_limited),
        cmocka_unit_test(without_memory_nothing_is_lost),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
