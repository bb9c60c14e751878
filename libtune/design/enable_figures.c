/* enable_figures.c - what a short log on each rung will show, how long it must be, and when to stop.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable_internal.h"

#include <math.h>
#include <stdlib.h>

#include "core/workers.h"
#include "jitter/prediction.h"

/* What a log of one pointing on one rung shows. */
struct expectation {
    double encoder_rad, interval_rad[2], torque_nm;
};

struct outlook {
    const struct problem *problem;
    const struct tune_disturbance *disturbance;
    const struct tune_enable_rung *rung;
    struct expectation *expectation; /* [n_pointings] */
};

struct tune_disturbance design_smooth_part(const struct tune_disturbance *disturbance,
                                           double rate_hz)
{
    struct tune_disturbance d = *disturbance;
    d.n = 0; /* the log's own spectrum holds for its own pointing only */
    d.f_hz = d.sv = NULL;
    d.sensor_psd *= d.rate_hz / rate_hz;
    d.rate_hz = rate_hz;
    return d;
}

static enum tune_status foretell(void *user, size_t item, struct tune_error *err)
{
    const struct outlook *outlook = user;
    const struct problem *problem = outlook->problem;
    const struct tune_plant *plant = &problem->scenario[enable_nominal(problem, item)].plant;
    struct tune_jitter jitter;
    const enum tune_status status =
        tune_jitter_predict(&jitter, outlook->disturbance, plant, plant, &outlook->rung->controller,
                            outlook->rung->dwell_s, err);
    if (status != TUNE_OK) return status;
    outlook->expectation[item] =
        (struct expectation){jitter.measured_rms_rad.value,
                             {jitter.interval95_rad[0], jitter.interval95_rad[1]},
                             jitter.torque_rms_nm};
    tune_jitter_free(&jitter);
    return TUNE_OK;
}

/* The worst pointing. Returns by how much longer the log must be for its own scatter to stay below the
 * factor: the logarithm of it falls with the root of the duration. */
static double take_worst(struct tune_enable_rung *rung, const struct expectation *expectation,
                         size_t n)
{
    const double factor = 1.5;
    double longer = 1.0;
    rung->encoder_rms_rad = rung->torque_rms_nm = 0.0;
    for (size_t p = 0; p < n; p++) {
        const struct expectation *e = &expectation[p];
        rung->torque_rms_nm = fmax(rung->torque_rms_nm, e->torque_nm);
        if (e->encoder_rad > 0.0)
            longer = fmax(longer, pow(log(e->interval_rad[1] / e->encoder_rad) / log(factor), 2.0));
        if (e->encoder_rad <= rung->encoder_rms_rad) continue;
        rung->encoder_rms_rad = e->encoder_rad;
        rung->encoder_interval95_rad[0] = e->interval_rad[0];
        rung->encoder_interval95_rad[1] = e->interval_rad[1];
    }
    rung->abort_encoder_rad = 2.0 * rung->encoder_rms_rad;
    rung->abort_torque_nm = 2.0 * rung->torque_rms_nm;
    return longer;
}

static enum tune_status expect_rung(struct tune_enable_rung *rung, struct outlook *outlook,
                                    struct tune_error *err)
{
    const size_t n = outlook->problem->n_pointings;
    const double periods = 10.0, shortest_s = 10.0, longest_s = 3600.0;
    enum tune_status status = TUNE_OK;
    outlook->rung = rung;
    rung->dwell_s = fmin(longest_s, ceil(fmax(shortest_s, periods / rung->crossover_hz)));
    for (int i = 0; i < 3 && status == TUNE_OK; i++) {
        double longer;
        status = tune_workers_run(n, outlook->problem->opts->threads, foretell, outlook, err);
        if (status != TUNE_OK) break;
        longer = take_worst(rung, outlook->expectation, n);
        if (longer <= 1.0 || rung->dwell_s >= longest_s) break;
        rung->dwell_s = fmin(longest_s, ceil(1.02 * longer * rung->dwell_s));
    }
    return status;
}

enum tune_status enable_expect(struct tune_enable_ladder *out, const struct problem *problem,
                               const struct tune_watch *watch, struct tune_error *err)
{
    const struct tune_disturbance smooth =
        design_smooth_part(problem->disturbance, problem->rate_hz);
    struct outlook outlook = {.problem = problem, .disturbance = &smooth};
    enum tune_status status = TUNE_OK;
    outlook.expectation = calloc(problem->n_pointings, sizeof *outlook.expectation);
    if (!outlook.expectation) return tune_error_memory(err, "foretelling the enable ladder");
    for (size_t r = 0; r < out->n_rungs && status == TUNE_OK; r++) {
        status = tune_watch_tick(watch, "enable ladder",
                                 0.7 + 0.3 * (double)r / (double)out->n_rungs, err);
        if (status == TUNE_OK) status = expect_rung(&out->rung[r], &outlook, err);
    }
    free(outlook.expectation);
    return status;
}
