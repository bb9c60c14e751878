/* identification_tracks.c - identify.json: modes over pointings, their laws, the next pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "results/identification_internal.h"

static const char *const states[TUNE_OTHER_AXIS_STATES] = {
    [TUNE_OTHER_AXIS_UNKNOWN] = "unknown",
    [TUNE_OTHER_AXIS_HOLDING] = "holding",
    [TUNE_OTHER_AXIS_BRAKED] = "braked",
    [TUNE_OTHER_AXIS_FREE] = "free",
};
static const char *const findings[] = {
    [TUNE_TRACK_FOUND] = "found",         [TUNE_TRACK_ABSENT] = "absent",
    [TUNE_TRACK_HIDDEN] = "hidden",       [TUNE_TRACK_UNEXCITED] = "outside_band",
    [TUNE_TRACK_ELSEWHERE] = "elsewhere",
};
static const char *const verdicts[] = {
    [TUNE_INTERPOLATION_UNCHECKED] = "unchecked", [TUNE_INTERPOLATION_HOLDS] = "holds",
    [TUNE_INTERPOLATION_COARSE] = "coarse",       [TUNE_INTERPOLATION_FAILS] = "fails",
    [TUNE_INTERPOLATION_GAPS] = "gaps",
};

#define WORDS(list) (sizeof(list) / sizeof *(list))

const char *tune_other_axis_name(enum tune_other_axis state)
{
    return (unsigned)state < TUNE_OTHER_AXIS_STATES ? states[state] : "unknown";
}

/* An angle that is not known has no key. */
static void angle_field(struct json_io *io, const char *key, double *deg)
{
    if (io->writing ? isfinite(*deg) : json_io_has(io, key))
        json_io_number(io, key, deg);
    else if (!io->writing)
        *deg = (double)NAN;
}

void json_io_other_axis(struct json_io *io, double *deg, enum tune_other_axis *state)
{
    unsigned choice = (unsigned)*state;
    angle_field(io, "other_axis_deg", deg);
    if (io->writing ? *state != TUNE_OTHER_AXIS_UNKNOWN : json_io_has(io, "other_axis_state"))
        json_io_choice(io, "other_axis_state", &choice, states, WORDS(states));
    else
        choice = TUNE_OTHER_AXIS_UNKNOWN;
    *state = (enum tune_other_axis)choice;
}

/* ---- one track -----------------------------------------------------------------------------------*/

/* The same pointing, by its name, as in the list of pointings. */
static void pointing_field(struct json_io *io, struct tune_identification *id, size_t p)
{
    char name[TUNE_NAME_LENGTH + 1];
    (void)snprintf(name, sizeof name, "%s", id->pointing[p].name);
    json_io_text(io, "pointing", name, sizeof name);
    if (!io->status && strcmp(name, id->pointing[p].name) != 0)
        json_io_fail(io, TUNE_EDATA, "pointing", "the order is that of the pointings");
}

static void number_field(struct json_io *io, struct tune_identification *id, size_t p, size_t *mode)
{
    size_t number = *mode + 1;
    json_io_count(io, "number", &number);
    if (!io->status && (number < 1 || number > id->pointing[p].fit.plant.n_modes))
        json_io_fail(io, TUNE_EDATA, "number", "a mode has an impossible number");
    *mode = number - 1;
}

static void point_fields(struct json_io *io, struct tune_identification *id, size_t p,
                         struct tune_track_point *point)
{
    unsigned finding = (unsigned)point->finding;
    pointing_field(io, id, p);
    json_io_choice(io, "finding", &finding, findings, WORDS(findings));
    point->finding = (enum tune_track_finding)finding;
    if (!io->writing) {
        point->mode = TUNE_MODES_MAX;
        point->gain_bound = (double)NAN;
        point->zeta = point->gain = (struct tune_estimate){(double)NAN, (double)NAN};
    }
    if (finding == TUNE_TRACK_FOUND || finding == TUNE_TRACK_HIDDEN)
        number_field(io, id, p, &point->mode);
    json_io_estimate(io, "frequency_hz", &point->f_hz);
    if (finding == TUNE_TRACK_FOUND) {
        json_io_estimate(io, "damping_ratio", &point->zeta);
        json_io_estimate(io, "gain", &point->gain);
        json_io_flag(io, "ambiguous", &point->ambiguous);
    }
    if (finding == TUNE_TRACK_ABSENT) json_io_number(io, "gain_bound", &point->gain_bound);
}

