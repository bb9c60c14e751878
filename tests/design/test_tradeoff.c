/* test_tradeoff.c - three proposals and the curve between them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "design/small_axis.h"
#include "design/tradeoff.h"

static enum tune_status weigh(struct tune_tradeoff *out, const struct small_axis *a,
                              const struct tune_tradeoff_demand *demand,
                              const struct tune_watch *watch, struct tune_error *err)
{
    return tune_design_tradeoff(out, a->plant, a->name, 2, &a->disturbance, &a->opts, demand, watch,
                                err);
}

/* No jitter stated: the curve of the axis itself; made once. */
static const struct tune_tradeoff *free_curve(void)
{
    static struct tune_tradeoff curve;
    const struct small_axis a = small_axis();
    const struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    if (curve.n == 0) assert_int_equal(weigh(&curve, &a, &demand, NULL, NULL), TUNE_OK);
    return &curve;
}

static const struct tune_tradeoff_point *proposal(const struct tune_tradeoff *t, int which)
{
    return &t->point[t->proposal[which]];
}

/* Again by tune_design_appraise under the limits the point names, not by the search's own report. */
static void judge(const struct tune_tradeoff *t, const struct small_axis *given)
{
    for (size_t i = 0; i < t->n; i++) {
        const struct tune_tradeoff_point *point = &t->point[i];
        struct small_axis a = *given;
        struct tune_design_step step;
        a.opts.peak_sensitivity = point->peak_sensitivity;
        a.opts.encoder_limit_rad = point->encoder_limit_rad;
        a.opts.sky_limit_rad = point->sky_limit_rad;
        assert_int_equal(tune_design_appraise(&step, &point->step.controller, a.plant, a.name, 2,
                                              &a.disturbance, &a.opts, NULL),
                         TUNE_OK);
        assert_true(step.feasible);
        check_close(step.objective_nm, point->step.objective_nm, 0.0);
        assert_int_equal(step.n_unstable, 0);
        assert_int_equal(step.n_proved, 51 * 6);
    }
}

static void check_curve(const struct tune_tradeoff *t)
{
    for (size_t i = 1; i < t->n; i++) {
        assert_true(t->point[i].step.objective_nm > t->point[i - 1].step.objective_nm);
        assert_true(t->point[i].step.sky_most_rad < t->point[i - 1].step.sky_most_rad);
    }
    assert_true(t->proposal[TUNE_PROPOSED_CALM] <= t->proposal[TUNE_PROPOSED_MIDDLE]);
    assert_true(t->proposal[TUNE_PROPOSED_MIDDLE] <= t->proposal[TUNE_PROPOSED_BOLD]);
    assert_int_equal(t->proposal[TUNE_PROPOSED_BOLD], t->n - 1);
}

static void three_proposals_stand_on_one_curve(void **state)
{
    const struct tune_tradeoff *t = free_curve();
    const struct small_axis a = small_axis();
    const struct tune_tradeoff_point *calm = proposal(t, TUNE_PROPOSED_CALM);
    const struct tune_tradeoff_point *middle = proposal(t, TUNE_PROPOSED_MIDDLE);
    const struct tune_tradeoff_point *bold = proposal(t, TUNE_PROPOSED_BOLD);
    (void)state;
    assert_true(t->met && isinf(t->headroom));
    assert_string_equal(t->in_the_way, "");
    assert_true(t->n >= 5);
    check_curve(t);
    judge(t, &a);
    assert_string_equal(calm->name, "calm");
    assert_string_equal(middle->name, "middle");
    assert_string_equal(bold->name, "bold");
    check_close(calm->peak_sensitivity, 1.5, 0.0);
    check_close(middle->peak_sensitivity, 1.7, 0.0);
    check_close(bold->peak_sensitivity, 2.0, 0.0);
    check_between(calm->step.sky_most_rad, 0.0, 1.25 * bold->step.sky_most_rad);
    check_between(middle->step.sky_most_rad, 0.0,
                  sqrt(calm->step.sky_most_rad * bold->step.sky_most_rad) * (1.0 + 1e-9));
    check_between(calm->step.objective_nm, 0.0, 0.5 * bold->step.objective_nm);
    assert_int_equal(t->cover.n_scenarios, 6);
}

