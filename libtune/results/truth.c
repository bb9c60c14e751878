/* truth.c - truth.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/truth.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "logbook/description.h"
#include "results/json_internal.h"

static void plant_fields(struct json_io *io, struct tune_plant *plant)
{
    json_io_enter(io, "plant");
    json_io_number(io, "inertia_kg_m2", &plant->inertia_kg_m2);
    json_io_number(io, "viscous_nm_s_per_rad", &plant->viscous_nm_s_per_rad);
    json_io_number(io, "delay_s", &plant->delay_s);
    json_io_number(io, "loop_rate_hz", &plant->loop_rate_hz);
    if (io->writing ? plant->complex_residues : json_io_has(io, "complex_residues"))
        json_io_flag(io, "complex_residues", &plant->complex_residues);
    const size_t n = json_io_list_fixed(io, "modes", &plant->n_modes, TUNE_MODES_MAX);
    for (size_t k = 0; k < n; k++) {
        json_io_item(io, k);
        json_io_number(io, "frequency_hz", &plant->mode[k].f_hz);
        json_io_number(io, "damping_ratio", &plant->mode[k].zeta);
        json_io_number(io, "gain", &plant->mode[k].gain);
        if (plant->complex_residues)
            json_io_number(io, "gain_quadrature", &plant->mode[k].gain_quadrature);
        json_io_number(io, "payload_ratio", &plant->mode[k].payload_ratio);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_leave(io);
}

/* Not in files of version 0.1.0 before slow turns. */
static void balance_fields(struct json_io *io, struct tune_axis *axis)
{
    if (!io->writing && !json_io_has(io, "imbalance_nm")) return;
    json_io_number(io, "imbalance_nm", &axis->imbalance.nm);
    json_io_number(io, "imbalance_angle_rad", &axis->imbalance.angle_rad);
    json_io_number(io, "offset_nm", &axis->offset_nm);
    json_io_number(io, "cable_nm_per_rad", &axis->cable_nm_per_rad);
    json_io_number(io, "cable_rest_rad", &axis->cable_rest_rad);
    json_io_number(io, "drag_nm", &axis->drag_nm);
    json_io_number(io, "drag_angle_rad", &axis->drag_angle_rad);
}

static void axis_fields(struct json_io *io, struct tune_axis *axis)
{
    size_t substeps = axis->substeps;
    json_io_enter(io, "axis");
    plant_fields(io, &axis->plant);
    json_io_number(io, "coulomb_nm", &axis->friction.coulomb_nm);
    json_io_number(io, "breakaway_nm", &axis->friction.breakaway_nm);
    json_io_number(io, "stribeck_rad_per_s", &axis->friction.stribeck_rad_per_s);
    json_io_number(io, "bristle_nm_per_rad", &axis->friction.bristle_nm_per_rad);
    json_io_number(io, "bristle_nm_s_per_rad", &axis->friction.bristle_nm_s_per_rad);
    json_io_number(io, "friction_viscous_nm_s_per_rad", &axis->friction.viscous_nm_s_per_rad);
    json_io_number(io, "ripple_nm", &axis->ripple_nm);
    json_io_number(io, "ripple_per_turn", &axis->ripple_per_turn);
    json_io_number(io, "ripple_phase_rad", &axis->ripple_phase_rad);
    balance_fields(io, axis);
    json_io_number(io, "torque_limit_nm", &axis->torque_limit_nm);
    json_io_number(io, "encoder_step_rad", &axis->encoder_step_rad);
    json_io_number(io, "encoder_noise_rad", &axis->encoder_noise_rad);
    json_io_number(io, "drive_noise_nm_per_rthz", &axis->drive_noise_nm_per_rthz);
    json_io_number(io, "wind_rms_nm", &axis->wind_rms_nm);
    json_io_number(io, "wind_corner_hz", &axis->wind_corner_hz);
    json_io_count(io, "substeps", &substeps);
    json_io_leave(io);
    axis->substeps = (unsigned)substeps;
}

static void pointing_fields(struct json_io *io, struct tune_truth *r)
{
    const size_t n =
        json_io_list(io, "pointings", (void **)&r->pointing, &r->n_pointings, sizeof *r->pointing);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "name", r->pointing[i].name, sizeof r->pointing[i].name);
        json_io_number(io, "angle_deg", &r->pointing[i].angle_deg);
        plant_fields(io, &r->pointing[i].plant);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* Left out where there are none. */
