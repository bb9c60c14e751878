/* identify_sensors.c - payload ratios of a pointing from what sweeps logged beside the encoder, and what no
 * encoder shows.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "chain/quiet_internal.h"
#include "plant/unseen.h"

/* In the order of trust where as many modes are seen. */
static const struct {
    enum tune_role role;
    enum tune_payload_source kind;
} sensors[] = {
    {TUNE_ROLE_LOAD_POSITION, TUNE_PAYLOAD_LOAD_ENCODER},
    {TUNE_ROLE_PAYLOAD_ACCEL, TUNE_PAYLOAD_ACCELEROMETER},
    {TUNE_ROLE_SKY, TUNE_PAYLOAD_SKY},
};
enum { SENSORS = sizeof sensors / sizeof *sensors };

/* Two estimates differ, or one from what it should be, by so many of their std. */
static const double distinct = 3.0;

static double gap(const struct tune_estimate *a, const struct tune_estimate *b)
{
    return fabs(a->value - b->value) / hypot(a->std, b->std);
}

/* The lines of one role over every record; longest hold of its readings. */
static enum tune_status join(struct tune_lines *lines, double *hold_s,
                             const struct pointing_work *pointing, enum tune_role role,
                             struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    *hold_s = 0.0;
    for (size_t i = 0; i < pointing->n_records; i++)
        for (size_t k = 0; !status && k < pointing->record[i].n_outputs; k++) {
            const struct pointing_output *output = &pointing->record[i].output[k];
            if (output->role != role) continue;
            *hold_s = fmax(*hold_s, output->hold_s);
            status = tune_lines_append(lines, &output->lines, err);
        }
    return status;
}

static struct tune_sensor_opts options(enum tune_payload_source kind,
                                       const struct tune_payload_sensors *stated, double hold_s)
{
    const bool accelerometer = kind == TUNE_PAYLOAD_ACCELEROMETER;
    struct tune_sensor_opts opts =
        tune_sensor_defaults(kind, accelerometer ? stated->accel_arm_m : 1.0);
    opts.hold_s = hold_s;
    if (accelerometer) opts.scale_std = stated->accel_arm_std_m;
    if (kind == TUNE_PAYLOAD_SKY) opts.exposure_s = stated->sky_exposure_s;
    return opts;
}

static size_t seen(const struct tune_sensor *s)
{
    size_t n = 0;
    for (size_t k = 0; k < s->n_modes; k++)
        if (!isnan(s->ratio[k].value)) n++;
    return n;
}

/* TUNE_OK with kind TUNE_PAYLOAD_UNKNOWN where this sensor is not there or tells nothing. */
static enum tune_status sense(struct tune_sensor *s, size_t which, struct pointing_work *pointing,
                              const struct tune_pointing_plant *out, const struct tune_lines *lines,
                              const struct chain *chain, struct tune_error *err)
{
    const struct tune_payload_sensors *stated = &chain->logbook.payload_sensors;
    const enum tune_payload_source kind = sensors[which].kind;
    struct tune_lines second = {0};
    struct tune_sensor_opts opts;
    double hold_s;
    enum tune_status status = join(&second, &hold_s, pointing, sensors[which].role, err);
    if (!status && second.n && kind == TUNE_PAYLOAD_ACCELEROMETER && isnan(stated->accel_arm_m)) {
        tune_notes_add(&pointing->notes,
                       "Pointing %s: the payload's accelerometer is not used: state its distance "
                       "from the axis, payload_accel_arm_m in [payload].",
                       out->name);
    } else if (!status && second.n) {
        opts = options(kind, stated, hold_s);
        status = tune_sensor_estimate(s, &out->fit, lines, &second, &opts, err);
        if (status == TUNE_EDATA || status == TUNE_ENOSOL) {
            tune_notes_add(&pointing->notes, "Pointing %s: no payload ratios from the %s: %s.",
                           out->name, tune_payload_source_name(kind), err->text);
            status = TUNE_OK;
        } else if (!status && !seen(s)) {
            tune_notes_add(&pointing->notes, "Pointing %s: the %s shows none of the modes.",
                           out->name, tune_payload_source_name(kind));
            tune_sensor_free(s);
        } else if (!status) {
            bool use = false;
            status = chain_trust_sensor(&use, s, &opts, tune_role_name(sensors[which].role),
                                        &pointing->notes, out, lines, &second, err);
            if (!status && !use) tune_sensor_free(s);
        }
    }
    tune_lines_free(&second);
    return status;
}

