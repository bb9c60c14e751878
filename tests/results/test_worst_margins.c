/* test_worst_margins.c - the least margins over pointings, and whether they are sure.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "results/worst_margins.h"

enum { POINTINGS = 3 };

/* Every margin least at another pointing than the others are. */
static void fill(struct tune_candidate *c, struct tune_pointing_margins *m)
{
    static const char *const name[POINTINGS] = {"east", "meridian", "west"};
    *c = (struct tune_candidate){.n_margins = POINTINGS, .margins = m};
    for (size_t i = 0; i < POINTINGS; i++) {
        const double d = (double)i;
        m[i] = (struct tune_pointing_margins){
            .stable = true,
            .gain_margin_db = {9.0 - d, 0.1, 8.8 - d},
            .gain_reduction_margin_db = {12.0 + d, 0.1, 11.8 + d},
            .phase_margin_deg = {i == 1 ? 40.0 : 50.0, 0.5, i == 1 ? 39.2 : 49.2},
            .delay_margin_s = {0.002, 1e-5, 0.0019},
            .peak_sensitivity = {i == 1 ? 1.6 : 1.5, 0.01, i == 1 ? 1.62 : 1.52},
            .crossover_hz = {5.0 + d, 0.01, (double)NAN},
        };
        (void)snprintf(m[i].pointing, sizeof m[i].pointing, "%s", name[i]);
    }
}

static void each_is_taken_where_it_is_least(void **state)
{
    struct tune_candidate c;
    struct tune_pointing_margins m[POINTINGS];
    struct tune_worst_margins worst;
    (void)state;
    fill(&c, m);
    tune_worst_margins(&worst, &c);
    assert_true(worst.stable && worst.sure);
    assert_true(worst.gain_margin_db.value == 7.0 &&
                worst.gain_margin_db.bound95 == m[2].gain_margin_db.bound95);
    assert_string_equal(worst.gain_at, "west");
    assert_true(worst.gain_reduction_margin_db.value == 12.0);
    assert_string_equal(worst.reduction_at, "east");
    assert_true(worst.phase_margin_deg.value == 40.0 && worst.phase_margin_deg.bound95 == 39.2);
    assert_string_equal(worst.phase_at, "meridian");
    assert_true(worst.delay_margin_s.value == 0.002);
    assert_true(worst.peak_sensitivity.value == 1.6 && worst.peak_sensitivity.bound95 == 1.62);
    assert_string_equal(worst.peak_at, "meridian");
    assert_true(worst.crossover_hz.value == 5.0);
}

static void a_margin_without_end_is_no_bound(void **state)
{
    struct tune_candidate c;
    struct tune_pointing_margins m[POINTINGS];
    struct tune_worst_margins worst;
    (void)state;
    fill(&c, m);
    m[0].gain_margin_db = (struct tune_margin){(double)INFINITY, (double)NAN, (double)NAN};
    tune_worst_margins(&worst, &c);
    assert_true(worst.sure && worst.gain_margin_db.value == 7.0);
    for (size_t i = 0; i < POINTINGS; i++)
        m[i].gain_margin_db = m[0].gain_margin_db;
    tune_worst_margins(&worst, &c);
    assert_true(worst.sure && isinf(worst.gain_margin_db.value));
}

static void a_bound_at_or_below_nothing_is_not_sure(void **state)
{
    struct tune_candidate c;
    struct tune_pointing_margins m[POINTINGS];
    struct tune_worst_margins worst;
    (void)state;
    fill(&c, m);
    m[2].phase_margin_deg.bound95 = 0.0;
    assert_false(tune_margins_sure(&m[2]));
    assert_true(tune_margins_sure(&m[1]));
    tune_worst_margins(&worst, &c);
    assert_true(worst.stable && !worst.sure && worst.phase_margin_deg.value == 40.0);
    m[2].phase_margin_deg.bound95 = (double)NAN;
    assert_false(tune_margins_sure(&m[2]));
}

static void one_lost_pointing_leaves_nothing(void **state)
{
    struct tune_candidate c;
    struct tune_pointing_margins m[POINTINGS];
    struct tune_worst_margins worst;
    (void)state;
    fill(&c, m);
    m[1].stable = false;
    assert_ptr_equal(tune_margins_at(&c, m[1].pointing), &m[1]);
    assert_null(tune_margins_at(&c, "nowhere"));
    tune_worst_margins(&worst, &c);
    assert_true(!worst.stable && !worst.sure && isnan(worst.phase_margin_deg.value) &&
                isnan(worst.peak_sensitivity.value));
    assert_string_equal(worst.phase_at, "");
    c.n_margins = 0;
    tune_worst_margins(&worst, &c);
    assert_true(!worst.stable && !worst.sure && isnan(worst.gain_margin_db.value));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_is_taken_where_it_is_least),
        cmocka_unit_test(a_margin_without_end_is_no_bound),
        cmocka_unit_test(a_bound_at_or_below_nothing_is_not_sure),
        cmocka_unit_test(one_lost_pointing_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
