/* options.c - reading a command line: --name VALUE or --name=VALUE, `--` ends the options.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "options.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { ALWAYS = 0, THREADS_MOST = 1024, FINDINGS_MOST = 64 };

struct option {
    const char *name;
    unsigned taken_by; /* bit of enum command_option; ALWAYS: every command */
    const char *value; /* what it takes; NULL: nothing */
    const char *text;
};

static const struct option option_list[] = {
    {"--out", TAKES_OUT, "DIR", "answers go there (default: results/ in the logbook)"},
    {"--controller", TAKES_CONTROLLER, "FILE", "take these gains"},
    {"--log", TAKES_LOG, "NAME", "only this log; may be repeated"},
    {"--pointing", TAKES_POINTING, "NAME", "only this pointing; may be repeated"},
    {"--accept", TAKES_ACCEPT, "FINDING", "use logs unfit for this reason; may be repeated"},
    {"--modes", TAKES_MODES, "N", "resonances within the band (default: what the data show)"},
    {"--bold", TAKES_GOAL, NULL, "recommend the least jitter, not the calmest gains"},
    {"--evaluate", TAKES_EVALUATE, "FILE", "judge these gains, propose none"},
    {"--bound", TAKES_BOUND, NULL, "also the least jitter of any controller; takes a minute"},
    {"--threads", TAKES_THREADS, "N", "work on so many threads (default: all processors)"},
    {"--seed", TAKES_SEED, "N", "random seed instead of the description's"},
    {"--json", ALWAYS, NULL, "the answer as JSON, alone on standard output"},
    {"--quiet", ALWAYS, NULL, "no talk and no progress on standard error"},
    {"--help", ALWAYS, NULL, "this text"},
};

enum { OPTIONS = sizeof option_list / sizeof *option_list };

static enum options_answer wrong(const struct command *command, const char *word, const char *what)
{
    fprintf(stderr, "quietaxis %s: %s: %s\nTry: quietaxis %s --help\n", command->name, word, what,
            command->name);
    return OPTIONS_WRONG;
}

void options_help(const struct command *command)
{
    printf("quietaxis %s\n\n%s\nOptions:\n", command->usage, command->help);
    for (size_t i = 0; i < OPTIONS; i++) {
        const struct option *option = &option_list[i];
        if (option->taken_by != ALWAYS && !(command->options & option->taken_by)) continue;
        printf("  %-12s %-7s %s\n", option->name, option->value ? option->value : "",
               option->taken_by == TAKES_LOG && command->log_help ? command->log_help
                                                                  : option->text);
    }
}

/* ---- values -------------------------------------------------------------------------------------*/

static bool read_whole(uint64_t *out, const char *text, uint64_t most)
{
    char *end;
    unsigned long long value;
    if (!*text || strspn(text, "0123456789") != strlen(text)) return false;
    errno = 0;
    value = strtoull(text, &end, 10);
    *out = value;
    return errno == 0 && *end == '\0' && value <= most;
}

static enum options_answer repeat(const char **list, size_t *n, const struct command *command,
                                  const char *name, const char *value)
{
    if (*n == COMMAND_REPEATS_MAX) return wrong(command, name, "repeated too often");
    list[(*n)++] = value;
    return OPTIONS_RUN;
}

/* A finding that inspect may tell; the name of any is good, whether a log has it or not. */
static enum options_answer take_accept(struct command_line *line, const char *name,
                                       const char *value)
{
    const char *known[FINDINGS_MOST], *near;
    char what[128];
    size_t n = 0;
    while (n < FINDINGS_MOST && (known[n] = tune_finding_name(n)) != NULL)
        n++;
    for (size_t i = 0; i < n; i++)
        if (!strcmp(known[i], value))
            return repeat(line->accept, &line->job.n_accepts, line->command, name, value);
    near = tune_text_nearest(value, known, n);
    (void)snprintf(what, sizeof what, "no finding is called %.40s; %s%s%s", value,
                   near ? "did you mean " : "inspect names them", near ? near : "",
                   near ? "?" : "");
    return wrong(line->command, name, what);
}

static enum options_answer take(struct command_line *line, unsigned option, const char *name,
                                const char *value)
{
    const struct command *command = line->command;
    uint64_t number = 0;
    if (!*value) return wrong(command, name, "its value is empty");
    switch (option) {
    case TAKES_OUT:
        line->job.out = value;
        return OPTIONS_RUN;
    case TAKES_CONTROLLER:
        line->job.controller = value;
        return OPTIONS_RUN;
    case TAKES_EVALUATE:
        line->job.evaluate = value;
        return OPTIONS_RUN;
    case TAKES_LOG:
        return repeat(line->log, &line->job.n_logs, command, name, value);
    case TAKES_POINTING:
        return repeat(line->pointing, &line->job.n_pointings, command, name, value);
    case TAKES_ACCEPT:
        return take_accept(line, name, value);
    case TAKES_MODES:
        if (!read_whole(&number, value, TUNE_MODES_MAX) || number == 0)
            return wrong(command, name, "expected a whole number from 1 to 24");
        line->job.modes = (size_t)number;
        return OPTIONS_RUN;
    case TAKES_THREADS:
        if (!read_whole(&number, value, THREADS_MOST) || number == 0)
            return wrong(command, name, "expected a whole number from 1 to 1024");
        line->job.threads = (size_t)number;
        return OPTIONS_RUN;
    default:
        if (!read_whole(&line->seed, value, UINT64_MAX))
            return wrong(command, name, "expected a whole number from 0");
        line->has_seed = true;
        return OPTIONS_RUN;
    }
}

