/* channels.c - dead channels, missing target, missing excitation.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>

#include "health/findings_internal.h"

/* An excitation this small beside the torque, in rms, cannot be told from none. */
static const double excitation_least = 1e-4;

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

/* A target stands still in a hold, an excitation is zero where none is injected, the index mark need not
 * be passed and the drive stays enabled. */
static bool may_rest(enum tune_role role)
{
    return role == TUNE_ROLE_TARGET || role == TUNE_ROLE_EXCITATION || role == TUNE_ROLE_INDEX ||
           role == TUNE_ROLE_ENABLED;
}

enum tune_status health_check_channels(struct health_case *c, struct tune_error *err)
{
    const struct tune_record *rec = c->rec;
    (void)err;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const double *x = rec->channel[role];
        const bool vital = role == TUNE_ROLE_POSITION || role == TUNE_ROLE_TORQUE;
        if (!x || may_rest((enum tune_role)role)) continue;
        if (!is_constant(x, rec->n)) continue;
        health_add(c, "dead-channel", vital ? TUNE_UNFIT : TUNE_WITH_CARE, 1, x[0],
                   "check what this column is connected to, or map another column to the role",
                   "the %s never changes (column '%s')", tune_role_name((enum tune_role)role),
                   rec->column[role]);
    }
    /* an axis that is pushed, coasts or is led by hand has no servo error */
    const bool on_target = c->opts->on_target || c->opts->at_rest;
    if (rec->channel[TUNE_ROLE_TARGET] || !(on_target || c->opts->sweep)) return TUNE_OK;
    health_add(c, "target-missing", on_target ? TUNE_WITH_CARE : TUNE_FIT, 0, 0.0,
               "log the commanded angle too, or map its column to target",
               "no target is logged: the servo error is not known");
    return TUNE_OK;
}

enum tune_status health_check_excitation(struct health_case *c, struct tune_error *err)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION];
    const double *u = c->rec->channel[TUNE_ROLE_TORQUE];
    const size_t n = c->rec->n;
    static const char advice[] = "see that the injected signal is switched on, mapped and scaled";
    double ratio;
    (void)err;
    if (!c->opts->sweep || !d) return TUNE_OK;
    if (is_constant(d, n)) {
        health_add(c, "no-excitation", TUNE_UNFIT, 1, 0.0, advice,
                   "the excitation never changes: there is no sweep in this log");
        return TUNE_OK;
    }
    if (!u || is_constant(u, n)) return TUNE_OK;
    ratio = spread(d, n) / spread(u, n);
    if (!(ratio < excitation_least)) return TUNE_OK;
    health_add(c, "no-excitation", TUNE_UNFIT, 1, ratio, advice,
               "the excitation is only %.2g of the torque, in rms", ratio);
    return TUNE_OK;
}
