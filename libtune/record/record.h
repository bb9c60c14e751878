/* record.h - a log as it was taken: columns in SI units on a uniform time base.
 *
 * CSV after RFC 4180, plain or gzip; see docs/formats.md. Reading only.
 * Row k holds the position sampled at t_k and the torque computed from it; lag is negative phase.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RECORD_H
#define TUNE_RECORD_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

enum tune_role {
    TUNE_ROLE_TIME,            /* s */
    TUNE_ROLE_EXCITATION,      /* injected torque, N m */
    TUNE_ROLE_TORQUE,          /* drive command that reached the motor (plant input), N m */
    TUNE_ROLE_POSITION,        /* measured angle (plant output), rad */
    TUNE_ROLE_LOAD_POSITION,   /* second angle of the same axis, rad */
    TUNE_ROLE_TARGET,          /* commanded angle, rad */
    TUNE_ROLE_SKY,             /* image position, line of sight, rad */
    TUNE_ROLE_OTHER_POSITION,  /* angle of the other axis of the mount, rad */
    TUNE_ROLE_PAYLOAD_ACCEL,   /* tangential acceleration on the payload, m/s^2 */
    TUNE_ROLE_MEASURED_TORQUE, /* torque the drive measured (its current), N m; lags the command */
    TUNE_ROLE_INDEX,           /* 1 where the encoder's index mark is seen, else 0 */
    TUNE_ROLE_ENABLED,         /* 1 while the drive is enabled, else 0 */
    TUNE_ROLE_COUNT
};

enum { TUNE_COLUMN_NAME = 64, TUNE_UNIT_NAME = 16, TUNE_COLUMNS_TEXT = 256 };

/* How one role is found in a log and brought to SI:
 *     si = sign * (scale * raw + offset) * unit
 * offset is in the column's own unit. */
struct tune_column_map {
    char column[TUNE_COLUMN_NAME]; /* header text; empty: the role's default name with any of its
                                      unit suffixes */
    char unit[TUNE_UNIT_NAME];     /* "arcsec", "nm", ...; empty: taken from the header's suffix or
                                      the units row */
    double scale, offset, sign;    /* defaults 1, 0, 1 */
    double delay_samples; /* the column is late by so many samples; >= 0, need not be whole */
};

struct tune_record_opts {
    struct tune_column_map map[TUNE_ROLE_COUNT];
    double sample_rate_hz;          /* stated rate; 0: unknown, then a time column is required */
    double torque_per_unit_nm;      /* N m per ampere, volt, or at full scale; 0: unknown */
    double encoder_counts_per_turn; /* 0: unknown */
};

/* What the reader set right, or could not, on the way to a uniform time base. */
enum tune_repair_kind {
    TUNE_REPAIR_MISSING, /* rows that the stamps skip: filled in on a straight line */
    TUNE_REPAIR_REPEATED, /* rows that repeat a stamp: left out where they are one too many (the clock
                             goes on as if they were not there), else kept */
    TUNE_REPAIR_BACKWARD, /* stamps that run backwards: the row is kept as the next one */
    TUNE_REPAIR_WRAP,     /* wraps of an angle undone */
    TUNE_REPAIR_COUNT
};

struct tune_repair {
    size_t count; /* rows (wraps) concerned; 0: none, then the rest is 0 */
    size_t row;   /* first of them, row of the record, from 1; of a row left out: the next one */
    long line;    /* and its line in the file; of a row filled in: that of the row after the gap */
    double worst; /* longest gap or step back, s; a wrap: its size in the unit of the column
                     it was found in first */
};

/* From this row on, rows and lines of the file go side by side. */
struct tune_row_mark {
    size_t row;    /* of the record, from 1 */
    size_t filled; /* so many rows right before it were filled in */
    long line;     /* of that row in the file */
};

/* A column that serves no role and whose name comes near to that of a role not logged. */
struct tune_near_column {
    char name[TUNE_COLUMN_NAME]; /* empty: there is none */
    long field;                  /* its number in the line, from 1 */
};

/* Plain data. A channel not logged is NULL. */
struct tune_record {
    size_t n;                              /* rows */
    double rate_hz;                        /* > 0 */
    double start_s;                        /* first time stamp, 0 where there is none */
    double *channel[TUNE_ROLE_COUNT];      /* [n], SI units; the time channel is never kept */
    double delay_samples[TUNE_ROLE_COUNT]; /* as in the map: spectra are advanced by it */
    char column[TUNE_ROLE_COUNT][TUNE_COLUMN_NAME]; /* header text each came from */
    /* si = unit_scale raw + unit_offset, raw as the file has it */
    double unit_scale[TUNE_ROLE_COUNT], unit_offset[TUNE_ROLE_COUNT];
    long field[TUNE_ROLE_COUNT]; /* number of the field in its line, from 1; 0: not logged */
    long header_line;            /* of the file, from 1; 0: not read from one */
    struct tune_near_column near[TUNE_ROLE_COUNT]; /* which may be misspelt; of roles not logged */
    struct tune_repair repair[TUNE_REPAIR_COUNT];
    double
        wrap_period_rad[TUNE_ROLE_COUNT]; /* by which the wraps undone in it go; 0: none undone */
    size_t restarts; /* how often time went back and on from there; else a stamp that runs backwards
                               is a single wrong one, which the stamps after it contradict */
    double stamp_rate_hz;   /* rate the stamps run at; 0: no stamps */
    double stamp_scatter_s; /* rms of stamp - uniform time, gaps and wrong stamps apart */
    size_t n_marks;
    struct tune_row_mark *mark;            /* [n_marks], by rising row: for tune_record_line() */
    char columns_found[TUNE_COLUMNS_TEXT]; /* every column of the header, for messages */
};

