/* source.c - the bytes of a log, from a file or from memory, plain or gzip.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/source_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#define ZLIB_CONST /* zlib reads its input only */
#include <zlib.h>

#include "record/record.h"

enum { BLOCK = 65536 };

struct record_source {
    int file;                  /* -1: from memory */
    size_t size, taken;        /* of the file or the memory; bytes of it taken in */
    const unsigned char *rest; /* memory not yet taken */
    size_t rest_size;
    unsigned char *block; /* raw bytes of a file */
    const unsigned char *raw;
    size_t raw_size; /* bytes taken in and not yet used */
    bool begun, gzip, member_open;
    z_stream inflater;
};

/* A log that is not there is a fault of the system or of a path; one that is there and cannot be a log,
 * or may not be read, is unusable data. */
static enum tune_status refuse_open(int code, struct tune_error *err)
{
    if (code == EACCES || code == EPERM)
        return tune_error_set(err, TUNE_EDATA,
                              "the log may not be read (%s): change the rights of the file or of "
                              "its folder",
                              strerror(code));
    if (code == ENXIO) /* a socket cannot even be opened */
        return tune_error_set(err, TUNE_EDATA, "this is no file: save the log to a file first");
    return tune_error_set(err, TUNE_EIO, "cannot open the log: %s", strerror(code));
}

/* A pipe can neither be hashed and read again nor may it be waited for. */
static enum tune_status refuse_kind(mode_t mode, struct tune_error *err)
{
    if (S_ISDIR(mode))
        return tune_error_set(err, TUNE_EDATA, "this is a folder: name a log file in it");
    return tune_error_set(err, TUNE_EDATA, "this is a %s, not a file: save the log to a file first",
                          S_ISFIFO(mode) ? "pipe" : "device");
}

