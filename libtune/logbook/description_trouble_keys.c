/* description_trouble_keys.c - the keys of [log NAME] that say how a simulated log is written (log_...) and
 * what is wrong with it (trouble_...).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>

#include "logbook/description_trouble_internal.h"

#define FORMAT(field)  offsetof(struct raw_trouble, format.field)
#define TROUBLE(field) offsetof(struct raw_trouble, trouble.field)
#define RAW(field)     offsetof(struct raw_trouble, field)
#define UNIT           .type = KEY_WORD, .size = TUNE_UNIT_NAME
#define COLUMN                                                                                     \
    .type = KEY_WORD, .size = TUNE_UNIT_NAME,                                                      \
    .choices = "excitation|torque|measured_torque|position|target|sky"
#define COUNT  .type = KEY_WHOLE, .low = 1.0, .high = 1e6
#define SWITCH .type = KEY_SWITCH, .choices = "no|yes"

const struct key_spec description_trouble_keys[DESCRIPTION_TROUBLE_KEYS] = {
    {.name = "log_time", UNIT, .offset = FORMAT(time_unit), .choices = "s|ms|us|none"},
    {.name = "log_angle_unit",
     UNIT,
     .offset = FORMAT(angle_unit),
     .choices = "arcsec|mas|deg|rad|counts"},
    {.name = "log_torque_unit",
     UNIT,
     .offset = FORMAT(torque_unit),
     .choices = "nm|a|v|permille|fraction"},
    {.name = "log_separator",
     .type = KEY_CHOICE,
     .offset = RAW(separator),
     .choices = "comma|semicolon|tab"},
    {.name = "log_decimal", .type = KEY_CHOICE, .offset = RAW(decimal), .choices = "point|comma"},
    {.name = "log_heading_rows",
     .type = KEY_WHOLE,
     .offset = FORMAT(heading_rows),
     .low = 0.0,
     .high = TUNE_HEADING_ROWS_MAX},
    {.name = "log_units_row", SWITCH, .offset = FORMAT(units_row)},
    {.name = "log_names",
     .type = KEY_SWITCH,
     .offset = FORMAT(drive_names),
     .choices = "usual|drive"},
    {.name = "log_gzip", .type = KEY_SWITCH, .offset = FORMAT(plain), .choices = "yes|no"},

    {.name = "trouble_rate_ppm", .offset = TROUBLE(rate_ppm), .low = -5e5, .high = 5e5},
    {.name = "trouble_stamp_scatter_s", .offset = TROUBLE(stamp_scatter_s), KEY_POSITIVE},
    {.name = "trouble_stamp_step_s", .offset = TROUBLE(stamp_step_s), KEY_POSITIVE},
    {.name = "trouble_backward_s", .offset = TROUBLE(backward_s), KEY_POSITIVE},
    {.name = "trouble_backward_at_s", .offset = TROUBLE(backward_at_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_backward_rows", COUNT, .offset = TROUBLE(backward_rows)},
    {.name = "trouble_missing_rows", COUNT, .offset = TROUBLE(missing_rows)},
    {.name = "trouble_missing_at_s", .offset = TROUBLE(missing_at_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_repeated_rows", COUNT, .offset = TROUBLE(repeated_rows)},
    {.name = "trouble_repeated_stamps", COUNT, .offset = TROUBLE(repeated_stamps)},
    {.name = "trouble_repeated_at_s", .offset = TROUBLE(repeated_at_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_rows", COUNT, .offset = TROUBLE(rows)},
    {.name = "trouble_unreadable_at_s", .offset = TROUBLE(unreadable_at_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_dead", COLUMN, .offset = RAW(dead)},
    {.name = "trouble_stuck", COLUMN, .offset = RAW(stuck)},
    {.name = "trouble_stuck_s", .offset = TROUBLE(stuck_s), KEY_POSITIVE},
    {.name = "trouble_stuck_at_s", .offset = TROUBLE(stuck_at_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_skew", COLUMN, .offset = RAW(skew)},
    {.name = "trouble_skew_samples",
     .offset = TROUBLE(skew_samples),
     .low = -TUNE_SKEW_MAX,
     .high = TUNE_SKEW_MAX},
    {.name = "trouble_no_target", SWITCH, .offset = TROUBLE(no_target)},
    {.name = "trouble_torque_scale", .offset = TROUBLE(torque_scale), KEY_POSITIVE},
    {.name = "trouble_torque_flipped",
     .type = KEY_CHOICE,
     .offset = RAW(flipped),
     .choices = "no|torque|all"},
    {.name = "trouble_measured",
     .type = KEY_CHOICE,
     .offset = RAW(measured),
     .choices = "no|instead|beside"},
    {.name = "trouble_measured_lag_s", .offset = TROUBLE(measured_lag_s), KEY_NOT_NEGATIVE},
    {.name = "trouble_measured_noise_nm", .offset = TROUBLE(measured_noise_nm), KEY_NOT_NEGATIVE},
    {.name = "trouble_glitches", COUNT, .offset = TROUBLE(glitches)},
    {.name = "trouble_glitch_arcsec", .offset = TROUBLE(glitch_rad), KEY_POSITIVE},
    {.name = "trouble_position_step_arcsec", .offset = TROUBLE(position_step_rad), KEY_POSITIVE},
    {.name = "trouble_drift_arcsec_per_s", .offset = TROUBLE(drift_rad_per_s), KEY_ANY},
    {.name = "trouble_float32", SWITCH, .offset = TROUBLE(float32)},
    {.name = "trouble_position_scale", .offset = TROUBLE(position_scale), KEY_POSITIVE},
    {.name = "trouble_wrap_deg", .offset = RAW(wrap_deg), KEY_POSITIVE},
    {.name = "trouble_wrap_counts", .offset = RAW(wrap_counts), KEY_POSITIVE},
    {.name = "trouble_wrap_signed", SWITCH, .offset = TROUBLE(wrap_signed)},
    {.name = "trouble_saturation_nm", .offset = TROUBLE(saturation_nm), KEY_POSITIVE},
    {.name = "trouble_encoder_noise_arcsec", .offset = TROUBLE(encoder_noise_rad), KEY_POSITIVE},
    {.name = "trouble_interpolation#_arcsec",
     .offset = TROUBLE(interpolation_rad[0]),
     KEY_ANY,
     .stride = sizeof(double),
     .most = TUNE_INTERPOLATION_ORDERS},
    {.name = "trouble_excitation_scale", .offset = TROUBLE(excitation_scale), KEY_NOT_NEGATIVE},
    {.name = "trouble_sweep_to_hz", .offset = TROUBLE(sweep_to_hz), KEY_POSITIVE},
};
