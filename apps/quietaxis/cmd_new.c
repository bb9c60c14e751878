/* cmd_new.c - `new`: a commented logbook to fill in.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static int run(const struct command_line *line)
{
    const char *const files[] = {"axis.ini"};
    struct tune_error err;
    char *text = NULL;
    if (tune_chain_new(line->argument[0], &err)) return command_fail(&err);
    if (line->json)
        return print_json(tune_listing_json(&text, "quietaxis-new-1", files, 1, NULL, &err), &text,
                          &err);
    printf("%s/axis.ini\n", line->argument[0]);
    command_say(line, "Fill it in, put the logs into %s/logs, then: quietaxis inspect %s",
                line->argument[0], line->argument[0]);
    return print_end(EXIT_DONE);
}

const struct command command_new = {
    .name = "new",
    .answers = "writes a commented logbook to fill in",
    .usage = "new [OPTIONS] DIR",
    .help = "Writes DIR/axis.ini with every key explained, and an empty DIR/logs. A logbook\n"
            "that is there already is left as it is.\n"
            "\n"
            "  quietaxis new hour-angle\n"
            "\n"
            "Exit: 0 written, 2 misuse, or the folder cannot be written.\n",
    .options = 0,
    .arguments = 1,
    .run = run,
};
