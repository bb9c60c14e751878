/* test_rounding.c - designs rounded into what a drive accepts, judged by others than the search.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "design/rounding.h"
#include "design/small_axis.h"

/* One pointing without mode shifts: the search is the same, the judging faster. */
static struct small_axis light_axis(void)
{
    struct small_axis a = small_axis();
    a.opts.mode_shift = 0.0;
    return a;
}

/* The design all tests look at, without and with one biquad; made once. */
static const struct tune_controller *designed(size_t n_biquads)
{
    static struct tune_design design;
    const struct small_axis a = light_axis();
    if (design.n_steps == 0)
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 1, &a.disturbance,
                                                &a.opts, NULL, NULL),
                         TUNE_OK);
    assert_int_equal(design.n_steps, 2);
    return &design.step[n_biquads].controller;
}

static const struct tune_controller *common(void)
{
    return designed(1);
}

static struct tune_drive_form form_of(const char *format, size_t digits)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    assert_int_equal(tune_number_format_parse(&form.coefficients, format, NULL), TUNE_OK);
    for (size_t q = 0; q < TUNE_DRIVE_QUANTITIES; q++)
        form.limit[q].digits = digits;
    return form;
}

static enum tune_status run(struct tune_rounding *out, const struct tune_controller *controller,
                            const struct tune_drive_form *form, const struct small_axis *a,
                            const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_rounding_opts opts = tune_rounding_defaults();
    return tune_design_round(out, controller, form, a->plant, a->name, 1, &a->disturbance, &a->opts,
                             &opts, watch, err);
}

/* The stage's figures are those the appraisal gives for a controller whose response is that of the
 * stored numbers. */
static void check_stage(const struct tune_rounding_stage *stage, const struct small_axis *a)
{
    struct tune_design_step again;
    struct tune_controller plain;
    assert_int_equal(tune_rounded_plain(&plain, &stage->what, NULL), TUNE_OK);
    assert_int_equal(
        tune_design_appraise(&again, &plain, a->plant, a->name, 1, &a->disturbance, &a->opts, NULL),
        TUNE_OK);
    check_close(stage->step.objective_rad, again.objective_rad, 0.0);
    check_close(stage->step.sens_peak, again.sens_peak, 0.0);
    check_close(stage->step.noise_torque_rms_nm, again.noise_torque_rms_nm, 0.0);
    assert_true(stage->step.feasible == again.feasible);
    assert_string_equal(stage->step.binding, again.binding);
    for (double f = 0.1; f < 499.0; f *= 1.5) {
        double complex stored, judged;
        tune_rounded_eval(&stored, &stage->what, &f, 1);
        tune_controller_eval(&judged, &stage->step.controller, &f, 1);
        check_close(cabs(stored / judged - 1.0), 0.0, 1e-10); /* rounding */
    }
}

/* Every number as the drive takes it: printed with its digits it reads back as itself; every coefficient
 * is a number of the format. */
static void check_fits(const struct tune_rounded_controller *r, const struct tune_drive_form *form)
{
    for (size_t i = 0; i < r->setting.n; i++) {
        const struct tune_drive_number *number = &r->setting.number[i];
        const size_t digits = form->limit[number->quantity].digits;
        char text[40];
        (void)snprintf(text, sizeof text, "%.*e", (int)digits - 1, number->value);
        check_close(strtod(text, NULL), number->value, 0.0);
    }
    for (size_t k = 0; k < r->n_sections; k++) {
        const double *c = &r->section[k].b0;
        for (size_t i = 0; i < 5; i++)
            if (form->coefficients.kind == TUNE_FLOAT32)
                check_close((double)(float)c[i], c[i], 0.0);
            else if (form->coefficients.kind == TUNE_FIXED)
                check_close(ldexp(round(ldexp(c[i], form->coefficients.fraction)),
                                  -form->coefficients.fraction),
                            c[i], 0.0);
    }
}

static void check_not_worse(const struct tune_rounding *r)
{
    if (r->rounded.step.feasible) assert_true(r->polished.step.feasible);
    if (r->rounded.step.feasible == r->polished.step.feasible && r->rounded.step.feasible)
        assert_true(r->polished.step.objective_rad <= r->rounded.step.objective_rad);
}

