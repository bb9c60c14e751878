/* sample.h - results with every kind of member filled, infinite and undefined numbers among them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_SAMPLE_H
#define TEST_SAMPLE_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "control/controller.h"
#include "plant/model.h"
#include "results/forecast.h"
#include "results/identification.h"
#include "results/inspection.h"
#include "results/precheck.h"
#include "results/proposal.h"
#include "results/truth.h"
#include "results/balance.h"
#include "results/verification.h"
#include "sample_comparison.h"

static inline void sample_provenance(struct tune_provenance *p, const char *schema)
{
    tune_provenance_start(p, schema, "Heron Flat 0.8 m, hour-angle, spectrograph fitted");
    (void)tune_provenance_add_input(
        p, "axis.ini", "0000000000000000000000000000000000000000000000000000000000000000", 0, NULL);
    (void)tune_provenance_add_input(
        p, "logs/east.csv.gz", "1111111111111111111111111111111111111111111111111111111111111111",
        40000, NULL);
    (void)tune_provenance_add_option(p, NULL, "loop_rate_hz", "%.15g", 4000.0);
}

static inline void sample_fit(struct tune_fit *fit)
{
    struct tune_plant *plant = &fit->plant;
    *plant = (struct tune_plant){
        .inertia_kg_m2 = 820.0 / 3.0,
        .viscous_nm_s_per_rad = 35.1,
        .delay_s = 3.5e-4,
        .loop_rate_hz = 4000.0,
        .n_modes = 2,
        .mode = {{24.3, 0.006, 0.15, NAN}, {410.5, 0.02, -0.05, -6.2}},
    };
    fit->n_params = tune_plant_param_count(plant);
    tune_plant_to_params(fit->theta, plant);
    fit->covariance = calloc(fit->n_params * fit->n_params, sizeof(double));
    for (size_t i = 0; i < fit->n_params * fit->n_params; i++)
        fit->covariance[i] = 1e-6 / (1.0 + (double)i);
    fit->out_of_band[1] = true;
    fit->reduced_chi_square = 1.02;
    fit->lines = 23456;
    fit->order_forced = true;
    fit->evident_modes = 3;
    fit->viscous_prior_share = 0.83;
    fit->n_alike = 1;
    fit->alike[0] = (struct tune_fit_alike){0, 1, -0.97};
    fit->start = TUNE_FIT_VECTOR_FIT;
    fit->whittle[TUNE_FIT_INSERTION] = (double)NAN;
    fit->whittle[TUNE_FIT_VECTOR_FIT] = -484160.25;
    fit->inertia = (struct tune_estimate){plant->inertia_kg_m2, 0.4};
    fit->viscous = (struct tune_estimate){plant->viscous_nm_s_per_rad, 20.0};
    fit->delay = (struct tune_estimate){plant->delay_s, 1e-6};
    for (size_t k = 0; k < 2; k++) {
        fit->mode_f_hz[k] = (struct tune_estimate){plant->mode[k].f_hz, 0.01};
        fit->mode_zeta[k] = (struct tune_estimate){plant->mode[k].zeta, 1e-4};
        fit->mode_gain[k] = (struct tune_estimate){plant->mode[k].gain, 2e-4};
    }
    fit->n_antiresonances = 1;
    fit->antiresonance_f_hz[0] = (struct tune_estimate){22.6, 0.02};
    fit->antiresonance_zeta[0] = (struct tune_estimate){-0.001, 1e-4};
}

/* One mode at both pointings, one at the first only. */
static inline void sample_tracks(struct tune_identification *r)
{
    struct tune_tracks *tracks = &r->tracks;
    tracks->n_pointings = 2;
    tracks->n = 2;
    tracks->track = calloc(2, sizeof *tracks->track);
    for (size_t t = 0; t < 2; t++) {
        struct tune_track *track = &tracks->track[t];
        track->f_hz = t ? 410.5 : 24.3;
        track->n_found = 2 - t;
        track->point = calloc(2, sizeof *track->point);
        track->left_out = calloc(2, sizeof *track->left_out);
        for (size_t p = 0; p < 2; p++) {
            const bool found = t == 0 || p == 0;
            track->point[p] =
                (struct tune_track_point){.finding = found ? TUNE_TRACK_FOUND : TUNE_TRACK_ABSENT,
                                          .mode = found ? t : TUNE_MODES_MAX,
                                          .ambiguous = p == 0,
                                          .f_hz = {track->f_hz, 0.01},
                                          .zeta = {found ? 0.006 : (double)NAN, 1e-4},
                                          .gain = {found ? 0.15 : (double)NAN, 2e-4},
                                          .gain_bound = found ? (double)NAN : 0.02};
            track->left_out[p] = (struct tune_left_out){.predicted = NAN, .std = NAN, .z = NAN};
        }
        track->law = (struct tune_law){.n_points = 2 - t,
                                       .n_terms = 2,
                                       .term = {TUNE_TERM_CONSTANT, TUNE_TERM_OTHER_BRAKED},
                                       .coefficient = {{3.19, 1e-4}, {-0.02, 1e-3}},
                                       .scatter = 1.0 / 300.0};
    }
    tracks->track[0].left_out[1] = (struct tune_left_out){true, true, 24.31, 0.012, -1.5};
    tracks->inertia_law = tracks->track[0].law;
    tracks->inertia_left_out = calloc(2, sizeof *tracks->inertia_left_out);
    tracks->interpolation = TUNE_INTERPOLATION_COARSE;
    tracks->z_limit = 3.4;
    tracks->worst_z[1] = 1;
    tracks->worst_error[0] = 2;
    tracks->next = (struct tune_next_pointing){.known = true,
                                               .at = {0.5, (double)NAN, TUNE_OTHER_AXIS_FREE},
                                               .track = 1,
                                               .f_hz = 411.0,
                                               .std = 0.01,
                                               .std_then = 0.002,
                                               .std_median = 0.004};
    (void)snprintf(r->interpolation_text, sizeof r->interpolation_text, "Coarse.");
    (void)snprintf(r->next_text, sizeof r->next_text, "There.");
}