/* ---- words --------------------------------------------------------------------------------------*/

static const struct option *find(const struct command *command, const char *word, size_t length)
{
    for (size_t i = 0; i < OPTIONS; i++) {
        const struct option *option = &option_list[i];
        if (strlen(option->name) != length || strncmp(option->name, word, length) != 0) continue;
        return option->taken_by == ALWAYS || (command->options & option->taken_by) ? option : NULL;
    }
    return NULL;
}

static enum options_answer unknown(const struct command *command, const char *word, size_t length)
{
    const char *name[OPTIONS], *near;
    char bare[64], what[96] = "no such option";
    size_t n = 0;
    for (size_t i = 0; i < OPTIONS; i++)
        if (option_list[i].taken_by == ALWAYS || (command->options & option_list[i].taken_by))
            name[n++] = option_list[i].name;
    (void)snprintf(bare, sizeof bare, "%.*s", (int)(length < 63 ? length : 63), word);
    near = tune_text_nearest(bare, name, n);
    if (near) (void)snprintf(what, sizeof what, "no such option; did you mean %s?", near);
    return wrong(command, word, what);
}

/* One option at argv[*at]; *at moves on to its value where that is a word of its own. */
static enum options_answer one(struct command_line *line, int *at, int argc, char **argv)
{
    const char *word = argv[*at], *equals = strchr(word, '=');
    const size_t length = equals ? (size_t)(equals - word) : strlen(word);
    const struct option *option = find(line->command, word, length);
    if (!option) return unknown(line->command, word, length);
    if (!option->value) {
        if (equals) return wrong(line->command, word, "this option takes no value");
        if (!strcmp(option->name, "--help")) return OPTIONS_HELP;
        *(option->taken_by == TAKES_GOAL    ? &line->job.bold
          : option->taken_by == TAKES_BOUND ? &line->job.bound
          : !strcmp(option->name, "--json") ? &line->json
                                            : &line->quiet) = true;
        return OPTIONS_RUN;
    }
    if (equals) return take(line, option->taken_by, option->name, equals + 1);
    if (*at + 1 >= argc) return wrong(line->command, word, "its value is missing");
    return take(line, option->taken_by, option->name, argv[++*at]);
}

/* The argument of that number, as the usage names it. */
static enum options_answer missing(const struct command *command, size_t argument)
{
    const char *word = strstr(command->usage, "] ");
    for (word = word ? word + 2 : command->usage; argument > 0 && strchr(word, ' '); argument--)
        word = strchr(word, ' ') + 1;
    fprintf(stderr,
            "quietaxis %s: %.*s is missing\nUsage: quietaxis %s\nTry: quietaxis %s --help\n",
            command->name, (int)strcspn(word, " "), word, command->usage, command->name);
    return OPTIONS_WRONG;
}

/* A log or another file where the logbook is wanted. */
static enum options_answer check_logbook(const struct command_line *line)
{
    const char *path = line->job.logbook;
    const size_t length = strlen(path);
    struct stat info;
    if (!strstr(line->command->usage, "LOGBOOK") || stat(path, &info) != 0 ||
        !S_ISREG(info.st_mode) || (length >= 4 && !strcmp(path + length - 4, ".ini")))
        return OPTIONS_RUN;
    return wrong(line->command, path, "a file; LOGBOOK is a folder with axis.ini");
}

enum options_answer options_read(struct command_line *line, const struct command *command, int argc,
                                 char **argv)
{
    bool options_end = false;
    memset(line, 0, sizeof *line);
    line->command = command;
    line->job.log = line->log;
    line->job.pointing = line->pointing;
    line->job.accept = line->accept;
    for (int i = 1; i < argc; i++) {
        if (!options_end && !strcmp(argv[i], "--")) {
            options_end = true;
        } else if (!options_end && argv[i][0] == '-' && argv[i][1]) {
            const enum options_answer answer = one(line, &i, argc, argv);
            if (answer != OPTIONS_RUN) return answer;
        } else if (line->n_arguments == command->arguments) {
            return wrong(command, argv[i], "one word too many");
        } else {
            line->argument[line->n_arguments++] = argv[i];
        }
    }
    if (line->n_arguments < command->arguments) return missing(command, line->n_arguments);
    for (size_t i = 0; i < line->n_arguments; i++)
        if (!line->argument[i][0]) return wrong(command, command->usage, "a name is empty");
    line->job.logbook = line->argument[command->arguments - 1];
    return check_logbook(line);
}
