/* identification.c - identify.json. The covariance goes out and in whole, in the order of theta, so
 * that a design from the file equals a design from the fit.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/identification.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/identification_internal.h"

static const char *const estimators[] = {"indirect", "direct", "periodic", "table"};
static const char *const starts[TUNE_FIT_STARTS] = {"insertion", "vector_fitting"};

static void frf_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    unsigned estimator = (unsigned)p->estimator;
    json_io_enter(io, "frf");
    json_io_file(io, "file", &p->frf_file);
    json_io_count(io, "bins", &p->bins);
    json_io_numbers(io, "band_hz", p->band_hz, 2);
    json_io_choice(io, "estimator", &estimator, estimators, 4);
    json_io_flag(io, "closed_loop", &p->closed_loop);
    json_io_number(io, "median_coherence", &p->median_coherence);
    json_io_number(io, "torque_rms_nm", &p->torque_rms_nm);
    json_io_number(io, "sensor_noise_arcsec", &p->sensor_noise_arcsec);
    json_io_leave(io);
    p->estimator = (enum tune_frf_estimator)estimator;
}

/* Left out where there is none. */
static void assisted_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    if (io->writing ? !p->assisted_file.name[0] : !json_io_has(io, "frf_assisted")) return;
    json_io_enter(io, "frf_assisted");
    json_io_file(io, "file", &p->assisted_file);
    json_io_numbers(io, "band_hz", p->assisted_band_hz, 2);
    json_io_leave(io);
}

/* number: its place among the modes of theta, from 1; in band and out of band stand in two lists. */
static void mode_fields(struct json_io *io, struct tune_pointing_plant *p, size_t *number)
{
    struct tune_fit *fit = &p->fit;
    size_t k;
    json_io_count(io, "number", number);
    if (!io->status && (*number < 1 || *number > TUNE_MODES_MAX || *number > fit->plant.n_modes))
        json_io_fail(io, TUNE_EDATA, "number", "a mode has an impossible number");
    if (io->status) return;
    k = *number - 1;
    json_io_estimate(io, "frequency_hz", &fit->mode_f_hz[k]);
    json_io_estimate(io, "damping_ratio", &fit->mode_zeta[k]);
    json_io_estimate(io, "gain", &fit->mode_gain[k]);
    if (fit->plant.complex_residues)
        json_io_estimate(io, "gain_quadrature", &fit->mode_quadrature[k]);
    identification_payload_ratio(io, p, k);
    if (!fit->out_of_band[k]) identification_verdict_fields(io, &p->verdict[k]);
}

