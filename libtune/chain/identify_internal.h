/* identify_internal.h - the sweeps of one pointing and what comes of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFY_INTERNAL_H
#define TUNE_IDENTIFY_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/progress_internal.h"
#include "health/health.h"
#include "health/passage.h"
#include "plant/frf.h"
#include "results/identification.h"

/* The response of a further output to the torque of the same record. */
struct pointing_output {
    enum tune_role role;
    double hold_s; /* each reading stands for so long; 0: for one row */
    struct tune_frf frf;
    struct tune_lines lines;
};

enum { POINTING_OUTPUTS_MAX = 4 };

/* One record of a pointing: a log, or logs that go on from each other. */
struct pointing_record {
    const struct tune_log_entry *log; /* where it begins */
    size_t n_logs;
    bool too_little;       /* no response can be had of it */
    struct tune_error why; /* then */
    double duration_s;
    bool quiet_ends;          /* without excitation at both */
    double excitation_rms_nm; /* NAN: not logged */
    double torque_rms_nm;
    double noise_square; /* of the position's white noise, rad^2 per sample */
    struct tune_frf frf;
    struct tune_lines lines;
    double
        level_nm; /* rms of the excitation (without it: the torque) while there is any; NAN: none */
    struct tune_health health;
    struct tune_course course;
    struct tune_frf other; /* of the other axis; n = 0: not logged */
    struct tune_lines other_lines;
    size_t n_outputs;
    struct pointing_output output[POINTING_OUTPUTS_MAX];
};

/* What one pointing is made of, and what it leaves besides the result. */
struct pointing_work {
    const struct tune_log_entry **log; /* [n_logs] its sweeps, in the order of the logbook */
    size_t n_logs;
    size_t n_left_out; /* logs behind those that are not used: they tell too little */
    size_t *rows;      /* [n_logs + n_left_out] */
    size_t n_records;
    struct pointing_record *record; /* [n_records] while the pointing is worked on */
    double unquiet_s; /* shortest sweep that begins or ends without quiet; 0: none does */
    struct tune_notes notes, accepted, left_out;
    bool failed;             /* it tells too little: the others may go on without it */
    struct tune_error why;   /* then */
    struct chain_file cross; /* has no name where the other axis was not logged */
    struct chain_file frf, model, plant, assisted; /* the last may have no name: there is none */
};

/* A table of responses among the logs. */
struct table_work {
    const struct tune_log_entry *log;
    struct chain_gains gains;
    bool gains_known;
    bool fitted; /* its pointing is identified from it */
};

struct identification_work {
    const struct chain *chain;
    size_t n;
    size_t n_failed;                    /* pointings behind those that are left out */
    struct pointing_work *pointing;     /* [n + n_failed] */
    struct tune_pointing_plant *result; /* [n] */
    size_t n_tables;
    struct table_work *table; /* [n_tables] */
    struct progress progress;
};

/* The logs of a pointing, one after the other; those that go on from each other are one record. */
struct chain_runs {
    struct pointing_work *pointing;
    const struct chain *chain;
    struct tune_record next; /* read already, of log `at`; n = 0: none */
    size_t at;
    double rate_hz; /* of the first */
};

/* identify_named.c: is this a log to identify an axis from, a sweep or a table of responses? */
bool chain_identifies(const struct tune_log_entry *log);

/* The next record: log runs->at and those that go on from it, taken under the same gains; at is then
 * behind them. TUNE_EDATA: a log that cannot be read, or has another rate than the first. Free runs->next
 * in the end. */
enum tune_status chain_run_read(struct tune_record *rec, struct chain_runs *runs,
                                struct tune_error *err);

/* Every record of the pointing into pointing->record, to be released with chain_records_free(). */
enum tune_status chain_identify_records(struct pointing_work *pointing, const struct chain *chain,
                                        struct progress_item *watch, struct tune_error *err);
void chain_records_free(struct pointing_work *pointing);
void chain_record_free(struct pointing_record *record);

/* identify_doubts.c, as notes of the pointing; its records must be there still. modes: as asked for, or 0. */
void chain_identify_doubts(struct pointing_work *pointing, const struct tune_pointing_plant *out,
                           size_t modes);

/* identify_left_out.c */
/* Leave out the records that tell too little, with a note; the first one's error where none is left. */
enum tune_status chain_leave_out_logs(struct pointing_work *pointing, struct tune_error *err);
/* Leave out the pointings that failed; the first one's error, with the caution, where none is left. */
enum tune_status chain_leave_out_pointings(struct tune_identification *out,
                                           struct identification_work *work,
                                           struct tune_error *err);
