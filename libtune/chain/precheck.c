/* precheck.c - is the axis what the logbook says, from its first small motions.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/precheck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/precheck_internal.h"
#include "logbook/description.h"

size_t tune_chain_precheckable(const struct tune_logbook *logbook)
{
    size_t n = 0;
    for (size_t i = 0; i < logbook->n_logs; i++)
        n += tune_log_is_motion(logbook->log[i].kind);
    return n;
}

/* ---- provenance ----------------------------------------------------------------------------------*/

/* "WORD X deg", or "" where it is not stated. */
static const char *stated_deg(char *room, size_t size, const char *word, double deg)
{
    room[0] = '\0';
    if (!isnan(deg)) (void)snprintf(room, size, "%s %.6g deg", word, deg);
    return room;
}

/* What a first motion's section says beside how it is read. */
static enum tune_status add_motion(struct tune_provenance *now, const struct tune_log_entry *log,
                                   struct tune_error *err)
{
    char name[TUNE_OPTION_NAME], more[64];
    (void)snprintf(name, sizeof name, "motion %s", log->name);
    if (log->kind == TUNE_LOG_MOVE)
        return tune_provenance_add_option(now, err, name, "%.15g +- %.6g deg", log->known_angle_deg,
                                          log->known_angle_std_deg);
    if (log->kind == TUNE_LOG_LOAD)
        return tune_provenance_add_option(
            now, err, name, "%.15g +- %.6g kg, %.15g +- %.6g m, %.6g deg%s", log->load_kg,
            log->load_std_kg, isnan(log->load_arm_m) ? 0.0 : log->load_arm_m, log->load_arm_std_m,
            log->load_arm_angle_deg,
            stated_deg(more, sizeof more, ", tilt", log->load_axis_tilt_deg));
    if (log->kind == TUNE_LOG_LIMIT)
        return tune_provenance_add_option(now, err, name, "%s",
                                          log->limit_side == TUNE_LIMIT_HIGH ? "high" : "low");
    return tune_provenance_add_option(
        now, err, name, "%s", stated_deg(more, sizeof more, "other axis", log->other_axis_deg));
}

/* What the logbook states and the checks compare with. */
static enum tune_status add_stated(struct tune_provenance *now, const struct tune_logbook *logbook,
                                   struct tune_error *err)
{
    const struct tune_drive_entry *drive = &logbook->drive;
    const struct tune_expected_entry *expected = &logbook->expected;
    enum tune_status status = tune_provenance_add_option(
        now, err, "drive", "%.15g %.15g %.15g %.15g %.15g %.15g %.15g %zu",
        drive->torque_per_unit_nm, drive->torque_limit_nm, drive->encoder_counts_per_turn,
        drive->travel_limit_deg[0], drive->travel_limit_deg[1], drive->rate_limit_deg_per_s,
        drive->following_error_limit_deg, drive->pole_pairs);
    if (!status)
        status = tune_provenance_add_option(
            now, err, "expected", "%.15g %.15g %.15g %.15g %.15g %.15g", expected->inertia_kg_m2,
            expected->inertia_std_kg_m2, expected->coulomb_nm, expected->stop_room_deg,
            expected->index_repeat_arcsec, expected->commutation_offset_deg);
    if (!status)
        status = tune_provenance_add_option(now, err, "axis", "%s %.15g", logbook->axis.name,
                                            logbook->axis.latitude_deg);
    return status;
}

/* The logs of the job and what the answer depends on. */
static enum tune_status choose(struct precheck_work *work, struct tune_provenance *now,
                               struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->chain.logbook;
    enum tune_status status = chain_provenance(now, &work->chain, TUNE_SCHEMA_PRECHECK, err);
    if (!status) status = add_stated(now, logbook, err);
    work->log = calloc(logbook->n_logs + 1, sizeof *work->log);
    if (!status && !work->log) status = tune_error_memory(err, "choosing logs");
    for (size_t i = 0; !status && i < logbook->n_logs; i++) {
        const struct tune_log_entry *log = &logbook->log[i];
        if (!tune_log_is_motion(log->kind) || !chain_log_chosen(&work->chain, log)) continue;
        work->log[work->n++].entry = log;
        status = chain_add_log(now, &work->chain, log, 0, err);
        if (!status) status = add_motion(now, log, err);
    }
    if (!status && work->n == 0) {
        status =
            tune_error_set(err, TUNE_EDATA,
                           "there is no log of a first motion among those chosen: log pulses, a "
                           "move, a coast, a load, limits or the index (docs/precheck.md)");
        tune_error_place(err, logbook->ini_path, 0, 0);
    }
    return status;
}

/* ---- words ---------------------------------------------------------------------------------------*/