static void what_each_biquad_buys_is_listed(void **state)
{
    const struct tune_tradeoff *t = free_curve();
    (void)state;
    assert_int_equal(t->bold.n_steps, 2);
    for (size_t i = 0; i < t->bold.n_steps; i++)
        assert_int_equal(t->bold.step[i].controller.n_biquads, i);
    assert_true(t->bold.step[1].objective_rad < t->bold.step[0].objective_rad);
    assert_int_equal(t->calm.n_steps, 2);
    assert_true(!t->calm.step[0].feasible ||
                t->calm.step[1].objective_nm < t->calm.step[0].objective_nm);
    check_close(proposal(t, TUNE_PROPOSED_CALM)->step.objective_nm,
                t->calm.step[t->calm.recommended].objective_nm, 0.0);
}

static void a_jitter_asked_for_is_kept_by_all_with_headroom_by_the_calm_one(void **state)
{
    struct small_axis a = small_axis();
    struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    static struct tune_tradeoff t;
    (void)state;
    demand.jitter_limit_rad = 3.0 * free_curve()->bold.step[1].encoder_most_rad;
    demand.peak_stated = 1.6;
    assert_int_equal(weigh(&t, &a, &demand, NULL, NULL), TUNE_OK);
    assert_true(t.met);
    check_curve(&t);
    judge(&t, &a);
    check_between(t.headroom, 2.0, 100.0);
    for (size_t i = 0; i < t.n; i++) {
        check_between(t.point[i].step.encoder_most_rad, 0.0, demand.jitter_limit_rad);
        check_between(t.point[i].step.sens_peak, 1.0, 1.6); /* stated: no offer above it */
    }
    check_close(proposal(&t, TUNE_PROPOSED_CALM)->peak_sensitivity, 1.5, 0.0);
    check_close(proposal(&t, TUNE_PROPOSED_BOLD)->peak_sensitivity, 1.6, 0.0);
}

/* Below what the bold design leaves at the encoder, but not below what some design does. */
static void a_bold_design_gives_way_to_the_jitter_asked_for(void **state)
{
    struct small_axis a = small_axis();
    struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    static struct tune_tradeoff t;
    const struct tune_design_step *bold = &free_curve()->bold.step[1];
    (void)state;
    demand.jitter_limit_rad = 0.9 * bold->encoder_most_rad;
    assert_int_equal(weigh(&t, &a, &demand, NULL, NULL), TUNE_OK);
    assert_true(t.met);
    judge(&t, &a);
    for (size_t i = 0; i < t.n; i++)
        check_between(t.point[i].step.encoder_most_rad, 0.0, demand.jitter_limit_rad);
    check_between(t.headroom, 1.0, 2.0);
}

static void a_jitter_out_of_reach_says_what_is_in_the_way(void **state)
{
    struct small_axis a = small_axis();
    struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    static struct tune_tradeoff t;
    const double bold = free_curve()->bold.step[0].sky_most_rad;
    struct tune_design_step step;
    (void)state;
    a.opts.max_biquads = 0;
    demand.of_sky = true;
    demand.peak_stated = 1.4;
    demand.jitter_limit_rad = 1.02 * bold; /* what peak 2.0 reaches */
    assert_int_equal(weigh(&t, &a, &demand, NULL, NULL), TUNE_OK);
    assert_false(t.met);
    assert_true(t.least_rad > demand.jitter_limit_rad);
    assert_non_null(strstr(t.in_the_way, "in the line of sight is out of reach"));
    assert_non_null(strstr(t.in_the_way, "In the way: "));
    assert_non_null(strstr(t.in_the_way, " Hz"));
    assert_true(strstr(t.in_the_way, " at low") || strstr(t.in_the_way, " at high"));
    assert_true(t.relaxation.any);
    assert_true(t.relaxation.jitter_rad < t.least_rad);
    assert_true(t.relaxation.to > t.relaxation.from);
    assert_true(!t.relaxation.enough || t.relaxation.jitter_rad <= demand.jitter_limit_rad);
    /* the proposals stand all the same, and keep everything else */
    judge(&t, &a);
    step = proposal(&t, TUNE_PROPOSED_BOLD)->step;
    check_close_rel(step.sky_most_rad, t.least_rad, 0.02);
    check_between(step.sens_peak, 1.0, 1.4);
}

