/* verification.h - what `verify` measured in logs under given gains. verify.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_VERIFICATION_H
#define TUNE_VERIFICATION_H

#include <stddef.h>

#include "core/status.h"
#include "results/identification.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/provenance.h"

struct tune_verified_log {
    char name[TUNE_NAME_LENGTH + 1], pointing[TUNE_NAME_LENGTH + 1];
    enum tune_log_kind kind;
    char controller_source[TUNE_INPUT_PATH]; /* whose gains the prediction is for; empty: none */
    double duration_s;
    double
        measured_rms_arcsec; /* position - target, after a straight line is removed; NAN in a step */
    double sky_rms_arcsec;   /* of the sky channel likewise; NAN: not logged */
    double predicted_rms_arcsec; /* of the encoder; NAN: could not be predicted */
    double predicted_interval_95_arcsec[2];
    double drift_arcsec_per_s; /* position - target */
    double peak_arcsec;        /* largest distance from the straight line */
    double settle_s;           /* steps: INFINITY when it never settles; NAN in other logs */
};

/* Release with tune_verification_free(). */
struct tune_verification {
    struct tune_provenance provenance;
    size_t n_logs;
    struct tune_verified_log *log;
    struct tune_judgements requirement;
    struct tune_notes notes;
};

TUNE_API enum tune_status
tune_verification_json(char **text, const struct tune_verification *result, struct tune_error *err);
TUNE_API enum tune_status tune_verification_parse(struct tune_verification *out, const char *name,
                                                  const char *text, size_t size,
                                                  struct tune_error *err);
TUNE_API void tune_verification_free(struct tune_verification *result);

#endif
