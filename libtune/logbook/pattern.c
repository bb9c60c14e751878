/* pattern.c - file = logs/buf-*.csv: one section that stands for many logs.
 *
 * Drives whose trace buffer is short leave a sweep in many files. Each match becomes a log NAME.1, NAME.2,
 * ... of the section's pointing, in the order in which people count: buf-2 before buf-10.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "logbook/sections_internal.h"

/* More than anybody takes at one pointing: then the pattern is wrong. Common practice, no source. */
enum { MATCHES_MAX = 1000 };

/* Where pattern marks are meant: a file that has them in its own name is itself. */
static bool is_pattern(const struct tune_logbook *book, const char *file)
{
    char path[TUNE_PATH_LENGTH];
    struct stat info;
    if (!strpbrk(file, "*?[")) return false;
    return tune_logbook_join(path, book, file, NULL) != TUNE_OK || stat(path, &info) != 0;
}

/* ---- order ---------------------------------------------------------------------------------------*/

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Numbers by their value, all else by bytes; equal numbers (1, 01) by bytes in the end. */
static int compare_names(const char *a, const char *b)
{
    const char *const whole_a = a, *const whole_b = b;
    while (*a && *b) {
        size_t n = 0, m = 0;
        int order;
        if (!is_digit(*a) || !is_digit(*b)) {
            if (*a != *b) return (unsigned char)*a < (unsigned char)*b ? -1 : 1;
            a++, b++;
            continue;
        }
        while (*a == '0')
            a++;
        while (*b == '0')
            b++;
        while (is_digit(a[n]))
            n++;
        while (is_digit(b[m]))
            m++;
        if (n != m) return n < m ? -1 : 1;
        order = strncmp(a, b, n);
        if (order) return order;
        a += n;
        b += n;
    }
    if (*a || *b) return *a ? 1 : -1;
    return strcmp(whole_a, whole_b);
}

static int by_name(const void *a, const void *b)
{
    return compare_names(*(char *const *)a, *(char *const *)b);
}

/* ---- matches -------------------------------------------------------------------------------------*/

/* The folder's own name is no pattern. */
static bool full_pattern(char out[2 * TUNE_PATH_LENGTH], size_t *folder,
                         const struct tune_logbook *book, const char *file)
{
    char path[TUNE_PATH_LENGTH];
    const size_t width = strlen(file);
    size_t used = 0;
    if (tune_logbook_join(path, book, file, NULL) != TUNE_OK) return false;
    *folder = strlen(path) - width;
    for (size_t i = 0; i < *folder; i++) {
        if (strchr("*?[]\\", path[i])) out[used++] = '\\';
        out[used++] = path[i];
    }
    if (used + width >= 2 * TUNE_PATH_LENGTH) return false;
    memcpy(out + used, file, width + 1);
    return true;
}

static enum tune_status refuse(const char *limit, const struct ini_section *section,
                               const struct ini_entry *key, const char *what,
                               struct tune_error *err)
{
    return ini_refuse(err, section, key, limit, "file = %s: %s", key ? key->value : "", what);
}

/* found must be released with globfree() whatever comes back. */
static enum tune_status find_files(glob_t *found, size_t *folder, const struct tune_logbook *book,
                                   const struct tune_log_entry *log,
                                   const struct ini_section *section, const struct ini_entry *key,
                                   struct tune_error *err)
{
    char pattern[2 * TUNE_PATH_LENGTH];
    int code;
    if (!full_pattern(pattern, folder, book, log->file))
        return refuse("a shorter path", section, key, "the path is too long", err);
    code = glob(pattern, GLOB_NOSORT, NULL, found);
    if (code == GLOB_NOSPACE) return tune_error_memory(err, "looking for logs");
    if (code == GLOB_NOMATCH || found->gl_pathc == 0)
        return refuse("at least one file", section, key,
                      "no file of the logbook has such a name: correct the pattern or add the logs",
                      err);
    if (code)
        return refuse("a folder that can be read", section, key, "the folder cannot be read", err);
    if (found->gl_pathc > MATCHES_MAX)
        return refuse("at most 1000 files", section, key,
                      "more than 1000 files have such a name: name fewer", err);
    qsort(found->gl_pathv, found->gl_pathc, sizeof *found->gl_pathv, by_name);
    return TUNE_OK;
}

/* ---- many logs for one ---------------------------------------------------------------------------*/

/* The k-th match (from 0) as a log of its own. */
static enum tune_status match_log(struct tune_log_entry *out, const struct tune_log_entry *log,
                                  const char *file, size_t k, const struct tune_logbook *book,
                                  const struct ini_section *section, const struct ini_entry *key,
                                  struct tune_error *err)
{
    *out = *log;
    if (strlen(file) >= sizeof out->file)
        return refuse("a shorter path", section, key, "a path is too long", err);
    (void)snprintf(out->file, sizeof out->file, "%s", file);
    if (snprintf(out->name, sizeof out->name, "%s.%zu", log->name, k + 1) > TUNE_NAME_LENGTH)
        return ini_refuse(err, section, NULL, "a shorter name",
                          "the logs of [log %s] are called %s.1, %s.2, ...: a name longer than %d "
                          "bytes comes of it",
                          log->name, log->name, log->name, TUNE_NAME_LENGTH);
    for (size_t i = 0; i < book->n_logs; i++)
        if (!strcmp(book->log[i].name, out->name))
            return ini_refuse(
                err, section, NULL, "another name",
                "the logs of [log %s] are called %s.1, %s.2, ..., and there is a [log "
                "%s]: rename one",
                log->name, log->name, log->name, out->name);
    return TUNE_OK;
}

static const struct ini_section *section_of(const struct ini_document *document, const char *name)
{
    for (size_t i = 0; i < document->n_sections; i++)
        if (!strcmp(document->section[i].kind, "log") && !strcmp(document->section[i].name, name))
            return &document->section[i];
    return NULL;
}

/* Put the logs that log i of the book stands for in its place. */
static enum tune_status expand(struct tune_logbook *book, size_t i,
                               const struct ini_document *document, struct tune_error *err)
{
    const struct tune_log_entry log = book->log[i];
    const struct ini_section *section = section_of(document, log.name);
    const struct ini_entry *key = section ? ini_find(document, section, "file") : NULL;
    struct tune_log_entry *larger = NULL, *made = NULL;
    glob_t found = {0};
    size_t folder = 0, n;
    enum tune_status status = find_files(&found, &folder, book, &log, section, key, err);
    n = status == TUNE_OK ? found.gl_pathc : 0;
    if (n) made = calloc(n, sizeof *made);
    for (size_t k = 0; k < n && made && status == TUNE_OK; k++)
        status = match_log(&made[k], &log, found.gl_pathv[k] + folder, k, book, section, key, err);
    if (status == TUNE_OK && made)
        larger = realloc(book->log, (book->n_logs + n - 1) * sizeof *larger);
    if (status == TUNE_OK && !larger) status = tune_error_memory(err, "reading a logbook");
    if (status == TUNE_OK) {
        book->log = larger;
        memmove(larger + i + n, larger + i + 1, (book->n_logs - i - 1) * sizeof *larger);
        memcpy(larger + i, made, n * sizeof *made);
        book->n_logs += n - 1;
    }
    free(made);
    globfree(&found);
    return status;
}

enum tune_status logbook_expand_patterns(struct tune_logbook *book,
                                         const struct ini_document *document,
                                         struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = book->n_logs; i-- > 0 && status == TUNE_OK;)
        if (is_pattern(book, book->log[i].file)) status = expand(book, i, document, err);
    return status;
}
