/* print_tracks.c - modes over pointings as text.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "print.h"

#include <stdio.h>
#include <string.h>

enum { COLUMNS_A_BLOCK = 6, COLUMN = 11 };

/* Behind the decimal point, so that the std shows in the last digit. */
static int decimals_for(double std)
{
    const int decimals = std > 0.0 && isfinite(std) ? (int)ceil(-log10(std)) : 3;
    return decimals < 0 ? 0 : decimals > 4 ? 4 : decimals;
}

static void print_point(const struct tune_track_point *point)
{
    char cell[PRINT_CELL];
    const char *mark = point->ambiguous ? "?" : "";
    if (point->finding == TUNE_TRACK_FOUND)
        (void)snprintf(cell, sizeof cell, "%.*f%s", decimals_for(point->f_hz.std),
                       point->f_hz.value, mark);
    else if (point->finding == TUNE_TRACK_HIDDEN)
        (void)snprintf(cell, sizeof cell, "hidden");
    else if (point->finding == TUNE_TRACK_UNEXCITED)
        (void)snprintf(cell, sizeof cell, "not swept");
    else if (point->finding == TUNE_TRACK_ELSEWHERE)
        (void)snprintf(cell, sizeof cell, "moved?");
    else if (isfinite(point->gain_bound))
        (void)snprintf(cell, sizeof cell, "g<%.2g", point->gain_bound);
    else
        (void)snprintf(cell, sizeof cell, "-");
    printf(" %*s", COLUMN - 1, cell);
}

/* The end of a long name tells more than its beginning. */
static void print_name(const char *name)
{
    const size_t length = strlen(name), room = COLUMN - 2;
    printf(" %*s", COLUMN - 1, length > room ? name + length - room : name);
}

static void print_block(const struct tune_identification *id, size_t from, size_t to)
{
    printf("  %-10s", "Hz");
    for (size_t p = from; p < to; p++)
        print_name(id->pointing[p].name);
    printf("\n");
    for (size_t t = 0; t < id->tracks.n; t++) {
        printf("  mode %-5zu", t + 1);
        for (size_t p = from; p < to; p++)
            print_point(&id->tracks.track[t].point[p]);
        printf("\n");
    }
}

static void print_legend(const struct tune_tracks *tracks)
{
    bool ambiguous = false, absent = false, hidden = false, elsewhere = false;
    for (size_t t = 0; t < tracks->n; t++)
        for (size_t p = 0; p < tracks->n_pointings; p++) {
            const struct tune_track_point *point = &tracks->track[t].point[p];
            ambiguous = ambiguous || point->ambiguous;
            absent = absent || point->finding == TUNE_TRACK_ABSENT;
            hidden = hidden || point->finding == TUNE_TRACK_HIDDEN;
            elsewhere = elsewhere || point->finding == TUNE_TRACK_ELSEWHERE;
        }
    if (ambiguous) print_sentence("  ? ", "it may be the other one of two modes that are alike.");
    if (absent)
        print_sentence("  g< ", "not found there: its gain is below this, with 95 % confidence.");
    if (hidden) print_sentence("  hidden: ", "another mode is as near as the widths of both.");
    if (elsewhere)
        print_sentence("  moved? ",
                       "none here, but one of like damping and gain, listed as another "
                       "mode: the two may be one that goes far.");
}

/* ---- laws --------------------------------------------------------------------------------------*/

static void worst_left_out(char *text, size_t size, const struct tune_identification *id,
                           const struct tune_left_out *left_out)
{
    size_t worst = id->n_pointings;
    for (size_t p = 0; p < id->n_pointings; p++)
        if (left_out[p].checked &&
            (worst == id->n_pointings || fabs(left_out[p].z) > fabs(left_out[worst].z)))
            worst = p;
    text[0] = '\0';
    if (worst < id->n_pointings)
        (void)snprintf(text, size, "%+.1f at %.14s", left_out[worst].z, id->pointing[worst].name);
}

static void print_law(const char *name, const struct tune_identification *id,
                      const struct tune_law *law, const struct tune_left_out *left_out)
{
    char text[160] = "", worst[64];
    if (law->n_terms == 0) return;
    tune_law_text(text, sizeof text, law);
    worst_left_out(worst, sizeof worst, id, left_out);
    printf("  %-9s %-34s %10.2g   %s\n", name, text, 100.0 * law->scatter, worst);
}

static void print_laws(const struct tune_identification *id)
{
    char name[32];
    printf("\n");
    print_sentence("  ",
                   "Below: how each frequency (and the inertia) changes with the angles and the "
                   "state of the other axis; what scatters on top of that; and the worst "
                   "error, in std, where a pointing was left out and predicted from the others.");
    printf("  %-9s %-34s %10s   %s\n", "", "changes by, % of the mean", "scatter, %",
           "worst error, std");
    for (size_t t = 0; t < id->tracks.n; t++) {
        const struct tune_track *track = &id->tracks.track[t];
        (void)snprintf(name, sizeof name, "mode %zu", t + 1);
        print_law(name, id, &track->law, track->left_out);
    }
    print_law("inertia", id, &id->tracks.inertia_law, id->tracks.inertia_left_out);
}

void print_tracks(const struct tune_identification *id)
{
    if (id->tracks.n_pointings == 0) return;
    print_heading("Modes over pointings");
    for (size_t from = 0; from < id->n_pointings; from += COLUMNS_A_BLOCK) {
        const size_t to = from + COLUMNS_A_BLOCK;
        print_block(id, from, to < id->n_pointings ? to : id->n_pointings);
    }
    print_legend(&id->tracks);
    if (id->tracks.inertia_law.n_terms > 0) print_laws(id);
    if (id->interpolation_text[0]) print_sentence("- ", id->interpolation_text);
    if (id->next_text[0]) print_sentence("- ", id->next_text);
}
