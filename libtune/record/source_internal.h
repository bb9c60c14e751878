/* source_internal.h - the bytes of a log, from a file or from memory, plain or gzip.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SOURCE_INTERNAL_H
#define TUNE_SOURCE_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

struct record_source;

/* Release either with record_source_close(), which is safe on NULL. path and bytes must outlive the
 * source.
 *   TUNE_EIO   not there, or the system refused
 *   TUNE_EDATA a folder, a pipe, a device, a file that may not be read */
enum tune_status record_source_open(struct record_source **out, const char *path,
                                    struct tune_error *err);
enum tune_status record_source_memory(struct record_source **out, const void *bytes, size_t size,
                                      struct tune_error *err);
void record_source_close(struct record_source *source);

/* Up to size bytes to out; *got = 0 only at the end.
 *   TUNE_EIO    the system could not read on
 *   TUNE_EDATA  gzip data damaged or cut short */
enum tune_status record_source_read(struct record_source *source, char *out, size_t size,
                                    size_t *got, struct tune_error *err);

/* How much of the raw bytes has been used so far, above 0 to 1; 1 where it is not known. */
double record_source_fraction(const struct record_source *source);

#endif
