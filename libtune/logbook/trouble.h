/* trouble.h - how a simulated log is written, and what is to be wrong with it.
 *
 * Every trouble here is one that inspect has a finding for. Those of the axis and its drive act while the
 * log is simulated; those of the recorder change what is written. All zero: the usual columns, no trouble.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TROUBLE_H
#define TUNE_TROUBLE_H

#include <stdbool.h>
#include <stddef.h>

#include "record/record.h"
#include "simulation/axis.h"

/* What another recorder would write: no trouble, but to be read all the same. */
struct tune_log_format {
    char time_unit[TUNE_UNIT_NAME];   /* s, ms, us, none: no such column; empty: s */
    char angle_unit[TUNE_UNIT_NAME];  /* of position and target; empty: arcsec */
    char torque_unit[TUNE_UNIT_NAME]; /* of torque, excitation, measured torque; empty: nm */
    char separator, mark;             /* 0: comma, point */
    size_t heading_rows;              /* rows of the recorder's own above the header */
    bool units_row;                   /* units in a row under the header, not in the names */
    bool drive_names;                 /* columns named as a drive does; axis.ini then maps them */
    bool plain;                       /* not packed */
};

enum tune_measured { TUNE_MEASURED_NONE, TUNE_MEASURED_INSTEAD, TUNE_MEASURED_BESIDE };
enum tune_flipped { TUNE_FLIPPED_NONE, TUNE_FLIPPED_TORQUE, TUNE_FLIPPED_ALL };

struct tune_trouble {
    /* the clock of the recorder: stamps, s */
    double rate_ppm;        /* its stamps run fast by that */
    double stamp_scatter_s; /* std of each stamp */
    double stamp_step_s;    /* stamps are multiples of that */
    double backward_s;      /* stamps go back by that */
    double backward_at_s;   /* from here on, */
    size_t backward_rows;   /* for so many rows; 0: to the end */
    /* its rows */
    size_t missing_rows, repeated_rows, repeated_stamps;
    double missing_at_s, repeated_at_s;
    size_t rows; /* no more than so many; 0: all */
    bool unreadable;
    double unreadable_at_s; /* no number stands here */
    /* its columns; TUNE_ROLE_TIME: none */
    enum tune_role dead, stuck, skew;
    double stuck_s, stuck_at_s;
    double skew_samples; /* whole; > 0: the column is late */
    bool no_target;
    /* torque */
    double torque_scale;       /* all torques are written so many times too large; 0: as they are */
    enum tune_flipped flipped; /* written with the other sign: torque and measured torque, or all */
    enum tune_measured measured; /* instead of the command, or in a column of its own */
    double measured_lag_s, measured_noise_nm; /* first-order lag of the current loop, noise (std) */
    /* position, as written */
    size_t glitches;
    double glitch_rad;
    double position_step_rad, drift_rad_per_s;
    bool float32;          /* through single precision, in the unit of the column */
    double position_scale; /* 0: 1 */
    double wrap_rad;       /* period; 0: none. Values from 0 up to it, */
    bool wrap_signed;      /* or from minus half of it up to half */
    /* in the simulation */
    double saturation_nm;     /* the drive gives no more than that; 0: as [drive] says */
    double encoder_noise_rad; /* in place of that of [disturbance]; 0: that */
    double interpolation_rad[TUNE_INTERPOLATION_ORDERS];
    bool excitation_scaled;
    double excitation_scale; /* of the injected torque, where scaled */
    double sweep_to_hz;      /* the sweep ends here; 0: where it should */
};

#endif
