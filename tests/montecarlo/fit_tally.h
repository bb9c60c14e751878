/* fit_tally.h - what many fits came to: errors against the bound and against what was claimed, as
 * figures with their goals.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FIT_TALLY_H
#define TEST_FIT_TALLY_H

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

#include "plant/fit.h"

#include "figure.h"

enum { QUANTITIES = 4, JUDGED_MODES = 8 }; /* the last only where residues are complex */

static const char *const quantity_name[QUANTITIES] = {"f", "zeta", "gain", "quadrature"};

/* Errors of n estimates of one quantity: sums of error and of squared error, each over the standard
 * deviation of the bound and over the claimed one. */
struct error_sum {
    size_t n;
    double bound, bound2, claimed2;
};

struct fit_tally {
    size_t runs, loose, failed, missed, spurious, other_order, outliers, complex_residues;
    struct error_sum all[QUANTITIES], mode[JUDGED_MODES][QUANTITIES];
    double chi_square, seconds, longest_s;
};

/* error, least and claimed standard deviation. */
static inline void error_add(struct error_sum *sum, double error, double least, double claimed)
{
    sum->n++;
    sum->bound += error / least;
    sum->bound2 += error * error / (least * least);
    sum->claimed2 += error * error / (claimed * claimed);
}

static inline void error_join(struct error_sum *all, const struct error_sum *one)
{
    all->n += one->n;
    all->bound += one->bound;
    all->bound2 += one->bound2;
    all->claimed2 += one->claimed2;
}

static inline void tally_join(struct fit_tally *all, const struct fit_tally *one)
{
    all->runs += one->runs;
    all->loose += one->loose;
    all->failed += one->failed;
    all->missed += one->missed;
    all->spurious += one->spurious;
    all->other_order += one->other_order;
    all->outliers += one->outliers;
    all->complex_residues += one->complex_residues;
    all->chi_square += one->chi_square;
    all->seconds += one->seconds;
    all->longest_s = fmax(all->longest_s, one->longest_s);
    for (int q = 0; q < QUANTITIES; q++) {
        error_join(&all->all[q], &one->all[q]);
        for (int k = 0; k < JUDGED_MODES; k++)
            error_join(&all->mode[k][q], &one->mode[k][q]);
    }
}

static inline double rms_over_bound(const struct error_sum *sum)
{
    return sqrt(sum->bound2 / (double)sum->n);
}

static inline double claimed_over_actual(const struct error_sum *sum)
{
    return 1.0 / sqrt(sum->claimed2 / (double)sum->n);
}

/* Mean error over the standard deviation of the errors. */
static inline double bias_over_std(const struct error_sum *sum)
{
    const double n = (double)sum->n, mean = sum->bound / n;
    return mean / sqrt((sum->bound2 - n * mean * mean) / (n - 1.0));
}

static inline void print_modes(const struct fit_tally *tally, size_t modes)
{
    printf("# mode  quantity  rms error/bound  claimed/actual std  mean error/std  runs\n");
    for (size_t k = 0; k < modes; k++)
        for (int q = 0; q < QUANTITIES; q++) {
            const struct error_sum *sum = &tally->mode[k][q];
            if (sum->n == 0) continue;
            printf("# %4zu  %-8s  %15.3f  %18.3f  %14.3f  %4zu\n", k + 1, quantity_name[q],
                   rms_over_bound(sum), claimed_over_actual(sum), bias_over_std(sum), sum->n);
        }
}

/* Pooled over modes: at most `most` times the bound. */
static inline bool figures_of_errors(const struct fit_tally *tally, const char *kind, double most)
{
    char what[80], goal[40];
    bool good = true;
    (void)snprintf(goal, sizeof goal, "<= %.2f", most);
    for (int q = 0; q < QUANTITIES; q++) {
        if (q == 3 && tally->all[q].n == 0) continue;
        (void)snprintf(what, sizeof what, "rms error / bound, %s", quantity_name[q]);
        good &= figure(kind, what, goal, rms_over_bound(&tally->all[q]), 0.0, most);
    }
    return good;
}

static inline bool figures_of_claims(const struct fit_tally *tally, const char *kind)
{
    char what[80];
    bool good = true;
    for (int q = 0; q < QUANTITIES; q++) {
        if (q == 3 && tally->all[q].n == 0) continue;
        (void)snprintf(what, sizeof what, "claimed / actual std, %s", quantity_name[q]);
        good &= figure(kind, what, "0.9 to 1.1", claimed_over_actual(&tally->all[q]), 0.9, 1.1);
    }
    return good;
}

/* The worst single parameter, and the damping bias, of a plant that is always the same. */
static inline bool figures_of_modes(const struct fit_tally *tally, const char *kind, size_t modes)
{
    double least = (double)INFINITY, most = 0.0, bias = 0.0;
    bool good = true;
    print_modes(tally, modes);
    for (size_t k = 0; k < modes; k++) {
        for (int q = 0; q < 3; q++) {
            least = fmin(least, rms_over_bound(&tally->mode[k][q]));
            most = fmax(most, rms_over_bound(&tally->mode[k][q]));
        }
        bias = fmax(bias, fabs(bias_over_std(&tally->mode[k][1])));
    }
    good &= figure(kind, "rms error / bound, least of all parameters", ">= 0.80", least, 0.8, 1e9);
    good &= figure(kind, "rms error / bound, most of all parameters", "<= 1.25", most, 0.0, 1.25);
    good &= figure(kind, "damping bias / std, pooled", "< 0.3", fabs(bias_over_std(&tally->all[1])),
                   0.0, 0.3);
    good &= figure(kind, "damping bias / std, worst mode", "< 0.3", bias, 0.0, 0.3);
    return good;
}

/* Every one of the runs asked for has been fitted, with the modes there are. */
static inline bool figures_of_order(const struct fit_tally *tally, const char *kind, size_t runs)
{
    char goal[40];
    bool good = true;
    (void)snprintf(goal, sizeof goal, "%zu", runs);
    good &= figure(kind, "runs", goal, (double)tally->runs, (double)runs, (double)runs);
    good &= figure(kind, "fits failed", "0", (double)tally->failed, 0.0, 0.0);
    good &= figure(kind, "modes missed", "0", (double)tally->missed, 0.0, 0.0);
    good &= figure(kind, "modes spurious", "0", (double)tally->spurious, 0.0, 0.0);
    good &= figure(kind, "runs with another order", "0", (double)tally->other_order, 0.0, 0.0);
    return good;
}

#endif
