/* sections.c - the sections that axis.ini, controller files and descriptions share.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/sections_internal.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define AXIS(field)        offsetof(struct tune_axis_entry, field)
#define DRIVE(field)       offsetof(struct tune_drive_entry, field)
#define GAIN(field)        offsetof(struct tune_controller, field)
#define REQUIREMENT(field) offsetof(struct tune_requirement, field)
#define EXPECTED(field)    offsetof(struct tune_expected_entry, field)
#define TEXT               .type = KEY_TEXT, .size = TUNE_TEXT_LENGTH

const struct key_spec axis_keys[AXIS_KEYS] = {
    {.name = "site", TEXT, .offset = AXIS(site)},
    {.name = "name",
     .type = KEY_WORD,
     .size = TUNE_TEXT_LENGTH,
     .offset = AXIS(name),
     .choices = "hour-angle|declination|azimuth|altitude|rotator|other"},
    {.name = "configuration", TEXT, .offset = AXIS(configuration)},
    {.name = "date", TEXT, .offset = AXIS(date)},
    {.name = "latitude_deg", .offset = AXIS(latitude_deg), .low = -90.0, .high = 90.0},
};

const struct key_spec drive_keys[DRIVE_KEYS] = {
    {.name = "loop_rate_hz", .offset = DRIVE(loop_rate_hz), KEY_POSITIVE},
    {.name = "sample_rate_hz", .offset = DRIVE(sample_rate_hz), KEY_POSITIVE},
    {.name = "torque_per_unit_nm", .offset = DRIVE(torque_per_unit_nm), KEY_POSITIVE},
    {.name = "torque_limit_nm", .offset = DRIVE(torque_limit_nm), KEY_POSITIVE},
    {.name = "torque_continuous_nm", .offset = DRIVE(torque_continuous_nm), KEY_POSITIVE},
    {.name = "encoder_counts_per_turn", .offset = DRIVE(encoder_counts_per_turn), KEY_POSITIVE},
    {.name = "encoder_lines_per_turn", .offset = DRIVE(encoder_lines_per_turn), KEY_POSITIVE},
    {.name = "travel_limit_deg", .type = KEY_RANGE, .offset = DRIVE(travel_limit_deg)},
    {.name = "rate_limit_deg_per_s", .offset = DRIVE(rate_limit_deg_per_s), KEY_POSITIVE},
    {.name = "max_biquads",
     .type = KEY_WHOLE,
     .offset = DRIVE(max_biquads),
     .low = 0.0,
     .high = TUNE_BIQUADS_MAX},
    {.name = "coefficient_format",
     .type = KEY_TEXT,
     .size = sizeof((struct tune_drive_entry *)0)->coefficient_format,
     .offset = DRIVE(coefficient_format)},
    {.name = "following_error_limit_deg", .offset = DRIVE(following_error_limit_deg), KEY_POSITIVE},
    {.name = "pole_pairs",
     .type = KEY_WHOLE,
     .offset = DRIVE(pole_pairs),
     .low = 1.0,
     .high = 10000.0},
};

#define BIQUAD .stride = sizeof(struct tune_biquad_spec), .most = TUNE_BIQUADS_MAX

/* Ranges that depend on the loop rate are those of tune_controller_check. */
const struct key_spec controller_keys[CONTROLLER_KEYS] = {
    {.name = "kp_nm_per_rad", .offset = GAIN(kp_nm_per_rad), KEY_NOT_NEGATIVE},
    {.name = "ki_nm_per_rad_s", .offset = GAIN(ki_nm_per_rad_s), KEY_NOT_NEGATIVE},
    {.name = "kd_nm_s_per_rad", .offset = GAIN(kd_nm_s_per_rad), KEY_NOT_NEGATIVE},
    {.name = "derivative_filter_hz", .offset = GAIN(derivative_filter_hz), KEY_POSITIVE},
    {.name = "lowpass_hz", .offset = GAIN(lowpass_hz), KEY_POSITIVE},
    {.name = "lowpass_order",
     .type = KEY_ORDER,
     .offset = GAIN(lowpass_order),
     .low = 1.0,
     .high = 2.0},
    {.name = "lowpass_zeta", .offset = GAIN(lowpass_zeta), KEY_POSITIVE},
    {.name = "biquad#_zero_hz", .offset = GAIN(biquad[0].zero_hz), KEY_POSITIVE, BIQUAD},
    {.name = "biquad#_zero_zeta", .offset = GAIN(biquad[0].zero_zeta), KEY_NOT_NEGATIVE, BIQUAD},
    {.name = "biquad#_pole_hz", .offset = GAIN(biquad[0].pole_hz), KEY_POSITIVE, BIQUAD},
    {.name = "biquad#_pole_zeta", .offset = GAIN(biquad[0].pole_zeta), KEY_POSITIVE, BIQUAD},
    {.name = "position_divider",
     .type = KEY_WHOLE,
     .offset = GAIN(position_divider),
     .low = 1.0,
     .high = TUNE_POSITION_DIVIDER_MAX},
};

