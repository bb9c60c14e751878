/* inspection.h - what `inspect` found in the logs. inspect.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INSPECTION_H
#define TUNE_INSPECTION_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "health/health.h"
#include "logbook/logbook.h"
#include "record/record.h"
#include "results/notes.h"
#include "results/provenance.h"

struct tune_inspected_log {
    char name[TUNE_NAME_LENGTH + 1], pointing[TUNE_NAME_LENGTH + 1];
    char last[TUNE_NAME_LENGTH +
              1]; /* of the logs that go on from this one and are judged with it; its
                                        own name where there is none */
    enum tune_log_kind kind;
    size_t rows; /* 0: could not be read; the findings say why */
    double rate_hz, duration_s;
    bool channel[TUNE_ROLE_COUNT];                  /* which roles were logged */
    char column[TUNE_ROLE_COUNT][TUNE_COLUMN_NAME]; /* header text each came from */
    char unit[TUNE_ROLE_COUNT][TUNE_UNIT_NAME];     /* empty: that of the units row */
    double error_rms_arcsec; /* hold and track: position - target about a straight line; NAN else */
    bool of_loop;            /* a table of responses: of the open loop, else of the plant */
    double band_hz[2];       /* its lowest and highest frequency; NAN for all other kinds */
    struct tune_health health;
};

/* Release with tune_inspection_free(). */
struct tune_inspection {
    struct tune_provenance provenance;
    size_t n_logs;
    struct tune_inspected_log *log;
    enum tune_verdict verdict; /* the worst log's */
    struct tune_notes notes;
};

TUNE_API enum tune_status tune_inspection_json(char **text, const struct tune_inspection *result,
                                               struct tune_error *err);
TUNE_API enum tune_status tune_inspection_parse(struct tune_inspection *out, const char *name,
                                                const char *text, size_t size,
                                                struct tune_error *err);
TUNE_API void tune_inspection_free(struct tune_inspection *result);

#endif