/* What inspect finds in the records that may be why they tell too little, and what helps. */
void chain_tell_reasons(struct tune_error *err, const struct pointing_work *pointing);
/* A place for a sweep, or a harder one, is a proposal to move: what to mind, as a note or behind an error. */
void chain_caution_sweep(struct tune_notes *notes);
void chain_caution_error(struct tune_error *err);

/* The same of a pointing without sweeps, whose logs are tables of responses. */
enum tune_status chain_identify_table_records(struct pointing_work *pointing,
                                              const struct chain *chain, struct tune_error *err);

/* A fit to tables, which came to `fitted`: TUNE_EDATA where the mirrored table is explained far better, so that
 * the phases have the other sign, or where the fit is nothing like the table; else `fitted`. Tables of loops
 * are mirrored under the gains of the first. frf and lines come back as they were, but for rounding. */
enum tune_status chain_table_check(const struct tune_fit *fit, enum tune_status fitted,
                                   const struct tune_frf *frf, const struct tune_lines *lines,
                                   const struct tune_fit_opts *opts,
                                   const struct pointing_work *pointing, const struct chain *chain,
                                   struct tune_error *err);

/* The fit of out once more where a record neither begins nor ends at rest; the lines of such records are
 * freed of what they began with. */
enum tune_status chain_identify_transients(struct tune_pointing_plant *out,
                                           struct pointing_work *pointing,
                                           const struct tune_frf *frf,
                                           const struct tune_fit_opts *opts,
                                           struct progress_item *watch, struct tune_error *err);

/* assisted-<pointing>.csv, from the records and the fit of out. */
enum tune_status chain_identify_assisted(struct tune_pointing_plant *out,
                                         struct pointing_work *pointing, struct tune_error *err);

/* How the axis stood at a pointing, as its first log says; a note where others say otherwise. */
void chain_identify_condition(struct tune_pointing_plant *out, struct pointing_work *pointing);

/* Modes over all pointings, laws, and where to sweep next, into out. done: what of the whole is done
 * before, for the watch. */
enum tune_status chain_identify_tracks(struct tune_identification *out, const struct chain *chain,
                                       double done, struct tune_error *err);

/* Payload ratios from what the records logged beside the encoder, whose lines are those of the fit; and
 * what the encoder cannot see. A sensor that cannot be used is told, no more. */
enum tune_status chain_identify_sensors(struct tune_pointing_plant *out,
                                        struct pointing_work *pointing,
                                        const struct tune_lines *lines, const struct chain *chain,
                                        struct tune_error *err);
/* identify_sensor_doubts.c: may the ratios s be used? Notes tell why not, and what is doubtful; of that the stds are
 * widened. key: the role's name in the logbook. */
enum tune_status chain_trust_sensor(bool *use, struct tune_sensor *s,
                                    const struct tune_sensor_opts *opts, const char *key,
                                    struct tune_notes *notes, const struct tune_pointing_plant *p,
                                    const struct tune_lines *encoder,
                                    const struct tune_lines *sensor, struct tune_error *err);
/* identify_levels.c: level and drift; the fit's std are widened where they must be. */
enum tune_status chain_identify_levels(struct tune_pointing_plant *out,
                                       struct pointing_work *pointing, struct tune_error *err);
double chain_record_level(const struct tune_record *rec);

/* identify_cross.c: cross-<pointing>.csv and what it says; nothing where the other axis was not logged. */
enum tune_status chain_record_cross(struct pointing_record *out, struct pointing_work *pointing,
                                    const struct tune_record *rec, struct tune_error *err);
enum tune_status chain_identify_cross(struct tune_pointing_plant *out,
                                      struct pointing_work *pointing, const struct chain *chain,
                                      struct tune_error *err);

/* identify_verdicts.c: what else is kept of a record once its health and response are known; the verdict on each
 * mode, last of all. */
enum tune_status chain_record_circumstances(struct pointing_record *out,
                                            struct pointing_work *pointing,
                                            const struct tune_record *rec, struct tune_error *err);
void chain_circumstances_free(struct pointing_record *record);
enum tune_status chain_identify_verdicts(struct tune_pointing_plant *out,
                                         const struct pointing_work *pointing,
                                         const struct chain *chain, struct tune_error *err);

/* One pointing, as an item of work: read, judge, estimate, fit, tables. user: identification_work. */
enum tune_status chain_identify_pointing(void *user, size_t item, struct tune_error *err);

/* plant-<pointing>.json of every pointing: poles, zeros, gain and state space. Out's provenance must be
 * complete. */
enum tune_status chain_identify_realise(struct tune_identification *out,
                                        struct identification_work *work, struct tune_error *err);

#endif
