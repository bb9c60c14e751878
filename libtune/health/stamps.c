/* stamps.c - the time stamps, and what the reader had to set right.
 *
 * Limits are common practice, no source, but for one consequence each: a rate that is wrong by 0.1 % puts
 * every resonance wrong by as much, and rows made up on a straight line hold none of the motion.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "core/units.h"
#include "health/findings_internal.h"

static const double uneven = 0.1; /* scatter, of a period */
static const double many = 1e-3;  /* rows set right, of all */
static const double long_gap_s = 0.1, few = 3.0;

/* The reader keeps to the stated rate unless the stamps are more than 0.1 % off it. */
static void check_rate(struct health_case *c)
{
    const double stated = c->opts->stated_rate_hz, seen = c->rec->stamp_rate_hz;
    if (!(stated > 0.0) || c->rec->rate_hz == stated) return;
    health_add(
        c, "rate-differs", TUNE_UNFIT, 0, seen,
        "correct sample_rate_hz (else loop_rate_hz) in axis.ini, or find out which clock is wrong",
        "the stamps run at %.6g Hz, the stated rate is %.6g Hz: %+.3g %%", seen, stated,
        100.0 * (seen / stated - 1.0));
}

/* Stamps of a resolution of r periods scatter by r/sqrt(12), packets of n rows by n/sqrt(12) periods. The
 * reader counts rows all the same, so that scatter alone makes no log unfit; beyond a third of a period
 * one row more or less is seen late, and from about one on not at all but where rows come in packets. */
static void check_scatter(struct health_case *c)
{
    const double part = c->rec->stamp_scatter_s * c->rec->rate_hz;
    const bool wide = part > 0.3;
    if (part <= uneven) return;
    health_add(
        c, "stamps-uneven", TUNE_WITH_CARE, 0, c->rec->stamp_scatter_s,
        "stamp in the drive's own clock and with more digits; where only the stamps are uneven, "
        "not the sampling, the log is good without its time column",
        "the stamps scatter by %.3g ms rms about a uniform clock, %.3g %% of a period%s",
        1e3 * c->rec->stamp_scatter_s, 100.0 * part,
        wide
            ? ": the clock is coarser than the period, rows are stamped in packets, or by a busy PC"
            : "");
}

static enum tune_verdict severity_of(const struct health_case *c, const struct tune_repair *repair)
{
    const double count = (double)repair->count;
    return count > fmax(few, many * (double)c->rec->n) ? TUNE_UNFIT : TUNE_WITH_CARE;
}

static void check_missing(struct health_case *c, const struct tune_repair *repair)
{
    const bool lost = repair->worst > long_gap_s;
    health_add(
        c, "samples-missing", lost ? TUNE_UNFIT : severity_of(c, repair), repair->row,
        (double)repair->count,
        "log again with a faster link or a larger buffer, or cut the log at the gap",
        "%zu sample%s missing, filled in on a straight line; the first at line %ld of the file; "
        "the longest gap is %.4g ms",
        repair->count, repair->count == 1 ? "" : "s", repair->line, 1e3 * repair->worst);
}

static void check_repeated(struct health_case *c, const struct tune_repair *repair)
{
    health_add(c, "stamps-repeated", severity_of(c, repair), repair->row, (double)repair->count,
               "see why the logger writes rows or stamps twice, and log again",
               "%zu row%s the stamp of the row before, the first at line %ld of the file",
               repair->count, repair->count == 1 ? " repeats" : "s repeat", repair->line);
}

/* A single wrong stamp does no harm; a clock that was set, or two logs in one file, cannot be set right. */
static void check_backward(struct health_case *c, const struct tune_repair *repair)
{
    const bool restarts = c->rec->restarts > 0;
    health_add(
        c, "stamps-backward", restarts ? TUNE_UNFIT : severity_of(c, repair), repair->row,
        repair->worst,
        restarts
            ? "cut the log there, see that nothing sets the clock while it is taken, or log again"
            : "see that nothing sets the clock while the log is taken",
        "%zu stamp%s backwards, by up to %.4g ms, the first at line %ld of the file%s",
        repair->count, repair->count == 1 ? " runs" : "s run", 1e3 * repair->worst, repair->line,
        restarts ? ", and time goes on from there" : "; the row is kept as the next one");
}

/* Jumps of half a period or more that are left in the angles which wraps were undone in. */
static size_t jumps_left(const struct tune_record *rec)
{
    size_t jumps = 0;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        const double *x = rec->channel[role], period = rec->wrap_period_rad[role];
        for (size_t k = 1; x && period > 0.0 && k < rec->n; k++)
            jumps += fabs(x[k] - x[k - 1]) >= 0.5 * period;
    }
    return jumps;
}

/* A turn undone right does no harm, however many there are: an axis that holds about the ends of the range
 * wraps with its noise. Where jumps are left among many, they are no turns. */
static void check_wraps(struct health_case *c, const struct tune_repair *repair)
{
    const bool many_rows = (double)repair->count > 0.01 * (double)c->rec->n;
    const bool noise = many_rows && jumps_left(c->rec) > 0;
    health_add(
        c, "encoder-wrapped", noise ? TUNE_UNFIT : TUNE_WITH_CARE, repair->row,
        (double)repair->count,
        "log the angle unwrapped, or away from the wrap; see that the step is a whole turn of this "
        "encoder",
        "an angle wraps %zu time%s, undone; the first at line %ld of the file; it steps by %.8g "
        "in the unit of its column",
        repair->count, repair->count == 1 ? "" : "s", repair->line, repair->worst);
}

enum tune_status health_check_stamps(struct health_case *c, struct tune_error *err)
{
    static void (*const check[TUNE_REPAIR_COUNT])(struct health_case *,
                                                  const struct tune_repair *) = {
        [TUNE_REPAIR_MISSING] = check_missing,
        [TUNE_REPAIR_REPEATED] = check_repeated,
        [TUNE_REPAIR_BACKWARD] = check_backward,
        [TUNE_REPAIR_WRAP] = check_wraps,
    };
    struct tune_measures *m = &c->out->measures;
    (void)err;
    if (c->rec->stamp_rate_hz > 0.0) {
        m->stamp_rate_hz = c->rec->stamp_rate_hz;
        m->stamp_scatter_s = c->rec->stamp_scatter_s;
        check_rate(c);
        check_scatter(c);
    }
    c->repaired =
        c->rec->repair[TUNE_REPAIR_MISSING].count || c->rec->repair[TUNE_REPAIR_REPEATED].count;
    for (int kind = 0; kind < TUNE_REPAIR_COUNT; kind++)
        if (c->rec->repair[kind].count) check[kind](c, &c->rec->repair[kind]);
    return TUNE_OK;
}
