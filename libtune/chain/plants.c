/* plants.c - the plants of an identification, with what the payload does in each mode: as the logbook
 * states it, else assumed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/quiet_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What was assumed, over all pointings: the range of the mode taken and of its ratio. */
struct assumption {
    size_t found;
    double f_hz[2], ratio[2];
};

static void widen(double range[2], double x, bool first)
{
    range[0] = first ? x : fmin(range[0], x);
    range[1] = first ? x : fmax(range[1], x);
}

static void assume(struct assumption *assumption, struct tune_plant *plant)
{
    const size_t mode = tune_plant_assume_payload(plant);
    if (mode >= plant->n_modes) return;
    widen(assumption->f_hz, plant->mode[mode].f_hz, assumption->found == 0);
    widen(assumption->ratio, plant->mode[mode].payload_ratio, assumption->found == 0);
    assumption->found++;
}

/* "a .. b", or "a" where both read alike */
static void range_text(char *text, size_t size, const double range[2], int digits)
{
    char low[20], high[20];
    (void)snprintf(low, sizeof low, "%.*g", digits, range[0]);
    (void)snprintf(high, sizeof high, "%.*g", digits, range[1]);
    if (strcmp(low, high) != 0)
        (void)snprintf(text, size, "%s .. %s", low, high);
    else
        (void)snprintf(text, size, "%s", low);
}

static void describe_assumption(struct chain_plants *out, const struct assumption *assumption)
{
    const bool all = assumption->found == out->n;
    (void)snprintf(out->payload, sizeof out->payload, "%s",
                   all                     ? "assumed"
                   : assumption->found > 0 ? "partly"
                                           : "none");
    if (assumption->found > 0) {
        char f_hz[48], ratio[48];
        range_text(f_hz, sizeof f_hz, assumption->f_hz, 4);
        range_text(ratio, sizeof ratio, assumption->ratio, 3);
        tune_notes_add(&out->notes,
                       "Assumed payload: the mode at %s Hz moves it by %s times the encoder, the "
                       "others not at all. Sky figures rest on this; [payload] in axis.ini states "
                       "what is known.",
                       f_hz, ratio);
    }
    if (!all)
        tune_notes_add(&out->notes,
                       "%s no mode looks like the payload's: there the line of sight is taken to "
                       "move as the encoder does.",
                       assumption->found > 0 ? "At other pointings" : "At every pointing");
}

/* How far, in ln f, the mode may lie from the frequency the logbook states its ratio for. */
static const double nearness = 0.1;

/* Ratios the logbook states go to the nearest mode, each at most once; a mode without one is taken not
 * to move the payload. False, and *missed set, where a stated mode was not found. */
static bool apply_stated(struct tune_plant *plant, const struct tune_logbook *logbook,
                         double *missed_hz)
{
    for (size_t k = 0; k < plant->n_modes; k++)
        plant->mode[k].payload_ratio = NAN;
    for (size_t i = 0; i < logbook->n_payload_ratios; i++) {
        const struct tune_payload_ratio *stated = &logbook->payload_ratio[i];
        struct tune_mode *nearest = NULL;
        double least = nearness;
        for (size_t k = 0; k < plant->n_modes; k++) {
            const double distance = fabs(log(plant->mode[k].f_hz / stated->f_hz));
            if (distance > least || !isnan(plant->mode[k].payload_ratio)) continue;
            least = distance;
            nearest = &plant->mode[k];
        }
        *missed_hz = stated->f_hz;
        if (!nearest) return false;
        nearest->payload_ratio = stated->ratio;
    }
    for (size_t k = 0; k < plant->n_modes; k++)
        if (isnan(plant->mode[k].payload_ratio)) plant->mode[k].payload_ratio = 0.0;
    return true;
}

static enum tune_status take_stated(struct chain_plants *out, const struct chain *chain,
                                    struct tune_error *err)
{
    for (size_t i = 0; i < out->n; i++) {
        double missed_hz = NAN;
        if (apply_stated(&out->plant[i], &chain->logbook, &missed_hz)) continue;
        tune_error_set(
            err, TUNE_EDATA,
            "[payload] states a ratio for a mode at %.6g Hz, but no mode found at %s lies "
            "within 10 %% of it: correct the frequency or take the ratio out",
            missed_hz, out->name[i]);
        return tune_error_place(err, chain->logbook.ini_path, 0, 0);
    }
    (void)snprintf(out->payload, sizeof out->payload, "stated");
    tune_notes_add(&out->notes, "Payload ratios as the logbook states them; modes without one are "
                                "taken not to move the payload. Sky figures rest on this.");
    return TUNE_OK;
}

enum tune_status chain_payload_provenance(struct tune_provenance *provenance,
                                          const struct chain *chain, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < chain->logbook.n_payload_ratios; i++)
        status = tune_provenance_add_option(provenance, err, "payload ratio", "%.15g Hz %.15g",
                                            chain->logbook.payload_ratio[i].f_hz,
                                            chain->logbook.payload_ratio[i].ratio);
    return status;
}

enum tune_status chain_plants(struct chain_plants *out, const struct tune_identification *id,
                              const struct chain *chain, struct tune_error *err)
{
    struct assumption assumption = {0};
    memset(out, 0, sizeof *out);
    out->n = id->n_pointings;
    out->plant = calloc(out->n + 1, sizeof *out->plant);
    out->name = calloc(out->n + 1, sizeof *out->name);
    if (!out->plant || !out->name) return tune_error_memory(err, "gathering the plants");
    for (size_t i = 0; i < out->n; i++) {
        out->plant[i] = id->pointing[i].fit.plant;
        out->name[i] = id->pointing[i].name;
    }
    if (chain->logbook.n_payload_ratios > 0) return take_stated(out, chain, err);
    for (size_t i = 0; i < out->n; i++)
        assume(&assumption, &out->plant[i]);
    describe_assumption(out, &assumption);
    return TUNE_OK;
}

void chain_plants_free(struct chain_plants *plants)
{
    free(plants->plant);
    free(plants->name);
    memset(plants, 0, sizeof *plants);
}
