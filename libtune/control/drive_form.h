/* drive_form.h - the controller as a drive takes it: which structure, which numbers, in which units, how
 * fine, within which limits.
 *
 * What is typed in is number = (SI value in the units below) * scale: kp in A/count is
 *     kp_nm_per_rad * angle_unit_rad / torque_unit_nm,  torque_unit_nm = N m per A, angle_unit_rad = 2 pi/counts
 * Sign as everywhere: torque = C (target - position), positive torque raises the position.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DRIVE_FORM_H
#define TUNE_DRIVE_FORM_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "control/notch.h"
#include "control/number_format.h"
#include "control/pid_form.h"
#include "core/status.h"

enum tune_controller_form { TUNE_FORM_PARALLEL, TUNE_FORM_STANDARD, TUNE_FORM_CASCADE };

/* Free biquads by coefficients (the low-pass is one of them), or notches and a low-pass by numbers. */
enum tune_filter_form { TUNE_FILTERS_BIQUAD, TUNE_FILTERS_NOTCH };

enum tune_drive_quantity {
    TUNE_DRIVE_KP, /* parallel */
    TUNE_DRIVE_KI,
    TUNE_DRIVE_KD,
    TUNE_DRIVE_GAIN, /* standard */
    TUNE_DRIVE_TI,
    TUNE_DRIVE_TD,
    TUNE_DRIVE_POSITION_GAIN, /* cascade */
    TUNE_DRIVE_VELOCITY_GAIN,
    TUNE_DRIVE_VELOCITY_TI, /* integral by its time, or */
    TUNE_DRIVE_VELOCITY_KI, /* by its gain */
    TUNE_DRIVE_DERIVATIVE_FILTER,
    TUNE_DRIVE_LOWPASS, /* from here on: filters by numbers */
    TUNE_DRIVE_LOWPASS_ZETA,
    TUNE_DRIVE_NOTCH_CENTRE,
    TUNE_DRIVE_NOTCH_WIDTH,
    TUNE_DRIVE_NOTCH_DEPTH,
    TUNE_DRIVE_QUANTITIES
};

/* How fine and how far one of these numbers goes, in the number as typed. 0: no limit of that kind. */
struct tune_drive_limit {
    double range[2]; /* lowest, highest; both 0: any */
    double step;     /* a multiple of it */
    size_t digits;   /* or so many significant digits, at most 15 */
    double scale;    /* > 0; default 1 */
};

/* Plain data. Start from tune_drive_form_defaults(). */
struct tune_drive_form {
    enum tune_controller_form structure;
    bool velocity_integral_by_gain; /* of a cascade: VELOCITY_KI in place of VELOCITY_TI */
    size_t position_divider;        /* of a cascade: loop rate/rate of the position loop */
    enum tune_filter_form filters;
    enum tune_notch_width notch_width;
    double torque_unit_nm, angle_unit_rad, time_unit_s;  /* 1: N m, rad, s */
    char torque_unit[16], angle_unit[16], time_unit[16]; /* their names, for people */
    struct tune_drive_limit limit[TUNE_DRIVE_QUANTITIES];
    struct tune_number_format coefficients;
};

/* Parallel PID in SI, free biquads in float64, no limits. */
TUNE_API struct tune_drive_form tune_drive_form_defaults(void);

/* One number to type in. */
struct tune_drive_number {
    enum tune_drive_quantity quantity;
    size_t notch; /* number of the notch from 0; else 0 */
    double value; /* as typed */
};

enum { TUNE_DRIVE_NUMBERS_MAX = 6 + 3 * TUNE_BIQUADS_MAX };

/* What is off is left out: no number of an integral of 0, a filter that is not there, a notch of infinite
 * depth. Plain data. */
struct tune_drive_setting {
    size_t n;
    struct tune_drive_number number[TUNE_DRIVE_NUMBERS_MAX];
    /* where a biquad was no notch: how far off the nearest notch is, max |difference|, and where */
    double notch_off[TUNE_BIQUADS_MAX], notch_off_hz[TUNE_BIQUADS_MAX];
};

/* The numbers of a controller, not rounded: exact, but for biquads that are no notch.
 *   TUNE_ENOSOL  the structure cannot hold it: pid_form.h says what */
TUNE_API enum tune_status tune_drive_setting_from(struct tune_drive_setting *out,
                                                  const struct tune_drive_form *form,
                                                  const struct tune_controller *controller,
                                                  struct tune_error *err);

/* The way back: the controller that these numbers make; what they do not speak of (low-pass and biquads
 * of a drive with free biquads, order of the low-pass) is taken from like. Checked as
 * tune_controller_check does.
 *   TUNE_ENOSOL  as above; TUNE_EINVAL as tune_controller_check */
TUNE_API enum tune_status tune_drive_setting_to(struct tune_controller *out,
                                                const struct tune_drive_form *form,
                                                const struct tune_drive_setting *setting,
                                                const struct tune_controller *like,
                                                struct tune_error *err);

/* Each number to the nearest the drive can hold.
 *   TUNE_ENOSOL  one is outside its range, or so small against its step that nothing is left: err has
 *                name, value and range as typed */
TUNE_API enum tune_status tune_drive_setting_round(struct tune_drive_setting *setting,
                                                   const struct tune_drive_form *form,
                                                   struct tune_error *err);

/* The same for one number. */
TUNE_API enum tune_status tune_drive_number_round(struct tune_drive_number *number,
                                                  const struct tune_drive_form *form,
                                                  struct tune_error *err);

/* What the last digit is worth, as typed; a ten-thousandth of the number where it has neither step nor
 * digits. */
TUNE_API double tune_drive_number_step(const struct tune_drive_number *number,
                                       const struct tune_drive_form *form);

/* The name of a number, as in [drive]: "kp", "notch2_width", ... Returns text. */
enum { TUNE_DRIVE_NAME = 32 };
TUNE_API const char *tune_drive_number_name(char text[TUNE_DRIVE_NAME],
                                            const struct tune_drive_number *number);

/* The name of a quantity in [drive]: "kp", "notch_width"; never NULL. */
TUNE_API const char *tune_drive_quantity_name(enum tune_drive_quantity quantity);

/* Number as typed = SI value times this. SI: N m, rad, s, Hz; a notch's width in its own dress, its depth in
 * dB. */
TUNE_API double tune_drive_factor(const struct tune_drive_form *form,
                                  enum tune_drive_quantity quantity);

/* The unit of a number as typed, for people: "A/count", "A/(count ms)", "A/count x 65536" where there is a
 * scale, "" for a pure number. Returns text. */
enum { TUNE_DRIVE_UNIT = 64 };
TUNE_API const char *tune_drive_unit(char text[TUNE_DRIVE_UNIT], const struct tune_drive_form *form,
                                     enum tune_drive_quantity quantity);

/* Does this structure, with this kind of filters, have that number? */
TUNE_API bool tune_drive_has(const struct tune_drive_form *form, enum tune_drive_quantity quantity);

#endif