static inline void sample_table(struct tune_identification *r)
{
    r->n_tables = 2;
    r->table = calloc(2, sizeof *r->table);
    for (size_t i = 0; i < 2; i++) {
        struct tune_measured_table *t = &r->table[i];
        struct tune_table_margins *m = &t->margins;
        (void)snprintf(t->log, sizeof t->log, "table-%zu", i);
        (void)snprintf(t->pointing, sizeof t->pointing, "east-60");
        t->of_loop = i == 1;
        t->error = i ? TUNE_TABLE_SCATTER : TUNE_TABLE_COHERENCE;
        t->std_factor = 1.5;
        t->points = 200;
        t->band_hz[0] = 1.0;
        t->band_hz[1] = 200.0;
        t->fitted = i == 0;
        t->deviation_std = i ? 2.5 : (double)NAN;
        t->deviation_hz = i ? 24.0 : (double)NAN;
        t->deviates = i == 1;
        t->has_margins = i == 1;
        if (i == 0) continue;
        t->has_model = true;
        t->model = (struct tune_model_margins){true, 12.0, INFINITY, 57.0, 0.02, 1.5};
        m->points = 200;
        m->band_hz[0] = 1.0;
        m->band_hz[1] = 200.0;
        m->coarse_hz[0] = m->coarse_hz[1] = NAN;
        m->n_gaps = 2;
        m->gap_hz[0] = 30.0;
        m->gap_hz[1] = 31.0;
        m->gain_margin_db = (struct tune_estimate){4.0, 0.1};
        m->gain_margin_hz = 60.0;
        m->gain_reduction_margin_db = (struct tune_estimate){INFINITY, NAN};
        m->gain_reduction_margin_hz = NAN;
        m->phase_margin_deg = (struct tune_estimate){1.0, 0.01};
        m->phase_margin_hz = 8.0;
        m->delay_margin_s = (struct tune_estimate){0.02, 0.001};
        m->sens_peak = (struct tune_estimate){1.5, 0.02};
        m->sens_peak_hz = 20.0;
        m->sens_peak_at_end = true;
        m->n_unsure = 3;
        m->n_grazing = 1;
        m->grazing_hz = 22.0;
        m->n_crossings = 2;
        m->crossing[0] =
            (struct tune_table_crossing){.frequency_hz = {8.0, 0.1}, .margin = {1.0, 0.01}};
        m->crossing[1] = (struct tune_table_crossing){
            .of_phase = true, .frequency_hz = {60.0, 0.5}, .margin = {4.0, 0.1}};
    }
}

