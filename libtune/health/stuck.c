/* stuck.c - a channel that stands still while the log goes on.
 *
 * Two questions. Of a torque: does it keep one value for far longer than ever else, away from its limits,
 * while the position leaves constant speed and its target? Of an angle, which may stand still for good reasons: does its own noise,
 * or the commanded motion, or the jump with which it comes to itself again, rule that out?
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

/* A run of equal values is looked at from so many rows, and so many times the run that a row elsewhere
 * typically lies in: for values that change by chance a longer one has a probability below e^-80. */
enum { RUN_LEAST = 25, BLOCK = 256 };
static const double times_typical = 40.0;

/* The chance that a run is nothing but noise in one step of the encoder must be below this. */
static const double chance_least = 1e-9;

/* Steps of the encoder that the command moves on, or the angle jumps, against standing still. */
static const double excitation_jump = 0.01;
static const double steps_moved = 20.0, steps_jumped = 5.0;

struct run {
    size_t from, length; /* of the longest run of equal values */
    double typical;      /* length of the run that a row elsewhere lies in, on average */
};

/* Values at or beyond low and high, the limits, are no part of any run; nor is `rest`. */
static struct run longest_run(const double *x, size_t n, double low, double high, double rest)
{
    struct run run = {0, 0, 0.0};
    double rows = 0.0, square = 0.0, longest = 0.0;
    for (size_t from = 0, to; from < n; from = to) {
        to = from + 1;
        while (to < n && x[to] == x[from])
            to++;
        if (x[from] <= low || x[from] >= high || x[from] == rest) continue;
        const double length = (double)(to - from);
        rows += length;
        square += length * length;
        if (length <= longest) continue;
        longest = length;
        run.from = from;
        run.length = to - from;
    }
    if (rows > longest) run.typical = (square - longest * longest) / (rows - longest);
    return run;
}

/* The whole of a log is a dead channel, which is told elsewhere. */
static bool is_long(const struct run *run, size_t n)
{
    return run->length >= RUN_LEAST && run->length < n &&
           (double)run->length >= times_typical * run->typical;
}

static double largest_step(const double *x, size_t from, size_t to)
{
    double largest = 0.0;
    for (size_t k = from + 1; k < to; k++)
        largest = fmax(largest, fabs(x[k] - x[k - 1]));
    return largest;
}

/* Part of the rows in which the motion gives a torque reason to change: the position departs from constant
 * speed, and from its target. On a ramp of whole counts a row neither happens for long, and the torque
 * of a clean loop is then constant. Half a step is rounding. */
static double part_that_changes(const struct health_case *c, size_t from, size_t to)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION],
                 *target = c->rec->channel[TUNE_ROLE_TARGET];
    const double step = 0.5 * c->step_rad;
    size_t changes = 0;
    for (size_t k = from + 1; k < to && k + 1 < c->rec->n; k++) {
        const double rounding = fmax(step, 16.0 * DBL_EPSILON * fabs(x[k]));
        const double error =
            target ? target[k] - target[k - 1] - x[k] + x[k - 1] : (double)INFINITY;
        changes += fabs(2.0 * health_bend(x, k)) > rounding && fabs(error) > rounding;
    }
    return (double)changes / (double)(to - from);
}

static void report(struct health_case *c, enum tune_role role, const struct run *run,
                   const char *while_what)
{
    const double length_s = (double)run->length / c->rec->rate_hz;
    const bool vital = role == TUNE_ROLE_POSITION || role == TUNE_ROLE_TORQUE;
    /* common practice, no source: more than a hundredth of the log is no longer to be trusted */
    const bool much = run->length > c->rec->n / 100;
    health_add(c, "stuck-channel", vital && much ? TUNE_UNFIT : TUNE_WITH_CARE, run->from + 1,
               length_s,
               "see whether link or sensor dropped out there; log again, or cut that part off",
               "the %s stands still for %zu rows, %.3g s, while %s", tune_role_name(role),
               run->length, length_s, while_what);
}

/* ---- torque, acceleration ------------------------------------------------------------------------*/

static bool silent(const double *d, const struct run *run)
{
    for (size_t k = run->from; d && k < run->from + run->length; k++)
        if (d[k] != 0.0) return false;
    return true;
}

static void check_driven(struct health_case *c, enum tune_role role)
{
    const double *x = c->rec->channel[role];
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION],
                 *on = c->rec->channel[TUNE_ROLE_ENABLED];
    double low = INFINITY, high = -INFINITY;
    for (size_t k = 0; k < c->rec->n; k++) {
        low = fmin(low, x[k]);
        high = fmax(high, x[k]);
    }
    const struct run run = longest_run(x, c->rec->n, low, high, (double)NAN);
    const size_t to = run.from + run.length;
    if (!is_long(&run, c->rec->n)) return;
    if (x[run.from] == 0.0 && silent(d, &run)) return; /* open loop, nothing injected */
    if (on && on[run.from + run.length / 2] == 0.0) return;
    const double moving = part_that_changes(c, run.from, to);
    if (moving * (double)run.length < 5.0 || moving < 0.5 * part_that_changes(c, 0, c->rec->n))
        return;
    report(c, role, &run, "the position moves");
}