static void mode_list(struct json_io *io, const char *key, struct tune_pointing_plant *p,
                      bool out_of_band)
{
    struct tune_fit *fit = &p->fit;
    size_t n = 0, number[TUNE_MODES_MAX] = {0};
    for (size_t k = 0; io->writing && k < fit->plant.n_modes; k++)
        if (fit->out_of_band[k] == out_of_band) number[n++] = k + 1;
    const size_t count = json_io_list_fixed(io, key, &n, TUNE_MODES_MAX);
    for (size_t i = 0; i < count; i++) {
        json_io_item(io, i);
        mode_fields(io, p, &number[i]);
        if (!io->status) fit->out_of_band[number[i] - 1] = out_of_band;
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void antiresonance_fields(struct json_io *io, struct tune_fit *fit)
{
    const size_t n =
        json_io_list_fixed(io, "antiresonances", &fit->n_antiresonances, TUNE_MODES_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_estimate(io, "frequency_hz", &fit->antiresonance_f_hz[i]);
        json_io_estimate(io, "damping_ratio", &fit->antiresonance_zeta[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void parameter_name(char *out, size_t size, size_t modes, size_t parameter)
{
    static const char *const rigid[] = {"ln_inverse_inertia", "ln_viscous_over_inertia",
                                        "delay_in_loop_periods"};
    static const char *const modal[] = {"ln_frequency_hz", "ln_damping_ratio", "gain"};
    if (parameter < 3)
        (void)snprintf(out, size, "%s", rigid[parameter]);
    else if (parameter < 3 + 3 * modes)
        (void)snprintf(out, size, "mode%zu_%s", (parameter - 3) / 3 + 1, modal[parameter % 3]);
    else
        (void)snprintf(out, size, "mode%zu_gain_quadrature", parameter - 3 * modes - 2);
}

static void covariance_fields(struct json_io *io, struct tune_fit *fit)
{
    char name[64];
    const size_t n = json_io_list_fixed(io, "parameter_order", &fit->n_params, TUNE_PARAMS_MAX);
    for (size_t i = 0; i < n; i++) {
        parameter_name(name, sizeof name, fit->plant.n_modes, i);
        json_io_text_item(io, i, name, sizeof name);
    }
    json_io_leave(io);
    json_io_matrix(io, "covariance", &fit->covariance, n);
}

static void start_fields(struct json_io *io, struct tune_fit *fit)
{
    unsigned start = (unsigned)fit->start;
    json_io_choice(io, "start", &start, starts, TUNE_FIT_STARTS);
    fit->start = (enum tune_fit_start)start;
    json_io_enter(io, "whittle");
    for (size_t k = 0; k < TUNE_FIT_STARTS; k++)
        json_io_number(io, starts[k], &fit->whittle[k]);
    json_io_leave(io);
}

static void alike_number(struct json_io *io, const char *key, size_t *mode)
{
    size_t number = *mode + 1;
    json_io_count(io, key, &number);
    if (!io->status && (number < 1 || number > TUNE_MODES_MAX))
        json_io_fail(io, TUNE_EDATA, key, "a mode has an impossible number");
    *mode = number - 1;
}

static void knowledge_fields(struct json_io *io, struct tune_fit *fit)
{
    json_io_number(io, "viscous_prior_share", &fit->viscous_prior_share);
    const size_t n = json_io_list_fixed(io, "alike", &fit->n_alike, TUNE_MODES_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        alike_number(io, "first", &fit->alike[i].first);
        alike_number(io, "second", &fit->alike[i].second);
        json_io_number(io, "correlation", &fit->alike[i].correlation);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* Written only where the order was forced to another one. */
static void evident_fields(struct json_io *io, struct tune_fit *fit)
{
    if (!io->writing) fit->order_forced = json_io_has(io, "modes_by_evidence");
    if (fit->order_forced) json_io_count(io, "modes_by_evidence", &fit->evident_modes);
}

static void fit_fields(struct json_io *io, struct tune_fit *fit)
{
    json_io_enter(io, "fit");
    json_io_count(io, "order", &fit->plant.n_modes);
    if (fit->plant.n_modes > TUNE_MODES_MAX) {
        fit->plant.n_modes = 0;
        json_io_fail(io, TUNE_EDATA, "order", "there are too many modes");
    }
    json_io_number(io, "reduced_chi_square", &fit->reduced_chi_square);
    json_io_count(io, "lines", &fit->lines);
    json_io_flag(io, "complex_residues", &fit->plant.complex_residues);
    start_fields(io, fit);
    evident_fields(io, fit);
    knowledge_fields(io, fit);
    json_io_leave(io);
}

/* Plant and theta follow from the estimates just read. */
static void rebuild_plant(struct tune_fit *fit)
{
    struct tune_plant *plant = &fit->plant;
    plant->inertia_kg_m2 = fit->inertia.value;
    plant->viscous_nm_s_per_rad = fit->viscous.value;
    plant->delay_s = fit->delay.value;
    for (size_t k = 0; k < plant->n_modes; k++) {
        plant->mode[k].f_hz = fit->mode_f_hz[k].value;
        plant->mode[k].zeta = fit->mode_zeta[k].value;
        plant->mode[k].gain = fit->mode_gain[k].value;
        plant->mode[k].gain_quadrature = fit->mode_quadrature[k].value;
    }
    tune_plant_to_params(fit->theta, plant);
}

/* Written only where the data wanted a delay below 0. */
static void delay_wanted(struct json_io *io, struct tune_fit *fit)
{
    double wanted_s = fmin(fit->delay_wanted_s, 0.0);
    json_io_optional(io, "delay_wanted_s", &wanted_s, 0.0);
    if (!io->writing) fit->delay_wanted_s = wanted_s < 0.0 ? wanted_s : fit->delay.value;
}

/* Written only where there is something to say. */
static void body_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    if (io->writing ? p->body.soundness == TUNE_MODE_SOUND : !json_io_has(io, "rigid_body")) return;
    json_io_enter(io, "rigid_body");
    identification_verdict_fields(io, &p->body);
    json_io_leave(io);
}

static void plant_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    struct tune_fit *fit = &p->fit;
    json_io_enter(io, "plant");
    json_io_number(io, "loop_rate_hz", &fit->plant.loop_rate_hz);
    json_io_estimate(io, "inertia_kg_m2", &fit->inertia);
    json_io_estimate(io, "viscous_nm_s_per_rad", &fit->viscous);
    json_io_estimate(io, "delay_s", &fit->delay);
    delay_wanted(io, fit);
    body_fields(io, p);
    fit_fields(io, fit);
    mode_list(io, "modes", p, false);
    antiresonance_fields(io, fit);
    mode_list(io, "out_of_band", p, true);
    covariance_fields(io, fit);
    json_io_leave(io);
    if (!io->status && fit->n_params != tune_plant_param_count(&fit->plant))
        json_io_fail(io, TUNE_EDATA, "parameter_order", "modes and parameters do not agree");
    if (!io->writing && !io->status) rebuild_plant(fit);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_identification *r = result;
    json_io_provenance(io, TUNE_SCHEMA_IDENTIFY, &r->provenance);
    const size_t n =
        json_io_list(io, "pointings", (void **)&r->pointing, &r->n_pointings, sizeof *r->pointing);
    for (size_t i = 0; i < n; i++) {
        struct tune_pointing_plant *p = &r->pointing[i];
        json_io_item(io, i);
        json_io_text(io, "name", p->name, sizeof p->name);
        json_io_number(io, "angle_deg", &p->angle_deg);
        json_io_other_axis(io, &p->other_axis_deg, &p->other_axis);
        json_io_count(io, "logs", &p->n_logs);
        frf_fields(io, p);
        assisted_fields(io, p);
        json_io_file(io, "model_file", &p->model_file);
        json_io_file(io, "plant_file", &p->plant_file);
        plant_fields(io, p);
        identification_sensor(io, p);
        identification_unseen(io, p);
        identification_levels_fields(io, p);
        identification_cross_fields(io, p);
        json_io_leave(io);
    }
    json_io_leave(io);
    identification_tracks_fields(io, r);
    identification_tables_fields(io, r);
    json_io_notes(io, "left_out", &r->left_out);
    json_io_notes(io, "accepted", &r->accepted);
    json_io_notes(io, "notes", &r->notes);
}

enum tune_status tune_identification_json(char **text, const struct tune_identification *result,
                                          struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_identification_parse(struct tune_identification *out, const char *name,
                                           const char *text, size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_identification_free(out);
    return status;
}

void tune_identification_free(struct tune_identification *result)
{
    for (size_t i = 0; result->pointing && i < result->n_pointings; i++)
        tune_fit_free(&result->pointing[i].fit);
    free(result->pointing);
    tune_tracks_free(&result->tracks);
    free(result->table);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