static inline void sample_identification(struct tune_identification *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_IDENTIFY);
    sample_table(r);
    r->n_pointings = 2;
    r->pointing = calloc(2, sizeof *r->pointing);
    for (size_t i = 0; i < 2; i++) {
        struct tune_pointing_plant *p = &r->pointing[i];
        (void)snprintf(p->name, sizeof p->name, "%s", i ? "west-30" : "east-60");
        p->angle_deg = i ? (double)NAN : -60.0;
        p->other_axis_deg = i ? 20.5 : (double)NAN;
        p->other_axis = i ? TUNE_OTHER_AXIS_BRAKED : TUNE_OTHER_AXIS_UNKNOWN;
        p->n_logs = i + 1;
        (void)snprintf(p->frf_file.name, sizeof p->frf_file.name, "frf-%s.csv", p->name);
        memset(p->frf_file.sha256, 'a', 64);
        if (i == 0) {
            (void)snprintf(p->assisted_file.name, sizeof p->assisted_file.name, "assisted-%s.csv",
                           p->name);
            memset(p->assisted_file.sha256, 'c', 64);
            p->assisted_band_hz[0] = 1.4;
            p->assisted_band_hz[1] = 204.0;
        }
        p->bins = 1234;
        p->band_hz[0] = 1.3;
        p->band_hz[1] = 1.0 / 3.0 + 205.0;
        p->estimator = i ? TUNE_FRF_PERIODIC : TUNE_FRF_INDIRECT;
        p->closed_loop = i == 0;
        p->median_coherence = 0.998;
        p->torque_rms_nm = 21.2;
        p->sensor_noise_arcsec = 0.003;
        sample_fit(&p->fit);
        if (i == 0) sample_comparison(p);
        p->unseen = (struct tune_unseen){
            .n_locked = 1,
            .locked_rotor_hz = {{22.6, 0.0013}},
            .static_rad_per_nm = {4.1e-7 / 3.0, 2e-10},
            .peak_rad_per_nm = {i ? (double)NAN : 3.6e-5, i ? (double)NAN : 2e-7},
            .peak_hz = {i ? (double)NAN : 22.59, i ? (double)NAN : 8e-4},
            .payload = i ? TUNE_PAYLOAD_ASSUMED : TUNE_PAYLOAD_ACCELEROMETER};
        if (i == 0)
            p->sensor = (struct tune_sensor){.kind = TUNE_PAYLOAD_ACCELEROMETER,
                                             .n_modes = 2,
                                             .ratio = {{(double)NAN, (double)NAN}, {-6.2, 0.002}},
                                             .gain_sum = {-0.9958, 0.0004},
                                             .late_s = {1e-3 / 7.0, 1e-6},
                                             .scale = {-1.2, 0.001},
                                             .tilt = {0.3, 0.4},
                                             .reduced_chi_square = 1.01,
                                             .lines = 16000,
                                             .band_hz = {1.4, 235.0}};
    }
    sample_tracks(r);
    tune_notes_add(&r->notes, "Positive torque raises the position.");
}

static inline struct tune_controller sample_controller(void)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 2.1e6 / 7.0;
    c.ki_nm_per_rad_s = 4e6;
    c.kd_nm_s_per_rad = 9.5e4;
    c.derivative_filter_hz = 400.0;
    c.lowpass_hz = 600.0;
    c.lowpass_order = 1;
    c.n_biquads = 2;
    c.biquad[0] = (struct tune_biquad_spec){41.2, 0.05, 41.2, 0.5};
    c.biquad[1] = (struct tune_biquad_spec){100.0, 0.1, 110.0, 0.2};
    return c;
}

