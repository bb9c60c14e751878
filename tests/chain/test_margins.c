/* test_margins.c - margins of a fitted plant and the uncertainty the fit leaves them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/margins_internal.h"
#include "control/crossings.h"
#include "control/loop.h"
#include "core/random.h"
#include "core/units.h"
#include "plant/model.h"

/* A plant whose parameters are known independently of one another. */
static void make_fit(struct tune_fit *fit, double relative_std)
{
    memset(fit, 0, sizeof *fit);
    fit->plant = (struct tune_plant){
        .inertia_kg_m2 = 820.0,
        .viscous_nm_s_per_rad = 35.0,
        .delay_s = 3.5e-4,
        .loop_rate_hz = 4000.0,
        .n_modes = 2,
        .mode = {{24.3, 0.02, 0.15, NAN}, {71.0, 0.01, 0.04, NAN}},
    };
    fit->n_params = tune_plant_param_count(&fit->plant);
    tune_plant_to_params(fit->theta, &fit->plant);
    fit->covariance = calloc(fit->n_params * fit->n_params, sizeof(double));
    for (size_t i = 0; i < fit->n_params; i++)
        fit->covariance[i * fit->n_params + i] = relative_std * relative_std;
}

static struct tune_controller make_controller(void)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 2e6;
    c.ki_nm_per_rad_s = 1e7;
    c.kd_nm_s_per_rad = 6e4;
    c.derivative_filter_hz = 300.0;
    return c;
}

static void margins_are_those_of_the_loop(void **state)
{
    const struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_margins want;
    struct tune_fit fit;
    bool stable;
    (void)state;
    make_fit(&fit, 1e-3);
    assert_int_equal(chain_margins(&got, "east", &fit, &controller, NULL), TUNE_OK);
    assert_int_equal(tune_loop_judge(&want, &stable, &fit.plant, &controller, NULL), TUNE_OK);
    assert_string_equal(got.pointing, "east");
    assert_true(got.stable == stable && stable);
    check_close_rel(got.gain_margin_db.value, 20.0 * log10(want.gain_margin), 1e-12);
    check_close_rel(got.phase_margin_deg.value, want.phase_margin_rad * 180.0 / TUNE_PI, 1e-12);
    check_close_rel(got.peak_sensitivity.value, want.sens_peak, 1e-12);
    check_close_rel(got.crossover_hz.value, want.crossover_hz, 1e-12);
    /* the side that hurts, 1.645 standard deviations away */
    check_close_rel(got.peak_sensitivity.value + 1.6448536 * got.peak_sensitivity.std,
                    got.peak_sensitivity.bound95, 1e-7);
    check_close_rel(got.phase_margin_deg.value - 1.6448536 * got.phase_margin_deg.std,
                    got.phase_margin_deg.bound95, 1e-7);
    tune_fit_free(&fit);
}

/* The inertia alone uncertain: every gain scales by it, so that a gain margin in dB moves by
 * 20/ln 10 for a unit of ln(1/J), whatever else the loop does. */
static void an_uncertain_inertia_moves_gain_margins_one_to_one(void **state)
{
    const struct tune_controller controller = make_controller();
    const double std = 0.01, want_db = 20.0 / log(10.0) * std;
    struct tune_pointing_margins got;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 0.0);
    fit.covariance[0] = std * std;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    /* model: viscous friction over inertia is held, so the phase stays; third order in std */
    check_close_rel(got.gain_margin_db.std, want_db, 1e-3);
    check_close_rel(got.gain_reduction_margin_db.std, want_db, 1e-3);
    tune_fit_free(&fit);
}

/* Every crossing listed stands behind a margin or is no worse than it, and the margin has its std. */
static void the_worst_crossing_is_the_margin(void **state)
{
    const struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_fit fit;
    double phase = INFINITY, gain = INFINITY, fall = INFINITY;
    size_t at_phase = 0, at_gain = 0, at_fall = 0;
    (void)state;
    make_fit(&fit, 1e-3);
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    assert_true(got.n_crossings >= 3);
    for (size_t i = 0; i < got.n_crossings; i++) {
        const struct tune_margin_crossing *c = &got.crossing[i];
        const double size = fabs(c->margin.value);
        double *best = !c->of_phase ? &phase : c->margin.value > 0.0 ? &gain : &fall;
        assert_true(i == 0 || c->frequency_hz.value >= got.crossing[i - 1].frequency_hz.value);
        /* the side that hurts lies towards 0 */
        check_close_rel(size - 1.6448536 * c->margin.std, fabs(c->margin.bound95), 1e-6);
        if (size >= *best) continue;
        *best = size;
        *(best == &phase ? &at_phase : best == &gain ? &at_gain : &at_fall) = i;
    }
    check_close_rel(phase, got.phase_margin_deg.value, 1e-12);
    check_close_rel(gain, got.gain_margin_db.value, 1e-12);
    check_close_rel(fall, got.gain_reduction_margin_db.value, 1e-12);
    check_close_rel(got.crossing[at_phase].margin.std, got.phase_margin_deg.std, 1e-9);
    check_close_rel(got.crossing[at_gain].margin.std, got.gain_margin_db.std, 1e-9);
    check_close_rel(got.crossing[at_fall].margin.std, got.gain_reduction_margin_db.std, 1e-9);
    tune_fit_free(&fit);
}

