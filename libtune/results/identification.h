/* identification.h - what `identify` found: the plant at every pointing, with its uncertainty.
 * identify.json; the frequency responses and the fitted models lie beside it as CSV.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFICATION_H
#define TUNE_IDENTIFICATION_H

#include <stdbool.h>
#include <stddef.h>

#include "compare/tracks.h"
#include "core/status.h"
#include "health/mode_verdict.h"
#include "logbook/logbook.h"
#include "plant/cross.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "plant/sensor.h"
#include "plant/unseen.h"
#include "plant/levels.h"
#include "results/identification_tables.h"
#include "results/notes.h"
#include "results/provenance.h"

enum { TUNE_RESULT_FILE = 64 };

/* A file of the output folder and its hash. */
struct tune_result_file {
    char name[TUNE_RESULT_FILE]; /* empty: there is none */
    char sha256[TUNE_SHA256_TEXT];
};

/* The other axis of the mount, where its angle was logged during the sweeps. */
struct tune_pointing_cross {
    bool logged;
    struct tune_result_file file; /* cross-<name>.csv */
    struct tune_cross cross;
    bool matters;
    char why[320];
};

struct tune_pointing_plant {
    char name[TUNE_NAME_LENGTH + 1];
    double angle_deg;                /* NAN: not stated */
    double other_axis_deg;           /* NAN: not stated */
    enum tune_other_axis other_axis; /* what it was doing */
    size_t n_logs;                   /* sweeps, or tables, it was estimated from */
    /* the frequency response */
    struct tune_result_file frf_file, model_file; /* frf-<name>.csv, model-<name>.csv */
    struct tune_result_file
        assisted_file; /* assisted-<name>.csv: the response with the fit's help */
    double assisted_band_hz[2];
    struct tune_result_file plant_file; /* plant-<name>.json */
    size_t bins;
    double band_hz[2];
    enum tune_frf_estimator estimator;
    bool closed_loop;
    double median_coherence;
    double torque_rms_nm;       /* of the plant input over the sweeps; NAN: from tables */
    double sensor_noise_arcsec; /* white part of the position, std per sample: its spectrum above
                                   0.3 of the sample rate, where no plant answers; NAN: from
                                   tables */
    /* the fit; every mode of fit.plant, those out of band too (fit.out_of_band) */
    struct tune_fit fit;
    /* The second sensor; kind TUNE_PAYLOAD_UNKNOWN: there was none, or it told nothing. Its ratios stand in
     * fit.plant, too. covariance is NULL, n 0. */
    struct tune_sensor sensor;
    struct tune_unseen unseen;
    struct tune_levels levels;     /* the records against each other */
    struct tune_mode_verdict body; /* on inertia, viscous friction and delay */
    struct tune_mode_verdict verdict[TUNE_MODES_MAX];
    struct tune_pointing_cross cross;
};

/* Release with tune_identification_free(). */
struct tune_identification {
    struct tune_provenance provenance;
    size_t n_pointings;
    struct tune_pointing_plant *pointing; /* in the order of the logbook; those from tables last */
    size_t n_tables;
    struct tune_measured_table *table; /* [n_tables] in the order of the logbook */
    /* over the pointings; n_pointings = 0 where there is one pointing only. Track k is "mode k + 1" */
    struct tune_tracks tracks;
    char interpolation_text[512], next_text[512]; /* sentences; empty: nothing to say */
    struct tune_notes left_out; /* logs and pointings that tell too little, and why */
    struct tune_notes accepted; /* unfit logs used all the same, and what is wrong with them */
    struct tune_notes notes;    /* assumed signs and scales, doubts */
};

/* "unknown", "holding", "braked", "free". */
TUNE_API const char *tune_other_axis_name(enum tune_other_axis state);

/* The text of identify.json; the caller frees *text. */
TUNE_API enum tune_status tune_identification_json(char **text,
                                                   const struct tune_identification *result,
                                                   struct tune_error *err);

/* The other way. TUNE_EDATA names what is missing or of the wrong kind; name stands for the file. */
TUNE_API enum tune_status tune_identification_parse(struct tune_identification *out,
                                                    const char *name, const char *text, size_t size,
                                                    struct tune_error *err);

TUNE_API void tune_identification_free(struct tune_identification *result);

#endif
