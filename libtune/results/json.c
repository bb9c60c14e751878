/* json.c - one description of a result for both directions.
 *
 * jansson answers NULL for what JSON cannot hold (NaN, infinity, bad UTF-8) and for want of memory;
 * every answer is looked at. Traps: json_real() keeps 17 digits unless told otherwise, and repeated
 * keys are accepted unless refused.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/json_internal.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

void json_io_fail(struct json_io *io, enum tune_status status, const char *key, const char *what)
{
    if (io->status) return;
    io->status = status;
    if (status == TUNE_ENOMEM) {
        tune_error_memory(io->err, "building a result");
        return;
    }
    tune_error_set(io->err, status, "%s", what);
    tune_error_place(io->err, io->name, 0, 0);
    tune_error_about(io->err, key, NULL, NULL);
}

static json_t *here(const struct json_io *io)
{
    return io->at[io->depth - 1];
}

/* Takes the reference of value. */
static void put(struct json_io *io, const char *key, json_t *value)
{
    int bad;
    if (io->status) {
        json_decref(value);
        return;
    }
    bad = json_is_array(here(io)) ? json_array_append_new(here(io), value)
                                  : json_object_set_new(here(io), key, value);
    if (bad) json_io_fail(io, TUNE_ENOMEM, key, "");
}

static json_t *get(struct json_io *io, const char *key)
{
    json_t *value = NULL;
    if (io->status) return NULL;
    value = json_object_get(here(io), key);
    if (!value) json_io_fail(io, TUNE_EDATA, key, "the result lacks a member");
    return value;
}

bool json_io_has(const struct json_io *io, const char *key)
{
    return !io->status && json_object_get(here(io), key) != NULL;
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
        put(io, key, text_value(text));
    } else {
        const json_t *value = get(io, key);
        if (value) text_from(io, key, text, size, value);
    }
}

void json_io_text_item(struct json_io *io, size_t i, char *text, size_t size)
{
    if (io->writing)
        put(io, "item", text_value(text));
    else if (!io->status)
        text_from(io, "item", text, size, json_array_get(here(io), i));
}

