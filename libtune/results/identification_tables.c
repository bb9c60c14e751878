/* identification_tables.c - tables[] of identify.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/identification_internal.h"

static const char *const responses[] = {"plant", "loop"};
static const char *const errors[] = {[TUNE_TABLE_STD] = "std",
                                     [TUNE_TABLE_COHERENCE] = "coherence",
                                     [TUNE_TABLE_SCATTER] = "scatter"};

static void choice_of_flag(struct json_io *io, const char *key, bool *flag, const char *const *word)
{
    unsigned choice = *flag;
    json_io_choice(io, key, &choice, word, 2);
    *flag = choice == 1;
}

/* One member is the margin, by its kind. */
static void crossing_fields(struct json_io *io, struct tune_table_margins *m)
{
    const size_t n = json_io_list_fixed(io, "crossings", &m->n_crossings,
                                        sizeof m->crossing / sizeof *m->crossing);
    for (size_t i = 0; i < n; i++) {
        struct tune_table_crossing *crossing = &m->crossing[i];
        json_io_item(io, i);
        json_io_margin_of(io, &crossing->of_phase);
        json_io_estimate(io, "frequency_hz", &crossing->frequency_hz);
        json_io_estimate(io, crossing->of_phase ? "gain_margin_db" : "phase_margin_deg",
                         &crossing->margin);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void margin_fields(struct json_io *io, struct tune_table_margins *m)
{
    json_io_enter(io, "loop_margins");
    json_io_count(io, "points", &m->points);
    json_io_numbers(io, "band_hz", m->band_hz, 2);
    json_io_count(io, "gaps", &m->n_gaps);
    json_io_numbers(io, "widest_gap_hz", m->gap_hz, 2);
    json_io_estimate(io, "gain_margin_db", &m->gain_margin_db);
    json_io_number(io, "gain_margin_hz", &m->gain_margin_hz);
    json_io_estimate(io, "gain_reduction_margin_db", &m->gain_reduction_margin_db);
    json_io_number(io, "gain_reduction_margin_hz", &m->gain_reduction_margin_hz);
    json_io_estimate(io, "phase_margin_deg", &m->phase_margin_deg);
    json_io_number(io, "phase_margin_hz", &m->phase_margin_hz);
    json_io_estimate(io, "delay_margin_s", &m->delay_margin_s);
    json_io_estimate(io, "peak_sensitivity", &m->sens_peak);
    json_io_number(io, "peak_sensitivity_hz", &m->sens_peak_hz);
    json_io_flag(io, "peak_at_end_of_band", &m->sens_peak_at_end);
    json_io_count(io, "coarse_steps", &m->n_coarse);
    json_io_numbers(io, "coarsest_step_hz", m->coarse_hz, 2);
    json_io_count(io, "crossings_lost_in_noise", &m->n_unsure);
    json_io_count(io, "gain_1_in_doubt", &m->n_grazing);
    json_io_number(io, "gain_1_in_doubt_hz", &m->grazing_hz);
    crossing_fields(io, m);
    json_io_leave(io);
}

static void model_fields(struct json_io *io, struct tune_model_margins *m)
{
    json_io_enter(io, "model_margins");
    json_io_flag(io, "stable", &m->stable);
    json_io_number(io, "gain_margin_db", &m->gain_margin_db);
    json_io_number(io, "gain_reduction_margin_db", &m->gain_reduction_margin_db);
    json_io_number(io, "phase_margin_deg", &m->phase_margin_deg);
    json_io_number(io, "delay_margin_s", &m->delay_margin_s);
    json_io_number(io, "peak_sensitivity", &m->sens_peak);
    json_io_leave(io);
}

static void table_fields(struct json_io *io, struct tune_measured_table *t)
{
    unsigned error = (unsigned)t->error;
    json_io_text(io, "log", t->log, sizeof t->log);
    json_io_text(io, "pointing", t->pointing, sizeof t->pointing);
    choice_of_flag(io, "of", &t->of_loop, responses);
    json_io_count(io, "points", &t->points);
    json_io_numbers(io, "band_hz", t->band_hz, 2);
    json_io_choice(io, "std_from", &error, errors, 3);
    t->error = (enum tune_table_error)error;
    json_io_number(io, "std_factor", &t->std_factor);
    json_io_flag(io, "fitted", &t->fitted);
    json_io_number(io, "largest_deviation_std", &t->deviation_std);
    json_io_number(io, "largest_deviation_hz", &t->deviation_hz);
    json_io_flag(io, "deviates", &t->deviates);
    if (io->writing ? t->has_margins : json_io_has(io, "loop_margins")) {
        t->has_margins = true;
        margin_fields(io, &t->margins);
    }
    if (io->writing ? t->has_model : json_io_has(io, "model_margins")) {
        t->has_model = true;
        model_fields(io, &t->model);
    }
}

void identification_tables_fields(struct json_io *io, struct tune_identification *r)
{
    if (io->status || (io->writing ? r->n_tables == 0 : !json_io_has(io, "tables"))) return;
    const size_t n = json_io_list(io, "tables", (void **)&r->table, &r->n_tables, sizeof *r->table);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        table_fields(io, &r->table[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}
