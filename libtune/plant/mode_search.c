/* mode_search.c - which further mode would explain most of what is left.
 *
 * A unit mode at (f, zeta) changes the response by D; the gain that fits the residual r best saves
 * Re(D^H r)^2/|D|^2 of the cost. Far from its peak D is smooth, so the sums over bins are taken once
 * per block of 0.8 % in frequency there, bin by bin near the peak.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/fit_internal.h"

static const double block_width = 0.008; /* d ln f */
static const double grid_zeta[] = {0.003, 0.006, 0.012, 0.025, 0.05};

/* Sums of one block or bin: residual and power seen through the rigid front of the model. */
struct bin {
    double f_hz, power;
    double complex residual;
};

struct fit_search {
    size_t n_blocks;
    size_t *start; /* [n_blocks + 1] first bin of each */
    struct bin *bin, *block;
};

void tune_fit_search_free(struct fit_search *search)
{
    if (!search) return;
    free(search->start);
    free(search->bin);
    free(search->block);
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
    }
    if (!s || !s->start || !s->bin || !s->block) {
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

/* c = conj(h u) r/var and q = |h u|^2/var, h = e^theta0 and the delay of half a hold and tau: the
 * mode itself is taken as continuous here. */
static void fill_bins(struct fit_search *s, const struct fit_data *data, const double *theta,
                      size_t p)
{
    for (size_t i = 0; i < data->n; i++) {
        double complex g;
        const double f = data->f_hz[i];
        const double angle = 2.0 * TUNE_PI * f * (theta[2] + 0.5) / data->loop_rate_hz;
        const double complex front = exp(theta[0]) * CMPLX(cos(angle), -sin(angle)) * data->u[i];
        tune_plant_eval_jacobian(&g, NULL, theta, p, data->loop_rate_hz, &f, 1);
        s->bin[i] = (struct bin){
            .f_hz = f,
            .power = creal(front * conj(front)) / data->var[i],
            .residual = conj(front) * (data->y[i] - g * data->u[i]) / data->var[i],
        };
    }
    for (size_t b = 0; b < s->n_blocks; b++) {
        const size_t from = s->start[b], to = s->start[b + 1];
        s->block[b] = (struct bin){.f_hz = 0.5 * (s->bin[from].f_hz + s->bin[to - 1].f_hz)};
        for (size_t i = from; i < to; i++) {
            s->block[b].power += s->bin[i].power;
            s->block[b].residual += s->bin[i].residual;
        }
    }
}

struct tally {
    double match, power;
};

static void add_bin(struct tally *tally, const struct bin *bin, double f_hz, double zeta)
{
    /* 1/(s^2 + 2 zeta w s + w^2) in units of (2 pi Hz)^2 */
    const double re = f_hz * f_hz - bin->f_hz * bin->f_hz, im = 2.0 * zeta * f_hz * bin->f_hz;
    const double square = re * re + im * im;
    tally->match += (re * creal(bin->residual) - im * cimag(bin->residual)) / square;
    tally->power += bin->power / square;
}

static struct fit_candidate try_mode(const struct fit_search *s, double f_hz, double zeta)
{
    const double near = f_hz * fmax(8.0 * zeta, 3.0 * block_width);
    const double unit = 4.0 * TUNE_PI * TUNE_PI;
    struct tally tally = {0};
    for (size_t b = 0; b < s->n_blocks; b++)
        if (fabs(s->block[b].f_hz - f_hz) > near)
            add_bin(&tally, &s->block[b], f_hz, zeta);
        else
            for (size_t i = s->start[b]; i < s->start[b + 1]; i++)
                add_bin(&tally, &s->bin[i], f_hz, zeta);
    return (struct fit_candidate){
        .f_hz = f_hz,
        .zeta = zeta,
        .gain = unit * tally.match / tally.power,
        .score = tally.match * tally.match / tally.power,
    };
}

struct fit_candidate tune_fit_search_best(struct fit_search *search, const struct fit_data *data,
                                          const double *theta, size_t p, double lowest_hz,
                                          double highest_hz)
{
    struct fit_candidate best = {0};
    fill_bins(search, data, theta, p);
    for (size_t z = 0; z < sizeof grid_zeta / sizeof *grid_zeta; z++) {
        const double step = 1.0 + 0.5 * grid_zeta[z];
        for (double f = lowest_hz; f < highest_hz; f *= step) {
            const struct fit_candidate next = try_mode(search, f, grid_zeta[z]);
            if (next.score > best.score) best = next;
        }
    }
    return best;
}
