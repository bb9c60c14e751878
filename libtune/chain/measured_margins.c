/* measured_margins.c - margins of a measured loop, and of its model, in the units people read.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "chain/identify_tables_internal.h"
#include "core/units.h"

/* d dB = 20/ln 10 d ratio/ratio */
static struct tune_estimate decibel(const struct tune_estimate *ratio)
{
    return (struct tune_estimate){tune_db_from_ratio(ratio->value),
                                  20.0 / log(10.0) * ratio->std / ratio->value};
}

static struct tune_estimate degrees(const struct tune_estimate *rad)
{
    return (struct tune_estimate){tune_deg_from_rad(rad->value), tune_deg_from_rad(rad->std)};
}

static void tell(struct tune_table_margins *out, const struct tune_measured_margins *m)
{
    *out =
        (struct tune_table_margins){.points = m->points,
                                    .band_hz = {m->band_hz[0], m->band_hz[1]},
                                    .gap_hz = {(double)NAN, (double)NAN},
                                    .n_coarse = m->n_coarse,
                                    .coarse_hz = {m->coarse_hz[0], m->coarse_hz[1]},
                                    .gain_margin_db = decibel(&m->gain_margin),
                                    .gain_reduction_margin_db = decibel(&m->gain_reduction_margin),
                                    .phase_margin_deg = degrees(&m->phase_margin_rad),
                                    .delay_margin_s = m->delay_margin_s,
                                    .sens_peak = m->sens_peak,
                                    .gain_margin_hz = m->gain_margin_hz,
                                    .gain_reduction_margin_hz = m->gain_reduction_margin_hz,
                                    .phase_margin_hz = m->phase_margin_hz,
                                    .sens_peak_hz = m->sens_peak_hz,
                                    .sens_peak_at_end = m->sens_peak_at_end,
                                    .n_unsure = m->n_unsure,
                                    .n_grazing = m->n_grazing,
                                    .grazing_hz = m->grazing_hz,
                                    .n_crossings = m->n_crossings};
    for (size_t i = 0; i < m->n_crossings; i++) {
        const struct tune_measured_crossing *at = &m->crossing[i];
        out->crossing[i] = (struct tune_table_crossing){
            .of_phase = at->of_phase,
            .frequency_hz = at->f_hz,
            .margin = at->of_phase ? decibel(&at->margin) : degrees(&at->margin)};
    }
}

enum tune_status chain_table_margins(struct tune_table_margins *out,
                                     const struct tune_loop_table *table, struct tune_error *err)
{
    struct tune_measured_margins *m = malloc(sizeof *m);
    enum tune_status status = m ? tune_measured_margins(m, table, err)
                                : tune_error_memory(err, "looking at a measured loop");
    if (!status) tell(out, m);
    free(m);
    return status;
}

enum tune_status chain_model_margins(struct tune_model_margins *out, bool *known,
                                     const struct tune_plant *plant,
                                     const struct tune_controller *controller,
                                     struct tune_error *err)
{
    struct tune_margins *m = malloc(sizeof *m);
    enum tune_status status = m ? tune_loop_judge(m, &out->stable, plant, controller, err)
                                : tune_error_memory(err, "judging the loop of a table");
    *known = !status;
    if (!status) {
        out->gain_margin_db = tune_db_from_ratio(m->gain_margin);
        out->gain_reduction_margin_db = tune_db_from_ratio(m->gain_reduction_margin);
        out->phase_margin_deg = tune_deg_from_rad(m->phase_margin_rad);
        out->delay_margin_s = m->delay_margin_s;
        out->sens_peak = m->sens_peak;
    }
    free(m);
    if (status != TUNE_ENOSOL && status != TUNE_EINVAL) return status;
    tune_error_clear(err);
    return TUNE_OK;
}
