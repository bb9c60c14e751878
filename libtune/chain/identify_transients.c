/* identify_transients.c - the fit of sweeps that neither begin nor end at rest.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>

#include "chain/identify_internal.h"
#include "plant/transient.h"

enum tune_status chain_identify_transients(struct tune_pointing_plant *out,
                                           struct pointing_work *pointing,
                                           const struct tune_frf *frf,
                                           const struct tune_fit_opts *opts,
                                           struct progress_item *watch, struct tune_error *err)
{
    struct tune_lines **lines;
    enum tune_status status;
    if (!(pointing->unquiet_s > 0.0)) return TUNE_OK;
    lines = malloc(pointing->n_records * sizeof *lines);
    if (!lines) return tune_error_memory(err, "fitting what a record began with");
    for (size_t i = 0; i < pointing->n_records; i++)
        lines[i] = &pointing->record[i].lines;
    status = progress_stage(watch, "fitting again", 0.5, 1.0, err);
    if (!status)
        status = tune_fit_transients(&out->fit, frf, lines, pointing->n_records, opts,
                                     &watch->watch, err);
    free(lines);
    return status;
}
