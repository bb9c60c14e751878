/* proof.c - reduced gain, step by step: the enable ladder from -40 dB and plain gain from -10 dB.
 *
 * Every loop is C's three parts weighed anew, L = G F (kp wp + I wi + D wd) with F the filters: k^2, k^3,
 * k on a rung, kappa thrice for plain gain. So one grid serves all, refined until no loop's 1 + L moves
 * by more than half its size from point to point (a tenth where |S| is near its limit): its turn, and
 * with it the count of unstable poles, is then that of the chords, and |S| that of their distance from
 * zero.
 * Plain gain between the steps: 1 + kappa L = 0 needs L = -1/kappa, on the negative axis between -3.16
 * and -1. Where it is not there, no pole crosses, and all gains are as stable as full gain is.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"

enum { RUNGS = 41, PLAIN = 10, WAYS = RUNGS + PLAIN, BASE = 500, PASSES = 16, ROOM_FIRST = 2048 };

#define STEP      0.5 /* of |1 + L|, from point to point */
#define STEP_FINE 0.1
#define NEAR      0.8 /* |S| above this part of its limit is near it */

/* One frequency: the parts of L. */
struct spot {
    double f_hz;
    double complex p, i, d;
    bool open; /* the stretch up to here is still to be looked at */
};

struct line {
    size_t n, room;
    struct spot *spot;
};

/* A way to take gain away. */
struct way {
    double p, i, d, limit;
};

static void fill_ways(struct way way[WAYS], const struct tune_design_opts *opts)
{
    for (int r = 0; r < RUNGS; r++) {
        const double k = pow(10.0, -0.05 * r);
        way[r] = (struct way){k * k, k * k * k, k, design_rung_limit(opts, k)};
    }
    for (int r = 0; r < PLAIN; r++) {
        const double kappa = pow(10.0, -0.05 * (r + 1));
        way[RUNGS + r] = (struct way){kappa, kappa, kappa, HUGE_VAL};
    }
}

static inline double complex turned(const struct spot *s, const struct way *w)
{
    return CMPLX(1.0 + creal(s->p) * w->p + creal(s->i) * w->i + creal(s->d) * w->d,
                 cimag(s->p) * w->p + cimag(s->i) * w->i + cimag(s->d) * w->d);
}

static enum tune_status add(struct line *line, double f_hz, struct tune_error *err)
{
    if (line->n == line->room) {
        const size_t room = line->room > 0 ? 2 * line->room : ROOM_FIRST;
        struct spot *spot = realloc(line->spot, room * sizeof *spot);
        if (!spot) return tune_error_memory(err, "proving reduced gains");
        line->spot = spot;
        line->room = room;
    }
    line->spot[line->n++] = (struct spot){.f_hz = f_hz, .open = true};
    return TUNE_OK;
}

/* Out to where a resonance is no steeper than the base of the grid. */
static enum tune_status add_around(struct line *line, double f_hz, double zeta, double low,
                                   double high, struct tune_error *err)
{
    const double width = fmax(fabs(zeta), 1e-4);
    enum tune_status status = TUNE_OK;
    for (double u = 0.0; u * width < 0.1 && status == TUNE_OK; u = u > 0.0 ? 1.6 * u : 0.5)
        for (int sign = -1; sign <= 1 && status == TUNE_OK; sign += 2) {
            const double at = f_hz * (1.0 + sign * u * width);
            if (at > low && at < high) status = add(line, at, err);
        }
    return status;
}

static enum tune_status lay(struct line *line, const struct tune_controller *c,
                            const struct scenario *s, const struct problem *problem,
                            struct tune_error *err)
{
    const double low = GRID_START * problem->first_feature_hz, high = 0.4999 * problem->rate_hz;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < BASE && status == TUNE_OK; i++)
        status = add(line, low * pow(high / low, (double)i / (BASE - 1)), err);
    for (size_t k = 0; k < s->plant.n_modes && status == TUNE_OK; k++)
        status = add_around(line, s->plant.mode[k].f_hz, s->plant.mode[k].zeta, low, high, err);
    for (size_t k = 0; k < c->n_biquads && status == TUNE_OK; k++)
        status = add_around(line, c->biquad[k].pole_hz, c->biquad[k].pole_zeta, low, high, err);
    return status;
}

/* The controller of one gain alone. */
static struct tune_controller alone(const struct tune_controller *controller, int part)
{
    struct tune_controller c = *controller;
    if (part != 0) c.kp_nm_per_rad = 0.0;
    if (part != 1) c.ki_nm_per_rad_s = 0.0;
    if (part != 2) c.kd_nm_s_per_rad = 0.0;
    return c;
}

