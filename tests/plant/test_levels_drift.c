/* test_levels_drift.c - level told from drift: records of made-up modes, scattering from record to record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "plant/levels_internal.h"

enum { RECORDS_MAX = 8, LINES = 40 };

/* Records whose one mode and one band are as given; levels 1, 2, 1, 2, ... where `turns`, else 1, 2, 4, ... */
struct made {
    struct tune_levels levels;
    struct tune_fit fit;
    struct tune_level_record given[RECORDS_MAX];
    struct record_fit record[RECORDS_MAX];
    size_t level_of[RECORDS_MAX];
    double f_hz[LINES], var[RECORDS_MAX][LINES];
    double complex u[RECORDS_MAX][LINES], model[LINES], y[RECORDS_MAX][LINES];
    double covariance[36];
    struct level_case c;
    double band_hz[2];
};

static void make(struct made *m, size_t n, bool turns)
{
    memset(m, 0, sizeof *m);
    m->fit.n_params = 6;
    m->fit.covariance = m->covariance;
    m->fit.plant.n_modes = 1;
    m->fit.plant.mode[0] = (struct tune_mode){.f_hz = 20.0, .zeta = 0.01, .gain = 1.0};
    for (size_t i = 0; i < 6; i++)
        m->covariance[7 * i] = 1.0;
    m->band_hz[0] = 1.0;
    m->band_hz[1] = 50.0;
    m->c = (struct level_case){.out = &m->levels,
                               .fit = &m->fit,
                               .band_hz = m->band_hz,
                               .n = n,
                               .record = m->record,
                               .given = m->given,
                               .level_of = m->level_of};
    m->levels.n_records = n;
    m->levels.n_levels = turns ? 2 : n;
    for (size_t l = 0; l < m->levels.n_levels; l++)
        m->levels.level[l] = ldexp(1.0, (int)l);
    for (size_t i = 0; i < LINES; i++) { /* all about the mode: one band */
        m->f_hz[i] = 19.95 + 0.1 * (double)i / LINES;
        m->model[i] = 1.0;
    }
    for (size_t i = 0; i < n; i++) {
        m->level_of[i] = turns ? i % 2 : i;
        m->given[i].level = m->levels.level[m->level_of[i]];
        for (size_t k = 0; k < LINES; k++) { /* as sure at every level */
            m->u[i][k] = m->given[i].level;
            m->var[i][k] = pow(m->given[i].level, 2.0);
        }
        m->record[i].data = (struct fit_data){
            .n = LINES, .f_hz = m->f_hz, .u = m->u[i], .y = m->y[i], .var = m->var[i]};
        m->record[i].model = m->model;
        m->record[i].mode[0] = (struct record_mode){.known = true, .excess_chance = 1.0};
        for (size_t part = 0; part < MODE_PARTS; part++)
            m->record[i].mode[0].covariance[4 * part] = 1.0;
    }
}

/* ln f of each record by its own std and a drift, and the response of the band likewise. */
static void scatter(struct made *m, struct tune_random *rng, double drift, double by_level)
{
    for (size_t i = 0; i < m->c.n; i++) {
        const double level = log(m->given[i].level);
        const double moved = drift * tune_random_normal(rng) + by_level * level;
        m->record[i].mode[0].x[0] = 3.0 + moved + tune_random_normal(rng);
        m->record[i].mode[0].x[1] = tune_random_normal(rng);
        m->record[i].mode[0].x[2] = 1.0 + tune_random_normal(rng);
        for (size_t k = 0; k < LINES; k++) /* the factor's std is 1/sqrt(2 LINES) in each part */
            m->y[i][k] = m->given[i].level *
                         (1.0 + moved / sqrt(2.0 * LINES) +
                          sqrt(0.5) * CMPLX(tune_random_normal(rng), tune_random_normal(rng)));
    }
}

static const struct tune_level_band *mode_band(const struct made *m)
{
    for (size_t i = 0; i < m->levels.n_bands; i++)
        if (m->levels.band[i].kind == TUNE_BAND_MODE) return &m->levels.band[i];
    fail_msg("there is no band about the mode");
    return NULL;
}

