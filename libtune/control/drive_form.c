/* drive_form.c - the controller as a drive takes it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/drive_form.h"

#include <math.h>
#include <string.h>

struct tune_drive_form tune_drive_form_defaults(void)
{
    struct tune_drive_form form = {.position_divider = 1,
                                   .torque_unit_nm = 1.0,
                                   .angle_unit_rad = 1.0,
                                   .time_unit_s = 1.0,
                                   .torque_unit = "N m",
                                   .angle_unit = "rad",
                                   .time_unit = "s"};
    for (size_t i = 0; i < TUNE_DRIVE_QUANTITIES; i++)
        form.limit[i].scale = 1.0;
    return form;
}

/* ---- from a controller to numbers ----------------------------------------------------------------*/

/* Nothing is added for a part that is off. */
static void add(struct tune_drive_setting *out, const struct tune_drive_form *form,
                enum tune_drive_quantity quantity, size_t notch, double si)
{
    if (si == 0.0 || !isfinite(si)) return;
    out->number[out->n++] =
        (struct tune_drive_number){quantity, notch, si * tune_drive_factor(form, quantity)};
}

static enum tune_status add_pid(struct tune_drive_setting *out, const struct tune_drive_form *form,
                                const struct tune_controller *c, struct tune_error *err)
{
    struct tune_standard_pid pid;
    struct tune_cascade cascade;
    enum tune_status status = TUNE_OK;
    switch (form->structure) {
    case TUNE_FORM_PARALLEL:
        add(out, form, TUNE_DRIVE_KP, 0, c->kp_nm_per_rad);
        add(out, form, TUNE_DRIVE_KI, 0, c->ki_nm_per_rad_s);
        add(out, form, TUNE_DRIVE_KD, 0, c->kd_nm_s_per_rad);
        break;
    case TUNE_FORM_STANDARD:
        status = tune_standard_pid_from(&pid, c, err);
        add(out, form, TUNE_DRIVE_GAIN, 0, pid.k_nm_per_rad);
        add(out, form, TUNE_DRIVE_TI, 0, pid.ti_s);
        add(out, form, TUNE_DRIVE_TD, 0, pid.td_s);
        break;
    case TUNE_FORM_CASCADE:
        status = tune_cascade_from(&cascade, c, err);
        add(out, form, TUNE_DRIVE_POSITION_GAIN, 0, cascade.position_gain_per_s);
        add(out, form, TUNE_DRIVE_VELOCITY_GAIN, 0, cascade.velocity_gain_nm_s_per_rad);
        if (form->velocity_integral_by_gain)
            add(out, form, TUNE_DRIVE_VELOCITY_KI, 0, cascade.velocity_integral_nm_per_rad);
        else
            add(out, form, TUNE_DRIVE_VELOCITY_TI, 0,
                cascade.velocity_gain_nm_s_per_rad / cascade.velocity_integral_nm_per_rad);
        break;
    }
    return status;
}

static void add_notch(struct tune_drive_setting *out, const struct tune_drive_form *form, size_t i,
                      const struct tune_controller *c)
{
    const struct tune_biquad_spec spec = tune_notch_nearest(
        &out->notch_off[i], &out->notch_off_hz[i], &c->biquad[i], c->loop_rate_hz);
    const struct tune_notch notch = tune_notch_from(&spec, form->notch_width);
    struct tune_drive_number depth = {TUNE_DRIVE_NOTCH_DEPTH, i, 0.0};
    add(out, form, TUNE_DRIVE_NOTCH_CENTRE, i, notch.centre_hz);
    add(out, form, TUNE_DRIVE_NOTCH_WIDTH, i, notch.width);
    if (!isfinite(notch.depth_db)) return;
    depth.value = notch.depth_db * tune_drive_factor(form, TUNE_DRIVE_NOTCH_DEPTH);
    out->number[out->n++] = depth;
}

enum tune_status tune_drive_setting_from(struct tune_drive_setting *out,
                                         const struct tune_drive_form *form,
                                         const struct tune_controller *controller,
                                         struct tune_error *err)
{
    const struct tune_controller *c = controller;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = add_pid(out, form, c, err);
    if (status != TUNE_OK) {
        memset(out, 0, sizeof *out);
        return status;
    }
    if (c->kd_nm_s_per_rad > 0.0)
        add(out, form, TUNE_DRIVE_DERIVATIVE_FILTER, 0, c->derivative_filter_hz);
    if (form->filters == TUNE_FILTERS_BIQUAD) return TUNE_OK;
    add(out, form, TUNE_DRIVE_LOWPASS, 0, c->lowpass_hz);
    if (c->lowpass_hz > 0.0 && c->lowpass_order == 2)
        add(out, form, TUNE_DRIVE_LOWPASS_ZETA, 0, c->lowpass_zeta);
    for (size_t i = 0; i < c->n_biquads; i++)
        add_notch(out, form, i, c);
    return TUNE_OK;
}

