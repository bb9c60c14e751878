/* description.c - what `simulate` is to build.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/description_internal.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "logbook/description_trouble_internal.h"

#define PLANT(field)    offsetof(struct tune_plant, field)
#define MODE            .stride = sizeof(struct tune_mode), .most = TUNE_MODES_MAX
#define FRICTION(field) offsetof(struct tune_friction, field)
#define POINTING(field) offsetof(struct tune_pointing_entry, field)

static const struct key_spec plant_keys[] = {
    {.name = "inertia_kg_m2", .offset = PLANT(inertia_kg_m2), KEY_POSITIVE},
    {.name = "viscous_nm_s_per_rad", .offset = PLANT(viscous_nm_s_per_rad), KEY_NOT_NEGATIVE},
    {.name = "delay_s", .offset = PLANT(delay_s), KEY_NOT_NEGATIVE},
    {.name = "mode#_hz", .offset = PLANT(mode[0].f_hz), KEY_POSITIVE, MODE},
    {.name = "mode#_zeta", .offset = PLANT(mode[0].zeta), KEY_RATIO, MODE},
    {.name = "mode#_gain", .offset = PLANT(mode[0].gain), KEY_ANY, MODE},
    {.name = "mode#_gain_quadrature", .offset = PLANT(mode[0].gain_quadrature), KEY_ANY, MODE},
    {.name = "mode#_payload_ratio", .offset = PLANT(mode[0].payload_ratio), KEY_ANY, MODE},
};

/* The file gives the Stribeck speed in arcsec/s; it is converted after reading. */
static const struct key_spec friction_keys[] = {
    {.name = "coulomb_nm", .offset = FRICTION(coulomb_nm), KEY_NOT_NEGATIVE},
    {.name = "breakaway_nm", .offset = FRICTION(breakaway_nm), KEY_NOT_NEGATIVE},
    {.name = "stribeck_arcsec_per_s", .offset = FRICTION(stribeck_rad_per_s), KEY_POSITIVE},
    {.name = "bristle_nm_per_rad", .offset = FRICTION(bristle_nm_per_rad), KEY_POSITIVE},
    {.name = "bristle_nm_s_per_rad", .offset = FRICTION(bristle_nm_s_per_rad), KEY_NOT_NEGATIVE},
    {.name = "viscous_nm_s_per_rad", .offset = FRICTION(viscous_nm_s_per_rad), KEY_NOT_NEGATIVE},
};

/* [disturbance] as the file has it. */
struct raw_disturbance {
    struct tune_axis axis;
    double encoder_noise_arcsec;
    uint64_t seed;
};

#define DISTURBANCE(field) offsetof(struct raw_disturbance, field)

static const struct key_spec disturbance_keys[] = {
    {.name = "seed", .type = KEY_SEED, .offset = DISTURBANCE(seed), .low = 0.0, .high = INFINITY},
    {.name = "wind_rms_nm", .offset = DISTURBANCE(axis.wind_rms_nm), KEY_NOT_NEGATIVE},
    {.name = "wind_corner_hz", .offset = DISTURBANCE(axis.wind_corner_hz), KEY_POSITIVE},
    {.name = "drive_noise_nm_per_rthz",
     .offset = DISTURBANCE(axis.drive_noise_nm_per_rthz),
     KEY_NOT_NEGATIVE},
    {.name = "encoder_noise_arcsec", .offset = DISTURBANCE(encoder_noise_arcsec), KEY_NOT_NEGATIVE},
    {.name = "ripple_nm", .offset = DISTURBANCE(axis.ripple_nm), KEY_NOT_NEGATIVE},
    {.name = "ripple_per_turn", .offset = DISTURBANCE(axis.ripple_per_turn), KEY_NOT_NEGATIVE},
};

static const struct key_spec pointing_keys[] = {
    {.name = "angle_deg", .offset = POINTING(angle_deg), KEY_ANY},
    {.name = "inertia_factor", .offset = POINTING(inertia_factor), KEY_POSITIVE},
    {.name = "mode#_factor",
     .offset = POINTING(mode_factor[0]),
     KEY_POSITIVE,
     .stride = sizeof(double),
     .most = TUNE_MODES_MAX},
};

#define KEYS(table) .key = table, .n_keys = sizeof table / sizeof *table