static inline void sample_disturbance(struct tune_disturbance_summary *d)
{
    d->measured = true;
    (void)snprintf(d->log, sizeof d->log, "quiet");
    (void)snprintf(d->pointing, sizeof d->pointing, "east-60");
    d->duration_s = 120.0;
    d->sensor_noise_arcsec = 0.003;
    d->wind_rms_nm = 3.0;
    d->wind_corner_hz = 0.2;
    d->drive_noise_nm_per_rthz = 0.05;
}

static inline void sample_beyond(struct tune_proposal *r)
{
    r->n_beyond = 2;
    r->beyond = calloc(2, sizeof *r->beyond);
    r->n_bounds = 2;
    r->bound = calloc(2, sizeof *r->bound);
    for (size_t i = 0; i < 2; i++) {
        struct tune_beyond_band *b = &r->beyond[i];
        struct tune_least_jitter *least = &r->bound[i];
        (void)snprintf(b->pointing, sizeof b->pointing, "%s", i ? "west-60" : "east-60");
        (void)snprintf(least->pointing, sizeof least->pointing, "%s", b->pointing);
        (void)snprintf(least->controller, sizeof least->controller, "bold");
        b->band_hz = 199.5;
        b->loop_gain_limit = 1.0 / 3.0;
        b->largest_loop_gain = i ? 0.4 : 0.21;
        b->largest_hz = 201.0;
        b->stable = i == 0;
        b->mode_damping = 0.005;
        b->harmless_gain = i ? 0.0 : 0.0125;
        b->harmless_hz = 202.0;
        least->peak_sensitivity_limit = 2.0;
        least->noise_torque_limit_nm = 2.4;
        least->least_rms_arcsec = 0.0191;
        least->rms_arcsec = 0.0201;
        least->ratio = least->rms_arcsec / least->least_rms_arcsec;
        least->spread = 0.0015;
    }
}

static inline void sample_ranked(struct tune_proposal *r)
{
    (void)snprintf(r->ranked_of, sizeof r->ranked_of, "bold");
    r->n_ranked = 2;
    r->ranked = calloc(2, sizeof *r->ranked);
    r->ranked[0] = (struct tune_ranked_limit){.kind = "mode_damping",
                                              .from = 0.004,
                                              .to = 0.008,
                                              .at_hz = {14.8, 14.8},
                                              .slope = -0.21,
                                              .solved = true,
                                              .reached = true,
                                              .before_arcsec = 0.0311,
                                              .after_arcsec = 0.0271,
                                              .gain = 0.1286,
                                              .text = "The mode at 14.8 Hz damped"};
    r->ranked[1] = (struct tune_ranked_limit){.kind = "delay",
                                              .unit = "s",
                                              .from = 3e-4,
                                              .to = 2.4e-4,
                                              .slope = 0.05,
                                              .before_arcsec = 0.0311,
                                              .after_arcsec = (double)NAN,
                                              .gain = (double)NAN,
                                              .text = "0.06 ms less delay"};
}

static inline void sample_other_axis(struct tune_other_axis_check *c)
{
    (void)snprintf(c->axis, sizeof c->axis, "declination");
    (void)snprintf(c->gains, sizeof c->gains, "../declination/axis.ini");
    c->proposed = true;
    c->n = 2;
    c->pointing = calloc(2, sizeof *c->pointing);
    for (size_t i = 0; i < 2; i++) {
        struct tune_cross_margins *m = &c->pointing[i];
        const struct tune_margin none = {(double)NAN, (double)NAN, (double)NAN};
        (void)snprintf(m->pointing, sizeof m->pointing, "%s", i ? "west-60" : "east-60");
        (void)snprintf(m->other_pointing, sizeof m->other_pointing, "south");
        m->modes = 1 + i;
        m->stable = i == 0;
        m->peak_sensitivity = i ? none : (struct tune_margin){1.71, 0.004, 1.7166};
        m->gain_margin_db = i ? none : (struct tune_margin){7.7, 0.02, 7.67};
        m->gain_reduction_margin_db =
            i ? none : (struct tune_margin){(double)INFINITY, (double)NAN, (double)INFINITY};
        m->phase_margin_deg = i ? none : (struct tune_margin){40.2, 0.1, 40.04};
        m->peak_hz = i ? (double)NAN : 31.5;
    }
}

