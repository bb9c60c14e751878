/* health.h - is a log fit for the use it is meant for?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_HEALTH_H
#define TUNE_HEALTH_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/estimate.h"
#include "core/status.h"
#include "record/record.h"

enum tune_verdict { TUNE_FIT, TUNE_WITH_CARE, TUNE_UNFIT };

struct tune_finding {
    char name[32]; /* one of tune_finding_name() */
    enum tune_verdict severity;
    bool too_little;  /* the log tells too little of the axis: nothing need be wrong with it */
    size_t row;       /* first row concerned, from 1; 0: the whole log */
    double time_s;    /* of that row */
    double value;     /* how bad, in the unit said in text */
    char text[200];   /* what was found */
    char advice[200]; /* what to do */
};

enum { TUNE_FINDINGS_MAX = 48 };

enum { TUNE_LINE_ORDERS = 3, TUNE_NOISE_BANDS = 2 };

/* What every log is measured for, whether something is wrong or not. NAN: not measurable in this one. */
struct tune_measures {
    double stamp_rate_hz, stamp_scatter_s; /* of the time stamps; rms about a uniform clock */
    struct tune_estimate noise_rad;        /* white noise on the position, std per sample */
    double step_rad;                       /* grid that the positions lie on */
    struct tune_estimate drift_rad_per_s;  /* of position - target, of the position where none */
    double excited_hz[2];                  /* where torque and position answer the excitation */
    double coherence;                      /* median in that band, by octave */
    struct tune_estimate current_lag_s;    /* of the measured torque behind the command, less
                                            half a row, for which the command is held */
    /* amplitude of the encoder's error of period 1, 1/2, 1/4 of a line, as the log shows it: inside a
     * loop the error is |S| times that of the encoder */
    struct tune_estimate interpolation_rad[TUNE_LINE_ORDERS];
    /* noise of the position during the sweep over that of the quiet log, powers, in
     * tune_noise_band_hz: friction shows there first */
    struct tune_estimate noise_ratio[TUNE_NOISE_BANDS];
};

struct tune_health {
    enum tune_verdict verdict; /* the worst finding's */
    size_t n_findings;
    struct tune_finding finding[TUNE_FINDINGS_MAX];
    struct tune_measures measures;
};

/* The bands of noise_ratio, Hz, and the orders of interpolation_rad, periods per line. */
TUNE_API extern const double tune_noise_band_hz[TUNE_NOISE_BANDS][2];
TUNE_API extern const double tune_line_order[TUNE_LINE_ORDERS];

/* What is known beside the log. All zero: nothing. */
struct tune_health_opts {
    const char *file;              /* of the log, for messages; NULL: not told */
    double torque_limit_nm;        /* 0: unknown */
    double encoder_step_rad;       /* declared; 0: unknown */
    double encoder_lines_per_turn; /* 0: unknown */
    double stated_rate_hz;         /* 0: none stated */
    double jitter_rms_rad;         /* required; 0: unknown */
    double sky_exposure_s;         /* of an image; 0: not stated */
    bool sweep;                    /* an excitation is expected */
    bool at_rest;                  /* the axis is to stand still: a hold */
    bool
        on_target; /* the axis is to keep to its target: a hold, a track, steps; target-missing is told
                       of these and, as no reason for care, of sweeps */
    const struct tune_controller *controller; /* gains active during the log; NULL: unknown */
    const struct tune_record *quiet; /* hold or track log of the same pointing under the same gains;
                                        NULL: none */
};

/* All NAN. */
TUNE_API struct tune_measures tune_health_unmeasured(void);

/* The name of the i-th finding there is, NULL behind the last: for --accept and for documents. */
TUNE_API const char *tune_finding_name(size_t i);

/* Needs position; everything else is judged where logged. */
TUNE_API enum tune_status tune_health_judge(struct tune_health *out, const struct tune_record *rec,
                                            const struct tune_health_opts *opts,
                                            struct tune_error *err);

/* "fit", "with care", "unfit". */
TUNE_API const char *tune_verdict_name(enum tune_verdict verdict);

#endif
