/* law_internal.h - all laws at once: sets of terms, sizes of what is left, and their weights.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LAW_INTERNAL_H
#define TUNE_LAW_INTERNAL_H

#include "compare/compare_internal.h"

enum {
    LAW_GROUPS = 6,    /* five trigonometric terms, and the states */
    LAW_SCATTERS = 24, /* tau = 0 and steps of tau */
    LAW_SETS = 1 << LAW_GROUPS,
    LAW_PARTS = LAW_SETS * LAW_SCATTERS
};

struct law_terms {
    size_t n;
    size_t told; /* of them: those that vary among the known conditions, and the constant */
    enum tune_law_term term[TUNE_LAW_TERMS_MAX];
};

double law_term_value(enum tune_law_term term, const struct tune_condition *at);

/* The constant and the groups whose bit is set; false where one of them cannot be told. */
bool law_terms_choose(struct law_terms *set, const struct law_series *series, size_t groups);

struct law_solution {
    double factor[TUNE_LAW_TERMS_MAX * TUNE_LAW_TERMS_MAX]; /* of A */
    double coefficient[TUNE_LAW_TERMS_MAX];
    double weight; /* first ln density, then its share of all */
};

/* One of a mixture of normal densities. */
struct law_normal {
    double mean, std, weight; /* the weights sum up to 1 */
};

struct law_ensemble {
    double mean; /* of the data: taken off before */
    size_t n;    /* solutions */
    struct law_terms set[LAW_SETS];
    size_t set_of[LAW_PARTS];
    double tau[LAW_PARTS];
    struct law_solution part[LAW_PARTS];
    struct law_normal mixed[LAW_PARTS]; /* room */
};

void law_solve_all(struct law_ensemble *all, const struct law_series *series);

/* Mean and variance of the law at a condition. */
void law_eval(double *mean, double *variance, const struct law_solution *at,
              const struct law_terms *set, const struct tune_condition *condition);

/* Of a mixture: its mean, half of the interval about it that holds 68.27 %, and the normal deviate as
 * improbable as x. */
double law_mean(const struct law_normal *part, size_t n);
double law_half_width(const struct law_normal *part, size_t n);
double law_deviate(const struct law_normal *part, size_t n, double x);

#endif