static void trouble_fields(struct json_io *io, struct tune_truth_log *log)
{
    size_t n;
    if (io->writing ? log->n_troubles == 0 : !json_io_has(io, "troubles")) return;
    n = json_io_list_fixed(io, "troubles", &log->n_troubles, TUNE_TRUTH_TROUBLES_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "finding", log->trouble[i].finding, sizeof log->trouble[i].finding);
        json_io_count(io, "row", &log->trouble[i].row);
        json_io_number(io, "value", &log->trouble[i].value);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void mismatch_fields(struct json_io *io, struct tune_mismatch *m)
{
    json_io_enter(io, "mismatch");
    json_io_number(io, "counts_factor", &m->counts_factor);
    json_io_number(io, "encoder_sign", &m->encoder_sign);
    json_io_number(io, "torque_factor", &m->torque_factor);
    json_io_number(io, "torque_sign", &m->torque_sign);
    json_io_number(io, "commutation_offset_rad", &m->commutation_offset_rad);
    json_io_number(io, "pole_pairs_excess", &m->pole_pairs_excess);
    json_io_number(io, "inertia_factor", &m->inertia_factor);
    json_io_number(io, "friction_factor", &m->friction_factor);
    json_io_number(io, "low_limit_shift_rad", &m->limit_shift_rad[0]);
    json_io_number(io, "high_limit_shift_rad", &m->limit_shift_rad[1]);
    json_io_flag(io, "low_limit_acts", &m->limit_acts[0]);
    json_io_flag(io, "high_limit_acts", &m->limit_acts[1]);
    json_io_number(io, "following_error_factor", &m->trip_factor);
    json_io_flag(io, "following_error_acts", &m->trip_acts);
    json_io_number(io, "index_scatter_rad", &m->index_scatter_rad);
    json_io_leave(io);
}

static void motion_fields(struct json_io *io, struct tune_truth_log *log)
{
    static const char *const word[] = {"done", "tripped", "stopped"};
    unsigned end = (unsigned)log->end;
    json_io_enter(io, "motion");
    json_io_number(io, "turned_deg", &log->turned_deg);
    json_io_number(io, "known_angle_deg", &log->known_angle_deg);
    json_io_number(io, "load_nm", &log->load_nm);
    json_io_choice(io, "end", &end, word, 3);
    json_io_number(io, "end_s", &log->end_s);
    json_io_leave(io);
    log->end = (enum tune_drive_end)end;
}

static void log_fields(struct json_io *io, struct tune_truth_log *log)
{
    json_io_text(io, "name", log->name, sizeof log->name);
    json_io_text(io, "pointing", log->pointing, sizeof log->pointing);
    json_io_kind(io, &log->kind);
    json_io_seed(io, "seed", &log->seed);
    json_io_count(io, "rows", &log->rows);
    json_io_number(io, "duration_s", &log->duration_s);
    json_io_number(io, "true_rms_arcsec", &log->true_rms_arcsec);
    json_io_number(io, "measured_rms_arcsec", &log->measured_rms_arcsec);
    json_io_number(io, "sky_rms_arcsec", &log->sky_rms_arcsec);
    json_io_number(io, "torque_rms_nm", &log->torque_rms_nm);
    json_io_number(io, "saturated_fraction", &log->saturated_fraction);
    trouble_fields(io, log);
    if (tune_log_is_motion(log->kind)) motion_fields(io, log);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_truth *r = result;
    json_io_provenance(io, TUNE_SCHEMA_TRUTH, &r->provenance);
    axis_fields(io, &r->axis);
    mismatch_fields(io, &r->mismatch);
    pointing_fields(io, r);
    const size_t n = json_io_list(io, "logs", (void **)&r->log, &r->n_logs, sizeof *r->log);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        log_fields(io, &r->log[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

enum tune_status tune_truth_json(char **text, const struct tune_truth *truth,
                                 struct tune_error *err)
{
    return json_write(text, fields, truth, err);
}

enum tune_status tune_truth_parse(struct tune_truth *out, const char *name, const char *text,
                                  size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_truth_free(out);
    return status;
}

void tune_truth_free(struct tune_truth *truth)
{
    free(truth->pointing);
    free(truth->log);
    tune_provenance_free(&truth->provenance);
    memset(truth, 0, sizeof *truth);
}
