/* identify_levels.c - the records of a pointing against each other: level and drift.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "chain/identify_internal.h"

/* Rows between the first and the last that are more than a hundredth of the peak: how long it is quiet before
 * and after says nothing of the level. */
double chain_record_level(const struct tune_record *rec)
{
    const double *d = rec->channel[TUNE_ROLE_EXCITATION];
    double peak = 0.0, sum = 0.0;
    size_t first = 0, last = rec->n;
    if (!d) d = rec->channel[TUNE_ROLE_TORQUE];
    for (size_t k = 0; k < rec->n; k++)
        peak = fmax(peak, fabs(d[k]));
    if (!(peak > 0.0)) return (double)NAN;
    while (fabs(d[first]) <= 0.01 * peak)
        first++;
    while (fabs(d[last - 1]) <= 0.01 * peak)
        last--;
    for (size_t k = first; k < last; k++)
        sum += d[k] * d[k];
    return sqrt(sum / (double)(last - first));
}

static void note_change(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const struct tune_levels *levels = &out->levels;
    if (tune_levels_verdict(levels) != TUNE_LEVEL_CHANGES) return;
    tune_notes_add(&pointing->notes,
                   "Pointing %s changes with the level of excitation (%.3g to %.3g N m rms)%s: its "
                   "plant is a mean, the std of the modes concerned are widened, and a loop that "
                   "moves the axis less than the sweeps did may meet another axis.",
                   out->name, levels->level[0], levels->level[levels->n_levels - 1],
                   levels->or_drift ? ", or drifted from sweep to sweep (sweep each level twice or "
                                      "more, in turn, to tell which)"
                                    : "");
}

enum tune_status chain_identify_levels(struct tune_pointing_plant *out,
                                       struct pointing_work *pointing, struct tune_error *err)
{
    struct tune_level_record *record = calloc(pointing->n_records, sizeof *record);
    enum tune_status status;
    if (!record) return tune_error_memory(err, "comparing records");
    for (size_t i = 0; i < pointing->n_records; i++) {
        record[i].lines = &pointing->record[i].lines;
        record[i].level = pointing->record[i].level_nm;
    }
    status = tune_levels_compare(&out->levels, record, pointing->n_records, &out->fit, out->band_hz,
                                 err);
    free(record);
    if (!status) status = tune_levels_widen(&out->fit, &out->levels, out->band_hz, err);
    if (status) return status;
    /* on its bound it has none */
    if (out->fit.delay_wanted_s < 0.0) out->fit.delay.std = (double)NAN;
    note_change(pointing, out);
    return TUNE_OK;
}
