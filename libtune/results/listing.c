/* listing.c - the answer of commands that only write files.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/listing.h"

#include <stdio.h>

#include "results/json_internal.h"

enum { NAME_ROOM = 1024 };

struct listing {
    const char *schema;
    const char *const *files;
    size_t n;
    const struct tune_notes *notes;
};

static void fields(struct json_io *io, void *result)
{
    const struct listing *listing = result;
    struct tune_notes notes = *listing->notes;
    char word[NAME_ROOM];
    size_t n = listing->n;
    (void)snprintf(word, sizeof word, "%s", listing->schema);
    json_io_text(io, "schema", word, sizeof word);
    json_io_tool(io);
    (void)json_io_list_fixed(io, "files", &n, n);
    for (size_t i = 0; i < n; i++) {
        (void)snprintf(word, sizeof word, "%s", listing->files[i]);
        json_io_text_item(io, i, word, sizeof word);
    }
    json_io_leave(io);
    json_io_notes(io, "notes", &notes);
}

enum tune_status tune_listing_json(char **text, const char *schema, const char *const *files,
                                   size_t n, const struct tune_notes *notes, struct tune_error *err)
{
    const struct tune_notes none = {0};
    const struct listing listing = {schema, files, n, notes ? notes : &none};
    return json_write(text, fields, &listing, err);
}
