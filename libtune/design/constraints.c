/* constraints.c - which bands of which loops are watched.
 *
 * A maximum over all frequencies jumps from peak to peak, which no smooth solver likes; the maximum
 * of each of many bands jumps only within its band.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>

enum { EDGES_MAX = 64 };

/* Band edges, Hz, rising; the first band starts at the grid's start, the last ends at its end. */
struct bands {
    size_t n;
    double edge_hz[EDGES_MAX];
};

static void add_edge(struct bands *bands, double f_hz)
{
    size_t i = bands->n;
    if (bands->n >= EDGES_MAX) return;
    for (; i > 0 && bands->edge_hz[i - 1] > f_hz; i--)
        bands->edge_hz[i] = bands->edge_hz[i - 1];
    bands->edge_hz[i] = f_hz;
    bands->n++;
}

static void add_ladder(struct bands *bands, double from_hz, double to_hz, double ratio)
{
    const double length = log(to_hz / from_hz);
    const size_t n = length > 0.0 ? (size_t)ceil(length / log(ratio)) : 0;
    for (size_t i = 0; i <= n && n > 0; i++)
        add_edge(bands, from_hz * exp(length * (double)i / (double)n));
}

/* From a decade below the first feature, where crossovers of soft loops lie, to a quarter of the rate.
 * |S| itself is watched in narrow bands, narrowest around the first feature; its variants in wide. */
static struct bands bands_for(enum demand_kind kind, double first_hz, double rate_hz)
{
    struct bands bands = {0};
    if (kind == DEMAND_PEAK || kind == DEMAND_DISC) {
        add_ladder(&bands, 0.08 * first_hz, 0.25 * rate_hz, 1.35);
        add_edge(&bands, 0.94 * first_hz);
        add_edge(&bands, 1.07 * first_hz);
    } else if (!is_figure(kind)) {
        add_ladder(&bands, 0.4 * first_hz, 0.2 * rate_hz, 2.2);
    }
    return bands;
}

static void add_constraint(struct problem *problem, size_t demand, size_t scenario, size_t first,
                           size_t last)
{
    if (last <= first) return;
    if (problem->constraint)
        problem->constraint[problem->n_constraints] =
            (struct constraint){demand, scenario, first, last};
    problem->n_constraints++;
}

static void add_bands(struct problem *problem, size_t scenario, size_t demand)
{
    const struct scenario *s = &problem->scenario[scenario];
    const struct demand *d = &problem->demands.demand[demand];
    const bool own =
        s->lowest_feature_hz > 0.0 && s->lowest_feature_hz < 2.0 * problem->first_feature_hz;
    const double first_hz = own ? s->lowest_feature_hz : problem->first_feature_hz;
    const struct bands bands = bands_for(d->kind, first_hz, problem->rate_hz);
    size_t start = 0, k = 0;
    while (d->kind == DEMAND_ROLLOFF && start < s->n && problem->f_hz[s->at[start]] < d->value)
        start++;
    for (size_t b = 0; b <= bands.n; b++) {
        const double end_hz = b < bands.n ? bands.edge_hz[b] : HUGE_VAL;
        while (k < s->n && problem->f_hz[s->at[k]] < end_hz)
            k++;
        add_constraint(problem, demand, scenario, start, k);
        if (k > start) start = k;
    }
}

static void list(struct problem *problem)
{
    const size_t n_demands = problem->demands.n;
    problem->n_constraints = 0;
    for (size_t s = 0; s < problem->n_scenarios; s++)
        for (size_t d = 0; d < n_demands; d++) {
            problem->constraints_of[s * n_demands + d] = problem->n_constraints;
            add_bands(problem, s, d);
        }
    problem->constraints_of[problem->n_scenarios * n_demands] = problem->n_constraints;
}

enum tune_status design_constraints(struct problem *problem, struct tune_error *err)
{
    problem->constraints_of =
        calloc(problem->n_scenarios * problem->demands.n + 1, sizeof *problem->constraints_of);
    if (!problem->constraints_of) return tune_error_memory(err, "preparing the design");
    list(problem); /* counts */
    problem->constraint = calloc(problem->n_constraints, sizeof *problem->constraint);
    if (!problem->constraint) return tune_error_memory(err, "preparing the design");
    list(problem);
    return TUNE_OK;
}
