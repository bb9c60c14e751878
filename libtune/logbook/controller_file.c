/* controller_file.c - controller files: one section [controller].
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "logbook/sections_internal.h"
#include "record/text.h"

static const struct section_spec controller_sections[] = {SECTION_CONTROLLER(true)};

enum tune_status tune_controller_parse(struct tune_controller *out, const char *name,
                                       const char *text, size_t size, double loop_rate_hz,
                                       struct tune_error *err)
{
    struct ini_document document = {0};
    enum tune_status status = ini_parse_text(&document, text, size, err);
    *out = (struct tune_controller){0};
    if (status == TUNE_OK)
        status = keys_check_sections(&document, controller_sections, 1, "a controller file", err);
    if (status == TUNE_OK)
        status = sections_read_controller(out, &document, keys_section(&document, "controller"),
                                          controller_sections, 1, loop_rate_hz, err);
    ini_free(&document);
    if (status == TUNE_OK) return TUNE_OK;
    *out = (struct tune_controller){0};
    (void)tune_error_place(err, name, 0, 0);
    return status;
}

enum tune_status tune_controller_read(struct tune_controller *out, const char *path,
                                      double loop_rate_hz, struct tune_error *err)
{
    char *text;
    size_t size;
    enum tune_status status = ini_read_file(&text, &size, path, err);
    *out = (struct tune_controller){0};
    if (status != TUNE_OK) return status;
    status = tune_controller_parse(out, path, text, size, loop_rate_hz, err);
    free(text);
    return status;
}

/* ---- writing -------------------------------------------------------------------------------------*/

/* Text that grows; failed is sticky, so that the writer need not look at every line. */
struct page {
    char *text;
    size_t used, capacity;
    bool failed;
};

static void put(struct page *page, const char *text)
{
    const size_t length = strlen(text);
    if (!page->failed && page->used + length + 1 > page->capacity) {
        const size_t capacity = 2 * (page->used + length + 256);
        char *larger = realloc(page->text, capacity);
        page->failed = !larger;
        if (larger) {
            page->text = larger;
            page->capacity = capacity;
        }
    }
    if (page->failed) return;
    memcpy(page->text + page->used, text, length + 1);
    page->used += length;
}

static void put_number(struct page *page, const char *key, double value)
{
    char line[INI_WORD + TUNE_NUMBER_TEXT + 8], number[TUNE_NUMBER_TEXT];
    (void)snprintf(line, sizeof line, "%-20s = %s\n", key, tune_number_text(number, value));
    put(page, line);
}

static void put_whole(struct page *page, const char *key, size_t value)
{
    char line[INI_WORD + 32];
    (void)snprintf(line, sizeof line, "%-20s = %zu\n", key, value);
    put(page, line);
}

static void put_biquad(struct page *page, size_t number, const struct tune_biquad_spec *spec)
{
    const double value[] = {spec->zero_hz, spec->zero_zeta, spec->pole_hz, spec->pole_zeta};
    static const char *const suffix[] = {"zero_hz", "zero_zeta", "pole_hz", "pole_zeta"};
    for (size_t i = 0; i < 4; i++) {
        char key[INI_WORD];
        (void)snprintf(key, sizeof key, "biquad%zu_%s", number, suffix[i]);
        put_number(page, key, value[i]);
    }
}

static bool is_comment(const char *text)
{
    for (const char *line = text; line && *line; line = strchr(line, '\n')) {
        if (*line == '\n') line++;
        if (*line && *line != ';') return false;
    }
    return true;
}

enum tune_status tune_controller_text(char **text, const struct tune_controller *controller,
                                      const char *comment, struct tune_error *err)
{
    const struct tune_controller *c = controller;
    struct page page = {0};
    enum tune_status status = tune_controller_check(controller, err);
    *text = NULL;
    if (status != TUNE_OK) return status;
    if (comment && !is_comment(comment))
        return tune_error_set(err, TUNE_EINVAL, "every comment line must start with ;");
    put(&page, comment ? comment : "");
    if (page.used && page.text[page.used - 1] != '\n') put(&page, "\n");
    put(&page, "[controller]\n");
    put_number(&page, "kp_nm_per_rad", c->kp_nm_per_rad);
    put_number(&page, "ki_nm_per_rad_s", c->ki_nm_per_rad_s);
    put_number(&page, "kd_nm_s_per_rad", c->kd_nm_s_per_rad);
    if (c->derivative_filter_hz > 0.0)
        put_number(&page, "derivative_filter_hz", c->derivative_filter_hz);
    if (c->lowpass_hz > 0.0) {
        put_number(&page, "lowpass_hz", c->lowpass_hz);
        put_number(&page, "lowpass_order", c->lowpass_order);
        if (c->lowpass_order == 2) put_number(&page, "lowpass_zeta", c->lowpass_zeta);
    }
    for (size_t i = 0; i < c->n_biquads; i++)
        put_biquad(&page, i + 1, &c->biquad[i]);
    if (c->position_divider > 1) put_whole(&page, "position_divider", c->position_divider);
    if (page.failed) {
        free(page.text);
        return tune_error_memory(err, "writing a controller");
    }
    *text = page.text;
    return TUNE_OK;
}
