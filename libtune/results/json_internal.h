/* json_internal.h - one description of a result for both directions, JSON to struct and back.
 *
 * A result says once, field by field, which key holds which member; the same walk writes the file and
 * reads it. What is not finite is written as null beside a note and comes back as it was.
 * The first failure sticks: every later call does nothing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_JSON_INTERNAL_H
#define TUNE_JSON_INTERNAL_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "control/controller.h"
#include "core/estimate.h"
#include "core/status.h"
#include "logbook/logbook.h"
#include "results/identification.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/proposal.h"
#include "results/provenance.h"

enum { JSON_DEPTH = 16 };

struct json_io {
    bool writing;
    json_t *root;
    json_t *at[JSON_DEPTH]; /* borrowed: the object or array being walked, and those around it */
    size_t depth;
    const char *name; /* of the file, for messages */
    enum tune_status status;
    struct tune_error *err;
};

/* ---- begin and end ------------------------------------------------------------------------------*/

/* Describe one result (a pointer to its struct) field by field. */
typedef void json_fields(struct json_io *io, void *result);

/* The walk never changes a result that is being written. */
enum tune_status json_write(char **text, json_fields *fields, const void *result,
                            struct tune_error *err);
enum tune_status json_read(void *result, json_fields *fields, const char *name, const char *text,
                           size_t size, struct tune_error *err);

/* ---- bare access ---------------------------------------------------------------------------------*/

/* The object or array being walked. */
json_t *json_here(const struct json_io *io);
/* Put a value there under the key, or at the end of a list; takes its reference. NULL: want of memory. */
void json_put(struct json_io *io, const char *key, json_t *value);
/* A member of it, borrowed; fails where there is none. */
json_t *json_get(struct json_io *io, const char *key);

/* ---- one member ---------------------------------------------------------------------------------*/

void json_io_text(struct json_io *io, const char *key, char *text, size_t size);
void json_io_number(struct json_io *io, const char *key, double *x);
/* Written only when it differs from `absent`, which it becomes when the key is not there. */
void json_io_optional(struct json_io *io, const char *key, double *x, double absent);
void json_io_count(struct json_io *io, const char *key, size_t *n);
void json_io_seed(struct json_io *io, const char *key, uint64_t *seed); /* text: 64 bits */
void json_io_flag(struct json_io *io, const char *key, bool *flag);
/* Every number that is not finite comes back as NAN. */
void json_io_numbers(struct json_io *io, const char *key, double *x, size_t n);
void json_io_estimate(struct json_io *io, const char *key, struct tune_estimate *estimate);
/* The i-th text of a list entered before. */
void json_io_text_item(struct json_io *io, size_t i, char *text, size_t size);
/* A square matrix, row by row; reading allocates it. */
void json_io_matrix(struct json_io *io, const char *key, double **x, size_t n);
/* An estimate with the side that hurts, as one more member. */
void json_io_estimate_bound(struct json_io *io, const char *key, struct tune_estimate *estimate,
                            const char *bound_key, double *bound);
/* One of a list of words; *choice is its index. */
void json_io_choice(struct json_io *io, const char *key, unsigned *choice, const char *const *word,
                    size_t n_words);

/* ---- nesting ------------------------------------------------------------------------------------*/

void json_io_enter(struct json_io *io, const char *key); /* an object */
void json_io_leave(struct json_io *io);

/* A list of objects. Writing: *n of them. Reading: *n and *array (calloc, item_size each) are set.
 * Returns how many items to walk, each between json_io_item() and json_io_leave(); then leave the
 * list itself. */
size_t json_io_list(struct json_io *io, const char *key, void **array, size_t *n, size_t item_size);
/* The same with a fixed place of at most `most` items. */
size_t json_io_list_fixed(struct json_io *io, const char *key, size_t *n, size_t most);
void json_io_item(struct json_io *io, size_t i);

bool json_io_has(const struct json_io *io, const char *key); /* reading */

/* Fail, naming the file and the key. */
void json_io_fail(struct json_io *io, enum tune_status status, const char *key, const char *what);

/* ---- parts that several results share -----------------------------------------------------------*/

/* Key holds the name, key_sha256 the hash; neither where there is no file. */
void json_io_file(struct json_io *io, const char *key, struct tune_result_file *file);
void json_io_notes(struct json_io *io, const char *key, struct tune_notes *notes);
/* Reading: TUNE_EDATA unless the schema is the one given. */
void json_io_provenance(struct json_io *io, const char *schema, struct tune_provenance *provenance);
void json_io_judgements(struct json_io *io, const char *key, const char *value_key,
                        struct tune_judgements *judgements);
void json_io_controller(struct json_io *io, struct tune_controller *controller);
void json_io_tool(struct json_io *io); /* writing only: name and version of ours */
void json_io_kind(struct json_io *io, enum tune_log_kind *kind);
void json_io_jitter_of(struct json_io *io, bool *sky);
/* What a crossing has a margin of: "gain" where L is real and negative (of_phase), else "phase". */
void json_io_margin_of(struct json_io *io, bool *of_phase);
void json_io_disturbance(struct json_io *io, struct tune_disturbance_summary *disturbance);

#endif
