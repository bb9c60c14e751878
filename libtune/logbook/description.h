/* description.h - what `simulate` is to build: a description file of a simulated axis and its logs.
 * docs/formats.md. [axis], [drive], [controller], [requirement], [expected] as in axis.ini, then [plant],
 * [friction], [disturbance], [pointing NAME]..., [log NAME]...
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

struct tune_pointing_entry {
    char name[TUNE_NAME_LENGTH + 1];
    double angle_deg;
    double inertia_factor;              /* J at this pointing / J of [plant]; default 1 */
    double mode_factor[TUNE_MODES_MAX]; /* frequency of each mode / that of [plant]; default 1 */
};

struct tune_simulated_log {
    char name[TUNE_NAME_LENGTH + 1];
    enum tune_log_kind kind; /* sweep, hold or track */
    size_t pointing;         /* index */
    double ramp_rad_per_s;   /* target speed during the log */
    double duration_s;       /* hold, track; of a sweep without its quiet ends */
    struct tune_sweep sweep; /* sweep; with the inertia at the pointing */
    bool log_sky;            /* also write sky_arcsec */
    struct tune_log_format format;
    struct tune_trouble trouble;
};

/* Plain data except the arrays. */
struct tune_description {
    struct tune_logbook logbook; /* [axis] [drive] [controller] [requirement] [expected]; no logs */
    struct tune_axis axis;       /* the truth */
    uint64_t seed;
    size_t n_pointings;
    struct tune_pointing_entry *pointing;
    size_t n_logs;
    struct tune_simulated_log *log;
};

/* Release with tune_description_free(). On failure *out is empty.
 *   TUNE_EIO    not there or not readable
 *   TUNE_EDATA  as for axis.ini; modes not rising, a log of an unknown pointing, keys of a sweep elsewhere
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

TUNE_API void tune_description_free(struct tune_description *description);

#endif
