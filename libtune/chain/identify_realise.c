/* identify_realise.c - the plants of an identification as files for other tools.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "chain/identify_internal.h"
#include "results/realisation.h"

enum tune_status chain_identify_realise(struct tune_identification *out,
                                        struct identification_work *work, struct tune_error *err)
{
    for (size_t i = 0; i < work->n; i++) {
        struct tune_pointing_plant *pointing = &out->pointing[i];
        struct chain_file *file = &work->pointing[i].plant;
        const enum tune_status status = tune_realisation_text(
            &file->text, &pointing->fit.plant, pointing->name, &out->provenance, err);
        if (status) return status;
        (void)snprintf(file->name, sizeof file->name, "plant-%s.json", pointing->name);
        chain_result_file(&pointing->plant_file, file);
    }
    return TUNE_OK;
}
