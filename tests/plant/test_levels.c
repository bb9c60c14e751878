/* test_levels.c - records of one pointing against each other: level, drift, what they point to.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "plant/fit_case.h"
#include "plant/levels.h"

/* Two records of the same sweep, their joint fit, and the comparison. */
struct pair {
    struct synthetic record[2];
    struct tune_frf frf;
    struct tune_lines lines;
    struct tune_fit fit;
    struct tune_levels levels;
};

static void pair_free(struct pair *p)
{
    for (int i = 0; i < 2; i++)
        synthetic_free(&p->record[i]);
    tune_frf_free(&p->frf);
    tune_lines_free(&p->lines);
    tune_fit_free(&p->fit);
}

static struct tune_levels compared(const struct pair *p, double ratio)
{
    const struct tune_level_record record[2] = {{&p->record[0].lines, 10.0},
                                                {&p->record[1].lines, 10.0 * ratio}};
    struct tune_levels levels;
    struct tune_error err = {0};
    if (tune_levels_compare(&levels, record, 2, &p->fit, p->frf.band_hz, &err))
        fail_msg("%s", err.text);
    return levels;
}

static void make_pair(struct pair *p, const struct tune_plant *first,
                      const struct tune_plant *second, double ratio, uint64_t seed)
{
    const struct tune_fit_opts opts = tune_fit_defaults(first->loop_rate_hz);
    struct sweep sweep = short_sweep;
    struct tune_error err = {0};
    memset(p, 0, sizeof *p);
    synthetic_sweep(&p->record[0], first, &sweep, 1.0, 1.0, 2 * seed);
    sweep.torque_nm *= ratio;
    synthetic_sweep(&p->record[1], second, &sweep, 1.0, 1.0, 2 * seed + 1);
    for (int i = 0; i < 2; i++) {
        assert_int_equal(tune_frf_append(&p->frf, &p->record[i].frf, &err), TUNE_OK);
        assert_int_equal(tune_lines_append(&p->lines, &p->record[i].lines, &err), TUNE_OK);
    }
    if (tune_fit_plant(&p->fit, &p->frf, &p->lines, &opts, NULL, &err)) fail_msg("%s", err.text);
    assert_int_equal(p->fit.plant.n_modes, 5);
    p->levels = compared(p, ratio);
}

/* Chance of any alarm in a run 0.001: three runs are quiet but for 3 in 1000 choices of the seeds. A study of
 * 300 runs on 60 s sweeps had one. */
static void a_linear_axis_is_linear(void **state)
{
    const struct tune_plant axis = telescope_axis();
    (void)state;
    for (uint64_t seed = 0; seed < 3; seed++) {
        struct pair p;
        make_pair(&p, &axis, &axis, 2.0, seed);
        assert_int_equal(p.levels.n_levels, 2);
        check_close(p.levels.level[1], 20.0, 1e-12);
        size_t told = 0;
        for (size_t i = 0; i < p.levels.n_bands; i++) {
            const struct tune_level_band *band = &p.levels.band[i];
            assert_int_not_equal(band->verdict, TUNE_LEVEL_CHANGES);
            if (i > 0) check_close(band->band_hz[0], band[-1].band_hz[1], 1e-12);
            if (isnan(band->within)) continue; /* fewer than 8 lines */
            told++;
            /* statistical: 4.5 std of some hundred numbers */
            check_close(band->change.value / band->change.std, 0.0, 4.5);
            check_close(band->phase_rad.value / band->phase_rad.std, 0.0, 4.5);
        }
        assert_true(told >= 12);
        for (size_t k = 0; k < p.levels.n_modes; k++) {
            const struct tune_level_mode *mode = &p.levels.mode[k];
            assert_true(mode->known);
            assert_false(mode->f_changes || mode->zeta_changes || mode->gain_changes);
            assert_false(mode->differs || mode->smeared);
            check_close(mode->widen[0] * mode->widen[1] * mode->widen[2], 1.0, 0.0);
            for (int l = 0; l < 2; l++)
                check_close((mode->f_hz[l].value - axis.mode[k].f_hz) / mode->f_hz[l].std, 0.0,
                            4.5);
        }
        assert_int_equal(p.levels.causes, 0);
        pair_free(&p);
    }
}

