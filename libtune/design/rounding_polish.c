/* rounding_polish.c - the search over the last digits of a rounded controller.
 *
 * A dial is one number typed in, or one coefficient of a free biquad. Where the drive takes notches the
 * coefficients follow from the numbers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "design/rounding_internal.h"

enum {
    COEFFICIENTS = 5,
    DIALS_MAX = TUNE_DRIVE_NUMBERS_MAX + COEFFICIENTS * (TUNE_BIQUADS_MAX + 1)
};

#define LARGEST_STEP 1024.0
/* 1 % of a limit missed weighs as 20 % of the objective, more where that does not do */
#define FIRST_WEIGHT 20.0
#define LAST_WEIGHT  1e4

/* ---- worth ---------------------------------------------------------------------------------------*/

/* Of a cascade of two rates the grid knows one rate only: the hold of the position loop is the judge's
 * business, and what it finds missed becomes reserve. */
bool rounding_on_grid(const struct tune_controller *c)
{
    return c->kp_nm_per_rad > 0.0 && c->ki_nm_per_rad_s > 0.0 && c->kd_nm_s_per_rad > 0.0 &&
           c->derivative_filter_hz > 0.0 && c->lowpass_hz > 0.0 && c->lowpass_order == 2;
}

struct worth rounding_judged(const struct tune_design_step *step, const struct standing *worst,
                             const struct tune_design_opts *opts)
{
    return (struct worth){
        fmax(0.0, worst->excess),
        log(opts->goal == TUNE_GOAL_CALM ? step->objective_nm : step->objective_rad)};
}

bool rounding_better(const struct worth *a, const struct worth *b)
{
    if (a->missed != b->missed) return a->missed < b->missed;
    return a->objective < b->objective;
}

/* What the search lowers: the objective, and `weight` times what is missed. */
static double merit(const struct worth *worth, double weight)
{
    return worth->objective + weight * worth->missed;
}

static struct worth on_grid(struct polish *polish, const struct tune_controller *plain)
{
    struct evaluation *e = &polish->evaluation;
    struct tune_controller finite = *plain;
    struct worth out;
    double x[VARIABLES_MAX];
    for (size_t i = 0; i < finite.n_biquads; i++) /* variables are logarithms */
        finite.biquad[i].zero_zeta = fmax(finite.biquad[i].zero_zeta, 1e-9);
    design_from_controller(x, &finite);
    design_evaluate(e, polish->problem, x, false);
    polish->n_trials++;
    out.objective = e->objective;
    out.missed = e->unstable;
    /* all that is missed, not the worst alone: where two are in the way, each step counts */
    for (size_t i = 0; i < polish->problem->n_constraints; i++)
        out.missed += fmax(0.0, e->value[i] + polish->reserve);
    return out;
}

enum tune_status rounding_worth(struct worth *out, struct polish *polish,
                                const struct tune_rounded_controller *rounded,
                                struct tune_error *err)
{
    struct tune_controller plain;
    struct tune_design_step step;
    struct standing worst;
    enum tune_status status;
    *out = (struct worth){HUGE_VAL, HUGE_VAL};
    if (tune_rounded_plain(&plain, rounded, NULL) != TUNE_OK ||
        tune_controller_check(&plain, NULL) != TUNE_OK)
        return TUNE_OK;
    if (polish->on_grid && rounding_on_grid(&plain)) {
        *out = on_grid(polish, &plain);
        return TUNE_OK;
    }
    status = design_appraise(&step, &worst, NULL, &plain, polish->problem, err);
    if (status == TUNE_OK) *out = rounding_judged(&step, &worst, polish->problem->opts);
    polish->n_trials++;
    polish->n_appraisals++;
    return status;
}

/* ---- dials ---------------------------------------------------------------------------------------*/

enum dial_kind {
    DIAL_GAIN,      /* all numbers that the loop gain goes with, together */
    DIAL_BANDWIDTH, /* all numbers of the PID as on the enable ladder: kd k, kp k^2, ki k^3 */
    DIAL_NUMBER,
    DIAL_COEFFICIENT
};

struct dial {
    enum dial_kind kind;
    size_t number;               /* of the setting */
    size_t section, coefficient; /* b0 b1 b2 a1 a2 */
};

