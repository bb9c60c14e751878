/* test_limits.c - what limits an axis: multipliers against designs made anew, sentences, refusals.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "design/limits.h"
#include "design/limits_internal.h"
#include "design/small_axis.h"

/* The small axis with something in every source of jitter. */
static struct small_axis noisy_axis(void)
{
    struct small_axis a = small_axis();
    a.disturbance.n_bands = 2;
    a.disturbance.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.05, 3.0, 0.05};
    a.disturbance.band[1] = (struct tune_band){TUNE_BAND_SENSOR, 0.5, 5.0, 3e-8};
    a.opts.max_biquads = 1;
    return a;
}

static const struct tune_controller *designed(void)
{
    static struct tune_design design;
    const struct small_axis a = noisy_axis();
    if (design.n_steps == 0)
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance,
                                                &a.opts, NULL, NULL),
                         TUNE_OK);
    return &design.step[design.n_steps - 1].controller;
}

static enum tune_status run(struct tune_limits *out, const struct small_axis *a, size_t max_solved,
                            const struct tune_watch *watch, struct tune_error *err)
{
    struct tune_limits_opts limits = tune_limits_defaults();
    limits.max_solved = max_solved;
    return tune_design_limits(out, designed(), a->plant, a->name, 2, &a->disturbance, &a->opts,
                              &limits, watch, err);
}

static const struct tune_limit *find(const struct tune_limits *limits, enum tune_limit_kind kind,
                                     size_t index)
{
    for (size_t i = 0; i < limits->n; i++)
        if (limits->limit[i].kind == kind && limits->limit[i].index == index)
            return &limits->limit[i];
    fail_msg("no change of kind %d", (int)kind);
    return NULL;
}

/* The least jitter of the axis with one change, to many digits, searched from the design. */
static struct candidate least(const struct axis *axis, const char *const *names,
                              const struct candidate *from)
{
    struct problem problem;
    struct pulse pulse = {.busy = ATOMIC_FLAG_INIT};
    struct candidate out = *from;
    assert_int_equal(design_problem_init(&problem, axis->plants, names, axis->n_pointings,
                                         &axis->disturbance, &axis->opts, NULL),
                     TUNE_OK);
    problem.sharpness = 1e3;
    assert_int_equal(design_search(&out, &problem, 80, &pulse, NULL), TUNE_OK);
    assert_true(out.stable);
    design_problem_free(&problem);
    return out;
}

/* Not looked at: frequencies of lesser modes. The grid of a design made anew moves with them and hides up
 * to .3 % of a peak, which over these steps, times multipliers of .2, is a slope of .015. */
static void slopes_are_those_of_designs_made_anew(void **state)
{
    enum { KINDS = 8 };
    static const struct {
        enum tune_limit_kind kind;
        size_t index;
    } look[KINDS] = {{TUNE_LIMIT_DELAY, 0},        {TUNE_LIMIT_MODE_FREQUENCY, 0},
                     {TUNE_LIMIT_MODE_DAMPING, 0}, {TUNE_LIMIT_SENSOR_NOISE, 0},
                     {TUNE_LIMIT_WIND, 0},         {TUNE_LIMIT_NOISE_TORQUE, 0},
                     {TUNE_LIMIT_PEAK, 0},         {TUNE_LIMIT_MODE_SHIFT, 0}};
    struct small_axis a = noisy_axis();
    const struct axis axis = {a.plant, 2, a.disturbance, a.opts};
    struct tune_limit limit[TUNE_LIMITS_MAX];
    struct candidate best = {.n_biquads = designed()->n_biquads};
    struct problem problem;
    struct pulse pulse = {.busy = ATOMIC_FLAG_INIT};
    double unsettled;
    const size_t n = limits_list(limit, &axis);
    (void)state;
    design_from_controller(best.x, designed());
    best = least(&axis, a.name, &best);
    assert_int_equal(
        design_problem_init(&problem, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL), TUNE_OK);
    assert_int_equal(limits_slopes(limit, n, &unsettled, &best, &axis, &problem, &pulse, NULL),
                     TUNE_OK);
    design_problem_free(&problem);
    check_between(unsettled, 0.0, 0.2);
    for (size_t k = 0; k < KINDS; k++)
        for (size_t i = 0; i < n; i++) {
            const double step = 0.02;
            double ends[2];
            if (limit[i].kind != look[k].kind || limit[i].index != look[k].index) continue;
            for (int end = 0; end < 2; end++) {
                struct axis changed;
                assert_int_equal(limits_copy(&changed, &axis, NULL), TUNE_OK);
                limits_apply(&changed, &limit[i], exp(end ? step : -step));
                ends[end] = least(&changed, a.name, &best).objective;
                limits_free(&changed);
            }
            const double anew = (ends[1] - ends[0]) / (2.0 * step);
            /* model: at a peak between two points of the grid both limit, one of them is seen */
            check_close(limit[i].slope, anew, 0.12 * fabs(anew) + 0.001);
        }
}

