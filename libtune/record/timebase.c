/* timebase.c - the uniform clock behind the time stamps of a log.
 *
 * The clock is followed from row to row: it runs on by one period and a quarter of what the stamp then
 * differs from it is taken over, so that stamps may scatter by half a period (clocks of drives and PCs
 * do) and a rate that is not quite the nominal one is followed. What is not within half a period is
 * looked at in stamps.c. Every 1000 rows must keep the rate of those before within 0.1 %.
 * Where they scatter farther, scatter.c decides about them; early.c sees how far they do at first.
 * Stamps coarser than the period (milliseconds at 4 kHz) are seen as such from the first rows: then
 * rows that share a stamp are no fault, and the tolerance is wider by the resolution.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/timebase_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "record/text.h"

static const double rate_tolerance = 1e-3;

/* ---- refusals ------------------------------------------------------------------------------------*/

enum tune_status record_timebase_refuse(const struct record_timebase *base, double t_s, long line,
                                        struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT];
    tune_error_about(err, base->column, tune_number_text(value, t_s), "one period per row");
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

enum tune_status record_timebase_no_rate(const struct record_timebase *base, const char *why,
                                         struct tune_error *err)
{
    tune_error_set(err, TUNE_EDATA,
                   "%s: log finer stamps, or leave the time column out and state sample_rate_hz",
                   why);
    tune_error_about(err, base->column, NULL, "stamps that rise by one period per row");
    (void)tune_error_place(err, NULL, base->header_line, base->field);
    return TUNE_EDATA;
}

static enum tune_status refuse_pace(const struct record_timebase *base, double rate_hz, long line,
                                    struct tune_error *err)
{
    char value[TUNE_NUMBER_TEXT], limit[TUNE_NUMBER_TEXT + 32];
    tune_error_set(err, TUNE_EDATA,
                   "the clock changes its pace: the last %d time stamps up to row %zu run at %.6g "
                   "Hz, those before at %.6g Hz, more than 0.1 %% apart: cut the log there or log "
                   "again",
                   RECORD_STRETCH, base->n, rate_hz, 1.0 / base->period);
    strcpy(limit, tune_number_text(value, 1.0 / base->period));
    strcat(limit, " Hz within 0.1 %");
    tune_error_about(err, base->column, tune_number_text(value, rate_hz), limit);
    (void)tune_error_place(err, NULL, line, base->field);
    return TUNE_EDATA;
}

/* ---- the clock goes on ---------------------------------------------------------------------------*/

/* Do `steps` periods take that long? Scatter of the stamps at both ends is no fault. */
static bool keeps(const struct record_timebase *base, double duration, double steps, double period)
{
    const double wanted = steps * period;
    return fabs(duration - wanted) <= rate_tolerance * wanted + (base->longest - base->shortest);
}

/* The nominal period is the stated one as long as the stamps keep it, else that of the stretches so
 * far; a stretch that keeps neither has changed its pace. */
static enum tune_status end_stretch(struct record_timebase *base, double t_s, long line,
                                    struct tune_error *err)
{
    const double duration = t_s - base->anchor, steps = base->index - base->anchor_index;
    const double so_far = base->anchor_index > 0.0
                              ? (base->anchor - base->first) / base->anchor_index
                              : duration / steps;
    const bool at_stated = base->stated_hz > 0.0 && base->period == 1.0 / base->stated_hz;
    if (!at_stated || !keeps(base, duration, steps, base->period)) {
        if (!keeps(base, duration, steps, so_far))
            return refuse_pace(base, steps / duration, line, err);
        base->period = (t_s - base->first) / base->index;
    }
    base->anchor = t_s;
    base->anchor_index = base->index;
    return TUNE_OK;
}

enum tune_status record_timebase_take(struct record_timebase *base, double t_s, long line,
                                      double steps, struct tune_error *err)
{
    const double expected = base->clock + steps * base->period, step = t_s - base->previous;
    double r;
    base->clock = expected + record_follow * (t_s - expected);
    base->differs += (fabs(t_s - expected) - base->differs) / 64.0;
    base->lately += (fabs(t_s - expected) - base->lately) / 8.0;
    base->previous = t_s;
    base->index += steps;
    t_s -= base->jump;
    r = t_s - base->first - base->index * base->reference;
    base->sum_n += 1.0;
    base->sum_k += base->index;
    base->sum_kk += base->index * base->index;
    base->sum_r += r;
    base->sum_kr += base->index * r;
    base->sum_rr += r * r;
    if (steps == 1.0) {
        if (step < base->shortest) base->shortest = step;
        if (step > base->longest) base->longest = step;
    }
    if (base->index - base->anchor_index < RECORD_STRETCH) return TUNE_OK;
    return end_stretch(base, base->scatter.on ? base->scatter.clock - base->jump : t_s, line, err);
}

