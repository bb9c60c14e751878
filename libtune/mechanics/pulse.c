/* pulse.c - torque pulses on an axis that is else free: gain, inertia, friction.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

enum {
    BLOCK_MIN = 16,    /* samples */
    BLOCKS_MIN = 8,    /* to leave the scatter some degrees of freedom */
    BLOCKS_SPEED = 16, /* from here on viscous friction is looked for too */
    PLACE_BLOCKS = 4,  /* blocks that make a place of its own */
    LAG_STEPS = 16     /* half samples by which the motion may follow the torque */
};

static const double SLOWEST =
    0.1; /* part of the largest speed below which friction is not steady */

/* A piece of the log in which the axis moves one way. */
struct block {
    size_t first;
    double acceleration, speed, direction, angle, torque;
    double torque_slope; /* of torque with the lag */
    double excursion;    /* travel of the stretch it lies in */
    size_t place;
};

struct pulses {
    const struct tune_record *rec;
    const double *position, *torque;
    double *speed; /* [n] */
    double floor_rad_per_s;
    double rest_nm, pulse_nm; /* torque between pulses, height of them */
    size_t length;            /* of a block, samples */
    size_t n;
    struct block *block;
    double *x, *y; /* [n x MOTION_UNKNOWNS], [n] room for the regression */
};

/* ---- the pulses ----------------------------------------------------------------------------------*/

/* Height and length of the typical pulse: runs beyond half of the largest deviation from rest. */
static enum tune_status find_pulses(struct tune_pulse_fit *out, struct pulses *work,
                                    struct tune_error *err)
{
    const size_t n = work->rec->n;
    double *room = malloc(2 * (n + 1) * sizeof *room), *run = room + n + 1, rest, half;
    size_t runs = 0, length = 0;
    int side = 0;
    if (!room) return tune_error_memory(err, "looking for pulses");
    memcpy(room, work->torque, n * sizeof *room);
    rest = motion_quantile(room, n, 0.5);
    for (size_t k = 0; k < n; k++)
        room[k] = fabs(work->torque[k] - rest);
    out->pulse_nm = motion_quantile(room, n, 0.99);
    work->rest_nm = rest;
    work->pulse_nm = out->pulse_nm;
    half = 0.5 * out->pulse_nm;
    for (size_t k = 0; k <= n; k++) {
        const double off = k < n ? work->torque[k] - rest : 0.0;
        const int now = off > half ? 1 : off < -half ? -1 : 0;
        if (now != side) {
            if (side && length >= 4) run[runs++] = (double)length;
            length = 0;
        }
        side = now;
        length++;
    }
    if (out->pulse_nm > 0.0 && runs > 0)
        out->pulse_s = motion_quantile(run, runs, 0.5) / work->rec->rate_hz;
    free(room);
    if (out->pulse_s > 0.0) return TUNE_OK;
    return tune_error_set(err, TUNE_EDATA,
                          "there are no pulses in the torque: log the torque command while pulses "
                          "both ways are given");
}

/* ---- blocks --------------------------------------------------------------------------------------*/

static bool moves(const struct pulses *work, size_t k, double direction)
{
    return work->speed[k] * direction > work->floor_rad_per_s && motion_enabled(work->rec, k);
}

static void add_block(struct pulses *work, size_t first, double direction, double excursion)
{
    struct block *block = &work->block[work->n++];
    memset(block, 0, sizeof *block);
    block->first = first;
    block->direction = direction;
    block->excursion = excursion;
    block->acceleration =
        motion_block_acceleration(work->position + first, work->length, work->rec->rate_hz);
    block->speed = motion_block_mean(work->speed + first, work->length);
    block->angle = motion_block_mean(work->position + first, work->length);
}

