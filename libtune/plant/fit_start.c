/* fit_start.c - what the fit starts from: usable data, delay and rigid body.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/fit_internal.h"

enum { POINTS_MIN = 8 };

/* Where the delay is looked for first, loop periods. A torque that was measured instead of commanded
 * lacks the hold, half a period, and perhaps what the drive takes to follow. */
const double tune_fit_delay_least = -1.0;
static const double delay_longest = 20.0, delay_step = 0.1;

static bool usable(double f_hz, double complex y, double var)
{
    return f_hz > 0.0 && isfinite(f_hz) && isfinite(creal(y)) && isfinite(cimag(y)) &&
           cabs(y) > 0.0 && isfinite(var) && var >= 0.0;
}

/* Bins of the response that carry something. */
enum tune_status tune_fit_take_response(struct fit_data *out, const struct tune_frf *frf,
                                        double rate, struct tune_error *err)
{
    size_t n = 0;
    const enum tune_status status = tune_fit_data_init(out, frf->n, rate, err);
    if (status) return status;
    for (size_t i = 0; i < frf->n; i++) {
        if (!usable(frf->f_hz[i], frf->g[i], frf->std[i])) continue;
        out->f_hz[n] = frf->f_hz[i];
        out->u[n] = 1.0;
        out->y[n] = frf->g[i];
        out->var[n++] = frf->std[i] * frf->std[i];
    }
    out->n = n;
    tune_fit_guard(out);
    memcpy(out->known, out->var, n * sizeof *out->known);
    if (n >= POINTS_MIN) return TUNE_OK;
    tune_fit_data_free(out);
    return tune_error_set(err, TUNE_EDATA,
                          "the response has %zu usable bins, the fit needs %d: excite longer or "
                          "over a wider band",
                          n, (int)POINTS_MIN);
}

/* Lines that carry something; index[] says which. */
enum tune_status tune_fit_take_lines(struct fit_data *out, size_t *index,
                                     const struct tune_lines *lines, double rate,
                                     struct tune_error *err)
{
    size_t n = 0;
    const enum tune_status status = tune_fit_data_init(out, lines->n, rate, err);
    if (status) return status;
    for (size_t i = 0; i < lines->n; i++) {
        const bool driven = isfinite(cabs(lines->u[i])) && cabs(lines->u[i]) > 0.0;
        if (!driven || !usable(lines->f_hz[i], lines->y[i], lines->var_y[i])) continue;
        out->f_hz[n] = lines->f_hz[i];
        out->u[n] = lines->u[i];
        out->y[n] = lines->y[i];
        index[n++] = i;
    }
    out->n = n;
    if (n >= POINTS_MIN) return TUNE_OK;
    tune_fit_data_free(out);
    return tune_error_set(err, TUNE_EDATA,
                          "%zu usable lines, the fit needs %d: excite longer or over a wider band",
                          n, (int)POINTS_MIN);
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Bins of the lowest octave, no fewer than 8. */
static size_t lowest_octave(const struct fit_data *response)
{
    size_t n = POINTS_MIN;
    while (n < response->n && response->f_hz[n] <= 2.0 * response->f_hz[0])
        n++;
    return n;
}

/* There G = -1/(J omega^2) 1/(1 - j b/omega) e^{-j omega (tau + 1/2) T}: medians of |G| omega^2 and of
 * the phase give 1/J and b. */
enum tune_status tune_fit_initial_rigid_body(double *theta, const struct fit_data *response,
                                             double drag_guess, struct tune_error *err)
{
    const size_t n = lowest_octave(response);
    double *slope = malloc(2 * n * sizeof *slope);
    double *drag;
    if (!slope) return tune_error_memory(err, "fitting the plant");
    drag = slope + n;
    for (size_t i = 0; i < n; i++) {
        const double omega = 2.0 * TUNE_PI * response->f_hz[i];
        const double angle = omega * (theta[2] + 0.5) / response->loop_rate_hz;
        const double complex straight = -response->y[i] * CMPLX(cos(angle), sin(angle));
        slope[i] = cabs(straight) * omega * omega;
        drag[i] = omega * fmin(fmax(tan(carg(straight)), -3.0), 3.0);
    }
    qsort(slope, n, sizeof *slope, by_value);
    qsort(drag, n, sizeof *drag, by_value);
    theta[0] = log(slope[n / 2]);
    theta[1] = log(fmax(drag[n / 2], drag_guess));
    free(slope);
    return TUNE_OK;
}

/* Between lightly damped resonances G without its delay is real, of either sign: the delay is where the
 * doubled phases agree best. It needs no modes, and no more than the right half of the phase. */
double tune_fit_initial_delay(const struct fit_data *response)
{
    double best = 0.0, most = -(double)INFINITY;
    for (double delay = tune_fit_delay_least; delay < delay_longest; delay += delay_step) {
        double sum = 0.0;
        for (size_t i = 0; i < response->n; i++) {
            const double complex g = response->y[i];
            const double square = creal(g * conj(g));
            const double angle =
                4.0 * TUNE_PI * response->f_hz[i] * (delay + 0.5) / response->loop_rate_hz;
            if (square > 4.0 * response->var[i])
                sum += creal(g * g * CMPLX(cos(angle), sin(angle))) / square;
        }
        if (sum > most) {
            most = sum;
            best = delay;
        }
    }
    return best;
}
