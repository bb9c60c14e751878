/* identify_tracks.c - the pointings held against each other: which mode is which, what the modes follow,
 * whether one may interpolate, where the next sweep would tell most.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "core/units.h"

/* ---- conditions ------------------------------------------------------------------------------------*/

static enum tune_other_axis state_of(const struct tune_log_entry *log)
{
    for (int s = TUNE_OTHER_AXIS_HOLDING; s < TUNE_OTHER_AXIS_STATES; s++)
        if (!strcmp(log->other_axis_state, tune_other_axis_name((enum tune_other_axis)s)))
            return (enum tune_other_axis)s;
    return TUNE_OTHER_AXIS_UNKNOWN;
}

/* Both stated and more than a degree apart; modes move by far less over that (rule of the house). */
static bool apart(double a_deg, double b_deg)
{
    return fabs(a_deg - b_deg) > 1.0;
}

void chain_identify_condition(struct tune_pointing_plant *out, struct pointing_work *pointing)
{
    const struct tune_log_entry *first = pointing->log[0];
    out->angle_deg = first->angle_deg;
    out->other_axis_deg = first->other_axis_deg;
    out->other_axis = state_of(first);
    for (size_t k = 1; k < pointing->n_logs; k++) {
        const struct tune_log_entry *log = pointing->log[k];
        const char *key = apart(log->angle_deg, first->angle_deg)             ? "angle_deg"
                          : apart(log->other_axis_deg, first->other_axis_deg) ? "other_axis_deg"
                          : state_of(log) != state_of(first)                  ? "other_axis_state"
                                                                              : NULL;
        if (!key) continue;
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: its logs %s and %s state different %s; they are taken together "
            "all the same, at that of the first. Give them different pointings.",
            out->name, first->name, log->name, key);
    }
}

/* ---- in words --------------------------------------------------------------------------------------*/

/* Track and pointing of a place: "mode 2 at west-30". */
static void place_text(char *text, size_t size, const struct tune_identification *id,
                       const size_t place[2])
{
    (void)snprintf(text, size, "mode %zu at %s", place[0] + 1, id->pointing[place[1]].name);
}

static double error_hz(const struct tune_tracks *tracks, const size_t place[2])
{
    const struct tune_track *track = &tracks->track[place[0]];
    return fabs(track->point[place[1]].f_hz.value - track->left_out[place[1]].predicted);
}

static void largest_error_text(char *text, size_t size, const struct tune_identification *id)
{
    const struct tune_tracks *tracks = &id->tracks;
    char at[64];
    text[0] = '\0';
    if (tracks->worst_error[0] >= tracks->n) return;
    place_text(at, sizeof at, id, tracks->worst_error);
    const double error = error_hz(tracks, tracks->worst_error);
    (void)snprintf(
        text, size, "; between pointings the largest error is %.2g Hz (%.2g %%), of %s", error,
        100.0 * error /
            tracks->track[tracks->worst_error[0]].left_out[tracks->worst_error[1]].predicted,
        at);
}

/* Pointings whose state of the other axis no other one has: nothing predicts them. */
static void alone_text(char *text, size_t size, const struct tune_identification *id)
{
    char list[96] = "";
    for (size_t p = 0; p < id->n_pointings; p++) {
        bool shared = false;
        for (size_t q = 0; q < id->n_pointings; q++)
            shared = shared || (q != p && id->pointing[q].other_axis == id->pointing[p].other_axis);
        if (!shared) chain_list_add(list, sizeof list, id->pointing[p].name);
    }
    text[0] = '\0';
    if (list[0])
        (void)snprintf(
            text, size,
            " States of the other axis that one pointing alone has (%s) are not checked.", list);
}

static void gap_text(char *text, size_t size, const struct tune_identification *id, double z,
                     const char *at)
{
    size_t gap[2];
    char missing[64];
    if (!tune_tracks_gap(gap, &id->tracks)) return;
    place_text(missing, sizeof missing, id, gap);
    (void)snprintf(
        text, size,
        "Leaving each pointing out and predicting it from the others holds where modes are "
        "found: at most %.1f std (%s). But %s is not: do not interpolate; where that mode "
        "goes between pointings is not known. A sweep in between would tell.",
        z, at, missing);
}

static void describe_interpolation(struct tune_identification *id)
{
    struct tune_tracks *tracks = &id->tracks;
    char *out = id->interpolation_text, error[160], at[64], alone[192];
    const size_t size = sizeof id->interpolation_text;
    if (tracks->interpolation == TUNE_INTERPOLATION_UNCHECKED) {
        (void)snprintf(out, size,
                       "Laws over pointings cannot be checked: that takes 4 pointings or more with "
                       "their angle_deg and a mode found at all of them.");
        return;
    }
    largest_error_text(error, sizeof error, id);
    alone_text(alone, sizeof alone, id);
    place_text(at, sizeof at, id, tracks->worst_z);
    const double z = tracks->track[tracks->worst_z[0]].left_out[tracks->worst_z[1]].z;
    if (tracks->interpolation == TUNE_INTERPOLATION_HOLDS)
        (void)snprintf(out, size,
                       "Leaving each pointing out and predicting it from the others holds: at most "
                       "%.1f std (%s)%s. %s%s",
                       fabs(z), at, error,
                       *error ? "Modes between these pointings may be interpolated."
                              : "None lies between others, so that interpolating was not checked.",
                       alone);
    else if (tracks->interpolation == TUNE_INTERPOLATION_GAPS)
        gap_text(out, size, id, fabs(z), at);
    else if (tracks->interpolation == TUNE_INTERPOLATION_COARSE)
        (void)snprintf(out, size,
                       "Leaving each pointing out and predicting it from the others: at most %.1f "
                       "std (%s)%s. Do not interpolate modes: what they do between pointings is "
                       "known to that only.",
                       fabs(z), at, error);
    else
        (void)snprintf(
            out, size,
            "Leaving each pointing out and predicting it from the others fails: %.1f std "
            "at %s%s. Do not interpolate: something besides the angles moves the modes "
            "(temperature, balance, a loose joint), or that log went wrong.",
            fabs(z), at, error);
}

