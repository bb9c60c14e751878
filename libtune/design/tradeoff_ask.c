/* tradeoff_ask.c - one problem asked anew and solved from some starts.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "core/workers.h"
#include "design/tradeoff_internal.h"

enum { ROUNDS = 25, STARTS_MAX = 4 };

double tradeoff_asked(const struct tradeoff *t, const struct tune_design_step *step)
{
    return t->demand->of_sky ? step->sky_most_rad : step->encoder_most_rad;
}

double tradeoff_main(const struct tradeoff *t, const struct tune_design_step *step)
{
    return t->given->encoder_objective ? step->encoder_most_rad : step->sky_most_rad;
}

enum tune_status tradeoff_ask_again(struct tradeoff *t, struct tune_error *err)
{
    return design_problem_ask(&t->problem, &t->opts, err);
}

enum tune_status tradeoff_ask(struct tradeoff *t, enum tune_design_goal goal, double peak,
                              double encoder_limit_rad, double sky_limit_rad,
                              struct tune_error *err)
{
    t->opts = *t->given;
    t->opts.goal = goal;
    t->opts.peak_sensitivity = peak;
    t->opts.encoder_limit_rad = encoder_limit_rad;
    t->opts.sky_limit_rad = sky_limit_rad;
    return tradeoff_ask_again(t, err);
}

struct field {
    struct tradeoff *tradeoff;
    struct candidate candidate[STARTS_MAX];
};

static enum tune_status search_one(void *user, size_t item, struct tune_error *err)
{
    struct field *field = user;
    return design_search(&field->candidate[item], &field->tradeoff->problem, ROUNDS,
                         &field->tradeoff->pulse, err);
}

enum tune_status tradeoff_search(struct tradeoff *t, struct candidate *found,
                                 const struct candidate *start, size_t n, struct tune_error *err)
{
    struct field field = {.tradeoff = t};
    enum tune_status status;
    memcpy(field.candidate, start, n * sizeof *start);
    status = tune_workers_run(n, t->given->threads, search_one, &field, err);
    *found = field.candidate[0];
    for (size_t i = 1; i < n; i++)
        if (design_better(&field.candidate[i], found)) *found = field.candidate[i];
    return status;
}

void tradeoff_label(struct tune_tradeoff_point *point, const struct tradeoff *t, const char *name)
{
    point->name = name;
    point->peak_sensitivity = t->opts.peak_sensitivity;
    point->encoder_limit_rad = t->opts.encoder_limit_rad;
    point->sky_limit_rad = t->opts.sky_limit_rad;
}

enum tune_status tradeoff_solve(struct tradeoff *t, struct tune_tradeoff_point *point,
                                struct candidate *found, struct standing *worst,
                                const struct candidate *start, size_t n, struct tune_error *err)
{
    struct standing ignored;
    enum tune_status status = tradeoff_search(t, found, start, n, err);
    tradeoff_label(point, t, "");
    if (status == TUNE_OK)
        status = design_settle(&point->step, worst ? worst : &ignored, found, &t->problem,
                               &t->pulse, err);
    return status;
}

void tradeoff_progress(struct tradeoff *t, double from, double until)
{
    atomic_store(&t->pulse.done, from);
    t->pulse.until = until;
}
