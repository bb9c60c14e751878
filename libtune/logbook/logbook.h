/* logbook.h - axis.ini: one axis in one mechanical configuration, and its logs. docs/formats.md.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOGBOOK_H
#define TUNE_LOGBOOK_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "control/drive_form.h"
#include "core/status.h"
#include "mechanics/gravity.h"
#include "record/record.h"

enum {
    TUNE_PATH_LENGTH = 1024,
    TUNE_TEXT_LENGTH = 128,
    TUNE_NAME_LENGTH = 32,
    TUNE_RATIOS_MAX = 24
};

enum tune_log_kind {
    TUNE_LOG_SWEEP,
    TUNE_LOG_HOLD,
    TUNE_LOG_TRACK,
    TUNE_LOG_STEP,
    TUNE_LOG_TURN,
    TUNE_LOG_RESPONSE,
    /* first motions of a new axis */
    TUNE_LOG_PULSE, /* torque pulses both ways on an axis that is else free */
    TUNE_LOG_MOVE,  /* a move over an angle that an independent instrument measured */
    TUNE_LOG_COAST, /* the drive disabled at speed */
    TUNE_LOG_LOAD,  /* slow moves both ways with a known weight on a known arm, or without it */
    TUNE_LOG_LIMIT, /* a move into a soft limit */
    TUNE_LOG_INDEX, /* passes over the index mark, several, both ways */
    TUNE_LOG_KINDS
};

enum tune_limit_side { TUNE_LIMIT_LOW, TUNE_LIMIT_HIGH };

/* A number not given in the file is NAN, a text empty, unless a default is named. */
struct tune_axis_entry {
    char site[TUNE_TEXT_LENGTH], name[TUNE_TEXT_LENGTH], configuration[TUNE_TEXT_LENGTH],
        date[TUNE_TEXT_LENGTH];
    double latitude_deg;
};

struct tune_drive_entry {
    double loop_rate_hz;   /* required */
    double sample_rate_hz; /* default: loop_rate_hz */
    double torque_per_unit_nm, torque_limit_nm, torque_continuous_nm;
    double encoder_counts_per_turn, encoder_lines_per_turn;
    double travel_limit_deg[2];
    double rate_limit_deg_per_s;
    size_t max_biquads;               /* default 3 */
    char coefficient_format[16];      /* default "float64" */
    double following_error_limit_deg; /* |target - position| at which the drive switches off */
    size_t pole_pairs;                /* of the motor, for one turn of the axis; 0: unknown */
    /* rate of a cascade's position loop, loop_rate_hz (that of the velocity loop, which sets the torque)
     * divided by a whole number; default loop_rate_hz */
    double position_rate_hz;
    struct tune_drive_form form; /* what the drive accepts; default: parallel PID in SI, biquads in
                                    coefficient_format, no limits */
};

/* What the design says of the axis, to be held against first motions. */
struct tune_expected_entry {
    double inertia_kg_m2;
    double inertia_std_kg_m2; /* default: 10 % of the inertia (common practice, no source) */
    double coulomb_nm;
    double stop_room_deg;          /* from a soft limit to the hard stop behind it */
    double index_repeat_arcsec;    /* largest std of the latched position */
    double commutation_offset_deg; /* largest, electrical; default 15: 3.4 % of the torque (common
                                   practice, no source) */
};

struct tune_requirement {
    double jitter_rms_arcsec;
    bool jitter_of_sky; /* jitter_of = sky */
    double phase_margin_deg, gain_margin_db, gain_reduction_margin_db, peak_sensitivity;
    double noise_torque_rms_nm; /* default: 2 % of torque_continuous_nm where that is given */
    double tracking_rate_arcsec_per_s, settle_arcsec, settle_s;
};

/* A payload ratio known from elsewhere (an accelerometer, a model of the structure): that of the mode
 * nearest to f_hz. */
struct tune_payload_ratio {
    double f_hz, ratio;
};

/* How the second sensors of an axis are mounted; NAN: not stated. */
struct tune_payload_sensors {
    double accel_arm_m;     /* from the axis of rotation, negative where the sensor counts against
                               rising angles */
    double accel_arm_std_m; /* default 2 % of the arm (common practice, no source) */
    double sky_exposure_s;  /* each reading of the image is the mean over so long; default 0 */
};

struct tune_log_entry {
    char name[TUNE_NAME_LENGTH + 1], pointing[TUNE_NAME_LENGTH + 1];
    enum tune_log_kind kind;
    bool of_loop;                           /* kind = response, of = loop: the open loop's */
    char file[TUNE_PATH_LENGTH];            /* as written, relative to the logbook */
    char controller_file[TUNE_PATH_LENGTH]; /* empty: the logbook's own gains were active */
    double angle_deg, other_axis_deg;
    char other_axis_state[16]; /* "holding", "braked", "free" */
    /* kind = move: where the move ended minus where it began, by an independent instrument */
    double known_angle_deg;
    double known_angle_std_deg; /* default 0.05 (common practice, no source) */
    /* kind = load */
    double load_kg;            /* 0: the same moves without the weight */
    double load_std_kg;        /* default 0 */
    double load_arm_m;         /* positive: the weight pulls towards positive angles */
    double load_arm_std_m;     /* default 0.002 (common practice, no source) */
    double load_arm_angle_deg; /* arm above (+) or below (-) the horizontal when the axis stands in
                                  the middle of the log; default 0 */
    double
        load_axis_tilt_deg; /* of the axis against the horizontal; tune_log_weight has the default */
    enum tune_limit_side limit_side; /* kind = limit */
    struct tune_record_opts reading; /* column maps, rates and scales for tune_record_read */
    long line;                       /* of its section in axis.ini */
};

