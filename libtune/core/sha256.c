/* sha256.c - SHA-256 by nettle.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/sha256.h"

#include <errno.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <string.h>

static void digest_text(struct sha256_ctx *ctx, char text[TUNE_SHA256_TEXT])
{
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_digest(ctx, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++)
        (void)snprintf(text + 2 * i, 3, "%02x", digest[i]);
}

void tune_sha256_bytes(char text[TUNE_SHA256_TEXT], const void *bytes, size_t size)
{
    struct sha256_ctx ctx;
    sha256_init(&ctx);
    sha256_update(&ctx, size, bytes);
    digest_text(&ctx, text);
}

enum tune_status tune_sha256_file(char text[TUNE_SHA256_TEXT], const char *path,
                                  struct tune_error *err)
{
    struct sha256_ctx ctx;
    unsigned char block[16384];
    size_t got;
    FILE *file = fopen(path, "rb");
    int bad;

    text[0] = '\0';
    if (!file) {
        tune_error_set(err, TUNE_EIO, "cannot open: %s", strerror(errno));
        tune_error_place(err, path, 0, 0);
        return TUNE_EIO;
    }
    sha256_init(&ctx);
    while ((got = fread(block, 1, sizeof block, file)) > 0)
        sha256_update(&ctx, got, block);
    bad = ferror(file) ? errno : 0;
    (void)fclose(file);
    if (bad) {
        tune_error_set(err, TUNE_EIO, "cannot read: %s", strerror(bad));
        tune_error_place(err, path, 0, 0);
        return TUNE_EIO;
    }
    digest_text(&ctx, text);
    return TUNE_OK;
}
