/* json.c - one description of a result for both directions: beginning, nesting, ending.
 *
 * jansson answers NULL for what JSON cannot hold (NaN, infinity, bad UTF-8) and for want of memory;
 * every answer is looked at. Traps: json_real() keeps 17 digits unless told otherwise, and repeated
 * keys are accepted unless refused.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/json_internal.h"

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

json_t *json_here(const struct json_io *io)
{
    return io->at[io->depth - 1];
}

/* Takes the reference of value. */
void json_put(struct json_io *io, const char *key, json_t *value)
{
    int bad;
    if (io->status) {
        json_decref(value);
        return;
    }
    bad = json_is_array(json_here(io)) ? json_array_append_new(json_here(io), value)
                                       : json_object_set_new(json_here(io), key, value);
    if (bad) json_io_fail(io, TUNE_ENOMEM, key, "");
}

json_t *json_get(struct json_io *io, const char *key)
{
    json_t *value = NULL;
    if (io->status) return NULL;
    value = json_object_get(json_here(io), key);
    if (!value) json_io_fail(io, TUNE_EDATA, key, "the result lacks a member");
    return value;
}

bool json_io_has(const struct json_io *io, const char *key)
{
    return !io->status && json_object_get(json_here(io), key) != NULL;
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
        json_put(io, key, fresh);
    } else {
        value = json_get(io, key);
        if (value && (array ? !json_is_array(value) : !json_is_object(value)))
            json_io_fail(io, TUNE_EDATA, key,
                         array ? "a list was expected" : "an object was expected");
    }
    push(io, io->status ? json_here(io) : value, key);
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
    if (!io->writing) *n = json_array_size(json_here(io));
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
        json_put(io, "item", value);
    } else if (!io->status) {
        value = json_array_get(json_here(io), i);
        if (!json_is_object(value)) json_io_fail(io, TUNE_EDATA, "item", "an object was expected");
    }
    push(io, io->status ? json_here(io) : value, "item");
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
