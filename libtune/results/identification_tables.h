/* identification_tables.h - what came of the tables of responses among the logs; part of identify.json.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_IDENTIFICATION_TABLES_H
#define TUNE_IDENTIFICATION_TABLES_H

#include <stdbool.h>
#include <stddef.h>

#include "control/measured.h"
#include "logbook/logbook.h"
#include "plant/table.h"

struct tune_table_crossing {
    bool of_phase; /* L is real and negative; else |L| = 1 */
    struct tune_estimate frequency_hz;
    struct tune_estimate
        margin; /* |L| = 1: deg from -180; else dB the gain may rise, negative: fall */
};

/* struct tune_measured_margins in the units people read. */
struct tune_table_margins {
    size_t points; /* those of the table that say something: a std is known */
    double band_hz[2];
    size_t n_gaps; /* places between them where points of the table are left out */
    double gap_hz
        [2]; /* the widest by ratio: the points to either side of it; NAN where there is none */
    size_t n_coarse;
    double coarse_hz[2];
    struct tune_estimate gain_margin_db, gain_reduction_margin_db, phase_margin_deg, delay_margin_s,
        sens_peak;
    double gain_margin_hz, gain_reduction_margin_hz, phase_margin_hz, sens_peak_hz;
    bool sens_peak_at_end;
    size_t n_unsure;
    size_t n_grazing;
    double grazing_hz;
    size_t n_crossings;
    struct tune_table_crossing crossing[2 * TUNE_CROSSINGS_MAX];
};

/* The same of the fitted plant under the same gains, for comparison. */
struct tune_model_margins {
    bool stable;
    double gain_margin_db, gain_reduction_margin_db, phase_margin_deg, delay_margin_s, sens_peak;
};

/* One table. Plain data. */
struct tune_measured_table {
    char log[TUNE_NAME_LENGTH + 1], pointing[TUNE_NAME_LENGTH + 1];
    bool of_loop;                /* else of the plant */
    enum tune_table_error error; /* where its std comes from */
    double
        std_factor; /* by which a std seen in the scatter only is enlarged for the margins, because the
                          fit leaves more than that; else 1 */
    size_t points; /* below half the loop rate */
    double band_hz[2];
    bool fitted; /* the plant of its pointing comes from it */
    /* else, where that has a plant from sweeps: the largest |table - model| in std of both, and where; NAN */
    double deviation_std, deviation_hz;
    bool deviates;    /* that is more than chance gives one table in a thousand */
    bool has_margins; /* of the measured loop: the table is the loop's, or the gains are stated */
    struct tune_table_margins margins;
    bool has_model; /* has_margins, and plant and gains are known */
    struct tune_model_margins model;
};

#endif