void json_io_choice(struct json_io *io, const char *key, unsigned *choice, const char *const *word,
                    size_t n_words)
{
    char text[64] = "";
    if (io->writing) {
        put(io, key, json_string(word[*choice]));
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
        put(io, key, number_value(*x));
        if (!isfinite(*x)) put(io, note, json_string(note_of(*x)));
    } else {
        const json_t *value = get(io, key);
        if (json_is_number(value)) {
            *x = json_number_value(value);
        } else if (json_is_null(value)) {
            *x = value_of_note(json_string_value(json_object_get(here(io), note)));
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
        put(io, key, json_integer((json_int_t)*n));
    } else {
        const json_t *value = get(io, key);
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
        put(io, key, json_boolean(*flag));
    } else {
        const json_t *value = get(io, key);
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
        numbers_from(io, key, x, n, get(io, key));
        return;
    }
    put(io, key, numbers_value(x, n));
    note_key(note, sizeof note, key);
    for (size_t i = 0; i < n; i++) {
        if (isfinite(x[i]) || json_is_array(here(io))) continue;
        put(io, note, json_string(note_undefined));
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
            put(io, "row", numbers_value(*x + i * n, n));
        else
            numbers_from(io, key, *x + i * n, n, json_array_get(here(io), i));
    }
    json_io_leave(io);
}

static void estimate_members(struct json_io *io, const char *key, struct tune_estimate *estimate)
{
    if (io->writing) {
        put(io, "value", number_value(estimate->value));
        put(io, "std", number_value(estimate->std));
        if (!isfinite(estimate->value)) put(io, "note", json_string(note_of(estimate->value)));
    } else {
        const json_t *value = get(io, "value"), *std = get(io, "std");
        const json_t *note = io->status ? NULL : json_object_get(here(io), "note");
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
        put(io, bound_key, number_value(*bound));
    } else {
        const json_t *value = get(io, bound_key);
        /* an endless margin has an endless bound */
        *bound = json_is_number(value)       ? json_number_value(value)
                 : isfinite(estimate->value) ? (double)NAN
                                             : estimate->value;
    }
    json_io_leave(io);
}

/* ---- nesting ------------------------------------------------------------------------------------*/

static void push(struct json_io *io, json_t *value, const char *key)
{
    if (io->depth >= JSON_DEPTH) {
        json_io_fail(io, TUNE_EDATA, key, "the result is nested too deep");
        return;
    }
    io->at[io->depth++] = value;
}

/* After a failure the walk goes on without effect: entering and leaving stay in step on `depth`. */
static void enter_value(struct json_io *io, const char *key, json_t *fresh, bool array)
{
    json_t *value = fresh;
    if (io->writing) {
        put(io, key, fresh);
    } else {
        value = get(io, key);
        if (value && (array ? !json_is_array(value) : !json_is_object(value)))
            json_io_fail(io, TUNE_EDATA, key,
                         array ? "a list was expected" : "an object was expected");
    }
    push(io, io->status ? here(io) : value, key);
}

void json_io_enter(struct json_io *io, const char *key)
{
    enter_value(io, key, io->writing ? json_object() : NULL, false);
}

void json_io_leave(struct json_io *io)
{
    if (io->depth > 1) io->depth--;
}

size_t json_io_list_fixed(struct json_io *io, const char *key, size_t *n, size_t most)
{
    enter_value(io, key, io->writing ? json_array() : NULL, true);
    if (io->status) return 0;
    if (!io->writing) *n = json_array_size(here(io));
    if (*n > most) {
        json_io_fail(io, TUNE_EDATA, key, "the list is too long");
        *n = 0;
    }
    return *n;
}

size_t json_io_list(struct json_io *io, const char *key, void **array, size_t *n, size_t item_size)
{
    const size_t count = json_io_list_fixed(io, key, n, SIZE_MAX / (item_size + 1));
    if (io->writing || io->status) return count;
    *array = calloc(count ? count : 1, item_size);
    if (!*array) {
        *n = 0;
        json_io_fail(io, TUNE_ENOMEM, key, "");
        return 0;
    }
    return count;
}

void json_io_item(struct json_io *io, size_t i)
{
    json_t *value = NULL;
    if (io->writing) {
        value = json_object();
        put(io, "item", value);
    } else if (!io->status) {
        value = json_array_get(here(io), i);
        if (!json_is_object(value)) json_io_fail(io, TUNE_EDATA, "item", "an object was expected");
    }
    push(io, io->status ? here(io) : value, "item");
}

/* ---- begin and end ------------------------------------------------------------------------------*/

enum tune_status json_write(char **text, json_fields *fields, const void *result,
                            struct tune_error *err)
{
    struct json_io io = {.writing = true, .err = err, .name = NULL};
    char *dump = NULL;
    size_t length;

    *text = NULL;
    io.root = json_object();
    if (!io.root) return tune_error_memory(err, "building a result");
    io.at[io.depth++] = io.root;
    fields(&io, (void *)(uintptr_t)result);
    if (!io.status) dump = json_dumps(io.root, JSON_INDENT(1) | JSON_REAL_PRECISION(15));
    json_decref(io.root);
    if (io.status) return io.status;
    if (!dump) return tune_error_memory(err, "building a result");
    length = strlen(dump);
    *text = malloc(length + 2);
    if (*text) (void)snprintf(*text, length + 2, "%s\n", dump);
    free(dump);
    return *text ? TUNE_OK : tune_error_memory(err, "building a result");
}

enum tune_status json_read(void *result, json_fields *fields, const char *name, const char *text,
                           size_t size, struct tune_error *err)
{
    struct json_io io = {.writing = false, .err = err, .name = name};
    json_error_t bad;

    io.root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &bad);
    if (!io.root) {
        tune_error_set(err, TUNE_EDATA, "this is not a result of ours: %s", bad.text);
        tune_error_place(err, name, bad.line > 0 ? bad.line : 0, bad.column > 0 ? bad.column : 0);
        return TUNE_EDATA;
    }
    if (!json_is_object(io.root)) {
        json_io_fail(&io, TUNE_EDATA, "", "an object was expected");
    } else {
        io.at[io.depth++] = io.root;
        fields(&io, result);
    }
    json_decref(io.root);
    return io.status;
}