/* As above of the inertia alone: L is real at the same frequencies, whatever its size. */
static void an_uncertain_inertia_leaves_the_phase_crossings_where_they_are(void **state)
{
    const struct tune_controller controller = make_controller();
    const double std = 0.01, want_db = 20.0 / log(10.0) * std;
    struct tune_pointing_margins got;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 0.0);
    fit.covariance[0] = std * std;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    for (size_t i = 0; i < got.n_crossings; i++) {
        const struct tune_margin_crossing *c = &got.crossing[i];
        if (!c->of_phase) continue;
        check_close_rel(c->margin.std, want_db, 1e-3); /* third order in std */
        /* rounding: how sharply a search for it ends */
        assert_true(c->frequency_hz.std < 1e-6 * c->frequency_hz.value);
    }
    tune_fit_free(&fit);
}

/* |L| passes 1 by less than a std of the inertia: on one side the crossing is gone, the other tells. */
static void a_crossing_lost_on_one_side_keeps_the_std_of_the_other(void **state)
{
    struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_crossings crossings;
    struct tune_margins margins;
    struct tune_fit fit;
    double low = 0.05, high = 1.0; /* few crossings, more */
    size_t few, n = 0;
    bool stable;
    (void)state;
    make_fit(&fit, 0.0);
    fit.covariance[0] = 1e-4;
    for (int side = 0; side < 50; side++) {
        const double factor = side ? sqrt(low * high) : low;
        struct tune_controller c = make_controller();
        c.kp_nm_per_rad *= factor;
        c.ki_nm_per_rad_s *= factor;
        c.kd_nm_s_per_rad *= factor;
        assert_int_equal(tune_loop_judge(&margins, &stable, &fit.plant, &c, NULL), TUNE_OK);
        if (side == 0) few = margins.n_gain_crossings;
        *(margins.n_gain_crossings == few ? &low : &high) = factor;
    }
    controller.kp_nm_per_rad *= high * 1.002;
    controller.ki_nm_per_rad_s *= high * 1.002;
    controller.kd_nm_s_per_rad *= high * 1.002;
    assert_int_equal(tune_loop_judge(&margins, &stable, &fit.plant, &controller, NULL), TUNE_OK);
    assert_true(margins.n_gain_crossings > few);
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    tune_loop_crossings(&crossings, &margins);
    assert_int_equal(got.n_crossings, crossings.n);
    for (size_t i = 0; i < got.n_crossings; i++) {
        if (got.crossing[i].of_phase) continue;
        n++;
        assert_true(got.crossing[i].margin.std > 0.0 && isfinite(got.crossing[i].margin.std));
    }
    assert_int_equal(n, margins.n_gain_crossings);
    tune_fit_free(&fit);
}

/* The crossing of that kind nearest in frequency. */
static const struct tune_crossing *nearest(const struct tune_crossings *list, bool of_phase,
                                           double f_hz)
{
    const struct tune_crossing *best = NULL;
    for (size_t i = 0; i < list->n; i++) {
        const struct tune_crossing *c = &list->crossing[i];
        if (c->of_phase != of_phase) continue;
        if (!best || fabs(log(c->f_hz / f_hz)) < fabs(log(best->f_hz / f_hz))) best = c;
    }
    assert_non_null(best);
    return best;
}

/* Every crossing's delta method against a sample. 1600 draws tell a standard deviation to 1/sqrt(3200) =
 * 1.8 %; allowed is four times that (statistical). */
static void crossings_scatter_as_told(void **state)
{
    enum { DRAWS = 1600, MOST = 2 * TUNE_CROSSINGS_MAX };
    const struct tune_controller controller = make_controller();
    const unsigned draws = DRAWS * check_multiplier();
    static double sum[2][MOST], square[2][MOST];
    struct tune_pointing_margins got;
    struct tune_random rng;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 1e-3);
    memset(sum, 0, sizeof sum);
    memset(square, 0, sizeof square);
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    tune_random_init(&rng, 43, 0);
    for (unsigned k = 0; k < draws; k++) {
        double theta[TUNE_PARAMS_MAX];
        struct tune_plant plant;
        struct tune_margins margins;
        struct tune_crossings crossings;
        bool stable;
        for (size_t i = 0; i < fit.n_params; i++)
            theta[i] = fit.theta[i] + 1e-3 * tune_random_normal(&rng);
        tune_plant_from_params(&plant, theta, fit.n_params, fit.plant.n_modes, 4000.0);
        assert_int_equal(tune_loop_judge(&margins, &stable, &plant, &controller, NULL), TUNE_OK);
        tune_loop_crossings(&crossings, &margins);
        assert_int_equal(crossings.n, got.n_crossings);
        for (size_t i = 0; i < got.n_crossings; i++) {
            const struct tune_margin_crossing *c = &got.crossing[i];
            const struct tune_crossing *to =
                nearest(&crossings, c->of_phase, c->frequency_hz.value);
            const double f = to->f_hz - c->frequency_hz.value;
            const double m = c->of_phase
                                 ? 20.0 * log10(to->margin) - c->margin.value
                                 : remainder(to->margin * 180.0 / TUNE_PI - c->margin.value, 360.0);
            sum[0][i] += f;
            sum[1][i] += m;
            square[0][i] += f * f;
            square[1][i] += m * m;
        }
    }
    for (size_t i = 0; i < got.n_crossings; i++) {
        const double n = draws, allowed = 4.0 / sqrt(2.0 * n);
        const double f = sqrt(square[0][i] / n - sum[0][i] / n * sum[0][i] / n);
        const double m = sqrt(square[1][i] / n - sum[1][i] / n * sum[1][i] / n);
        check_close_rel(got.crossing[i].frequency_hz.std, f, allowed);
        check_close_rel(got.crossing[i].margin.std, m, allowed);
    }
    tune_fit_free(&fit);
}

