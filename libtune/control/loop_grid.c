/* loop_grid.c - the frequencies at which a loop is looked at: logarithmic, dense around the features
 * the caller knows of, then halved wherever L or 1 + L does too much between neighbours.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/loop_grid_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double points_per_decade = 24.0;
static const double narrowest = 1e-12;          /* of an interval, relative */
static const double cosine2 = 0.91266780745483; /* cos(0.3 rad)^2 */
enum { POINTS_MOST = 400000 };

/* Around a resonance, in units of its half bandwidth zeta f. */
static const double offset[] = {-20.0, -12.0, -8.0, -5.0, -3.0, -2.0, -1.4, -1.0,
                                -0.7,  -0.4,  -0.2, 0.0,  0.2,  0.4,  0.7,  1.0,
                                1.4,   2.0,   3.0,  5.0,  8.0,  12.0, 20.0};
enum { OFFSETS = sizeof offset / sizeof offset[0] };

double tune_norm2(double complex z)
{
    return creal(z) * creal(z) + cimag(z) * cimag(z);
}

double complex tune_loop_at(const struct tune_loop *loop, double f_hz)
{
    double complex l;
    loop->eval(loop->user, &l, &f_hz, 1);
    return l;
}

static enum tune_status check_loop(const struct tune_loop *loop, struct tune_error *err)
{
    if (!loop->eval) return tune_error_set(err, TUNE_EINVAL, "the loop has no function");
    if (!(loop->f_low_hz > 0.0 && loop->f_high_hz > loop->f_low_hz && isfinite(loop->f_high_hz)))
        return tune_error_set(
            err, TUNE_EINVAL,
            "the loop is to be searched from %g to %g Hz; the range must rise and "
            "start above 0",
            loop->f_low_hz, loop->f_high_hz);
    if (!(loop->bound_above >= 0.0 && loop->bound_above < 1.0))
        return tune_error_set(err, TUNE_EINVAL,
                              "the bound of the loop gain above %g Hz is %g; it must be below 1",
                              loop->f_high_hz, loop->bound_above);
    for (size_t i = 0; i < loop->n_features; i++)
        if (!(loop->feature_hz[i] > 0.0 && loop->feature_zeta[i] >= 0.0))
            return tune_error_set(err, TUNE_EINVAL,
                                  "feature %zu of the loop is %g Hz with damping ratio %g", i,
                                  loop->feature_hz[i], loop->feature_zeta[i]);
    return TUNE_OK;
}

static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Fill f_hz with the starting frequencies, rising, each once; the ends are among them. */
static void place(struct tune_loop_grid *grid, const struct tune_loop *loop, size_t n_base)
{
    double *f = grid->f_hz;
    const double low = loop->f_low_hz, high = loop->f_high_hz;
    size_t n = 0, kept = 1;
    for (size_t i = 0; i + 1 < n_base; i++)
        f[n++] = low * pow(high / low, (double)i / (double)(n_base - 1));
    for (size_t i = 0; i < loop->n_features; i++)
        for (size_t k = 0; k < OFFSETS; k++) {
            const double at = loop->feature_hz[i] * (1.0 + loop->feature_zeta[i] * offset[k]);
            if (at > low && at < high) f[n++] = at;
        }
    qsort(f, n, sizeof *f, by_size);
    for (size_t i = 1; i < n; i++)
        if (f[i] > f[kept - 1] * (1.0 + narrowest)) f[kept++] = f[i];
    if (f[kept - 1] * (1.0 + narrowest) >= high) kept--;
    f[kept++] = high;
    grid->n = kept;
}

static enum tune_status evaluate(double complex *l, const struct tune_loop *loop, const double *f,
                                 size_t n, struct tune_error *err)
{
    loop->eval(loop->user, l, f, n);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(creal(l[i])) || !isfinite(cimag(l[i])))
            return tune_error_set(err, TUNE_ENOSOL, "the loop gain is not finite at %g Hz", f[i]);
    return TUNE_OK;
}

