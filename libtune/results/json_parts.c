/* json_parts.c - what several results share: notes, provenance, requirements, controllers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/json_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "control/biquad.h"

void json_io_notes(struct json_io *io, const char *key, struct tune_notes *notes)
{
    const size_t n = json_io_list_fixed(io, key, &notes->n, TUNE_NOTES_MAX);
    for (size_t i = 0; i < n; i++)
        json_io_text_item(io, i, notes->text[i], sizeof notes->text[i]);
    json_io_leave(io);
}

void json_io_file(struct json_io *io, const char *key, struct tune_result_file *file)
{
    char hash[96];
    if (io->writing ? !file->name[0] : !json_io_has(io, key)) return;
    (void)snprintf(hash, sizeof hash, "%s_sha256", key);
    json_io_text(io, key, file->name, sizeof file->name);
    json_io_text(io, hash, file->sha256, sizeof file->sha256);
}

static void input_rows(struct json_io *io, size_t *rows)
{
    double number = *rows ? (double)*rows : (double)NAN;
    if (io->writing && *rows) {
        json_io_count(io, "rows", rows);
        return;
    }
    json_io_number(io, "rows", &number);
    if (!io->writing) *rows = number > 0.0 ? (size_t)number : 0;
}

static void tool_fields(struct json_io *io, struct tune_provenance *p)
{
    json_io_enter(io, "tool");
    json_io_text(io, "name", p->tool_name, sizeof p->tool_name);
    json_io_text(io, "version", p->tool_version, sizeof p->tool_version);
    json_io_leave(io);
}

void json_io_provenance(struct json_io *io, const char *schema, struct tune_provenance *p)
{
    size_t n;
    json_io_text(io, "schema", p->schema, sizeof p->schema);
    if (!io->status && strcmp(p->schema, schema) != 0)
        json_io_fail(io, TUNE_EDATA, "schema", "the result is of another kind or age");
    tool_fields(io, p);
    json_io_text(io, "logbook", p->logbook, sizeof p->logbook);
    n = json_io_list(io, "inputs", (void **)&p->input, &p->n_inputs, sizeof *p->input);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "path", p->input[i].path, sizeof p->input[i].path);
        json_io_text(io, "sha256", p->input[i].sha256, sizeof p->input[i].sha256);
        input_rows(io, &p->input[i].rows);
        json_io_leave(io);
    }
    json_io_leave(io);
    n = json_io_list(io, "options", (void **)&p->option, &p->n_options, sizeof *p->option);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "name", p->option[i].name, sizeof p->option[i].name);
        json_io_text(io, "value", p->option[i].value, sizeof p->option[i].value);
        json_io_leave(io);
    }
    json_io_leave(io);
}

void json_io_judgements(struct json_io *io, const char *key, const char *value_key,
                        struct tune_judgements *j)
{
    const size_t n = json_io_list_fixed(io, key, &j->n, TUNE_JUDGEMENTS_MAX);
    for (size_t i = 0; i < n; i++) {
        struct tune_judgement *item = &j->item[i];
        json_io_item(io, i);
        json_io_text(io, "name", item->name, sizeof item->name);
        json_io_number(io, "limit", &item->limit);
        json_io_number(io, value_key, &item->value);
        json_io_flag(io, "at_most", &item->at_most);
        json_io_flag(io, "met", &item->met);
        json_io_text(io, "where", item->where, sizeof item->where);
        json_io_leave(io);
    }
    json_io_leave(io);
    if (!io->writing) {
        j->met = true;
        for (size_t i = 0; i < j->n; i++)
            j->met = j->met && j->item[i].met;
    }
}

static void biquad_spec(struct json_io *io, size_t number, struct tune_biquad_spec *spec)
{
    char key[48];
    (void)snprintf(key, sizeof key, "biquad%zu_zero_hz", number);
    json_io_number(io, key, &spec->zero_hz);
    (void)snprintf(key, sizeof key, "biquad%zu_zero_zeta", number);
    json_io_number(io, key, &spec->zero_zeta);
    (void)snprintf(key, sizeof key, "biquad%zu_pole_hz", number);
    json_io_number(io, key, &spec->pole_hz);
    (void)snprintf(key, sizeof key, "biquad%zu_pole_zeta", number);
    json_io_number(io, key, &spec->pole_zeta);
}

/* Coefficients as a drive wants them; they follow from the keys above and are not read back. */
static void sections(struct json_io *io, const struct tune_controller *controller)
{
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    const size_t n = tune_controller_sections(section, controller);
    size_t count = n;
    (void)json_io_list_fixed(io, "biquads", &count, n);
    for (size_t i = 0; i < n; i++) {
        double c[] = {section[i].b0, section[i].b1, section[i].b2, section[i].a1, section[i].a2};
        json_io_numbers(io, "item", c, 5);
    }
    json_io_leave(io);
}