static void every_form_is_rounded_judged_and_polished(void **state)
{
    static const struct {
        const char *format;
        size_t digits;
        enum tune_controller_form structure;
        enum tune_filter_form filters;
        double most_loss; /* of the objective over the exact design: measured here, with room */
    } c[] = {
        {"float64", 3, TUNE_FORM_PARALLEL, TUNE_FILTERS_BIQUAD, 1.01},
        {"float32", 4, TUNE_FORM_STANDARD, TUNE_FILTERS_BIQUAD, 1.01},
        {"Q3.13", 3, TUNE_FORM_PARALLEL, TUNE_FILTERS_BIQUAD, 1.01},
        {"float32", 3, TUNE_FORM_CASCADE, TUNE_FILTERS_BIQUAD, 1.3},
        {"float32", 3, TUNE_FORM_PARALLEL, TUNE_FILTERS_NOTCH, 1.3},
    };
    const struct small_axis a = light_axis();
    (void)state;
    for (size_t i = 0; i < sizeof c / sizeof *c; i++) {
        static struct tune_rounding r;
        struct tune_error err = {0};
        struct tune_drive_form form = form_of(c[i].format, c[i].digits);
        form.structure = c[i].structure;
        form.filters = c[i].filters;
        assert_int_equal(run(&r, common(), &form, &a, NULL, &err), TUNE_OK);
        assert_true(r.before.step.feasible);
        check_stage(&r.before, &a);
        check_stage(&r.rounded, &a);
        check_stage(&r.polished, &a);
        check_fits(&r.rounded.what, &form);
        check_fits(&r.polished.what, &form);
        check_not_worse(&r);
        assert_true(r.n_trials < 4000); /* it ended by itself */
        assert_true(r.holds && r.polished.step.feasible && !r.reason[0]);
        check_between(r.polished.step.objective_rad / r.before.step.objective_rad, 0.99,
                      c[i].most_loss);
        assert_int_equal(r.n_notched, c[i].filters == TUNE_FILTERS_NOTCH);
    }
}

/* Rounding to ever more digits: what polishing finds on its own grid counts only where the judge agrees. */
static void polishing_never_worsens(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    (void)state;
    for (size_t digits = 2; digits <= 8; digits++)
        for (size_t n = 0; n < 4; n++) {
            const struct tune_drive_form form = form_of("float64", digits);
            struct tune_controller c = *designed(n % 2);
            if (n > 1) c.kd_nm_s_per_rad *= 1.002; /* towards the limits and over them */
            assert_int_equal(run(&r, &c, &form, &a, NULL, NULL), TUNE_OK);
            check_not_worse(&r);
        }
}

/* A design for a drive of notches has its notches where it wants them: rounding moves nothing. In two's
 * complement with two whole digits every notch and low-pass fits: |b1| = |a1| < 2. */
static void a_design_of_notches_needs_no_nearest_one(void **state)
{
    struct small_axis a = light_axis();
    static struct tune_design design;
    static struct tune_rounding r;
    struct tune_drive_form form = form_of("Q2.30", 4);
    struct tune_error err = {0};
    (void)state;
    a.opts.notches_only = true;
    assert_int_equal(
        tune_design_controller(&design, a.plant, a.name, 1, &a.disturbance, &a.opts, NULL, &err),
        TUNE_OK);
    assert_int_equal(design.n_steps, 2);
    const struct tune_controller *c = &design.step[1].controller;
    check_close(c->biquad[0].zero_hz, c->biquad[0].pole_hz, 0.0);
    form.filters = TUNE_FILTERS_NOTCH;
    assert_int_equal(run(&r, c, &form, &a, NULL, &err), TUNE_OK);
    assert_int_equal(r.n_notched, 0);
    assert_true(r.holds);
    check_between(r.polished.step.objective_rad / design.step[1].objective_rad, 0.99, 1.005);
}

/* The search knows that the zeros of a cascade are real: nothing is lost on the way into the drive. */
static void a_design_for_a_cascade_needs_no_lower_integral(void **state)
{
    struct small_axis a = light_axis();
    static struct tune_design design;
    static struct tune_rounding r;
    struct tune_drive_form form = form_of("float64", 0);
    struct tune_error err = {0};
    (void)state;
    form.structure = TUNE_FORM_CASCADE;
    for (int knows = 0; knows < 2; knows++) {
        a.opts.cascade = knows;
        assert_int_equal(tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance,
                                                &a.opts, NULL, &err),
                         TUNE_OK);
        const struct tune_controller *c = &design.step[design.n_steps - 1].controller;
        assert_int_equal(run(&r, c, &form, &a, NULL, &err), TUNE_OK);
        if (!knows) assert_true(r.ki_lowered < 0.9);
        if (!knows) continue;
        assert_true(c->ki_nm_per_rad_s <= 1.002 * tune_cascade_integral_limit(c));
        assert_true(r.ki_lowered > 0.998 && r.holds);
    }
}