/* What a step of the first two is worth, relative. */
#define JOINT_STEP 1e-4

/* Powers of the factor that the first two dials give to each quantity. */
static const int joint_power[TUNE_DRIVE_QUANTITIES][2] = {
    [TUNE_DRIVE_KP] = {1, 2},
    [TUNE_DRIVE_KI] = {1, 3},
    [TUNE_DRIVE_KD] = {1, 1},
    [TUNE_DRIVE_GAIN] = {1, 2},
    [TUNE_DRIVE_TI] = {0, -1},
    [TUNE_DRIVE_TD] = {0, -1},
    [TUNE_DRIVE_POSITION_GAIN] = {0, 1},
    [TUNE_DRIVE_VELOCITY_GAIN] = {1, 1},
    [TUNE_DRIVE_VELOCITY_TI] = {0, -1},
    [TUNE_DRIVE_VELOCITY_KI] = {1, 2},
};

static size_t list_dials(struct dial *dial, const struct tune_rounded_controller *r,
                         const struct tune_drive_form *form)
{
    size_t n = 0;
    dial[n++] = (struct dial){.kind = DIAL_GAIN};
    dial[n++] = (struct dial){.kind = DIAL_BANDWIDTH};
    for (size_t i = 0; i < r->setting.n; i++)
        dial[n++] = (struct dial){.kind = DIAL_NUMBER, .number = i};
    if (form->filters == TUNE_FILTERS_NOTCH || form->coefficients.kind == TUNE_FLOAT64) return n;
    for (size_t k = 0; k < r->n_sections; k++)
        for (size_t c = 0; c < COEFFICIENTS; c++) {
            const bool lowpass = k == 0 && r->typed.lowpass_hz > 0.0;
            /* the low-pass keeps b, 2b, b; of order 1 its a2 is 0 */
            if (lowpass && (c == 1 || c == 2 || (c == 4 && r->typed.lowpass_order == 1))) continue;
            dial[n++] = (struct dial){.kind = DIAL_COEFFICIENT, .section = k, .coefficient = c};
        }
    return n;
}

/* The setting instead of that of *r; false where the drive cannot take it. */
static bool take_setting(struct tune_rounded_controller *r, struct tune_drive_setting *setting,
                         const struct polish *polish)
{
    struct tune_rounded_controller moved;
    bool changed = false;
    if (tune_drive_setting_round(setting, polish->form, NULL) != TUNE_OK) return false;
    for (size_t i = 0; i < setting->n; i++)
        changed = changed || setting->number[i].value != r->setting.number[i].value;
    if (!changed ||
        tune_rounded_make(&moved, polish->form, setting, &polish->like, NULL) != TUNE_OK)
        return false;
    if (polish->form->filters == TUNE_FILTERS_BIQUAD) /* coefficients are dials of their own */
        memcpy(moved.section, r->section, sizeof moved.section);
    *r = moved;
    return true;
}

/* One number, so many of its steps further; false where that is most of the number. */
static bool turn_number(struct tune_rounded_controller *r, const struct dial *dial, double steps,
                        const struct polish *polish)
{
    struct tune_drive_setting setting = r->setting;
    struct tune_drive_number *number = &setting.number[dial->number];
    const double by = steps * tune_drive_number_step(number, polish->form);
    if (!(fabs(by) < 0.5 * fabs(number->value))) return false;
    number->value += by;
    return take_setting(r, &setting, polish);
}

static bool turn_jointly(struct tune_rounded_controller *r, const struct dial *dial, double steps,
                         const struct polish *polish)
{
    struct tune_drive_setting setting = r->setting;
    for (size_t i = 0; i < setting.n; i++)
        setting.number[i].value *=
            pow(1.0 + JOINT_STEP * steps, joint_power[setting.number[i].quantity][dial->kind]);
    return take_setting(r, &setting, polish);
}

