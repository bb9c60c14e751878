/* identify_tables_internal.h - tables of responses among the logs of an identification.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFY_TABLES_INTERNAL_H
#define TUNE_IDENTIFY_TABLES_INTERNAL_H

#include "chain/identify_internal.h"
#include "plant/table.h"
#include "record/response.h"

/* Release with tune_response_free(). */
enum tune_status chain_table_read(struct tune_response *out, const struct chain *chain,
                                  const struct tune_log_entry *log, struct tune_error *err);

/* The plant of a table as the fit takes it, from a table of the loop by the gains known of the log; of_loop as
 * the log says or against it. *rows: of the file. */
enum tune_status chain_table_plant(struct tune_frf *frf, struct tune_lines *lines, size_t *rows,
                                   const struct chain *chain, const struct tune_log_entry *log,
                                   bool of_loop, struct tune_error *err);

/* The table of an axis whose phases have the other sign, in place; of a loop under these gains (NULL: of the
 * plant). Twice leaves it as it was, but for rounding. */
void chain_table_mirror(const struct tune_frf *frf, const struct tune_lines *lines,
                        const struct tune_controller *gains);

/* By which part a fit departs from its table, sqrt of the mean of (|e|^2 - std^2)/(|g|^2 + |model|^2) over the
 * points; and what no axis departs by. */
enum tune_status chain_table_misfit(double *out, const struct tune_fit *fit,
                                    const struct tune_frf *frf, struct tune_error *err);
extern const double chain_table_misfit_most;

/* identify_table_kind.c: TUNE_EDATA where a table under `of = plant` is rather one of the loop, or the other
 * way round; as chain_table_check(). Nothing where no gains are known. */
enum tune_status chain_table_check_kind(const struct tune_fit *fit, enum tune_status fitted,
                                        const struct tune_frf *frf, const struct tune_lines *lines,
                                        const struct tune_fit_opts *opts,
                                        const struct pointing_work *pointing,
                                        const struct chain *chain, struct tune_error *err);

/* What can be said of a table whose gains are not known: is it of what it is said to be of? */
void chain_table_tell_kind(struct tune_notes *notes, const struct tune_measured_table *t,
                           const struct tune_response *table);

/* Points below half the loop rate. */
size_t chain_table_points(const struct tune_response *table, double loop_rate_hz);

/* From the loop's to the plant's by the controller, or back; std goes along. Every frequency lies below
 * half the loop rate. */
enum tune_status chain_table_turn(struct tune_response *table,
                                  const struct tune_controller *controller, struct tune_error *err);

/* tune_measured_margins() in the units people read. */
enum tune_status chain_table_margins(struct tune_table_margins *out,
                                     const struct tune_loop_table *table, struct tune_error *err);

/* What margins do not cover, and what of them is in doubt. */
void chain_table_tell_margins(struct tune_notes *notes, const struct tune_measured_table *table);

/* Of the fitted plant; *known false where its loop cannot be judged. */
enum tune_status chain_model_margins(struct tune_model_margins *out, bool *known,
                                     const struct tune_plant *plant,
                                     const struct tune_controller *controller,
                                     struct tune_error *err);

/* The tables of the job, into work->table. named: of the sweeps and tables only those the job names. */
enum tune_status chain_tables_choose(struct identification_work *work, const struct chain *chain,
                                     bool named, struct tune_error *err);

enum tune_status chain_tables_provenance(struct tune_provenance *out, const struct chain *chain,
                                         const struct identification_work *work,
                                         struct tune_error *err);

/* out->table, once the plants are there: margins, and comparison with the plants from sweeps. */
enum tune_status chain_tables_finish(struct tune_identification *out, const struct chain *chain,
                                     const struct identification_work *work,
                                     struct tune_error *err);

#endif