/* Where predictions fail, a new place tells little before it is known whether the odd one is real. */
static void repeat_text(char *text, size_t size, const struct tune_identification *id)
{
    if (id->tracks.interpolation == TUNE_INTERPOLATION_FAILS)
        (void)snprintf(text, size,
                       "First repeat the sweep at %s: it does not fit the others, and whether it "
                       "does so again decides what is wrong. After that a",
                       id->pointing[id->tracks.worst_z[1]].name);
    else
        (void)snprintf(text, size, "A");
}

static void describe_next(struct tune_identification *id)
{
    const struct tune_next_pointing *next = &id->tracks.next;
    char other[64] = "", state[48] = "", first[160];
    if (!next->known) return;
    if (isfinite(next->at.other_axis_rad))
        (void)snprintf(other, sizeof other, ", other axis at %.4g deg",
                       tune_deg_from_rad(next->at.other_axis_rad));
    if (next->at.other_axis != TUNE_OTHER_AXIS_UNKNOWN)
        (void)snprintf(state, sizeof state, "%s %s", *other ? "," : ", other axis",
                       tune_other_axis_name(next->at.other_axis));
    repeat_text(first, sizeof first, id);
    (void)snprintf(
        id->next_text, sizeof id->next_text,
        "%s sweep at %.4g deg%s%s would tell most: mode %zu, near %.4g Hz, is known there "
        "to %.2g %% only (median elsewhere %.2g %%), then to %.2g %%.",
        first, tune_deg_from_rad(next->at.angle_rad), other, state, next->track + 1, next->f_hz,
        100.0 * next->std, 100.0 * next->std_median, 100.0 * next->std_then);
}

static void describe_doubts(struct tune_identification *id)
{
    char list[120] = "", word[72];
    for (size_t t = 0; t < id->tracks.n; t++)
        for (size_t p = 0; p < id->n_pointings; p++) {
            if (!id->tracks.track[t].point[p].ambiguous) continue;
            (void)snprintf(word, sizeof word, "mode %zu at %s", t + 1, id->pointing[p].name);
            chain_list_add(list, sizeof list, word);
        }
    if (list[0])
        tune_notes_add(
            &id->notes,
            "Which mode is which is not certain (%s): frequency, damping and gain of two "
            "modes are too alike there; a sweep in between would tell.",
            list);
}

/* ---- all of it ---------------------------------------------------------------------------------------*/

static double radians(double deg)
{
    return isfinite(deg) ? tune_rad_from_deg(deg) : (double)NAN;
}

static struct tune_tracked_fit tracked(const struct tune_pointing_plant *pointing)
{
    return (struct tune_tracked_fit){
        .fit = &pointing->fit,
        .at = {radians(pointing->angle_deg), radians(pointing->other_axis_deg),
               pointing->other_axis},
        .band_hz = {pointing->band_hz[0], pointing->band_hz[1]},
    };
}

enum tune_status chain_identify_tracks(struct tune_identification *out, const struct chain *chain,
                                       double done, struct tune_error *err)
{
    const double *travel_deg = chain->logbook.drive.travel_limit_deg;
    struct tune_tracks_opts opts = tune_tracks_defaults();
    struct tune_tracked_fit plant[TUNE_TRACK_POINTINGS_MAX];
    struct progress progress;
    struct progress_item watch;
    enum tune_status status;
    if (out->n_pointings < 2) return TUNE_OK;
    if (out->n_pointings > TUNE_TRACK_POINTINGS_MAX) {
        tune_notes_add(&out->notes,
                       "Modes are followed over at most %d pointings: with %zu they were not.",
                       TUNE_TRACK_POINTINGS_MAX, out->n_pointings);
        return TUNE_OK;
    }
    for (size_t p = 0; p < out->n_pointings; p++)
        plant[p] = tracked(&out->pointing[p]);
    opts.travel_rad[0] = radians(travel_deg[0]);
    opts.travel_rad[1] = radians(travel_deg[1]);
    progress_start(&progress, chain->job->watch, 1, done, 1.0);
    progress_item(&watch, &progress, 0, "modes over pointings");
    status = tune_tracks_fit(&out->tracks, plant, out->n_pointings, &opts, &watch.watch, err);
    if (status) return status;
    describe_interpolation(out);
    describe_next(out);
    describe_doubts(out);
    if (out->tracks.next.known) chain_caution_sweep(&out->notes);
    return TUNE_OK;
}