void json_io_controller(struct json_io *io, struct tune_controller *c)
{
    size_t order = (size_t)c->lowpass_order;
    json_io_number(io, "loop_rate_hz", &c->loop_rate_hz);
    json_io_number(io, "kp_nm_per_rad", &c->kp_nm_per_rad);
    json_io_number(io, "ki_nm_per_rad_s", &c->ki_nm_per_rad_s);
    json_io_number(io, "kd_nm_s_per_rad", &c->kd_nm_s_per_rad);
    json_io_optional(io, "derivative_filter_hz", &c->derivative_filter_hz, 0.0);
    json_io_optional(io, "lowpass_hz", &c->lowpass_hz, 0.0);
    if (io->writing ? c->lowpass_hz > 0.0 : json_io_has(io, "lowpass_hz")) {
        json_io_count(io, "lowpass_order", &order);
        json_io_number(io, "lowpass_zeta", &c->lowpass_zeta);
        if (!io->writing) c->lowpass_order = order == 1 ? 1 : 2;
    } else if (!io->writing) {
        c->lowpass_order = 2;
        c->lowpass_zeta = 0.7071;
    }
    for (size_t i = 0; i < TUNE_BIQUADS_MAX; i++) {
        char key[48];
        (void)snprintf(key, sizeof key, "biquad%zu_zero_hz", i + 1);
        if (io->writing ? i >= c->n_biquads : !json_io_has(io, key)) break;
        biquad_spec(io, i + 1, &c->biquad[i]);
        if (!io->writing) c->n_biquads = i + 1;
    }
    if (io->writing ? c->position_divider > 1 : json_io_has(io, "position_divider"))
        json_io_count(io, "position_divider", &c->position_divider);
    if (io->writing) sections(io, c);
}

void json_io_tool(struct json_io *io)
{
    struct tune_provenance own;
    tune_provenance_start(&own, "", "");
    tool_fields(io, &own);
}

void json_io_kind(struct json_io *io, enum tune_log_kind *kind)
{
    const char *word[TUNE_LOG_KINDS];
    unsigned choice = (unsigned)*kind;
    for (unsigned i = 0; i < TUNE_LOG_KINDS; i++)
        word[i] = tune_log_kind_name((enum tune_log_kind)i);
    json_io_choice(io, "kind", &choice, word, TUNE_LOG_KINDS);
    *kind = (enum tune_log_kind)choice;
}

void json_io_jitter_of(struct json_io *io, bool *sky)
{
    static const char *const word[] = {"encoder", "sky"};
    unsigned choice = *sky ? 1 : 0;
    json_io_choice(io, "jitter_of", &choice, word, 2);
    *sky = choice == 1;
}

void json_io_margin_of(struct json_io *io, bool *of_phase)
{
    static const char *const word[] = {"phase", "gain"};
    unsigned choice = *of_phase ? 1 : 0;
    json_io_choice(io, "margin_of", &choice, word, 2);
    *of_phase = choice == 1;
}

void json_io_disturbance(struct json_io *io, struct tune_disturbance_summary *d)
{
    json_io_enter(io, "disturbance");
    json_io_flag(io, "measured", &d->measured);
    json_io_text(io, "log", d->log, sizeof d->log);
    json_io_text(io, "pointing", d->pointing, sizeof d->pointing);
    json_io_number(io, "duration_s", &d->duration_s);
    json_io_number(io, "sensor_noise_arcsec", &d->sensor_noise_arcsec);
    json_io_number(io, "wind_rms_nm", &d->wind_rms_nm);
    json_io_number(io, "wind_corner_hz", &d->wind_corner_hz);
    json_io_number(io, "drive_noise_nm_per_rthz", &d->drive_noise_nm_per_rthz);
    json_io_leave(io);
}
