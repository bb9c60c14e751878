/* proposal.c - design.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/proposal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

static void margin(struct json_io *io, const char *key, const char *bound_key,
                   struct tune_margin *m)
{
    struct tune_estimate estimate = {m->value, m->std};
    json_io_estimate_bound(io, key, &estimate, bound_key, &m->bound95);
    m->value = estimate.value;
    m->std = estimate.std;
}

/* One member is the margin, by its kind; its bound, by the side that hurts. */
static void crossings(struct json_io *io, struct tune_pointing_margins *m)
{
    const size_t n = json_io_list_fixed(io, "crossings", &m->n_crossings,
                                        sizeof m->crossing / sizeof *m->crossing);
    for (size_t i = 0; i < n; i++) {
        struct tune_margin_crossing *crossing = &m->crossing[i];
        bool above = crossing->margin.value < 0.0;
        json_io_item(io, i);
        json_io_margin_of(io, &crossing->of_phase);
        const char *key = crossing->of_phase ? "gain_margin_db" : "phase_margin_deg";
        json_io_estimate(io, "frequency_hz", &crossing->frequency_hz);
        if (!io->writing) {
            json_io_enter(io, key);
            above = json_io_has(io, "upper_95");
            json_io_leave(io);
        }
        margin(io, key, above ? "upper_95" : "lower_95", &crossing->margin);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void margin_fields(struct json_io *io, struct tune_pointing_margins *m)
{
    json_io_text(io, "pointing", m->pointing, sizeof m->pointing);
    json_io_flag(io, "stable", &m->stable);
    margin(io, "gain_margin_db", "lower_95", &m->gain_margin_db);
    margin(io, "gain_reduction_margin_db", "lower_95", &m->gain_reduction_margin_db);
    margin(io, "phase_margin_deg", "lower_95", &m->phase_margin_deg);
    margin(io, "delay_margin_s", "lower_95", &m->delay_margin_s);
    margin(io, "peak_sensitivity", "upper_95", &m->peak_sensitivity);
    margin(io, "crossover_hz", "lower_95", &m->crossover_hz);
    crossings(io, m);
    json_io_file(io, "loop_file", &m->loop_file);
}

static void candidate_fields(struct json_io *io, struct tune_candidate *c)
{
    json_io_text(io, "name", c->name, sizeof c->name);
    json_io_flag(io, "present", &c->present);
    json_io_flag(io, "between", &c->between);
    json_io_controller(io, &c->controller);
    json_io_flag(io, "feasible", &c->feasible);
    const size_t n =
        json_io_list(io, "margins", (void **)&c->margins, &c->n_margins, sizeof *c->margins);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        margin_fields(io, &c->margins[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_number(io, "jitter_rms_arcsec", &c->jitter_rms_arcsec);
    json_io_number(io, "jitter_upper_95_arcsec", &c->jitter_upper95_arcsec);
    json_io_text(io, "worst_pointing", c->worst_pointing, sizeof c->worst_pointing);
    json_io_number(io, "sky_rms_arcsec", &c->sky_rms_arcsec);
    json_io_number(io, "line_of_sight_rms_arcsec", &c->line_of_sight_rms_arcsec);
    json_io_number(io, "noise_torque_rms_nm", &c->noise_torque_rms_nm);
    json_io_number(io, "worst_sensitivity", &c->worst_sensitivity);
    json_io_text(io, "limit", c->limit, sizeof c->limit);
}

static void candidates(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "controllers", (void **)&r->candidate, &r->n_candidates,
                                  sizeof *r->candidate);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        candidate_fields(io, &r->candidate[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void purchases(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "biquads_buy", (void **)&r->purchase, &r->n_purchases,
                                  sizeof *r->purchase);
    for (size_t i = 0; i < n; i++) {
        struct tune_purchase *p = &r->purchase[i];
        json_io_item(io, i);
        json_io_text(io, "goal", p->goal, sizeof p->goal);
        json_io_count(io, "biquads_used", &p->biquads);
        json_io_number(io, "encoder_rms_arcsec", &p->encoder_rms_arcsec);
        json_io_number(io, "sky_rms_arcsec", &p->sky_rms_arcsec);
        json_io_number(io, "noise_torque_rms_nm", &p->noise_torque_rms_nm);
        json_io_number(io, "worst_sensitivity", &p->worst_sensitivity);
        json_io_flag(io, "feasible", &p->feasible);
        json_io_flag(io, "taken", &p->taken);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void tones(struct json_io *io, struct tune_rung *rung)
{
    const size_t n = json_io_list_fixed(io, "probe_tones", &rung->n_tones, TUNE_PROBE_TONES);
    for (size_t i = 0; i < n; i++) {
        struct tune_probe_tone *tone = &rung->tone[i];
        json_io_item(io, i);
        json_io_number(io, "frequency_hz", &tone->f_hz);
        json_io_number(io, "sensitivity", &tone->sensitivity);
        json_io_number(io, "alarm_low", &tone->alarm_low);
        json_io_number(io, "alarm_high", &tone->alarm_high);
        json_io_number(io, "torque_nm", &tone->torque_nm);
        json_io_number(io, "motion_arcsec", &tone->motion_arcsec);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void rung_fields(struct json_io *io, struct tune_rung *rung)
{
    json_io_file(io, "file", &rung->file);
    json_io_number(io, "gain_db", &rung->gain_db);
    json_io_controller(io, &rung->controller);
    json_io_number(io, "crossover_hz", &rung->crossover_hz);
    json_io_number(io, "peak_sensitivity", &rung->peak_sensitivity);
    json_io_number(io, "phase_margin_deg", &rung->phase_margin_deg);
    json_io_number(io, "encoder_rms_arcsec", &rung->encoder_rms_arcsec);
    json_io_numbers(io, "encoder_interval_95_arcsec", rung->encoder_interval_arcsec, 2);
    json_io_number(io, "torque_rms_nm", &rung->torque_rms_nm);
    json_io_number(io, "noise_torque_rms_nm", &rung->noise_torque_rms_nm);
    json_io_number(io, "abort_encoder_rms_arcsec", &rung->abort_encoder_arcsec);
    json_io_number(io, "abort_torque_rms_nm", &rung->abort_torque_nm);
    json_io_number(io, "dwell_s", &rung->dwell_s);
    tones(io, rung);
}

static void rungs(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "enable", (void **)&r->rung, &r->n_rungs, sizeof *r->rung);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        rung_fields(io, &r->rung[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_notes(io, "climbing", &r->climbing);
}

static void beyond(struct json_io *io, struct tune_proposal *r)
{
    const size_t n =
        json_io_list(io, "beyond_band", (void **)&r->beyond, &r->n_beyond, sizeof *r->beyond);
    for (size_t i = 0; i < n; i++) {
        struct tune_beyond_band *b = &r->beyond[i];
        json_io_item(io, i);
        json_io_text(io, "pointing", b->pointing, sizeof b->pointing);
        json_io_number(io, "above_hz", &b->band_hz);
        json_io_number(io, "loop_gain_limit", &b->loop_gain_limit);
        json_io_number(io, "largest_loop_gain", &b->largest_loop_gain);
        json_io_number(io, "largest_loop_gain_hz", &b->largest_hz);
        json_io_flag(io, "stable", &b->stable);
        json_io_number(io, "mode_damping_ratio", &b->mode_damping);
        json_io_number(io, "harmless_mode_gain", &b->harmless_gain);
        json_io_number(io, "harmless_mode_hz", &b->harmless_hz);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void bounds(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "bound", (void **)&r->bound, &r->n_bounds, sizeof *r->bound);
    for (size_t i = 0; i < n; i++) {
        struct tune_least_jitter *b = &r->bound[i];
        json_io_item(io, i);
        json_io_text(io, "pointing", b->pointing, sizeof b->pointing);
        json_io_text(io, "controller", b->controller, sizeof b->controller);
        json_io_number(io, "peak_sensitivity_limit", &b->peak_sensitivity_limit);
        json_io_number(io, "noise_torque_limit_nm", &b->noise_torque_limit_nm);
        json_io_number(io, "least_rms_arcsec", &b->least_rms_arcsec);
        json_io_number(io, "rms_arcsec", &b->rms_arcsec);
        json_io_number(io, "ratio", &b->ratio);
        json_io_number(io, "spread", &b->spread);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void ranked(struct json_io *io, struct tune_proposal *r)
{
    json_io_text(io, "limits_ranked_of", r->ranked_of, sizeof r->ranked_of);
    const size_t n =
        json_io_list(io, "limits_ranked", (void **)&r->ranked, &r->n_ranked, sizeof *r->ranked);
    for (size_t i = 0; i < n; i++) {
        struct tune_ranked_limit *l = &r->ranked[i];
        json_io_item(io, i);
        json_io_text(io, "kind", l->kind, sizeof l->kind);
        json_io_number(io, "from", &l->from);
        json_io_number(io, "to", &l->to);
        json_io_text(io, "unit", l->unit, sizeof l->unit);
        json_io_numbers(io, "at_hz", l->at_hz, 2);
        json_io_number(io, "slope", &l->slope);
        json_io_flag(io, "designed_anew", &l->solved);
        json_io_flag(io, "reached", &l->reached);
        json_io_number(io, "before_rms_arcsec", &l->before_arcsec);
        json_io_number(io, "after_rms_arcsec", &l->after_arcsec);
        json_io_number(io, "gain", &l->gain);
        json_io_text(io, "sentence", l->text, sizeof l->text);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void other_axis(struct json_io *io, struct tune_other_axis_check *c)
{
    json_io_enter(io, "other_axis");
    json_io_text(io, "axis", c->axis, sizeof c->axis);
    json_io_text(io, "gains", c->gains, sizeof c->gains);
    json_io_flag(io, "gains_proposed", &c->proposed);
    const size_t n = json_io_list(io, "margins", (void **)&c->pointing, &c->n, sizeof *c->pointing);
    for (size_t i = 0; i < n; i++) {
        struct tune_cross_margins *m = &c->pointing[i];
        json_io_item(io, i);
        json_io_text(io, "pointing", m->pointing, sizeof m->pointing);
        json_io_text(io, "other_pointing", m->other_pointing, sizeof m->other_pointing);
        json_io_count(io, "modes", &m->modes);
        json_io_flag(io, "stable", &m->stable);
        margin(io, "peak_sensitivity", "upper_95", &m->peak_sensitivity);
        json_io_number(io, "peak_hz", &m->peak_hz);
        margin(io, "gain_margin_db", "lower_95", &m->gain_margin_db);
        margin(io, "gain_reduction_margin_db", "lower_95", &m->gain_reduction_margin_db);
        margin(io, "phase_margin_deg", "lower_95", &m->phase_margin_deg);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_leave(io);
}

static void to_type(struct json_io *io, struct tune_to_type *t)
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

static void trials(struct json_io *io, struct tune_proposal *r)
{
    const size_t n = json_io_list(io, "trial", (void **)&r->trial, &r->n_trials, sizeof *r->trial);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        trial_fields(io, &r->trial[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void feedforward(struct json_io *io, struct tune_feedforward_numbers *f)
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

/* The name stands in the file; the index is found again. */
static void recommended(struct json_io *io, struct tune_proposal *r)
{
    char name[TUNE_NAME_LENGTH + 1] = "";
    if (io->writing && r->recommended < r->n_candidates)
        memcpy(name, r->candidate[r->recommended].name, sizeof name);
    json_io_text(io, "recommended", name, sizeof name);
    for (size_t i = 0; !io->writing && !io->status && i < r->n_candidates; i++)
        if (!strcmp(r->candidate[i].name, name)) r->recommended = i;
}

static void fields(struct json_io *io, void *result)
{
    struct tune_proposal *r = result;
    json_io_provenance(io, TUNE_SCHEMA_DESIGN, &r->provenance);
    json_io_disturbance(io, &r->disturbance);
    json_io_text(io, "payload_ratios", r->payload, sizeof r->payload);
    json_io_jitter_of(io, &r->jitter_of_sky);
    json_io_text(io, "goal", r->goal, sizeof r->goal);
    candidates(io, r);
    recommended(io, r);
    purchases(io, r);
    json_io_notes(io, "implied", &r->implied);
    rungs(io, r);
    beyond(io, r);
    bounds(io, r);
    ranked(io, r);
    other_axis(io, &r->other_axis);
    trials(io, r);
    feedforward(io, &r->feedforward);
    json_io_file(io, "controller_file", &r->controller_file);
    to_type(io, &r->to_type);
    json_io_judgements(io, "requirement", "designed", &r->requirement);
    json_io_notes(io, "limits", &r->limits);
    json_io_notes(io, "doubts", &r->doubts);
    json_io_notes(io, "notes", &r->notes);
    json_io_notes(io, "cautions", &r->cautions);
}

enum tune_status tune_proposal_json(char **text, const struct tune_proposal *result,
                                    struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_proposal_parse(struct tune_proposal *out, const char *name, const char *text,
                                     size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_proposal_free(out);
    return status;
}

void tune_proposal_free(struct tune_proposal *result)
{
    for (size_t i = 0; result->candidate && i < result->n_candidates; i++)
        free(result->candidate[i].margins);
    free(result->candidate);
    free(result->purchase);
    free(result->rung);
    free(result->beyond);
    free(result->bound);
    free(result->ranked);
    free(result->other_axis.pointing);
    free(result->trial);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
