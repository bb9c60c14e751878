/* measured.c - tables of responses as text: which, how sure, and the margins of the loop they tell of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "measured.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "print.h"

/* A margin and its unit, where, and what the model says. */
static void print_row(const char *what, const char *size, const char *unit, double at_hz,
                      const double *model)
{
    char at[PRINT_CELL], cell[PRINT_CELL], place[64] = "";
    if (!isnan(at_hz)) (void)snprintf(place, sizeof place, " at %s Hz", print_number(at, at_hz, 4));
    printf("  %-16s %20s%s%s", what, size, *unit ? " " : "", unit);
    if (model)
        printf("%*s%-15s %12s", *unit ? 3 - (int)strlen(unit) : 4, "", place,
               print_number(cell, *model, 4));
    else
        printf("%s", place);
    printf("\n");
}

static void print_gain(const char *what, const struct tune_estimate *db, double at_hz,
                       const double *model)
{
    char cell[PRINT_CELL];
    if (isinf(db->value))
        print_row(what, "none in the band", "", (double)NAN, model);
    else
        print_row(what, print_estimate(cell, db->value, db->std), "dB", at_hz, model);
}

static void print_worst(const struct tune_table_margins *m, const struct tune_model_margins *model)
{
    char cell[PRINT_CELL];
    const double model_ms = model ? 1e3 * model->delay_margin_s : 0.0;
    const double *none = NULL;
    if (isinf(m->phase_margin_deg.value))
        print_row("phase margin", "none in the band", "", (double)NAN,
                  model ? &model->phase_margin_deg : none);
    else
        print_row("phase margin",
                  print_estimate(cell, m->phase_margin_deg.value, m->phase_margin_deg.std), "deg",
                  m->phase_margin_hz, model ? &model->phase_margin_deg : none);
    print_gain("gain may rise", &m->gain_margin_db, m->gain_margin_hz,
               model ? &model->gain_margin_db : none);
    print_gain("gain may fall", &m->gain_reduction_margin_db, m->gain_reduction_margin_hz,
               model ? &model->gain_reduction_margin_db : none);
    if (isfinite(m->delay_margin_s.value))
        print_row("delay margin",
                  print_estimate(cell, 1e3 * m->delay_margin_s.value, 1e3 * m->delay_margin_s.std),
                  "ms", (double)NAN, model ? &model_ms : none);
    print_row("peak sensitivity", print_estimate(cell, m->sens_peak.value, m->sens_peak.std), "",
              m->sens_peak_hz, model ? &model->sens_peak : none);
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
    if (table->points < TUNE_TABLE_POINTS_MIN) return; /* of no use, and noted */
    printf("  std from %s", table->error == TUNE_TABLE_STD         ? "its column"
                            : table->error == TUNE_TABLE_COHERENCE ? "its coherence"
                                                                   : "the scatter of its points");
    if (table->std_factor > 1.0)
        printf(", enlarged %.3g times as the fit finds it", table->std_factor);
    printf("\n");
    if (table->fitted) printf("  the plant of %s comes from it\n", table->pointing);
    if (!table->has_margins) return;
    if (table->margins.points < table->points)
        printf("  margins rest on %zu points, %.4g .. %.4g Hz: the others tell nothing\n",
               table->margins.points, table->margins.band_hz[0], table->margins.band_hz[1]);
    printf("  loop as measured%s", table->of_loop ? "" : ", with the gains stated");
    if (table->has_model)
        printf("%*s", table->of_loop ? 48 : 25,
               table->model.stable ? "fitted model" : "model, unstable");
    printf("\n");
    print_worst(&table->margins, table->has_model ? &table->model : NULL);
    print_crossings(&table->margins);
    if (table->margins.n_grazing)
        printf("  gain within noise of 1 at %.4g Hz: taken to pass 1\n", table->margins.grazing_hz);
    if (table->margins.n_coarse)
        printf("  not proven: points too far apart between %.4g and %.4g Hz\n",
               table->margins.coarse_hz[0], table->margins.coarse_hz[1]);
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