static enum tune_status open_regular(struct record_source *source, const char *path,
                                     struct tune_error *err)
{
    struct stat info;
    source->file = open(path, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (source->file < 0) return refuse_open(errno, err);
    if (fstat(source->file, &info) != 0) return refuse_open(errno, err);
    if (!S_ISREG(info.st_mode)) return refuse_kind(info.st_mode, err);
    source->size = (size_t)info.st_size;
    return TUNE_OK;
}

enum tune_status record_source_open(struct record_source **out, const char *path,
                                    struct tune_error *err)
{
    struct record_source *source = calloc(1, sizeof *source);
    enum tune_status status = TUNE_OK;
    *out = NULL;
    if (!source) return tune_error_memory(err, "opening a log");
    source->file = -1;
    source->block = malloc(BLOCK);
    if (!source->block)
        status = tune_error_memory(err, "opening a log");
    else
        status = open_regular(source, path, err);
    if (status != TUNE_OK)
        record_source_close(source);
    else
        *out = source;
    return status;
}

enum tune_status tune_record_require_file(const char *path, struct tune_error *err)
{
    struct record_source *source;
    const enum tune_status status = record_source_open(&source, path, err);
    record_source_close(source);
    if (status != TUNE_OK) (void)tune_error_place(err, path, 0, 0);
    return status;
}

enum tune_status record_source_memory(struct record_source **out, const void *bytes, size_t size,
                                      struct tune_error *err)
{
    struct record_source *source = calloc(1, sizeof *source);
    *out = source;
    if (!source) return tune_error_memory(err, "opening a log");
    source->file = -1;
    source->rest = bytes;
    source->rest_size = source->size = size;
    return TUNE_OK;
}

void record_source_close(struct record_source *source)
{
    if (!source) return;
    if (source->gzip) (void)inflateEnd(&source->inflater);
    if (source->file >= 0) (void)close(source->file);
    free(source->block);
    free(source);
}

static enum tune_status read_file(struct record_source *source, void *out, size_t size, size_t *got,
                                  struct tune_error *err)
{
    ssize_t count;
    do {
        count = read(source->file, out, size);
    } while (count < 0 && errno == EINTR);
    *got = count > 0 ? (size_t)count : 0;
    source->taken += *got;
    if (count >= 0) return TUNE_OK;
    return tune_error_set(err, TUNE_EIO, "cannot read the log: %s", strerror(errno));
}

/* Take in raw bytes when none are left; raw_size stays 0 at the end. */
static enum tune_status refill(struct record_source *source, struct tune_error *err)
{
    if (source->raw_size) return TUNE_OK;
    if (source->file >= 0) {
        source->raw = source->block;
        return read_file(source, source->block, BLOCK, &source->raw_size, err);
    }
    source->raw = source->rest;
    source->raw_size = source->rest_size;
    source->taken += source->rest_size;
    source->rest_size = 0;
    return TUNE_OK;
}

/* The two magic bytes of RFC 1952 decide, not the name. */
static enum tune_status begin(struct record_source *source, struct tune_error *err)
{
    enum tune_status status = refill(source, err);
    source->begun = true;
    if (status != TUNE_OK) return status;
    if (source->raw_size < 2 || source->raw[0] != 0x1f || source->raw[1] != 0x8b) return TUNE_OK;
    /* 15: largest window; + 16: a gzip header and trailer, whose length and sum zlib checks */
    if (inflateInit2(&source->inflater, 15 + 16) != Z_OK)
        return tune_error_memory(err, "unpacking a log");
    source->gzip = source->member_open = true;
    return TUNE_OK;
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

static enum tune_status read_plain(struct record_source *source, char *out, size_t size,
                                   size_t *got, struct tune_error *err)
{
    if (!source->raw_size && source->file >= 0) return read_file(source, out, size, got, err);
    const enum tune_status status = refill(source, err);
    *got = least(size, source->raw_size);
    if (*got) memcpy(out, source->raw, *got);
    source->raw += *got;
    source->raw_size -= *got;
    return status;
}

/* One call of the unpacker: raw bytes to at most size bytes at out. */
static enum tune_status unpack(struct record_source *source, char *out, size_t size, size_t *got,
                               struct tune_error *err)
{
    z_stream *z = &source->inflater;
    const size_t offered = least(source->raw_size, UINT_MAX);
    int code;
    z->next_in = source->raw;
    z->avail_in = (uInt)offered;
    z->next_out = (Bytef *)out;
    z->avail_out = (uInt)least(size, UINT_MAX);
    code = inflate(z, Z_NO_FLUSH);
    source->raw = z->next_in;
    source->raw_size -= offered - z->avail_in;
    *got = least(size, UINT_MAX) - z->avail_out;
    if (code == Z_STREAM_END) {
        source->member_open = false;
        return TUNE_OK;
    }
    if (code == Z_MEM_ERROR) return tune_error_memory(err, "unpacking a log");
    if (code == Z_OK || code == Z_BUF_ERROR) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "the gzip data is damaged (%s): copy the log from the machine again",
                          z->msg ? z->msg : "bad header or check sum");
}

static enum tune_status read_gzip(struct record_source *source, char *out, size_t size, size_t *got,
                                  struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    *got = 0;
    while (status == TUNE_OK && *got == 0) {
        status = refill(source, err);
        if (status != TUNE_OK) break;
        if (!source->raw_size) {
            if (!source->member_open) break;
            return tune_error_set(err, TUNE_EDATA,
                                  "the gzip data ends early: copy the log from the machine again");
        }
        if (!source->member_open) { /* files joined end to end are one file (RFC 1952) */
            (void)inflateReset(&source->inflater);
            source->member_open = true;
        }
        status = unpack(source, out, size, got, err);
    }
    return status;
}

enum tune_status record_source_read(struct record_source *source, char *out, size_t size,
                                    size_t *got, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    *got = 0;
    if (!source->begun) status = begin(source, err);
    if (status != TUNE_OK) return status;
    return source->gzip ? read_gzip(source, out, size, got, err)
                        : read_plain(source, out, size, got, err);
}

double record_source_fraction(const struct record_source *source)
{
    const double used = (double)(source->taken - source->raw_size);
    return used > 0.0 && used < (double)source->size ? used / (double)source->size : 1.0;
}
