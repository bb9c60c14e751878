/* ini_writer_internal.h - axis.ini of a simulated logbook.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_INI_WRITER_INTERNAL_H
#define TUNE_INI_WRITER_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "logbook/description.h"
#include "results/truth.h"

/* The part of a description that is a logbook too, [axis] [drive] [controller] [requirement], word for
 * word. The caller frees *out. */
enum tune_status chain_logbook_head(char **out, const char *description, struct tune_error *err);

/* Append [payload] where the logs hold an accelerometer's readings: how far from the axis it sits. */
enum tune_status chain_append_payload(char **text, const struct tune_simulated_sensors *sensors,
                                      struct tune_error *err);

/* Append the section of one simulated log to *text (reallocated). Of truth only the known angle of a move is told. own_controller: it ran under
 * controllers/NAME.ini. */
enum tune_status chain_append_log(char **text, const struct tune_simulated_log *log,
                                  const struct tune_pointing_entry *pointing,
                                  const struct tune_truth_log *truth, bool own_controller,
                                  struct tune_error *err);

#endif