/* ---- and back ------------------------------------------------------------------------------------*/

/* SI value of a number, or the given one where it is off. */
static double value_of(const struct tune_drive_setting *setting, const struct tune_drive_form *form,
                       enum tune_drive_quantity quantity, size_t notch, double off)
{
    for (size_t i = 0; i < setting->n; i++)
        if (setting->number[i].quantity == quantity && setting->number[i].notch == notch)
            return setting->number[i].value / tune_drive_factor(form, quantity);
    return off;
}

static enum tune_status set_cascade(struct tune_controller *out, const struct tune_drive_form *form,
                                    const struct tune_drive_setting *setting,
                                    struct tune_error *err)
{
    struct tune_cascade cascade = {
        .position_gain_per_s = value_of(setting, form, TUNE_DRIVE_POSITION_GAIN, 0, 0.0),
        .velocity_gain_nm_s_per_rad = value_of(setting, form, TUNE_DRIVE_VELOCITY_GAIN, 0, 0.0)};
    cascade.velocity_integral_nm_per_rad =
        form->velocity_integral_by_gain
            ? value_of(setting, form, TUNE_DRIVE_VELOCITY_KI, 0, 0.0)
            : cascade.velocity_gain_nm_s_per_rad /
                  value_of(setting, form, TUNE_DRIVE_VELOCITY_TI, 0, INFINITY);
    out->position_divider = form->position_divider;
    return tune_cascade_to(out, &cascade, err);
}

static enum tune_status set_pid(struct tune_controller *out, const struct tune_drive_form *form,
                                const struct tune_drive_setting *setting, struct tune_error *err)
{
    struct tune_standard_pid pid;
    out->position_divider = 0;
    if (form->structure == TUNE_FORM_CASCADE) return set_cascade(out, form, setting, err);
    if (form->structure == TUNE_FORM_STANDARD) {
        pid.k_nm_per_rad = value_of(setting, form, TUNE_DRIVE_GAIN, 0, 0.0);
        pid.ti_s = value_of(setting, form, TUNE_DRIVE_TI, 0, INFINITY);
        pid.td_s = value_of(setting, form, TUNE_DRIVE_TD, 0, 0.0);
        tune_standard_pid_to(out, &pid);
        return TUNE_OK;
    }
    out->kp_nm_per_rad = value_of(setting, form, TUNE_DRIVE_KP, 0, 0.0);
    out->ki_nm_per_rad_s = value_of(setting, form, TUNE_DRIVE_KI, 0, 0.0);
    out->kd_nm_s_per_rad = value_of(setting, form, TUNE_DRIVE_KD, 0, 0.0);
    return TUNE_OK;
}

static void set_filters(struct tune_controller *out, const struct tune_drive_form *form,
                        const struct tune_drive_setting *setting)
{
    out->lowpass_hz = value_of(setting, form, TUNE_DRIVE_LOWPASS, 0, 0.0);
    out->lowpass_zeta = value_of(setting, form, TUNE_DRIVE_LOWPASS_ZETA, 0, out->lowpass_zeta);
    for (size_t i = 0; i < out->n_biquads; i++) {
        const struct tune_notch notch = {
            value_of(setting, form, TUNE_DRIVE_NOTCH_CENTRE, i, 0.0),
            value_of(setting, form, TUNE_DRIVE_NOTCH_WIDTH, i, 0.0),
            value_of(setting, form, TUNE_DRIVE_NOTCH_DEPTH, i, INFINITY)};
        out->biquad[i] = tune_notch_to(&notch, form->notch_width);
    }
}

enum tune_status tune_drive_setting_to(struct tune_controller *out,
                                       const struct tune_drive_form *form,
                                       const struct tune_drive_setting *setting,
                                       const struct tune_controller *like, struct tune_error *err)
{
    enum tune_status status;
    *out = *like;
    out->derivative_filter_hz = value_of(setting, form, TUNE_DRIVE_DERIVATIVE_FILTER, 0, 0.0);
    status = set_pid(out, form, setting, err);
    if (status == TUNE_OK && form->filters == TUNE_FILTERS_NOTCH) set_filters(out, form, setting);
    if (status == TUNE_OK) status = tune_controller_check(out, err);
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}

enum tune_status tune_drive_setting_round(struct tune_drive_setting *setting,
                                          const struct tune_drive_form *form,
                                          struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < setting->n && status == TUNE_OK; i++)
        status = tune_drive_number_round(&setting->number[i], form, err);
    return status;
}
