/* verification.h - what `verify` measured in logs under given gains. verify.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_VERIFICATION_H
#define TUNE_VERIFICATION_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "results/identification.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/provenance.h"

enum { TUNE_VERIFIED_TONES = 12 };

/* |S| at one injected tone. As designed where all of its 95 % interval lies within the bounds, not where none
 * does; not sure between. expected: lowest and highest over mode shifts, and over pointings where that of the log
 * was not swept; NAN: not foretold. */
struct tune_verified_tone {
    double f_hz, torque_nm; /* as injected: frequency, amplitude */
    struct tune_estimate sensitivity;
    double expected[2], bounds[2]; /* bounds: 20 % beyond */
    enum tune_tone_verdict {
        TUNE_TONE_NOT_FORETOLD,
        TUNE_TONE_AS_DESIGNED,
        TUNE_TONE_NOT_SURE,
        TUNE_TONE_OFF
    } verdict;
};

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
    bool injected;             /* a signal was: its rms is not that of the axis, and not judged */
    size_t n_tones;
    struct tune_verified_tone tone[TUNE_VERIFIED_TONES];
};

/* Release with tune_verification_free(). */
struct tune_verification {
    struct tune_provenance provenance;
    size_t n_logs;
    struct tune_verified_log *log;
    struct tune_judgements requirement;
    struct tune_notes notes;
};

/* "as designed", "not as designed", ... */
TUNE_API const char *tune_tone_verdict_name(enum tune_tone_verdict verdict);

TUNE_API enum tune_status
tune_verification_json(char **text, const struct tune_verification *result, struct tune_error *err);
TUNE_API enum tune_status tune_verification_parse(struct tune_verification *out, const char *name,
                                                  const char *text, size_t size,
                                                  struct tune_error *err);
TUNE_API void tune_verification_free(struct tune_verification *result);

#endif
