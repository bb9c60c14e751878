/* description_response.c - tables of responses that `simulate` is to write.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/description_internal.h"

enum tune_status
description_read_response(struct tune_simulated_log *entry, const struct tune_description *out,
                          const struct raw_log *raw, const struct ini_document *document,
                          const struct ini_section *section, struct tune_error *err)
{
    static const char limit[] = "above sweep_from_hz and below half the loop rate";
    const struct ini_entry *to = ini_find(document, section, "sweep_to_hz");
    enum tune_status status = description_refuse_trouble(document, section, err);
    if (status) return status;
    if (!(raw->to_hz > raw->from_hz && raw->to_hz < 0.5 * out->axis.plant.loop_rate_hz))
        return ini_refuse(err, section, to, limit, "sweep_to_hz = %s is not possible: expected %s",
                          to ? to->value : "", limit);
    entry->response = (struct tune_simulated_response){.points = raw->points,
                                                       .from_hz = raw->from_hz,
                                                       .to_hz = raw->to_hz,
                                                       .of_loop = raw->of_loop,
                                                       .noise = raw->response_noise};
    entry->response.tell = raw->tell == 1   ? TUNE_TELL_COHERENCE
                           : raw->tell == 2 ? TUNE_TELL_NOTHING
                                            : TUNE_TELL_STD;
    return TUNE_OK;
}