/* Delta method against a sample drawn from the covariance, correlations included. 400 draws tell a
 * standard deviation to 1/sqrt(800) = 3.5 %; allowed is four times that (statistical). */
static void the_delta_method_agrees_with_a_sample(void **state)
{
    enum { DRAWS = 400 };
    const struct tune_controller controller = make_controller();
    const unsigned draws = DRAWS * check_multiplier();
    double sum[2] = {0.0, 0.0}, square[2] = {0.0, 0.0};
    struct tune_pointing_margins got;
    struct tune_random rng;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 3e-3);
    /* ln 1/J and the first gain move together: correlation 0.8 */
    fit.covariance[0 * fit.n_params + 5] = fit.covariance[5 * fit.n_params + 0] = 0.8 * 9e-6;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    tune_random_init(&rng, 42, 0);
    for (unsigned k = 0; k < draws; k++) {
        double theta[TUNE_PARAMS_MAX], first = 0.0;
        struct tune_plant plant;
        struct tune_margins margins;
        bool stable;
        for (size_t i = 0; i < fit.n_params; i++) {
            const double normal = tune_random_normal(&rng);
            if (i == 0) first = normal;
            theta[i] = fit.theta[i] + 3e-3 * (i == 5 ? 0.8 * first + 0.6 * normal : normal);
        }
        tune_plant_from_params(&plant, theta, fit.n_params, fit.plant.n_modes, 4000.0);
        assert_int_equal(tune_loop_judge(&margins, &stable, &plant, &controller, NULL), TUNE_OK);
        const double x[2] = {margins.phase_margin_rad * 180.0 / TUNE_PI, margins.sens_peak};
        for (int i = 0; i < 2; i++) {
            sum[i] += x[i];
            square[i] += x[i] * x[i];
        }
    }
    const double n = draws, allowed = 4.0 / sqrt(2.0 * n);
    const double want[2] = {sqrt(square[0] / n - sum[0] / n * sum[0] / n),
                            sqrt(square[1] / n - sum[1] / n * sum[1] / n)};
    check_close_rel(got.phase_margin_deg.std, want[0], allowed);
    check_close_rel(got.peak_sensitivity.std, want[1], allowed);
    tune_fit_free(&fit);
}

static void a_loop_that_is_not_stable_is_an_answer(void **state)
{
    struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 1e-3);
    controller.kp_nm_per_rad *= 100.0;
    controller.kd_nm_s_per_rad *= 100.0;
    assert_int_equal(chain_margins(&got, "x", &fit, &controller, NULL), TUNE_OK);
    assert_false(got.stable);
    tune_fit_free(&fit);
}

static void no_memory_no_margins(void **state)
{
    const struct tune_controller controller = make_controller();
    struct tune_pointing_margins got;
    struct tune_error err;
    struct tune_fit fit;
    (void)state;
    make_fit(&fit, 1e-3);
    for (unsigned long k = 1; k < 4; k++) {
        check_fail_allocation(k);
        const enum tune_status status = chain_margins(&got, "x", &fit, &controller, &err);
        check_fail_allocation(0);
        assert_int_equal(status, TUNE_ENOMEM);
    }
    tune_fit_free(&fit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_are_those_of_the_loop),
        cmocka_unit_test(an_uncertain_inertia_moves_gain_margins_one_to_one),
        cmocka_unit_test(the_worst_crossing_is_the_margin),
        cmocka_unit_test(an_uncertain_inertia_leaves_the_phase_crossings_where_they_are),
        cmocka_unit_test(a_crossing_lost_on_one_side_keeps_the_std_of_the_other),
        cmocka_unit_test(crossings_scatter_as_told),
        cmocka_unit_test(the_delta_method_agrees_with_a_sample),
        cmocka_unit_test(a_loop_that_is_not_stable_is_an_answer),
        cmocka_unit_test(no_memory_no_margins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