static void demands_outside_their_range_are_named(void **state)
{
    const struct {
        size_t offset;
        double value;
        const char *thing;
    } bad[] = {
        {offsetof(struct tune_tradeoff_demand, jitter_limit_rad), -1.0, "jitter_limit_rad"},
        {offsetof(struct tune_tradeoff_demand, headroom), 0.5, "headroom"},
        {offsetof(struct tune_tradeoff_demand, peak_offer), 1.0, "peak_offer"},
        {offsetof(struct tune_tradeoff_demand, peak_offer) + sizeof(double), 1.4, "peak_offer"},
        {offsetof(struct tune_tradeoff_demand, peak_stated), 0.9, "peak_stated"},
    };
    static struct tune_tradeoff t;
    struct tune_error err;
    struct small_axis a = small_axis();
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
        memcpy((char *)&demand + bad[i].offset, &bad[i].value, sizeof bad[i].value);
        assert_int_equal(weigh(&t, &a, &demand, NULL, &err), TUNE_EINVAL);
        assert_string_equal(err.thing, bad[i].thing);
        assert_int_equal(t.n, 0);
    }
    const struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    a.opts.sensor_noise_rad = 0.0;
    assert_int_equal(weigh(&t, &a, &demand, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "sensor_noise_rad");
    a = small_axis();
    a.opts.noise_torque_rms_nm = 1e-15;
    a.opts.max_biquads = 0;
    assert_int_equal(weigh(&t, &a, &demand, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "noise torque at "));
}

struct patience {
    int ticks, most;
    double done;
};

static int tick(void *user, const char *stage, double done)
{
    struct patience *patience = user;
    assert_string_equal(stage, "design");
    assert_true(done >= patience->done && done <= 1.0);
    patience->done = done;
    return ++patience->ticks > patience->most;
}

static void progress_rises_and_cancelling_ends_it(void **state)
{
    static const int most[] = {0, 500, 1 << 30};
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct small_axis a = small_axis();
        struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
        struct patience patience = {.most = most[i]};
        const struct tune_watch watch = {tick, &patience};
        static struct tune_tradeoff t;
        a.opts.mode_shift = 0.0;
        a.opts.threads = 2;
        const enum tune_status status = weigh(&t, &a, &demand, &watch, NULL);
        if (status == TUNE_OK) {
            check_close(patience.done, 1.0, 0.0);
            assert_true(patience.ticks <= most[i]);
            continue;
        }
        assert_true(i < 2);
        assert_int_equal(status, TUNE_ECANCELLED);
        assert_int_equal(patience.ticks, most[i] + 1);
        assert_int_equal(t.n, 0);
    }
}

static void threads_do_not_change_the_curve(void **state)
{
    struct small_axis a = small_axis();
    const struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    static struct tune_tradeoff one, many;
    (void)state;
    a.opts.mode_shift = 0.0;
    assert_int_equal(weigh(&one, &a, &demand, NULL, NULL), TUNE_OK);
    a.opts.threads = 3;
    assert_int_equal(weigh(&many, &a, &demand, NULL, NULL), TUNE_OK);
    assert_int_equal(one.n, many.n);
    for (size_t i = 0; i < one.n; i++) {
        check_close(one.point[i].step.objective_nm, many.point[i].step.objective_nm, 0.0);
        check_close(one.point[i].step.sky_most_rad, many.point[i].step.sky_most_rad, 0.0);
    }
}

static void running_out_of_memory_is_reported_wherever_it_happens(void **state)
{
    struct small_axis a = small_axis();
    const struct tune_tradeoff_demand demand = tune_tradeoff_defaults();
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k = 1;
    static struct tune_tradeoff t;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    for (; status == TUNE_ENOMEM; k += 1 + k / 2) {
        struct tune_error err;
        check_fail_allocation(k);
        status = tune_design_tradeoff(&t, a.plant, a.name, 1, &a.disturbance, &a.opts, &demand,
                                      NULL, &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
        if (refused) assert_int_equal(t.n, 0);
    }
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 40);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_proposals_stand_on_one_curve),
        cmocka_unit_test(what_each_biquad_buys_is_listed),
        cmocka_unit_test(a_jitter_asked_for_is_kept_by_all_with_headroom_by_the_calm_one),
        cmocka_unit_test(a_bold_design_gives_way_to_the_jitter_asked_for),
        cmocka_unit_test(a_jitter_out_of_reach_says_what_is_in_the_way),
        cmocka_unit_test(demands_outside_their_range_are_named),
        cmocka_unit_test(progress_rises_and_cancelling_ends_it),
        cmocka_unit_test(threads_do_not_change_the_curve),
        cmocka_unit_test(running_out_of_memory_is_reported_wherever_it_happens),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
