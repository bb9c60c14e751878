/* sample.h - hand-made results of an invented axis for the tests of the report: a rigid body with five
 * modes at three pointings, four controllers, a prediction and a verified log. The numbers are made up
 * to look like an axis; nothing judges them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_REPORT_SAMPLE_H
#define TEST_REPORT_SAMPLE_H

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../apps/quietaxis/report/report.h"
#include "report/sample_design.h"

enum { SAMPLE_POINTINGS = 3, SAMPLE_BINS = 3000, SAMPLE_MODES = 5 };

struct sample {
    struct report report;
    struct tune_logbook logbook;
    struct tune_inspection inspection;
    struct tune_identification identification;
    struct tune_proposal proposal;
    struct tune_forecast forecast;
    struct tune_verification verification;
    struct tune_inspected_log log[SAMPLE_POINTINGS];
    struct tune_pointing_plant plant[SAMPLE_POINTINGS];
    struct tune_candidate candidate[SAMPLE_CANDIDATES];
    struct tune_pointing_margins margins[SAMPLE_CANDIDATES][SAMPLE_POINTINGS];
    struct tune_purchase purchase[SAMPLE_PURCHASES];
    struct tune_rung rung[SAMPLE_RUNGS];
    struct tune_pointing_forecast at[SAMPLE_POINTINGS];
    struct tune_verified_log verified;
    struct tune_input input[2];
    struct tune_option option;
};

/* Copies as much of the words as fits. */
static inline void sample_say(char *out, size_t size, const char *words)
{
    (void)snprintf(out, size, "%s", words);
}

static inline struct tune_plant sample_axis(double change)
{
    const double mode[SAMPLE_MODES][3] = {{14.8, 0.004, 0.30},
                                          {31.0, 0.010, 0.12},
                                          {62.5, 0.004, 0.05},
                                          {104.0, 0.020, -0.08},
                                          {168.0, 0.012, 0.06}};
    struct tune_plant plant = {.inertia_kg_m2 = 1500.0 * (1.0 + change),
                               .viscous_nm_s_per_rad = 60.0,
                               .delay_s = 3e-4,
                               .loop_rate_hz = 4000.0,
                               .n_modes = SAMPLE_MODES};
    for (size_t k = 0; k < SAMPLE_MODES; k++)
        plant.mode[k] = (struct tune_mode){mode[k][0] * (1.0 - 0.3 * change), mode[k][1],
                                           mode[k][2], (double)NAN, 0.0};
    return plant;
}

static inline void sample_write(const char *folder, const char *name, const char *text)
{
    char path[1024];
    FILE *file;
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    file = fopen(path, "wb");
    if (!file || fputs(text, file) < 0 || fclose(file) != 0) abort();
}

/* Response with Gaussian noise of the standard deviation written beside it. */
static inline void sample_response(const char *folder, const char *name,
                                   const struct tune_plant *plant, uint64_t seed)
{
    struct buffer text = {0};
    struct tune_random random;
    tune_random_init(&random, seed, 0);
    buffer_add(&text,
               "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence\n");
    for (size_t i = 0; i < SAMPLE_BINS; i++) {
        const double f_hz = 0.8 + 0.073 * (double)i;
        double complex g;
        double std;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        std = hypot(0.01 * cabs(g), 6e-11 * (1.0 + pow(5.0 / f_hz, 1.5)));
        buffer_format(&text, "%.10g,%.10g,%.10g,%.4g,7,%.6g\n", f_hz,
                      creal(g) + std * tune_random_normal(&random) / sqrt(2.0),
                      cimag(g) + std * tune_random_normal(&random) / sqrt(2.0), std,
                      1.0 / (1.0 + 20.0 * std * std / (creal(g) * creal(g) + cimag(g) * cimag(g))));
    }
    sample_write(folder, name, text.bytes);
    buffer_free(&text);
}