const struct key_spec requirement_keys[REQUIREMENT_KEYS] = {
    {.name = "jitter_rms_arcsec", .offset = REQUIREMENT(jitter_rms_arcsec), KEY_POSITIVE},
    {.name = "jitter_of",
     .type = KEY_SWITCH,
     .offset = REQUIREMENT(jitter_of_sky),
     .choices = "encoder|sky"},
    {.name = "phase_margin_deg",
     .offset = REQUIREMENT(phase_margin_deg),
     .low = 0.0,
     .high = 180.0,
     .above = true,
     .below = true},
    {.name = "gain_margin_db", .offset = REQUIREMENT(gain_margin_db), KEY_POSITIVE},
    {.name = "gain_reduction_margin_db",
     .offset = REQUIREMENT(gain_reduction_margin_db),
     KEY_POSITIVE},
    {.name = "peak_sensitivity", /* max |S| is never below 1 */
     .offset = REQUIREMENT(peak_sensitivity),
     .low = 1.0,
     .high = INFINITY,
     .above = true},
    {.name = "noise_torque_rms_nm", .offset = REQUIREMENT(noise_torque_rms_nm), KEY_POSITIVE},
    {.name = "tracking_rate_arcsec_per_s",
     .offset = REQUIREMENT(tracking_rate_arcsec_per_s),
     KEY_ANY},
    {.name = "settle_arcsec", .offset = REQUIREMENT(settle_arcsec), KEY_POSITIVE},
    {.name = "settle_s", .offset = REQUIREMENT(settle_s), KEY_POSITIVE},
};

const struct key_spec expected_keys[EXPECTED_KEYS] = {
    {.name = "inertia_kg_m2", .offset = EXPECTED(inertia_kg_m2), KEY_POSITIVE},
    {.name = "inertia_std_kg_m2", .offset = EXPECTED(inertia_std_kg_m2), KEY_POSITIVE},
    {.name = "coulomb_nm", .offset = EXPECTED(coulomb_nm), KEY_NOT_NEGATIVE},
    {.name = "stop_room_deg", .offset = EXPECTED(stop_room_deg), KEY_POSITIVE},
    {.name = "index_repeat_arcsec", .offset = EXPECTED(index_repeat_arcsec), KEY_POSITIVE},
    {.name = "commutation_offset_deg",
     .offset = EXPECTED(commutation_offset_deg),
     .low = 0.0,
     .high = 90.0,
     .above = true,
     .below = true},
};

/* ---- [drive] -------------------------------------------------------------------------------------*/

static struct tune_drive_entry drive_defaults(void)
{
    struct tune_drive_entry drive = {
        .loop_rate_hz = NAN,
        .sample_rate_hz = NAN,
        .torque_per_unit_nm = NAN,
        .torque_limit_nm = NAN,
        .torque_continuous_nm = NAN,
        .encoder_counts_per_turn = NAN,
        .encoder_lines_per_turn = NAN,
        .travel_limit_deg = {NAN, NAN},
        .rate_limit_deg_per_s = NAN,
        .max_biquads = 3,
        .coefficient_format = "float64",
        .following_error_limit_deg = NAN,
        .pole_pairs = 0,
    };
    return drive;
}

static enum tune_status check_drive(const struct tune_drive_entry *drive,
                                    const struct ini_document *document,
                                    const struct ini_section *section, struct tune_error *err)
{
    struct tune_number_format format;
    if (tune_number_format_parse(&format, drive->coefficient_format, NULL) != TUNE_OK)
        return ini_refuse(err, section, ini_find(document, section, "coefficient_format"),
                          "float64, float32 or Qm.n",
                          "coefficient_format = %s is not possible: expected float64, float32 or "
                          "Qm.n such as Q2.30",
                          drive->coefficient_format);
    if (drive->torque_continuous_nm > drive->torque_limit_nm)
        return ini_refuse(err, section, ini_find(document, section, "torque_continuous_nm"),
                          "at most torque_limit_nm",
                          "torque_continuous_nm = %g is above torque_limit_nm = %g",
                          drive->torque_continuous_nm, drive->torque_limit_nm);
    return TUNE_OK;
}

static enum tune_status read_drive(struct tune_drive_entry *drive,
                                   const struct ini_document *document,
                                   const struct section_spec *spec, size_t n_specs,
                                   struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "drive");
    enum tune_status status;
    drive_form_start(drive);
    status = keys_read(document, section, spec, n_specs, drive, NULL, err);
    if (status == TUNE_OK) status = keys_require(document, section, "loop_rate_hz", err);
    if (status == TUNE_OK) status = check_drive(drive, document, section, err);
    if (status == TUNE_OK) status = drive_form_finish(drive, document, section, err);
    if (isnan(drive->sample_rate_hz)) drive->sample_rate_hz = drive->loop_rate_hz;
    return status;
}

