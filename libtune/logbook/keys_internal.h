/* keys_internal.h - which keys a section may hold, what each takes, and where it goes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_KEYS_INTERNAL_H
#define TUNE_KEYS_INTERNAL_H

#include "logbook/ini_internal.h"

enum key_type {
    KEY_NUMBER,   /* double */
    KEY_WHOLE,    /* size_t */
    KEY_ORDER,    /* int */
    KEY_SEED,     /* uint64_t */
    KEY_RANGE,    /* double[2], rising */
    KEY_TEXT,     /* char[size] */
    KEY_POINTING, /* char[size], a name as in [log NAME] */
    KEY_WORD,     /* char[size], one of choices */
    KEY_CHOICE,   /* int, the index in choices */
    KEY_SWITCH    /* bool, the second of choices is true */
};

/* A '#' in the name stands for 1, 2, ... most; the value goes to offset + (number - 1) stride. */
struct key_spec {
    const char *name;
    enum key_type type;
    size_t offset, size;
    double low, high;    /* numbers: allowed range, ends included */
    bool above, below;   /* the low, the high end is not included */
    const char *choices; /* "a|b|c" */
    size_t stride, most;
};

/* Ranges of numbers, to stand in a key_spec. */
#define KEY_ANY          .low = -INFINITY, .high = INFINITY
#define KEY_POSITIVE     .low = 0.0, .high = INFINITY, .above = true
#define KEY_NOT_NEGATIVE .low = 0.0, .high = INFINITY
#define KEY_RATIO        .low = 0.0, .high = 1.0, .above = true, .below = true

/* A section a file may hold. */
struct section_spec {
    const char *kind;
    bool named;    /* [kind NAME], any number of them; else [kind], once at most */
    bool required; /* at least one */
    bool roles;    /* also the keys that map columns to roles */
    const struct key_spec *key;
    size_t n_keys;
    const struct key_spec *more; /* [n_more] further keys of the same struct */
    size_t n_more;
};

/* Every section known, named where it must be, and every required one there.
 * what: "an axis.ini", for messages. */
enum tune_status keys_check_sections(const struct ini_document *document,
                                     const struct section_spec *spec, size_t n_specs,
                                     const char *what, struct tune_error *err);

/* Read every entry of a section into base. Keys that map columns go to reading (NULL where the
 * section has none). TUNE_EDATA for an unknown key, with the nearest known one, and for a value
 * that is malformed or out of range. */
enum tune_status keys_read(const struct ini_document *document, const struct ini_section *section,
                           const struct section_spec *spec, size_t n_specs, void *base,
                           struct tune_record_opts *reading, struct tune_error *err);

/* The section of a kind, or NULL. */
const struct ini_section *keys_section(const struct ini_document *document, const char *kind);

/* TUNE_EDATA unless the section holds the key. */
enum tune_status keys_require(const struct ini_document *document,
                              const struct ini_section *section, const char *key,
                              struct tune_error *err);

/* How many numbers 1, 2, ... of the keys prefix1suffix, prefix2suffix, ... are there: each with every
 * one of the suffixes, without a gap, else TUNE_EDATA. */
enum tune_status keys_count(size_t *count, const struct ini_document *document,
                            const struct ini_section *section, const char *prefix,
                            const char *const *suffix, size_t n_suffixes, struct tune_error *err);

/* roles.c: is this key one that maps a column (torque, torque_unit, ...)? Then read it. */
enum tune_status keys_read_role(bool *mine, struct tune_record_opts *reading,
                                const struct ini_entry *entry, struct tune_error *err);

/* roles.c: the i-th key that maps a column, or false behind the last; for suggestions. */
bool keys_role_name(char name[INI_WORD], size_t i);

/* values.c: the value of an entry, as its spec says, to where it points; else a refusal that says what
 * was expected. */
enum tune_status keys_value(void *at, const struct ini_entry *entry, const struct key_spec *spec,
                            struct tune_error *err);

/* A number that fills the whole value, in range; else a refusal that says what was expected. */
enum tune_status keys_number(double *value, const struct ini_entry *entry,
                             const struct key_spec *spec, struct tune_error *err);

#endif
