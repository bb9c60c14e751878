/* identify_left_out.c - logs and pointings that tell too little of the axis: the others go on without them,
 * and it is said; where none is left, why, and what to mind before sweeping again.
 *
 * What is wrong (a dead channel, a clock, a sign) is refused instead: it may be wrong in what stays, too.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "record/text.h"

enum { SHOWN = 232 }; /* of an error that becomes a note */

static const char *shown(char out[SHOWN], const struct tune_error *why)
{
    return tune_text_shown(out, SHOWN, why->text, strlen(why->text));
}

/* ---- logs ---------------------------------------------------------------------------------------*/

/* Its logs go behind those in use, in their order. */
static void move_logs(struct pointing_work *pointing, const struct pointing_record *record)
{
    size_t first = 0;
    while (pointing->log[first] != record->log)
        first++;
    for (size_t k = 0; k < record->n_logs; k++) {
        const size_t behind = pointing->n_logs + pointing->n_left_out - first - 1;
        const struct tune_log_entry *log = pointing->log[first];
        const size_t rows = pointing->rows[first];
        memmove(&pointing->log[first], &pointing->log[first + 1], behind * sizeof(log));
        memmove(&pointing->rows[first], &pointing->rows[first + 1], behind * sizeof rows);
        pointing->log[first + behind] = log;
        pointing->rows[first + behind] = rows;
    }
    pointing->n_logs -= record->n_logs;
    pointing->n_left_out += record->n_logs;
}

static void leave_out(struct pointing_work *pointing, size_t i)
{
    struct pointing_record *record = &pointing->record[i];
    char why[SHOWN];
    tune_notes_add(&pointing->left_out, "Log %s is left out of pointing %s: %s", record->log->name,
                   record->log->pointing, shown(why, &record->why));
    move_logs(pointing, record);
    chain_record_free(record);
    pointing->n_records--;
    memmove(record, record + 1, (pointing->n_records - i) * sizeof *record);
}

enum tune_status chain_leave_out_logs(struct pointing_work *pointing, struct tune_error *err)
{
    size_t standing = 0;
    for (size_t i = 0; i < pointing->n_records; i++)
        standing += !pointing->record[i].too_little;
    if (!standing) {
        *err = pointing->record[0].why;
        return err->status;
    }
    for (size_t i = pointing->n_records; i-- > 0;)
        if (pointing->record[i].too_little) leave_out(pointing, i);
    return TUNE_OK;
}

/* ---- pointings ----------------------------------------------------------------------------------*/

/* The failed pointing behind all others. */
static void move_pointing(struct tune_identification *out, struct identification_work *work,
                          size_t i)
{
    const struct pointing_work failed = work->pointing[i];
    const size_t behind = work->n + work->n_failed - i - 1;
    char why[SHOWN];
    tune_notes_add(&out->left_out, "Pointing %s is left out, and nothing here holds there: %s",
                   failed.log[0]->pointing, shown(why, &failed.why));
    memmove(&work->pointing[i], &work->pointing[i + 1], behind * sizeof failed);
    work->pointing[i + behind] = failed;
    work->n--;
    work->n_failed++;
    tune_fit_free(&out->pointing[i].fit);
    out->n_pointings--;
    memmove(&out->pointing[i], &out->pointing[i + 1],
            (out->n_pointings - i) * sizeof *out->pointing);
}

enum tune_status chain_leave_out_pointings(struct tune_identification *out,
                                           struct identification_work *work, struct tune_error *err)
{
    size_t failed = 0;
    for (size_t i = 0; i < work->n; i++)
        failed += work->pointing[i].failed;
    if (failed && failed == work->n) {
        if (err) *err = work->pointing[0].why;
        chain_caution_error(err);
        return work->pointing[0].why.status;
    }
    for (size_t i = 0; i < work->n;)
        if (work->pointing[i].failed)
            move_pointing(out, work, i);
        else
            i++;
    return TUNE_OK;
}

/* ---- why ----------------------------------------------------------------------------------------*/

static void append(struct tune_error *err, const char *text)
{
    const size_t used = strlen(err->text);
    (void)tune_text_shown(err->text + used, sizeof err->text - used, text, strlen(text));
}

/* One finding of each name is enough. */
static bool is_told(const struct pointing_work *pointing, size_t record, size_t finding)
{
    const char *name = pointing->record[record].health.finding[finding].name;
    for (size_t r = 0; r <= record; r++)
        for (size_t i = 0; i < (r < record ? pointing->record[r].health.n_findings : finding); i++)
            if (!strcmp(pointing->record[r].health.finding[i].name, name)) return true;
    return false;
}

void chain_tell_reasons(struct tune_error *err, const struct pointing_work *pointing)
{
    enum { REASONS_MAX = 3 };
    size_t told = 0;
    for (size_t r = 0; r < pointing->n_records; r++)
        for (size_t i = 0; i < pointing->record[r].health.n_findings && told < REASONS_MAX; i++) {
            const struct tune_finding *finding = &pointing->record[r].health.finding[i];
            char reason[SHOWN];
            if (finding->severity == TUNE_FIT || is_told(pointing, r, i)) continue;
            (void)snprintf(reason, sizeof reason, "%s%s: %s", told ? "; " : ". Inspect finds ",
                           finding->name, finding->text);
            append(err, reason);
            told++;
        }
    append(err,
           ". Friction hides an axis that rests or turns back: sweep on a ramp faster than the "
           "sweep's own motion; else sweep longer; harder only within the drive's torque, "
           "current, speed and following-error limits");
}

/* ---- before a sweep -----------------------------------------------------------------------------*/

static const char caution[] =
    "A sweep moves the axis: local law and site rules first, the drive's limits and the emergency "
    "stop tested, nobody within reach, one person at the stop, clear of the soft limits for the "
    "whole ramp, a tenth of the amplitude first. Nothing here knows where the mount may go or how "
    "hard it may be driven.";

void chain_caution_sweep(struct tune_notes *notes)
{
    tune_notes_add(notes, "%s", caution);
}

void chain_caution_error(struct tune_error *err)
{
    if (!err) return;
    append(err, ". ");
    append(err, caution);
}
