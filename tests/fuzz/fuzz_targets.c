/* fuzz_targets.c - the readers of foreign files, each fed arbitrary bytes.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "fuzz/fuzz_targets.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "logbook/description.h"
#include "logbook/logbook.h"
#include "record/record.h"
#include "record/response.h"
#include "record/text.h"

static void promise(bool kept, const char *what, const struct tune_error *err)
{
    if (kept) return;
    (void)fprintf(stderr, "broken promise: %s (%s:%ld:%ld: %s)\n", what, err->file, err->line,
                  err->column, err->text);
    abort();
}

static void promise_error(enum tune_status status, const struct tune_error *err)
{
    promise(status == TUNE_EDATA || status == TUNE_ENOMEM, "status of bad bytes", err);
    promise(err->status == status, "status of the error", err);
    promise(strcmp(err->file, "input") == 0, "file of the error", err);
    promise(err->text[0] != '\0' && !strchr(err->text, '\n'), "one sentence", err);
    promise(tune_text_is_utf8(err->text, strlen(err->text)), "a sentence in UTF-8", err);
    promise(tune_text_is_utf8(err->value, strlen(err->value)), "a value in UTF-8", err);
    promise(tune_text_is_utf8(err->thing, strlen(err->thing)), "a thing in UTF-8", err);
}

static void promise_record(const struct tune_record *rec, const struct tune_error *err)
{
    promise(rec->n > 0 && rec->rate_hz > 0.0 && isfinite(rec->rate_hz), "rows and a rate", err);
    promise(isfinite(rec->start_s) && !rec->channel[TUNE_ROLE_TIME], "a start", err);
    promise(rec->stamp_rate_hz >= 0.0 && isfinite(rec->stamp_rate_hz) &&
                isfinite(rec->stamp_scatter_s),
            "a rate of the stamps", err);
    for (size_t kind = 0; kind < TUNE_REPAIR_COUNT; kind++) {
        const struct tune_repair *repair = &rec->repair[kind];
        promise(repair->count ? repair->row >= 1 && repair->row <= rec->n && repair->line >= 1
                              : !repair->row && !repair->line,
                "the place of a repair", err);
        promise(isfinite(repair->worst) && repair->worst >= 0.0, "the size of a repair", err);
    }
    for (size_t k = 2; k <= rec->n; k++)
        promise(tune_record_line(rec, k - 1) >= 1 &&
                    tune_record_line(rec, k) >= tune_record_line(rec, k - 1),
                "lines that rise with the rows", err);
    for (size_t role = 0; role < TUNE_ROLE_COUNT; role++)
        for (size_t k = 0; rec->channel[role] && k < rec->n; k++)
            promise(isfinite(rec->channel[role][k]), "finite numbers", err);
}

/* The first byte chooses what the log's section states. */
void fuzz_record(const uint8_t *bytes, size_t size)
{
    struct tune_record_opts opts = tune_record_defaults();
    const struct tune_record empty = {0};
    struct tune_record rec;
    struct tune_error err = {0};
    enum tune_status status;
    if (!size) return;
    if (bytes[0] & 1) opts.sample_rate_hz = 1000.0;
    if (bytes[0] & 2) opts.torque_per_unit_nm = 18.4;
    if (bytes[0] & 4) opts.encoder_counts_per_turn = 268435456.0;
    if (bytes[0] & 8) (void)snprintf(opts.map[TUNE_ROLE_TORQUE].column, TUNE_COLUMN_NAME, "Iq act");
    if (bytes[0] & 16) (void)snprintf(opts.map[TUNE_ROLE_TORQUE].unit, TUNE_UNIT_NAME, "a");
    status = tune_record_parse(&rec, "input", bytes + 1, size - 1, &opts, &err);
    if (status == TUNE_OK) {
        promise_record(&rec, &err);
    } else {
        promise_error(status, &err);
        promise(memcmp(&rec, &empty, sizeof rec) == 0, "nothing beside an error", &err);
    }
    tune_record_free(&rec);
}

/* The first byte chooses what the log's section states. */
void fuzz_response(const uint8_t *bytes, size_t size)
{
    struct tune_response_opts opts = {0};
    const struct tune_response empty = {0};
    struct tune_response out;
    struct tune_error err = {0};
    enum tune_status status;
    if (!size) return;
    opts.of_loop = bytes[0] & 1;
    if (bytes[0] & 2) opts.torque_per_unit_nm = 18.4;
    if (bytes[0] & 4) opts.encoder_counts_per_turn = 268435456.0;
    status = tune_response_parse(&out, "input", bytes + 1, size - 1, &opts, &err);
    if (status == TUNE_OK) {
        promise(out.n > 1 && out.f_hz[0] > 0.0, "rows", &err);
        for (size_t k = 0; k < out.n; k++) {
            promise(isfinite(creal(out.g[k])) && isfinite(cimag(out.g[k])), "numbers", &err);
            promise(!k || out.f_hz[k] > out.f_hz[k - 1], "rising frequencies", &err);
            promise(!out.std || (isfinite(out.std[k]) && out.std[k] >= 0.0), "a std", &err);
        }
    } else {
        promise_error(status, &err);
        promise(memcmp(&out, &empty, sizeof out) == 0, "nothing beside an error", &err);
    }
    tune_response_free(&out);
}

void fuzz_logbook(const uint8_t *bytes, size_t size)
{
    struct tune_logbook book;
    struct tune_error err = {0};
    const enum tune_status status =
        tune_logbook_parse(&book, "input", (const char *)bytes, size, &err);
    if (status == TUNE_OK) {
        promise(book.n_logs > 0 && book.log && book.drive.loop_rate_hz > 0.0, "a logbook", &err);
        for (size_t i = 0; i < book.n_logs; i++)
            promise(book.log[i].name[0] && book.log[i].pointing[0] && book.log[i].file[0],
                    "names of a log", &err);
    } else {
        promise_error(status, &err);
        promise(!book.log && !book.n_logs, "nothing beside an error", &err);
    }
    tune_logbook_free(&book);
}

/* What is read can be written, and what is written reads back and is written the same. */
void fuzz_controller(const uint8_t *bytes, size_t size)
{
    struct tune_controller controller, again;
    struct tune_error err = {0};
    char *text, *second;
    const enum tune_status status =
        tune_controller_parse(&controller, "input", (const char *)bytes, size, 4000.0, &err);
    if (status != TUNE_OK) {
        promise_error(status, &err);
        return;
    }
    if (tune_controller_text(&text, &controller, NULL, &err) != TUNE_OK)
        promise(false, "a controller that can be written", &err);
    if (tune_controller_parse(&again, "input", text, strlen(text), 4000.0, &err) != TUNE_OK)
        promise(false, "a text that reads back", &err);
    if (tune_controller_text(&second, &again, NULL, &err) != TUNE_OK)
        promise(false, "a controller that can be written again", &err);
    promise(strcmp(text, second) == 0, "the same text again", &err);
    free(text);
    free(second);
}

void fuzz_description(const uint8_t *bytes, size_t size)
{
    struct tune_description description;
    struct tune_error err = {0};
    const enum tune_status status =
        tune_description_parse(&description, "input", (const char *)bytes, size, &err);
    if (status == TUNE_OK) {
        promise(description.n_logs > 0 && description.n_pointings > 0, "a description", &err);
        for (size_t i = 0; i < description.n_logs; i++)
            promise(description.log[i].pointing < description.n_pointings, "a pointing", &err);
    } else {
        promise_error(status, &err);
        promise(!description.log && !description.pointing, "nothing beside an error", &err);
    }
    tune_description_free(&description);
}
