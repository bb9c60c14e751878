/* pulse_blocks.c - a log of pulses cut into blocks in which the axis moves one way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/pulse_internal.h"

enum {
    BLOCK_MIN = 16, /* samples */
    BLOCKS_MIN = 8  /* to leave the scatter some degrees of freedom */
};

/* part of the speed in the pulses below which friction is not steady */
static const double SLOWEST = 0.1;

/* ---- the pulses ----------------------------------------------------------------------------------*/

/* Height and length of the typical pulse: runs beyond half of the largest deviation from rest. */
static enum tune_status find_pulses(struct tune_pulse_fit *out, struct pulses *work,
                                    struct tune_error *err)
{
    const size_t n = work->rec->n;
    double *room = malloc(2 * (n + 1) * sizeof *room), *run, rest, half;
    size_t runs = 0, length = 0;
    int side = 0;
    if (!room) return tune_error_memory(err, "looking for pulses");
    run = room + n + 1;
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
    size_t k = 2 + PULSE_LAG_STEPS;
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
double pulse_torque(const struct pulses *work, const struct block *block, size_t half_samples)
{
    const double *early = work->torque + block->first - half_samples / 2;
    const double mean = motion_block_mean(early, work->length);
    return half_samples % 2 ? 0.5 * (mean + motion_block_mean(early - 1, work->length)) : mean;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

/* Speed from which on friction is steady and noise no motion. False: out of memory. */
static bool find_floor(struct pulses *work, size_t half)
{
    const struct tune_record *rec = work->rec;
    const double noise = motion_noise(work->position, rec->n);
    double peak = 0.0;
    for (size_t k = 0; k < rec->n; k++)
        if (motion_enabled(rec, k) && fabs(work->torque[k] - work->rest_nm) > 0.5 * work->pulse_nm)
            peak = fmax(peak, fabs(work->speed[k]));
    /* std of a slope over 2 half + 1 samples: noise sqrt(12 / (2 half)^3) */
    work->floor_rad_per_s =
        fmax(SLOWEST * peak, 6.0 * noise * sqrt(1.5 / pow((double)half, 3.0)) * rec->rate_hz);
    return noise >= 0.0;
}

enum tune_status pulse_prepare(struct pulses *work, struct tune_pulse_fit *out,
                               struct tune_error *err)
{
    const struct tune_record *rec = work->rec;
    size_t half;
    enum tune_status status = find_pulses(out, work, err);
    if (status) return status;
    /* two blocks to a pulse, and some room for its beginning, when the axis hardly moves */
    work->length = (size_t)(0.4 * out->pulse_s * rec->rate_hz);
    if (work->length < BLOCK_MIN) work->length = BLOCK_MIN;
    half = work->length / 4;
    status = motion_speed(&work->speed, work->position, rec->n, rec->rate_hz, half, err);
    if (status) return status;
    if (!find_floor(work, half)) return tune_error_memory(err, "looking at a motion");
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

void pulse_free(struct pulses *work)
{
    free(work->speed);
    free(work->block);
    free(work->x);
    free(work->y);
}
