/* sha256.h - the hash that ties a result to the files it was made from.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SHA256_H
#define TUNE_SHA256_H

#include <stddef.h>

#include "core/status.h"

enum { TUNE_SHA256_TEXT = 65 }; /* 64 hexadecimal digits and the closing zero */

TUNE_API void tune_sha256_bytes(char text[TUNE_SHA256_TEXT], const void *bytes, size_t size);

/* Of a whole file as it lies on disk. TUNE_EIO when it cannot be read. */
TUNE_API enum tune_status tune_sha256_file(char text[TUNE_SHA256_TEXT], const char *path,
                                           struct tune_error *err);

#endif
