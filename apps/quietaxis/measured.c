/* measured.c - tables of responses as text: which, how sure, and the margins of the loop they tell of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "measured.h"

#include <math.h>
#include <stdio.h>

#include "print.h"

/* A margin and its unit, and where. */
static void print_row(const char *what, const char *size, const char *unit, double at_hz)
{
    char at[PRINT_CELL];
    printf("  %-20s %20s%s%s", what, size, *unit ? " " : "", unit);
    if (!isnan(at_hz)) printf(" at %s Hz", print_number(at, at_hz, 4));
    printf("\n");
}

static void print_gain(const char *what, const struct tune_estimate *db, double at_hz)
{
    char cell[PRINT_CELL];
    if (isinf(db->value))
        print_row(what, "none in the band", "", (double)NAN);
    else
        print_row(what, print_estimate(cell, db->value, db->std), "dB", at_hz);
}

static void print_worst(const struct tune_table_margins *m)
{
    char cell[PRINT_CELL];
    if (isinf(m->phase_margin_deg.value))
        print_row("phase margin", "none in the band", "", (double)NAN);
    else
        print_row("phase margin",
                  print_estimate(cell, m->phase_margin_deg.value, m->phase_margin_deg.std), "deg",
                  m->phase_margin_hz);
    print_gain("gain may rise", &m->gain_margin_db, m->gain_margin_hz);
    print_gain("gain may fall", &m->gain_reduction_margin_db, m->gain_reduction_margin_hz);
    if (isfinite(m->delay_margin_s.value))
        print_row("delay margin",
                  print_estimate(cell, 1e3 * m->delay_margin_s.value, 1e3 * m->delay_margin_s.std),
                  "ms", (double)NAN);
    print_row("peak sensitivity", print_estimate(cell, m->sens_peak.value, m->sens_peak.std), "",
              m->sens_peak_hz);
}

static void print_crossings(const struct tune_table_margins *m)
{
    char f[PRINT_CELL], margin[PRINT_CELL];
    if (m->n_crossings) printf("  %-20s %20s\n", "every crossing", "frequency Hz");
    for (size_t i = 0; i < m->n_crossings; i++) {
        const struct tune_table_crossing *at = &m->crossing[i];
        const struct tune_estimate *x = &at->margin;
        printf("  %-20s %20s %20s %s\n", at->of_phase ? "  phase -180 deg" : "  gain 1",
               print_estimate(f, at->frequency_hz.value, at->frequency_hz.std),
               print_estimate(margin, x->value, x->std), at->of_phase ? "dB" : "deg");
    }
}

static void print_table(const struct tune_measured_table *table)
{
    print_heading(table->log);
    printf("  table of the %s at %s, %zu points, %.4g .. %.4g Hz\n",
           table->of_loop ? "open loop" : "plant", table->pointing, table->points,
           table->band_hz[0], table->band_hz[1]);
    printf("  std from %s", table->error == TUNE_TABLE_STD         ? "its column"
                            : table->error == TUNE_TABLE_COHERENCE ? "its coherence"
                                                                   : "the scatter of its points");
    if (table->std_factor > 1.0)
        printf(", enlarged %.3g times as the fit finds it", table->std_factor);
    printf("\n");
    if (table->fitted) printf("  the plant of %s comes from it\n", table->pointing);
    if (!table->has_margins) return;
    printf("  loop as measured%s\n", table->of_loop ? "" : ", with the gains stated");
    print_worst(&table->margins);
    print_crossings(&table->margins);
}

void print_measured_tables(const struct tune_identification *result)
{
    bool margins = false;
    for (size_t i = 0; i < result->n_tables; i++) {
        print_table(&result->table[i]);
        margins = margins || result->table[i].has_margins;
    }
    if (margins)
        print_sentence("  ", "Measured margins hold inside the band and at the points of a table; "
                             "that the loop is stable a table alone cannot show.");
}