/* Does the direction from the origin change by more than 0.3 rad from a to b? */
static bool turns(double complex a, double complex b)
{
    const double complex q = b * conj(a);
    return creal(q) <= 0.0 || creal(q) * creal(q) < cosine2 * tune_norm2(q);
}

static bool too_far(const struct tune_loop_grid *grid, size_t i)
{
    const double complex a = grid->l[i], b = grid->l[i + 1];
    if (grid->f_hz[i + 1] <= grid->f_hz[i] * (1.0 + narrowest)) return false;
    if (fmax(tune_norm2(a), tune_norm2(b)) < TUNE_LOOP_NOTHING * TUNE_LOOP_NOTHING) return false;
    return turns(a, b) || turns(1.0 + a, 1.0 + b);
}

static enum tune_status make_room(struct tune_loop_grid *grid, size_t n, struct tune_error *err)
{
    size_t room = grid->room;
    double *f;
    double complex *l;
    if (n > POINTS_MOST)
        return tune_error_set(err, TUNE_ENOSOL,
                              "the loop gain turns without end: %d frequencies do not resolve it",
                              POINTS_MOST);
    if (n <= room) return TUNE_OK;
    while (room < n)
        room = room ? 2 * room : n;
    f = realloc(grid->f_hz, room * sizeof *f);
    if (f) grid->f_hz = f;
    l = realloc(grid->l, room * sizeof *l);
    if (l) grid->l = l;
    if (!f || !l) return tune_error_memory(err, "looking at the loop");
    grid->room = room;
    return TUNE_OK;
}

/* One more point in every interval where the loop does too much; *added says how many. */
static enum tune_status halve(struct tune_loop_grid *grid, const struct tune_loop *loop,
                              size_t *added, struct tune_error *err)
{
    enum tune_status status;
    size_t n = 0, from, to;
    for (size_t i = 0; i + 1 < grid->n; i++)
        n += too_far(grid, i);
    *added = n;
    if (n == 0) return TUNE_OK;
    /* the new points are worked out behind the old ones, then everything is merged from the end */
    status = make_room(grid, grid->n + 2 * n, err);
    if (status) return status;
    to = grid->n;
    for (size_t i = 0; i + 1 < grid->n; i++)
        if (too_far(grid, i)) grid->f_hz[to++] = sqrt(grid->f_hz[i]) * sqrt(grid->f_hz[i + 1]);
    status = evaluate(&grid->l[grid->n], loop, &grid->f_hz[grid->n], n, err);
    if (status) return status;
    memmove(&grid->f_hz[grid->n + n], &grid->f_hz[grid->n], n * sizeof *grid->f_hz);
    memmove(&grid->l[grid->n + n], &grid->l[grid->n], n * sizeof *grid->l);
    to = grid->n + n;
    from = to + n;
    for (size_t i = grid->n; i-- > 0;) {
        if (from > grid->n + n && grid->f_hz[from - 1] > grid->f_hz[i]) {
            from--;
            to--;
            grid->f_hz[to] = grid->f_hz[from];
            grid->l[to] = grid->l[from];
        }
        to--;
        grid->f_hz[to] = grid->f_hz[i];
        grid->l[to] = grid->l[i];
    }
    grid->n += n;
    return TUNE_OK;
}

/* What the next point would step over whole cannot be seen by comparing neighbours. Such is a long
 * delay: its phase grows with f, not with ln f. So the slope of the phase is taken at every point, from
 * a second one beside it, and an interval over which the slopes of both ends foretell more than a radian
 * (one alone may be a resonance's) is cut into even pieces of half a radian. */
static size_t pieces_between(const struct tune_loop_grid *grid, const struct tune_loop_grid *beside,
                             size_t i)
{
    double slope = INFINITY, turn;
    for (size_t k = i; k <= i + 1; k++)
        slope = fmin(
            slope, fabs(carg(grid->l[k] * conj(beside->l[k])) / (grid->f_hz[k] - beside->f_hz[k])));
    turn = slope * (grid->f_hz[i + 1] - grid->f_hz[i]);
    return turn > 1.0 ? (size_t)fmin(ceil(2.0 * turn), POINTS_MOST) : 1;
}

