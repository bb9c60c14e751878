/* test_design_beyond.c - what is said of frequencies above the band of each pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "control/beyond.h"

enum { POINTINGS = 3 };

struct bench {
    struct design_work work;
    struct tune_proposal out;
    struct tune_candidate candidate;
    struct tune_pointing_margins margins[POINTINGS];
    struct tune_pointing_plant plant[POINTINGS];
};

/* Identified up to 300 Hz; the loop crosses over near 20 Hz. */
static struct bench *setup(void)
{
    struct bench *b = calloc(1, sizeof *b);
    struct tune_controller *c = &b->candidate.controller;
    for (size_t i = 0; i < POINTINGS; i++) {
        (void)snprintf(b->plant[i].name, sizeof b->plant[i].name, "p%zu", i);
        b->plant[i].band_hz[1] = 300.0;
        b->plant[i].fit.plant = (struct tune_plant){.inertia_kg_m2 = 820.0 - 60.0 * (double)i,
                                                    .viscous_nm_s_per_rad = 35.0,
                                                    .delay_s = 3.5e-4,
                                                    .loop_rate_hz = 4000.0,
                                                    .n_modes = 1,
                                                    .mode = {{24.3, 0.02, 0.15, NAN}}};
        b->margins[i].stable = true;
    }
    *c = tune_controller_defaults(4000.0);
    c->kp_nm_per_rad = 2e6;
    c->ki_nm_per_rad_s = 1e7;
    c->kd_nm_s_per_rad = 6e4;
    c->derivative_filter_hz = 300.0;
    b->candidate.n_margins = b->work.basis.id.n_pointings = POINTINGS;
    b->candidate.margins = b->margins;
    b->work.basis.id.pointing = b->plant;
    b->work.opts.peak_sensitivity = 1.7;
    b->out.candidate = &b->candidate;
    b->out.n_candidates = 1;
    return b;
}

static void teardown(struct bench *b)
{
    free(b->out.beyond);
    free(b);
}

static bool has(const struct tune_notes *notes, const char *words)
{
    for (size_t i = 0; i < notes->n; i++)
        if (strstr(notes->text[i], words)) return true;
    return false;
}

static void every_pointing_has_its_bound_and_the_least_is_told(void **state)
{
    struct bench *b = setup();
    struct tune_error err;
    (void)state;
    assert_int_equal(chain_design_beyond(&b->out, &b->work, &err), TUNE_OK);
    assert_int_equal(b->out.n_beyond, POINTINGS);
    for (size_t i = 0; i < POINTINGS; i++) {
        const struct tune_beyond_band *at = &b->out.beyond[i];
        struct tune_beyond want;
        assert_int_equal(tune_loop_beyond(&want, &b->plant[i].fit.plant, &b->candidate.controller,
                                          300.0, 1.7, at->mode_damping, &err),
                         TUNE_OK);
        assert_string_equal(at->pointing, b->plant[i].name);
        assert_true(at->stable && want.stable);
        check_close_rel(at->band_hz, 300.0, 1e-15);
        check_close_rel(at->loop_gain_limit, 1.0 - 1.0 / 1.7, 1e-12);
        check_close_rel(at->largest_loop_gain, want.largest, 1e-12);
        check_close_rel(at->harmless_gain, want.mode_gain, 1e-12);
        check_close_rel(at->harmless_hz, want.mode_hz, 1e-12);
    }
    /* the lightest has the largest loop gain and bears least */
    assert_true(b->out.beyond[2].harmless_gain < b->out.beyond[0].harmless_gain);
    assert_int_equal(b->out.notes.n, 1);
    assert_true(has(&b->out.notes, "Above 300 Hz"));
    assert_true(has(&b->out.notes, "harmless at p2, elsewhere no less"));
    teardown(b);
}

static void pointings_with_nothing_beyond_or_no_stable_loop_are_left_out(void **state)
{
    struct bench *b = setup();
    struct tune_error err;
    (void)state;
    b->plant[0].band_hz[1] = 2000.0;
    b->margins[1].stable = false;
    assert_int_equal(chain_design_beyond(&b->out, &b->work, &err), TUNE_OK);
    assert_int_equal(b->out.n_beyond, 1);
    assert_string_equal(b->out.beyond[0].pointing, "p2");
    assert_false(has(&b->out.notes, "elsewhere"));
    teardown(b);
}

/* Identified up to no more than the crossover. */
static void where_the_loop_gain_is_large_above_the_band_the_model_bears_it(void **state)
{
    struct bench *b = setup();
    struct tune_error err;
    (void)state;
    b->plant[1].band_hz[1] = 15.0;
    assert_int_equal(chain_design_beyond(&b->out, &b->work, &err), TUNE_OK);
    assert_false(b->out.beyond[1].stable);
    assert_true(b->out.beyond[1].harmless_gain == 0.0);
    assert_true(has(&b->out.notes, "stability at p1 rests on the model"));
    assert_true(has(&b->out.notes, "Sweep higher"));
    teardown(b);
}

static void no_memory_no_word(void **state)
{
    struct bench *b = setup();
    struct tune_error err;
    (void)state;
    for (unsigned long k = 1; k < 4; k++) {
        check_fail_allocation(k);
        const enum tune_status status = chain_design_beyond(&b->out, &b->work, &err);
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_ENOMEM);
        free(b->out.beyond);
        b->out.beyond = NULL;
        b->out.n_beyond = 0;
    }
    teardown(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_pointing_has_its_bound_and_the_least_is_told),
        cmocka_unit_test(pointings_with_nothing_beyond_or_no_stable_loop_are_left_out),
        cmocka_unit_test(where_the_loop_gain_is_large_above_the_band_the_model_bears_it),
        cmocka_unit_test(no_memory_no_word),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