const struct section_spec description_sections[DESCRIPTION_SECTIONS] = {
    SECTION_AXIS,
    SECTION_DRIVE,
    SECTION_CONTROLLER(true),
    SECTION_REQUIREMENT,
    SECTION_EXPECTED,
    {.kind = "plant", .required = true, KEYS(plant_keys)},
    {.kind = "friction", KEYS(friction_keys)},
    {.kind = "disturbance", KEYS(disturbance_keys)},
    {.kind = "balance", .key = balance_keys, .n_keys = BALANCE_KEYS},
    {.kind = "coupling", .key = coupling_keys, .n_keys = COUPLING_KEYS},
    {.kind = "sensors", .key = sensors_keys, .n_keys = SENSORS_KEYS},
    {.kind = "mismatch", .key = mismatch_keys, .n_keys = MISMATCH_KEYS},
    {.kind = "pointing", .named = true, .required = true, KEYS(pointing_keys)},
    {.kind = "log",
     .named = true,
     .required = true,
     .key = description_log_keys,
     .n_keys = DESCRIPTION_LOG_KEYS,
     .more = description_trouble_keys,
     .n_more = DESCRIPTION_TROUBLE_KEYS},
};

void tune_description_free(struct tune_description *description)
{
    tune_logbook_free(&description->logbook);
    free(description->pointing);
    free(description->log);
    *description = (struct tune_description){0};
}

/* ---- the axis ------------------------------------------------------------------------------------*/

static enum tune_status read_plant(struct tune_plant *plant, const struct ini_document *document,
                                   struct tune_error *err)
{
    static const char *const suffix[] = {"_hz", "_zeta", "_gain"};
    const struct ini_section *section = keys_section(document, "plant");
    enum tune_status status;
    for (size_t i = 0; i < TUNE_MODES_MAX; i++)
        plant->mode[i].payload_ratio = NAN;
    status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, plant, NULL, err);
    if (status == TUNE_OK) status = keys_require(document, section, "inertia_kg_m2", err);
    if (status == TUNE_OK)
        status = keys_count(&plant->n_modes, document, section, "mode", suffix, 3, err);
    for (size_t i = 0; i < plant->n_modes; i++)
        plant->complex_residues |= plant->mode[i].gain_quadrature != 0.0;
    for (size_t i = 1; i < plant->n_modes && status == TUNE_OK; i++) {
        char key[INI_WORD];
        (void)snprintf(key, sizeof key, "mode%zu_hz", i + 1);
        if (plant->mode[i].f_hz > plant->mode[i - 1].f_hz) continue;
        status = ini_refuse(err, section, ini_find(document, section, key), "above the mode before",
                            "%s = %g is not above the mode before, %g Hz", key, plant->mode[i].f_hz,
                            plant->mode[i - 1].f_hz);
    }
    return status;
}

static enum tune_status read_friction(struct tune_friction *friction,
                                      const struct ini_document *document, struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "friction");
    enum tune_status status;
    if (!section) return TUNE_OK;
    status = keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, friction,
                       NULL, err);
    if (status != TUNE_OK) return status;
    if (!ini_find(document, section, "breakaway_nm")) friction->breakaway_nm = friction->coulomb_nm;
    friction->stribeck_rad_per_s = tune_rad_from_arcsec(friction->stribeck_rad_per_s);
    if (friction->breakaway_nm < friction->coulomb_nm)
        return ini_refuse(err, section, ini_find(document, section, "breakaway_nm"),
                          "at least coulomb_nm", "breakaway_nm = %g is below coulomb_nm = %g",
                          friction->breakaway_nm, friction->coulomb_nm);
    if (friction->coulomb_nm == 0.0) return TUNE_OK;
    status = keys_require(document, section, "stribeck_arcsec_per_s", err);
    if (status == TUNE_OK) status = keys_require(document, section, "bristle_nm_per_rad", err);
    return status;
}

static enum tune_status read_disturbance(struct tune_description *out,
                                         const struct ini_document *document,
                                         struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "disturbance");
    struct raw_disturbance raw = {.axis = out->axis, .seed = 1};
    enum tune_status status;
    if (section) {
        status = keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, &raw,
                           NULL, err);
        if (status == TUNE_OK && raw.axis.ripple_nm > 0.0)
            status = keys_require(document, section, "ripple_per_turn", err);
        if (status != TUNE_OK) return status;
    }
    out->axis = raw.axis;
    out->axis.encoder_noise_rad = tune_rad_from_arcsec(raw.encoder_noise_arcsec);
    out->seed = raw.seed;
    return TUNE_OK;
}

