/* measured_grazing.c - where noise leaves it open whether |L| passes 1.
 *
 * Of a resonance whose peak is about 1 the table shows two crossings or none, as its noise will, and the
 * margins of phase and delay jump. A stretch about 1 that L enters and leaves on one side is therefore taken
 * to cross wherever |L| is within noise of 1, and the worst place counts.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "control/measured_internal.h"
#include "core/units.h"

/* In std of |L|: what may be 1, and what surely is not. The room between them keeps the wiggles that noise
 * makes on a slope from looking like a turn. */
static const double may_be_one = 3.0, not_one = 6.0;

/* Places looked at from point to point: a resonance is as wide as a step or wider. */
enum { PARTS = 8 };

/* A stretch with |L| within not_one of 1, so far. */
struct stretch {
    bool open, near; /* begun; some place of it may be 1 */
    bool from_above; /* the side it came from */
    double distance_rad, phase_hz,
        phase_std; /* least distance of phase from -pi; as tune_margins */
    double delay_s, delay_std;
};

static void look(struct stretch *s, const struct measured_curve *curve, double f_hz,
                 double complex l)
{
    const double e = measured_curve_std(curve, f_hz) / (sqrt(2.0) * cabs(l));
    const double distance = carg(-l), omega = 2.0 * TUNE_PI * f_hz;
    const double delay = (distance > 0.0 ? distance : distance + 2.0 * TUNE_PI) / omega;
    if (!s->near || fabs(distance) < fabs(s->distance_rad)) {
        const bool falls = creal(measured_curve_slope(curve, f_hz)) < 0.0;
        s->distance_rad = falls ? distance : fabs(distance);
        s->phase_hz = f_hz;
        s->phase_std = e;
    }
    if (!s->near || delay < s->delay_s) {
        s->delay_s = delay;
        s->delay_std = e / omega;
    }
    s->near = true;
}

static void close_stretch(struct tune_measured_margins *out, struct stretch *s, bool to_above,
                          double *least_rad)
{
    if (s->open && s->near && s->from_above == to_above) {
        const double size = fabs(s->distance_rad);
        out->n_grazing++;
        if (!(size >= *least_rad)) {
            *least_rad = size;
            out->grazing_hz = s->phase_hz;
        }
        if (size < fabs(out->phase_margin_rad.value)) {
            out->phase_margin_rad = (struct tune_estimate){s->distance_rad, s->phase_std};
            out->phase_margin_hz = s->phase_hz;
        }
        if (s->delay_s < out->delay_margin_s.value)
            out->delay_margin_s = (struct tune_estimate){s->delay_s, s->delay_std};
    }
    *s = (struct stretch){0};
}

void measured_take_grazing(struct tune_measured_margins *out, const struct measured_curve *curve)
{
    struct stretch s = {0};
    double least_rad = (double)INFINITY;
    bool above = cabs(curve->l[0]) > 1.0;
    out->n_grazing = 0;
    out->grazing_hz = (double)NAN;
    for (size_t k = 0; k <= PARTS * (curve->n - 1); k++) {
        const size_t i = k / PARTS, part = k % PARTS;
        const double step = part ? curve->x[i + 1] - curve->x[i] : 0.0;
        const double f_hz = exp(curve->x[i] + step * (double)part / PARTS);
        const double complex l = measured_curve_at(curve, f_hz);
        const double off = fabs(cabs(l) - 1.0) * sqrt(2.0), std = measured_curve_std(curve, f_hz);
        if (!(off <= not_one * std)) {
            above = cabs(l) > 1.0;
            close_stretch(out, &s, above, &least_rad);
            continue;
        }
        if (!s.open) s = (struct stretch){.open = true, .from_above = above};
        if (off <= may_be_one * std && std > 0.0) look(&s, curve, f_hz, l);
    }
    /* the band ends in doubt: the last place tells the side */
    close_stretch(out, &s, cabs(curve->l[curve->n - 1]) > 1.0, &least_rad);
}