/* All that disturbs, and the torque that noise may make, times c: the same controller, c times the jitter. */
static void slopes_of_everything_that_disturbs_make_one(void **state)
{
    const struct small_axis a = noisy_axis();
    struct tune_limits limits;
    double sum = 0.0;
    (void)state;
    assert_int_equal(run(&limits, &a, 0, NULL, NULL), TUNE_OK);
    assert_int_equal(limits.n_solved, 0);
    sum += find(&limits, TUNE_LIMIT_WIND, 0)->slope;
    sum += find(&limits, TUNE_LIMIT_DRIVE_NOISE, 0)->slope;
    sum += find(&limits, TUNE_LIMIT_SENSOR_NOISE, 0)->slope;
    sum += find(&limits, TUNE_LIMIT_TORQUE_BAND, 0)->slope;
    sum += find(&limits, TUNE_LIMIT_SENSOR_BAND, 1)->slope;
    sum += find(&limits, TUNE_LIMIT_NOISE_TORQUE, 0)->slope;
    /* rounding: differences over 1e-4, their curvature the same */
    check_close(sum, 1.0, 1e-3);
}

/* Zero and pole held together: the gradient along what may not move counts for nothing. */
static void notches_stay_notches(void **state)
{
    struct small_axis a = noisy_axis();
    struct tune_limits limits;
    (void)state;
    a.opts.notches_only = true;
    assert_int_equal(run(&limits, &a, 0, NULL, NULL), TUNE_OK);
    check_between(limits.unsettled, 0.0, 0.2);
}

static double designed_anew(const struct small_axis *a)
{
    struct tune_design design;
    assert_int_equal(tune_design_controller(&design, a->plant, a->name, 2, &a->disturbance,
                                            &a->opts, NULL, NULL),
                     TUNE_OK);
    return design.step[design.n_steps - 1].objective_rad;
}

static void changes_are_what_a_design_of_the_changed_axis_finds(void **state)
{
    struct small_axis a = noisy_axis();
    struct tune_limits limits;
    (void)state;
    assert_int_equal(run(&limits, &a, TUNE_LIMITS_MAX, NULL, NULL), TUNE_OK);
    assert_int_equal(limits.n, 19);
    assert_int_equal(limits.n_solved, limits.n);
    check_between(limits.before_rad, 0.98 * limits.given_rad, limits.given_rad);
    for (size_t i = 0; i < limits.n; i++) {
        const struct tune_limit *l = &limits.limit[i];
        assert_true(l->solved && l->reached);
        check_close_rel(l->after_rad, (1.0 - l->gain) * limits.before_rad, 1e-12);
        if (i > 0) check_between(l->gain, -0.01, limits.limit[i - 1].gain);
    }
    /* another search may end in another valley: model */
    for (int p = 0; p < 2; p++)
        a.plant[p].mode[0].f_hz *= 1.1;
    check_close_rel(find(&limits, TUNE_LIMIT_MODE_FREQUENCY, 0)->after_rad, designed_anew(&a),
                    0.01);
    a = noisy_axis();
    a.opts.noise_torque_rms_nm *= 2.0;
    check_close_rel(find(&limits, TUNE_LIMIT_NOISE_TORQUE, 0)->after_rad, designed_anew(&a), 0.01);
}

