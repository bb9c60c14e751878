/* load.c - true torque per torque of the log, from slow moves with and without a known weight.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

enum {
    PIECES = 8, /* of the common range: each has its own out-of-balance and ripple */
    PASSES_MAX = 64,
    UNKNOWNS = PIECES + 3 /* places, friction of either log, 1/ratio */
};

/* One slow move one way. */
struct pass {
    size_t log; /* 0 with, 1 without the weight */
    size_t first, end;
    double direction, low_rad, high_rad;
};

struct load_work {
    const struct tune_record *rec[2];
    const struct tune_weight *weight[2];
    double angle_scale, middle_rad[2];
    double low_rad, high_rad; /* common range */
    size_t n;
    struct pass pass[PASSES_MAX];
    /* cells pass x piece: mean torque, weight's torque; count 0: none */
    size_t count[PASSES_MAX * PIECES];
    double torque[PASSES_MAX * PIECES], pull[PASSES_MAX * PIECES];
};

/* ---- passes --------------------------------------------------------------------------------------*/

static void add_pass(struct load_work *work, size_t log, size_t first, size_t end, double direction)
{
    const double *x = work->rec[log]->channel[TUNE_ROLE_POSITION];
    /* speeding up and slowing down stay out */
    const size_t trim = (end - first) / 10;
    struct pass *pass;
    if (work->n == PASSES_MAX) return;
    pass = &work->pass[work->n++];
    *pass = (struct pass){log, first + trim, end - trim, direction, 0.0, 0.0};
    pass->low_rad = fmin(x[pass->first], x[pass->end - 1]);
    pass->high_rad = fmax(x[pass->first], x[pass->end - 1]);
}

/* Half of the typical speed of the moving rows. */
static enum tune_status slow_limit(double *limit, const double *v, size_t n, struct tune_error *err)
{
    double *room = malloc((n + 1) * sizeof *room), top;
    size_t count = 0;
    if (!room) return tune_error_memory(err, "looking for slow moves");
    for (size_t k = 0; k < n; k++)
        room[k] = fabs(v[k]);
    top = motion_quantile(room, n, 0.98);
    for (size_t k = 0; k < n; k++)
        if (fabs(v[k]) > 0.2 * top) room[count++] = fabs(v[k]);
    *limit = count ? 0.5 * motion_quantile(room, count, 0.5) : top;
    free(room);
    return TUNE_OK;
}

static enum tune_status find_passes(struct load_work *work, size_t log, struct tune_error *err)
{
    const struct tune_record *rec = work->rec[log];
    const double *x = rec->channel[TUNE_ROLE_POSITION];
    double *v = NULL, limit = 0.0, low = INFINITY, high = -INFINITY;
    enum tune_status status =
        motion_speed(&v, x, rec->n, rec->rate_hz, (size_t)(0.05 * rec->rate_hz) + 4, err);
    if (!status) status = slow_limit(&limit, v, rec->n, err);
    for (size_t k = 0; !status && k < rec->n; k++) {
        low = fmin(low, x[k]);
        high = fmax(high, x[k]);
    }
    work->middle_rad[log] = 0.5 * (low + high);
    for (size_t k = 0; !status && k < rec->n;) {
        const double direction = v[k] > 0.0 ? 1.0 : -1.0;
        size_t end = k;
        while (end < rec->n && v[end] * direction > limit && motion_enabled(rec, end))
            end++;
        if (end > k + 20 && fabs(x[end - 1] - x[k]) > 0.25 * (high - low))
            add_pass(work, log, k, end, direction);
        k = end > k ? end : k + 1;
    }
    free(v);
    return status;
}

/* Over which all passes went; both logs both ways. */
static bool find_range(struct load_work *work)
{
    size_t ways[2][2] = {{0}};
    double widest = 0.0;
    work->low_rad = -INFINITY;
    work->high_rad = INFINITY;
    for (size_t i = 0; i < work->n; i++) {
        const struct pass *pass = &work->pass[i];
        ways[pass->log][pass->direction > 0.0]++;
        work->low_rad = fmax(work->low_rad, pass->low_rad);
        work->high_rad = fmin(work->high_rad, pass->high_rad);
        widest = fmax(widest, pass->high_rad - pass->low_rad);
    }
    return ways[0][0] && ways[0][1] && ways[1][0] && ways[1][1] &&
           work->high_rad - work->low_rad > 0.25 * widest;
}

/* ---- cells and their regression ------------------------------------------------------------------*/

static void fill_cells(struct load_work *work)
{
    for (size_t i = 0; i < work->n; i++) {
        const struct pass *pass = &work->pass[i];
        const struct tune_record *rec = work->rec[pass->log];
        for (size_t k = pass->first; k < pass->end; k++) {
            const double x = rec->channel[TUNE_ROLE_POSITION][k];
            const double u = (x - work->low_rad) / (work->high_rad - work->low_rad);
            const size_t cell = i * PIECES + (size_t)(fmax(u, 0.0) * PIECES);
            if (u < 0.0 || u >= 1.0) continue;
            work->count[cell]++;
            work->torque[cell] += rec->channel[TUNE_ROLE_TORQUE][k];
            work->pull[cell] += tune_weight_torque(
                work->weight[pass->log], work->angle_scale * (x - work->middle_rad[pass->log]));
        }
    }
    for (size_t cell = 0; cell < work->n * PIECES; cell++)
        if (work->count[cell]) {
            work->torque[cell] /= (double)work->count[cell];
            work->pull[cell] /= (double)work->count[cell];
        }
}