struct rates {
    double mode, band;           /* called changed at a chance of 1e-3 */
    double mode_sure, band_sure; /* and told from drift */
};

static struct rates run(size_t n, bool turns, double drift, double by_level, size_t runs)
{
    struct rates rates = {0};
    struct tune_random rng;
    tune_random_init(&rng, n, (uint64_t)(10.0 * drift) + turns);
    for (size_t r = 0; r < runs; r++) {
        struct made m;
        size_t tests = 0;
        make(&m, n, turns);
        scatter(&m, &rng, drift, by_level);
        level_compare_bands(&m.c, &tests);
        level_compare_modes(&m.c, &tests);
        level_judge_bands(&m.c, 1e-3);
        level_judge_modes(&m.c, 1e-3);
        const struct tune_level_band *band = mode_band(&m);
        const struct tune_level_mode *mode = &m.levels.mode[0];
        const bool changes = band->verdict == TUNE_LEVEL_CHANGES;
        rates.mode += mode->f_changes ? 1.0 / (double)runs : 0.0;
        rates.band += changes ? 1.0 / (double)runs : 0.0;
        rates.mode_sure += mode->f_changes && mode->drift_chance[0] < level_drift_chance
                               ? 1.0 / (double)runs
                               : 0.0;
        rates.band_sure +=
            changes && band->drift_chance < level_drift_chance ? 1.0 / (double)runs : 0.0;
    }
    return rates;
}

/* 4.5 std above a chance p in so many runs. */
static double at_most(double p, double runs)
{
    return p + 4.5 * sqrt(p / runs);
}

/* Statistical: a drift of 30 std in step with nothing. The chance is that of Student's t and of F, 1e-3, and that
 * of a scatter that looks like noise (chi^2 over 901 below its 95 %; the band's has as many degrees more of noise
 * alone): then it may be drift, too. By the normal law with the scatter
 * as std it would be 2.9 % and more with 2 degrees of freedom. */
static void a_large_drift_is_not_called_level(void **state)
{
    const size_t runs = 4000;
    (void)state;
    for (size_t n = 3; n <= 6; n++) {
        const struct rates rates = run(n, n > 3, 30.0, 0.0, runs);
        const double left = (double)n - 2.0;
        const double mode = 1e-3 + gsl_cdf_chisq_P(gsl_cdf_chisq_Qinv(0.05, left) / 901.0, left);
        const double band =
            1e-3 + gsl_cdf_chisq_P(gsl_cdf_chisq_Qinv(0.05, 2.0 * left) / 901.0, left);
        check_between(rates.mode, 0.0, at_most(mode, runs));
        if (n > 3) check_between(rates.band, 0.0, at_most(band, runs));
        check_between(rates.mode_sure, 0.0, at_most(fmin(mode, 0.01), runs));
        check_between(rates.band_sure, 0.0, at_most(fmin(band, 0.01), runs));
    }
}

/* Statistical: without drift 1e-3, at most: the scatter can but lower it. */
static void a_steady_axis_is_steady(void **state)
{
    (void)state;
    for (size_t n = 2; n <= 6; n++) {
        const struct rates rates = run(n, n > 3, 0.0, 0.0, 4000);
        check_between(rates.mode, 0.0, at_most(1e-3, 4000.0));
        check_between(rates.band, 0.0, at_most(1e-3, 4000.0));
    }
}

/* A drift of 3 std may look steady among the repeats of a level: it is seen as a change then, but told from drift
 * in 0.01 of cases at most. */
