/* channels.c - dead channels, missing excitation, torque on its limit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>

#include "health/findings_internal.h"

/* Torque on the limit in more rows than this share makes a log unfit. */
static const double saturated_unfit = 0.05;

/* An excitation this small beside the torque, in rms, cannot be told from none. */
static const double excitation_least = 1e-4;

/* A torque this far above the limit contradicts the stated scale or limit. */
static const double above_limit = 1.1;

static bool is_constant(const double *x, size_t n)
{
    for (size_t k = 1; k < n; k++)
        if (x[k] != x[0]) return false;
    return true;
}

/* Standard deviation about the mean. */
static double spread(const double *x, size_t n)
{
    double sum = 0.0, square = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += x[k];
    for (size_t k = 0; k < n; k++)
        square += (x[k] - sum / (double)n) * (x[k] - sum / (double)n);
    return sqrt(square / (double)n);
}

/* A target stands still in a hold, and an excitation is zero where none is injected. */
void health_check_channels(struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const double *x = rec->channel[role];
        const bool vital = role == TUNE_ROLE_POSITION || role == TUNE_ROLE_TORQUE;
        if (!x || role == TUNE_ROLE_TARGET || role == TUNE_ROLE_EXCITATION) continue;
        if (!is_constant(x, rec->n)) continue;
        health_add(c, "dead-channel", vital ? TUNE_UNFIT : TUNE_WITH_CARE, 1, x[0],
                   "check what this column is connected to, or map another column to the role",
                   "the %s never changes (column '%s')", tune_role_name((enum tune_role)role),
                   rec->column[role]);
    }
    if (rec->channel[TUNE_ROLE_TARGET]) return;
    health_add(c, "target-missing", c->opts->sweep ? TUNE_FIT : TUNE_WITH_CARE, 0, 0.0,
               "log the commanded angle too, or map its column to target",
               "no target is logged: the servo error is not known");
}

void health_check_excitation(struct health_case *c)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION];
    const double *u = c->rec->channel[TUNE_ROLE_TORQUE];
    const size_t n = c->rec->n;
    static const char advice[] = "see that the injected signal is switched on, mapped and scaled";
    double ratio;
    if (!c->opts->sweep || !d) return;
    if (is_constant(d, n)) {
        health_add(c, "no-excitation", TUNE_UNFIT, 1, 0.0, advice,
                   "the excitation never changes: there is no sweep in this log");
        return;
    }
    if (!u || is_constant(u, n)) return;
    ratio = spread(d, n) / spread(u, n);
    if (ratio >= excitation_least) return;
    health_add(c, "no-excitation", TUNE_UNFIT, 1, ratio, advice,
               "the excitation is only %.2g of the torque, in rms", ratio);
}

static void report_above(struct health_case *c, size_t row, double most)
{
    health_add(c, "torque-above-limit", TUNE_WITH_CARE, row, most / c->opts->torque_limit_nm,
               "correct torque_per_unit_nm, the torque's scale or torque_limit_nm: a wrong scale "
               "makes every gain wrong",
               "the torque reaches %.4g N m, %.3g times the stated limit", most,
               most / c->opts->torque_limit_nm);
}

void health_check_torque(struct health_case *c)
{
    const double *u = c->rec->channel[TUNE_ROLE_TORQUE], limit = c->opts->torque_limit_nm;
    size_t count = 0, first = 0, above = 0;
    double share, most = 0.0;
    if (!u || !(limit > 0.0)) return;
    for (size_t k = 0; k < c->rec->n; k++) {
        /* a log keeps about six digits of the limit */
        if (fabs(u[k]) < limit * (1.0 - 1e-5)) continue;
        if (!count++) first = k + 1;
        if (!above && fabs(u[k]) > above_limit * limit) above = k + 1;
        most = fmax(most, fabs(u[k]));
    }
    if (!count) return;
    share = (double)count / (double)c->rec->n;
    if (above) report_above(c, above, most);
    health_add(c, "torque-saturated", share > saturated_unfit ? TUNE_UNFIT : TUNE_WITH_CARE, first,
               share, "inject less, or move more gently, and log again",
               "the torque is on its limit of %.4g N m in %zu rows, %.2g %% of the log", limit,
               count, 100.0 * share);
}