static inline void sample_model(const char *folder, const char *name,
                                const struct tune_plant *plant)
{
    struct buffer text = {0};
    buffer_add(&text, "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm\n");
    for (double f_hz = 0.5; f_hz < 400.0; f_hz *= 1.004) {
        double complex g;
        tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        buffer_format(&text, "%.10g,%.10g,%.10g,%.4g\n", f_hz, creal(g), cimag(g), 0.004 * cabs(g));
    }
    sample_write(folder, name, text.bytes);
    buffer_free(&text);
}

static inline void sample_jitter(const char *folder)
{
    struct buffer text = {0};
    double measured = 0.0, truth = 0.0, last = 0.02;
    buffer_add(&text, "frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,"
                      "measured_cumulative_arcsec,true_cumulative_arcsec\n");
    for (double f_hz = 0.02; f_hz < 2000.0; f_hz *= 1.03) {
        const double psd = 1e-2 * f_hz * f_hz / pow(1.0 + f_hz * f_hz / 4.0, 2.2) +
                           3e-5 / (1.0 + pow((f_hz - 14.8) / 0.2, 2.0));
        truth += psd * (f_hz - last);
        measured += (psd + 2e-9) * (f_hz - last);
        last = f_hz;
        buffer_format(&text, "%.8g,%.8g,%.8g,%.8g,%.8g\n", f_hz, psd + 2e-9, psd, sqrt(measured),
                      sqrt(truth));
    }
    sample_write(folder, "jitter.csv", text.bytes);
    buffer_free(&text);
}

static inline void sample_fit(struct tune_fit *fit, double change)
{
    static const double zero[] = {12.93, 29.4, 61.2, 163.0};
    fit->plant = sample_axis(change);
    fit->reduced_chi_square = 1.03;
    fit->inertia = (struct tune_estimate){fit->plant.inertia_kg_m2, 1.2};
    fit->viscous = (struct tune_estimate){60.0, 11.0};
    fit->delay = (struct tune_estimate){3e-4, 2.1e-6};
    for (size_t k = 0; k < SAMPLE_MODES; k++) {
        const struct tune_mode *mode = &fit->plant.mode[k];
        fit->mode_f_hz[k] = (struct tune_estimate){mode->f_hz, 1e-4 * mode->f_hz};
        fit->mode_zeta[k] = (struct tune_estimate){mode->zeta, 0.02 * mode->zeta};
        fit->mode_gain[k] = (struct tune_estimate){mode->gain, 0.01 * fabs(mode->gain)};
    }
    fit->n_antiresonances = 4;
    for (size_t k = 0; k < 4; k++) {
        fit->antiresonance_f_hz[k] = (struct tune_estimate){zero[k] * (1.0 - 0.3 * change), 0.003};
        fit->antiresonance_zeta[k] = (struct tune_estimate){0.006, 0.0002};
    }
}

