/* design_bound.c - how much less jitter any linear controller could leave at each pointing.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "chain/progress_internal.h"
#include "core/units.h"
#include "core/workers.h"
#include "design/bound.h"

/* One item is one pointing; why: what kept a bound from being found there. */
struct bounding {
    const struct design_work *work;
    const struct tune_candidate *of;
    struct tune_bound_opts opts;
    struct progress progress;
    size_t n;
    struct bounded {
        struct tune_bound bound;
        char why[TUNE_ERROR_TEXT];
    } * item; /* [n] */
};

/* The limits of the design. Gains from outside may pass them: then what they take themselves, so that
 * like is compared with like. */
static struct tune_bound_opts limits(const struct design_work *work,
                                     const struct tune_candidate *of)
{
    struct tune_bound_opts opts = tune_bound_defaults();
    opts.encoder_objective = work->opts.encoder_objective;
    opts.sensor_noise_rad = work->opts.sensor_noise_rad;
    opts.noise_torque_rms_nm = fmax(work->opts.noise_torque_rms_nm, of->noise_torque_rms_nm);
    opts.peak_sensitivity = work->bound_peak;
    for (size_t i = 0; i < of->n_margins; i++)
        if (of->margins[i].stable)
            opts.peak_sensitivity =
                fmax(opts.peak_sensitivity, of->margins[i].peak_sensitivity.value);
    return opts;
}

/* A loop that is not stable, or passes any limit, has no bound: that is an answer. */
static enum tune_status bound_one(void *user, size_t item, struct tune_error *err)
{
    struct bounding *b = user;
    struct bounded *out = &b->item[item];
    const struct chain_plants *plants = &b->work->basis.plants;
    struct progress_item watch;
    enum tune_status status;
    progress_item(&watch, &b->progress, item, plants->name[item]);
    if (!b->of->margins[item].stable) {
        (void)snprintf(out->why, sizeof out->why, "the loop is not stable there");
        return TUNE_OK;
    }
    status = tune_design_bound(&out->bound, &plants->plant[item], &b->of->controller,
                               &b->work->basis.quiet.disturbance, &b->opts, &watch.watch, err);
    if (status != TUNE_ENOSOL && status != TUNE_EINVAL) return status;
    (void)snprintf(out->why, sizeof out->why, "%s", err->text);
    tune_error_clear(err);
    return TUNE_OK;
}

static void take(struct tune_proposal *out, const struct bounding *b, size_t item)
{
    const struct bounded *from = &b->item[item];
    const char *pointing = b->work->basis.plants.name[item];
    struct tune_least_jitter *to = &out->bound[out->n_bounds];
    if (from->why[0]) {
        tune_notes_add(&out->notes, "No least jitter at %s: %s.", pointing, from->why);
        return;
    }
    *to = (struct tune_least_jitter){
        .peak_sensitivity_limit = b->opts.peak_sensitivity,
        .noise_torque_limit_nm = b->opts.noise_torque_rms_nm,
        .least_rms_arcsec = tune_arcsec_from_rad(from->bound.rms_rad),
        .rms_arcsec = tune_arcsec_from_rad(from->bound.start_rms_rad),
        .ratio = from->bound.start_rms_rad / from->bound.rms_rad,
        .spread = from->bound.spread,
    };
    (void)snprintf(to->pointing, sizeof to->pointing, "%s", pointing);
    (void)snprintf(to->controller, sizeof to->controller, "%s", b->of->name);
    out->n_bounds++;
}

enum tune_status chain_design_bound(struct tune_proposal *out, const struct design_work *work,
                                    struct tune_error *err)
{
    const struct chain *chain = &work->basis.chain;
    const size_t n = work->basis.plants.n;
    struct bounding *b;
    enum tune_status status = TUNE_OK;
    if (!chain->job->bound) return TUNE_OK;
    b = calloc(1, sizeof *b);
    out->bound = calloc(n + 1, sizeof *out->bound);
    if (b) b->item = calloc(n + 1, sizeof *b->item);
    if (!b || !b->item || !out->bound) status = tune_error_memory(err, "bounding the jitter");
    if (!status) {
        b->work = work;
        b->of = &out->candidate[work->bound_of];
        b->opts = limits(work, b->of);
        progress_start(&b->progress, chain->job->watch, n, 0.96, 1.0);
        status = tune_workers_run(n, chain->job->threads, bound_one, b, err);
    }
    for (size_t i = 0; !status && i < n; i++)
        take(out, b, i);
    if (b) free(b->item);
    free(b);
    return status;
}