static inline void sample_proposal(struct tune_proposal *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_DESIGN);
    sample_disturbance(&r->disturbance);
    (void)snprintf(r->payload, sizeof r->payload, "assumed");
    r->n_candidates = 2;
    r->candidate = calloc(2, sizeof *r->candidate);
    for (size_t i = 0; i < 2; i++) {
        struct tune_candidate *c = &r->candidate[i];
        (void)snprintf(c->name, sizeof c->name, "%s", i ? "calm" : "present");
        c->present = i == 0;
        c->feasible = i == 1;
        c->controller = sample_controller();
        c->n_margins = 1;
        c->margins = calloc(1, sizeof *c->margins);
        (void)snprintf(c->margins[0].pointing, sizeof c->margins[0].pointing, "east-60");
        c->margins[0].stable = true;
        c->margins[0].gain_margin_db = (struct tune_margin){7.9, 0.02, 7.87};
        c->margins[0].gain_reduction_margin_db = (struct tune_margin){INFINITY, NAN, INFINITY};
        c->margins[0].phase_margin_deg = (struct tune_margin){41.0, 0.02, 40.97};
        c->margins[0].delay_margin_s = (struct tune_margin){0.004, 1e-6, 0.00399};
        c->margins[0].peak_sensitivity = (struct tune_margin){1.68, 0.001, 1.6816};
        c->margins[0].crossover_hz = (struct tune_margin){NAN, NAN, NAN};
        c->margins[0].n_crossings = 3;
        c->margins[0].crossing[0] =
            (struct tune_margin_crossing){true, {2.1, 0.003}, {-16.0, 0.1, -15.8}};
        c->margins[0].crossing[1] =
            (struct tune_margin_crossing){false, {19.8, 0.02}, {41.0, 0.02, 40.97}};
        c->margins[0].crossing[2] =
            (struct tune_margin_crossing){false, {96.0, 0.02}, {-171.0, NAN, NAN}};
        c->jitter_rms_arcsec = i ? 0.031 : (double)NAN;
        c->jitter_upper95_arcsec = i ? 0.034 : (double)NAN;
        c->sky_rms_arcsec = 0.08;
        c->line_of_sight_rms_arcsec = i ? 0.31 : (double)NAN;
        c->noise_torque_rms_nm = 1.1;
        c->worst_sensitivity = i ? 1.7 : (double)INFINITY;
        (void)snprintf(c->limit, sizeof c->limit, "peak sensitivity at east-60, 31 Hz");
    }
    r->recommended = 1;
    (void)snprintf(r->goal, sizeof r->goal, "calm");
    r->n_purchases = 2;
    r->purchase = calloc(2, sizeof *r->purchase);
    for (size_t i = 0; i < 2; i++) {
        struct tune_purchase *p = &r->purchase[i];
        (void)snprintf(p->goal, sizeof p->goal, "%s", i ? "bold" : "calm");
        p->biquads = i;
        p->encoder_rms_arcsec = i ? 0.02 : (double)INFINITY;
        p->sky_rms_arcsec = 0.03;
        p->noise_torque_rms_nm = 1.1;
        p->worst_sensitivity = 1.5;
        p->feasible = i == 1;
        p->taken = i == 0;
    }
    tune_notes_add(&r->implied, "phase margin");
    r->n_rungs = 2;
    r->rung = calloc(2, sizeof *r->rung);
    for (size_t i = 0; i < 2; i++) {
        struct tune_rung *rung = &r->rung[i];
        (void)snprintf(rung->file.name, sizeof rung->file.name, "enable-%02zu.ini", i + 1);
        memset(rung->file.sha256, 'd', 64);
        rung->controller = sample_controller();
        rung->gain_db = i ? 0.0 : -3.0;
        rung->crossover_hz = 9.0;
        rung->peak_sensitivity = 1.4;
        rung->phase_margin_deg = 41.0;
        rung->encoder_rms_arcsec = 0.03;
        rung->encoder_interval_arcsec[0] = 0.02;
        rung->encoder_interval_arcsec[1] = 0.04;
        rung->torque_rms_nm = 2.0;
        rung->noise_torque_rms_nm = 0.4;
        rung->abort_encoder_arcsec = 0.06;
        rung->abort_torque_nm = 4.0;
        rung->dwell_s = 12.0;
        rung->n_tones = i;
        rung->tone[0] = (struct tune_probe_tone){4.0, 0.7, 0.5, 0.9, 1.5, 0.2};
    }
    tune_notes_add(&r->climbing, "one at a time");
    sample_beyond(r);
    sample_ranked(r);
    sample_other_axis(&r->other_axis);
    r->n_trials = 2;
    r->trial = calloc(2, sizeof *r->trial);
    for (size_t i = 0; i < 2; i++) {
        const double unknown = i ? (double)NAN : 0.031;
        r->trial[i] =
            (struct tune_pointing_trial){.offset_arcsec = 5.0,
                                         .push_nm = 150.0,
                                         .large_offset_arcsec = 206.0,
                                         .band_arcsec = 0.16,
                                         .offset = {true, false, 4.0, 0.5, 1.2, 31.0, 0.0},
                                         .push = {true, false, 4.5, 0.4, 20.0, 120.0, 0.01},
                                         .tracking_s = 0.03,
                                         .large_offset = {true, false, 12.0, 0.8, 90.0, 300.0, 0.1},
                                         .bare = {false, i == 1, 12.0, INFINITY, 300.0, 300.0, 1.5},
                                         .quiet_s = 10.0,
                                         .encoder_rms_arcsec = 0.032,
                                         .expected_rms_arcsec = unknown,
                                         .expected_interval_arcsec = {unknown, unknown + 0.002},
                                         .torque_rms_nm = 2.1,
                                         .expected_torque_rms_nm = unknown,
                                         .quiet_saturated_s = 0.02};
        (void)snprintf(r->trial[i].pointing, sizeof r->trial[i].pointing, "%s",
                       i ? "west-30" : "east-60");
    }
    r->feedforward = (struct tune_feedforward_numbers){.inertia_kg_m2 = {820.0, 1.5},
                                                       .viscous_nm_s_per_rad = {35.0, NAN},
                                                       .coulomb_nm = NAN,
                                                       .smooth_arcsec_per_s = 5.0,
                                                       .has_moves = true,
                                                       .speed_deg_per_s = 5.0,
                                                       .acceleration_deg_per_s2 = 5.8,
                                                       .jerk_deg_per_s3 = INFINITY,
                                                       .jerk_time_s = 0.044,
                                                       .torque_nm = 84.0,
                                                       .worst_pointing = "east-60",
                                                       .locked_rotor_hz = 22.6,
                                                       .ringing_arcsec = 0.4,
                                                       .step_ringing_arcsec = 18.0};
    tune_notes_add(&r->feedforward.advice, "begin with half");
    (void)snprintf(r->controller_file.name, sizeof r->controller_file.name, "controller.ini");
    memset(r->controller_file.sha256, 'b', 64);
    (void)snprintf(r->to_type.text_file.name, sizeof r->to_type.text_file.name, "to-type.txt");
    memset(r->to_type.text_file.sha256, 'e', 64);
    (void)snprintf(r->to_type.coefficients_file.name, sizeof r->to_type.coefficients_file.name,
                   "coefficients.csv");
    memset(r->to_type.coefficients_file.sha256, 'f', 64);
    (void)snprintf(r->to_type.header_file.name, sizeof r->to_type.header_file.name, "controller.h");
    memset(r->to_type.header_file.sha256, 'a', 64);
    r->to_type.old_known = true;
    r->to_type.n_numbers = 2;
    for (size_t i = 0; i < 2; i++) {
        struct tune_typed_number *number = &r->to_type.number[i];
        (void)snprintf(number->name, sizeof number->name, "%s", i ? "lowpass" : "kp");
        (void)snprintf(number->unit, sizeof number->unit, "%s", i ? "Hz" : "A/count");
        number->value = i ? (double)NAN : 12.5;
        number->old = 7.25;
    }
    tune_judgements_add(&r->requirement, "jitter_rms_arcsec", 0.05, 0.031, true, "");
    tune_judgements_add(&r->requirement, "gain_reduction_margin_db", 10.0, INFINITY, false,
                        "east-60");
    tune_notes_add(&r->limits, "limit");
    tune_notes_add(&r->cautions, "caution");
}