static void add_cautions(struct precheck_work *work)
{
    struct tune_notes *cautions = &work->out->cautions;
    for (size_t i = 0; i < work->out->n_checks; i++) {
        const struct tune_check *check = &work->out->check[i];
        if (check->answer == TUNE_CHECK_DISAGREES && strstr(check->name, "-sign"))
            tune_notes_add(
                cautions,
                "Do not close a loop: %s disagrees. A wrong sign drives the axis into its stop.",
                check->name);
    }
    tune_notes_add(
        cautions,
        "Nothing was moved and nothing written to a drive. Whoever moves the axis answers "
        "for it: local law, site rules, licensed practice, the drive's own limits and the "
        "emergency stop come first.");
    tune_notes_add(
        cautions, "First motions: one person at the emergency stop, nobody within reach, optics "
                  "covered, torque and speed limits lowered, the smallest torque first; limits and "
                  "stops by hand before any drive moves into them.");
    for (size_t i = 0; i < work->n; i++)
        if (work->log[i].entry->kind == TUNE_LOG_LOAD) {
            tune_notes_add(
                cautions,
                "Weights: lock or pin the axis before a weight is fixed or taken off, secure it "
                "against falling, stay out from under it, take it off afterwards; a servo and a "
                "brake are no lock.");
            break;
        }
}

static void add_notes(struct precheck_work *work, const struct tune_log_entry **entry)
{
    struct tune_notes *notes = &work->out->notes;
    for (size_t i = 0; i < work->n; i++)
        entry[i] = work->log[i].entry;
    tune_notes_add(
        notes, "Disagrees: off by more than the tolerance and four std. The tolerances are common "
               "practice, without a source.");
    precheck_note_weights(work);
    chain_note_signs(notes, &work->chain.logbook);
    chain_note_mappings(notes, entry, work->n);
}

/* Which answer is not believed while the counts per turn are wrong. The loop had another gain, and moves and
 * coasts were not as long and as fast as meant: that passes for friction, and a limit that was met where
 * the log puts it is not where the axis met it. What disagrees of the others stays: a limit that does not act is
 * none of the counts. */
static const struct {
    const char *name;
    enum tune_check_answer answer;
} doubtful[] = {
    {"friction", TUNE_CHECK_DISAGREES},       {"limit-low", TUNE_CHECK_AGREES},
    {"limit-high", TUNE_CHECK_AGREES},        {"following-error", TUNE_CHECK_AGREES},
    {"stopping-distance", TUNE_CHECK_AGREES}, {"index-repeatability", TUNE_CHECK_AGREES},
};

void precheck_doubt_by_counts(struct tune_precheck *out)
{
    const struct tune_check *counts = tune_precheck_find(out, "counts-per-turn");
    if (!counts || counts->answer != TUNE_CHECK_DISAGREES) return;
    for (size_t i = 0; i < out->n_checks; i++)
        for (size_t k = 0; k < sizeof doubtful / sizeof *doubtful; k++) {
            struct tune_check *check = &out->check[i];
            if (strcmp(check->name, doubtful[k].name) || check->answer != doubtful[k].answer)
                continue;
            check->answer = TUNE_CHECK_NOT_TESTED;
            precheck_advise(check,
                            "Seems %s, but the counts per turn are wrong: correct them first, then "
                            "log it again.",
                            doubtful[k].answer == TUNE_CHECK_AGREES ? "right" : "wrong");
        }
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static enum tune_status check_all(struct precheck_work *work, struct tune_error *err)
{
    const struct tune_log_entry **entry = calloc(work->n + 1, sizeof *entry);
    enum tune_status status =
        entry ? precheck_measure(work, err) : tune_error_memory(err, "checking first motions");
    if (!status) status = precheck_scales(work, err);
    if (!status) {
        precheck_commutation(work);
        precheck_index(work);
        precheck_friction(work);
        precheck_stopping(work);
        precheck_following(work);
        precheck_travel(work, TUNE_LIMIT_LOW);
        precheck_travel(work, TUNE_LIMIT_HIGH);
        precheck_doubt_by_counts(work->out);
        add_cautions(work);
        add_notes(work, entry);
        status = chain_write(work->out, &work->chain, &chain_precheck_kind, NULL, 0, err);
    }
    free(entry);
    return status;
}

enum tune_status tune_chain_precheck(struct tune_precheck *out, const struct tune_job *job,
                                     struct tune_error *err)
{
    struct precheck_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    bool fresh = false;
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (!work) return tune_error_memory(err, "checking first motions");
    work->out = out;
    status = chain_open(&work->chain, job, err);
    if (!status) status = choose(work, &now, err);
    if (!status) status = chain_reuse(out, &fresh, &work->chain, &chain_precheck_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = check_all(work, err);
    }
    if (status) tune_precheck_free(out);
    tune_provenance_free(&now);
    for (size_t i = 0; i < work->n; i++)
        tune_record_free(&work->log[i].load);
    free(work->log);
    chain_close(&work->chain);
    free(work);
    return status;
}