static void what_may_be_drift_is_not_called_sure(void **state)
{
    (void)state;
    for (size_t n = 2; n <= 6; n++) {
        const struct rates rates = run(n, n > 3, 3.0, 0.0, 4000);
        check_between(rates.mode_sure, 0.0, at_most(0.01, 4000.0));
        check_between(rates.band_sure, 0.0, at_most(0.01, 4000.0));
    }
    /* one record a level: a change of 20 std is seen, and may be drift */
    const struct rates two = run(2, true, 0.0, 20.0 / log(2.0), 100);
    assert_true(two.mode > 0.99 && two.band > 0.99);
    check_close(two.mode_sure + two.band_sure, 0.0, 0.0);
    /* of six, three each, it is level: 8 std are 9.8 of the difference of the means, enough wherever the scatter
     * does not look like a drift by chance, 5 %; statistical: 4.5 std */
    const struct rates six = run(6, true, 0.0, 8.0 / log(2.0), 1000);
    assert_true(six.mode_sure > 0.95 - 4.5 * sqrt(0.05 * 0.95 / 1000.0));
    assert_true(six.band_sure > 0.95 - 4.5 * sqrt(0.05 * 0.95 / 1000.0));
}

/* Levels whose torque about the mode is the same are one there, whatever the peak of the sweep says: neither band nor
 * mode is tested, and all of it is not linear. Just beyond the factor they are. */
static void the_same_torque_is_no_other_level(void **state)
{
    struct tune_random rng;
    (void)state;
    for (int apart = 0; apart < 2; apart++) {
        struct made m;
        size_t tests = 0;
        tune_random_init(&rng, 5, (uint64_t)apart);
        make(&m, 4, true);
        scatter(&m, &rng, 0.0, 8.0);
        for (size_t i = 0; i < m.c.n; i++)
            for (size_t k = 0; k < LINES; k++)
                m.u[i][k] = m.level_of[i] ? (apart ? 1.42 : 1.38) : 1.0;
        level_compare_bands(&m.c, &tests);
        level_compare_modes(&m.c, &tests);
        level_judge_bands(&m.c, 1e-3);
        level_judge_modes(&m.c, 1e-3);
        const struct tune_level_band *band = mode_band(&m);
        char text[32];
        check_close(band->torque_ratio, apart ? 1.42 : 1.38, 1e-12);
        assert_true((band->verdict == TUNE_LEVEL_SAME) == !apart);
        assert_true(m.levels.mode[0].f_changes == (apart == 1));
        assert_true(isnan(m.levels.mode[0].f_slope.value) == !apart);
        tune_levels_bands(text, sizeof text, &m.levels, TUNE_LEVEL_SAME);
        assert_true((text[0] != '\0') == !apart);
    }
}

static void bands_of_a_verdict_are_told_together(void **state)
{
    struct tune_levels levels = {.n_bands = 5};
    char text[64];
    (void)state;
    for (size_t i = 0; i < 5; i++)
        levels.band[i] = (struct tune_level_band){.band_hz = {1.0 + (double)i, 2.0 + (double)i},
                                                  .within = 0.01 * (double)(i + 1),
                                                  .verdict = TUNE_LEVEL_SAME};
    assert_int_equal(tune_levels_verdict(&levels), TUNE_LEVEL_SAME);
    assert_string_equal(tune_level_verdict_name(TUNE_LEVEL_SAME), "not tested: same level");
    check_close(tune_levels_within(&levels), 0.0, 0.0);
    levels.band[2].verdict = TUNE_LEVEL_LINEAR;
    assert_int_equal(tune_levels_verdict(&levels), TUNE_LEVEL_LINEAR);
    check_close(tune_levels_within(&levels), 0.03, 1e-15);
    tune_levels_bands(text, sizeof text, &levels, TUNE_LEVEL_SAME);
    assert_string_equal(text, "1 to 3, 4 to 6");
    tune_levels_bands(text, 32, &levels, TUNE_LEVEL_SAME); /* no room for the second */
    assert_string_equal(text, "1 to 3, ..");
    tune_levels_bands(text, sizeof text, &levels, TUNE_LEVEL_UNTOLD);
    assert_string_equal(text, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_large_drift_is_not_called_level),
        cmocka_unit_test(a_steady_axis_is_steady),
        cmocka_unit_test(what_may_be_drift_is_not_called_sure),
        cmocka_unit_test(the_same_torque_is_no_other_level),
        cmocka_unit_test(bands_of_a_verdict_are_told_together),
    };
    return cmocka_run_group_tests_name("level and drift", tests, NULL, NULL);
}
