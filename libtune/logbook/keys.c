/* keys.c - which keys a section may hold, what each takes, and where it goes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/keys_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

/* ---- keys ----------------------------------------------------------------------------------------*/

/* The number that stands for '#' in a key; 1 where the name has none; 0 where the key is another. */
static size_t match(const struct key_spec *spec, const char *key)
{
    const char *hash = strchr(spec->name, '#');
    const size_t start = hash ? (size_t)(hash - spec->name) : 0;
    size_t number = 0, digits = 0;
    if (!hash) return strcmp(spec->name, key) == 0;
    if (strncmp(spec->name, key, start) != 0 || key[start] == '0') return 0;
    for (; digits < 4 && key[start + digits] >= '0' && key[start + digits] <= '9'; digits++)
        number = 10 * number + (size_t)(key[start + digits] - '0');
    if (strcmp(hash + 1, key + start + digits) != 0) return 0;
    return number <= spec->most ? number : 0;
}

static const struct section_spec *find_spec(const struct section_spec *spec, size_t n_specs,
                                            const char *kind)
{
    for (size_t i = 0; i < n_specs; i++)
        if (strcmp(spec[i].kind, kind) == 0) return &spec[i];
    return NULL;
}

/* The i-th key of a section, NULL behind the last. */
static const struct key_spec *key_of(const struct section_spec *spec, size_t i)
{
    if (i < spec->n_keys) return &spec->key[i];
    return i - spec->n_keys < spec->n_more ? &spec->more[i - spec->n_keys] : NULL;
}

/* The key of a section that an entry's key is, and its number; or NULL. */
static const struct key_spec *find_key(size_t *number, const struct section_spec *spec,
                                       const char *key)
{
    const struct key_spec *found;
    for (size_t i = 0; (found = key_of(spec, i)); i++)
        if ((*number = match(found, key)) > 0) return found;
    return NULL;
}

static void keep_nearer(char best[INI_WORD], size_t *distance, const char *key, const char *name)
{
    const size_t d = tune_text_distance(key, name);
    if (d >= *distance) return;
    *distance = d;
    (void)snprintf(best, INI_WORD, "%s", name);
}

/* The name with the number of the key in the place of '#', or 1. */
static void concrete(char out[INI_WORD], const char *name, const char *key)
{
    const char *hash = strchr(name, '#'), *digit = strpbrk(key, "123456789");
    const size_t width = digit ? strspn(digit, "0123456789") : 0;
    if (!hash)
        (void)snprintf(out, INI_WORD, "%s", name);
    else
        (void)snprintf(out, INI_WORD, "%.*s%.*s%s", (int)(hash - name), name,
                       (int)(width ? width : 1), width ? digit : "1", hash + 1);
}

/* The known key nearest to the given one, empty where none is near. */
static void suggest(char best[INI_WORD], const struct section_spec *spec, const char *key)
{
    const struct key_spec *known;
    char name[INI_WORD];
    size_t distance = 3 + strlen(key) / 5;
    best[0] = '\0';
    for (size_t i = 0; (known = key_of(spec, i)); i++) {
        concrete(name, known->name, key);
        keep_nearer(best, &distance, key, name);
    }
    for (size_t i = 0; spec->roles && keys_role_name(name, i); i++)
        keep_nearer(best, &distance, key, name);
}

static enum tune_status refuse_key(const struct ini_section *section, const struct ini_entry *entry,
                                   const struct section_spec *all, size_t n_all,
                                   struct tune_error *err)
{
    const struct section_spec *spec = find_spec(all, n_all, section->kind);
    char near[INI_WORD], limit[TUNE_ERROR_WORD];
    size_t number;
    (void)snprintf(limit, sizeof limit, "a key of [%s]", spec->kind);
    for (size_t i = 0; i < n_all; i++)
        if (&all[i] != spec && find_key(&number, &all[i], entry->key))
            return ini_refuse(err, section, entry, limit,
                              "the key %s does not belong in [%s] but in [%s]", entry->key,
                              section->kind, all[i].kind);
    suggest(near, spec, entry->key);
    if (near[0])
        return ini_refuse(err, section, entry, near, "unknown key %s in [%s]: did you mean %s?",
                          entry->key, section->kind, near);
    return ini_refuse(err, section, entry, limit, "unknown key %s in [%s]: remove it", entry->key,
                      section->kind);
}