/* A notch takes away: whatever the start, the search comes to none that adds. */
static void no_notch_adds(void **state)
{
    struct small_axis a = light_axis();
    static struct tune_design design;
    struct tune_error err = {0};
    (void)state;
    a.opts.notches_only = true;
    a.opts.max_biquads = 3;
    assert_int_equal(
        tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL, &err),
        TUNE_OK);
    for (size_t n = 0; n < design.n_steps; n++)
        for (size_t k = 0; k < design.step[n].controller.n_biquads; k++) {
            const struct tune_biquad_spec *b = &design.step[n].controller.biquad[k];
            assert_true(b->zero_zeta <= 1.002 * b->pole_zeta);
        }
}

/* With two digits for each number nothing but the search can bring the loop back within its limits: the
 * rounded one misses them. */
static void coarse_digits_are_polished_back(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    struct tune_drive_form form = form_of("Q3.13", 2);
    struct tune_error err = {0};
    (void)state;
    struct tune_controller up = *common();
    up.kd_nm_s_per_rad *= 1.04; /* misses by itself */
    assert_int_equal(run(&r, &up, &form, &a, NULL, &err), TUNE_OK);
    assert_false(r.before.step.feasible);
    assert_false(r.rounded.step.feasible);
    assert_true(r.polished.step.feasible && r.holds);
    assert_true(r.polished.step.sens_peak <= a.opts.peak_sensitivity);
}

/* A single step of any number further: never more demands met nor, with all met, a lower objective by
 * more than the grid of the search differs from the judge. */
static void no_single_step_does_better(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    const struct tune_drive_form form = form_of("float64", 3);
    (void)state;
    assert_int_equal(run(&r, common(), &form, &a, NULL, NULL), TUNE_OK);
    for (size_t i = 0; i < r.polished.what.setting.n; i++)
        for (int way = -1; way <= 1; way += 2) {
            struct tune_rounded_controller moved;
            struct tune_drive_setting setting = r.polished.what.setting;
            struct tune_controller plain;
            struct tune_design_step step;
            setting.number[i].value += way * tune_drive_number_step(&setting.number[i], &form);
            assert_int_equal(tune_rounded_make(&moved, &form, &setting, common(), NULL), TUNE_OK);
            assert_int_equal(tune_rounded_plain(&plain, &moved, NULL), TUNE_OK);
            assert_int_equal(tune_design_appraise(&step, &plain, a.plant, a.name, 1, &a.disturbance,
                                                  &a.opts, NULL),
                             TUNE_OK);
            if (step.feasible) /* model: reserve of 1e-4 in the limits, two grids */
                assert_true(step.objective_rad > r.polished.step.objective_rad * (1.0 - 1e-3));
        }
}

/* Two rates cost phase; the judge sees them. */
static void a_slower_position_loop_is_judged_as_one(void **state)
{
    struct small_axis a = light_axis();
    static struct tune_rounding one, many;
    struct tune_drive_form form = form_of("float64", 6);
    const struct tune_rounding_opts opts = {.max_trials = 1, .max_appraisals = 1};
    (void)state;
    form.structure = TUNE_FORM_CASCADE;
    assert_int_equal(tune_design_round(&one, common(), &form, a.plant, a.name, 1, &a.disturbance,
                                       &a.opts, &opts, NULL, NULL),
                     TUNE_OK);
    form.position_divider = 20;
    assert_int_equal(tune_design_round(&many, common(), &form, a.plant, a.name, 1, &a.disturbance,
                                       &a.opts, &opts, NULL, NULL),
                     TUNE_OK);
    assert_int_equal(many.rounded.step.controller.position_divider, 20);
    check_stage(&many.rounded, &a);
    assert_true(fabs(many.rounded.step.sens_peak - one.rounded.step.sens_peak) > 1e-3);
    assert_true(many.ki_lowered < 1.0); /* the design's zeros are not real */
    check_close_rel(many.rounded.step.controller.ki_nm_per_rad_s,
                    many.ki_lowered * common()->ki_nm_per_rad_s, 1e-4); /* six digits */
}

static void what_the_drive_cannot_hold_is_refused(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    struct tune_drive_form form = form_of("Q1.15", 3);
    struct tune_error err = {0};
    (void)state;
    assert_int_equal(run(&r, common(), &form, &a, NULL, &err), TUNE_ENOSOL);
    assert_non_null(strstr(err.text, "beyond what Q1.15 holds"));
    check_close(r.before.step.objective_rad, 0.0, 0.0);
    form = form_of("float64", 0);
    form.limit[TUNE_DRIVE_KD].range[1] = 1.0;
    assert_int_equal(run(&r, common(), &form, &a, NULL, &err), TUNE_ENOSOL);
    assert_string_equal(err.thing, "kd");
    assert_string_equal(err.limit, "0 to 1");
    struct tune_controller other = *common();
    other.loop_rate_hz = 2000.0;
    assert_int_equal(run(&r, &other, &form, &a, NULL, &err), TUNE_EINVAL);
}

