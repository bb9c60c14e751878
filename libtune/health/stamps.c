/* stamps.c - the time stamps, and what the reader had to set right.
 *
 * Limits are common practice, no source, but for one consequence each: a rate that is wrong by 0.1 % puts
 * every resonance wrong by as much, and rows made up on a straight line hold none of the motion.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "core/units.h"
#include "health/findings_internal.h"

static const double rate_apart = 1e-3;         /* of the stated rate */
static const double uneven = 0.1, wild = 0.5;  /* scatter, of a period */
static const double many = 1e-3, coarse = 0.2; /* rows set right, of all */
static const double long_gap_s = 0.1, few = 3.0;

/* The rate of stamps that scatter is known to about the scatter over the duration. */
static void check_rate(struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    const double stated = c->opts->stated_rate_hz, seen = rec->stamp_rate_hz;
    const double known = 4.0 * rec->stamp_scatter_s * rec->rate_hz / (double)rec->n;
    if (!(stated > 0.0) || fabs(seen / stated - 1.0) <= rate_apart + known) return;
    health_add(
        c, "rate-differs", TUNE_UNFIT, 0, 100.0 * (seen / stated - 1.0),
        "correct sample_rate_hz (else loop_rate_hz) in axis.ini, or find out which clock is wrong",
        "the stamps run at %.6g Hz, the stated rate is %.6g Hz: %+.3g %%", seen, stated,
        100.0 * (seen / stated - 1.0));
}

static void check_scatter(struct health_case *c)
{
    const double part = c->rec->stamp_scatter_s * c->rec->rate_hz;
    if (part <= uneven) return;
    /* stamps of a resolution of r periods scatter by r/sqrt(12): 0.29 for a whole one */
    health_add(
        c, "stamps-uneven", part > wild ? TUNE_UNFIT : TUNE_WITH_CARE, 0, part,
        "stamp in the drive's own clock, with more digits; where only the stamps are coarse the "
        "log is good without its time column",
        "the stamps scatter by %.3g ms rms about a uniform clock, %.0f %% of a period",
        1e3 * c->rec->stamp_scatter_s, 100.0 * part);
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
    const bool resolution = (double)repair->count > coarse * (double)c->rec->n;
    health_add(c, "stamps-repeated", resolution ? TUNE_WITH_CARE : severity_of(c, repair),
               repair->row, (double)repair->count,
               resolution ? "stamp with more digits, or log without a time column and state "
                            "sample_rate_hz"
                          : "see why the logger writes rows twice, and log again",
               "%zu row%s the stamp of the row before, the first at line %ld of the file%s",
               repair->count, repair->count == 1 ? " repeats" : "s repeat", repair->line,
               resolution ? ": the stamps are coarser than the rows" : "");
}

static void check_backward(struct health_case *c, const struct tune_repair *repair)
{
    health_add(
        c, "stamps-backward", TUNE_UNFIT, repair->row, (double)repair->count,
        "cut the log there, see that nothing sets the clock while it is taken, and log again",
        "time runs backwards at %zu place%s, the first at line %ld of the file, by up to %.4g ms",
        repair->count, repair->count == 1 ? "" : "s", repair->line, 1e3 * repair->worst);
}

/* A turn undone right does no harm; so many cannot all be turns. */
static void check_wraps(struct health_case *c, const struct tune_repair *repair)
{
    const bool noise = (double)repair->count > 0.01 * (double)c->rec->n;
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
    for (int kind = 0; kind < TUNE_REPAIR_COUNT; kind++)
        if (c->rec->repair[kind].count) check[kind](c, &c->rec->repair[kind]);
    return TUNE_OK;
}
