/* pulse.c - torque pulses on an axis that is else free: gain, inertia, friction.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/pulse_internal.h"

enum {
    BLOCKS_SPEED = 16, /* from here on viscous friction is looked for too */
    PLACE_BLOCKS = 4   /* blocks that make a place of its own */
};

/* ---- regression ----------------------------------------------------------------------------------*/

/* Which columns the regression has: one gain for each place, then friction, offset, speed, lag. */
struct columns {
    size_t places, friction, speed, lag; /* all but places: 0 or 1 */
};

static size_t unknowns(const struct columns *c)
{
    return c->places + c->friction + 1 + c->speed + c->lag;
}

static bool regress(struct motion_ols *ols, struct pulses *work, const struct columns *c)
{
    const size_t p = unknowns(c);
    for (size_t i = 0; i < work->n; i++) {
        const struct block *block = &work->block[i];
        double *row = work->x + i * p;
        memset(row, 0, p * sizeof *row);
        row[c->places > 1 ? block->place : 0] = block->torque;
        if (c->friction) row[c->places] = -block->direction;
        row[c->places + c->friction] = 1.0;
        if (c->speed) row[c->places + c->friction + 1] = -block->speed;
        if (c->lag) row[p - 1] = block->torque_slope;
        work->y[i] = block->acceleration;
    }
    return motion_ols_fit(ols, work->x, work->y, work->n, p);
}

/* The lag that leaves the least unexplained: the drive's delay, its hold, the logger's habits. What is
 * left of it is one unknown more, so that its uncertainty enters that of the gain. */
static bool regress_best(struct motion_ols *best, struct pulses *work, struct columns *c,
                         double *lag_s)
{
    size_t chosen = 0;
    best->rss = INFINITY;
    for (size_t lag = 0; lag <= PULSE_LAG_STEPS; lag++) {
        struct motion_ols ols;
        for (size_t i = 0; i < work->n; i++)
            work->block[i].torque = pulse_torque(work, &work->block[i], lag);
        if (!regress(&ols, work, c) || ols.rss >= best->rss) continue;
        *best = ols;
        chosen = lag;
    }
    if (!isfinite(best->rss)) return false;
    for (size_t i = 0; i < work->n; i++) {
        struct block *block = &work->block[i];
        block->torque = pulse_torque(work, block, chosen);
        block->torque_slope = pulse_torque(work, block, chosen + 1) - block->torque;
    }
    c->lag = 1;
    struct motion_ols ols;
    if (regress(&ols, work, c))
        *best = ols;
    else
        c->lag = 0; /* the torque never changes within a block */
    *lag_s = 0.5 * ((double)chosen + (c->lag ? best->beta[unknowns(c) - 1] / best->beta[0] : 0.0)) /
             work->rec->rate_hz;
    return true;
}

static struct columns choose_columns(const struct pulses *work)
{
    struct columns c = {.places = 1, .speed = work->n >= BLOCKS_SPEED};
    for (size_t i = 1; i < work->n; i++)
        if (work->block[i].direction != work->block[0].direction) c.friction = 1;
    return c;
}

/* ---- places --------------------------------------------------------------------------------------*/

static int by_angle(const void *a, const void *b)
{
    const double x = ((const struct block *)a)->angle, y = ((const struct block *)b)->angle;
    return (x > y) - (x < y);
}

static bool is_pulse(const struct pulses *work, const struct block *block)
{
    return fabs(block->torque - work->rest_nm) > 0.25 * work->pulse_nm;
}

/* Half of the pulses move the axis less than this. */
static double typical_excursion(const struct pulses *work)
{
    size_t n = 0;
    for (size_t i = 0; i < work->n; i++)
        if (is_pulse(work, &work->block[i])) work->y[n++] = work->block[i].excursion;
    return n ? motion_quantile(work->y, n, 0.5) : 0.0;
}

/* Pulses apart by more than four times what they move the axis stand at different places; a few alone are
 * no place. What lies between (the way from one to the other) goes with the place before it: without
 * torque it makes no difference. Sorts the blocks by angle. */
