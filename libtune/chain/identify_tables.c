/* identify_tables.c - tables of responses beside sweeps or in their place, and the margins of the loops
 * they tell of.
 *
 * A pointing without sweeps gets its plant from its tables: those of the plant, else those of the loop whose
 * gains are known. Where there are sweeps these win, and the table is held against their plant.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_tables_internal.h"
#include "plant/fit.h"

enum tune_status chain_tables_choose(struct identification_work *work, const struct chain *chain,
                                     bool named, struct tune_error *err)
{
    const struct tune_logbook *logbook = &chain->logbook;
    enum tune_status status = TUNE_OK;
    work->table = calloc(logbook->n_logs + 1, sizeof *work->table);
    if (!work->table) return tune_error_memory(err, "choosing tables");
    for (size_t i = 0; !status && i < logbook->n_logs; i++) {
        const struct tune_log_entry *log = &logbook->log[i];
        struct table_work *table = &work->table[work->n_tables];
        if (log->kind != TUNE_LOG_RESPONSE || !chain_pointing_chosen(chain, log->pointing))
            continue;
        if (named && !chain_log_named(chain, log)) continue;
        work->n_tables++;
        table->log = log;
        status = chain_log_gains(&table->gains, &table->gains_known, chain, log, err);
    }
    return status;
}

enum tune_status chain_tables_provenance(struct tune_provenance *out, const struct chain *chain,
                                         const struct identification_work *work,
                                         struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < work->n_tables; i++) {
        const struct table_work *table = &work->table[i];
        char name[TUNE_OPTION_NAME];
        (void)snprintf(name, sizeof name, "table %s", table->log->name);
        status = chain_add_log(out, chain, table->log, 0, err);
        if (!status)
            status = tune_provenance_add_option(out, err, name, "%s",
                                                table->log->of_loop ? "loop" : "plant");
        (void)snprintf(name, sizeof name, "gains %s", table->log->name);
        if (!status && table->gains_known) status = chain_add_gains(out, name, &table->gains, err);
    }
    return status;
}

/* ---- against the plant from sweeps --------------------------------------------------------------*/

/* One of n points is that far off by chance: |error|^2/std^2 has the F law of 2 and 2 dof. */
static bool beyond_chance(double deviation_std, double dof, size_t n)
{
    return log1p(deviation_std * deviation_std / dof) * dof > log(1000.0 * (double)n);
}

static void find_deviation(struct tune_measured_table *out, const struct tune_response *table,
                           const double *std, const double *dof, const double complex *g,
                           const double *model_std, const double band_hz[2])
{
    for (size_t i = 0; i < table->n; i++) {
        const double error = hypot(std[i], model_std[i]);
        const double deviation = cabs(table->g[i] - g[i]) / error;
        if (table->f_hz[i] < band_hz[0] || table->f_hz[i] > band_hz[1] || !(error > 0.0)) continue;
        if (deviation <= out->deviation_std) continue;
        out->deviation_std = deviation;
        out->deviation_hz = table->f_hz[i];
        out->deviates = beyond_chance(deviation, dof[i], table->n);
    }
}

static enum tune_status compare(struct tune_measured_table *out, const struct tune_response *table,
                                const double *std, const double *dof,
                                const struct tune_pointing_plant *plant, struct tune_error *err)
{
    double complex *g = malloc((table->n + 1) * sizeof *g);
    double *model_std = malloc((table->n + 1) * sizeof *model_std);
    enum tune_status status =
        g && model_std ? TUNE_OK : tune_error_memory(err, "comparing a table");
    if (!status) status = tune_fit_response(g, model_std, &plant->fit, table->f_hz, table->n, err);
    if (!status) find_deviation(out, table, std, dof, g, model_std, plant->band_hz);
    free(g);
    free(model_std);
    return status;
}

static void tell_deviation(struct tune_notes *notes, const struct tune_measured_table *t)
{
    if (!(t->deviation_std > 0.0)) return;
    tune_notes_add(
        notes,
        "Log %s: the plant of %s comes from other logs; the table departs from it by %.3g "
        "std at most, at %.4g Hz%s.",
        t->log, t->pointing, t->deviation_std, t->deviation_hz,
        t->deviates ? ", more than chance: they differ in signal, gains, friction or time"
                    : ", as chance may");
}

