/* simulated_columns_internal.h - the columns of a simulated log, in the names and units of its recorder.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SIMULATED_COLUMNS_INTERNAL_H
#define TUNE_SIMULATED_COLUMNS_INTERNAL_H

#include "chain/log_writer_internal.h"
#include "chain/simulated_trouble_internal.h"

/* Write what is there of the columns of log to path (with the ending of the format). */
enum tune_status chain_write_columns(const char *path, const struct written_log *log,
                                     const struct tune_log_format *format,
                                     const struct tune_drive_entry *drive, struct tune_error *err);

/* ".csv" or ".csv.gz" */
const char *chain_columns_ending(const struct tune_log_format *format);

/* Raw units of the position column per rad. */
double chain_position_per_rad(const struct tune_log_format *format,
                              const struct tune_drive_entry *drive);

/* The lines of the log's section in axis.ini that name its columns and their units, empty where the usual
 * names say all; 600 bytes are enough. Returns their length. */
size_t chain_columns_mapping(char *text, size_t size, const struct tune_simulated_log *log);

#endif
