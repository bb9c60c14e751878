/* design_cross.c - the recommended gains once more, with the loop of the mount's other axis closed on its
 * own gains.
 *
 * A site is a folder with the logbooks of its axes side by side. Of the other axis its identified plants and
 * its gains are read: those its design proposes, else those its logbook states.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/design_internal.h"
#include "control/cross_loop.h"
#include "core/sha256.h"
#include "core/units.h"
#include "results/file.h"

/* ---- the other axis -----------------------------------------------------------------------------*/

static bool is_there(const char *path, struct stat *info)
{
    return stat(path, info) == 0;
}

/* folder/entry/file; false where it does not fit. */
static bool beside(char out[TUNE_PATH_LENGTH], const struct chain *chain, const char *entry,
                   const char *file)
{
    const int length = snprintf(out, TUNE_PATH_LENGTH, "%s/../%s%s%s", chain->logbook.folder, entry,
                                file[0] ? "/" : "", file);
    return length > 0 && length < TUNE_PATH_LENGTH;
}

/* A logbook of the same site and another axis. A folder that is none is no matter of this axis. */
static bool is_other(struct tune_logbook *logbook, const struct chain *chain, const char *entry)
{
    char folder[TUNE_PATH_LENGTH], ini[TUNE_PATH_LENGTH];
    struct stat own, info;
    if (entry[0] == '.' || !beside(folder, chain, entry, "") ||
        !beside(ini, chain, entry, "axis.ini") || !is_there(ini, &info))
        return false;
    if (is_there(folder, &info) && is_there(chain->logbook.folder, &own) &&
        info.st_dev == own.st_dev && info.st_ino == own.st_ino)
        return false;
    if (tune_logbook_read(logbook, folder, NULL)) return false;
    if (!strcmp(logbook->axis.site, chain->logbook.axis.site) &&
        strcmp(logbook->axis.name, chain->logbook.axis.name) != 0)
        return true;
    tune_logbook_free(logbook);
    return false;
}

/* The first by name; the others are told. */
static void find_other(struct chain_cross *out, const struct chain *chain)
{
    char parent[TUNE_PATH_LENGTH];
    struct dirent **entry;
    if (!beside(parent, chain, "", "")) return;
    const int n = scandir(parent, &entry, NULL, alphasort);
    for (int i = 0; i < n; i++) {
        struct tune_logbook logbook;
        if (strlen(entry[i]->d_name) < sizeof out->folder &&
            is_other(&logbook, chain, entry[i]->d_name)) {
            if (out->found)
                tune_logbook_free(&logbook);
            else
                out->logbook = logbook;
            if (!out->found)
                (void)snprintf(out->folder, sizeof out->folder, "%s", entry[i]->d_name);
            out->several = out->found;
            out->found = true;
        }
        free(entry[i]);
    }
    if (n >= 0) free(entry);
}

static enum tune_status read_plants(struct chain_cross *out, const struct chain *chain,
                                    struct tune_error *err)
{
    char *text = NULL;
    size_t size;
    struct stat info;
    enum tune_status status;
    if (!beside(out->path, chain, out->folder, "results/identify.json") ||
        !is_there(out->path, &info))
        return TUNE_OK;
    status = tune_file_read(&text, &size, out->path, err);
    if (!status) status = tune_identification_parse(&out->id, out->path, text, size, err);
    free(text);
    out->identified = !status && out->id.n_pointings > 0;
    if (status != TUNE_EDATA) return status;
    tune_error_clear(err); /* of another version: as good as none */
    return TUNE_OK;
}

/* The gains its design proposes, else those it states. */
static enum tune_status read_gains(struct chain_cross *out, const struct chain *chain,
                                   struct tune_error *err)
{
    struct stat info;
    enum tune_status status = TUNE_OK;
    out->has_now = true;
    if (beside(out->now.path, chain, out->folder, "results/controller.ini") &&
        is_there(out->now.path, &info)) {
        (void)snprintf(out->now.source, sizeof out->now.source, "../%.200s/results/controller.ini",
                       out->folder);
        status = tune_controller_read(&out->now.controller, out->now.path,
                                      out->logbook.drive.loop_rate_hz, err);
    } else {
        out->now.path[0] = '\0';
        out->now.controller = out->logbook.controller;
        (void)snprintf(out->now.source, sizeof out->now.source, "../%.200s/axis.ini", out->folder);
        out->has_now = out->logbook.has_controller;
    }
    return status;
}