/* Without noise a response larger by a factor is larger by that factor, in every band. */
static void a_change_of_size_is_what_it_is(void **state)
{
    const struct tune_plant axis = telescope_axis();
    struct pair p;
    (void)state;
    memset(&p, 0, sizeof p);
    for (int i = 0; i < 2; i++)
        synthetic_sweep(&p.record[i], &axis, &short_sweep, 0.0, 1.0, 3);
    struct synthetic fitted;
    fit_sweep(&p.fit, &fitted, &axis, &short_sweep, 0.0, 1.0, 3);
    memcpy(p.frf.band_hz, fitted.frf.band_hz, sizeof p.frf.band_hz);
    for (size_t i = 0; i < p.record[1].lines.n; i++) {
        p.record[1].lines.u[i] *= 1.5;
        p.record[1].lines.y[i] *= 1.5 * CMPLX(1.02, 0.01);
    }
    p.levels = compared(&p, 1.5);
    for (size_t i = 0; i < p.levels.n_bands; i++) {
        if (isnan(p.levels.band[i].within)) continue; /* fewer than 8 lines */
        /* model: what the fit of exact data is off, 1e-6 at most */
        check_close(p.levels.band[i].change.value, 0.02, 1e-5);
        check_close(p.levels.band[i].phase_rad.value, 0.01, 1e-5);
    }
    synthetic_free(&fitted);
    pair_free(&p);
}

/* 0.2 % between two sweeps of one level: told, and the std covers the mean of both; the other modes keep theirs. */
static void a_mode_that_drifts_between_sweeps_is_widened(void **state)
{
    const struct tune_plant before = telescope_axis();
    struct tune_plant after = before;
    struct pair p;
    struct tune_error err;
    (void)state;
    after.mode[0].f_hz *= 1.002;
    make_pair(&p, &before, &after, 1.0, 40);
    const double half = 0.001 * before.mode[0].f_hz, mean = before.mode[0].f_hz + half;
    const struct tune_level_mode *mode = p.levels.mode;
    assert_int_equal(p.levels.n_levels, 1);
    assert_int_equal(p.levels.n_bands, 0);
    assert_true(mode[0].differs && isnan(mode[0].f_slope.value));
    for (size_t k = 1; k < 5; k++)
        assert_false(mode[k].differs);
    const double std = p.fit.mode_f_hz[0].std, other = p.fit.mode_f_hz[3].std;
    const double zero_std = p.fit.antiresonance_f_hz[0].std;
    const size_t n = p.fit.n_params, zeros = p.fit.n_antiresonances;
    const double mixed = p.fit.covariance[3 * n + 6];
    assert_true(std < 0.1 * half);
    assert_int_equal(tune_levels_widen(&p.fit, &p.levels, p.frf.band_hz, &err), TUNE_OK);
    /* two equal records half a distance off their mean: chi^2 makes the mean's std that half; statistical: each
     * is known to 1e-4 f */
    check_close_rel(p.fit.mode_f_hz[0].std, half, 0.1);
    assert_true(fabs(p.fit.mode_f_hz[0].value - mean) < 2.0 * p.fit.mode_f_hz[0].std);
    check_close_rel(p.fit.mode_f_hz[0].std, std * mode[0].widen[0], 1e-12);
    check_close(p.fit.mode_f_hz[3].std, other, 1e-12 * other);
    check_close_rel(p.fit.covariance[3 * n + 6], mixed * mode[0].widen[0] * mode[1].widen[0],
                    1e-12);
    assert_int_equal(p.fit.n_antiresonances, zeros);
    assert_true(p.fit.antiresonance_f_hz[0].std >= zero_std);
    /* each sweep has the damping of the axis, the joint fit a broader one: its std holds that */
    const struct tune_estimate *zeta = &p.fit.mode_zeta[0];
    check_close(mode[0].zeta[0].value, before.mode[0].zeta, 4.0 * mode[0].zeta[0].std);
    assert_true(zeta->value > before.mode[0].zeta + 4.0 * mode[0].zeta[0].std);
    assert_true(fabs(zeta->value - before.mode[0].zeta) < 1.3 * zeta->std);
    pair_free(&p);
}

