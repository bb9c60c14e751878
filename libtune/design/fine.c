/* fine.c - jitter and noise torque of one scenario under any controller, on a grid fine enough to quote.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/design_internal.h"

#include <math.h>
#include <stdlib.h>

enum { BASE = 2000, AROUND = 41 };

/* Everything of one scenario at f_hz[n]. */
struct fine {
    size_t n;
    double *f_hz;
    double complex *c, *g, *motor_payload, *drive_encoder, *drive_payload, *wind_encoder,
        *wind_payload;
};

static int rising(const void *a, const void *b)
{
    const double first = *(const double *)a, second = *(const double *)b;
    return (first > second) - (first < second);
}

static size_t add_around(double *f_hz, size_t n, double centre_hz, double zeta, double low,
                         double high)
{
    const double width = fmax(fabs(zeta), 1e-3);
    for (int i = 0; i < AROUND; i++) {
        /* out to 12 half widths, a third of one apart near the first */
        const double u = (2.0 * i - (AROUND - 1)) / (AROUND - 1);
        const double f = centre_hz * (1.0 + 12.0 * width * u * fabs(u));
        if (f > low && f < high) f_hz[n++] = f;
    }
    return n;
}

static size_t add_edges(double *f_hz, const struct problem *problem, double low, double high)
{
    double edge_hz[4 * TUNE_BANDS_MAX];
    const size_t edges = tune_disturbance_edges(edge_hz, problem->disturbance);
    size_t n = 0;
    for (size_t i = 0; i < edges; i++)
        if (edge_hz[i] > low && edge_hz[i] < high) f_hz[n++] = edge_hz[i];
    return n;
}

static size_t fill_grid(double *f_hz, const struct scenario *s, const struct problem *problem)
{
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    const double low = GRID_START * problem->first_feature_hz, high = 0.4999 * problem->rate_hz;
    size_t n = 0, n_zeros;
    double first_hz;
    for (size_t i = 0; i < BASE; i++)
        f_hz[n++] = low * pow(high / low, (double)i / (BASE - 1));
    for (size_t k = 0; k < s->plant.n_modes; k++)
        n = add_around(f_hz, n, s->plant.mode[k].f_hz, s->plant.mode[k].zeta, low, high);
    design_features(zero, &n_zeros, &first_hz, &s->plant);
    for (size_t k = 0; k < n_zeros; k++)
        n = add_around(f_hz, n, zero[k].f_hz, zero[k].zeta, low, high);
    n += add_edges(f_hz + n, problem, low, high);
    f_hz[n++] =
        fmax(low, problem->opts->gain_stabilised_above_hz); /* where |L| is largest, often */
    qsort(f_hz, n, sizeof *f_hz, rising);
    return n;
}

static enum tune_status prepare(struct fine *fine, const struct scenario *s,
                                const struct problem *problem,
                                const struct tune_controller *controller, struct tune_error *err)
{
    const size_t room = BASE + 2 * TUNE_MODES_MAX * AROUND + 4 * TUNE_BANDS_MAX + 1;
    *fine = (struct fine){.f_hz = calloc(room, sizeof *fine->f_hz),
                          .c = calloc(7 * room, sizeof *fine->c)};
    if (!fine->f_hz || !fine->c) return tune_error_memory(err, "appraising a controller");
    fine->g = fine->c + room;
    fine->motor_payload = fine->c + 2 * room;
    fine->drive_encoder = fine->c + 3 * room;
    fine->drive_payload = fine->c + 4 * room;
    fine->wind_encoder = fine->c + 5 * room;
    fine->wind_payload = fine->c + 6 * room;
    fine->n = fill_grid(fine->f_hz, s, problem);
    tune_controller_eval(fine->c, controller, fine->f_hz, fine->n);
    tune_plant_eval(fine->g, &s->plant, TUNE_PATH_MOTOR_ENCODER, fine->f_hz, fine->n);
    tune_plant_eval(fine->motor_payload, &s->plant, TUNE_PATH_MOTOR_PAYLOAD, fine->f_hz, fine->n);
    tune_plant_eval(fine->drive_encoder, &s->plant, TUNE_PATH_DRIVE_ENCODER, fine->f_hz, fine->n);
    tune_plant_eval(fine->drive_payload, &s->plant, TUNE_PATH_DRIVE_PAYLOAD, fine->f_hz, fine->n);
    tune_plant_eval(fine->wind_encoder, &s->plant, TUNE_PATH_PAYLOAD_ENCODER, fine->f_hz, fine->n);
    tune_plant_eval(fine->wind_payload, &s->plant, TUNE_PATH_PAYLOAD_PAYLOAD, fine->f_hz, fine->n);
    return TUNE_OK;
}

/* Densities at one frequency. */
static void densities(struct fine_figures *density, const struct fine *f, size_t k,
                      const struct scenario *s, const struct problem *problem)
{
    const double complex sens = inverse(1.0 + times(f->g[k], f->c[k]));
    const double complex comp = times(times(f->g[k], f->c[k]), sens);
    const double complex through = times(f->motor_payload[k], times(f->c[k], sens));
    const double complex wind = f->wind_payload[k] - times(through, f->wind_encoder[k]) -
                                design_twist(&s->plant, s->lowest_feature_hz, f->f_hz[k]);
    const double complex drive = f->drive_payload[k] - times(through, f->drive_encoder[k]);
    const struct tune_disturbance *d = problem->disturbance;
    const double wind_psd = tune_disturbance_wind_psd(d, f->f_hz[k]);
    const double drive_psd = tune_disturbance_drive_psd(d, f->f_hz[k]);
    const double sensor_psd = tune_disturbance_sensor_psd(d, f->f_hz[k], problem->rate_hz);
    density->sky2 =
        square(wind) * wind_psd + square(drive) * drive_psd + square(through) * sensor_psd;
    density->encoder2 = square(sens) * (square(f->wind_encoder[k]) * wind_psd +
                                        square(f->drive_encoder[k]) * drive_psd) +
                        square(comp) * sensor_psd;
    density->torque2 = square(times(f->c[k], sens)) * problem->torque_noise_psd;
}

static void note_gain(struct fine_figures *out, const struct fine *f, size_t k, double above_hz)
{
    const double gain2 = square(times(f->g[k], f->c[k]));
    if (f->f_hz[k] < above_hz || gain2 <= out->gain2) return;
    out->gain2 = gain2;
    out->gain_hz = f->f_hz[k];
}

enum tune_status design_fine_figures(struct fine_figures *out,
                                     const struct tune_controller *controller,
                                     const struct scenario *s, const struct problem *problem,
                                     struct tune_error *err)
{
    struct fine fine;
    enum tune_status status = prepare(&fine, s, problem, controller, err);
    *out = (struct fine_figures){0};
    for (size_t k = 0; k < fine.n && status == TUNE_OK; k++) {
        const double left = k > 0 ? fine.f_hz[k] - fine.f_hz[k - 1] : 0.0;
        const double right = k + 1 < fine.n ? fine.f_hz[k + 1] - fine.f_hz[k] : 0.0;
        const double width = 0.5 * (left + right);
        struct fine_figures density;
        densities(&density, &fine, k, s, problem);
        out->sky2 += width * density.sky2;
        out->encoder2 += width * density.encoder2;
        out->torque2 += width * density.torque2;
        note_gain(out, &fine, k, problem->opts->gain_stabilised_above_hz);
    }
    free(fine.f_hz);
    free(fine.c);
    return status;
}
