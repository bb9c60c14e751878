/* realisation.h - the plant of one pointing for other tools: plant-<pointing>.json, poles, zeros and gain
 * and state space (plant/realisation.h).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RESULT_REALISATION_H
#define TUNE_RESULT_REALISATION_H

#include <stddef.h>

#include "core/status.h"
#include "logbook/logbook.h"
#include "plant/realisation.h"
#include "results/provenance.h"

#define TUNE_SCHEMA_PLANT "quietaxis-plant-1"

/* Release with tune_realisation_result_free(). */
struct tune_realisation_result {
    struct tune_provenance provenance;
    char pointing[TUNE_NAME_LENGTH + 1];
    struct tune_realisation plant;
};

/* The text of plant-<pointing>.json; the caller frees *text. */
TUNE_API enum tune_status tune_realisation_json(char **text,
                                                const struct tune_realisation_result *result,
                                                struct tune_error *err);

/* The other way. TUNE_EDATA names what is missing or of the wrong kind; name stands for the file. */
TUNE_API enum tune_status tune_realisation_parse(struct tune_realisation_result *out,
                                                 const char *name, const char *text, size_t size,
                                                 struct tune_error *err);

TUNE_API void tune_realisation_result_free(struct tune_realisation_result *result);

/* The same from a plant and the provenance of what it was identified from, which is left as it is. */
TUNE_API enum tune_status tune_realisation_text(char **text, const struct tune_plant *plant,
                                                const char *pointing,
                                                const struct tune_provenance *identified,
                                                struct tune_error *err);

#endif
