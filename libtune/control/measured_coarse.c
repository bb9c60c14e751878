/* measured_coarse.c - steps of a measured loop over which crossings or peaks may hide.
 *
 * Three signs: L turns far over one step, a point lies off the course of its neighbours, or a resonance is
 * known from elsewhere and narrower than the step over it. That a resonance
 * stands between two points is seen at both, for its foot is far wider than its peak.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "control/loop_grid_internal.h"
#include "control/measured_internal.h"

/* L below so many of its std has no phase. */
static const double least_sure = 3.0;

/* A turn from point to point that leaves room for doubt; of parts of L above a tenth only. */
static const double coarse_turn = 1.0, coarse_gain = 0.1;

/* A point is off the course by so many std and by that part of L; of parts of L above a hundredth, since the
 * peak of a resonance of 1 % is 50 times its share. Rules of the house, no source. */
static const double off_std = 5.0, off_part = 0.05, off_gain = 0.01;

/* How far a point is off, as a part of L, and whether by more than noise and the join explain. */
struct course {
    double off;
    bool sure;
};

/* What is foretold is analytic in each neighbour: one small step of it tells what its noise does. */
static struct course off_join(const double x[4], const double complex y[4], const double std[4],
                              double complex own, double own_std, bool as_resonance)
{
    const double complex value = measured_foretold(x, y, as_resonance);
    const double off = cabs(value - own);
    double variance = own_std * own_std;
    if (isnan(creal(value))) return (struct course){(double)INFINITY, true};
    for (int i = 0; i < 4; i++) {
        double complex moved[4] = {y[0], y[1], y[2], y[3]};
        const double step = 1e-6 * cabs(y[i]);
        if (!(step > 0.0)) continue;
        moved[i] += step;
        variance += tune_norm2((measured_foretold(x, moved, as_resonance) - value) / step) *
                    std[i] * std[i];
    }
    return (struct course){off / cabs(own),
                           off > off_part * cabs(own) && off * off > off_std * off_std * variance};
}

static struct course off_course(const struct tune_loop_table *table, size_t at)
{
    const double f_hz = table->f_hz[at];
    size_t k = at < 2 ? 0 : at - 2;
    double x[4], std[4];
    double complex y[4];
    struct course by_cubic, by_pole;
    if (at == 0 || at + 1 == table->n || !(cabs(table->l[at]) > off_gain))
        return (struct course){0};
    if (k + 5 > table->n) k = table->n - 5;
    for (int i = 0; i < 4; i++, k++) {
        if (k == at) k++;
        const double ratio = table->f_hz[k] / f_hz;
        x[i] = log(ratio);
        y[i] = table->l[k] * ratio * ratio;
        std[i] = table->std[k] * ratio * ratio;
    }
    by_cubic = off_join(x, y, std, table->l[at], table->std[at], false);
    by_pole = off_join(x, y, std, table->l[at], table->std[at], true);
    return (struct course){fmin(by_cubic.off, by_pole.off), by_cubic.sure && by_pole.sure};
}

/* From a to b about 0, less what noise may add. */
static double sure_turn(double complex a, double complex b, double a_std, double b_std)
{
    const double noise = hypot(a_std / cabs(a), b_std / cabs(b)) / sqrt(2.0);
    return fabs(carg(b * conj(a))) - least_sure * noise;
}

/* From point i to the next; 0 where it is no more than leaves doubt. */
static double turn_of(const struct measured_curve *curve, size_t i)
{
    const double complex a = curve->l[i], b = curve->l[i + 1];
    const double *std = &curve->std[i];
    const double turn =
        fmax(sure_turn(a, b, std[0], std[1]), sure_turn(1.0 + a, 1.0 + b, std[0], std[1]));
    return fmax(cabs(a), cabs(b)) >= coarse_gain && turn > coarse_turn ? turn : 0.0;
}

/* Over a known resonance, that turns so over the step if it stands in its middle; 0 where the step is no
 * wider than 2 zeta, over which it turns by pi/2. */
static double over_mode(const struct tune_loop_table *table, size_t i)
{
    const double low_hz = table->f_hz[i], high_hz = table->f_hz[i + 1];
    const double step = log(high_hz / low_hz);
    double most = 0.0;
    if (!(fmax(cabs(table->l[i]), cabs(table->l[i + 1])) > off_gain)) return 0.0;
    for (size_t k = 0; k < table->n_modes; k++) {
        const struct tune_mode *mode = &table->mode[k];
        if (!(mode->f_hz >= low_hz && mode->f_hz <= high_hz)) continue;
        if (step > 2.0 * mode->zeta) most = fmax(most, 2.0 * atan2(step, 2.0 * mode->zeta));
    }
    return most;
}

void measured_find_coarse(struct tune_measured_margins *out, const struct measured_curve *curve,
                          const struct tune_loop_table *table)
{
    double most = 0.0;
    struct course here = off_course(table, 0);
    out->coarse_hz[0] = out->coarse_hz[1] = (double)NAN;
    for (size_t i = 0; i + 1 < table->n; i++) {
        const struct course next = off_course(table, i + 1);
        const double off = here.sure || next.sure ? here.off + next.off : 0.0;
        const double doubt = fmax(fmax(turn_of(curve, i), off), over_mode(table, i));
        here = next;
        if (!(doubt > 0.0)) continue;
        out->n_coarse++;
        if (!(doubt > most)) continue;
        most = doubt;
        out->coarse_hz[0] = table->f_hz[i];
        out->coarse_hz[1] = table->f_hz[i + 1];
    }
}