static inline void sample_forecast(struct tune_forecast *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_PREDICT);
    (void)snprintf(r->controller_source, sizeof r->controller_source, "results/controller.ini");
    r->controller = sample_controller();
    sample_disturbance(&r->disturbance);
    (void)snprintf(r->payload, sizeof r->payload, "none");
    r->jitter_of_sky = true;
    r->n_pointings = 2;
    r->pointing = calloc(2, sizeof *r->pointing);
    for (size_t i = 0; i < 2; i++) {
        struct tune_pointing_forecast *p = &r->pointing[i];
        (void)snprintf(p->pointing, sizeof p->pointing, "%s", i ? "west" : "east");
        p->true_rms_arcsec = (struct tune_estimate){0.02 + 0.01 * (double)i, 0.001};
        p->measured_rms_arcsec = (struct tune_estimate){0.03, 0.001};
        p->interval_95_arcsec[0] = 0.028;
        p->interval_95_arcsec[1] = 0.032;
        p->sky_rms_arcsec = i ? 0.2 : (double)NAN;
        p->unseen_twist_arcsec = 0.1;
        for (size_t k = 0; k < TUNE_FORECAST_SOURCES; k++)
            (void)snprintf(p->source[k].name, sizeof p->source[k].name, "source %zu", k);
        p->source[0].rms_arcsec = 0.02;
    }
    r->worst = 1;
    (void)snprintf(r->spectrum.name, sizeof r->spectrum.name, "jitter.csv");
    memset(r->spectrum.sha256, 'c', 64);
    tune_judgements_add(&r->requirement, "jitter_rms_arcsec", 0.05, 0.2, true, "west");
}