/* A stamp of row base->n - 1. */
static enum tune_status look_at(struct record_timebase *base, double t_s, long line,
                                struct tune_error *err)
{
    if (base->scatter.on) return record_scatter_add(base, t_s, line, err);
    if (base->repeats + base->n_pending == 0 &&
        fabs(t_s - base->clock - base->period) < base->tolerance)
        return record_timebase_take(base, t_s, line, 1.0, err);
    return record_stamp_pending(base, t_s, line, err);
}

/* ---- one stamp after another ----------------------------------------------------------------------*/

static enum tune_status begin(struct record_timebase *base, struct tune_error *err)
{
    enum tune_status status = record_early_settle(base, err);
    for (size_t i = 0; i < base->n_early && status == TUNE_OK; i++) {
        base->n = i + 1;
        status = look_at(base, base->early[i].t_s, base->early[i].line, err);
    }
    return status;
}

enum tune_status record_timebase_add(struct record_timebase *base, double t_s, long line,
                                     struct tune_error *err)
{
    base->n++;
    if (base->period > 0.0) return look_at(base, t_s, line, err);
    base->early[base->n_early++] = (struct record_stamp){t_s, line};
    if (base->n_early == RECORD_EARLY && record_early_uneven(base)) return TUNE_OK;
    return base->n_early == RECORD_EARLY || base->n_early == RECORD_AHEAD ? begin(base, err)
                                                                          : TUNE_OK;
}

/* ---- the end -------------------------------------------------------------------------------------*/

/* By how much the straight line through the stamps over their index rises faster than the reference. */
static double slope(const struct record_timebase *base)
{
    const double n = base->sum_n, kk = base->sum_kk - base->sum_k * base->sum_k / n;
    const double kr = base->sum_kr - base->sum_k * base->sum_r / n;
    return n > 1.0 && kk > 0.0 ? kr / kk : 0.0;
}

double record_timebase_period(const struct record_timebase *base)
{
    return base->reference + slope(base);
}

/* Rate and scatter from that line. */
static void fit_line(const struct record_timebase *base, struct tune_record *out)
{
    const double n = base->sum_n;
    const double kr = base->sum_kr - base->sum_k * base->sum_r / n;
    const double rr = base->sum_rr - base->sum_r * base->sum_r / n;
    out->stamp_rate_hz = 1.0 / record_timebase_period(base);
    out->stamp_scatter_s = n > 2.0 ? sqrt(fmax(rr - slope(base) * kr, 0.0) / n) : 0.0;
}

enum tune_status record_timebase_finish(struct record_timebase *base, struct tune_record *out,
                                        struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    out->rate_hz = base->stated_hz;
    out->start_s = base->early[0].t_s;
    if (base->n < 2) {
        if (base->stated_hz > 0.0) return TUNE_OK;
        tune_error_set(err, TUNE_EDATA, "one row has no sample rate: state sample_rate_hz");
        tune_error_about(err, base->column, "1 row", "at least 2 rows");
        (void)tune_error_place(err, NULL, base->header_line, base->field);
        return TUNE_EDATA;
    }
    if (!(base->period > 0.0)) status = begin(base, err);
    if (status == TUNE_OK) status = record_stamp_last(base, err);
    if (status != TUNE_OK) return status;
    out->start_s = base->first;
    fit_line(base, out);
    if (!isfinite(out->start_s) || !isfinite(out->stamp_rate_hz) || !(out->stamp_rate_hz > 0.0) ||
        !isfinite(out->stamp_scatter_s))
        return record_timebase_no_rate(base, "the time stamps tell no rate", err);
    if (!(base->stated_hz > 0.0) ||
        !keeps(base, base->previous - base->jump - base->first, base->index, 1.0 / base->stated_hz))
        out->rate_hz = out->stamp_rate_hz;
    return TUNE_OK;
}