/* ---- one table ----------------------------------------------------------------------------------*/

/* The points with a std move up, and the margins of what they are. */
static enum tune_status margins_of_points(struct tune_table_margins *out,
                                          struct tune_response *table, double *std,
                                          const struct tune_pointing_plant *plant,
                                          struct tune_error *err)
{
    struct tune_loop_table loop = {.n = 0, .f_hz = table->f_hz, .l = table->g, .std = std};
    double gap_hz[2] = {(double)NAN, (double)NAN};
    size_t n_gaps = 0, next = 0;
    enum tune_status status;
    for (size_t i = 0; i < table->n; i++) {
        if (!isfinite(std[i])) continue;
        if (loop.n > 0 && i > next) {
            const double low_hz = table->f_hz[loop.n - 1], high_hz = table->f_hz[i];
            if (n_gaps++ == 0 || high_hz / low_hz > gap_hz[1] / gap_hz[0]) {
                gap_hz[0] = low_hz;
                gap_hz[1] = high_hz;
            }
        }
        next = i + 1;
        table->f_hz[loop.n] = table->f_hz[i];
        table->g[loop.n] = table->g[i];
        std[loop.n++] = std[i];
    }
    if (plant) {
        loop.n_modes = plant->fit.plant.n_modes;
        loop.mode = plant->fit.plant.mode;
    }
    if (loop.n < TUNE_LOOP_POINTS_MIN)
        return tune_error_set(err, TUNE_EDATA,
                              "only %zu of its %zu points tell anything, at least %d are needed "
                              "for margins: measure with more averages or a larger signal",
                              loop.n, table->n, (int)TUNE_LOOP_POINTS_MIN);
    status = chain_table_margins(out, &loop, err);
    out->n_gaps = n_gaps;
    memcpy(out->gap_hz, gap_hz, sizeof gap_hz);
    return status;
}

/* Turns the table over where it is the plant's, and leaves of it what has a std. */
static enum tune_status find_margins(struct tune_measured_table *out, struct tune_response *table,
                                     double *std, const struct table_work *work,
                                     const struct tune_pointing_plant *plant,
                                     struct tune_error *err)
{
    double *dof = malloc((table->n + 1) * sizeof *dof);
    enum tune_status status = dof ? TUNE_OK : tune_error_memory(err, "looking at a measured loop");
    if (!status && !table->of_loop) status = chain_table_turn(table, &work->gains.controller, err);
    if (!status) status = tune_table_std(std, dof, &out->error, table, err);
    for (size_t i = 0; !status && i < table->n; i++)
        std[i] *= out->std_factor;
    if (!status) status = margins_of_points(&out->margins, table, std, plant, err);
    out->has_margins = !status;
    free(dof);
    return status;
}

static const struct tune_pointing_plant *plant_of(const struct tune_identification *id,
                                                  const char *pointing)
{
    for (size_t i = 0; i < id->n_pointings; i++)
        if (!strcmp(id->pointing[i].name, pointing)) return &id->pointing[i];
    return NULL;
}

/* Comparison first, with the table as it comes or as the plant's; then margins, with the loop's. */
static enum tune_status examine(struct tune_measured_table *out, struct tune_response *table,
                                const struct tune_identification *id, const struct table_work *work,
                                struct tune_error *err)
{
    const struct tune_pointing_plant *plant = plant_of(id, out->pointing);
    const bool as_plant = !table->of_loop || work->gains_known,
               as_loop = table->of_loop || work->gains_known;
    double *std = malloc(2 * (table->n + 1) * sizeof *std), *dof = std ? std + table->n + 1 : NULL;
    enum tune_status status = std ? TUNE_OK : tune_error_memory(err, "looking at a table");
    if (!status) status = tune_table_std(std, dof, &out->error, table, err);
    if (!status && plant && !out->fitted && as_plant) {
        if (table->of_loop) status = chain_table_turn(table, &work->gains.controller, err);
        if (!status) status = tune_table_std(std, dof, &out->error, table, err);
        if (!status) status = compare(out, table, std, dof, plant, err);
    }
    /* errors that neighbours share do not scatter; the fit sees them */
    if (plant && out->fitted && out->error == TUNE_TABLE_SCATTER)
        out->std_factor = sqrt(fmax(plant->fit.reduced_chi_square, 1.0));
    if (!status && as_loop) status = find_margins(out, table, std, work, plant, err);
    if (!status && out->has_margins && plant && work->gains_known)
        status = chain_model_margins(&out->model, &out->has_model, &plant->fit.plant,
                                     &work->gains.controller, err);
    free(std);
    return status;
}

