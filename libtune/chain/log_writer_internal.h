/* log_writer_internal.h - a simulated log as a compressed CSV file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LOG_WRITER_INTERNAL_H
#define TUNE_LOG_WRITER_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

/* Columns of one log, each [n]; sky_rad NULL: not written. */
struct simulated_columns {
    size_t n;
    double rate_hz;
    const double *excitation_nm, *torque_nm, *position_rad, *target_rad, *sky_rad;
};

/* Write path (.csv.gz) whole or not at all. The bytes depend on the columns alone. */
enum tune_status chain_write_log(const char *path, const struct simulated_columns *columns,
                                 struct tune_error *err);

#endif
