/* main.c - quietaxis: from the logs of a telescope axis to a servo loop that holds it still.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "command.h"
#include "options.h"
#include "talk.h"

static const struct command *const command_list[] = {
    &command_new,      &command_precheck, &command_inspect,  &command_balance,
    &command_identify, &command_design,   &command_predict,  &command_verify,
    &command_report,   &command_analyse,  &command_simulate,
};

enum { COMMANDS = sizeof command_list / sizeof *command_list };

static void print_overview(FILE *to)
{
    fprintf(to, "quietaxis COMMAND [OPTIONS] LOGBOOK\n\n"
                "From the logs of a direct-drive telescope axis to a servo loop that holds it\n"
                "still, and how sure that is. LOGBOOK is a folder with axis.ini and its logs.\n\n");
    for (size_t i = 0; i < COMMANDS; i++)
        fprintf(to, "  %-10s %s\n", command_list[i]->name, command_list[i]->answers);
    fprintf(to, "\n  quietaxis analyse hour-angle\n\n"
                "quietaxis COMMAND --help tells more; quietaxis --version tells the version.\n"
                "Exit: 0 done, 1 the answer is no, 2 misuse or system error, 3 unusable data,\n"
                "4 no solution found.\n"
                "Nothing is ever written to a drive: whoever types gains in moves the axis.\n");
}

static const struct command *find(const char *name)
{
    for (size_t i = 0; i < COMMANDS; i++)
        if (!strcmp(command_list[i]->name, name)) return command_list[i];
    return NULL;
}

static int unknown(const char *word)
{
    const char *name[COMMANDS], *near;
    for (size_t i = 0; i < COMMANDS; i++)
        name[i] = command_list[i]->name;
    near = tune_text_nearest(word, name, COMMANDS);
    fprintf(stderr, "quietaxis: no such command: %s%s%s%s\nTry: quietaxis --help\n", word,
            near ? "; did you mean " : "", near ? near : "", near ? "?" : "");
    return EXIT_MISUSE;
}

int main(int argc, char **argv)
{
    static struct command_line line;
    const struct command *command;

    if (argc < 2) {
        print_overview(stderr);
        return EXIT_MISUSE;
    }
    if (!strcmp(argv[1], "--help") || !strcmp(argv[1], "help")) {
        print_overview(stdout);
        return EXIT_DONE;
    }
    if (!strcmp(argv[1], "--version")) {
        printf("quietaxis %s\n", tune_version());
        return EXIT_DONE;
    }
    command = find(argv[1]);
    if (!command) return unknown(argv[1]);
    switch (options_read(&line, command, argc - 1, argv + 1)) {
    case OPTIONS_HELP:
        options_help(command);
        return EXIT_DONE;
    case OPTIONS_WRONG:
        return EXIT_MISUSE;
    case OPTIONS_RUN:
    default:
        talk_start(&line);
        return command->run(&line);
    }
}