static enum tune_status read_axis(struct tune_description *out, const struct ini_document *document,
                                  struct tune_error *err)
{
    const struct tune_drive_entry *drive = &out->logbook.drive;
    enum tune_status status;
    out->axis = tune_axis_defaults();
    out->axis.plant.loop_rate_hz = drive->loop_rate_hz;
    if (!isnan(drive->torque_limit_nm)) out->axis.torque_limit_nm = drive->torque_limit_nm;
    if (!isnan(drive->encoder_counts_per_turn))
        out->axis.encoder_step_rad = 2.0 * TUNE_PI / drive->encoder_counts_per_turn;
    if (drive->sample_rate_hz != drive->loop_rate_hz) {
        const struct ini_section *section = keys_section(document, "drive");
        return ini_refuse(err, section, ini_find(document, section, "sample_rate_hz"),
                          "loop_rate_hz",
                          "a simulated axis logs at the loop rate: remove sample_rate_hz");
    }
    status = read_plant(&out->axis.plant, document, err);
    if (status == TUNE_OK) status = read_friction(&out->axis.friction, document, err);
    if (status == TUNE_OK) status = read_disturbance(out, document, err);
    if (status == TUNE_OK) status = description_read_balance(out, document, err);
    if (status == TUNE_OK) status = description_read_coupling(out, document, err);
    if (status == TUNE_OK) status = description_read_sensors(out, document, err);
    return status;
}

struct tune_axis tune_description_axis(const struct tune_description *description, size_t pointing)
{
    struct tune_axis axis = description->axis;
    const struct tune_pointing_entry *entry = &description->pointing[pointing];
    axis.plant.inertia_kg_m2 *= entry->inertia_factor;
    for (size_t i = 0; i < axis.plant.n_modes; i++)
        axis.plant.mode[i].f_hz *= entry->mode_factor[i];
    return axis;
}

/* ---- pointings -----------------------------------------------------------------------------------*/

static enum tune_status read_pointing(struct tune_description *out,
                                      const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    struct tune_pointing_entry *entry = &out->pointing[out->n_pointings];
    enum tune_status status;
    (void)snprintf(entry->name, sizeof entry->name, "%s", section->name);
    entry->inertia_factor = 1.0;
    for (size_t i = 0; i < TUNE_MODES_MAX; i++)
        entry->mode_factor[i] = 1.0;
    status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, entry, NULL, err);
    if (status == TUNE_OK)
        status = description_check_modes(&out->axis.plant, "factor", document, section, err);
    out->n_pointings++;
    return status;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

/* Pointings first: a log may stand before the one it names. */
static enum tune_status read_named(struct tune_description *out,
                                   const struct ini_document *document, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    out->pointing = calloc(document->n_sections, sizeof *out->pointing);
    out->log = calloc(document->n_sections, sizeof *out->log);
    if (!out->pointing || !out->log) return tune_error_memory(err, "reading a description");
    for (size_t i = 0; i < document->n_sections && status == TUNE_OK; i++)
        if (strcmp(document->section[i].kind, "pointing") == 0)
            status = read_pointing(out, document, &document->section[i], err);
    for (size_t i = 0; i < document->n_sections && status == TUNE_OK; i++)
        if (strcmp(document->section[i].kind, "log") == 0)
            status = description_read_log(out, document, &document->section[i], err);
    return status;
}

enum tune_status tune_description_parse(struct tune_description *out, const char *name,
                                        const char *text, size_t size, struct tune_error *err)
{
    struct ini_document document = {0};
    enum tune_status status = ini_parse_text(&document, text, size, err);
    *out = (struct tune_description){0};
    if (status == TUNE_OK)
        status = keys_check_sections(&document, description_sections, DESCRIPTION_SECTIONS,
                                     "a description", err);
    if (status == TUNE_OK)
        status = sections_read(&out->logbook, &document, description_sections, DESCRIPTION_SECTIONS,
                               err);
    if (status == TUNE_OK) status = read_axis(out, &document, err);
    if (status == TUNE_OK) status = description_read_mismatch(out, &document, err);
    if (status == TUNE_OK) status = read_named(out, &document, err);
    ini_free(&document);
    if (status == TUNE_OK) return TUNE_OK;
    tune_description_free(out);
    (void)tune_error_place(err, name, 0, 0);
    return status;
}

enum tune_status tune_description_read(struct tune_description *out, const char *path,
                                       struct tune_error *err)
{
    char *text;
    size_t size;
    enum tune_status status = ini_read_file(&text, &size, path, err);
    *out = (struct tune_description){0};
    if (status != TUNE_OK) return status;
    status = tune_description_parse(out, path, text, size, err);
    free(text);
    return status;
}