/* Tile every stretch of motion one way with blocks, from its beginning. */
static void lay_blocks(struct pulses *work)
{
    const size_t n = work->rec->n, length = work->length;
    size_t k = 2 + LAG_STEPS;
    while (k + length + 1 < n) {
        const double direction = work->speed[k] > 0.0 ? 1.0 : -1.0;
        size_t end = k;
        while (end + 1 < n && moves(work, end, direction))
            end++;
        for (size_t first = k; first + length <= end; first += length)
            add_block(work, first, direction, fabs(work->position[end] - work->position[k]));
        k = end > k ? end : k + 1;
    }
}

/* Mean torque of the block with the same weight, `half_samples` before. */
static double torque_of(const struct pulses *work, const struct block *block, size_t half_samples)
{
    const double *early = work->torque + block->first - half_samples / 2;
    const double mean = motion_block_mean(early, work->length);
    return half_samples % 2 ? 0.5 * (mean + motion_block_mean(early - 1, work->length)) : mean;
}

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
    for (size_t lag = 0; lag <= LAG_STEPS; lag++) {
        struct motion_ols ols;
        for (size_t i = 0; i < work->n; i++)
            work->block[i].torque = torque_of(work, &work->block[i], lag);
        if (!regress(&ols, work, c) || ols.rss >= best->rss) continue;
        *best = ols;
        chosen = lag;
    }
    if (!isfinite(best->rss)) return false;
    for (size_t i = 0; i < work->n; i++) {
        struct block *block = &work->block[i];
        block->torque = torque_of(work, block, chosen);
        block->torque_slope = torque_of(work, block, chosen + 1) - block->torque;
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

static enum tune_status prepare(struct pulses *work, struct tune_pulse_fit *out,
                                struct tune_error *err)
{
    const struct tune_record *rec = work->rec;
    double noise, peak = 0.0;
    size_t half;
    enum tune_status status = find_pulses(out, work, err);
    if (status) return status;
    /* two blocks to a pulse, and some room for its beginning, when the axis hardly moves */
    work->length = (size_t)(0.4 * out->pulse_s * rec->rate_hz);
    if (work->length < BLOCK_MIN) work->length = BLOCK_MIN;
    half = work->length / 4;
    status = motion_speed(&work->speed, work->position, rec->n, rec->rate_hz, half, err);
    if (status) return status;
    noise = motion_noise(work->position, rec->n);
    if (noise < 0.0) return tune_error_memory(err, "looking at a motion");
    for (size_t k = 0; k < rec->n; k++)
        if (motion_enabled(rec, k) && fabs(work->torque[k] - work->rest_nm) > 0.5 * work->pulse_nm)
            peak = fmax(peak, fabs(work->speed[k]));
    /* std of a slope over 2 half + 1 samples: noise sqrt(12 / (2 half)^3) */
    noise *= sqrt(1.5 / pow((double)half, 3.0)) * rec->rate_hz;
    work->floor_rad_per_s = fmax(SLOWEST * peak, 6.0 * noise);
    work->block = calloc(rec->n / work->length + 1, sizeof *work->block);
    if (!work->block) return tune_error_memory(err, "looking at a motion");
    lay_blocks(work);
    if (work->n < BLOCKS_MIN)
        return tune_error_set(err, TUNE_EDATA,
                              "the pulses hardly move the axis (%zu usable pieces of %.3g s, "
                              "at least %d wanted): give more pulses, longer ones, or stronger "
                              "ones where that is safe",
                              work->n, (double)work->length / rec->rate_hz, BLOCKS_MIN);
    work->x = malloc(work->n * MOTION_UNKNOWNS * sizeof *work->x);
    work->y = malloc(work->n * sizeof *work->y);
    return work->x && work->y ? TUNE_OK : tune_error_memory(err, "looking at a motion");
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
    status = prepare(&work, out, err);
    if (!status) status = solve(out, &work, err);
    free(work.speed);
    free(work.block);
    free(work.x);
    free(work.y);
    if (status) memset(out, 0, sizeof *out);
    return status;
}