static void threads_and_how_many_are_solved_change_no_figure(void **state)
{
    struct small_axis a = noisy_axis();
    static struct tune_limits one, two, few;
    (void)state;
    assert_int_equal(run(&one, &a, TUNE_LIMITS_MAX, NULL, NULL), TUNE_OK);
    a.opts.threads = 2;
    assert_int_equal(run(&two, &a, TUNE_LIMITS_MAX, NULL, NULL), TUNE_OK);
    assert_memory_equal(&one, &two, sizeof one);
    assert_int_equal(run(&few, &a, 2, NULL, NULL), TUNE_OK);
    assert_int_equal(few.n, one.n);
    assert_int_equal(few.n_solved, 2);
    for (size_t i = 0; i < few.n; i++) {
        const struct tune_limit *l = &few.limit[i];
        const struct tune_limit *same = find(&one, l->kind, l->index);
        assert_true(l->solved == (i < 2));
        check_close(l->slope, same->slope, 0.0);
        if (l->solved)
            check_close(l->after_rad, same->after_rad, 0.0);
        else
            check_close_rel(l->after_rad, l->before_rad * pow(l->to / l->from, l->slope), 1e-12);
    }
}

static void check_sentence(struct tune_limit limit, double before, double after, const char *want)
{
    char text[TUNE_LIMIT_TEXT];
    limit.reached = isfinite(after);
    limit.before_rad = tune_rad_from_arcsec(before);
    limit.after_rad = tune_rad_from_arcsec(after);
    limit.gain = 1.0 - after / before;
    assert_string_equal(tune_limit_sentence(text, &limit), want);
}

static void sentences_say_what_and_how_much(void **state)
{
    (void)state;
    check_sentence(
        (struct tune_limit){.kind = TUNE_LIMIT_DELAY, .from = 5e-4, .to = 4e-4, .solved = true},
        0.0195, 0.0171,
        "0.1 ms less delay would lower the jitter from 0.0195 to 0.0171 arcsec (-12 %)");
    check_sentence((struct tune_limit){.kind = TUNE_LIMIT_MODE_DAMPING,
                                       .at_hz = {14.8, 0.0},
                                       .from = 0.004,
                                       .to = 0.008,
                                       .solved = true},
                   1.25, 1.249,
                   "The mode at 14.8 Hz damped by 0.008 instead of 0.004 would hardly change the "
                   "jitter (1.25 to 1.25 arcsec)");
    check_sentence((struct tune_limit){.kind = TUNE_LIMIT_PEAK, .from = 1.7, .to = 2.0}, 0.1, 0.09,
                   "A limit on peak sensitivity of 2 instead of 1.7 would lower the jitter from "
                   "0.100 to 0.090 arcsec (-10 %), by its slope alone");
    check_sentence(
        (struct tune_limit){
            .kind = TUNE_LIMIT_MODE_FREQUENCY, .from = 80.0, .to = 88.0, .solved = true},
        0.1, HUGE_VAL,
        "The mode at 80 Hz stiffened to 88 Hz: no loop near the present one was found "
        "that would meet every demand");
    check_sentence((struct tune_limit){.kind = TUNE_LIMIT_TORQUE_BAND,
                                       .at_hz = {0.02, 0.3},
                                       .from = 2.0,
                                       .to = 1.0,
                                       .solved = true},
                   0.1, 0.11,
                   "Half the torque ripple between 0.02 and 0.3 Hz (1 N m rms) would raise the "
                   "jitter from 0.100 to 0.110 arcsec (+10 %)");
}

/* ---- refusals ------------------------------------------------------------------------------------*/

