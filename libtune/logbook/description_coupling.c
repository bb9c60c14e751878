/* description_coupling.c - how the modes carry the other axis of the mount along.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "logbook/description_internal.h"

/* [coupling] as the file has it. */
struct raw_coupling {
    double ratio[TUNE_MODES_MAX], noise_arcsec;
};

const struct key_spec coupling_keys[COUPLING_KEYS] = {
    {.name = "mode#_ratio",
     .offset = offsetof(struct raw_coupling, ratio[0]),
     KEY_ANY,
     .stride = sizeof(double),
     .most = TUNE_MODES_MAX},
    {.name = "noise_arcsec",
     .offset = offsetof(struct raw_coupling, noise_arcsec),
     KEY_NOT_NEGATIVE},
};

enum tune_status description_check_modes(const struct tune_plant *plant, const char *suffix,
                                         const struct ini_document *document,
                                         const struct ini_section *section, struct tune_error *err)
{
    for (size_t i = plant->n_modes; i < TUNE_MODES_MAX; i++) {
        const struct ini_entry *entry;
        char key[INI_WORD];
        (void)snprintf(key, sizeof key, "mode%zu_%s", i + 1, suffix);
        entry = ini_find(document, section, key);
        if (entry)
            return ini_refuse(err, section, entry, "a mode of [plant]",
                              "%s: [plant] has %zu modes only", key, plant->n_modes);
    }
    return TUNE_OK;
}

/* The other axis of the mount: every log of a course tells its angle. */
enum tune_status description_read_coupling(struct tune_description *out,
                                           const struct ini_document *document,
                                           struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "coupling");
    struct raw_coupling raw = {.noise_arcsec = 0.0};
    enum tune_status status;
    if (!section) return TUNE_OK;
    status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, &raw, NULL, err);
    if (status == TUNE_OK)
        status = description_check_modes(&out->axis.plant, "ratio", document, section, err);
    memcpy(out->axis.other_ratio, raw.ratio, sizeof out->axis.other_ratio);
    out->axis.other_noise_rad = tune_rad_from_arcsec(raw.noise_arcsec);
    return status;
}