enum tune_status keys_read(const struct ini_document *document, const struct ini_section *section,
                           const struct section_spec *all, size_t n_all, void *base,
                           struct tune_record_opts *reading, struct tune_error *err)
{
    const struct section_spec *spec = find_spec(all, n_all, section->kind);
    enum tune_status status = TUNE_OK;
    for (size_t i = section->first; i < section->first + section->n && status == TUNE_OK; i++) {
        const struct ini_entry *entry = &document->entry[i];
        size_t number = 0;
        const struct key_spec *key = find_key(&number, spec, entry->key);
        bool mine = false;
        if (!key && reading) status = keys_read_role(&mine, reading, entry, err);
        if (status != TUNE_OK || mine) continue;
        if (!key) return refuse_key(section, entry, all, n_all, err);
        status =
            keys_value((char *)base + key->offset + (number - 1) * key->stride, entry, key, err);
    }
    return status;
}

enum tune_status keys_require(const struct ini_document *document,
                              const struct ini_section *section, const char *key,
                              struct tune_error *err)
{
    if (ini_find(document, section, key)) return TUNE_OK;
    return ini_refuse(err, section, NULL, key, "the section [%s%s%s] lacks the key %s",
                      section->kind, section->name[0] ? " " : "", section->name, key);
}

enum tune_status keys_count(size_t *count, const struct ini_document *document,
                            const struct ini_section *section, const char *prefix,
                            const char *const *suffix, size_t n_suffixes, struct tune_error *err)
{
    size_t highest = 0;
    *count = 0;
    for (size_t i = section->first; i < section->first + section->n; i++) {
        const char *key = document->entry[i].key;
        const size_t width = strlen(prefix);
        size_t number;
        if (strncmp(key, prefix, width) != 0) continue;
        number = (size_t)strtoul(key + width, NULL, 10);
        if (number > highest) highest = number;
    }
    for (size_t number = 1; number <= highest; number++)
        for (size_t k = 0; k < n_suffixes; k++) {
            char key[INI_WORD];
            (void)snprintf(key, sizeof key, "%s%zu%s", prefix, number, suffix[k]);
            const enum tune_status status = keys_require(document, section, key, err);
            if (status != TUNE_OK) return status;
        }
    *count = highest;
    return TUNE_OK;
}

/* ---- sections ------------------------------------------------------------------------------------*/

const struct ini_section *keys_section(const struct ini_document *document, const char *kind)
{
    for (size_t i = 0; i < document->n_sections; i++)
        if (strcmp(document->section[i].kind, kind) == 0) return &document->section[i];
    return NULL;
}

static enum tune_status check_section(const struct ini_section *section,
                                      const struct section_spec *all, size_t n_all,
                                      const char *what, struct tune_error *err)
{
    const struct section_spec *spec = find_spec(all, n_all, section->kind);
    size_t distance = 3;
    char near[INI_WORD] = "";
    if (spec && spec->named && !section->name[0])
        return ini_refuse(err, section, NULL, "a name", "the section [%s] needs a name: [%s NAME]",
                          section->kind, section->kind);
    if (spec && !spec->named && section->name[0])
        return ini_refuse(err, section, NULL, "no name", "the section [%s] takes no name",
                          section->kind);
    if (spec) return TUNE_OK;
    for (size_t i = 0; i < n_all; i++)
        keep_nearer(near, &distance, section->kind, all[i].kind);
    if (near[0])
        return ini_refuse(err, section, NULL, near, "unknown section [%s]: did you mean [%s]?",
                          section->kind, near);
    return ini_refuse(err, section, NULL, "a known section", "%s has no section [%s]: remove it",
                      what, section->kind);
}

enum tune_status keys_check_sections(const struct ini_document *document,
                                     const struct section_spec *spec, size_t n_specs,
                                     const char *what, struct tune_error *err)
{
    for (size_t i = 0; i < document->n_sections; i++) {
        const enum tune_status status =
            check_section(&document->section[i], spec, n_specs, what, err);
        if (status != TUNE_OK) return status;
    }
    for (size_t i = 0; i < n_specs; i++) {
        if (!spec[i].required || keys_section(document, spec[i].kind)) continue;
        tune_error_set(err, TUNE_EDATA, "%s needs a section [%s%s]: add it", what, spec[i].kind,
                       spec[i].named ? " NAME" : "");
        tune_error_about(err, "section", spec[i].kind, "at least one");
        return TUNE_EDATA;
    }
    return TUNE_OK;
}
