/* options.h - reading a command line.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_OPTIONS_H
#define APP_OPTIONS_H

#include "command.h"

enum options_answer { OPTIONS_RUN, OPTIONS_HELP, OPTIONS_WRONG };

/* argv[0] is the command's name. After OPTIONS_WRONG the reason has been printed on standard error. */
enum options_answer options_read(struct command_line *line, const struct command *command, int argc,
                                 char **argv);

/* Usage, what the command does, its options: on standard output. */
void options_help(const struct command *command);

#endif
