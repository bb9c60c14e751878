/* judgement.c - a requirement of the logbook and what became of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/judgement.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void tune_judgements_add(struct tune_judgements *out, const char *name, double limit, double value,
                         bool at_most, const char *where)
{
    struct tune_judgement *item;
    if (out->n == 0) out->met = true;
    if (isnan(limit) || out->n == TUNE_JUDGEMENTS_MAX) return;
    item = &out->item[out->n++];
    (void)snprintf(item->name, sizeof item->name, "%s", name);
    (void)snprintf(item->where, sizeof item->where, "%s", where ? where : "");
    item->limit = limit;
    item->value = value;
    item->at_most = at_most;
    item->met = at_most ? value <= limit : value >= limit; /* false for NAN */
    out->met = out->met && item->met;
}

bool tune_judgement_cannot_tell(const struct tune_judgement *item)
{
    return !strcmp(item->name, TUNE_JUDGEMENT_TONES) && isnan(item->value);
}
