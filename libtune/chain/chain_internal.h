/* chain_internal.h - what every command of the chain begins and ends with: an open logbook, the logs it
 * chose, provenance, earlier results, files written together.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_INTERNAL_H
#define TUNE_CHAIN_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "chain/job.h"
#include "core/status.h"
#include "logbook/logbook.h"
#include "record/record.h"
#include "results/identification.h"
#include "results/notes.h"
#include "results/provenance.h"

struct chain {
    const struct tune_job *job;
    struct tune_logbook logbook;
    char folder[TUNE_PATH_LENGTH]; /* of the answers */
};

/* Reads the logbook and sees that every log and pointing the job names is there. Close it always. */
enum tune_status chain_open(struct chain *chain, const struct tune_job *job,
                            struct tune_error *err);
void chain_close(struct chain *chain);

/* Tell the person waiting. */
void chain_note(const struct chain *chain, const char *format, ...) TUNE_PRINTF(2, 3);

/* The job restricts logs or pointings, and this log (pointing) is not among the chosen. */
bool chain_log_chosen(const struct chain *chain, const struct tune_log_entry *log);
bool chain_pointing_chosen(const struct chain *chain, const char *pointing);
/* The job names this very log. */
bool chain_log_named(const struct chain *chain, const struct tune_log_entry *log);

/* ---- logs ---------------------------------------------------------------------------------------*/

enum tune_status chain_read_log(struct tune_record *out, const struct chain *chain,
                                const struct tune_log_entry *log, struct tune_error *err);

/* position - target in rad, [n]; position alone where no target was logged. The caller frees it. */
enum tune_status chain_tracking_error(double **error_rad, const struct tune_record *rec,
                                      struct tune_error *err);

/* Take the straight line off x[n]. */
enum tune_status chain_remove_line(double *x, size_t n, double rate_hz, struct tune_error *err);

/* Put the log's file into an error that names no file. Returns err's status. */
enum tune_status chain_blame_log(const struct chain *chain, const struct tune_log_entry *log,
                                 enum tune_status status, struct tune_error *err);

/* A log that is not there is told with its section in axis.ini. Returns status. */
enum tune_status chain_name_section(const struct tune_log_entry *log, enum tune_status status,
                                    struct tune_error *err);

/* Gains and where they came from. */
struct chain_gains {
    struct tune_controller controller;
    char source
        [TUNE_INPUT_PATH]; /* the file as people know it: "axis.ini", "results/controller.ini" */
    char path[TUNE_PATH_LENGTH]; /* to open it; empty: axis.ini */
    enum chain_gains_by { GAINS_ASKED, GAINS_OF_LOG, GAINS_OF_DESIGN, GAINS_OF_LOGBOOK } by;
};

/* The gains a log was taken under: its own file, else the logbook's. *found false: there are none. */
enum tune_status chain_log_gains(struct chain_gains *out, bool *found, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err);

/* The gains of a controller file. */
enum tune_status chain_gains_of_file(struct chain_gains *out, const struct chain *chain,
                                     const char *path, struct tune_error *err);

/* The gains a prediction is for: the job's file, else the log's own (log may be NULL), else
 * controller.ini among the answers, else the logbook's; TUNE_EINVAL where there are none. */
enum tune_status chain_gains_for(struct chain_gains *out, const struct chain *chain,
                                 const struct tune_log_entry *log, struct tune_error *err);

/* ---- provenance and earlier results -------------------------------------------------------------*/

/* Schema, tool, logbook name and axis.ini. */
enum tune_status chain_provenance(struct tune_provenance *out, const struct chain *chain,
                                  const char *schema, struct tune_error *err);
/* A file by its path in the logbook (or beside it). */
enum tune_status chain_add_file(struct tune_provenance *provenance, const struct chain *chain,
                                const char *path, size_t rows, struct tune_error *err);
/* A log: its file as an input, the way it is read as an option. */
enum tune_status chain_add_log(struct tune_provenance *provenance, const struct chain *chain,
                               const struct tune_log_entry *log, size_t rows,
                               struct tune_error *err);