static enum tune_status finish_table(struct tune_measured_table *out,
                                     struct tune_identification *id, const struct chain *chain,
                                     const struct table_work *work, struct tune_error *err)
{
    struct tune_response table;
    enum tune_status status = chain_table_read(&table, chain, work->log, err);
    (void)snprintf(out->log, sizeof out->log, "%s", work->log->name);
    (void)snprintf(out->pointing, sizeof out->pointing, "%s", work->log->pointing);
    out->of_loop = work->log->of_loop;
    out->fitted = work->fitted;
    out->std_factor = 1.0;
    out->deviation_std = out->deviation_hz = (double)NAN;
    if (!status) {
        chain_set_rows(&id->provenance, work->log->file, table.n);
        table.n = chain_table_points(&table, chain->logbook.drive.loop_rate_hz);
        out->points = table.n;
        out->band_hz[0] = table.n ? table.f_hz[0] : (double)NAN;
        out->band_hz[1] = table.n ? table.f_hz[table.n - 1] : (double)NAN;
        out->deviation_std = 0.0;
        status = examine(out, &table, id, work, err);
        if (!(out->deviation_std > 0.0)) out->deviation_std = (double)NAN;
    }
    if (!status && !work->gains_known) chain_table_tell_kind(&id->notes, out, &table);
    tune_response_free(&table);
    if (status == TUNE_EDATA || status == TUNE_ENOSOL) {
        /* the plant does not rest on it, or is there already */
        tune_notes_add(&id->notes, "Log %s is of no further use: %.200s", work->log->name,
                       err->text);
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (status) return status;
    tell_deviation(&id->notes, out);
    if (out->has_margins) chain_table_tell_margins(&id->notes, out);
    if (out->of_loop && !work->gains_known)
        tune_notes_add(
            &id->notes,
            "Log %s is of an open loop whose gains are not stated: only its margins are given. "
            "Write the gains into [controller], or name their file in the log's section, and "
            "the plant follows.",
            out->log);
    return TUNE_OK;
}

static void tell_what_tables_lack(struct tune_identification *id)
{
    for (size_t i = 0; i < id->n_pointings; i++)
        if (id->pointing[i].estimator == TUNE_FRF_TABLE) {
            tune_notes_add(&id->notes,
                           "Tables tell neither the noise of the encoder nor the torque "
                           "that was used: take a quiet log (kind = hold) before gains "
                           "are judged, and state the torque ratings in [drive].");
            return;
        }
}

/* A result with neither a plant nor a margin is none. */
static enum tune_status require_something(const struct tune_identification *id,
                                          struct tune_error *err)
{
    bool any = id->n_pointings > 0;
    for (size_t i = 0; i < id->n_tables; i++)
        any = any || id->table[i].has_margins;
    if (any) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA, "no table tells anything: %.200s",
                          id->notes.n ? id->notes.text[id->notes.n - 1] : "none can be used");
}

enum tune_status chain_tables_finish(struct tune_identification *out, const struct chain *chain,
                                     const struct identification_work *work, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (!work->n_tables) return TUNE_OK;
    out->table = calloc(work->n_tables, sizeof *out->table);
    if (!out->table) return tune_error_memory(err, "looking at tables");
    for (size_t i = 0; !status && i < work->n_tables; i++)
        status = finish_table(&out->table[out->n_tables++], out, chain, &work->table[i], err);
    if (!status) status = require_something(out, err);
    tell_what_tables_lack(out);
    return status;
}
