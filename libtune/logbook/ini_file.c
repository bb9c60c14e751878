/* ini_file.c - a whole small file into memory.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "logbook/ini_internal.h"

enum { FILE_MAX = 1 << 20 };

static enum tune_status read_all(char **text, size_t *size, FILE *file, struct tune_error *err)
{
    *text = malloc(FILE_MAX + 1);
    if (!*text) return tune_error_memory(err, "reading a file");
    *size = fread(*text, 1, FILE_MAX + 1, file);
    if (ferror(file)) return tune_error_set(err, TUNE_EIO, "cannot read: %s", strerror(errno));
    if (*size > FILE_MAX)
        return tune_error_set(err, TUNE_EDATA,
                              "the file is larger than 1 MiB: it cannot be an ini file");
    return TUNE_OK;
}

enum tune_status ini_read_file(char **text, size_t *size, const char *path, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    struct stat info;
    FILE *file = NULL;
    *text = NULL;
    if (stat(path, &info) != 0)
        status = tune_error_set(err, TUNE_EIO, "cannot open: %s", strerror(errno));
    else if (!S_ISREG(info.st_mode))
        status = tune_error_set(err, TUNE_EIO, "this is not a regular file");
    else if (!(file = fopen(path, "rb")))
        status = tune_error_set(err, TUNE_EIO, "cannot open: %s", strerror(errno));
    if (status == TUNE_OK) status = read_all(text, size, file, err);
    if (file) (void)fclose(file);
    if (status != TUNE_OK) {
        (void)tune_error_place(err, path, 0, 0);
        free(*text);
        *text = NULL;
    }
    return status;
}
