/* file.h - files written whole or not at all.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FILE_H
#define TUNE_FILE_H

#include <stddef.h>

#include "core/status.h"

/* Write bytes to path: into a new file of the same folder first, then moved over path in one step, so
 * that a reader sees the old content or the new, never a part. TUNE_EIO leaves path as it was and
 * nothing behind. */
TUNE_API enum tune_status tune_file_write(const char *path, const void *bytes, size_t size,
                                          struct tune_error *err);

/* Read a whole file, zero-terminated (size does not count the zero). The caller frees *bytes.
 * TUNE_EIO, TUNE_ENOMEM. */
TUNE_API enum tune_status tune_file_read(char **bytes, size_t *size, const char *path,
                                         struct tune_error *err);

/* Could the folder be made, or be written into if it is there? Nothing is made: a look before long work.
 * TUNE_EIO, TUNE_EINVAL as tune_folder_make(). */
TUNE_API enum tune_status tune_folder_check(const char *path, struct tune_error *err);

/* Make a folder and those above it; one that is there already is good. */
TUNE_API enum tune_status tune_folder_make(const char *path, struct tune_error *err);

/* Keep other programs of ours from writing into the folder until released. Waits up to wait_s; then
 * TUNE_EIO. *lock is what tune_folder_release() takes. Where the file system knows no locks there is
 * none, and single files are still whole. */
TUNE_API enum tune_status tune_folder_lock(int *lock, const char *folder, double wait_s,
                                           struct tune_error *err);
TUNE_API void tune_folder_release(int lock);

#endif