static inline void sample_pointing(struct sample *s, size_t i, const char *folder, const char *name)
{
    const double change = 0.04 * ((double)i - 1.0);
    struct tune_pointing_plant *p = &s->plant[i];
    struct tune_pointing_forecast *at = &s->at[i];
    struct tune_inspected_log *log = &s->log[i];
    sample_say(p->name, sizeof p->name, name);
    p->angle_deg = 45.0 * ((double)i - 1.0);
    p->n_logs = 1;
    p->bins = SAMPLE_BINS;
    p->band_hz[0] = 0.8;
    p->band_hz[1] = 220.0;
    p->closed_loop = true;
    p->median_coherence = 0.9991;
    (void)snprintf(p->frf_file.name, sizeof p->frf_file.name, "frf-%zu.csv", i);
    (void)snprintf(p->model_file.name, sizeof p->model_file.name, "model-%zu.csv", i);
    sample_fit(&p->fit, change);
    if (folder) {
        sample_response(folder, p->frf_file.name, &p->fit.plant, 1 + i);
        sample_model(folder, p->model_file.name, &p->fit.plant);
    }

    sample_say(at->pointing, sizeof at->pointing, name);
    at->true_rms_arcsec = (struct tune_estimate){0.062 + 0.01 * (double)i, 0.002};
    at->measured_rms_arcsec = (struct tune_estimate){0.063 + 0.01 * (double)i, 0.002};
    at->interval_95_arcsec[0] = 0.059 + 0.01 * (double)i;
    at->interval_95_arcsec[1] = 0.067 + 0.01 * (double)i;
    at->sky_rms_arcsec = 0.21;
    at->unseen_twist_arcsec = 0.18;
    for (size_t k = 0; k < TUNE_FORECAST_SOURCES; k++) {
        static const char *const source[] = {"wind", "drive torque", "sensor noise"};
        sample_say(at->source[k].name, sizeof at->source[k].name, source[k]);
        at->source[k].rms_arcsec = 0.06 / (double)(k + 1);
    }

    (void)snprintf(log->name, sizeof log->name, "sweep-%zu", i);
    sample_say(log->pointing, sizeof log->pointing, name);
    log->kind = TUNE_LOG_SWEEP;
    log->rows = 280000;
    log->rate_hz = 4000.0;
    log->duration_s = 70.0;
    log->error_rms_arcsec = (double)NAN;
    if (i == 1) {
        log->health.verdict = TUNE_WITH_CARE;
        log->health.n_findings = 1;
        log->health.finding[0] = (struct tune_finding){.name = "torque-saturated",
                                                       .severity = TUNE_WITH_CARE,
                                                       .row = 12034,
                                                       .time_s = 3.0085,
                                                       .value = 14.0};
        sample_say(log->health.finding[0].text, 200, "the torque stands at its limit in 14 rows");
        sample_say(log->health.finding[0].advice, 200, "sweep with a smaller amplitude");
    }
}

static inline void sample_candidate(struct sample *s, size_t c, const char *const *names)
{
    struct tune_candidate *candidate = &s->candidate[c];
    static const char *const name[SAMPLE_CANDIDATES] = {"present", "calm", "between-1", "bold"};
    static const double jitter[SAMPLE_CANDIDATES] = {1.2, 0.083, 0.07, 0.06};
    static const double torque[SAMPLE_CANDIDATES] = {0.1, 1.9, 2.0, 2.3};
    const double factor = c ? 1.0 + 0.1 * (double)(c - 1) : 0.2;
    sample_say(candidate->name, sizeof candidate->name, name[c]);
    candidate->between = c == 2;
    candidate->present = !c;
    candidate->feasible = c;
    candidate->controller = tune_controller_defaults(4000.0);
    candidate->controller.kp_nm_per_rad = 7e5 * factor * factor;
    candidate->controller.ki_nm_per_rad_s = 3.5e6 * factor * factor * factor;
    candidate->controller.kd_nm_s_per_rad = 4.6e4 * factor;
    candidate->controller.derivative_filter_hz = 300.0;
    candidate->controller.lowpass_hz = c ? 250.0 : 0.0;
    candidate->controller.n_biquads = c > 0;
    candidate->controller.biquad[0] = (struct tune_biquad_spec){104.0, 0.3, 104.0, 0.9};
    candidate->n_margins = candidate->between ? 0 : SAMPLE_POINTINGS;
    candidate->margins = candidate->between ? NULL : s->margins[c];
    for (size_t i = 0; i < candidate->n_margins; i++) {
        struct tune_pointing_margins *m = &s->margins[c][i];
        sample_say(m->pointing, sizeof m->pointing, names[i]);
        m->stable = true;
        m->gain_margin_db = (struct tune_margin){9.1, 0.1, 8.93};
        m->gain_reduction_margin_db =
            (struct tune_margin){(double)INFINITY, (double)NAN, (double)NAN};
        m->phase_margin_deg = (struct tune_margin){41.3, 0.2, 41.0};
        m->delay_margin_s = (struct tune_margin){0.00213, 1e-5, 0.00211};
        m->peak_sensitivity = (struct tune_margin){1.52, 0.01, 1.54};
        m->crossover_hz = (struct tune_margin){5.31, 0.02, (double)NAN};
    }
    candidate->jitter_rms_arcsec = jitter[c];
    candidate->sky_rms_arcsec = 1.2 * jitter[c];
    candidate->noise_torque_rms_nm = torque[c];
    candidate->worst_sensitivity = 1.6;
    sample_say(candidate->limit, sizeof candidate->limit,
               "peak sensitivity at the first pointing, 9.8 Hz");
}