static inline void sample_balance(struct tune_balance *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_BALANCE);
    r->n_logs = 1;
    r->log = calloc(1, sizeof *r->log);
    (void)snprintf(r->log[0].name, sizeof r->log[0].name, "slow");
    r->arc_deg[0] = -80.0;
    r->arc_deg[1] = 80.0;
    r->imbalance_nm = (struct tune_estimate){4.98, 0.02};
    r->imbalance_angle_deg = (struct tune_estimate){70.0, 0.2};
    r->coulomb_nm = (struct tune_estimate){0.0, INFINITY};
    r->inertia_kg_m2 = (struct tune_estimate){99.4, 0.5};
    r->at_rest = TUNE_REST_NO;
    r->margin_nm = (struct tune_estimate){-1.1, 0.03};
    r->held_of_drive = NAN;
    r->has_remedy = true;
    r->n_steps = 2;
    r->step = calloc(2, sizeof *r->step);
    (void)snprintf(r->step[0].name, sizeof r->step[0].name, "counterweight");
    r->step[0].amount = -13.0;
    (void)snprintf(r->step[1].name, sizeof r->step[1].name, "saddle");
    r->step[1].place = true;
    r->step[1].amount = 1.5;
    r->after_95_nm[1] = 0.23;
    tune_notes_add(&r->cautions, "Before weights move: lock the axis.");
}

static inline void sample_verification(struct tune_verification *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_VERIFY);
    r->n_logs = 2;
    r->log = calloc(2, sizeof *r->log);
    for (size_t i = 0; i < 2; i++) {
        struct tune_verified_log *log = &r->log[i];
        (void)snprintf(log->name, sizeof log->name, "%s", i ? "slew" : "tracking");
        (void)snprintf(log->pointing, sizeof log->pointing, "east");
        log->kind = i ? TUNE_LOG_STEP : TUNE_LOG_TRACK;
        log->duration_s = 120.0;
        log->measured_rms_arcsec = i ? (double)NAN : 0.03;
        log->sky_rms_arcsec = NAN;
        log->predicted_rms_arcsec = 0.031;
        log->predicted_interval_95_arcsec[1] = 0.035;
        log->settle_s = i ? (double)INFINITY : (double)NAN;
    }
    r->log[0].injected = true;
    r->log[0].n_tones = 2;
    r->log[0].tone[0] = (struct tune_verified_tone){
        4.57, 0.2, {0.7, 0.02}, {0.66, 0.71}, {0.55, 0.85}, TUNE_TONE_AS_DESIGNED};
    r->log[0].tone[1] = (struct tune_verified_tone){8.05,       0.1,        {1.7, NAN},
                                                    {NAN, NAN}, {NAN, NAN}, TUNE_TONE_NOT_FORETOLD};
    tune_judgements_add(&r->requirement, "settle_s", 3.0, INFINITY, true, "slew");
}

