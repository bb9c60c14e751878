/* talk.h - progress on standard error, and Ctrl-C.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_TALK_H
#define APP_TALK_H

#include "command.h"

/* Set the watch and the note callback of the line's job, and catch interrupts so that a command ends
 * cleanly: nothing half written stays. */
void talk_start(struct command_line *line);

#endif
