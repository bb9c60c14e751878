/* weights.c - what can be shifted or added to bring an axis into balance.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/weights_internal.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#define WEIGHT(field) offsetof(struct tune_weight_entry, field)

const struct key_spec slide_keys[SLIDE_KEYS] = {
    {.name = "mass_kg", .offset = WEIGHT(mass_kg), KEY_POSITIVE},
    {.name = "angle_deg", .offset = WEIGHT(angle_deg), KEY_ANY},
    {.name = "travel_mm", .type = KEY_RANGE, .offset = WEIGHT(travel_mm)},
    {.name = "step_mm", .offset = WEIGHT(step_mm), KEY_NOT_NEGATIVE},
};

const struct key_spec place_keys[PLACE_KEYS] = {
    {.name = "arm_m", .offset = WEIGHT(arm_m), KEY_POSITIVE},
    {.name = "angle_deg", .offset = WEIGHT(angle_deg), KEY_ANY},
    {.name = "most_kg", .offset = WEIGHT(most_kg), KEY_POSITIVE},
    {.name = "step_kg", .offset = WEIGHT(step_kg), KEY_NOT_NEGATIVE},
};

static enum tune_status require(const struct tune_weight_entry *entry,
                                const struct ini_document *document,
                                const struct ini_section *section, struct tune_error *err)
{
    static const char *const slide[] = {"mass_kg", "angle_deg", "travel_mm"};
    static const char *const place[] = {"arm_m", "angle_deg", "most_kg"};
    const char *const *key = entry->place ? place : slide;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < 3 && !status; i++)
        status = keys_require(document, section, key[i], err);
    if (status || entry->place || (entry->travel_mm[0] <= 0.0 && entry->travel_mm[1] >= 0.0))
        return status;
    return ini_refuse(err, section, ini_find(document, section, "travel_mm"),
                      "from 0 or less to 0 or more",
                      "travel_mm is counted from where the slide stands now: its low end is 0 or "
                      "less, its high end 0 or more");
}

static bool is_weight(const struct ini_section *section)
{
    return !strcmp(section->kind, "slide") || !strcmp(section->kind, "place");
}

enum tune_status weights_read(struct tune_logbook *out, const struct ini_document *document,
                              const struct section_spec *spec, size_t n_specs,
                              struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < document->n_sections && !status; i++) {
        const struct ini_section *section = &document->section[i];
        struct tune_weight_entry *entry = &out->weight[out->n_weights];
        if (!is_weight(section)) continue;
        if (out->n_weights == TUNE_WEIGHTS_MAX)
            return ini_refuse(err, section, NULL, "32 slides and places at most",
                              "a logbook takes 32 slides and places: remove those not used");
        *entry = (struct tune_weight_entry){.place = !strcmp(section->kind, "place")};
        (void)snprintf(entry->name, sizeof entry->name, "%s", section->name);
        status = keys_read(document, section, spec, n_specs, entry, NULL, err);
        if (!status) status = require(entry, document, section, err);
        out->n_weights++;
    }
    return status;
}
