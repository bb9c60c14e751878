/* description.h - what `simulate` is to build: a description file of a simulated axis and its logs.
 * docs/formats.md. [axis], [drive], [controller], [requirement], [expected] as in axis.ini, then [plant],
 * [friction], [balance], [disturbance], [coupling], [sensors], [mismatch], [pointing NAME]..., [log NAME]...
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESCRIPTION_H
#define TUNE_DESCRIPTION_H

#include <stddef.h>
#include <stdint.h>

#include "core/status.h"
#include "excite/sweep.h"
#include "logbook/logbook.h"
#include "logbook/trouble.h"
#include "simulation/axis.h"
#include "simulation/drive.h"

struct tune_pointing_entry {
    char name[TUNE_NAME_LENGTH + 1];
    double angle_deg;
    double inertia_factor;              /* J at this pointing / J of [plant]; default 1 */
    double mode_factor[TUNE_MODES_MAX]; /* frequency of each mode / that of [plant]; default 1 */
};

/* What is done in a log of a first motion or a slow turn, and what the logbook is to say of it; what a kind does not use
 * is 0. The motion starts at the pointing's angle, that of a load or index log is centred on it. */
struct tune_simulated_motion {
    double speed_rad_per_s; /* > 0; of a coast with its sign */
    double
        acceleration_rad_per_s2; /* default: of 5 % of the torque limit, 1 degree/s^2 without one */
    double way_rad;              /* move (signed); turn, load, index: there and back */
    bool by_hand;                /* move: turned by hand, drive disabled */
    double jump_rad;             /* move, limit: the target jumps back by that at the end */
    double pulse_nm, pulse_s, gap_s;
    size_t pulses; /* pairs of pulses, one each way */
    double coast_s;
    double beyond_rad; /* limit: the target goes that much beyond it */
    size_t passes;     /* turn, index */
    double index_rad;
    /* as stated; the true ones scatter about them by their std */
    double known_angle_std_deg, load_kg, load_std_kg, load_arm_m, load_arm_std_m;
    double load_arm_angle_deg;
    double load_axis_tilt_deg; /* NAN: as the axis is named */
    enum tune_limit_side limit_side;
};

/* [sensors]: second sensors on the payload, logged in every sweep, hold and track. */
struct tune_simulated_sensors {
    bool load_encoder, accelerometer;
    double load_noise_rad; /* white, std per sample */
    double accel_arm_m;    /* negative: counts against rising angles */
    double accel_noise_m_per_s2_per_rthz;
};

/* A table of responses: exact values of the model with noise, no run of the axis. */
struct tune_simulated_response {
    size_t points; /* spaced by ratio */
    double from_hz, to_hz;
    bool of_loop;
    double noise; /* sqrt(E |error|^2), relative to the response */
    enum { TUNE_TELL_STD, TUNE_TELL_COHERENCE, TUNE_TELL_NOTHING } tell; /* of the noise */
};

enum { TUNE_SIMULATED_TONES = 3 };

struct tune_simulated_log {
    char name[TUNE_NAME_LENGTH + 1];
    enum tune_log_kind kind; /* sweep, hold, track, response or a first motion */
    size_t pointing;         /* index */
    double ramp_rad_per_s;   /* target speed during the log */
    double duration_s;       /* hold, track; of a sweep without its quiet ends */
    struct tune_sweep sweep; /* sweep; with the inertia at the pointing */
    size_t
        n_tones; /* hold, track: one after the other, each as long as the quiet part before them */
    double tone_hz[TUNE_SIMULATED_TONES], tone_nm[TUNE_SIMULATED_TONES];
    bool log_sky;                        /* also write sky_arcsec */
    bool log_load, log_accel;            /* also write load_position, payload_accel: [sensors] */
    bool log_other;                      /* also write other_position_arcsec: [coupling] is there */
    struct tune_simulated_motion motion; /* first motions */
    struct tune_simulated_response response;
    struct tune_log_format format; /* these two of sweep, hold and track only */
    struct tune_trouble trouble;
};

/* Plain data except the arrays. */
struct tune_description {
    struct tune_logbook logbook; /* [axis] [drive] [controller] [requirement] [expected]; no logs */
    struct tune_axis axis;       /* the truth, with the factors of mismatch */
    struct tune_mismatch mismatch;
    struct tune_simulated_sensors sensors;
    double known_angle_error_rad; /* what known angles are read too large */
    uint64_t seed;
    size_t n_pointings;
    struct tune_pointing_entry *pointing;
    size_t n_logs;
    struct tune_simulated_log *log;
};

/* Release with tune_description_free(). On failure *out is empty.
 *   TUNE_EIO    not there or not readable
 *   TUNE_EDATA  as for axis.ini; modes not rising, a log of an unknown pointing, keys of one kind of log
 *               in another
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_description_read(struct tune_description *out, const char *path,
                                                struct tune_error *err);

/* The same from text in memory; name stands for the file in messages. */
TUNE_API enum tune_status tune_description_parse(struct tune_description *out, const char *name,
                                                 const char *text, size_t size,
                                                 struct tune_error *err);

/* The axis as it is at one pointing. */
TUNE_API struct tune_axis tune_description_axis(const struct tune_description *description,
                                                size_t pointing);

/* A slow turn: from half its way below the pointing's angle up and down again at constant speed, passes times,
 * with a rest at each end. Its duration, and the target at a time within it, from the pointing's angle. */
TUNE_API double tune_turn_seconds(const struct tune_simulated_motion *turn);
TUNE_API double tune_turn_target(const struct tune_simulated_motion *turn, double time_s);

/* Is it the log of a first motion? */
TUNE_API bool tune_log_is_motion(enum tune_log_kind kind);

TUNE_API void tune_description_free(struct tune_description *description);

#endif