static bool any_logged(const struct tune_identification *id)
{
    for (size_t i = 0; i < id->n_pointings; i++)
        if (id->pointing[i].cross.logged) return true;
    return false;
}

enum tune_status chain_cross_open(struct chain_cross *out, const struct chain *chain,
                                  const struct tune_identification *id, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    find_other(out, chain);
    out->logged = any_logged(id);
    if (!out->found || !out->logged) return TUNE_OK;
    status = read_plants(out, chain, err);
    if (!status) status = read_gains(out, chain, err);
    return status;
}

void chain_cross_close(struct chain_cross *cross)
{
    if (cross->found) tune_logbook_free(&cross->logbook);
    tune_identification_free(&cross->id);
    memset(cross, 0, sizeof *cross);
}

enum tune_status chain_cross_provenance(struct tune_provenance *out,
                                        const struct chain_cross *cross, struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT], name[TUNE_INPUT_PATH];
    const struct chain_gains before = {.controller = cross->logbook.controller,
                                       .source = "axis.ini"};
    enum tune_status status;
    if (!cross->found) return TUNE_OK;
    status = tune_provenance_add_option(out, err, "other axis", "%.80s", cross->folder);
    if (!status && cross->identified) {
        (void)snprintf(name, sizeof name, "../%.200s/results/identify.json", cross->folder);
        status = tune_sha256_file(digest, cross->path, err);
        if (!status) status = tune_provenance_add_input(out, name, digest, 0, err);
    }
    if (!status && cross->has_now) status = chain_add_gains(out, "its gains", &cross->now, err);
    if (!status && cross->logged && cross->logbook.has_controller)
        status = chain_add_gains(out, "its gains in the sweeps", &before, err);
    return status;
}

/* ---- one pointing -------------------------------------------------------------------------------*/

/* The pointing of the other axis nearest in both angles, those of them that are stated. */
static size_t nearest(const struct tune_identification *other,
                      const struct tune_pointing_plant *pointing)
{
    size_t best = 0;
    double least = (double)INFINITY;
    for (size_t i = 0; i < other->n_pointings; i++) {
        const double there = other->pointing[i].angle_deg - pointing->other_axis_deg;
        const double here = other->pointing[i].other_axis_deg - pointing->angle_deg;
        const double far =
            (isfinite(there) ? there * there : 0.0) + (isfinite(here) ? here * here : 0.0);
        if (!(far < least)) continue;
        least = far;
        best = i;
    }
    return best;
}

enum { MARGINS = 4 };

struct crossed {
    double m[MARGINS]; /* peak, gain and reduction in dB, phase in deg */
    double peak_hz;
    bool stable;
};

static enum tune_status judge(struct crossed *out, const struct tune_cross_axes *axes,
                              const struct tune_controller *controller,
                              const struct tune_controller *now, struct tune_error *err)
{
    struct tune_margins margins;
    const enum tune_status status =
        tune_cross_judge(&margins, &out->stable, axes, controller, now, err);
    if (status) return status;
    out->m[0] = margins.sens_peak;
    out->m[1] = tune_db_from_ratio(margins.gain_margin);
    out->m[2] = tune_db_from_ratio(margins.gain_reduction_margin);
    out->m[3] = tune_deg_from_rad(margins.phase_margin_rad);
    out->peak_hz = margins.sens_peak_hz;
    return TUNE_OK;
}

/* Each share one std to either side: the larger change counts, which for a mode lost in the noise (share 0) is
 * what it may do all the same. A side that cannot be judged tells nothing. */
static void vary(double variance[MARGINS], const struct crossed *base,
                 const struct tune_cross_axes *axes, const double *std,
                 const struct tune_controller *controller, const struct tune_controller *now)
{
    for (size_t k = 0; k < axes->plant->n_modes; k++) {
        double change[MARGINS] = {0.0};
        for (int s = -1; s <= 1; s += 2) {
            struct tune_cross_axes moved = *axes;
            struct crossed side;
            moved.ratio[k] += s * std[k];
            if (!(std[k] > 0.0) || judge(&side, &moved, controller, now, NULL)) continue;
            for (int i = 0; i < MARGINS; i++)
                if (isfinite(side.m[i]) && isfinite(base->m[i]))
                    change[i] = fmax(change[i], fabs(side.m[i] - base->m[i]));
        }
        for (int i = 0; i < MARGINS; i++)
            variance[i] += change[i] * change[i];
    }
}

