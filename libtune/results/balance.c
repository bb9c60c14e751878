/* balance.c - balance.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/balance.h"

#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

static const char *const verdicts[] = {"yes", "not sure", "no"};

const char *tune_rest_name(enum tune_rest_verdict verdict)
{
    return verdicts[verdict];
}

static void logs(struct json_io *io, struct tune_balance *r)
{
    const size_t n = json_io_list(io, "logs", (void **)&r->log, &r->n_logs, sizeof *r->log);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "name", r->log[i].name, sizeof r->log[i].name);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_numbers(io, "arc_deg", r->arc_deg, 2);
    json_io_number(io, "rising_s", &r->up_s);
    json_io_number(io, "falling_s", &r->down_s);
    json_io_number(io, "slowest_deg_per_s", &r->slowest_deg_per_s);
    json_io_number(io, "fastest_deg_per_s", &r->fastest_deg_per_s);
}

static void estimates(struct json_io *io, struct tune_balance *r)
{
    json_io_flag(io, "upright", &r->level);
    json_io_estimate(io, "imbalance_nm", &r->imbalance_nm);
    json_io_estimate(io, "imbalance_angle_deg", &r->imbalance_angle_deg);
    json_io_estimate(io, "coulomb_nm", &r->coulomb_nm);
    json_io_estimate(io, "viscous_nm_s_per_rad", &r->viscous_nm_s_per_rad);
    json_io_estimate(io, "offset_nm", &r->offset_nm);
    json_io_estimate(io, "inertia_kg_m2", &r->inertia_kg_m2);
    json_io_estimate(io, "friction_at_slowest_nm", &r->friction_nm);
    json_io_number(io, "residual_rms_nm", &r->residual_nm);
    json_io_number(io, "saturated_fraction", &r->saturated);
}

static void rest(struct json_io *io, struct tune_balance *r)
{
    unsigned verdict = (unsigned)r->at_rest;
    json_io_choice(io, "at_rest_everywhere", &verdict, verdicts, 3);
    r->at_rest = (enum tune_rest_verdict)verdict;
    json_io_numbers(io, "over_deg", r->over_deg, 2);
    json_io_number(io, "nearest_to_starting_deg", &r->least_at_deg);
    json_io_estimate(io, "margin_nm", &r->margin_nm);
    json_io_number(io, "starts_with_deg_per_s2", &r->starts_with_deg_per_s2);
    json_io_number(io, "held_by_drive_nm", &r->held_nm);
    json_io_number(io, "held_of_continuous", &r->held_of_drive);
}

static void remedy(struct json_io *io, struct tune_balance *r)
{
    json_io_flag(io, "worth_moving", &r->has_remedy);
    const size_t n = json_io_list(io, "remedies", (void **)&r->step, &r->n_steps, sizeof *r->step);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "name", r->step[i].name, sizeof r->step[i].name);
        json_io_flag(io, "weight", &r->step[i].place);
        json_io_number(io, r->step[i].place ? "add_kg" : "shift_mm", &r->step[i].amount);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_numbers(io, "imbalance_95_nm", r->before_95_nm, 2);
    json_io_number(io, "remains_nm", &r->after_nm);
    json_io_numbers(io, "remains_95_nm", r->after_95_nm, 2);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_balance *r = result;
    json_io_provenance(io, TUNE_SCHEMA_BALANCE, &r->provenance);
    logs(io, r);
    estimates(io, r);
    rest(io, r);
    remedy(io, r);
    json_io_file(io, "table_file", &r->table);
    json_io_file(io, "turns_file", &r->turns);
    json_io_notes(io, "notes", &r->notes);
    json_io_notes(io, "cautions", &r->cautions);
}

enum tune_status tune_balance_json(char **text, const struct tune_balance *result,
                                   struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_balance_parse(struct tune_balance *out, const char *name, const char *text,
                                    size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_balance_free(out);
    return status;
}

void tune_balance_free(struct tune_balance *result)
{
    free(result->log);
    free(result->step);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
