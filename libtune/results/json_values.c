/* json_values.c - one member of a result, both ways: texts, numbers, flags, estimates.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

static const char note_infinite[] = "infinite", note_minus_infinite[] = "minus infinite",
                  note_undefined[] = "undefined";

static const char *note_of(double x)
{
    if (isnan(x)) return note_undefined;
    return x > 0.0 ? note_infinite : note_minus_infinite;
}

static double value_of_note(const char *note)
{
    if (note && !strcmp(note, note_infinite)) return INFINITY;
    if (note && !strcmp(note, note_minus_infinite)) return -INFINITY;
    return NAN;
}

/* ---- text ---------------------------------------------------------------------------------------*/

/* Names come from files people write: bytes that are not UTF-8 become question marks. */
static json_t *text_value(const char *text)
{
    json_t *value = json_string(text);
    char *copy;
    if (value) return value;
    copy = strdup(text);
    if (!copy) return NULL;
    for (char *c = copy; *c; c++)
        if ((unsigned char)*c >= 0x80) *c = '?';
    value = json_string(copy);
    free(copy);
    return value;
}

static void text_from(struct json_io *io, const char *key, char *text, size_t size,
                      const json_t *value)
{
    if (!json_is_string(value)) {
        json_io_fail(io, TUNE_EDATA, key, "a text was expected");
    } else if (json_string_length(value) >= size) {
        json_io_fail(io, TUNE_EDATA, key, "the text is too long");
    } else {
        memcpy(text, json_string_value(value), json_string_length(value) + 1);
    }
}

void json_io_text(struct json_io *io, const char *key, char *text, size_t size)
{
    if (io->writing) {
        json_put(io, key, text_value(text));
    } else {
        const json_t *value = json_get(io, key);
        if (value) text_from(io, key, text, size, value);
    }
}

void json_io_text_item(struct json_io *io, size_t i, char *text, size_t size)
{
    if (io->writing)
        json_put(io, "item", text_value(text));
    else if (!io->status)
        text_from(io, "item", text, size, json_array_get(json_here(io), i));
}

void json_io_choice(struct json_io *io, const char *key, unsigned *choice, const char *const *word,
                    size_t n_words)
{
    char text[64] = "";
    if (io->writing) {
        json_put(io, key, json_string(word[*choice]));
        return;
    }
    json_io_text(io, key, text, sizeof text);
    if (io->status) return;
    for (unsigned i = 0; i < n_words; i++) {
        if (strcmp(text, word[i]) != 0) continue;
        *choice = i;
        return;
    }
    json_io_fail(io, TUNE_EDATA, key, "the word is not known");
}

/* ---- numbers ------------------------------------------------------------------------------------*/

