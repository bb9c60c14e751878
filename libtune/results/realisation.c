/* realisation.c - plant-<pointing>.json.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/realisation.h"

#include <complex.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

/* rad/s, each as real and imaginary part */
static void root_fields(struct json_io *io, const char *key, double complex *root, size_t *count,
                        size_t most)
{
    const size_t n = json_io_list_fixed(io, key, count, most);
    for (size_t i = 0; i < n; i++) {
        double part[2] = {creal(root[i]), cimag(root[i])};
        json_io_item(io, i);
        json_io_number(io, "real", &part[0]);
        json_io_number(io, "imag", &part[1]);
        json_io_leave(io);
        if (!io->writing) root[i] = CMPLX(part[0], part[1]);
    }
    json_io_leave(io);
}

static void vector_fields(struct json_io *io, const char *key, double **x, size_t n)
{
    if (!io->writing && !io->status) {
        *x = calloc(n + 1, sizeof **x);
        if (!*x) json_io_fail(io, TUNE_ENOMEM, key, "");
    }
    if (!io->status) json_io_numbers(io, key, *x, n);
}

static void state_space_fields(struct json_io *io, struct tune_state_space *s)
{
    double none = 0.0;
    json_io_count(io, "states", &s->n);
    if (!io->status && s->n > TUNE_POLES_MAX + 1)
        json_io_fail(io, TUNE_EDATA, "states", "there are more states than a plant has");
    json_io_matrix(io, "a", &s->a, s->n);
    vector_fields(io, "b", &s->b, s->n);
    vector_fields(io, "c", &s->c, s->n);
    json_io_number(io, "d", &none);
}

static void fields(struct json_io *io, void *result)
{
    struct tune_realisation_result *r = result;
    struct tune_realisation *plant = &r->plant;
    char input[] = "motor torque, N m", output[] = "encoder angle, rad";
    json_io_provenance(io, TUNE_SCHEMA_PLANT, &r->provenance);
    json_io_text(io, "pointing", r->pointing, sizeof r->pointing);
    json_io_text(io, "input", input, sizeof input);
    json_io_text(io, "output", output, sizeof output);
    json_io_number(io, "loop_rate_hz", &plant->loop_rate_hz);
    json_io_number(io, "delay_s", &plant->delay_s);
    root_fields(io, "poles", plant->pole, &plant->n_poles, TUNE_POLES_MAX);
    root_fields(io, "zeros", plant->zero, &plant->n_zeros, TUNE_ZEROS_MAX);
    json_io_number(io, "gain", &plant->gain);
    json_io_enter(io, "continuous");
    state_space_fields(io, &plant->continuous);
    json_io_leave(io);
    json_io_enter(io, "sampled");
    json_io_count(io, "delay_samples", &plant->delay_samples);
    state_space_fields(io, &plant->sampled);
    json_io_leave(io);
}

enum tune_status tune_realisation_json(char **text, const struct tune_realisation_result *result,
                                       struct tune_error *err)
{
    return json_write(text, fields, result, err);
}

enum tune_status tune_realisation_parse(struct tune_realisation_result *out, const char *name,
                                        const char *text, size_t size, struct tune_error *err)
{
    memset(out, 0, sizeof *out);
    const enum tune_status status = json_read(out, fields, name, text, size, err);
    if (status) tune_realisation_result_free(out);
    return status;
}

void tune_realisation_result_free(struct tune_realisation_result *result)
{
    tune_realisation_free(&result->plant);
    tune_provenance_free(&result->provenance);
    memset(result, 0, sizeof *result);
}

enum tune_status tune_realisation_text(char **text, const struct tune_plant *plant,
                                       const char *pointing,
                                       const struct tune_provenance *identified,
                                       struct tune_error *err)
{
    struct tune_realisation_result result = {.provenance = *identified};
    enum tune_status status = tune_plant_realise(&result.plant, plant, err);
    (void)snprintf(result.provenance.schema, sizeof result.provenance.schema, "%s",
                   TUNE_SCHEMA_PLANT);
    (void)snprintf(result.pointing, sizeof result.pointing, "%s", pointing);
    *text = NULL;
    if (!status) status = tune_realisation_json(text, &result, err);
    tune_realisation_free(&result.plant); /* the inputs are not ours */
    return status;
}
