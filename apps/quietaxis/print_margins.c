/* print_margins.c - margins at every pointing, where each is worst, and the crossings behind them, on a
 * terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

/* A margin and the bound it passes in 5 % of cases: "43.75 > 43.70", "1.631 < 1.633". */
static const char *bounded(char cell[PRINT_CELL], const struct tune_margin *m, int decimals)
{
    if (!isfinite(m->value)) return print_number(cell, m->value, 1);
    if (!isfinite(m->bound95)) return print_fixed(cell, m->value, decimals);
    (void)snprintf(cell, PRINT_CELL, "%.*f %c %.*f", decimals, m->value,
                   m->bound95 > m->value ? '<' : '>', decimals, m->bound95);
    return cell;
}

/* Where the loop is not stable nothing is worst. */
struct places {
    const char *phase, *gain, *down, *peak;
};

static void note_worst(const char **place, double *worst, double value, const char *pointing)
{
    if (!(value < *worst)) return;
    *worst = value;
    *place = pointing;
}

static struct places places_of(const struct tune_candidate *c)
{
    const double none = (double)INFINITY;
    struct places at = {"-", "-", "-", "-"};
    double phase = none, gain = none, down = none, peak = none;
    for (size_t i = 0; i < c->n_margins; i++) {
        const struct tune_pointing_margins *m = &c->margins[i];
        if (!m->stable) return (struct places){"-", "-", "-", "-"};
        note_worst(&at.phase, &phase, m->phase_margin_deg.value, m->pointing);
        note_worst(&at.gain, &gain, m->gain_margin_db.value, m->pointing);
        note_worst(&at.down, &down, m->gain_reduction_margin_db.value, m->pointing);
        note_worst(&at.peak, &peak, -m->peak_sensitivity.value, m->pointing);
    }
    return at;
}

static void print_crossing(const struct tune_margin_crossing *at)
{
    char f[PRINT_CELL], margin[PRINT_CELL];
    printf("  %24s  %-10s %18s %s\n",
           print_estimate(f, at->frequency_hz.value, at->frequency_hz.std),
           at->of_phase ? "gain" : "phase", bounded(margin, &at->margin, 2),
           at->of_phase ? "dB" : "deg");
}

/* The crossings at the pointing where the loop comes nearest -1. */
static void print_crossings(const struct tune_candidate *c)
{
    const struct tune_pointing_margins *worst = tune_margins_nearest(c);
    char text[128];
    if (!worst || !worst->stable || worst->n_crossings == 0) return;
    (void)snprintf(text, sizeof text, "Crossings at %s, where the peak is worst", worst->pointing);
    print_heading(text);
    printf("  %24s  %-10s %18s\n", "Hz", "margin of", "95 % bound");
    for (size_t i = 0; i < worst->n_crossings; i++) {
        const struct tune_margin_crossing *at = &worst->crossing[i];
        if (tune_crossing_counts(at)) print_crossing(at);
    }
    print_sentence("  ",
                   "Of phase: gain is 1, deg from -180. Of gain: phase is -180 deg; negative: the "
                   "gain may fall by that; those over 40 dB are left out.");
}

void print_margins(const struct tune_candidate *best)
{
    const struct places at = places_of(best);
    char text[128];
    (void)snprintf(text, sizeof text, "Margins of %s, each with its 95 %% bound", best->name);
    print_heading(text);
    printf("  %-13s %13s %13s %13s %13s %8s\n", "", "phase deg", "gain up dB", "gain down dB",
           "peak S", "cross Hz");
    for (size_t i = 0; i < best->n_margins; i++) {
        const struct tune_pointing_margins *m = &best->margins[i];
        char a[PRINT_CELL], b[PRINT_CELL], c[PRINT_CELL], d[PRINT_CELL], e[PRINT_CELL];
        printf("  %-13.13s %13s %13s %13s %13s %8s\n", m->pointing,
               bounded(a, &m->phase_margin_deg, 2), bounded(b, &m->gain_margin_db, 2),
               bounded(c, &m->gain_reduction_margin_db, 2), bounded(d, &m->peak_sensitivity, 3),
               print_number(e, m->crossover_hz.value, 4));
    }
    if (best->n_margins > 1)
        printf("  %-13s %13.13s %13.13s %13.13s %13.13s\n", "worst at", at.phase, at.gain, at.down,
               at.peak);
    if (best->n_margins > 0) print_crossings(best);
}
