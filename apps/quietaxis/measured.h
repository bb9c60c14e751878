/* measured.h - tables of responses as text.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_MEASURED_H
#define APP_MEASURED_H

#include "command.h"

/* What came of the tables of responses among the logs; nothing where there are none. */
void print_measured_tables(const struct tune_identification *result);

#endif