static void levels_point_to_what_they_should(void **state)
{
    static const struct {
        double f, zeta;
        unsigned cause;
    } cases[] = {{-0.001, 0.0, TUNE_CAUSE_LOOSE},
                 {0.001, 0.0, TUNE_CAUSE_HARDENING},
                 {0.0, -0.1, TUNE_CAUSE_FRICTION}};
    const struct tune_plant weak = telescope_axis();
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tune_plant strong = weak;
        struct pair p;
        strong.mode[1].f_hz *= 1.0 + cases[i].f;
        strong.mode[1].zeta *= 1.0 + cases[i].zeta;
        make_pair(&p, &weak, &strong, 2.0, 50 + i);
        const struct tune_level_mode *mode = &p.levels.mode[1];
        assert_int_equal(p.levels.causes, cases[i].cause);
        assert_true(p.levels.or_drift && mode->or_drift); /* one sweep a level: no repeat tells */
        assert_int_equal(mode->f_changes, cases[i].f != 0.0);
        assert_int_equal(mode->zeta_changes, cases[i].zeta != 0.0);
        /* statistical, 4 std */
        check_close(mode->f_slope.value, log(1.0 + cases[i].f) / log(2.0), 4.0 * mode->f_slope.std);
        check_close(mode->zeta_slope.value, log(1.0 + cases[i].zeta) / log(2.0),
                    4.0 * mode->zeta_slope.std);
        assert_true(strlen(tune_level_cause_text(p.levels.causes)) > 20);
        pair_free(&p);
    }
    assert_string_equal(tune_level_cause_text(0), "");
}

/* ---- refusals -----------------------------------------------------------------------------------*/

static void no_records_are_refused(void **state)
{
    const double band[2] = {1.0, 2.0};
    struct tune_fit fit = {.n_params = 3};
    struct tune_levels levels;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_levels_compare(&levels, NULL, 0, &fit, band, &err), TUNE_EINVAL);
    assert_string_equal(tune_level_verdict_name(TUNE_LEVEL_UNTOLD), "cannot be told");
    assert_string_equal(tune_level_verdict_name((enum tune_level_verdict)7), "unknown");
}

/* A level that is not known, or a record too short: nothing is said of levels, or of that record. */
static void what_is_not_known_is_not_compared(void **state)
{
    const struct tune_plant axis = telescope_axis();
    struct pair p;
    struct tune_error err;
    struct tune_lines few;
    struct tune_levels levels;
    (void)state;
    make_pair(&p, &axis, &axis, 2.0, 7);
    levels = compared(&p, (double)NAN);
    assert_int_equal(levels.n_levels, 0);
    assert_int_equal(levels.n_bands, 0);
    assert_true(levels.mode[0].known && isnan(levels.mode[0].f_slope.value));
    few = p.record[1].lines;
    few.n = 3;
    const struct tune_level_record record[2] = {{&p.record[0].lines, 1.0}, {&few, 2.0}};
    assert_int_equal(tune_levels_compare(&levels, record, 2, &p.fit, p.frf.band_hz, &err), TUNE_OK);
    assert_int_equal(levels.n_levels, 2);
    assert_false(levels.mode[0].known);
    for (size_t i = 0; i < levels.n_bands; i++)
        assert_int_equal(levels.band[i].verdict, TUNE_LEVEL_UNTOLD);
    pair_free(&p);
}

static void every_refused_allocation_is_reported(void **state)
{
    const struct tune_plant axis = telescope_axis();
    struct pair p;
    unsigned long k = 0;
    bool refused = true;
    (void)state;
    make_pair(&p, &axis, &axis, 2.0, 8);
    const struct tune_level_record record[2] = {{&p.record[0].lines, 1.0},
                                                {&p.record[1].lines, 2.0}};
    while (refused) {
        struct tune_levels levels;
        struct tune_error err;
        check_fail_allocation(++k);
        const enum tune_status status =
            tune_levels_compare(&levels, record, 2, &p.fit, p.frf.band_hz, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        assert_int_equal(levels.n_records, refused ? 0 : 2);
    }
    assert_true(k > 20);
    pair_free(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_linear_axis_is_linear),
        cmocka_unit_test(a_change_of_size_is_what_it_is),
        cmocka_unit_test(a_mode_that_drifts_between_sweeps_is_widened),
        cmocka_unit_test(levels_point_to_what_they_should),
        cmocka_unit_test(no_records_are_refused),
        cmocka_unit_test(what_is_not_known_is_not_compared),
        cmocka_unit_test(every_refused_allocation_is_reported),
    };
    return cmocka_run_group_tests_name("levels", tests, NULL, NULL);
}