/* Steps as coarse as the numbers themselves: nothing holds, and it is said. */
static void nothing_that_holds_is_said(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    struct tune_drive_form form = form_of("float64", 0);
    const double kd = common()->kd_nm_s_per_rad;
    struct tune_error err = {0};
    (void)state;
    form.limit[TUNE_DRIVE_KD].step = 1.7 * kd; /* rounds up: 70 % too much, or nothing */
    form.limit[TUNE_DRIVE_KP].step = 0.9 * common()->kp_nm_per_rad;
    form.limit[TUNE_DRIVE_DERIVATIVE_FILTER].step = common()->derivative_filter_hz;
    assert_int_equal(run(&r, common(), &form, &a, NULL, &err), TUNE_OK);
    assert_false(r.holds);
    assert_true(r.before.step.feasible);
    assert_non_null(strstr(r.reason, "rounded and polished; before rounding every demand was met"));
    assert_non_null(strstr(r.reason, r.polished.step.binding));
}

static void threads_do_not_change_the_answer(void **state)
{
    struct small_axis a = light_axis();
    static struct tune_rounding one, two;
    const struct tune_drive_form form = form_of("Q3.20", 3);
    (void)state;
    assert_int_equal(run(&one, common(), &form, &a, NULL, NULL), TUNE_OK);
    a.opts.threads = 2;
    assert_int_equal(run(&two, common(), &form, &a, NULL, NULL), TUNE_OK);
    assert_int_equal(one.n_trials, two.n_trials);
    for (size_t i = 0; i < one.polished.what.setting.n; i++)
        check_close(one.polished.what.setting.number[i].value,
                    two.polished.what.setting.number[i].value, 0.0);
    assert_memory_equal(one.polished.what.section, two.polished.what.section,
                        sizeof one.polished.what.section);
    check_close(one.polished.step.objective_rad, two.polished.step.objective_rad, 0.0);
}

static int after_three(void *user, const char *stage, double done)
{
    assert_string_equal(stage, "rounding");
    check_between(done, 0.0, 1.0);
    return ++*(int *)user > 3;
}

static void it_can_be_cancelled(void **state)
{
    const struct small_axis a = light_axis();
    static struct tune_rounding r;
    const struct tune_drive_form form = form_of("float32", 3);
    int count = 0;
    const struct tune_watch watch = {after_three, &count};
    (void)state;
    assert_int_equal(run(&r, common(), &form, &a, &watch, NULL), TUNE_ECANCELLED);
    assert_int_equal(r.n_trials, 0);
}

static void running_out_of_memory_leaves_nothing_behind(void **state)
{
    const struct small_axis a = light_axis();
    const struct tune_controller *c = common();
    const struct tune_drive_form form = form_of("float64", 3);
    const struct tune_rounding_opts opts = {.max_trials = 2, .max_appraisals = 2};
    static struct tune_rounding r;
    enum tune_status status = TUNE_ENOMEM;
    (void)state;
    /* the first allocations one by one, then ever larger strides: each judged loop makes many alike */
    for (unsigned long k = 1; status == TUNE_ENOMEM; k += 1 + k / 16) {
        check_fail_allocation(k);
        status = tune_design_round(&r, c, &form, a.plant, a.name, 1, &a.disturbance, &a.opts, &opts,
                                   NULL, NULL);
        const bool failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
        if (failed) check_close(r.before.step.objective_rad, 0.0, 0.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_form_is_rounded_judged_and_polished),
        cmocka_unit_test(polishing_never_worsens),
        cmocka_unit_test(a_design_of_notches_needs_no_nearest_one),
        cmocka_unit_test(a_design_for_a_cascade_needs_no_lower_integral),
        cmocka_unit_test(no_notch_adds),
        cmocka_unit_test(coarse_digits_are_polished_back),
        cmocka_unit_test(no_single_step_does_better),
        cmocka_unit_test(a_slower_position_loop_is_judged_as_one),
        cmocka_unit_test(what_the_drive_cannot_hold_is_refused),
        cmocka_unit_test(nothing_that_holds_is_said),
        cmocka_unit_test(threads_do_not_change_the_answer),
        cmocka_unit_test(it_can_be_cancelled),
        cmocka_unit_test(running_out_of_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
