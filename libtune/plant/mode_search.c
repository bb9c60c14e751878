/* mode_search.c - which further mode would explain most of what is left.
 *
 * A unit mode at (f, zeta) changes the response by D. The gain that fits the residual r best, when
 * the inertia may move with it, saves Re(P^H r)^2/|P|^2 of the cost, P being D less its projection
 * on the rigid body R: an axis with heavy modes weighs less above them, and a search that held the
 * inertia would look for that change anywhere but at its cause. Far from its peak D is smooth, so the
 * sums over bins are taken once per block of 0.8 % in frequency there, bin by bin near the peak.
 * Where residues are complex, Q = j (nu/f) D goes with D, at right angles to it at every bin.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/fit_internal.h"

static const double block_width = 0.008; /* d ln f */
static const double grid_zeta[] = {0.003, 0.006, 0.012, 0.025, 0.05};

/* In half widths of the peak: half a step off its top a mode still scores 9 tenths. */
static const double grid_step = 0.7;

/* Sums of one block or bin: residual c = conj(h u) r/var, power q = |h u|^2/var and rigid body
 * q conj(R), seen through the front h of the model: e^theta0, the delay and half a hold. */
struct bin {
    double f_hz, power;
    double complex residual, rigid;
};

struct fit_search {
    size_t n_blocks;
    size_t *start; /* [n_blocks + 1] first bin of each */
    struct bin *bin, *block;
    double complex *g;               /* [bins] present model */
    double rigid_match, rigid_power; /* Re(R^H r), |R|^2 */
};

void tune_fit_search_free(struct fit_search *search)
{
    if (!search) return;
    free(search->start);
    free(search->bin);
    free(search->block);
    free(search->g);
    free(search);
}

enum tune_status tune_fit_search_init(struct fit_search **search, const struct fit_data *data,
                                      struct tune_error *err)
{
    struct fit_search *s = calloc(1, sizeof *s);
    *search = NULL;
    if (s) {
        s->start = malloc((data->n + 1) * sizeof *s->start);
        s->bin = malloc(data->n * sizeof *s->bin);
        s->block = malloc(data->n * sizeof *s->block);
        s->g = malloc(data->n * sizeof *s->g);
    }
    if (!s || !s->start || !s->bin || !s->block || !s->g) {
        tune_fit_search_free(s);
        return tune_error_memory(err, "looking for modes");
    }
    for (size_t i = 0; i < data->n; i++)
        if (i == 0 || data->f_hz[i] > (1.0 + block_width) * data->f_hz[s->start[s->n_blocks - 1]])
            s->start[s->n_blocks++] = i;
    s->start[s->n_blocks] = data->n;
    *search = s;
    return TUNE_OK;
}

/* The mode itself is taken as continuous here, in units of (2 pi Hz)^2. */
static void fill_bins(struct fit_search *s, const struct fit_data *data,
                      const struct fit_point *point)
{
    const double *theta = point->theta;
    const double drag_hz = exp(theta[1]) / (2.0 * TUNE_PI);
    s->rigid_match = s->rigid_power = 0.0;
    tune_plant_eval_jacobian(s->g, NULL, theta, point->p, point->modes, data->loop_rate_hz,
                             data->f_hz, data->n);
    for (size_t i = 0; i < data->n; i++) {
        const double f = data->f_hz[i];
        const double angle = 2.0 * TUNE_PI * f * (theta[2] + 0.5) / data->loop_rate_hz;
        const double complex front = exp(theta[0]) * CMPLX(cos(angle), -sin(angle)) * data->u[i];
        const double complex rigid = 1.0 / CMPLX(-f * f, drag_hz * f);
        const double power = creal(front * conj(front)) / data->var[i];
        s->bin[i] = (struct bin){
            .f_hz = f,
            .power = power,
            .residual = conj(front) * (data->y[i] - s->g[i] * data->u[i]) / data->var[i],
            .rigid = power * conj(rigid),
        };
        s->rigid_match += creal(conj(rigid) * s->bin[i].residual);
        s->rigid_power += creal(s->bin[i].rigid * rigid);
    }
}