/* What can be shifted or added to bring an axis into balance: a mass on a slide, [slide NAME], or a place where
 * weights go, [place NAME]. A shift upwards, or a weight, pulls towards rising angles with cos(angle -
 * angle_deg). */
struct tune_weight_entry {
    char name[TUNE_NAME_LENGTH + 1];
    bool place;          /* else a slide */
    double angle_deg;    /* of the axis, where it pulls hardest */
    double mass_kg;      /* slide */
    double travel_mm[2]; /* slide: left of its way from where it stands, low <= 0 <= high */
    double step_mm;      /* slide: 0: as wanted */
    double arm_m;        /* place: from the axis, above 0 */
    double most_kg;      /* place: free for so much */
    double step_kg;      /* place: weights come in these; 0: as wanted */
};

enum { TUNE_WEIGHTS_MAX = 32 };

/* Plain data except logs. */
struct tune_logbook {
    char folder[TUNE_PATH_LENGTH]; /* as given, without closing slash */
    char ini_path[TUNE_PATH_LENGTH];
    struct tune_axis_entry axis;
    struct tune_drive_entry drive;
    bool has_controller;
    struct tune_controller controller;
    struct tune_requirement requirement;
    struct tune_expected_entry expected;
    /* optional section [payload]: ratio1_hz = 14.8, ratio1 = -3.3, ratio2_hz ... without a gap */
    size_t n_payload_ratios;
    struct tune_payload_ratio payload_ratio[TUNE_RATIOS_MAX];
    struct tune_payload_sensors payload_sensors; /* of the same section */
    size_t n_weights;
    struct tune_weight_entry weight[TUNE_WEIGHTS_MAX];
    size_t n_logs;
    struct tune_log_entry *log;
};

/* A file that is a pattern (logs/buf-*.csv, glob(3) of POSIX) makes many logs of one section: NAME.1,
 * NAME.2, ..., in rising order of the numbers in their file names, all of the section's pointing.
 * path: the folder or its axis.ini. Release with tune_logbook_free(). On failure *out is empty.
 * A value may stand in double quotes ("" for a quote inside); ; behind a space starts a comment; a line
 * holds at most 198 bytes before its comment.
 *   TUNE_EIO    not there or not readable
 *   TUNE_EDATA  unknown, repeated, malformed or out-of-range section or key: err has file, line, column
 *               (of the character), key (thing), value and what was expected (limit)
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_logbook_read(struct tune_logbook *out, const char *path,
                                            struct tune_error *err);

/* The same from text in memory; name stands for the file in messages. Patterns are left as they are. */
TUNE_API enum tune_status tune_logbook_parse(struct tune_logbook *out, const char *name,
                                             const char *text, size_t size, struct tune_error *err);

/* The folder joined with a path of the logbook (absolute paths stay). TUNE_EINVAL when too long. */
TUNE_API enum tune_status tune_logbook_join(char out[TUNE_PATH_LENGTH],
                                            const struct tune_logbook *logbook, const char *path,
                                            struct tune_error *err);

TUNE_API const char *tune_log_kind_name(enum tune_log_kind kind);

/* The weight of a load log. Gravity is normal gravity at the site's latitude, standard gravity where that
 * is not given. The axis is inclined as the log says, else by its name: azimuth upright, hour-angle by
 * the latitude, the others level. The tilt is NAN for an hour angle without latitude. */
TUNE_API struct tune_weight tune_log_weight(const struct tune_axis_entry *axis,
                                            const struct tune_log_entry *log);

/* The axis against the horizontal, rad, by its name as above, and gravity at the site. */
TUNE_API double tune_axis_tilt(const struct tune_axis_entry *axis);
TUNE_API double tune_axis_gravity(const struct tune_axis_entry *axis);

TUNE_API void tune_logbook_free(struct tune_logbook *logbook);

/* ---- controller files: one section [controller], keys as in axis.ini -----------------------------*/

/* TUNE_EDATA: malformed as for axis.ini, no gain above 0, a filter above half the loop rate; TUNE_EIO,
 * TUNE_ENOMEM. */
TUNE_API enum tune_status tune_controller_read(struct tune_controller *out, const char *path,
                                               double loop_rate_hz, struct tune_error *err);

/* The same from text in memory; name stands for the file in messages. */
TUNE_API enum tune_status tune_controller_parse(struct tune_controller *out, const char *name,
                                                const char *text, size_t size, double loop_rate_hz,
                                                struct tune_error *err);

/* The text of a controller file, with the comment lines given (each line starting "; "; may be NULL).
 * Up to 17 significant digits: reading it back gives the same numbers. The caller frees *text.
 * TUNE_EINVAL: a controller that tune_controller_check refuses, a comment line without "; ". */
TUNE_API enum tune_status tune_controller_text(char **text,
                                               const struct tune_controller *controller,
                                               const char *comment, struct tune_error *err);

#endif