static json_t *number_value(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

/* The key of the note that stands beside a null. */
static void note_key(char *out, size_t size, const char *key)
{
    (void)snprintf(out, size, "%s_note", key);
}

void json_io_number(struct json_io *io, const char *key, double *x)
{
    char note[96];
    note_key(note, sizeof note, key);
    if (io->writing) {
        json_put(io, key, number_value(*x));
        if (!isfinite(*x)) json_put(io, note, json_string(note_of(*x)));
    } else {
        const json_t *value = json_get(io, key);
        if (json_is_number(value)) {
            *x = json_number_value(value);
        } else if (json_is_null(value)) {
            *x = value_of_note(json_string_value(json_object_get(json_here(io), note)));
        } else {
            json_io_fail(io, TUNE_EDATA, key, "a number was expected");
        }
    }
}

void json_io_optional(struct json_io *io, const char *key, double *x, double absent)
{
    const bool there = io->writing ? !(*x <= absent && *x >= absent) : json_io_has(io, key);
    if (there)
        json_io_number(io, key, x);
    else if (!io->writing)
        *x = absent;
}

void json_io_count(struct json_io *io, const char *key, size_t *n)
{
    if (io->writing) {
        json_put(io, key, json_integer((json_int_t)*n));
    } else {
        const json_t *value = json_get(io, key);
        if (json_is_integer(value) && json_integer_value(value) >= 0)
            *n = (size_t)json_integer_value(value);
        else
            json_io_fail(io, TUNE_EDATA, key, "a count was expected");
    }
}

void json_io_seed(struct json_io *io, const char *key, uint64_t *seed)
{
    char text[32] = "";
    (void)snprintf(text, sizeof text, "%" PRIu64, io->writing ? *seed : 0);
    json_io_text(io, key, text, sizeof text);
    if (!io->writing && !io->status) *seed = strtoull(text, NULL, 10);
}

void json_io_flag(struct json_io *io, const char *key, bool *flag)
{
    if (io->writing) {
        json_put(io, key, json_boolean(*flag));
    } else {
        const json_t *value = json_get(io, key);
        if (json_is_boolean(value))
            *flag = json_is_true(value);
        else
            json_io_fail(io, TUNE_EDATA, key, "true or false was expected");
    }
}

static json_t *numbers_value(const double *x, size_t n)
{
    json_t *array = json_array();
    for (size_t i = 0; array && i < n; i++) {
        if (json_array_append_new(array, number_value(x[i]))) {
            json_decref(array);
            return NULL;
        }
    }
    return array;
}

static void numbers_from(struct json_io *io, const char *key, double *x, size_t n,
                         const json_t *value)
{
    if (io->status) return;
    if (!json_is_array(value) || json_array_size(value) != n) {
        json_io_fail(io, TUNE_EDATA, key, "the list has another length than expected");
        return;
    }
    for (size_t i = 0; i < n; i++) {
        const json_t *item = json_array_get(value, i);
        if (!json_is_number(item) && !json_is_null(item))
            json_io_fail(io, TUNE_EDATA, key, "numbers were expected");
        x[i] = json_is_number(item) ? json_number_value(item) : (double)NAN;
    }
}

void json_io_numbers(struct json_io *io, const char *key, double *x, size_t n)
{
    char note[96];
    if (!io->writing) {
        numbers_from(io, key, x, n, json_get(io, key));
        return;
    }
    json_put(io, key, numbers_value(x, n));
    note_key(note, sizeof note, key);
    for (size_t i = 0; i < n; i++) {
        if (isfinite(x[i]) || json_is_array(json_here(io))) continue;
        json_put(io, note, json_string(note_undefined));
        return;
    }
}

void json_io_matrix(struct json_io *io, const char *key, double **x, size_t n)
{
    size_t rows = n;
    (void)json_io_list_fixed(io, key, &rows, n);
    if (io->writing && !*x) json_io_fail(io, TUNE_EINVAL, key, "the matrix is missing");
    if (!io->writing && !io->status) {
        if (rows != n) json_io_fail(io, TUNE_EDATA, key, "the matrix is not square");
        *x = calloc(n * n + 1, sizeof **x);
        if (!*x) json_io_fail(io, TUNE_ENOMEM, key, "");
    }
    for (size_t i = 0; !io->status && i < n; i++) {
        if (io->writing)
            json_put(io, "row", numbers_value(*x + i * n, n));
        else
            numbers_from(io, key, *x + i * n, n, json_array_get(json_here(io), i));
    }
    json_io_leave(io);
}

static void estimate_members(struct json_io *io, const char *key, struct tune_estimate *estimate)
{
    if (io->writing) {
        json_put(io, "value", number_value(estimate->value));
        json_put(io, "std", number_value(estimate->std));
        if (!isfinite(estimate->value))
            json_put(io, "note", json_string(note_of(estimate->value)));
        else if (!isfinite(estimate->std))
            json_put(io, "note", json_string("std undefined"));
    } else {
        const json_t *value = json_get(io, "value"), *std = json_get(io, "std");
        const json_t *note = io->status ? NULL : json_object_get(json_here(io), "note");
        estimate->value = json_is_number(value) ? json_number_value(value)
                                                : value_of_note(json_string_value(note));
        estimate->std = json_is_number(std) ? json_number_value(std) : (double)NAN;
        if (!json_is_number(value) && !json_is_null(value))
            json_io_fail(io, TUNE_EDATA, key, "a number was expected");
    }
}

void json_io_estimate(struct json_io *io, const char *key, struct tune_estimate *estimate)
{
    json_io_enter(io, key);
    estimate_members(io, key, estimate);
    json_io_leave(io);
}

void json_io_estimate_bound(struct json_io *io, const char *key, struct tune_estimate *estimate,
                            const char *bound_key, double *bound)
{
    json_io_enter(io, key);
    estimate_members(io, key, estimate);
    if (io->writing) {
        json_put(io, bound_key, number_value(*bound));
    } else {
        const json_t *value = json_get(io, bound_key);
        /* an endless margin has an endless bound */
        *bound = json_is_number(value)       ? json_number_value(value)
                 : isfinite(estimate->value) ? (double)NAN
                                             : estimate->value;
    }
    json_io_leave(io);
}
