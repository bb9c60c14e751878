/* identify_assisted.c - the response of a pointing estimated once more with the help of its plant.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "plant/assisted.h"
#include "results/tables.h"

enum tune_status chain_identify_assisted(struct tune_pointing_plant *out,
                                         struct pointing_work *pointing, struct tune_error *err)
{
    const struct tune_assisted_opts opts = tune_assisted_defaults();
    const struct tune_lines **lines = malloc(pointing->n_records * sizeof *lines);
    struct tune_frf frf = {0};
    enum tune_status status;
    if (!lines) return tune_error_memory(err, "estimating a response with its model");
    for (size_t i = 0; i < pointing->n_records; i++)
        lines[i] = &pointing->record[i].lines;
    status = tune_frf_assisted(&frf, &out->fit, lines, pointing->n_records, &opts, err);
    free(lines);
    if (status == TUNE_EDATA) return TUNE_OK; /* too few lines: there is none */
    if (!status) status = tune_frf_csv(&pointing->assisted.text, &frf, err);
    if (!status) {
        (void)snprintf(pointing->assisted.name, sizeof pointing->assisted.name, "assisted-%s.csv",
                       out->name);
        chain_result_file(&out->assisted_file, &pointing->assisted);
        memcpy(out->assisted_band_hz, frf.band_hz, sizeof out->assisted_band_hz);
    }
    tune_frf_free(&frf);
    return status;
}