/* Gains: their file as an input, their values as the option of that name. */
enum tune_status chain_add_gains(struct tune_provenance *provenance, const char *name,
                                 const struct chain_gains *gains, struct tune_error *err);
/* Where the file of that path stands among the inputs, set its rows. */
void chain_set_rows(struct tune_provenance *provenance, const char *path, size_t rows);

/* A kind of result, for what is done to all of them alike. */
struct chain_kind {
    const char *file; /* identify.json */
    enum tune_status (*json)(char **text, const void *result, struct tune_error *err);
    enum tune_status (*parse)(void *out, const char *name, const char *text, size_t size,
                              struct tune_error *err);
    void (*empty)(void *result);
    struct tune_provenance *(*provenance)(void *result);
    /* i-th file that belongs to it, NULL after the last; may be NULL where there are none */
    const struct tune_result_file *(*part)(const void *result, size_t i);
};

extern const struct chain_kind chain_inspect_kind, chain_precheck_kind, chain_identify_kind,
    chain_design_kind, chain_evaluate_kind, chain_predict_kind, chain_verify_kind,
    chain_balance_kind;

/* Take an earlier result again where it is fresh: *fresh tells. The person is told which, and why. */
enum tune_status chain_reuse(void *out, bool *fresh, const struct chain *chain,
                             const struct chain_kind *kind, const struct tune_provenance *now,
                             struct tune_error *err);

/* A file to be written, its text owned by whoever made it. */
struct chain_file {
    char name[TUNE_RESULT_FILE];
    char *text;
};

/* Write the parts, then the result itself, under the lock of the folder; then read the result back, so
 * that whoever works on with it has the very numbers a later run finds in the file. */
enum tune_status chain_write(void *result, const struct chain *chain, const struct chain_kind *kind,
                             const struct chain_file *part, size_t n_parts, struct tune_error *err);

/* Name and hash of a file about to be written. */
void chain_result_file(struct tune_result_file *out, const struct chain_file *file);

/* A fingerprint of gains, for options. */
enum tune_status chain_controller_digest(char digest[TUNE_SHA256_TEXT],
                                         const struct tune_controller *controller,
                                         struct tune_error *err);

/* ---- what is said wherever gains are proposed or judged -----------------------------------------*/

void chain_note_signs(struct tune_notes *notes, const struct tune_logbook *logbook);

/* Every way log[n] are read that departs from the default, equal ones once. */
void chain_note_mappings(struct tune_notes *notes, const struct tune_log_entry *const *log,
                         size_t n);
/* The unit a column of this role carries as suffix of its name ("motor_angle_rad"), or NULL. */
const char *chain_unit_of_column(enum tune_role role, const char *column);
/* The unit stated for a column is not that of its name: a note. */
void chain_note_units(struct tune_notes *notes, const char *log, enum tune_role role,
                      const char *unit, const char *column);

/* Append a word to a list, "a, b"; what finds no room is told by dots. */
void chain_list_add(char *list, size_t size, const char *word);

/* Where a fit is to be doubted: a delay on its bound, an order that was forced, a model that misses the data. */
void chain_doubt_fits(struct tune_notes *notes, const struct tune_identification *id);
/* Where the inertia is not what [expected] says. */
void chain_doubt_inertia(struct tune_notes *notes, const struct tune_identification *id,
                         const struct tune_expected_entry *expected);
/* Where an axis that turns back spoils everything at a pointing. */
void chain_doubt_body(struct tune_notes *notes, const struct tune_identification *id);
/* Where a mode the margins rest on is doubtful, and why. */
void chain_doubt_modes(struct tune_notes *notes, const struct tune_identification *id);

/* The encoder's figure is judged and meets the limit, the sky's would not. */
void chain_note_sky(struct tune_notes *notes, const struct tune_requirement *requirement,
                    double encoder_arcsec, double sky_arcsec);
void chain_caution_gains(struct tune_notes *cautions);

#endif
