/* greedy.c - the first controller, and one biquad more where it buys most.
 *
 * A biquad is inserted neutral (zero = pole) at each candidate frequency in turn, everything is
 * optimised again, the best outcome is kept. Deterministic, and better than many random starts.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <string.h>

#include "core/workers.h"

enum { CANDIDATES_MAX = 12, ROUNDS_FIRST = 25, ROUNDS = 12, ROUNDS_HEAT = 3, FAVOURITES = 3 };

#define NEUTRAL_ZETA 0.4

struct field {
    const struct problem *problem;
    struct pulse *pulse;
    int rounds;
    size_t n;
    struct candidate candidate[CANDIDATES_MAX];
};

static enum tune_status search_one(void *user, size_t item, struct tune_error *err)
{
    struct field *field = user;
    return design_search(&field->candidate[item], field->problem, field->rounds, field->pulse, err);
}

/* The best come first; ties keep their order, so the number of threads does not matter. */
static void rank(struct field *field)
{
    for (size_t i = 1; i < field->n; i++) {
        const struct candidate here = field->candidate[i];
        size_t k = i;
        for (; k > 0 && design_better(&here, &field->candidate[k - 1]); k--)
            field->candidate[k] = field->candidate[k - 1];
        field->candidate[k] = here;
    }
}

/* The best of the field. A few rounds tell which are worth the rest. */
static enum tune_status search_all(struct candidate *out, struct field *field,
                                   struct tune_error *err)
{
    const int rounds = field->rounds;
    enum tune_status status = TUNE_OK;
    if (field->n > FAVOURITES) {
        field->rounds = ROUNDS_HEAT;
        status = tune_workers_run(field->n, field->problem->opts->threads, search_one, field, err);
        if (status != TUNE_OK) return status;
        rank(field);
        field->n = FAVOURITES;
        field->rounds = rounds;
    }
    status = tune_workers_run(field->n, field->problem->opts->threads, search_one, field, err);
    if (status != TUNE_OK) return status;
    *out = field->candidate[0];
    for (size_t i = 1; i < field->n; i++)
        if (design_better(&field->candidate[i], out)) *out = field->candidate[i];
    return TUNE_OK;
}

static struct candidate start_at(const struct problem *problem, struct evaluation *e,
                                 double crossover_hz, double lowpass_factor)
{
    struct candidate here = {0};
    design_start_at(here.x, problem, crossover_hz, lowpass_factor);
    design_evaluate(e, problem, here.x, false);
    here.stable = e->unstable == 0.0;
    here.worst_value = e->worst_value;
    here.objective = e->objective;
    return here;
}

/* From fast to slow until all holds, or nearly. The search starts there, from slower loops and from
 * faster ones that miss a limit but are stable: valleys of different filters lie side by side. */
static void find_starts(struct field *field, struct candidate *least, struct evaluation *e,
                        double lowpass_factor)
{
    static const double multiple[] = {4.0, 2.0, 1.0, 0.5};
    const struct problem *problem = field->problem;
    const double lowest = 1e-3 * problem->first_feature_hz;
    double hz = 0.05 * problem->rate_hz;
    for (;; hz *= 0.7) {
        const struct candidate here = start_at(problem, e, hz, lowpass_factor);
        if (design_better(&here, least)) *least = here;
        if (here.stable && here.worst_value < 0.1) break;
        if (hz < lowest) return;
    }
    for (size_t i = 0; i < sizeof multiple / sizeof multiple[0]; i++) {
        const struct candidate here = start_at(problem, e, hz * multiple[i], lowpass_factor);
        if (here.stable) field->candidate[field->n++] = here;
    }
}

enum tune_status design_first(struct candidate *out, const struct problem *problem,
                              struct pulse *pulse, struct tune_error *err)
{
    struct field field = {.problem = problem, .pulse = pulse, .rounds = ROUNDS_FIRST};
    struct candidate least = {.worst_value = INFINITY, .objective = INFINITY};
    struct evaluation evaluation;
    enum tune_status status = design_evaluation_init(&evaluation, problem, 0, err);
    if (status != TUNE_OK) return status;
    /* filters out of the way, or nearer the crossover, where modes above must be kept small */
    find_starts(&field, &least, &evaluation, INFINITY);
    find_starts(&field, &least, &evaluation, 20.0);
    if (field.n == 0) field.candidate[field.n++] = least; /* nothing holds: the least bad */
    design_evaluation_free(&evaluation);
    return search_all(out, &field, err);
}

static void add_place(double *place_hz, size_t *n, double f_hz, const struct problem *problem)
{
    if (!(f_hz > 0.1 * problem->first_feature_hz) || f_hz > 0.25 * problem->rate_hz) return;
    for (size_t i = 0; i < *n; i++)
        if (fabs(log(place_hz[i] / f_hz)) < 0.15) return;
    if (*n < CANDIDATES_MAX) place_hz[(*n)++] = f_hz;
}

/* Lowest and highest frequency at which |L| = 1 at the first pointing. */
static void crossovers(double *lowest_hz, double *highest_hz, const struct problem *problem,
                       const struct evaluation *e)
{
    const struct scenario *s = &problem->scenario[0];
    *lowest_hz = *highest_hz = 0.0;
    for (size_t k = 0; k + 1 < s->n; k++) {
        if ((square(e->loop[k]) > 1.0) == (square(e->loop[k + 1]) > 1.0)) continue;
        *highest_hz = problem->f_hz[s->at[k]];
        if (*lowest_hz == 0.0) *lowest_hz = *highest_hz;
    }
}

/* Around the crossovers, where stiffness is won or lost, and at the axis's own resonances. */
static size_t places(double place_hz[CANDIDATES_MAX], const struct problem *problem,
                     const struct evaluation *e)
{
    const struct tune_plant *plant = &problem->scenario[0].plant;
    size_t n = 0;
    double low_hz, high_hz;
    crossovers(&low_hz, &high_hz, problem, e);
    add_place(place_hz, &n, low_hz, problem);
    add_place(place_hz, &n, sqrt(low_hz * high_hz), problem);
    add_place(place_hz, &n, 1.6 * high_hz, problem);
    add_place(place_hz, &n, problem->first_feature_hz, problem);
    for (size_t k = 0; k < plant->n_modes; k++)
        add_place(place_hz, &n, plant->mode[k].f_hz, problem);
    if (n == 0) add_place(place_hz, &n, problem->first_feature_hz, problem);
    return n;
}

enum tune_status design_grow(struct candidate *out, const struct candidate *from,
                             const struct problem *problem, struct pulse *pulse,
                             struct tune_error *err)
{
    struct field field = {.problem = problem, .pulse = pulse, .rounds = ROUNDS};
    const size_t first = design_variable_count(from->n_biquads);
    double place_hz[CANDIDATES_MAX];
    struct evaluation evaluation;
    enum tune_status status = design_evaluation_init(&evaluation, problem, from->n_biquads, err);
    if (status != TUNE_OK) return status;
    design_evaluate(&evaluation, problem, from->x, false);
    field.n = places(place_hz, problem, &evaluation);
    design_evaluation_free(&evaluation);
    for (size_t i = 0; i < field.n; i++) {
        double *x = field.candidate[i].x;
        memcpy(x, from->x, sizeof from->x);
        x[first] = log(place_hz[i]);
        x[first + 1] = x[first + 2] = log(fmax(NEUTRAL_ZETA, problem->opts->pole_zeta_min));
        x[first + 3] = 0.0;
        field.candidate[i].n_biquads = from->n_biquads + 1;
    }
    return search_all(out, &field, err);
}
