/* identification_cross.c - identify.json: the other axis' answer to this axis' torque.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/identification_internal.h"

static void mode_fields(struct json_io *io, struct tune_cross *c)
{
    const size_t n = json_io_list_fixed(io, "modes", &c->n_modes, TUNE_MODES_MAX);
    for (size_t k = 0; k < n; k++) {
        json_io_item(io, k);
        json_io_estimate(io, "ratio", &c->mode_ratio[k]);
        json_io_flag(io, "above_noise", &c->mode_above[k]);
        json_io_leave(io);
    }
    json_io_leave(io);
}

void identification_cross_fields(struct json_io *io, struct tune_pointing_plant *p)
{
    struct tune_pointing_cross *cross = &p->cross;
    struct tune_cross *c = &cross->cross;
    if (io->writing ? !cross->logged : !json_io_has(io, "cross")) return;
    cross->logged = true;
    json_io_enter(io, "cross");
    json_io_file(io, "file", &cross->file);
    json_io_numbers(io, "band_hz", c->band_hz, 2);
    json_io_count(io, "bins", &c->bins);
    json_io_count(io, "bins_above_noise", &c->bins_above);
    json_io_flag(io, "significant", &c->significant);
    json_io_estimate(io, "largest_ratio", &c->largest_ratio);
    json_io_number(io, "at_hz", &c->at_hz);
    json_io_estimate(io, "octave_ratio", &c->octave_ratio);
    json_io_numbers(io, "octave_hz", c->octave_hz, 2);
    mode_fields(io, c);
    json_io_flag(io, "matters", &cross->matters);
    json_io_text(io, "why", cross->why, sizeof cross->why);
    json_io_leave(io);
}
