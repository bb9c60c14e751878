/* inspect_table.c - is a table of responses fit for use?  SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/inspect_internal.h"
#include "plant/table.h"
#include "record/response.h"

/* Below this median coherence a response is doubted, as identify does; common practice, no source. */
static const double coherence_least = 0.9;

/* Mean cosine of the phase over the lowest octave above which it is that of a spring; an axis far below
 * its modes has -1. */
static const double spring = 0.5;

/* A slope of |G| over the lowest octave that no inertia has: it has -2. */
static const double flat = -0.5;

static void add(struct tune_health *health, const char *name, double value, const char *text,
                const char *advice)
{
    struct tune_finding *finding = &health->finding[health->n_findings++];
    *finding = (struct tune_finding){.severity = TUNE_WITH_CARE, .time_s = NAN, .value = value};
    (void)snprintf(finding->name, sizeof finding->name, "%s", name);
    (void)snprintf(finding->text, sizeof finding->text, "%s", text);
    (void)snprintf(finding->advice, sizeof finding->advice, "%s", advice);
    if (health->verdict < TUNE_WITH_CARE) health->verdict = TUNE_WITH_CARE;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Sorts what it is given. */
static void check_coherence(struct tune_health *health, double *coherence, size_t n)
{
    char text[100];
    qsort(coherence, n, sizeof *coherence, by_value);
    health->measures.coherence = coherence[n / 2];
    if (health->measures.coherence >= coherence_least) return;
    (void)snprintf(text, sizeof text, "the median coherence of the table is only %.3f",
                   health->measures.coherence);
    add(health, "coherence-low", health->measures.coherence, text,
        "excite harder or average longer");
}

static void check_low_end(struct tune_health *health, const struct tune_response *table)
{
    double cosine, slope;
    tune_table_low_end(&cosine, &slope, table->f_hz, table->g, table->n);
    if (cosine >= spring)
        add(health, "torque-sign", cosine,
            "over the lowest octave the angle follows the torque as in a spring, not as an inertia",
            "see whether a sign is wrong, or the axis stuck while the response was taken");
    else if (cosine <= -spring && slope >= flat)
        add(health, "gain-flat", slope,
            "over the lowest octave the phase is that of an inertia, but the gain does not fall "
            "with frequency",
            "see that gain_db is in dB, and that the table is of angle per torque");
}

/* What the fit, the comparison and the margins need all alike. */
static void check_points(struct tune_health *health, size_t n)
{
    char text[100];
    if (n >= TUNE_TABLE_POINTS_MIN) return;
    (void)snprintf(text, sizeof text, "the table has %zu points only, at least %d are needed", n,
                   (int)TUNE_TABLE_POINTS_MIN);
    add(health, "too-short", (double)n, text, "take the response at more frequencies");
    health->finding[health->n_findings - 1].severity = health->verdict = TUNE_UNFIT;
}

enum tune_status chain_inspect_table(struct tune_inspected_log *log, const struct chain *chain,
                                     const struct tune_log_entry *entry, struct tune_error *err)
{
    const struct tune_response_opts opts = {.of_loop = entry->of_loop,
                                            .torque_per_unit_nm = entry->reading.torque_per_unit_nm,
                                            .encoder_counts_per_turn =
                                                entry->reading.encoder_counts_per_turn};
    char path[TUNE_PATH_LENGTH];
    struct tune_response table = {0};
    enum tune_status status = tune_logbook_join(path, &chain->logbook, entry->file, err);
    if (!status)
        status = chain_name_section(entry, tune_response_read(&table, path, &opts, err), err);
    if (status) return status;
    log->rows = table.n;
    log->of_loop = table.of_loop;
    log->band_hz[0] = table.f_hz[0];
    log->band_hz[1] = table.f_hz[table.n - 1];
    log->health.measures = tune_health_unmeasured();
    check_points(&log->health, table.n);
    if (!table.of_loop) check_low_end(&log->health, &table);
    if (table.coherence) check_coherence(&log->health, table.coherence, table.n);
    tune_response_free(&table);
    return TUNE_OK;
}
