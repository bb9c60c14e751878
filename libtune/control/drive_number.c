/* drive_number.c - the numbers a drive takes: names, units, steps and ranges.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "control/drive_form.h"

/* ---- quantities ----------------------------------------------------------------------------------*/

/* Powers of the units of torque, angle and time in each. */
static const struct {
    const char *name;
    int torque, angle, time;
} quantity_of[TUNE_DRIVE_QUANTITIES] = {
    [TUNE_DRIVE_KP] = {"kp", 1, -1, 0},
    [TUNE_DRIVE_KI] = {"ki", 1, -1, -1},
    [TUNE_DRIVE_KD] = {"kd", 1, -1, 1},
    [TUNE_DRIVE_GAIN] = {"gain", 1, -1, 0},
    [TUNE_DRIVE_TI] = {"ti", 0, 0, 1},
    [TUNE_DRIVE_TD] = {"td", 0, 0, 1},
    [TUNE_DRIVE_POSITION_GAIN] = {"position_gain", 0, 0, -1},
    [TUNE_DRIVE_VELOCITY_GAIN] = {"velocity_gain", 1, -1, 1},
    [TUNE_DRIVE_VELOCITY_TI] = {"velocity_ti", 0, 0, 1},
    [TUNE_DRIVE_VELOCITY_KI] = {"velocity_ki", 1, -1, 0},
    [TUNE_DRIVE_DERIVATIVE_FILTER] = {"derivative_filter", 0, 0, 0},
    [TUNE_DRIVE_LOWPASS] = {"lowpass", 0, 0, 0},
    [TUNE_DRIVE_LOWPASS_ZETA] = {"lowpass_zeta", 0, 0, 0},
    [TUNE_DRIVE_NOTCH_CENTRE] = {"notch_centre", 0, 0, 0},
    [TUNE_DRIVE_NOTCH_WIDTH] = {"notch_width", 0, 0, 0},
    [TUNE_DRIVE_NOTCH_DEPTH] = {"notch_depth", 0, 0, 0},
};

static double power(double base, int exponent)
{
    return exponent > 0 ? base : exponent < 0 ? 1.0 / base : 1.0;
}

double tune_drive_factor(const struct tune_drive_form *form, enum tune_drive_quantity quantity)
{
    return form->limit[quantity].scale / power(form->torque_unit_nm, quantity_of[quantity].torque) /
           power(form->angle_unit_rad, quantity_of[quantity].angle) /
           power(form->time_unit_s, quantity_of[quantity].time);
}

/* Units over units, in the order of the table: torque, time above; angle, time below. */
static void join_units(char text[TUNE_DRIVE_UNIT], const struct tune_drive_form *form,
                       enum tune_drive_quantity quantity)
{
    const int time = quantity_of[quantity].time;
    const bool torque = quantity_of[quantity].torque > 0;
    if (!torque)
        (void)snprintf(text, TUNE_DRIVE_UNIT, time > 0 ? "%s" : "1/%s", form->time_unit);
    else if (time < 0)
        (void)snprintf(text, TUNE_DRIVE_UNIT, "%s/(%s %s)", form->torque_unit, form->angle_unit,
                       form->time_unit);
    else
        (void)snprintf(text, TUNE_DRIVE_UNIT, "%s%s%s/%s", form->torque_unit, time > 0 ? " " : "",
                       time > 0 ? form->time_unit : "", form->angle_unit);
}

const char *tune_drive_unit(char text[TUNE_DRIVE_UNIT], const struct tune_drive_form *form,
                            enum tune_drive_quantity quantity)
{
    const bool hz = quantity == TUNE_DRIVE_DERIVATIVE_FILTER || quantity == TUNE_DRIVE_LOWPASS ||
                    quantity == TUNE_DRIVE_NOTCH_CENTRE ||
                    (quantity == TUNE_DRIVE_NOTCH_WIDTH && form->notch_width == TUNE_WIDTH_HZ);
    const double scale = form->limit[quantity].scale;
    size_t used;
    text[0] = '\0';
    if (quantity < TUNE_DRIVE_DERIVATIVE_FILTER)
        join_units(text, form, quantity);
    else if (hz || quantity == TUNE_DRIVE_NOTCH_DEPTH)
        (void)snprintf(text, TUNE_DRIVE_UNIT, hz ? "Hz" : "dB");
    used = strlen(text);
    if (scale != 1.0)
        (void)snprintf(text + used, TUNE_DRIVE_UNIT - used, "%sx %.6g", used ? " " : "", scale);
    return text;
}

