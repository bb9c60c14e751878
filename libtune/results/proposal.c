/* proposal.c - design.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/proposal.h"

#include <stdlib.h>
#include <string.h>

#include "results/proposal_internal.h"

void proposal_margin(struct json_io *io, const char *key, const char *bound_key,
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
        proposal_margin(io, key, above ? "upper_95" : "lower_95", &crossing->margin);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void margin_fields(struct json_io *io, struct tune_pointing_margins *m)
{
    json_io_text(io, "pointing", m->pointing, sizeof m->pointing);
    json_io_flag(io, "stable", &m->stable);
    proposal_margin(io, "gain_margin_db", "lower_95", &m->gain_margin_db);
    proposal_margin(io, "gain_reduction_margin_db", "lower_95", &m->gain_reduction_margin_db);
    proposal_margin(io, "phase_margin_deg", "lower_95", &m->phase_margin_deg);
    proposal_margin(io, "delay_margin_s", "lower_95", &m->delay_margin_s);
    proposal_margin(io, "peak_sensitivity", "upper_95", &m->peak_sensitivity);
    proposal_margin(io, "crossover_hz", "lower_95", &m->crossover_hz);
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
    proposal_beyond(io, r);
    proposal_bounds(io, r);
    proposal_ranked(io, r);
    proposal_other_axis(io, &r->other_axis);
    proposal_trials(io, r);
    proposal_feedforward(io, &r->feedforward);
    json_io_file(io, "controller_file", &r->controller_file);
    proposal_to_type(io, &r->to_type);
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
