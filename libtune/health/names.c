/* names.c - columns whose name comes near to that of a role that is missing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "health/findings_internal.h"

/* Only first motions look for index marks and for the enabling of the drive. */
static bool is_of_use(const struct health_case *c, enum tune_role role)
{
    const bool motion = !c->opts->sweep && !c->opts->on_target && !c->opts->at_rest;
    return motion || (role != TUNE_ROLE_INDEX && role != TUNE_ROLE_ENABLED);
}

/* A signal that is not found is not missed by anybody: a sweep without its excitation is estimated
 * another, biased way. */
enum tune_status health_check_names(struct health_case *c, struct tune_error *err)
{
    (void)err;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const struct tune_near_column *near = &c->rec->near[role];
        const char *name = tune_role_name((enum tune_role)role);
        char advice[200];
        if (!near->name[0] || !is_of_use(c, (enum tune_role)role)) continue;
        (void)snprintf(advice, sizeof advice,
                       "where it is the %s, rename it or map it in the log's section: %s = \"%s\"",
                       name, name, near->name);
        health_add(c, "column-misspelt", TUNE_WITH_CARE, 0, (double)near->field, advice,
                   "%.60s%sline %ld, column %ld: '%s' may be misspelt, no %s is logged",
                   c->opts->file ? c->opts->file : "", c->opts->file ? ", " : "",
                   c->rec->header_line, near->field, near->name, name);
    }
    return TUNE_OK;
}