static inline void sample_inspection(struct tune_inspection *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_INSPECT);
    r->n_logs = 2;
    r->log = calloc(2, sizeof *r->log);
    (void)snprintf(r->log[1].name, sizeof r->log[1].name, "analyser");
    r->log[1].kind = TUNE_LOG_RESPONSE;
    r->log[1].of_loop = true;
    r->log[1].band_hz[0] = 0.5;
    r->log[1].band_hz[1] = 240.0;
    (void)snprintf(r->log[0].name, sizeof r->log[0].name, "east");
    r->log[0].kind = TUNE_LOG_HOLD;
    r->log[0].rows = 40000;
    r->log[0].rate_hz = 4000.0;
    r->log[0].duration_s = 10.0;
    r->log[0].channel[TUNE_ROLE_POSITION] = true;
    r->log[0].error_rms_arcsec = NAN;
    r->log[0].health.verdict = r->verdict = TUNE_WITH_CARE;
    r->log[0].health.n_findings = 1;
    (void)snprintf(r->log[0].health.finding[0].name, 32, "torque-saturated");
    r->log[0].health.finding[0].severity = TUNE_WITH_CARE;
    r->log[0].health.finding[0].row = 17;
    r->log[0].health.finding[0].time_s = 0.004;
    r->log[0].health.finding[0].value = NAN;
}

static inline void sample_precheck(struct tune_precheck *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_PRECHECK);
    r->n_checks = 2;
    r->check[0] = (struct tune_check){
        "torque-per-unit", TUNE_CHECK_DISAGREES, 18.4,         {13.01, 0.08}, 0.368,
        "N m/unit",        "A weight tells.",    "Correct it."};
    r->check[1] = (struct tune_check){"limit-low", TUNE_CHECK_NOT_TESTED, -95.0, {NAN, NAN}, NAN,
                                      "deg",       "There is no log.",    ""};
    tune_notes_add(&r->notes, "A note.");
    tune_notes_add(&r->cautions, "A caution.");
}

static inline void sample_truth(struct tune_truth *r)
{
    memset(r, 0, sizeof *r);
    sample_provenance(&r->provenance, TUNE_SCHEMA_TRUTH);
    r->axis.plant.loop_rate_hz = 4000.0;
    r->axis.plant.inertia_kg_m2 = 820.0;
    r->axis.substeps = 5;
    r->n_pointings = 1;
    r->pointing = calloc(1, sizeof *r->pointing);
    r->pointing[0].plant = r->axis.plant;
    r->pointing[0].plant.n_modes = 1;
    r->pointing[0].plant.complex_residues = true;
    r->pointing[0].plant.mode[0] = (struct tune_mode){24.3, 0.006, 0.15, NAN, -0.04};
    r->mismatch = tune_mismatch_none();
    r->mismatch.encoder_sign = -1.0;
    r->mismatch.limit_acts[1] = false;
    r->n_logs = 2;
    r->log = calloc(2, sizeof *r->log);
    r->log[1].n_troubles = 2;
    r->log[1].trouble[0] = (struct tune_truth_trouble){"samples-missing", 501, 7.0};
    r->log[1].trouble[1] = (struct tune_truth_trouble){"scale-differs", 0, 1.002};
    r->log[0].seed = UINT64_MAX;
    r->log[0].kind = TUNE_LOG_TRACK;
    r->log[1].kind = TUNE_LOG_MOVE;
    r->log[1].true_rms_arcsec = NAN;
    r->log[1].known_angle_deg = -9.5;
    r->log[1].end = TUNE_DRIVE_TRIPPED;
}

#endif
