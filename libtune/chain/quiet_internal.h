/* quiet_internal.h - plants and disturbance, as design, predict and verify need them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_QUIET_INTERNAL_H
#define TUNE_QUIET_INTERNAL_H

#include "chain/chain_internal.h"
#include "jitter/disturbance.h"
#include "results/identification.h"
#include "results/proposal.h"

/* The plants of an identification with payload ratios. Plain data except the arrays. */
struct chain_plants {
    size_t n;
    struct tune_plant *plant; /* [n] */
    const char **name;        /* [n] owned by the identification */
    char payload[16];         /* "stated", "identified", "assumed", "partly", "none" */
    struct tune_notes notes;  /* what was assumed */
};

/* Ratios the logbook states go to the nearest mode, each at most once; a mode without one is taken not to
 * move the payload. False, and *missed_hz set, where a stated mode was not found. */
bool chain_stated_ratios(struct tune_plant *plant, const struct tune_logbook *logbook,
                         double *missed_hz);

/* Ratios stated by the logbook, else identified by a second sensor, else assumed.
 * TUNE_EDATA when a stated ratio finds no mode near its frequency. */
enum tune_status chain_plants(struct chain_plants *out, const struct tune_identification *id,
                              const struct chain *chain, struct tune_error *err);
enum tune_status chain_payload_provenance(struct tune_provenance *provenance,
                                          const struct chain *chain, struct tune_error *err);
void chain_plants_free(struct chain_plants *plants);

/* The quiet log and what it tells. log is NULL where there is none: then the disturbance is stated. */
struct chain_quiet {
    const struct tune_log_entry *log;
    size_t pointing; /* index of the plant it was taken at */
    size_t rows;
    struct chain_gains gains; /* active while it was taken */
    struct tune_disturbance disturbance;
    struct tune_disturbance_summary summary;
    struct tune_notes notes;
};

/* foretelling: a log with gains of its own is itself foretold, and is not taken.
 * Which log, which gains: what provenance has to hold before anything is computed. Returns with
 * log = NULL and a note where there is no quiet log under known gains. */
enum tune_status chain_quiet_choose(struct chain_quiet *out, const struct chain *chain,
                                    const struct tune_identification *id, bool foretelling,
                                    struct tune_error *err);

/* What design and predict both start from. Close it always. */
struct chain_basis {
    struct chain chain;
    struct tune_identification id;
    struct chain_plants plants;
    struct chain_quiet quiet; /* chosen; not read yet */
};

/* Identify, take the plants, choose the quiet log. */
enum tune_status chain_basis_open(struct chain_basis *out, const struct tune_job *job,
                                  struct tune_error *err);
void chain_basis_close(struct chain_basis *basis);

/* Inputs and options of plants and quiet log, as they stand in the provenance of whatever uses them. */
enum tune_status chain_quiet_provenance(struct tune_provenance *provenance,
                                        const struct chain_quiet *quiet, const struct chain *chain,
                                        const struct tune_identification *id,
                                        struct tune_error *err);

/* Read the log and back the disturbance out of it, or state one. */
enum tune_status chain_quiet_estimate(struct chain_quiet *quiet, const struct chain *chain,
                                      const struct tune_identification *id,
                                      const struct chain_plants *plants, struct tune_error *err);

void chain_quiet_free(struct chain_quiet *quiet);

#endif
