/* proposal_checks.c - what else is known of the recommended loop, in design.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/proposal_internal.h"

void proposal_beyond(struct json_io *io, struct tune_proposal *r)
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

void proposal_bounds(struct json_io *io, struct tune_proposal *r)
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

void proposal_ranked(struct json_io *io, struct tune_proposal *r)
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

void proposal_other_axis(struct json_io *io, struct tune_other_axis_check *c)
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
        proposal_margin(io, "peak_sensitivity", "upper_95", &m->peak_sensitivity);
        json_io_number(io, "peak_hz", &m->peak_hz);
        proposal_margin(io, "gain_margin_db", "lower_95", &m->gain_margin_db);
        proposal_margin(io, "gain_reduction_margin_db", "lower_95", &m->gain_reduction_margin_db);
        proposal_margin(io, "phase_margin_deg", "lower_95", &m->phase_margin_deg);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_leave(io);
}
