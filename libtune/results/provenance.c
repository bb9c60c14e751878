/* provenance.c - what a result was made from.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/provenance.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *tune_version(void)
{
    return TUNE_VERSION;
}

void tune_provenance_start(struct tune_provenance *out, const char *schema, const char *logbook)
{
    memset(out, 0, sizeof *out);
    (void)snprintf(out->schema, sizeof out->schema, "%s", schema);
    (void)snprintf(out->tool_name, sizeof out->tool_name, "quietaxis");
    (void)snprintf(out->tool_version, sizeof out->tool_version, "%s", tune_version());
    (void)snprintf(out->logbook, sizeof out->logbook, "%s", logbook);
}

/* A path that climbs out of the logbook would tell where the logbook lies. */
static const char *portable(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (path[0] != '/' && strncmp(path, "../", 3) != 0) return path;
    return slash ? slash + 1 : path;
}

enum tune_status tune_provenance_add_input(struct tune_provenance *provenance,
                                           const char *relative_path, const char *sha256,
                                           size_t rows, struct tune_error *err)
{
    struct tune_input *input =
        realloc(provenance->input, (provenance->n_inputs + 1) * sizeof *input);
    if (!input) return tune_error_memory(err, "noting the inputs");
    provenance->input = input;
    input += provenance->n_inputs++;
    (void)snprintf(input->path, sizeof input->path, "%s", portable(relative_path));
    (void)snprintf(input->sha256, sizeof input->sha256, "%s", sha256);
    input->rows = rows;
    return TUNE_OK;
}

/* A number that is not there reads "none", whatever the C library calls it. */
static void say_none(char out[TUNE_OPTION_TEXT], const char *text)
{
    size_t used = 0;
    while (*text && used + 1 < TUNE_OPTION_TEXT) {
        const size_t gap = strspn(text, " "), word = strcspn(text + gap, " ");
        const bool none = (word == 3 && !strncmp(text + gap, "nan", 3)) ||
                          (word == 4 && !strncmp(text + gap, "-nan", 4));
        used += (size_t)snprintf(out + used, TUNE_OPTION_TEXT - used, "%.*s%.*s", (int)gap, text,
                                 none ? 4 : (int)word, none ? "none" : text + gap);
        text += gap + word;
    }
}

enum tune_status tune_provenance_add_option(struct tune_provenance *provenance,
                                            struct tune_error *err, const char *name,
                                            const char *format, ...)
{
    va_list args;
    char text[TUNE_OPTION_TEXT];
    struct tune_option *option =
        realloc(provenance->option, (provenance->n_options + 1) * sizeof *option);
    if (!option) return tune_error_memory(err, "noting the options");
    provenance->option = option;
    option += provenance->n_options++;
    (void)snprintf(option->name, sizeof option->name, "%s", name);
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    option->value[0] = '\0';
    say_none(option->value, text);
    return TUNE_OK;
}

static bool same_inputs(const struct tune_provenance *a, const struct tune_provenance *b,
                        char why[TUNE_WHY])
{
    for (size_t i = 0; i < a->n_inputs && i < b->n_inputs; i++) {
        if (strcmp(a->input[i].path, b->input[i].path) != 0) {
            (void)snprintf(why, TUNE_WHY, "it was made from other files");
            return false;
        }
        if (!strcmp(a->input[i].path, "axis.ini")) continue;
        if (strcmp(a->input[i].sha256, b->input[i].sha256) != 0) {
            (void)snprintf(why, TUNE_WHY, "%s has changed", a->input[i].path);
            return false;
        }
    }
    if (a->n_inputs == b->n_inputs) return true;
    (void)snprintf(why, TUNE_WHY, "it was made from %s files",
                   a->n_inputs < b->n_inputs ? "fewer" : "more");
    return false;
}

static bool same_options(const struct tune_provenance *a, const struct tune_provenance *b,
                         char why[TUNE_WHY])
{
    if (a->n_options != b->n_options) {
        (void)snprintf(why, TUNE_WHY, "it was made with other options");
        return false;
    }
    for (size_t i = 0; i < a->n_options; i++) {
        if (!strcmp(a->option[i].name, b->option[i].name) &&
            !strcmp(a->option[i].value, b->option[i].value))
            continue;
        if (strcmp(a->option[i].name, b->option[i].name) != 0) {
            (void)snprintf(why, TUNE_WHY, "it was made from %.60s, now from %.60s",
                           a->option[i].name, b->option[i].name);
            return false;
        }
        (void)snprintf(why, TUNE_WHY, "%.40s was \"%.80s\" and is \"%.80s\"", b->option[i].name,
                       a->option[i].value, b->option[i].value);
        return false;
    }
    return true;
}

bool tune_provenance_same(const struct tune_provenance *earlier, const struct tune_provenance *now,
                          char why[TUNE_WHY])
{
    why[0] = '\0';
    if (strcmp(earlier->schema, now->schema) != 0 ||
        strcmp(earlier->tool_version, now->tool_version) != 0) {
        (void)snprintf(why, TUNE_WHY, "it was made by version %s", earlier->tool_version);
        return false;
    }
    if (strcmp(earlier->logbook, now->logbook) != 0) {
        (void)snprintf(why, TUNE_WHY, "it is of another axis or configuration");
        return false;
    }
    return same_options(earlier, now, why) && same_inputs(earlier, now, why);
}

bool tune_provenance_says(const struct tune_provenance *provenance, const char *option,
                          const char *value)
{
    for (size_t i = 0; i < provenance->n_options; i++)
        if (!strcmp(provenance->option[i].name, option))
            return !strcmp(provenance->option[i].value, value);
    return false;
}

void tune_provenance_free(struct tune_provenance *provenance)
{
    free(provenance->input);
    free(provenance->option);
    memset(provenance, 0, sizeof *provenance);
}