/* An injected signal may rest at zero, and dwell at its turning points; it does not stand at a value and then
 * jump. */
static void check_excitation(struct health_case *c)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION];
    const size_t n = c->rec->n;
    const struct run run = longest_run(d, n, -INFINITY, INFINITY, 0.0);
    const size_t to = run.from + run.length;
    double most = 0.0;
    if (!is_long(&run, n) || to == n) return;
    for (size_t k = 0; k < n; k++)
        most = fmax(most, fabs(d[k]));
    const double usual = run.from > 0 ? fabs(d[run.from] - d[run.from - 1]) : 0.0;
    if (fabs(d[to] - d[to - 1]) > fmax(excitation_jump * most, steps_jumped * usual))
        report(c, TUNE_ROLE_EXCITATION, &run, "what follows is a jump");
}

/* ---- angles --------------------------------------------------------------------------------------*/

/* Noise of the quietest tenth of the log outside the run, std per sample, from second differences; 0
 * where that shows none. */
static enum tune_status quiet_noise(double *noise, const double *x, size_t n, const struct run *run,
                                    struct tune_error *err)
{
    const size_t blocks = n / BLOCK;
    double *square = malloc((blocks + 1) * sizeof *square);
    size_t m = 0;
    *noise = 0.0;
    if (!square) return tune_error_memory(err, "judging a log");
    for (size_t b = 0; b < blocks; b++) {
        const size_t from = b * BLOCK;
        double sum = 0.0;
        if (from < run->from + run->length && run->from < from + BLOCK) continue;
        for (size_t k = from + 1; k + 1 < from + BLOCK; k++)
            sum += pow(health_bend(x, k), 2.0);
        square[m++] = sum / (BLOCK - 2);
    }
    if (m) {
        (void)health_median(square, m);
        *noise = sqrt(square[m / 10] / 1.5);
    }
    free(square);
    return TUNE_OK;
}

/* Log of the chance that noise leaves `length` samples in one step: at most erf(q/(2 sqrt2 s)) each. */
static double log_chance(double step, double noise, double length)
{
    return noise > 0.0 ? length * log(erf(step / (2.0 * sqrt(2.0) * noise))) : 0.0;
}

static enum tune_status check_angle(struct health_case *c, enum tune_role role,
                                    struct tune_error *err)
{
    const double *x = c->rec->channel[role], *target = c->rec->channel[TUNE_ROLE_TARGET];
    const size_t n = c->rec->n;
    const struct run run = longest_run(x, n, -INFINITY, INFINITY, (double)NAN);
    const size_t to = run.from + run.length;
    double noise, step = 0.0;
    if (!is_long(&run, n)) return TUNE_OK;
    const enum tune_status status = quiet_noise(&noise, x, n, &run, err);
    if (status) return status;
    if (role == TUNE_ROLE_POSITION)
        step = fmax(c->step_rad, c->opts->encoder_step_rad);
    else
        step = fmax(largest_step(x, run.from > 100 ? run.from - 100 : 0, run.from), 0.0);
    const double jump = to < n ? fabs(x[to] - x[to - 1]) : 0.0;
    const double before = largest_step(x, run.from > 100 ? run.from - 100 : 0, run.from + 1);
    const double moved = target ? fabs(target[to - 1] - target[run.from]) : 0.0;
    const char *why = NULL;
    /* half the noise: the quietest part may have been louder than this one */
    if (role == TUNE_ROLE_POSITION &&
        log_chance(step, 0.5 * noise, (double)run.length) < log(chance_least / (double)n))
        why = "its noise elsewhere never lets it";
    else if (moved > steps_moved * fmax(step, noise) && moved > 0.0)
        why = "the target moves on";
    else if (jump > steps_jumped * fmax(step, before) && jump > 0.0)
        why = "what follows is a jump";
    if (!why) return TUNE_OK;
    if (role == TUNE_ROLE_POSITION) {
        c->stuck[0] = run.from;
        c->stuck[1] = to;
    }
    report(c, role, &run, why);
    return TUNE_OK;
}

enum tune_status health_check_stuck(struct health_case *c, struct tune_error *err)
{
    static const enum tune_role driven[] = {TUNE_ROLE_TORQUE, TUNE_ROLE_MEASURED_TORQUE,
                                            TUNE_ROLE_PAYLOAD_ACCEL};
    static const enum tune_role angle[] = {TUNE_ROLE_POSITION, TUNE_ROLE_LOAD_POSITION,
                                           TUNE_ROLE_SKY};
    enum tune_status status = TUNE_OK;
    for (int i = 0; i < 3; i++)
        if (c->rec->channel[driven[i]]) check_driven(c, driven[i]);
    if (c->rec->channel[TUNE_ROLE_EXCITATION]) check_excitation(c);
    for (int i = 0; i < 3 && !status; i++)
        if (c->rec->channel[angle[i]]) status = check_angle(c, angle[i], err);
    return status;
}