static bool turn_coefficient(struct tune_rounded_controller *r, const struct dial *dial,
                             double steps, const struct polish *polish)
{
    struct tune_biquad *b = &r->section[dial->section];
    double *const at[COEFFICIENTS] = {&b->b0, &b->b1, &b->b2, &b->a1, &b->a2};
    double *value = at[dial->coefficient];
    const struct tune_number_format *format = &polish->form->coefficients;
    const double wanted = *value + steps * tune_number_step(format, *value), from = *value;
    if (tune_number_round(value, format, wanted, "", NULL) != TUNE_OK || *value == from)
        return false;
    if (dial->section == 0 && r->typed.lowpass_hz > 0.0) {
        const bool second = r->typed.lowpass_order == 2;
        if (tune_number_round(&b->b1, format, second ? 2.0 * b->b0 : b->b0, "", NULL) != TUNE_OK)
            return false;
        b->b2 = second ? b->b0 : 0.0;
    }
    return tune_biquad_is_stable(b);
}

static bool turn(struct tune_rounded_controller *r, const struct dial *dial, double steps,
                 const struct polish *polish)
{
    if (dial->kind == DIAL_COEFFICIENT) return turn_coefficient(r, dial, steps, polish);
    if (dial->kind == DIAL_NUMBER) return turn_number(r, dial, steps, polish);
    return turn_jointly(r, dial, steps, polish);
}

static bool spent(const struct polish *polish)
{
    return polish->n_trials >= polish->opts->max_trials ||
           polish->n_appraisals >= polish->opts->max_appraisals;
}

/* A controller of the search and what it is worth. */
struct place {
    struct tune_rounded_controller controller;
    struct worth worth;
};

/* One turn of a dial; *better where that lowers the merit by a millionth at least. */
static enum tune_status try_turn(bool *better, struct place *to, const struct place *from,
                                 const struct dial *dial, double steps, double weight,
                                 struct polish *polish, struct tune_error *err)
{
    enum tune_status status;
    *better = false;
    to->controller = from->controller;
    if (spent(polish) || !turn(&to->controller, dial, steps, polish)) return TUNE_OK;
    status = rounding_worth(&to->worth, polish, &to->controller, err);
    *better = status == TUNE_OK && merit(&to->worth, weight) < merit(&from->worth, weight) - 1e-6;
    if (status != TUNE_OK) return status;
    return tune_watch_tick(
        polish->watch, "rounding",
        fmin(1.0, fmax((double)polish->n_trials / (double)polish->opts->max_trials,
                       (double)polish->n_appraisals / (double)polish->opts->max_appraisals)),
        err);
}

/* The dial that helps most is turned as far as it helps; again until none does. */
static enum tune_status sweep(struct place *here, const struct dial *dial, size_t n, double steps,
                              double weight, struct polish *polish, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (bool again = true; again && status == TUNE_OK;) {
        struct place best = *here, trial;
        size_t which = 0;
        double way = steps;
        again = false;
        for (size_t i = 0; i < 2 * n && status == TUNE_OK; i++) {
            const double turn = i % 2 ? -steps : steps;
            bool better;
            status = try_turn(&better, &trial, here, &dial[i / 2], turn, weight, polish, err);
            if (!better || merit(&trial.worth, weight) >= merit(&best.worth, weight)) continue;
            best = trial, which = i / 2, way = turn, again = true;
        }
        for (bool on = again; on && status == TUNE_OK;) {
            *here = best;
            status = try_turn(&on, &best, here, &dial[which], way, weight, polish, err);
        }
    }
    return status;
}

enum tune_status rounding_polish(struct tune_rounded_controller *r, struct polish *polish,
                                 struct tune_error *err)
{
    struct dial dial[DIALS_MAX];
    const size_t n = list_dials(dial, r, polish->form);
    struct place here = {.controller = *r};
    double weight = FIRST_WEIGHT;
    enum tune_status status = rounding_worth(&here.worth, polish, r, err);
    for (; weight < LAST_WEIGHT && here.worth.missed > 0.0 && status == TUNE_OK; weight *= 10.0)
        for (double steps = 1.0;
             steps <= LARGEST_STEP && here.worth.missed > 0.0 && status == TUNE_OK; steps *= 4.0)
            status = sweep(&here, dial, n, steps, weight, polish, err);
    for (double steps = LARGEST_STEP; steps >= 1.0 && status == TUNE_OK; steps *= 0.25)
        status = sweep(&here, dial, n, steps, weight, polish, err);
    if (status == TUNE_OK) *r = here.controller;
    return status;
}
