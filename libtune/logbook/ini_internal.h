/* ini_internal.h - the sections, keys and values of a file, with the place of each.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INI_INTERNAL_H
#define TUNE_INI_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "logbook/logbook.h"

enum { INI_LINE_MAX = 198, INI_WORD = 64, INI_VALUE = 200 };

struct ini_entry {
    char key[INI_WORD];
    char value[INI_VALUE]; /* quotes taken off */
    long line;
    long column; /* of the value, from 1; of the key where there is no value */
};

struct ini_section {
    char kind[INI_WORD];             /* "log" of [log east-45] */
    char name[TUNE_NAME_LENGTH + 1]; /* "east-45"; empty: none */
    long line;
    size_t first, n; /* its entries */
};

/* Plain data; release with ini_free(). No section stands twice, no key twice in one section. */
struct ini_document {
    size_t n_sections, n_entries;
    struct ini_section *section;
    struct ini_entry *entry;
};

/* text[size] is read only. TUNE_EDATA: malformed, repeated, not UTF-8; TUNE_ENOMEM. */
enum tune_status ini_parse_text(struct ini_document *out, const char *text, size_t size,
                                struct tune_error *err);

void ini_free(struct ini_document *document);

/* A whole small file; the caller frees *text. TUNE_EIO, TUNE_EDATA (too large), TUNE_ENOMEM. */
enum tune_status ini_read_file(char **text, size_t *size, const char *path, struct tune_error *err);

/* Is this the name of a log or a pointing: [a-z0-9][a-z0-9._-]{0,31}? */
bool ini_is_name(const char *text);

/* The entry of a key in a section, or NULL. */
const struct ini_entry *ini_find(const struct ini_document *document,
                                 const struct ini_section *section, const char *key);

/* A TUNE_EDATA refusal: the place of entry (NULL: the section's line), thing, value and limit from the
 * arguments, and the sentence. */
enum tune_status ini_refuse(struct tune_error *err, const struct ini_section *section,
                            const struct ini_entry *entry, const char *limit, const char *format,
                            ...) TUNE_PRINTF(5, 6);

#endif
