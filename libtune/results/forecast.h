/* forecast.h - what `predict` foretells: jitter by pointing, source and frequency.
 * predict.json; the spectra of the worst pointing lie beside it in jitter.csv.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FORECAST_H
#define TUNE_FORECAST_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/estimate.h"
#include "core/status.h"
#include "results/identification.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/proposal.h"
#include "results/provenance.h"

enum { TUNE_FORECAST_SOURCES = 3 };

struct tune_forecast_source {
    char name[32];
    double rms_arcsec; /* in quadrature they make the true rms */
};

struct tune_pointing_forecast {
    char pointing[TUNE_NAME_LENGTH + 1];
    struct tune_estimate true_rms_arcsec;     /* what the axis does */
    struct tune_estimate measured_rms_arcsec; /* what the encoder log shows */
    double interval_95_arcsec[2];             /* of the measured one */
    double sky_rms_arcsec;      /* what the payload does; NAN: no payload ratio known or assumed */
    double unseen_twist_arcsec; /* part of sky no controller of the encoder can remove */
    struct tune_forecast_source source[TUNE_FORECAST_SOURCES];
};

/* Release with tune_forecast_free(). */
struct tune_forecast {
    struct tune_provenance provenance;
    char controller_source[TUNE_INPUT_PATH]; /* "results/controller.ini", "axis.ini", ... */
    struct tune_controller controller;
    struct tune_disturbance_summary disturbance;
    char payload[16]; /* as in the proposal */
    bool jitter_of_sky;
    size_t n_pointings;
    struct tune_pointing_forecast *pointing;
    size_t worst;                     /* index, by the signal jitter_of names */
    struct tune_result_file spectrum; /* jitter.csv */
    struct tune_judgements requirement;
    struct tune_notes notes, cautions;
};

TUNE_API enum tune_status tune_forecast_json(char **text, const struct tune_forecast *result,
                                             struct tune_error *err);
TUNE_API enum tune_status tune_forecast_parse(struct tune_forecast *out, const char *name,
                                              const char *text, size_t size,
                                              struct tune_error *err);
TUNE_API void tune_forecast_free(struct tune_forecast *result);

#endif
