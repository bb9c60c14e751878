/* identify_verdicts.c - what is kept of every record, and the verdict on each mode.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "chain/identify_internal.h"

enum tune_status chain_record_circumstances(struct pointing_record *out,
                                            struct pointing_work *pointing,
                                            const struct tune_record *rec, struct tune_error *err)
{
    const struct tune_measures *measures = &out->health.measures;
    enum tune_status status =
        tune_course_take(&out->course, rec, fmax(measures->noise_rad.value, 0.0),
                         fmax(measures->step_rad, 0.0), err);
    out->level_nm = chain_record_level(rec);
    if (!status) status = chain_record_cross(out, pointing, rec, err);
    return status;
}

void chain_circumstances_free(struct pointing_record *record)
{
    tune_course_free(&record->course);
    tune_frf_free(&record->other);
    tune_lines_free(&record->other_lines);
}

enum tune_status chain_identify_verdicts(struct tune_pointing_plant *out,
                                         const struct pointing_work *pointing,
                                         const struct chain *chain, struct tune_error *err)
{
    const double lines = chain->logbook.drive.encoder_lines_per_turn;
    struct tune_mode_record *record = calloc(pointing->n_records, sizeof *record);
    const struct tune_mode_circumstances circumstances = {
        .record = record,
        .n_records = pointing->n_records,
        .levels = &out->levels,
        .band_hz = {out->band_hz[0], out->band_hz[1]},
        .encoder_lines_per_turn = lines > 0.0 ? lines : 0.0,
    };
    if (!record) return tune_error_memory(err, "judging modes");
    for (size_t i = 0; i < pointing->n_records; i++) {
        const struct pointing_record *from = &pointing->record[i];
        record[i] = (struct tune_mode_record){.name = from->log->name,
                                              .course = &from->course,
                                              .health = &from->health,
                                              .line_spacing_hz =
                                                  from->lines.periodic ? from->lines.df_hz : 0.0};
    }
    tune_body_judge(&out->body, &circumstances);
    tune_mode_judge(out->verdict, &out->fit, &circumstances);
    free(record);
    return TUNE_OK;
}
