/* identify_cross.c - the other axis' answer to this axis' torque, and whether it matters.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "results/tables.h"

enum tune_status chain_record_cross(struct pointing_record *out, struct pointing_work *pointing,
                                    const struct tune_record *rec, struct tune_error *err)
{
    struct tune_frf_opts opts = tune_frf_defaults();
    enum tune_status status;
    if (!rec->channel[TUNE_ROLE_OTHER_POSITION]) return TUNE_OK;
    opts.output = TUNE_ROLE_OTHER_POSITION;
    memcpy(opts.band_hz, out->frf.band_hz, sizeof opts.band_hz);
    status = tune_frf_estimate(&out->other, &out->other_lines, rec, &opts, err);
    if (status != TUNE_EDATA) return status;
    tune_notes_add(&pointing->notes, "Log %s: no response of the other axis: %s", out->log->name,
                   err->text);
    tune_error_clear(err);
    return TUNE_OK;
}

/* One sentence, without full stop. */
static void say_why(struct tune_pointing_cross *out, const struct tune_requirement *requirement)
{
    const struct tune_cross *c = &out->cross;
    const double limit = requirement->jitter_rms_arcsec, ratio = c->octave_ratio.value;
    char jitter[96] = "";
    if (!c->significant) {
        (void)snprintf(out->why, sizeof out->why, "the other axis does not answer above its noise");
        return;
    }
    if (limit > 0.0 && !requirement->jitter_of_sky && isfinite(ratio))
        (void)snprintf(jitter, sizeof jitter,
                       ": while this one keeps its %.3g arcsec rms, by up to %.2g arcsec", limit,
                       ratio * limit);
    if (!isfinite(ratio))
        (void)snprintf(out->why, sizeof out->why,
                       "the other axis answers at %.4g Hz, by less than its noise over the octave",
                       c->at_hz);
    else
        (void)snprintf(
            out->why, sizeof out->why,
            "from %.3g to %.3g Hz the other axis moves %.2g +- %.1g times as far as this "
            "one%s; that is %s a tenth",
            c->octave_hz[0], c->octave_hz[1], ratio, c->octave_ratio.std, jitter,
            out->matters                              ? "more than"
            : ratio + 2.0 * c->octave_ratio.std < 0.1 ? "less than"
                                                      : "about");
}

static enum tune_status join(struct tune_frf *frf, struct tune_lines *lines,
                             const struct pointing_work *pointing, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < pointing->n_records && !status; i++) {
        status = tune_frf_append(frf, &pointing->record[i].other, err);
        if (!status) status = tune_lines_append(lines, &pointing->record[i].other_lines, err);
    }
    return status;
}

enum tune_status chain_identify_cross(struct tune_pointing_plant *out,
                                      struct pointing_work *pointing, const struct chain *chain,
                                      struct tune_error *err)
{
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    enum tune_status status = join(&frf, &lines, pointing, err);
    if (!status && frf.n > 0) {
        status = tune_cross_compare(&out->cross.cross, &frf, &out->fit, err);
        if (!status) status = tune_cross_modes(&out->cross.cross, &lines, &out->fit, err);
        if (!status) status = tune_frf_csv(&pointing->cross.text, &frf, err);
        if (!status) {
            out->cross.logged = true;
            out->cross.matters = tune_cross_matters(&out->cross.cross);
            say_why(&out->cross, &chain->logbook.requirement);
            (void)snprintf(pointing->cross.name, sizeof pointing->cross.name, "cross-%s.csv",
                           out->name);
            chain_result_file(&out->cross.file, &pointing->cross);
        }
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    return status;
}
