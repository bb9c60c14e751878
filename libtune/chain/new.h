/* new.h - a commented logbook to fill in.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_NEW_H
#define TUNE_CHAIN_NEW_H

#include "core/status.h"

/* Writes axis.ini and an empty logs folder. TUNE_EINVAL when there is an axis.ini already. */
TUNE_API enum tune_status tune_chain_new(const char *folder, struct tune_error *err);

#endif
