/* saturation.c - torque on its limit, stated or not.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "health/findings_internal.h"

/* Torque on the limit in more rows than this share makes a log unfit. Common practice, no source. */
static const double saturated_unfit = 0.05;

/* A torque this far above the limit contradicts the stated scale or limit. */
static const double above_limit = 1.1;

/* Rows at one extreme value are a limit where they are so many and so much more than those of the band
 * just below it: a swing that only happens to end there spends as long below. */
enum { EXTREME_ROWS = 10 };
static const double extreme_times = 3.0, band_below = 0.02;

/* Two values that hold more of the rows than this are a two-level excitation, no limit. */
static const double two_levels = 0.8;

static void report_above(struct health_case *c, size_t row, double most)
{
    health_add(c, "torque-above-limit", TUNE_WITH_CARE, row, most / c->opts->torque_limit_nm,
               "correct torque_per_unit_nm, the torque's scale or torque_limit_nm: a wrong scale "
               "makes every gain wrong",
               "the torque reaches %.4g N m, %.3g times the stated limit", most,
               most / c->opts->torque_limit_nm);
}

static const char advice[] = "inject less, or move more gently, and log again";

/* Rows on the stated limit; returns how many. */
static size_t check_stated(struct health_case *c, const double *u, double limit)
{
    size_t count = 0, first = 0, above = 0;
    double share, most = 0.0;
    for (size_t k = 0; k < c->rec->n; k++) {
        /* a log keeps about six digits of the limit */
        if (fabs(u[k]) < limit * (1.0 - 1e-5)) continue;
        if (!count++) first = k + 1;
        if (!above && fabs(u[k]) > above_limit * limit) above = k + 1;
        most = fmax(most, fabs(u[k]));
    }
    if (!count) return 0;
    share = (double)count / (double)c->rec->n;
    if (above) report_above(c, above, most);
    health_add(c, "torque-saturated", share > saturated_unfit ? TUNE_UNFIT : TUNE_WITH_CARE, first,
               share, advice,
               "the torque is on its limit of %.4g N m in %zu rows, %.2g %% of the log", limit,
               count, 100.0 * share);
    return count;
}

struct extreme {
    double value;
    size_t rows, below, first; /* rows at it and in the band below it, first row at it, from 1 */
};

/* Of sign u. Rows whose torque is just what was injected were commanded so, not limited. */
static struct extreme find_extreme(const double *u, const double *d, size_t n, double sign)
{
    struct extreme e = {0.0, 0, 0, 0};
    double next[3] = {0.0, 0.0, 0.0}; /* the next lower values */
    for (size_t k = 0; k < n; k++)
        e.value = fmax(e.value, sign * u[k]);
    const double same = 1e-9 * e.value;
    for (size_t k = 0; k < n; k++) {
        const double x = sign * u[k];
        if (x < e.value - same && x > next[0]) next[0] = x;
    }
    for (int i = 1; i < 3; i++)
        for (size_t k = 0; k < n; k++) {
            const double x = sign * u[k];
            if (x < next[i - 1] - same && x > next[i]) next[i] = x;
        }
    /* three values down in a coarsely quantised torque */
    const double band = fmin(next[2], (1.0 - band_below) * e.value);
    for (size_t k = 0; k < n; k++) {
        const double x = sign * u[k];
        if (x >= e.value - same) {
            if (d && fabs(u[k] - d[k]) <= 1e-6 * e.value) continue;
            if (!e.rows++) e.first = k + 1;
        } else if (x >= band) {
            e.below++;
        }
    }
    return e;
}

static bool is_limit(const struct extreme *e)
{
    return e->rows >= EXTREME_ROWS && (double)e->rows >= extreme_times * (double)e->below;
}

static void check_seen(struct health_case *c, const double *u)
{
    const double *d = c->rec->channel[TUNE_ROLE_EXCITATION];
    const size_t n = c->rec->n;
    struct extreme up = find_extreme(u, d, n, 1.0), down = find_extreme(u, d, n, -1.0);
    /* a limit one way is one the other way too, where that reaches it */
    const bool same = fabs(up.value - down.value) <= 1e-6 * up.value;
    const bool limited_up = is_limit(&up) || (same && is_limit(&down)),
               limited_down = is_limit(&down) || (same && is_limit(&up));
    const size_t rows = (limited_up ? up.rows : 0) + (limited_down ? down.rows : 0);
    const double share = (double)rows / (double)n;
    size_t first = limited_up ? up.first : down.first;
    if (!rows || share > two_levels) return;
    if (limited_up && limited_down && down.first < first) first = down.first;
    health_add(
        c, "torque-saturated", share > saturated_unfit ? TUNE_UNFIT : TUNE_WITH_CARE, first, share,
        advice,
        "the torque stands at one extreme value, %.4g N m, in %zu rows, %.2g %% of the log: a "
        "limit that is not stated",
        limited_up ? up.value : -down.value, rows, 100.0 * share);
}

enum tune_status health_check_torque(struct health_case *c, struct tune_error *err)
{
    const double *u = c->rec->channel[TUNE_ROLE_TORQUE], limit = c->opts->torque_limit_nm;
    size_t on_limit = 0;
    (void)err;
    if (!u) return TUNE_OK;
    if (limit > 0.0) on_limit = check_stated(c, u, limit);
    if (!on_limit) check_seen(c, u);
    return TUNE_OK;
}