/* The parts of L at spots from `first` on. */
static enum tune_status respond(struct line *line, size_t first,
                                const struct tune_controller *controller, const struct scenario *s,
                                struct tune_error *err)
{
    const size_t n = line->n - first;
    double *f_hz = calloc(n, sizeof *f_hz);
    double complex *g = calloc(4 * n, sizeof *g);
    const enum tune_status status =
        f_hz && g ? TUNE_OK : tune_error_memory(err, "proving reduced gains");
    for (size_t k = 0; k < n && status == TUNE_OK; k++)
        f_hz[k] = line->spot[first + k].f_hz;
    if (status == TUNE_OK) tune_plant_eval(g, &s->plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    for (int part = 0; part < 3 && status == TUNE_OK; part++) {
        const struct tune_controller c = alone(controller, part);
        tune_controller_eval(g + (size_t)(part + 1) * n, &c, f_hz, n);
    }
    for (size_t k = 0; k < n && status == TUNE_OK; k++) {
        struct spot *spot = &line->spot[first + k];
        spot->p = times(g[k], g[n + k]);
        spot->i = times(g[k], g[2 * n + k]);
        spot->d = times(g[k], g[3 * n + k]);
    }
    free(f_hz);
    free(g);
    return status;
}

static int rising(const void *a, const void *b)
{
    const struct spot *first = a, *second = b;
    return (first->f_hz > second->f_hz) - (first->f_hz < second->f_hz);
}

/* May the stretch stand for the curve? Not where anything is NaN. */
static bool short_enough(double complex from, double complex to, double limit)
{
    const double least2 = fmin(square(from), square(to));
    const double step = least2 * limit * limit * NEAR * NEAR < 1.0 ? STEP_FINE : STEP;
    return square(to - from) <= step * step * least2;
}

static bool all_short(const struct spot *from, const struct spot *to, const struct way way[WAYS])
{
    for (size_t w = 0; w < WAYS; w++)
        if (!short_enough(turned(from, &way[w]), turned(to, &way[w]), way[w].limit)) return false;
    return true;
}

static enum tune_status refine(struct line *line, const struct tune_controller *controller,
                               const struct scenario *s, const struct way way[WAYS],
                               struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (int pass = 0; pass < PASSES && status == TUNE_OK; pass++) {
        const size_t n = line->n;
        for (size_t k = 1; k < n && status == TUNE_OK; k++) {
            const double middle = sqrt(line->spot[k - 1].f_hz * line->spot[k].f_hz);
            if (!line->spot[k].open) continue;
            line->spot[k].open = false;
            if (all_short(&line->spot[k - 1], &line->spot[k], way)) continue;
            if (!(middle > line->spot[k - 1].f_hz && middle < line->spot[k].f_hz)) continue;
            line->spot[k].open = true;
            status = add(line, middle, err);
        }
        if (line->n == n) break;
        if (status == TUNE_OK) status = respond(line, n, controller, s, err);
        if (status == TUNE_OK) qsort(line->spot, line->n, sizeof *line->spot, rising);
    }
    return status;
}

double design_distance2(double complex a, double complex b)
{
    const double complex along = b - a;
    const double length2 = square(along);
    const double t = length2 > 0.0 ? -creal(times(conj(along), a)) / length2 : 0.0;
    return square(a + scaled(along, fmin(1.0, fmax(0.0, t))));
}

/* Unstable closed-loop poles, -1 where they cannot be counted; |S| at its largest and where. See count()
 * of demand.c for the start. */
static double walk(double *peak, double *peak_hz, const struct line *line, const struct way *way)
{
    double complex last = turned(&line->spot[0], way);
    double turn = carg(last), least2 = HUGE_VAL;
    bool known = true;
    if (turn > 0.25 * TUNE_PI) turn -= 2.0 * TUNE_PI;
    for (size_t k = 1; k < line->n; k++) {
        const double complex here = turned(&line->spot[k], way);
        const double d2 = design_distance2(last, here);
        known = known && short_enough(last, here, HUGE_VAL);
        turn += carg(times(here, conj(last)));
        if (!(d2 >= least2)) {
            least2 = d2;
            *peak_hz = line->spot[k].f_hz;
        }
        last = here;
    }
    *peak = 1.0 / sqrt(least2);
    return known && fabs(-turn / TUNE_PI - round(-turn / TUNE_PI)) < 0.2 ? round(-turn / TUNE_PI)
                                                                         : -1.0;
}

static void look_at_axis(struct proof *out, const struct line *line)
{
    static const struct way whole = {1.0, 1.0, 1.0, HUGE_VAL};
    for (size_t k = 1; k < line->n; k++) {
        const double complex a = turned(&line->spot[k - 1], &whole) - 1.0;
        const double complex b = turned(&line->spot[k], &whole) - 1.0;
        if ((cimag(a) < 0.0) == (cimag(b) < 0.0)) continue;
        const double at = (creal(a) * cimag(b) - creal(b) * cimag(a)) / (cimag(b) - cimag(a));
        if (at > -1.0 || at < -sqrt(10.0)) continue;
        out->gain_stable = false;
        out->gain_hz = line->spot[k].f_hz;
    }
}

static void conclude(struct proof *out, const struct line *line, const struct way way[WAYS])
{
    bool full = false;
    out->gain_stable = true;
    for (int w = 0; w < WAYS; w++) {
        double peak = HUGE_VAL, peak_hz = 0.0;
        const bool stable = walk(&peak, &peak_hz, line, &way[w]) == 0.0;
        if (w == 0) full = stable;
        out->n_proved += stable;
        out->n_unstable += !stable;
        if (w >= RUNGS && !stable) {
            out->gain_stable = false;
            out->gain_hz = peak_hz;
        }
        if (w == 0 || w >= RUNGS) continue;
        const double excess = stable ? peak / way[w].limit : HUGE_VAL;
        if (!(excess > out->rung_excess)) continue;
        out->rung_excess = excess;
        out->rung_peak = peak;
        out->rung_factor = way[w].d;
        out->rung_hz = peak_hz;
    }
    if (!full) out->gain_stable = false;
    look_at_axis(out, line);
}

enum tune_status design_prove(struct proof *out, const struct tune_controller *controller,
                              const struct scenario *s, const struct problem *problem,
                              struct tune_error *err)
{
    struct line line = {0};
    struct way way[WAYS];
    enum tune_status status = lay(&line, controller, s, problem, err);
    *out = (struct proof){.rung_excess = -1.0};
    fill_ways(way, problem->opts);
    if (status == TUNE_OK) {
        qsort(line.spot, line.n, sizeof *line.spot, rising);
        status = respond(&line, 0, controller, s, err);
    }
    if (status == TUNE_OK) status = refine(&line, controller, s, way, err);
    if (status == TUNE_OK) conclude(out, &line, way);
    free(line.spot);
    return status;
}