static void fill_row(double row[UNKNOWNS], const struct load_work *work, size_t cell)
{
    const struct pass *pass = &work->pass[cell / PIECES];
    memset(row, 0, UNKNOWNS * sizeof *row);
    row[cell % PIECES] = 1.0;
    row[PIECES + pass->log] = pass->direction;
    row[PIECES + 2] = -work->pull[cell]; /* the drive holds against it */
}

/* A pass that differs from the others as a whole shows that its cells are not independent: by how much
 * the std must grow for it. Only where there are more passes than what they determine. */
static double between_passes(const struct load_work *work, const struct motion_ols *ols)
{
    const double free_passes = (double)work->n - 4.0; /* two frictions, offset, ratio */
    double squares = 0.0, expected;
    if (free_passes < 2.0) return 1.0;
    for (size_t i = 0; i < work->n; i++) {
        double mean = 0.0, count = 0.0, row[UNKNOWNS];
        for (size_t k = 0; k < PIECES; k++) {
            const size_t cell = i * PIECES + k;
            if (!work->count[cell]) continue;
            fill_row(row, work, cell);
            double rest = work->torque[cell];
            for (size_t j = 0; j < UNKNOWNS; j++)
                rest -= ols->beta[j] * row[j];
            mean += rest;
            count += 1.0;
        }
        if (count > 0.0) squares += mean * mean / count;
    }
    expected = ols->rss / ols->dof;
    return expected > 0.0 ? sqrt(fmax(1.0, squares / free_passes / expected)) : 1.0;
}

static bool regress(struct motion_ols *ols, double *widen, const struct load_work *work)
{
    const size_t cells = work->n * PIECES;
    double *x = malloc(cells * UNKNOWNS * sizeof *x), *y = malloc(cells * sizeof *y);
    size_t n = 0;
    bool good = x && y;
    for (size_t cell = 0; good && cell < cells; cell++)
        if (work->count[cell]) {
            fill_row(x + n * UNKNOWNS, work, cell);
            y[n++] = work->torque[cell];
        }
    *widen = 0.0; /* tells want of memory from want of data */
    if (good) {
        *widen = 1.0;
        good = motion_ols_fit(ols, x, y, n, UNKNOWNS);
        if (good) *widen = between_passes(work, ols);
    }
    free(x);
    free(y);
    return good;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static void describe(struct tune_load_fit *out, const struct load_work *work,
                     const struct motion_ols *ols, double widen)
{
    const double asymmetry = 0.01; /* of the friction; common practice, no source */
    const struct tune_estimate slope = motion_ols_estimate(ols, PIECES + 2);
    const double friction = 0.5 * (ols->beta[PIECES] + ols->beta[PIECES + 1]);
    out->weight_nm =
        tune_weight_torque(work->weight[0], 0.0) - tune_weight_torque(work->weight[1], 0.0);
    out->ratio.value = 1.0 / slope.value;
    out->ratio.std =
        hypot(widen * slope.std / (slope.value * slope.value),
              out->ratio.value * asymmetry * friction / (fabs(out->weight_nm) * fabs(slope.value)));
    out->friction_nm.value = friction;
    out->friction_nm.std =
        0.5 * widen * motion_widening(ols->dof) *
        sqrt(ols->covariance[PIECES][PIECES] + ols->covariance[PIECES + 1][PIECES + 1] +
             2.0 * ols->covariance[PIECES][PIECES + 1]);
    out->passes = work->n;
    out->range_rad = work->high_rad - work->low_rad;
}

static enum tune_status prepare(struct load_work *work, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < 2 && !status; i++) {
        status = tune_record_require(work->rec[i], TUNE_ROLE_POSITION, NULL, err);
        if (!status) status = tune_record_require(work->rec[i], TUNE_ROLE_TORQUE, NULL, err);
        if (!status && work->rec[i]->n < 64)
            status = tune_error_set(err, TUNE_EDATA, "the log is too short");
        if (!status) status = find_passes(work, i, err);
    }
    if (!status && !find_range(work))
        status = tune_error_set(err, TUNE_EDATA,
                                "there are no slow moves both ways over the same angles with and "
                                "without the weight");
    return status;
}

enum tune_status tune_load_fit(struct tune_load_fit *out, const struct tune_record *with,
                               const struct tune_weight *weight, const struct tune_record *without,
                               const struct tune_weight *other, double angle_scale,
                               struct tune_error *err)
{
    struct load_work *work;
    struct motion_ols ols;
    double widen = 1.0;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (tune_weight_torque(weight, 0.0) == tune_weight_torque(other, 0.0))
        return tune_error_set(err, TUNE_EINVAL, "two logs with the same weight tell nothing of it");
    work = calloc(1, sizeof *work);
    if (!work) return tune_error_memory(err, "comparing weights");
    *work = (struct load_work){
        .rec = {with, without}, .weight = {weight, other}, .angle_scale = angle_scale};
    status = prepare(work, err);
    if (!status) {
        fill_cells(work);
        if (regress(&ols, &widen, work))
            describe(out, work, &ols, widen);
        else if (widen == 0.0)
            status = tune_error_memory(err, "comparing weights");
        else
            status = tune_error_set(err, TUNE_EDATA,
                                    "the slow moves do not cover their common range evenly");
    }
    free(work);
    return status;
}
