/* log_writer.c - a simulated log as a compressed CSV file.
 *
 * Angles carry 1e-6 arcsec: a hundredth of a count of the finest encoders (2^32 per turn is 3e-4 arcsec).
 * The gzip header holds neither name nor time, so that the same run gives the same file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/log_writer_internal.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "core/units.h"
#include "results/file.h"

enum { BLOCK = 1 << 16, LINE = 256, LEVEL = 4 };

struct packer {
    z_stream stream;
    unsigned char *bytes; /* packed so far */
    size_t size, room;
    char block[BLOCK];
    size_t used;
};

/* Push the block through; at the end (flush = Z_FINISH) everything comes out. */
static enum tune_status pack(struct packer *packer, int flush, struct tune_error *err)
{
    packer->stream.next_in = (unsigned char *)packer->block;
    packer->stream.avail_in = (unsigned)packer->used;
    packer->used = 0;
    for (;;) {
        int answer;
        if (packer->room - packer->size < BLOCK) {
            unsigned char *larger = realloc(packer->bytes, 2 * packer->room + 2 * BLOCK);
            if (!larger) return tune_error_memory(err, "packing a log");
            packer->bytes = larger;
            packer->room = 2 * packer->room + 2 * BLOCK;
        }
        packer->stream.next_out = packer->bytes + packer->size;
        packer->stream.avail_out = BLOCK;
        answer = deflate(&packer->stream, flush);
        packer->size += BLOCK - packer->stream.avail_out;
        if (answer == Z_STREAM_END) return TUNE_OK;
        if (answer != Z_OK && answer != Z_BUF_ERROR)
            return tune_error_set(err, TUNE_EIO, "cannot pack a log: zlib error %d", answer);
        if (packer->stream.avail_out > 0 && flush == Z_NO_FLUSH) return TUNE_OK;
    }
}

static enum tune_status add_line(struct packer *packer, const char *line, size_t length,
                                 struct tune_error *err)
{
    if (packer->used + length > BLOCK) {
        const enum tune_status status = pack(packer, Z_NO_FLUSH, err);
        if (status) return status;
    }
    memcpy(packer->block + packer->used, line, length);
    packer->used += length;
    return TUNE_OK;
}

static enum tune_status add_rows(struct packer *packer, const struct simulated_columns *columns,
                                 struct tune_error *err)
{
    const double arcsec = tune_arcsec_from_rad(1.0);
    char line[LINE];
    int length = snprintf(line, sizeof line,
                          "time_s,excitation_nm,torque_nm,position_arcsec,target_arcsec%s\n",
                          columns->sky_rad ? ",sky_arcsec" : "");
    enum tune_status status = add_line(packer, line, (size_t)length, err);
    for (size_t i = 0; !status && i < columns->n; i++) {
        length =
            snprintf(line, sizeof line, "%.9f,%.9g,%.9g,%.6f,%.6f", (double)i / columns->rate_hz,
                     columns->excitation_nm[i], columns->torque_nm[i],
                     columns->position_rad[i] * arcsec, columns->target_rad[i] * arcsec);
        if (columns->sky_rad)
            length += snprintf(line + length, sizeof line - (size_t)length, ",%.6f",
                               columns->sky_rad[i] * arcsec);
        line[length++] = '\n';
        status = add_line(packer, line, (size_t)length, err);
    }
    return status;
}

enum tune_status chain_write_log(const char *path, const struct simulated_columns *columns,
                                 struct tune_error *err)
{
    const int gzip_wrapper = 31, memory = 8;
    struct packer *packer = calloc(1, sizeof *packer);
    enum tune_status status;
    if (!packer) return tune_error_memory(err, "packing a log");
    if (deflateInit2(&packer->stream, LEVEL, Z_DEFLATED, gzip_wrapper, memory,
                     Z_DEFAULT_STRATEGY) != Z_OK) {
        free(packer);
        return tune_error_memory(err, "packing a log");
    }
    status = add_rows(packer, columns, err);
    if (!status) status = pack(packer, Z_FINISH, err);
    (void)deflateEnd(&packer->stream);
    if (!status) status = tune_file_write(path, packer->bytes, packer->size, err);
    free(packer->bytes);
    free(packer);
    return status;
}
