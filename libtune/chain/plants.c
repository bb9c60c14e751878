/* plants.c - the plants of an identification, with what the payload does in each mode: as the logbook
 * states it, else as a second sensor showed it, else assumed.
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

static void assume(struct assumption *assumption, struct tune_plant *plant,
                   const struct tune_fit *fit)
{
    const size_t mode = tune_fit_assume_payload(plant, fit);
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

/* identified: at so many of the pointings nothing was to be assumed. */
static void describe_assumption(struct chain_plants *out, const struct assumption *assumption,
                                size_t identified)
{
    const bool all = assumption->found + identified == out->n;
    (void)snprintf(out->payload, sizeof out->payload, "%s",
                   identified == out->n                 ? "identified"
                   : assumption->found == out->n        ? "assumed"
                   : assumption->found + identified > 0 ? "partly"
                                                        : "none");
    if (identified == out->n) return;
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
                       assumption->found + identified > 0 ? "At other pointings"
                                                          : "At every pointing");
}

/* How far, in ln f, the mode may lie from the frequency the logbook states its ratio for. */
static const double nearness = 0.1;

bool chain_stated_ratios(struct tune_plant *plant, const struct tune_logbook *logbook,
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

/* ---- identified ----------------------------------------------------------------------------------*/

/* The ratios stand in the plant already; a mode the sensor did not see is taken not to move the payload. */
static bool take_identified(struct tune_plant *plant, const struct tune_pointing_plant *from)
{
    if (from->sensor.kind == TUNE_PAYLOAD_UNKNOWN) return false;
    for (size_t k = 0; k < plant->n_modes; k++)
        if (isnan(plant->mode[k].payload_ratio)) plant->mode[k].payload_ratio = 0.0;
    return true;
}

static void describe_identified(struct chain_plants *out, const struct tune_identification *id,
                                size_t identified)
{
    const char *kind = NULL;
    bool several = false;
    size_t doubtful = 0;
    double std[2] = {0.0, 0.0};
    char known[48];
    size_t seen = 0;
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_sensor *sensor = &id->pointing[i].sensor;
        if (sensor->kind == TUNE_PAYLOAD_UNKNOWN) continue;
        several = several || (kind && strcmp(kind, tune_payload_source_name(sensor->kind)) != 0);
        kind = tune_payload_source_name(sensor->kind);
        if (sensor->doubtful) doubtful++;
        for (size_t k = 0; k < id->pointing[i].fit.plant.n_modes; k++) {
            if (isnan(sensor->ratio[k].value)) continue;
            widen(std, sensor->ratio[k].std, seen == 0);
            seen++;
        }
    }
    if (!kind) return;
    range_text(known, sizeof known, std, 2);
    tune_notes_add(
        &out->notes,
        "Payload ratios identified from the %s at %zu of %zu pointings, std %s; modes it does not "
        "see are taken not to move the payload. Sky figures rest on this; their intervals leave "
        "these std out.",
        several ? "second sensors" : kind, identified, out->n, known);
    if (doubtful)
        tune_notes_add(&out->notes,
                       "The payload ratios are doubtful at %zu of %zu pointings (a slow sensor, or "
                       "one that shows more than the modes explain: see identify), and so are the "
                       "sky figures that rest on them.",
                       doubtful, out->n);
}

/* A ratio the logbook states wins; where a sensor says otherwise, that is told. */
static void compare_stated(struct chain_plants *out, const struct tune_identification *id)
{
    const double distinct = 3.0;
    for (size_t i = 0; i < out->n; i++) {
        const struct tune_pointing_plant *from = &id->pointing[i];
        for (size_t k = 0; from->sensor.kind != TUNE_PAYLOAD_UNKNOWN && k < out->plant[i].n_modes;
             k++) {
            const struct tune_estimate *seen = &from->sensor.ratio[k];
            const double stated = out->plant[i].mode[k].payload_ratio;
            if (!(fabs(seen->value - stated) > distinct * seen->std)) continue;
            if (!from->fit.out_of_band[k])
                tune_notes_add(
                    &out->notes,
                    "Pointing %s, mode at %.4g Hz: a payload ratio of %.3g is stated, the "
                    "%s says %.3g +- %.2g: correct [payload] or find out why.",
                    out->name[i], out->plant[i].mode[k].f_hz, stated,
                    tune_payload_source_name(from->sensor.kind), seen->value, seen->std);
        }
    }
}

static enum tune_status take_stated(struct chain_plants *out, const struct chain *chain,
                                    struct tune_error *err)
{
    for (size_t i = 0; i < out->n; i++) {
        double missed_hz = NAN;
        if (chain_stated_ratios(&out->plant[i], &chain->logbook, &missed_hz)) continue;
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
    const struct tune_payload_sensors *sensors = &chain->logbook.payload_sensors;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < chain->logbook.n_payload_ratios; i++)
        status = tune_provenance_add_option(provenance, err, "payload ratio", "%.15g Hz %.15g",
                                            chain->logbook.payload_ratio[i].f_hz,
                                            chain->logbook.payload_ratio[i].ratio);
    if (!status && !isnan(sensors->accel_arm_m))
        status = tune_provenance_add_option(provenance, err, "payload accelerometer",
                                            "%.15g m, std %.15g m", sensors->accel_arm_m,
                                            sensors->accel_arm_std_m);
    if (!status && sensors->sky_exposure_s > 0.0)
        status = tune_provenance_add_option(provenance, err, "sky exposure", "%.15g s",
                                            sensors->sky_exposure_s);
    return status;
}

enum tune_status chain_plants(struct chain_plants *out, const struct tune_identification *id,
                              const struct chain *chain, struct tune_error *err)
{
    struct assumption assumption = {0};
    size_t identified = 0;
    memset(out, 0, sizeof *out);
    out->n = id->n_pointings;
    out->plant = calloc(out->n + 1, sizeof *out->plant);
    out->name = calloc(out->n + 1, sizeof *out->name);
    if (!out->plant || !out->name) return tune_error_memory(err, "gathering the plants");
    for (size_t i = 0; i < out->n; i++) {
        out->plant[i] = id->pointing[i].fit.plant;
        out->name[i] = id->pointing[i].name;
    }
    if (chain->logbook.n_payload_ratios > 0) {
        const enum tune_status status = take_stated(out, chain, err);
        if (!status) compare_stated(out, id);
        return status;
    }
    for (size_t i = 0; i < out->n; i++)
        if (take_identified(&out->plant[i], &id->pointing[i]))
            identified++;
        else
            assume(&assumption, &out->plant[i], &id->pointing[i].fit);
    describe_identified(out, id, identified);
    describe_assumption(out, &assumption, identified);
    return TUNE_OK;
}

void chain_plants_free(struct chain_plants *plants)
{
    free(plants->plant);
    free(plants->name);
    memset(plants, 0, sizeof *plants);
}
