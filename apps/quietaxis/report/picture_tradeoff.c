/* picture_tradeoff.c - the data files of the plot of noise torque against jitter.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "pictures.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "plot.h"

static const double patience_s = 60.0;

/* Numbers of the column `kind` in named.csv. */
enum kind { PROPOSED = 1, RECOMMENDED, PRESENT };

/* Axes are logarithmic, and an unstable loop has no jitter. */
static bool drawable(const struct tune_candidate *c)
{
    return isfinite(c->jitter_rms_arcsec) && c->jitter_rms_arcsec > 0.0 &&
           isfinite(c->noise_torque_rms_nm) && c->noise_torque_rms_nm > 0.0;
}

bool picture_tradeoff_worth(const struct tune_proposal *proposal)
{
    size_t all = 0, present = 0;
    for (size_t i = 0; i < proposal->n_candidates; i++) {
        all += drawable(&proposal->candidate[i]);
        present += drawable(&proposal->candidate[i]) && proposal->candidate[i].present;
    }
    return all >= 2 && all > present;
}

static void number(struct buffer *out, double value)
{
    if (isfinite(value) && value > 0.0)
        buffer_format(out, "%.6g", value);
    else
        buffer_add(out, "nan");
}

static void point(struct buffer *out, const struct tune_candidate *c)
{
    number(out, c->jitter_rms_arcsec);
    buffer_add(out, ",");
    number(out, c->noise_torque_rms_nm);
    buffer_add(out, ",");
    number(out, c->sky_rms_arcsec);
}

/* What the drive makes of a proposal lies beside the curve, not on it. */
static bool typed(const struct tune_candidate *c)
{
    static const char ending[] = "-typed";
    const size_t length = strlen(c->name), tail = sizeof ending - 1;
    return length > tail && !strcmp(c->name + length - tail, ending);
}

static void write_curve(struct buffer *out, const struct tune_proposal *proposal)
{
    buffer_add(out, "jitter_rms_arcsec,noise_torque_rms_nm,sky_rms_arcsec\n");
    for (size_t i = 0; i < proposal->n_candidates; i++) {
        const struct tune_candidate *c = &proposal->candidate[i];
        if (c->present || typed(c) || !drawable(c)) continue;
        point(out, c);
        buffer_add(out, "\n");
    }
    buffer_add(out, "nan,nan,nan\n"); /* gnuplot refuses a file without rows */
}

static void write_named(struct buffer *out, const struct tune_proposal *proposal)
{
    buffer_add(out, "jitter_rms_arcsec,noise_torque_rms_nm,sky_rms_arcsec,kind,name\n");
    for (size_t i = 0; i < proposal->n_candidates; i++) {
        const struct tune_candidate *c = &proposal->candidate[i];
        const enum kind kind = i == proposal->recommended ? RECOMMENDED
                               : c->present               ? PRESENT
                                                          : PROPOSED;
        if (c->between || !drawable(c)) continue;
        point(out, c);
        buffer_format(out, ",%d,", (int)kind);
        picture_quote(out, c->name);
        buffer_add(out, "\n");
    }
}

enum tune_status picture_tradeoff(struct buffer *svg, const struct tune_proposal *proposal,
                                  const struct tune_requirement *requirement,
                                  struct tune_error *err)
{
    struct plot_file files[] = {{"curve.csv", {0}}, {"named.csv", {0}}, {"limits.csv", {0}}};
    struct buffer *limits = &files[2].text;
    enum tune_status status;
    if (!picture_tradeoff_worth(proposal))
        return tune_error_set(err, TUNE_EINVAL, "no two controllers to draw a curve through");
    write_curve(&files[0].text, proposal);
    write_named(&files[1].text, proposal);
    buffer_add(limits, "jitter_rms_arcsec,noise_torque_rms_nm,of_sky\n");
    buffer_format(limits, "%.6g,%.6g,%d\n",
                  isfinite(requirement->jitter_rms_arcsec) ? requirement->jitter_rms_arcsec : 0.0,
                  isfinite(requirement->noise_torque_rms_nm) ? requirement->noise_torque_rms_nm
                                                             : 0.0,
                  proposal->jitter_of_sky ? 1 : 0);
    status = plot_draw(svg, "tradeoff.gp", files, 3, patience_s, err);
    for (size_t i = 0; i < 3; i++)
        buffer_free(&files[i].text);
    return status;
}