static enum tune_status cut_by_slope(struct tune_loop_grid *grid, const struct tune_loop *loop,
                                     struct tune_error *err)
{
    struct tune_loop_grid beside = {0}, cut = {0};
    size_t total = 1;
    enum tune_status status = make_room(&beside, grid->n, err);
    for (size_t i = 0; !status && i < grid->n; i++)
        beside.f_hz[i] = grid->f_hz[i] * (i > 0 ? 1.0 - 1e-5 : 1.0 + 1e-5);
    if (!status) status = evaluate(beside.l, loop, beside.f_hz, grid->n, err);
    for (size_t i = 0; !status && i + 1 < grid->n; i++)
        total += pieces_between(grid, &beside, i);
    if (!status) status = make_room(&cut, total, err);
    if (!status) {
        for (size_t i = 0; i + 1 < grid->n; i++) {
            const size_t pieces = pieces_between(grid, &beside, i);
            const double step = (grid->f_hz[i + 1] - grid->f_hz[i]) / (double)pieces;
            for (size_t k = 0; k < pieces; k++)
                cut.f_hz[cut.n++] = grid->f_hz[i] + (double)k * step;
        }
        cut.f_hz[cut.n++] = grid->f_hz[grid->n - 1];
        status = evaluate(cut.l, loop, cut.f_hz, cut.n, err);
    }
    tune_loop_grid_free(&beside);
    if (status) {
        tune_loop_grid_free(&cut);
    } else {
        tune_loop_grid_free(grid);
        *grid = cut;
    }
    return status;
}

/* At half the rate L is real; what is left of its imaginary part is rounding. */
static enum tune_status settle_end(struct tune_loop_grid *grid, const struct tune_loop *loop,
                                   struct tune_error *err)
{
    double complex *const end = &grid->l[grid->n - 1];
    if (!loop->to_half_rate) return TUNE_OK;
    if (fabs(cimag(*end)) > 1e-6 * cabs(*end) + TUNE_LOOP_NOTHING)
        return tune_error_set(err, TUNE_EINVAL,
                              "the loop gain is not real at %g Hz: this is not half the loop rate",
                              loop->f_high_hz);
    *end = creal(*end);
    return TUNE_OK;
}

static enum tune_status fill(struct tune_loop_grid *grid, const struct tune_loop *loop,
                             struct tune_error *err)
{
    const double decades = log10(loop->f_high_hz / loop->f_low_hz);
    const size_t n_base = 2 + (size_t)ceil(points_per_decade * decades);
    enum tune_status status = make_room(grid, n_base + OFFSETS * loop->n_features, err);
    size_t added = 1;
    if (status) return status;
    place(grid, loop, n_base);
    status = evaluate(grid->l, loop, grid->f_hz, grid->n, err);
    if (!status) status = cut_by_slope(grid, loop, err);
    if (!status) status = settle_end(grid, loop, err);
    while (!status && added > 0)
        status = halve(grid, loop, &added, err);
    return status;
}

enum tune_status tune_loop_grid_init(struct tune_loop_grid *out, const struct tune_loop *loop,
                                     struct tune_error *err)
{
    enum tune_status status = check_loop(loop, err);
    memset(out, 0, sizeof *out);
    if (!status) status = fill(out, loop, err);
    if (status) tune_loop_grid_free(out);
    return status;
}

enum tune_status tune_loop_grid_insert(struct tune_loop_grid *grid, size_t i, double f_hz,
                                       double complex l, struct tune_error *err)
{
    const enum tune_status status = make_room(grid, grid->n + 1, err);
    const size_t after = grid->n - i - 1;
    if (status) return status;
    memmove(&grid->f_hz[i + 2], &grid->f_hz[i + 1], after * sizeof *grid->f_hz);
    memmove(&grid->l[i + 2], &grid->l[i + 1], after * sizeof *grid->l);
    grid->f_hz[i + 1] = f_hz;
    grid->l[i + 1] = l;
    grid->n++;
    return TUNE_OK;
}

void tune_loop_grid_free(struct tune_loop_grid *grid)
{
    free(grid->f_hz);
    free(grid->l);
    memset(grid, 0, sizeof *grid);
}