static void what_cannot_be_met_is_named(void **state)
{
    struct small_axis a = noisy_axis();
    struct tune_limits limits;
    struct tune_error err;
    (void)state;
    a.opts.noise_torque_rms_nm = 1e-15;
    assert_int_equal(run(&limits, &a, 3, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "noise torque at "));
    assert_int_equal(limits.n, 0);
    a = noisy_axis();
    a.opts.peak_sensitivity = 0.9;
    assert_int_equal(run(&limits, &a, 3, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, "peak_sensitivity");
}

/* Gains without low-pass or filter of the derivative, of another rate. */
static void gains_from_outside_serve_as_start(void **state)
{
    const struct small_axis a = noisy_axis();
    const struct tune_limits_opts opts = {.max_solved = 0};
    struct tune_limits limits;
    struct tune_controller c = tune_controller_defaults(1000.0);
    (void)state;
    c.kp_nm_per_rad = 4e3;
    c.ki_nm_per_rad_s = 4e3;
    c.kd_nm_s_per_rad = 600.0;
    assert_int_equal(tune_design_limits(&limits, &c, a.plant, a.name, 2, &a.disturbance, &a.opts,
                                        &opts, NULL, NULL),
                     TUNE_OK);
    assert_true(isfinite(limits.given_rad));
    check_between(limits.before_rad, 0.0, 0.9 * limits.given_rad);
    c.loop_rate_hz = 500.0;
    assert_int_equal(tune_design_limits(&limits, &c, a.plant, a.name, 2, &a.disturbance, &a.opts,
                                        &opts, NULL, NULL),
                     TUNE_EINVAL);
    assert_int_equal(limits.n, 0);
}

static int tick(void *user, const char *stage, double done)
{
    int *left = user;
    (void)stage;
    check_between(done, 0.0, 1.0);
    return (*left)-- <= 0;
}

static void cancelling_ends_it_empty(void **state)
{
    static const int most[] = {0, 20, 300};
    const struct small_axis a = noisy_axis();
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        int left = most[i];
        const struct tune_watch watch = {tick, &left};
        struct tune_limits limits;
        assert_int_equal(run(&limits, &a, 3, &watch, NULL), TUNE_ECANCELLED);
        assert_int_equal(left, -1);
        assert_int_equal(limits.n, 0);
    }
}

/* Every early allocation, then ever sparser ones, until a run needs no more. */
static void running_out_of_memory_is_reported(void **state)
{
    const struct tune_limits_opts opts = {.max_solved = 1};
    struct small_axis a = noisy_axis();
    enum tune_status status = TUNE_ENOMEM;
    unsigned long k = 1;
    (void)state;
    (void)designed();
    a.opts.mode_shift = 0.0;
    for (; status == TUNE_ENOMEM; k += 1 + k / 4) {
        struct tune_limits limits;
        check_fail_allocation(k);
        status = tune_design_limits(&limits, designed(), a.plant, a.name, 1, &a.disturbance,
                                    &a.opts, &opts, NULL, NULL);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_true((status == TUNE_ENOMEM) == refused);
        if (refused) assert_int_equal(limits.n, 0);
    }
    assert_int_equal(status, TUNE_OK);
    assert_true(k > 40);
}

static void every_kind_has_a_name_of_its_own(void **state)
{
    const char *unit;
    (void)state;
    for (int i = TUNE_LIMIT_DELAY; i <= TUNE_LIMIT_POLE_DAMPING; i++) {
        assert_true(strlen(tune_limit_name((enum tune_limit_kind)i)) > 3);
        for (int k = TUNE_LIMIT_DELAY; k < i; k++)
            assert_string_not_equal(tune_limit_name((enum tune_limit_kind)i),
                                    tune_limit_name((enum tune_limit_kind)k));
    }
    check_close_rel(tune_limit_unit(&unit, TUNE_LIMIT_SENSOR_NOISE), 648000.0 / TUNE_PI, 1e-15);
    assert_string_equal(unit, "arcsec");
    check_close_rel(tune_limit_unit(&unit, TUNE_LIMIT_PHASE_MARGIN), 180.0 / TUNE_PI, 1e-15);
    assert_string_equal(unit, "deg");
    assert_true(tune_limit_unit(&unit, TUNE_LIMIT_PEAK) == 1.0 && unit[0] == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slopes_are_those_of_designs_made_anew),
        cmocka_unit_test(slopes_of_everything_that_disturbs_make_one),
        cmocka_unit_test(notches_stay_notches),
        cmocka_unit_test(changes_are_what_a_design_of_the_changed_axis_finds),
        cmocka_unit_test(threads_and_how_many_are_solved_change_no_figure),
        cmocka_unit_test(sentences_say_what_and_how_much),
        cmocka_unit_test(what_cannot_be_met_is_named),
        cmocka_unit_test(gains_from_outside_serve_as_start),
        cmocka_unit_test(cancelling_ends_it_empty),
        cmocka_unit_test(every_kind_has_a_name_of_its_own),
        cmocka_unit_test(running_out_of_memory_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
