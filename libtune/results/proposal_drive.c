/* proposal_drive.c - what goes into the drive, and how the axis moves then, in design.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "results/proposal_internal.h"

void proposal_to_type(struct json_io *io, struct tune_to_type *t)
{
    json_io_enter(io, "to_type");
    json_io_file(io, "text_file", &t->text_file);
    json_io_file(io, "coefficients_file", &t->coefficients_file);
    json_io_file(io, "header_file", &t->header_file);
    json_io_flag(io, "old_known", &t->old_known);
    const size_t n = json_io_list_fixed(io, "numbers", &t->n_numbers, TUNE_TYPED_NUMBERS_MAX);
    for (size_t i = 0; i < n; i++) {
        struct tune_typed_number *number = &t->number[i];
        json_io_item(io, i);
        json_io_text(io, "name", number->name, sizeof number->name);
        json_io_number(io, "value", &number->value);
        json_io_number(io, "old", &number->old);
        json_io_text(io, "unit", number->unit, sizeof number->unit);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_leave(io);
}

size_t tune_to_type_filters(const struct tune_to_type *typed,
                            const struct tune_controller *controller)
{
    size_t lowpass = controller->lowpass_hz > 0.0 ? 1 : 0, biquads = controller->n_biquads;
    for (size_t i = 0; i < typed->n_numbers; i++) {
        if (!strncmp(typed->number[i].name, "lowpass", strlen("lowpass"))) lowpass = 0;
        if (!strncmp(typed->number[i].name, "notch", strlen("notch"))) biquads = 0;
    }
    return lowpass + biquads;
}

static void tried(struct json_io *io, const char *key, struct tune_tried *t)
{
    json_io_enter(io, key);
    json_io_flag(io, "settled", &t->settled);
    json_io_flag(io, "ran_away", &t->ran_away);
    json_io_number(io, "given_s", &t->given_s);
    json_io_number(io, "settling_s", &t->settling_s);
    json_io_number(io, "peak_arcsec", &t->peak_arcsec);
    json_io_number(io, "peak_torque_nm", &t->peak_torque_nm);
    json_io_number(io, "saturated_s", &t->saturated_s);
    json_io_leave(io);
}

static void trial_fields(struct json_io *io, struct tune_pointing_trial *t)
{
    json_io_text(io, "pointing", t->pointing, sizeof t->pointing);
    json_io_number(io, "offset_arcsec", &t->offset_arcsec);
    json_io_number(io, "push_nm", &t->push_nm);
    json_io_number(io, "large_offset_arcsec", &t->large_offset_arcsec);
    json_io_number(io, "band_arcsec", &t->band_arcsec);
    json_io_number(io, "tracking_s", &t->tracking_s);
    tried(io, "after_offset", &t->offset);
    tried(io, "after_push", &t->push);
    tried(io, "after_large_offset", &t->large_offset);
    tried(io, "after_large_offset_without_antiwindup", &t->bare);
    json_io_number(io, "quiet_s", &t->quiet_s);
    json_io_number(io, "encoder_rms_arcsec", &t->encoder_rms_arcsec);
    json_io_number(io, "expected_rms_arcsec", &t->expected_rms_arcsec);
    json_io_numbers(io, "expected_interval_95_arcsec", t->expected_interval_arcsec, 2);
    json_io_number(io, "torque_rms_nm", &t->torque_rms_nm);
    json_io_number(io, "expected_torque_rms_nm", &t->expected_torque_rms_nm);
    json_io_number(io, "quiet_saturated_s", &t->quiet_saturated_s);
}

void proposal_trials(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "trial", (void **)&r->trial, &r->n_trials, sizeof *r->trial);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        trial_fields(io, &r->trial[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

void proposal_feedforward(struct json_io *io, struct tune_feedforward_numbers *f)
{
    json_io_enter(io, "feedforward");
    json_io_estimate(io, "inertia_kg_m2", &f->inertia_kg_m2);
    json_io_estimate(io, "viscous_nm_s_per_rad", &f->viscous_nm_s_per_rad);
    json_io_number(io, "coulomb_nm", &f->coulomb_nm);
    json_io_number(io, "smooth_arcsec_per_s", &f->smooth_arcsec_per_s);
    json_io_flag(io, "has_moves", &f->has_moves);
    json_io_number(io, "speed_deg_per_s", &f->speed_deg_per_s);
    json_io_number(io, "acceleration_deg_per_s2", &f->acceleration_deg_per_s2);
    json_io_number(io, "jerk_deg_per_s3", &f->jerk_deg_per_s3);
    json_io_number(io, "jerk_time_s", &f->jerk_time_s);
    json_io_number(io, "torque_nm", &f->torque_nm);
    json_io_text(io, "worst_pointing", f->worst_pointing, sizeof f->worst_pointing);
    json_io_number(io, "locked_rotor_hz", &f->locked_rotor_hz);
    json_io_number(io, "ringing_arcsec", &f->ringing_arcsec);
    json_io_number(io, "step_ringing_arcsec", &f->step_ringing_arcsec);
    json_io_notes(io, "advice", &f->advice);
    json_io_leave(io);
}
