/* forecast.c - predict.json. The figures of the worst pointing stand on top, those of every pointing
 * below.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/forecast.h"

#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

static void figures(struct json_io *io, struct tune_pointing_forecast *p)
{
    json_io_estimate(io, "true_rms_arcsec", &p->true_rms_arcsec);
    json_io_estimate(io, "measured_rms_arcsec", &p->measured_rms_arcsec);
    json_io_numbers(io, "interval_95_arcsec", p->interval_95_arcsec, 2);
    json_io_number(io, "sky_rms_arcsec", &p->sky_rms_arcsec);
    json_io_number(io, "unseen_twist_rms_arcsec", &p->unseen_twist_arcsec);
    size_t count = TUNE_FORECAST_SOURCES;
    const size_t n = json_io_list_fixed(io, "sources", &count, TUNE_FORECAST_SOURCES);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "name", p->source[i].name, sizeof p->source[i].name);
        json_io_number(io, "rms_arcsec", &p->source[i].rms_arcsec);
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void pointings(struct json_io *io, struct tune_forecast *r)
{
    const size_t n =
        json_io_list(io, "pointings", (void **)&r->pointing, &r->n_pointings, sizeof *r->pointing);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_text(io, "pointing", r->pointing[i].pointing, sizeof r->pointing[i].pointing);
        figures(io, &r->pointing[i]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

/* The head of the file repeats the worst pointing; on the way in the name finds it again. */
static void head(struct json_io *io, struct tune_forecast *r, char *worst, size_t size)
{
    if (io->writing && r->worst < r->n_pointings)
        memcpy(worst, r->pointing[r->worst].pointing, size);
    json_io_text(io, "worst_pointing", worst, size);
    if (io->writing && r->worst < r->n_pointings) figures(io, &r->pointing[r->worst]);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_forecast *r = result;
    char worst[TUNE_NAME_LENGTH + 1] = "";
    json_io_provenance(io, TUNE_SCHEMA_PREDICT, &r->provenance);
    json_io_jitter_of(io, &r->jitter_of_sky);
    head(io, r, worst, sizeof worst);
    json_io_file(io, "spectrum_file", &r->spectrum);
    json_io_judgements(io, "requirement", "predicted", &r->requirement);
    json_io_text(io, "controller_source", r->controller_source, sizeof r->controller_source);
    json_io_enter(io, "controller");
    json_io_controller(io, &r->controller);
    json_io_leave(io);
    json_io_disturbance(io, &r->disturbance);
    json_io_text(io, "payload_ratios", r->payload, sizeof r->payload);
    pointings(io, r);
    json_io_notes(io, "notes", &r->notes);
    json_io_notes(io, "cautions", &r->cautions);
    for (size_t i = 0; !io->writing && !io->status && i < r->n_pointings; i++)
        if (!strcmp(r->pointing[i].pointing, worst)) r->worst = i;
}

enum tune_status tune_forecast_json(char **text, const struct tune_forecast *result,
                                    struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_forecast_parse(struct tune_forecast *out, const char *name, const char *text,
                                     size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_forecast_free(out);
    return status;
}

void tune_forecast_free(struct tune_forecast *result)
{
    free(result->pointing);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}
