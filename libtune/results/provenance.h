/* provenance.h - what a result was made from, and by what: enough to tell whether it is still fresh.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PROVENANCE_H
#define TUNE_PROVENANCE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/sha256.h"
#include "core/status.h"

enum { TUNE_INPUT_PATH = 256, TUNE_OPTION_NAME = 48, TUNE_OPTION_TEXT = 160, TUNE_WHY = 320 };

/* Kind of a result and its age: the number rises when a member changes its meaning. */
#define TUNE_SCHEMA_INSPECT  "quietaxis-inspect-2"
#define TUNE_SCHEMA_PRECHECK "quietaxis-precheck-1"
#define TUNE_SCHEMA_BALANCE  "quietaxis-balance-1"
#define TUNE_SCHEMA_IDENTIFY "quietaxis-identify-5"
#define TUNE_SCHEMA_DESIGN   "quietaxis-design-4"
#define TUNE_SCHEMA_PREDICT  "quietaxis-predict-1"
#define TUNE_SCHEMA_VERIFY   "quietaxis-verify-2"
#define TUNE_SCHEMA_TRUTH    "quietaxis-truth-1"

struct tune_input {
    char path[TUNE_INPUT_PATH]; /* relative to the logbook; outside of it the bare file name */
    char sha256[TUNE_SHA256_TEXT];
    size_t rows; /* of a log; 0: not a table */
};

struct tune_option {
    char name[TUNE_OPTION_NAME];
    char value[TUNE_OPTION_TEXT];
};

/* Plain data except the arrays. */
struct tune_provenance {
    char schema[32];
    char tool_name[32], tool_version[32];
    char logbook[400]; /* site, axis and configuration as the logbook states them */
    size_t n_inputs;
    struct tune_input *input; /* in the order of the logbook */
    size_t n_options;
    struct tune_option *option;
};

/* Version of the library and the program. */
TUNE_API const char *tune_version(void);

/* Empty, with schema, tool and logbook set. */
TUNE_API void tune_provenance_start(struct tune_provenance *out, const char *schema,
                                    const char *logbook);

TUNE_API enum tune_status tune_provenance_add_input(struct tune_provenance *provenance,
                                                    const char *relative_path, const char *sha256,
                                                    size_t rows, struct tune_error *err);

TUNE_API enum tune_status tune_provenance_add_option(struct tune_provenance *provenance,
                                                     struct tune_error *err, const char *name,
                                                     const char *format, ...) TUNE_PRINTF(4, 5);

/* Schema, version, options and input hashes agree. Where not, why[TUNE_WHY] says what differs, as the
 * end of a sentence ("logs/east.csv has changed"). Rows are not compared, the hash covers them; nor is
 * axis.ini as a whole: the values of it that entered stand among the options. */
TUNE_API bool tune_provenance_same(const struct tune_provenance *earlier,
                                   const struct tune_provenance *now, char why[TUNE_WHY]);

/* Does the option stand there with this value? */
TUNE_API bool tune_provenance_says(const struct tune_provenance *provenance, const char *option,
                                   const char *value);

TUNE_API void tune_provenance_free(struct tune_provenance *provenance);

#endif
