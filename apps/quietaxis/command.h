/* command.h - what every command of the program is made of: a table entry, a parsed command line, the
 * way to talk and to fail.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_COMMAND_H
#define APP_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "tune.h"

/* The contract with scripts. */
enum exit_code {
    EXIT_DONE = 0,     /* done, or the answer is yes */
    EXIT_NO = 1,       /* the answer is no: requirement missed, a log is unfit */
    EXIT_MISUSE = 2,   /* misuse, a file not there or not readable, the system refused */
    EXIT_UNUSABLE = 3, /* unusable data */
    EXIT_NO_SOLUTION = 4
};

/* Options a command may take besides --help, --json, --quiet. */
enum command_option {
    TAKES_OUT = 1,        /* --out DIR */
    TAKES_CONTROLLER = 2, /* --controller FILE */
    TAKES_LOG = 4,        /* --log NAME, may be repeated */
    TAKES_POINTING = 8,   /* --pointing NAME, may be repeated */
    TAKES_THREADS = 16,   /* --threads N */
    TAKES_SEED = 32,      /* --seed N */
    TAKES_ACCEPT = 64,    /* --accept FINDING, may be repeated */
    TAKES_MODES = 128,    /* --modes N */
    TAKES_GOAL = 256,     /* --bold */
    TAKES_EVALUATE = 512, /* --evaluate FILE */
    TAKES_BOUND = 1024    /* --bound */
};

enum { COMMAND_ARGUMENTS_MAX = 4, COMMAND_REPEATS_MAX = 256 };

/* A parsed command line. job is ready for the chain: folder, watch and note callback are set. */
struct command_line {
    const struct command *command;
    struct tune_job job;
    const char *argument[COMMAND_ARGUMENTS_MAX];
    size_t n_arguments;
    bool json, quiet;
    bool silent; /* compute, write the files, print no answer: a step of a larger command */
    bool step;   /* of a larger command, whose --log may be about another step */
    bool has_seed;
    uint64_t seed;
    const char *log[COMMAND_REPEATS_MAX], *pointing[COMMAND_REPEATS_MAX];
    const char *accept[COMMAND_REPEATS_MAX];
};

struct command {
    const char *name;
    const char *answers;  /* one line for the list of commands */
    const char *usage;    /* "design [OPTIONS] LOGBOOK" */
    const char *help;     /* what it does; example and exit codes, ready to print */
    const char *log_help; /* of --log, where that is not "only this log" */
    unsigned options;     /* of enum command_option */
    size_t arguments;     /* how many it wants */
    int (*run)(const struct command_line *line); /* returns an exit code */
};

extern const struct command command_new, command_simulate, command_precheck, command_inspect,
    command_identify, command_design, command_predict, command_verify, command_report,
    command_analyse, command_balance;

/* Print `quietaxis: file:line:column: sentence (thing = value, expected limit)` on standard error and
 * return the exit code that belongs to it. */
int command_fail(const struct tune_error *err);

/* A sentence for the person on standard error, unless --quiet. */
void command_say(const struct command_line *line, const char *format, ...) TUNE_PRINTF(2, 3);

/* Wipe a progress line that stands on the terminal; call before printing results. */
void command_progress_done(void);

/* Print the text of a result on standard output; EXIT_MISUSE where that cannot be written. */
int command_print(const char *text);

#endif