static size_t find_places(struct pulses *work)
{
    const double apart = 4.0 * typical_excursion(work);
    size_t places = 0, first = 0, count = 0, kept = 0;
    double last = (double)NAN;
    qsort(work->block, work->n, sizeof *work->block, by_angle);
    for (size_t i = 0; i <= work->n; i++) {
        const bool end = i == work->n;
        if (!end && !is_pulse(work, &work->block[i])) continue;
        if (end || work->block[i].angle - last > apart) {
            const bool good = count >= PLACE_BLOCKS && places < TUNE_PULSE_PLACES_MAX;
            for (size_t k = first; good && k < i; k++) {
                work->block[k].place = places;
                work->block[kept++] = work->block[k];
            }
            places += good;
            first = i;
            count = 0;
        }
        if (!end) last = work->block[i].angle;
        count++;
    }
    if (places > 1) work->n = kept;
    return places;
}

static void fit_places(struct tune_pulse_fit *out, struct pulses *work, struct columns c)
{
    struct motion_ols ols;
    size_t count[TUNE_PULSE_PLACES_MAX] = {0};
    const size_t places = find_places(work);
    out->n_places = 1;
    out->place[0].gain = out->gain;
    c.places = places;
    if (places > 1 && regress(&ols, work, &c))
        out->n_places = places;
    else
        for (size_t i = 0; i < work->n; i++)
            work->block[i].place = 0;
    for (size_t i = 0; i < work->n; i++) {
        const size_t place = work->block[i].place;
        count[place]++;
        out->place[place].angle_rad += work->block[i].angle;
    }
    for (size_t i = 0; i < out->n_places; i++) {
        out->place[i].angle_rad /= (double)count[i];
        if (out->n_places > 1) out->place[i].gain = motion_ols_estimate(&ols, i);
    }
}

/* ---- the whole -----------------------------------------------------------------------------------*/

/* friction / gain, with the std of both and what they share */
static struct tune_estimate coulomb_of(const struct motion_ols *ols)
{
    const double gain = ols->beta[0], friction = ols->beta[1], ratio = friction / gain;
    const double variance = (ols->covariance[1][1] - 2.0 * ratio * ols->covariance[0][1] +
                             ratio * ratio * ols->covariance[0][0]) /
                            (gain * gain);
    return (struct tune_estimate){ratio, sqrt(fmax(variance, 0.0)) * motion_widening(ols->dof)};
}

static enum tune_status solve(struct tune_pulse_fit *out, struct pulses *work,
                              struct tune_error *err)
{
    struct columns c = choose_columns(work);
    struct motion_ols ols;
    double low = INFINITY, high = -INFINITY;
    if (!regress_best(&ols, work, &c, &out->lag_s))
        return tune_error_set(err, TUNE_EDATA,
                              "torque and friction cannot be told apart in these pulses: give "
                              "pulses both ways, with pauses in which the axis still moves");
    out->gain = motion_ols_estimate(&ols, 0);
    out->coulomb_nm =
        c.friction ? coulomb_of(&ols) : (struct tune_estimate){(double)NAN, (double)NAN};
    out->blocks = work->n;
    out->block_s = (double)work->length / work->rec->rate_hz;
    for (size_t i = 0; i < work->n; i++) {
        low = fmin(low, work->block[i].angle);
        high = fmax(high, work->block[i].angle);
    }
    out->travel_rad = high - low;
    fit_places(out, work, c);
    return TUNE_OK;
}

enum tune_status tune_pulse_fit(struct tune_pulse_fit *out, const struct tune_record *rec,
                                struct tune_error *err)
{
    struct pulses work = {.rec = rec};
    enum tune_status status;
    memset(out, 0, sizeof *out);
    status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    if (!status) status = tune_record_require(rec, TUNE_ROLE_TORQUE, NULL, err);
    if (status) return status;
    work.position = rec->channel[TUNE_ROLE_POSITION];
    work.torque = rec->channel[TUNE_ROLE_TORQUE];
    status = pulse_prepare(&work, out, err);
    if (!status) status = solve(out, &work, err);
    pulse_free(&work);
    if (status) memset(out, 0, sizeof *out);
    return status;
}