/* "position", "torque", ...: the word used in axis.ini and in messages. */
TUNE_API const char *tune_role_name(enum tune_role role);

/* The role whose name is given, or TUNE_ROLE_COUNT. */
TUNE_API enum tune_role tune_role_from_name(const char *name);

/* The unit a text stands for, in the spelling of the header suffixes: "arcsec", "Nm", "[deg]" and the
 * like; NULL where it is no unit of the role. */
TUNE_API const char *tune_role_unit(enum tune_role role, const char *text);

/* "nm, a, v, permille, fraction" and so on: the units of the role, for messages. */
TUNE_API const char *tune_role_units(enum tune_role role);

/* Every map empty with scale 1 and sign 1; all else unknown. */
TUNE_API struct tune_record_opts tune_record_defaults(void);

/* Read a log. Fills *out; release it with tune_record_free(). rate_hz is the stated rate where the stamps
 * keep it within 0.1 % (or there are none), else stamp_rate_hz: see tune_record_require_clock(). Rows
 * that the stamps skip are filled in, rows that are one too many left out, angles that wrap made
 * continuous; repair[] counts it. On failure *out is empty and err names file, line and column (the
 * number of the field in its line, from 1):
 *   TUNE_EIO    not there, or the system refused
 *   TUNE_EDATA  a folder, a pipe, a device, a file that may not be read; malformed, not finite, a unit
 *               without the scale it needs; time stamps that follow no uniform clock: a gap of more than
 *               1 s, more than 1 % of the rows missing, a rate that changes
 *   TUNE_EINVAL an option out of range
 *   TUNE_ENOMEM out of memory */
TUNE_API enum tune_status tune_record_read(struct tune_record *out, const char *path,
                                           const struct tune_record_opts *opts,
                                           struct tune_error *err);

/* The same from bytes in memory (plain or gzip); name stands for the file in messages. */
TUNE_API enum tune_status tune_record_parse(struct tune_record *out, const char *name,
                                            const void *bytes, size_t size,
                                            const struct tune_record_opts *opts,
                                            struct tune_error *err);

/* Is this a file a log can be read from? Refused as tune_record_read() does, without waiting: a pipe
 * would keep whoever opens it to read or hash it. */
TUNE_API enum tune_status tune_record_require_file(const char *path, struct tune_error *err);

/* TUNE_EDATA, naming the file, the missing role, the column that may be it misspelt and the columns found,
 * unless the role was logged. */
TUNE_API enum tune_status tune_record_require(const struct tune_record *rec, enum tune_role role,
                                              const char *path, struct tune_error *err);

/* TUNE_EDATA, with line and column, where the time of the log cannot be relied on: its stamps run at
 * another rate than the stated one (0: none) by more than 0.1 %, or time ran backwards and on from there.
 * err->thing is then the finding, "rate-differs" or "stamps-backward". */
TUNE_API enum tune_status tune_record_require_clock(const struct tune_record *rec,
                                                    double stated_rate_hz, const char *path,
                                                    struct tune_error *err);

/* Does next begin where rec ends: its first stamp one period after the last of rec, within half a period,
 * with the same channels, delays and rate (0.1 %)? Never where there are no stamps or time restarts. */
TUNE_API bool tune_record_continues(const struct tune_record *rec, const struct tune_record *next);

/* Put next, which must continue rec, behind it: the record of one log. Whole turns between the angles of
 * both are taken out; repairs and marks become those of both (lines are those of the file each row came
 * from); rate_hz stays. next is left as it is. TUNE_EINVAL, TUNE_ENOMEM: rec is good as it was. */
TUNE_API enum tune_status
tune_record_append(struct tune_record *rec, const struct tune_record *next, struct tune_error *err);

/* The line of the file a row of the record (from 1) came from; of a row that was filled in, that of the
 * row after the gap. Exact but where more than 256 rows run over several lines of the file (quoted
 * fields with line ends in them). */
TUNE_API long tune_record_line(const struct tune_record *rec, size_t row);

/* Safe on an empty record. */
TUNE_API void tune_record_free(struct tune_record *rec);

#endif