static void compare(struct tune_notes *notes, const struct tune_sensor *a,
                    const struct tune_sensor *b, const struct tune_pointing_plant *out)
{
    for (size_t k = 0; k < a->n_modes && k < b->n_modes; k++)
        if (gap(&a->ratio[k], &b->ratio[k]) > distinct)
            tune_notes_add(notes,
                           "Pointing %s, mode at %.4g Hz: the %s says a payload ratio of %.3g +- "
                           "%.2g, the %s %.3g +- %.2g; they do not sit on the same piece, or one "
                           "has a wrong scale. The first is used.",
                           out->name, out->fit.plant.mode[k].f_hz,
                           tune_payload_source_name(a->kind), a->ratio[k].value, a->ratio[k].std,
                           tune_payload_source_name(b->kind), b->ratio[k].value, b->ratio[k].std);
}

/* One that is not doubtful; of these the one that sees most modes, the first of them. */
static size_t rank(const struct tune_sensor *s)
{
    return seen(s) && !s->doubtful ? seen(s) + TUNE_MODES_MAX : seen(s);
}

static size_t choose(const struct tune_sensor found[SENSORS])
{
    size_t best = 0;
    for (size_t i = 1; i < SENSORS; i++)
        if (rank(&found[i]) > rank(&found[best])) best = i;
    return best;
}

/* ---- what the encoder cannot see -----------------------------------------------------------------*/

static enum tune_status see_unseen(struct tune_pointing_plant *out, struct tune_notes *notes,
                                   const struct tune_sensor *sensor, const struct chain *chain,
                                   struct tune_error *err)
{
    struct tune_plant plant = out->fit.plant;
    double ratio[TUNE_MODES_MAX], missed_hz;
    const bool stated = chain->logbook.n_payload_ratios > 0;
    const bool found = stated && chain_stated_ratios(&plant, &chain->logbook, &missed_hz);
    if (stated && !found)
        tune_notes_add(notes,
                       "Pointing %s: [payload] states a ratio for a mode at %.6g Hz, but no mode "
                       "found lies within 10 %% of it: the stated ratios are not used here, and "
                       "design and predict refuse them. Correct the frequency or take it out.",
                       out->name, missed_hz);
    if (found) {
        for (size_t k = 0; k < plant.n_modes; k++)
            ratio[k] = plant.mode[k].payload_ratio;
        return tune_unseen_estimate(&out->unseen, &out->fit, ratio, NULL, TUNE_PAYLOAD_STATED, err);
    }
    if (sensor->kind == TUNE_PAYLOAD_UNKNOWN)
        return tune_unseen_estimate(&out->unseen, &out->fit, NULL, NULL, TUNE_PAYLOAD_ASSUMED, err);
    for (size_t k = 0; k < plant.n_modes; k++)
        ratio[k] = sensor->ratio[k].value;
    return tune_unseen_estimate(&out->unseen, &out->fit, ratio, sensor->covariance, sensor->kind,
                                err);
}

enum tune_status chain_identify_sensors(struct tune_pointing_plant *out,
                                        struct pointing_work *pointing,
                                        const struct tune_lines *lines, const struct chain *chain,
                                        struct tune_error *err)
{
    struct tune_sensor found[SENSORS] = {{0}}, *best;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && out->fit.plant.n_modes && i < SENSORS; i++)
        status = sense(&found[i], i, pointing, out, lines, chain, err);
    best = &found[choose(found)];
    for (size_t i = 0; !status && i < SENSORS; i++)
        if (&found[i] != best) compare(&pointing->notes, best, &found[i], out);
    if (!status) status = see_unseen(out, &pointing->notes, best, chain, err);
    if (!status && best->kind != TUNE_PAYLOAD_UNKNOWN) {
        out->sensor = *best;
        out->sensor.covariance = NULL;
        out->sensor.n = 0;
        for (size_t k = 0; k < best->n_modes; k++)
            out->fit.plant.mode[k].payload_ratio = best->ratio[k].value;
    }
    for (size_t i = 0; i < SENSORS; i++)
        tune_sensor_free(&found[i]);
    return status;
}