const char *tune_drive_quantity_name(enum tune_drive_quantity quantity)
{
    return quantity_of[quantity].name;
}

const char *tune_drive_number_name(char text[TUNE_DRIVE_NAME],
                                   const struct tune_drive_number *number)
{
    const char *name = quantity_of[number->quantity].name;
    if (number->quantity < TUNE_DRIVE_NOTCH_CENTRE)
        (void)snprintf(text, TUNE_DRIVE_NAME, "%s", name);
    else
        (void)snprintf(text, TUNE_DRIVE_NAME, "notch%zu%s", number->notch + 1,
                       name + strlen("notch"));
    return text;
}

bool tune_drive_has(const struct tune_drive_form *form, enum tune_drive_quantity quantity)
{
    switch (quantity) {
    case TUNE_DRIVE_KP:
    case TUNE_DRIVE_KI:
    case TUNE_DRIVE_KD:
        return form->structure == TUNE_FORM_PARALLEL;
    case TUNE_DRIVE_GAIN:
    case TUNE_DRIVE_TI:
    case TUNE_DRIVE_TD:
        return form->structure == TUNE_FORM_STANDARD;
    case TUNE_DRIVE_POSITION_GAIN:
    case TUNE_DRIVE_VELOCITY_GAIN:
        return form->structure == TUNE_FORM_CASCADE;
    case TUNE_DRIVE_VELOCITY_TI:
        return form->structure == TUNE_FORM_CASCADE && !form->velocity_integral_by_gain;
    case TUNE_DRIVE_VELOCITY_KI:
        return form->structure == TUNE_FORM_CASCADE && form->velocity_integral_by_gain;
    case TUNE_DRIVE_DERIVATIVE_FILTER:
        return true;
    default:
        return form->filters == TUNE_FILTERS_NOTCH;
    }
}

/* ---- rounding ------------------------------------------------------------------------------------*/

/* 10^(exponent of the last of so many significant digits). */
static double digit_step(double value, size_t digits)
{
    const int first = (int)floor(log10(fabs(value)));
    return pow(10.0, first - (int)digits + 1);
}

double tune_drive_number_step(const struct tune_drive_number *number,
                              const struct tune_drive_form *form)
{
    const struct tune_drive_limit *limit = &form->limit[number->quantity];
    if (limit->step > 0.0) return limit->step;
    if (number->value == 0.0) return 0.0;
    return limit->digits > 0 ? digit_step(number->value, limit->digits)
                             : 1e-4 * fabs(number->value);
}

static double rounded(double value, const struct tune_drive_limit *limit)
{
    char text[40];
    if (value == 0.0) return 0.0;
    /* the decimal number itself, as the engineer types it: 41 steps of 0.1 are 4.1 */
    if (limit->step > 0.0)
        (void)snprintf(text, sizeof text, "%.15g", limit->step * nearbyint(value / limit->step));
    else if (limit->digits > 0)
        (void)snprintf(text, sizeof text, "%.*e", (int)limit->digits - 1, value);
    else
        return value;
    return strtod(text, NULL);
}

static enum tune_status refuse(struct tune_error *err, const struct tune_drive_number *number,
                               double value, const char *limit, const char *advice)
{
    char name[TUNE_DRIVE_NAME], text[32];
    tune_drive_number_name(name, number);
    (void)snprintf(text, sizeof text, "%.10g", value);
    (void)tune_error_set(err, TUNE_ENOSOL, "%s would be %s but the drive takes %s: %s", name, text,
                         limit, advice);
    tune_error_about(err, name, text, limit);
    return TUNE_ENOSOL;
}

enum tune_status tune_drive_number_round(struct tune_drive_number *number,
                                         const struct tune_drive_form *form, struct tune_error *err)
{
    const struct tune_drive_limit *limit = &form->limit[number->quantity];
    const double low = limit->range[0], high = limit->range[1];
    const double value = rounded(number->value, limit);
    const bool may_be_zero = number->quantity == TUNE_DRIVE_NOTCH_DEPTH;
    char text[80];
    if ((low != 0.0 || high != 0.0) && !(value >= low && value <= high)) {
        (void)snprintf(text, sizeof text, "%.10g to %.10g", low, high);
        return refuse(err, number, value, text,
                      "check units and scale in [drive], or design within the range");
    }
    if (value == 0.0 && !may_be_zero) {
        (void)snprintf(text, sizeof text, "steps of %.10g", limit->step);
        return refuse(err, number, number->value, text,
                      "it would be lost; check units and scale in [drive]");
    }
    number->value = value;
    return TUNE_OK;
}