static void set_margins(struct tune_cross_margins *out, const struct crossed *base,
                        const double variance[MARGINS])
{
    const double one_sided95 = 1.6448536269514722; /* standard normal quantile of 0.95 */
    struct tune_margin *margin[MARGINS] = {&out->peak_sensitivity, &out->gain_margin_db,
                                           &out->gain_reduction_margin_db, &out->phase_margin_deg};
    out->stable = base->stable;
    out->peak_hz = base->stable ? base->peak_hz : (double)NAN;
    for (int i = 0; i < MARGINS; i++) {
        const double value = base->stable ? base->m[i] : (double)NAN;
        const double std = isfinite(value) ? sqrt(variance[i]) : (double)NAN;
        *margin[i] = (struct tune_margin){
            value, std,
            isfinite(value) ? value + (i == 0 ? 1.0 : -1.0) * one_sided95 * std : value};
    }
}

/* Shares of the modes seen above the noise; of the others the std alone. */
static size_t take_shares(struct tune_cross_axes *axes, double *std, const struct tune_cross *cross)
{
    size_t modes = 0;
    for (size_t k = 0; k < cross->n_modes; k++) {
        const struct tune_estimate *ratio = &cross->mode_ratio[k];
        if (!isfinite(ratio->value)) continue;
        std[k] = isfinite(ratio->std) ? ratio->std : 0.0;
        if (!cross->mode_above[k]) continue;
        axes->ratio[k] = ratio->value;
        modes++;
    }
    return modes;
}

static enum tune_status check_one(struct tune_cross_margins *out,
                                  const struct tune_pointing_plant *pointing,
                                  const struct chain_cross *cross,
                                  const struct tune_controller *controller, struct tune_error *err)
{
    const size_t other = nearest(&cross->id, pointing);
    const bool held = pointing->other_axis != TUNE_OTHER_AXIS_FREE && cross->logbook.has_controller;
    struct tune_cross_axes axes = {.plant = &pointing->fit.plant,
                                   .other = &cross->id.pointing[other].fit.plant,
                                   .before = held ? &cross->logbook.controller : NULL};
    double std[TUNE_MODES_MAX] = {0.0}, variance[MARGINS] = {0.0};
    struct crossed base;
    enum tune_status status;
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", pointing->name);
    (void)snprintf(out->other_pointing, sizeof out->other_pointing, "%s",
                   cross->id.pointing[other].name);
    out->modes = take_shares(&axes, std, &pointing->cross.cross);
    status = judge(&base, &axes, controller, &cross->now.controller, err);
    if (status) return status;
    if (base.stable) vary(variance, &base, &axes, std, controller, &cross->now.controller);
    set_margins(out, &base, variance);
    return TUNE_OK;
}

/* ---- all ----------------------------------------------------------------------------------------*/

/* True where there is nothing to check; why, if anybody could wish for it. */
static bool nothing_to_check(struct tune_notes *notes, const struct chain_cross *cross)
{
    if (!cross->found) {
        if (cross->logged)
            tune_notes_add(notes, "The other axis moves with this one, and no logbook of it lies "
                                  "beside this folder: margins are not checked with its loop "
                                  "closed on gains other than in the sweeps.");
        return true;
    }
    if (!cross->logged)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed on new gains: no sweep "
                       "logged its angle (other_position).",
                       cross->logbook.axis.name);
    else if (!cross->identified)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed: identify it first "
                       "(quietaxis identify ../%.100s).",
                       cross->logbook.axis.name, cross->folder);
    else if (!cross->has_now)
        tune_notes_add(notes,
                       "Margins are not checked with the loop of %s closed: its logbook states no "
                       "gains and has no design.",
                       cross->logbook.axis.name);
    return !cross->logged || !cross->identified || !cross->has_now;
}

static void describe(struct tune_notes *notes, const struct chain_cross *cross,
                     const struct tune_identification *id)
{
    bool unknown = false;
    for (size_t i = 0; i < id->n_pointings; i++)
        unknown = unknown || (id->pointing[i].cross.logged &&
                              id->pointing[i].other_axis == TUNE_OTHER_AXIS_UNKNOWN);
    tune_notes_add(notes,
                   "With the loop of %s closed: by the modes both axes share, the same both ways "
                   "(reciprocity); what their rigid bodies share is left out.%s%s",
                   cross->logbook.axis.name,
                   cross->logbook.has_controller
                       ? unknown ? " It is taken to have been held in the sweeps by the gains its "
                                   "logbook states (other_axis_state is not stated)."
                                 : ""
                       : " Its logbook states no gains: it is taken to have been free in the "
                         "sweeps.",
                   cross->several ? " More than one other axis lies beside this folder; the first "
                                    "by name was taken."
                                  : "");
}

