/* identification_sensors.c - of identify.json: payload ratios, the sensor they come from, and what the encoder
 * cannot see.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "core/units.h"
#include "results/identification_internal.h"

/* An estimate, or null where there is none. */
void identification_payload_ratio(struct json_io *io, struct tune_pointing_plant *p, size_t mode)
{
    static const char key[] = "payload_ratio", from[] = "payload_ratio_from";
    struct tune_estimate ratio = {p->fit.plant.mode[mode].payload_ratio, p->sensor.ratio[mode].std};
    if (io->writing) {
        const bool known = !isnan(ratio.value);
        const bool sensed = known && p->sensor.kind != TUNE_PAYLOAD_UNKNOWN;
        if (known)
            json_io_estimate(io, key, &ratio);
        else
            json_put(io, key, json_null());
        json_put(io, from,
                 sensed ? json_string(tune_payload_source_name(p->sensor.kind)) : json_null());
        return;
    }
    ratio = (struct tune_estimate){(double)NAN, (double)NAN};
    if (!json_is_null(json_get(io, key))) json_io_estimate(io, key, &ratio);
    p->fit.plant.mode[mode].payload_ratio = ratio.value;
    p->sensor.ratio[mode] = ratio;
}

static void source(struct json_io *io, const char *key, enum tune_payload_source *source)
{
    const char *word[TUNE_PAYLOAD_ASSUMED + 1];
    unsigned choice = (unsigned)*source;
    for (unsigned i = 0; i <= TUNE_PAYLOAD_ASSUMED; i++)
        word[i] = tune_payload_source_name((enum tune_payload_source)i);
    json_io_choice(io, key, &choice, word, TUNE_PAYLOAD_ASSUMED + 1);
    *source = (enum tune_payload_source)choice;
}

/* Not there where no second sensor was used. */
void identification_sensor(struct json_io *io, struct tune_pointing_plant *p)
{
    struct tune_sensor *sensor = &p->sensor;
    if (io->writing ? sensor->kind == TUNE_PAYLOAD_UNKNOWN : !json_io_has(io, "second_sensor"))
        return;
    json_io_enter(io, "second_sensor");
    source(io, "kind", &sensor->kind);
    json_io_numbers(io, "band_hz", sensor->band_hz, 2);
    json_io_count(io, "lines", &sensor->lines);
    json_io_number(io, "reduced_chi_square", &sensor->reduced_chi_square);
    json_io_estimate(io, "sum_gain_ratio", &sensor->gain_sum);
    json_io_estimate(io, "late_s", &sensor->late_s);
    json_io_estimate(io, "scale", &sensor->scale);
    if (io->writing || json_io_has(io, "doubtful")) json_io_flag(io, "doubtful", &sensor->doubtful);
    if (sensor->kind == TUNE_PAYLOAD_ACCELEROMETER)
        json_io_estimate(io, "tilt_m_per_s2_per_rad", &sensor->tilt);
    json_io_leave(io);
    if (!io->writing) sensor->n_modes = p->fit.plant.n_modes;
}

static void in_arcsec(struct json_io *io, const char *key, struct tune_estimate *estimate)
{
    struct tune_estimate arcsec = {tune_arcsec_from_rad(estimate->value),
                                   tune_arcsec_from_rad(estimate->std)};
    json_io_estimate(io, key, &arcsec);
    if (io->writing) return;
    estimate->value = tune_rad_from_arcsec(arcsec.value);
    estimate->std = tune_rad_from_arcsec(arcsec.std);
}

void identification_unseen(struct json_io *io, struct tune_pointing_plant *p)
{
    struct tune_unseen *unseen = &p->unseen;
    json_io_enter(io, "unseen");
    const size_t n = json_io_list_fixed(io, "locked_rotor_hz", &unseen->n_locked, TUNE_MODES_MAX);
    for (size_t i = 0; i < n; i++) {
        json_io_item(io, i);
        json_io_number(io, "value", &unseen->locked_rotor_hz[i].value);
        json_io_number(io, "std", &unseen->locked_rotor_hz[i].std);
        json_io_leave(io);
    }
    json_io_leave(io);
    in_arcsec(io, "static_arcsec_per_nm", &unseen->static_rad_per_nm);
    in_arcsec(io, "peak_arcsec_per_nm", &unseen->peak_rad_per_nm);
    json_io_estimate(io, "peak_hz", &unseen->peak_hz);
    source(io, "payload", &unseen->payload);
    json_io_leave(io);
}
