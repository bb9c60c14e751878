/* health_internal.h - the health of a log with what the logbook knows about it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_HEALTH_INTERNAL_H
#define TUNE_HEALTH_INTERNAL_H

#include "chain/chain_internal.h"
#include "health/health.h"

/* The noise of a sweep is compared with that of a hold or track log of the same pointing under the same
 * gains, where the logbook has one. */
enum tune_status chain_judge_health(struct tune_health *out, const struct chain *chain,
                                    const struct tune_log_entry *log, const struct tune_record *rec,
                                    struct tune_error *err);

/* What that judgement depends on beside the log and how it is read. */
enum tune_status chain_health_provenance(struct tune_provenance *now, const struct chain *chain,
                                         const struct tune_log_entry *log, struct tune_error *err);

/* A record whose time cannot be relied on must be used nowhere unnoticed, whatever health finds:
 * TUNE_EDATA, unless the job accepts it. */
enum tune_status chain_require_clock(const struct chain *chain, const struct tune_log_entry *log,
                                     const struct tune_record *rec, struct tune_error *err);

/* Refuse an unfit log with its first unfit finding that the job does not accept. What asks for care goes
 * to notes, what is accepted though unfit to accepted (may be the same). */
enum tune_status chain_require_health(struct tune_notes *notes, struct tune_notes *accepted,
                                      const struct chain *chain, const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err);

/* The same, and the judgement itself into *health (may be NULL). */
enum tune_status chain_require_judged(struct tune_health *health, struct tune_notes *notes,
                                      struct tune_notes *accepted, const struct chain *chain,
                                      const struct tune_log_entry *log,
                                      const struct tune_record *rec, struct tune_error *err);

/* A log whose meaning rests on the gains it ran under, as a quiet log's does: gains half as large again as stated, or
 * less by as much, are no matter of care there. TUNE_EDATA, unless the job accepts it. */
enum tune_status chain_require_gains(const struct chain *chain, const struct tune_health *health,
                                     const struct tune_record *rec, struct tune_error *err);

/* Is each finding the log is refused for, of which there is one, that of a log that tells too little? */
bool chain_tells_too_little(const struct chain *chain, const struct tune_health *health);

#endif
