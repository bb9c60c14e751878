/* copies.c - two roles with the same numbers, one column logged or wired twice; and two that are exchanged.
 *
 * Two encoders, a target and what follows it, an image and an axis never agree in every row to the last digit
 * while they move. A copy would make a servo error of nothing, or a payload that moves exactly as the
 * encoder does. An axis that coasts or is led may have a target that follows it; there it is no finding.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stddef.h>

#include "health/findings_internal.h"

static const enum tune_role angle[] = {TUNE_ROLE_POSITION, TUNE_ROLE_LOAD_POSITION,
                                       TUNE_ROLE_TARGET, TUNE_ROLE_SKY, TUNE_ROLE_OTHER_POSITION};

/* Rounding of a scale, and of the digits that a change of unit costs. */
static const double rounding = 8.0 * DBL_EPSILON;

static double largest(const double *x, size_t n)
{
    double most = 0.0;
    for (size_t k = 0; k < n; k++)
        most = fmax(most, fabs(x[k]));
    return most;
}

static bool same(const double *a, const double *b, size_t n)
{
    const double least = rounding * fmax(largest(a, n), largest(b, n));
    for (size_t k = 0; k < n; k++)
        if (!(fabs(a[k] - b[k]) <= least)) return false;
    return true;
}

/* Neither at rest nor on a straight line, where two things may agree: it bends in 1 % of the rows and more. */
static bool bends(const double *x, size_t n)
{
    const double least = 8.0 * rounding * largest(x, n);
    size_t bent = 0;
    for (size_t k = 1; k + 1 < n; k++)
        if (fabs(health_bend(x, k)) > least) bent++;
    return bent >= n / 100;
}

static void tell(struct health_case *c, enum tune_role a, enum tune_role b,
                 enum tune_verdict severity)
{
    const struct tune_record *rec = c->rec;
    health_add(c, "channel-copied", severity, 1, 0.0,
               "map each role to the column of its own sensor, or take the copy out",
               "the %s equals the %s in every row (columns '%.40s', '%.40s'): one is a copy",
               tune_role_name(b), tune_role_name(a), rec->column[b], rec->column[a]);
}

/* A loop gives torque in every row, an excitation is exactly 0 before it sets in and behind it: where the torque is
 * silent so while the excitation is not, the one stands for the other. A twentieth of the rows, and none the other
 * way round. An open loop has both silent at once. */
static void tell_exchanged(struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    const double *u = rec->channel[TUNE_ROLE_TORQUE], *d = rec->channel[TUNE_ROLE_EXCITATION];
    size_t torque_silent = 0, excitation_silent = 0, first = 0;
    if (!u || !d || !c->opts->sweep) return;
    for (size_t k = 0; k < rec->n; k++) {
        if (u[k] == 0.0 && d[k] != 0.0 && torque_silent++ == 0) first = k;
        excitation_silent += d[k] == 0.0 && u[k] != 0.0;
    }
    if (torque_silent < rec->n / 20 || torque_silent == 0 || excitation_silent > rec->n / 1000)
        return;
    c->law_speaks = true;
    health_add(c, "columns-exchanged", TUNE_UNFIT, first + 1,
               (double)torque_silent / (double)rec->n,
               "exchange them: torque is what went to the motor, excitation what was added to the "
               "controller's torque; name both columns in the log's section",
               "the torque (column '%.40s') is 0 in %.0f %% of the rows in which the excitation "
               "(column '%.40s') is not: the two are taken for each other",
               rec->column[TUNE_ROLE_TORQUE], 100.0 * (double)torque_silent / (double)rec->n,
               rec->column[TUNE_ROLE_EXCITATION]);
}

enum tune_status health_check_copies(struct health_case *c, struct tune_error *err)
{
    const struct tune_record *rec = c->rec;
    const size_t n = rec->n, angles = sizeof angle / sizeof *angle;
    const double *u = rec->channel[TUNE_ROLE_TORQUE], *m = rec->channel[TUNE_ROLE_MEASURED_TORQUE];
    const bool closed = c->opts->sweep || c->opts->at_rest || c->opts->on_target;
    (void)err;
    for (size_t i = 0; i < angles; i++)
        for (size_t k = i + 1; k < angles; k++) {
            const double *a = rec->channel[angle[i]], *b = rec->channel[angle[k]];
            if (!a || !b || (!closed && angle[k] == TUNE_ROLE_TARGET)) continue;
            if (same(a, b, n) && bends(a, n)) tell(c, angle[i], angle[k], TUNE_UNFIT);
        }
    if (u && m && same(u, m, n) && bends(u, n))
        tell(c, TUNE_ROLE_TORQUE, TUNE_ROLE_MEASURED_TORQUE, TUNE_WITH_CARE);
    tell_exchanged(c);
    return TUNE_OK;
}
