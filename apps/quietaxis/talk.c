/* talk.c - progress on standard error, errors, and Ctrl-C.
 *
 * Nothing is said in the first second. On a terminal one line is rewritten in place; elsewhere a plain
 * line comes now and then.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "talk.h"

#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static volatile sig_atomic_t interrupted;

static struct {
    bool quiet, terminal, line_stands, takes_out;
    double start_s, said_s;
} talk;

static void interrupt(int number)
{
    (void)number;
    interrupted = 1;
}

static double now_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int tick(void *user, const char *stage, double done)
{
    const double now = now_s();
    (void)user;
    if (interrupted) return 1;
    if (talk.quiet || now - talk.start_s < 1.0) return 0;
    if (now - talk.said_s < (talk.terminal ? 0.1 : 5.0)) return 0;
    talk.said_s = now;
    if (talk.terminal)
        fprintf(stderr, "\r\033[K%3.0f %%  %.60s", 100.0 * done, stage);
    else
        fprintf(stderr, "%3.0f %%  %.60s\n", 100.0 * done, stage);
    (void)fflush(stderr);
    talk.line_stands = talk.terminal;
    return 0;
}

void command_progress_done(void)
{
    if (talk.line_stands) fprintf(stderr, "\r\033[K");
    talk.line_stands = false;
    (void)fflush(stderr);
}

/* A command made of several tells the same more than once; the person needs it once. */
static bool said_before(const char *text)
{
    static char said[16][80];
    static size_t n;
    for (size_t i = 0; i < n; i++)
        if (!strncmp(said[i], text, sizeof said[i] - 1)) return true;
    if (n < sizeof said / sizeof *said)
        (void)snprintf(said[n++], sizeof *said, "%.*s", (int)sizeof *said - 1, text);
    return false;
}

static void note(void *user, const char *text)
{
    (void)user;
    if (talk.quiet || said_before(text)) return;
    command_progress_done();
    fprintf(stderr, "%s\n", text);
}

void talk_start(struct command_line *line)
{
    static const struct tune_watch watch = {tick, NULL};
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = interrupt;
    /* a second Ctrl-C ends the program at once */
    action.sa_flags = (int)SA_RESETHAND;
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
    talk.quiet = line->quiet;
    talk.takes_out = (line->command->options & TAKES_OUT) != 0;
    talk.terminal = isatty(STDERR_FILENO) == 1;
    talk.start_s = now_s();
    line->job.watch = &watch;
    line->job.note = note;
}

void command_say(const struct command_line *line, const char *format, ...)
{
    va_list args;
    if (line->quiet) return;
    command_progress_done();
    va_start(args, format);
    (void)vfprintf(stderr, format, args);
    va_end(args);
    (void)fputc('\n', stderr);
}

/* ---- errors and answers -------------------------------------------------------------------------*/

static void print_place(const struct tune_error *err)
{
    if (!err->file[0]) return;
    fprintf(stderr, "%s:", err->file);
    if (err->line > 0) fprintf(stderr, "%ld:", err->line);
    if (err->line > 0 && err->column > 0) fprintf(stderr, "%ld:", err->column);
    (void)fputc(' ', stderr);
}

/* What the sentence does not say yet. */
static const char *unsaid(const struct tune_error *err, const char *word)
{
    return strstr(err->text, word) ? "" : word;
}

static void print_about(const struct tune_error *err)
{
    const bool told = strstr(err->text, err->thing) && strstr(err->text, err->value);
    const char *thing = told ? "" : err->thing, *value = told ? "" : err->value;
    const char *limit = unsaid(err, err->limit);
    if (!thing[0] && !value[0] && !limit[0]) return;
    fprintf(stderr, " (%s%s%s", thing, thing[0] && value[0] ? " = " : "", value);
    if (limit[0]) fprintf(stderr, "%sexpected %s", thing[0] || value[0] ? ", " : "", limit);
    (void)fputc(')', stderr);
}

int command_fail(const struct tune_error *err)
{
    command_progress_done();
    (void)fputs("quietaxis: ", stderr);
    print_place(err);
    (void)fputs(err->text[0] ? err->text : tune_status_text(err->status), stderr);
    print_about(err);
    if (err->status == TUNE_EIO && talk.takes_out &&
        !strncmp(err->text, "cannot make the folder", 22))
        (void)fputs("; --out DIR sends the answers elsewhere", stderr);
    (void)fputc('\n', stderr);
    switch (err->status) {
    case TUNE_EDATA:
        return EXIT_UNUSABLE;
    case TUNE_ENOSOL:
        return EXIT_NO_SOLUTION;
    case TUNE_OK:
        return EXIT_DONE;
    default:
        return EXIT_MISUSE;
    }
}

int command_print(const char *text)
{
    command_progress_done();
    if (fputs(text, stdout) == EOF || fflush(stdout) == EOF) {
        fprintf(stderr, "quietaxis: cannot write the answer to standard output\n");
        return EXIT_MISUSE;
    }
    return EXIT_DONE;
}