/* ---- [controller] --------------------------------------------------------------------------------*/

/* What only makes sense beside another key. */
static enum tune_status check_company(const struct ini_document *document,
                                      const struct ini_section *section, struct tune_error *err)
{
    static const char *const pair[][2] = {{"lowpass_order", "lowpass_hz"},
                                          {"lowpass_zeta", "lowpass_hz"},
                                          {"derivative_filter_hz", "kd_nm_s_per_rad"}};
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++) {
        const struct ini_entry *entry = ini_find(document, section, pair[i][0]);
        if (entry && !ini_find(document, section, pair[i][1]))
            return ini_refuse(err, section, entry, pair[i][1],
                              "%s has no effect without %s: add it or remove this", pair[i][0],
                              pair[i][1]);
    }
    return TUNE_OK;
}

/* The range check of the control room, with the place in the file. */
static enum tune_status check_gains(const struct tune_controller *controller,
                                    const struct ini_document *document,
                                    const struct ini_section *section, struct tune_error *err)
{
    struct tune_error found = {0};
    const struct tune_controller *c = controller;
    if (c->kp_nm_per_rad == 0.0 && c->ki_nm_per_rad_s == 0.0 && c->kd_nm_s_per_rad == 0.0)
        return ini_refuse(err, section, NULL, "at least one gain above 0",
                          "the section [controller] has no gain: give kp_nm_per_rad, "
                          "kd_nm_s_per_rad and ki_nm_per_rad_s");
    if (tune_controller_check(controller, &found) == TUNE_OK) return TUNE_OK;
    return ini_refuse(err, section, ini_find(document, section, found.thing), found.limit, "%s",
                      found.text);
}

enum tune_status sections_read_controller(struct tune_controller *out,
                                          const struct ini_document *document,
                                          const struct ini_section *section,
                                          const struct section_spec *spec, size_t n_specs,
                                          double loop_rate_hz, struct tune_error *err)
{
    static const char *const suffix[] = {"_zero_hz", "_zero_zeta", "_pole_hz", "_pole_zeta"};
    enum tune_status status;
    *out = tune_controller_defaults(loop_rate_hz);
    status = keys_read(document, section, spec, n_specs, out, NULL, err);
    if (status == TUNE_OK)
        status = keys_count(&out->n_biquads, document, section, "biquad", suffix, 4, err);
    if (status == TUNE_OK) status = check_company(document, section, err);
    if (status == TUNE_OK) status = check_gains(out, document, section, err);
    return status;
}

/* ---- [expected] ----------------------------------------------------------------------------------*/

static enum tune_status read_expected(struct tune_expected_entry *expected,
                                      const struct ini_document *document,
                                      const struct section_spec *spec, size_t n_specs,
                                      struct tune_error *err)
{
    const struct tune_expected_entry none = {NAN, NAN, NAN, NAN, NAN, 15.0};
    const struct ini_section *section = keys_section(document, "expected");
    enum tune_status status = TUNE_OK;
    *expected = none;
    if (section) status = keys_read(document, section, spec, n_specs, expected, NULL, err);
    if (status == TUNE_OK && section && ini_find(document, section, "inertia_std_kg_m2"))
        status = keys_require(document, section, "inertia_kg_m2", err);
    if (isnan(expected->inertia_std_kg_m2))
        expected->inertia_std_kg_m2 = 0.10 * expected->inertia_kg_m2;
    return status;
}

/* ---- all -----------------------------------------------------------------------------------------*/

static struct tune_requirement requirement_defaults(void)
{
    const struct tune_requirement none = {NAN, false, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    return none;
}

enum tune_status sections_read(struct tune_logbook *out, const struct ini_document *document,
                               const struct section_spec *spec, size_t n_specs,
                               struct tune_error *err)
{
    const struct ini_section *controller = keys_section(document, "controller");
    const struct ini_section *requirement = keys_section(document, "requirement");
    enum tune_status status;
    out->axis.latitude_deg = NAN;
    out->drive = drive_defaults();
    out->requirement = requirement_defaults();
    status =
        keys_read(document, keys_section(document, "axis"), spec, n_specs, &out->axis, NULL, err);
    if (status == TUNE_OK) status = read_drive(&out->drive, document, spec, n_specs, err);
    if (status == TUNE_OK && controller) {
        out->has_controller = true;
        status = sections_read_controller(&out->controller, document, controller, spec, n_specs,
                                          out->drive.loop_rate_hz, err);
    }
    if (status == TUNE_OK && requirement)
        status = keys_read(document, requirement, spec, n_specs, &out->requirement, NULL, err);
    if (isnan(out->requirement.noise_torque_rms_nm))
        out->requirement.noise_torque_rms_nm = 0.02 * out->drive.torque_continuous_nm;
    if (status == TUNE_OK) status = read_expected(&out->expected, document, spec, n_specs, err);
    return status;
}