static void law_fields(struct json_io *io, const char *key, struct tune_law *law)
{
    const char *name[TUNE_LAW_TERMS];
    for (unsigned t = 0; t < TUNE_LAW_TERMS; t++)
        name[t] = tune_law_term_name((enum tune_law_term)t);
    json_io_enter(io, key);
    json_io_count(io, "points", &law->n_points);
    json_io_number(io, "scatter", &law->scatter);
    const size_t n = json_io_list_fixed(io, "terms", &law->n_terms, TUNE_LAW_TERMS_MAX);
    for (size_t j = 0; j < n; j++) {
        unsigned term = (unsigned)law->term[j];
        json_io_item(io, j);
        json_io_choice(io, "term", &term, name, TUNE_LAW_TERMS);
        law->term[j] = (enum tune_law_term)term;
        json_io_estimate(io, "coefficient", &law->coefficient[j]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_leave(io);
}

/* How many items: those of the pointings, no other number. */
static size_t list_of_all(struct json_io *io, struct tune_identification *id, const char *key,
                          void **array, size_t item_size)
{
    size_t n = id->n_pointings;
    (void)json_io_list(io, key, array, &n, item_size);
    if (!io->status && n != id->n_pointings) {
        json_io_fail(io, TUNE_EDATA, key, "one for each pointing was expected");
        return 0;
    }
    return io->status ? 0 : n;
}

static void left_out_fields(struct json_io *io, struct tune_identification *id,
                            struct tune_left_out **left_out)
{
    const size_t n = list_of_all(io, id, "leave_one_out", (void **)left_out, sizeof **left_out);
    for (size_t p = 0; p < n; p++) {
        struct tune_left_out *one = &(*left_out)[p];
        json_io_item(io, p);
        pointing_field(io, id, p);
        json_io_flag(io, "checked", &one->checked);
        if (!io->writing) one->predicted = one->std = one->z = (double)NAN;
        if (one->checked) {
            json_io_flag(io, "between_others", &one->inside);
            json_io_number(io, "predicted", &one->predicted);
            json_io_number(io, "std", &one->std);
            json_io_number(io, "z", &one->z);
        }
        json_io_leave(io);
    }
    json_io_leave(io);
}

static void track_fields(struct json_io *io, struct tune_identification *id,
                         struct tune_track *track)
{
    json_io_number(io, "frequency_hz", &track->f_hz);
    json_io_count(io, "found", &track->n_found);
    const size_t n = list_of_all(io, id, "points", (void **)&track->point, sizeof *track->point);
    for (size_t p = 0; p < n; p++) {
        json_io_item(io, p);
        point_fields(io, id, p, &track->point[p]);
        json_io_leave(io);
    }
    json_io_leave(io);
    law_fields(io, "law", &track->law);
    left_out_fields(io, id, &track->left_out);
}

/* ---- what follows --------------------------------------------------------------------------------*/

static void place_fields(struct json_io *io, const char *key, struct tune_identification *id,
                         size_t place[2])
{
    if (io->writing ? place[0] >= id->tracks.n : !json_io_has(io, key)) {
        if (!io->writing) {
            place[0] = id->tracks.n;
            place[1] = 0;
        }
        return;
    }
    size_t number = place[0] + 1;
    json_io_enter(io, key);
    json_io_count(io, "track", &number);
    place[0] = number - 1;
    number = place[1] + 1;
    json_io_count(io, "pointing_number", &number);
    place[1] = number - 1;
    if (!io->status && (place[0] >= id->tracks.n || place[1] >= id->n_pointings))
        json_io_fail(io, TUNE_EDATA, key, "there is no such track or pointing");
    json_io_leave(io);
}

static void interpolation_fields(struct json_io *io, struct tune_identification *id)
{
    struct tune_tracks *tracks = &id->tracks;
    unsigned verdict = (unsigned)tracks->interpolation;
    json_io_enter(io, "interpolation");
    json_io_choice(io, "verdict", &verdict, verdicts, WORDS(verdicts));
    tracks->interpolation = (enum tune_interpolation)verdict;
    json_io_number(io, "z_limit", &tracks->z_limit);
    place_fields(io, "largest_z", id, tracks->worst_z);
    place_fields(io, "largest_error", id, tracks->worst_error);
    json_io_text(io, "text", id->interpolation_text, sizeof id->interpolation_text);
    json_io_leave(io);
}

static void next_fields(struct json_io *io, struct tune_identification *id)
{
    struct tune_next_pointing *next = &id->tracks.next;
    double angle_deg = tune_deg_from_rad(next->at.angle_rad);
    double other_deg = tune_deg_from_rad(next->at.other_axis_rad);
    next->known = io->writing ? next->known : json_io_has(io, "next_pointing");
    if (!next->known) return;
    size_t number = next->track + 1;
    json_io_enter(io, "next_pointing");
    json_io_number(io, "angle_deg", &angle_deg);
    json_io_other_axis(io, &other_deg, &next->at.other_axis);
    json_io_count(io, "track", &number);
    json_io_number(io, "frequency_hz", &next->f_hz);
    json_io_number(io, "relative_std", &next->std);
    json_io_number(io, "relative_std_after", &next->std_then);
    json_io_number(io, "relative_std_median", &next->std_median);
    json_io_text(io, "why", id->next_text, sizeof id->next_text);
    json_io_leave(io);
    if (io->writing) return;
    next->at.angle_rad = tune_rad_from_deg(angle_deg);
    next->at.other_axis_rad = tune_rad_from_deg(other_deg);
    next->track = number - 1;
    if (!io->status && next->track >= id->tracks.n)
        json_io_fail(io, TUNE_EDATA, "track", "there is no such track");
}

void identification_tracks_fields(struct json_io *io, struct tune_identification *id)
{
    struct tune_tracks *tracks = &id->tracks;
    const bool there = io->writing ? tracks->n_pointings > 0 : json_io_has(io, "tracks");
    if (!there || io->status) return;
    tracks->n_pointings = id->n_pointings;
    const size_t n =
        json_io_list(io, "tracks", (void **)&tracks->track, &tracks->n, sizeof *tracks->track);
    for (size_t t = 0; t < n; t++) {
        json_io_item(io, t);
        track_fields(io, id, &tracks->track[t]);
        json_io_leave(io);
    }
    json_io_leave(io);
    json_io_enter(io, "inertia_over_pointings");
    law_fields(io, "law", &tracks->inertia_law);
    left_out_fields(io, id, &tracks->inertia_left_out);
    json_io_leave(io);
    interpolation_fields(io, id);
    next_fields(io, id);
}