enum tune_status chain_design_cross(struct tune_proposal *out, const struct design_work *work,
                                    struct tune_error *err)
{
    const struct chain_cross *cross = &work->cross;
    const struct tune_identification *id = &work->basis.id;
    const struct tune_controller *controller = &out->candidate[out->recommended].controller;
    if (nothing_to_check(&out->notes, cross)) return TUNE_OK;
    out->other_axis.pointing = calloc(id->n_pointings, sizeof *out->other_axis.pointing);
    if (!out->other_axis.pointing) return tune_error_memory(err, "checking with the other axis");
    (void)snprintf(out->other_axis.axis, sizeof out->other_axis.axis, "%.*s", TUNE_NAME_LENGTH,
                   cross->logbook.axis.name);
    (void)snprintf(out->other_axis.gains, sizeof out->other_axis.gains, "%s", cross->now.source);
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_pointing_plant *pointing = &id->pointing[i];
        struct tune_cross_margins *to = &out->other_axis.pointing[out->other_axis.n];
        enum tune_status status;
        if (!pointing->cross.logged || !out->candidate[out->recommended].margins[i].stable)
            continue;
        if (pointing->other_axis == TUNE_OTHER_AXIS_BRAKED) {
            tune_notes_add(&out->notes,
                           "At %s the other axis stood under its brake: nothing tells how it moves "
                           "in its loop. Sweep with it holding.",
                           pointing->name);
            continue;
        }
        status = check_one(to, pointing, cross, controller, err);
        if (status == TUNE_ENOSOL || status == TUNE_EINVAL) {
            tune_notes_add(&out->notes, "Not checked with the loop of %s closed at %s: %s.",
                           cross->logbook.axis.name, pointing->name, err->text);
            tune_error_clear(err);
            memset(to, 0, sizeof *to);
            continue;
        }
        if (status) return status;
        out->other_axis.n++;
    }
    if (out->other_axis.n > 0) describe(&out->notes, cross, id);
    return TUNE_OK;
}

/* ---- judging ------------------------------------------------------------------------------------*/

/* A limit that holds without the other axis and not with it; NAN limits are not stated. */
static bool lost(double limit, const struct tune_margin *alone, const struct tune_margin *with,
                 bool at_most)
{
    if (isnan(limit)) return false;
    return at_most ? alone->value <= limit && !(with->value <= limit)
                   : alone->value >= limit && !(with->value >= limit);
}

static const char *what_is_lost(const struct tune_requirement *r,
                                const struct tune_pointing_margins *alone,
                                const struct tune_cross_margins *with)
{
    if (!with->stable) return "the axes are not stable together";
    if (lost(r->peak_sensitivity, &alone->peak_sensitivity, &with->peak_sensitivity, true))
        return "the peak sensitivity asked for is passed";
    if (lost(r->phase_margin_deg, &alone->phase_margin_deg, &with->phase_margin_deg, false))
        return "the phase margin asked for is lost";
    if (lost(r->gain_margin_db, &alone->gain_margin_db, &with->gain_margin_db, false))
        return "the gain margin asked for is lost";
    if (lost(r->gain_reduction_margin_db, &alone->gain_reduction_margin_db,
             &with->gain_reduction_margin_db, false))
        return "the gain reduction margin asked for is lost";
    return NULL;
}

void chain_judge_cross(struct tune_proposal *out, const struct tune_requirement *requirement)
{
    const struct tune_candidate *best = &out->candidate[out->recommended];
    bool missed = false;
    for (size_t i = 0; i < out->other_axis.n; i++) {
        const struct tune_cross_margins *with = &out->other_axis.pointing[i];
        const char *what = NULL;
        for (size_t k = 0; k < best->n_margins; k++)
            if (!strcmp(best->margins[k].pointing, with->pointing))
                what = what_is_lost(requirement, &best->margins[k], with);
        if (!what) continue;
        if (!missed)
            tune_judgements_add(&out->requirement, TUNE_JUDGEMENT_OTHER_AXIS, 1.0, 0.0, false,
                                with->pointing);
        missed = true;
        tune_notes_add(&out->limits,
                       "Missed: at %s, with the loop of %s closed on the gains of %s, %s. Enable "
                       "these gains only with the other axis on the gains it had in the sweeps, "
                       "and design both anew.",
                       with->pointing, out->other_axis.axis, out->other_axis.gains, what);
    }
}