static void fill_blocks(struct fit_search *s)
{
    for (size_t b = 0; b < s->n_blocks; b++) {
        const size_t from = s->start[b], to = s->start[b + 1];
        s->block[b] = (struct bin){.f_hz = 0.5 * (s->bin[from].f_hz + s->bin[to - 1].f_hz)};
        for (size_t i = from; i < to; i++) {
            s->block[b].power += s->bin[i].power;
            s->block[b].residual += s->bin[i].residual;
            s->block[b].rigid += s->bin[i].rigid;
        }
    }
}

/* Re(D^H r), |D|^2, Re(R^H D), and the same of Q. */
struct tally {
    double match[2], power[2], rigid[2];
};

static void add_bin(struct tally *tally, const struct bin *bin, double f_hz, double zeta)
{
    const double re = f_hz * f_hz - bin->f_hz * bin->f_hz, im = 2.0 * zeta * f_hz * bin->f_hz;
    const double square = 1.0 / (re * re + im * im), turn = bin->f_hz / f_hz;
    tally->match[0] += (re * creal(bin->residual) - im * cimag(bin->residual)) * square;
    tally->rigid[0] += (re * creal(bin->rigid) + im * cimag(bin->rigid)) * square;
    tally->power[0] += bin->power * square;
    tally->match[1] += (im * creal(bin->residual) + re * cimag(bin->residual)) * square * turn;
    tally->rigid[1] += (im * creal(bin->rigid) - re * cimag(bin->rigid)) * square * turn;
    tally->power[1] += bin->power * square * turn * turn;
}

static void count_bins(struct tally *tally, const struct fit_search *s, double f_hz, double zeta)
{
    const double near = f_hz * fmax(8.0 * zeta, 3.0 * block_width);
    *tally = (struct tally){0};
    for (size_t b = 0; b < s->n_blocks; b++)
        if (fabs(s->block[b].f_hz - f_hz) > near)
            add_bin(tally, &s->block[b], f_hz, zeta);
        else
            for (size_t i = s->start[b]; i < s->start[b + 1]; i++)
                add_bin(tally, &s->bin[i], f_hz, zeta);
}

static struct fit_candidate try_mode(const struct fit_search *s, double f_hz, double zeta,
                                     bool complex_residues)
{
    const double unit = 4.0 * TUNE_PI * TUNE_PI, body = s->rigid_power;
    double match[2], power[2], gain[2] = {0.0}, score, both;
    struct tally tally;
    count_bins(&tally, s, f_hz, zeta);
    for (int i = 0; i < 2; i++) {
        match[i] = tally.match[i] - tally.rigid[i] * s->rigid_match / body;
        power[i] = tally.power[i] - tally.rigid[i] * tally.rigid[i] / body;
    }
    both = -tally.rigid[0] * tally.rigid[1] / body;
    /* a mode far above the band looks like nothing else; one at its foot may look like the rigid body */
    if (!(power[0] > 1e-6 * tally.power[0])) return (struct fit_candidate){0};
    gain[0] = match[0] / power[0];
    score = match[0] * gain[0];
    if (complex_residues && power[1] > 1e-6 * tally.power[1]) {
        const double det = power[0] * power[1] - both * both;
        if (det > 1e-6 * power[0] * power[1]) {
            gain[0] = (match[0] * power[1] - match[1] * both) / det;
            gain[1] = (match[1] * power[0] - match[0] * both) / det;
            score = match[0] * gain[0] + match[1] * gain[1];
        }
    }
    return (struct fit_candidate){
        .f_hz = f_hz,
        .zeta = zeta,
        .gain = unit * gain[0],
        .quadrature = unit * gain[1],
        .rigid =
            1.0 + (s->rigid_match - gain[0] * tally.rigid[0] - gain[1] * tally.rigid[1]) / body,
        .score = score,
    };
}

struct fit_candidate tune_fit_search_best(struct fit_search *search, const struct fit_data *data,
                                          const struct fit_point *point, double lowest_hz,
                                          double highest_hz, bool complex_residues)
{
    struct fit_candidate best = {0};
    fill_bins(search, data, point);
    fill_blocks(search);
    for (size_t z = 0; z < sizeof grid_zeta / sizeof *grid_zeta; z++) {
        const double step = 1.0 + grid_step * grid_zeta[z];
        for (double f = lowest_hz; f < highest_hz; f *= step) {
            const struct fit_candidate next = try_mode(search, f, grid_zeta[z], complex_residues);
            if (next.score > best.score) best = next;
        }
    }
    return best;
}
