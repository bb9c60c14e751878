/* description_sensors.c - second sensors on a simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stddef.h>

#include "core/units.h"
#include "logbook/description_internal.h"

/* [sensors] as the file has it. */
struct raw_sensors {
    bool load_encoder, accelerometer;
    double load_noise_arcsec, accel_arm_m, accel_noise_ug;
};

#define SENSORS(field) offsetof(struct raw_sensors, field)

const struct key_spec sensors_keys[SENSORS_KEYS] = {
    {.name = "load_encoder",
     .type = KEY_SWITCH,
     .offset = SENSORS(load_encoder),
     .choices = "no|yes"},
    {.name = "load_noise_arcsec", .offset = SENSORS(load_noise_arcsec), KEY_NOT_NEGATIVE},
    {.name = "accelerometer",
     .type = KEY_SWITCH,
     .offset = SENSORS(accelerometer),
     .choices = "no|yes"},
    {.name = "accel_arm_m", .offset = SENSORS(accel_arm_m), KEY_ANY},
    {.name = "accel_noise_ug_per_rthz", .offset = SENSORS(accel_noise_ug), KEY_NOT_NEGATIVE},
};

/* 15 nrad; 10 ug/rtHz, a quiet piezoelectric or force-balance instrument (common practice, no source). */
enum tune_status description_read_sensors(struct tune_description *out,
                                          const struct ini_document *document,
                                          struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "sensors");
    struct raw_sensors raw = {.load_noise_arcsec = tune_arcsec_from_rad(15e-9),
                              .accel_arm_m = 1.0,
                              .accel_noise_ug = 10.0};
    enum tune_status status;
    if (!section) return TUNE_OK;
    status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, &raw, NULL, err);
    if (status == TUNE_OK && raw.accel_arm_m == 0.0)
        status = ini_refuse(err, section, ini_find(document, section, "accel_arm_m"),
                            "a length other than 0",
                            "accel_arm_m = 0: an accelerometer on the axis "
                            "itself feels no rotation");
    out->sensors = (struct tune_simulated_sensors){
        .load_encoder = raw.load_encoder,
        .accelerometer = raw.accelerometer,
        .load_noise_rad = tune_rad_from_arcsec(raw.load_noise_arcsec),
        .accel_arm_m = raw.accel_arm_m,
        .accel_noise_m_per_s2_per_rthz = 1e-6 * 9.80665 * raw.accel_noise_ug};
    return status;
}