static inline void sample_provenance(struct sample *s, struct tune_provenance *out,
                                     const char *schema, const char *hostile)
{
    sample_say(out->schema, sizeof out->schema, schema);
    sample_say(s->input[0].path, sizeof s->input[0].path, "axis.ini");
    sample_say(s->input[1].path, sizeof s->input[1].path, hostile ? hostile : "logs/sweep-0.csv");
    s->input[1].rows = 280000;
    for (size_t i = 0; i < 2; i++)
        tune_sha256_bytes(s->input[i].sha256, schema, i);
    out->n_inputs = 2;
    out->input = s->input;
    sample_say(s->option.name, sizeof s->option.name, "max_modes");
    sample_say(s->option.value, sizeof s->option.value, "10");
    out->n_options = 1;
    out->option = &s->option;
}

/* Fill *s and the files of folder (NULL: no files, which take time). hostile: every user text becomes this (NULL: decent ones). */
static inline void sample_fill(struct sample *s, const char *folder, const char *hostile)
{
    const char *decent[SAMPLE_POINTINGS] = {"east-45", "meridian", "west-45"};
    const char *nasty[SAMPLE_POINTINGS] = {hostile, hostile, hostile};
    const char *const *names = hostile ? nasty : decent;
    struct tune_axis_entry *axis = &s->logbook.axis;
    memset(s, 0, sizeof *s);
    sample_say(axis->site, sizeof axis->site, hostile ? hostile : "Heron Flat 0.8 m");
    sample_say(axis->name, sizeof axis->name, hostile ? hostile : "hour-angle");
    sample_say(axis->configuration, sizeof axis->configuration,
               hostile ? hostile : "spectrograph fitted");
    sample_say(axis->date, sizeof axis->date, hostile ? hostile : "2026-05-14");
    s->logbook.drive = (struct tune_drive_entry){
        .loop_rate_hz = 4000.0,
        .sample_rate_hz = 4000.0,
        .torque_per_unit_nm = 18.4,
        .torque_limit_nm = 300.0,
        .torque_continuous_nm = 120.0,
        .encoder_counts_per_turn = 268435456.0,
        .encoder_lines_per_turn = 31488.0,
        .travel_limit_deg = {-95.0, 95.0},
        .rate_limit_deg_per_s = 5.0,
        .following_error_limit_deg = 0.2,
        .pole_pairs = 22,
        .max_biquads = 3,
        .coefficient_format = "float64",
    };
    s->logbook.requirement.peak_sensitivity = 1.7;
    s->logbook.requirement.jitter_rms_arcsec = 0.1;
    for (size_t i = 0; i < SAMPLE_POINTINGS; i++)
        sample_pointing(s, i, folder, names[i]);
    if (folder) sample_jitter(folder);
    for (size_t c = 0; c < SAMPLE_CANDIDATES; c++)
        sample_candidate(s, c, names);
    sample_purchases(s->purchase);
    sample_rungs(s->rung, &s->candidate[1].controller);
    if (hostile) {
        sample_say(s->candidate[3].name, sizeof s->candidate[3].name, hostile);
        sample_say(s->candidate[1].limit, sizeof s->candidate[1].limit, hostile);
        sample_say(s->log[1].health.finding[0].text, 200, hostile);
        sample_say(s->log[1].health.finding[0].advice, 200, hostile);
    }
    s->inspection.n_logs = SAMPLE_POINTINGS;
    s->inspection.log = s->log;
    s->inspection.verdict = TUNE_WITH_CARE;
    s->identification.n_pointings = SAMPLE_POINTINGS;
    s->identification.pointing = s->plant;
    s->proposal.n_candidates = SAMPLE_CANDIDATES;
    s->proposal.candidate = s->candidate;
    s->proposal.recommended = 1;
    sample_say(s->proposal.goal, sizeof s->proposal.goal, "calm");
    s->proposal.n_purchases = SAMPLE_PURCHASES;
    s->proposal.purchase = s->purchase;
    s->proposal.n_rungs = SAMPLE_RUNGS;
    s->proposal.rung = s->rung;
    tune_notes_add(&s->proposal.climbing, "%s", hostile ? hostile : "One rung at a time.");
    tune_notes_add(&s->proposal.implied, "%s",
                   hostile ? hostile : "phase margin: follows from peak sensitivity.");
    sample_say(s->proposal.controller_file.name, TUNE_RESULT_FILE, "controller.ini");
    tune_judgements_add(&s->proposal.requirement, "phase_margin_deg", 40.0, 41.3, false, names[0]);
    tune_judgements_add(&s->proposal.requirement, "peak_sensitivity", 1.7, 1.52, true, names[0]);
    tune_judgements_add(&s->proposal.requirement, "noise_torque_rms_nm", 2.4, 1.9, true, names[2]);
    tune_notes_add(&s->proposal.limits, "%s",
                   hostile ? hostile : "the payload mode at 14.8 Hz limits the bandwidth");
    tune_notes_add(&s->proposal.cautions, "%s",
                   hostile ? hostile : "climb the enable ladder, do not fade controllers");
    tune_notes_add(&s->identification.notes, "%s", hostile ? hostile : "no sign was inverted");
    s->forecast.controller = s->candidate[1].controller;
    sample_say(s->forecast.controller_source, sizeof s->forecast.controller_source,
               hostile ? hostile : "results/controller.ini");
    s->forecast.disturbance = (struct tune_disturbance_summary){.measured = true,
                                                                .duration_s = 120.0,
                                                                .sensor_noise_arcsec = 0.003,
                                                                .wind_rms_nm = 3.0,
                                                                .wind_corner_hz = 0.2,
                                                                .drive_noise_nm_per_rthz = 0.05};
    sample_say(s->forecast.disturbance.log, sizeof s->forecast.disturbance.log,
               hostile ? hostile : "quiet");
    sample_say(s->forecast.payload, sizeof s->forecast.payload, hostile ? hostile : "assumed");
    s->forecast.n_pointings = SAMPLE_POINTINGS;
    s->forecast.pointing = s->at;
    s->forecast.worst = SAMPLE_POINTINGS - 1;
    sample_say(s->forecast.spectrum.name, sizeof s->forecast.spectrum.name, "jitter.csv");
    tune_judgements_add(&s->forecast.requirement, "jitter_rms_arcsec", 0.1, 0.083, true, names[2]);
    s->verification.n_logs = 1;
    s->verification.log = &s->verified;
    sample_say(s->verified.name, sizeof s->verified.name, hostile ? hostile : "tracking");
    sample_say(s->verified.pointing, sizeof s->verified.pointing, names[1]);
    sample_say(s->verified.controller_source, sizeof s->verified.controller_source,
               hostile ? hostile : "controllers/tracking.ini");
    s->verified.kind = TUNE_LOG_TRACK;
    s->verified.duration_s = 120.0;
    s->verified.measured_rms_arcsec = 0.075;
    s->verified.predicted_rms_arcsec = 0.073;
    s->verified.predicted_interval_95_arcsec[0] = 0.069;
    s->verified.predicted_interval_95_arcsec[1] = 0.077;
    s->verified.peak_arcsec = 0.31;
    s->verified.drift_arcsec_per_s = 2e-5;
    s->verified.sky_rms_arcsec = s->verified.settle_s = (double)NAN;
    tune_judgements_add(&s->verification.requirement, "jitter_rms_arcsec", 0.1, 0.075, true,
                        s->verified.name);
    sample_provenance(s, &s->identification.provenance, "identify/1", hostile);
    s->report = (struct report){.logbook = &s->logbook,
                                .inspection = &s->inspection,
                                .identification = &s->identification,
                                .proposal = &s->proposal,
                                .forecast = &s->forecast,
                                .verification = &s->verification,
                                .folder = folder};
    if (hostile) tune_notes_add(&s->report.left_out, "%s", hostile);
}

#endif
