/* precheck.c - precheck.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/precheck.h"

#include <math.h>
#include <string.h>

#include "results/json_internal.h"

static const char *const answers[] = {"agrees", "disagrees", "not tested"};

const char *tune_check_answer_name(enum tune_check_answer answer)
{
    return (unsigned)answer < 3 ? answers[answer] : "unknown";
}

const struct tune_check *tune_precheck_find(const struct tune_precheck *result, const char *name)
{
    for (size_t i = 0; i < result->n_checks; i++)
        if (!strcmp(result->check[i].name, name)) return &result->check[i];
    return NULL;
}

size_t tune_precheck_count(const struct tune_precheck *result, enum tune_check_answer answer)
{
    size_t n = 0;
    for (size_t i = 0; i < result->n_checks; i++)
        n += result->check[i].answer == answer;
    return n;
}

static void check_fields(struct json_io *io, struct tune_check *check)
{
    unsigned answer = (unsigned)check->answer;
    json_io_text(io, "name", check->name, sizeof check->name);
    json_io_choice(io, "answer", &answer, answers, 3);
    check->answer = (enum tune_check_answer)answer;
    json_io_number(io, "stated", &check->stated);
    json_io_estimate(io, "measured", &check->measured);
    json_io_number(io, "tolerance", &check->tolerance);
    json_io_text(io, "unit", check->unit, sizeof check->unit);
    json_io_text(io, "text", check->text, sizeof check->text);
    json_io_text(io, "advice", check->advice, sizeof check->advice);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_precheck *r = result;
    json_io_provenance(io, TUNE_SCHEMA_PRECHECK, &r->provenance);
    const size_t n = json_io_list_fixed(io, "checks", &r->n_checks, TUNE_CHECKS_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        check_fields(io, &r->check[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_notes(io, "notes", &r->notes);
    json_io_notes(io, "cautions", &r->cautions);
}

bool tune_check_at_most(const struct tune_check *check)
{
    return !strcmp(check->name, "stopping-distance") && !isnan(check->stated);
}

enum tune_status tune_precheck_json(char **text, const struct tune_precheck *result,
                                    struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_precheck_parse(struct tune_precheck *out, const char *name, const char *text,
                                     size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_precheck_free(out);
    return status;
}

void tune_precheck_free(struct tune_precheck *result)
{
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
