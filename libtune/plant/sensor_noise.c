/* sensor_noise.c - the noise of two sensors on one axis, and what one says of the other.
 *
 * With e1 = y1 - g u and e2 = y - h u the errors of encoder and sensor on a line, E[e e^H] is modelled as a
 * sum of what each source does to both, with coefficients >= 0:
 *     the noise of each sensor alone; torque at the motor, white and like wind, f^-5/3 ([g, h]); torque on
 *     the payload, white, like wind, and like wind on a large body, f^-11/3 ([G_mL, F G_LL]); wind on the
 *     rigid body ([1, F] f^-17/3); torque on every mode ([1, F r_k] |D_k|^2),
 * fitted to |e1|^2, |e2|^2 and e2 conj(e1) by least squares after both were whitened with the model as
 * it is, which makes all their variances equal, until it settles. Then beta = S21/S11, the error of the
 * sensor that the encoder foretells, and the variance of x = e2 - beta e1 is levelled as the encoder's own
 * noise is (noise_shape.c).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/dense_internal.h"
#include "plant/fit_internal.h"
#include "plant/sensor_internal.h"

enum { ROUNDS_FIRST = 12, ROUNDS_LATER = 4, SOURCES_MAX = SENSOR_SOURCES_MAX };

/* Hermitian 2 x 2. */
struct pair_power {
    double one, two;
    double complex cross; /* of e2 conj(e1) */
};

struct sources {
    size_t n, m;
    struct pair_power *of;    /* [n x m] unit power of each source */
    struct pair_power *seen;  /* [n] of the residuals */
    struct pair_power *model; /* [n] */
};

static void sources_free(struct sources *s)
{
    free(s->of);
    free(s->seen);
    free(s->model);
}

/* A torque of power `power` that moves the encoder by a, the sensor by b. */
static struct pair_power common(double complex a, double complex b, double power)
{
    return (struct pair_power){creal(a * conj(a)) * power, creal(b * conj(b)) * power,
                               b * conj(a) * power};
}

/* Response of both sensors to a torque at the motor, g and h, and of the encoder and the payload's angle to
 * one on the payload. */
struct responses {
    double complex g[SENSOR_BLOCK], h[SENSOR_BLOCK];
    double complex from_wind[SENSOR_BLOCK], to_payload[SENSOR_BLOCK];
};

static void list_sources(struct pair_power *of, const struct sensor_model *model, const double *phi,
                         const struct tune_plant *plant, double f_hz, const struct responses *to,
                         size_t i)
{
    const double wind = pow(f_hz, -5.0 / 3.0), f2 = f_hz * f_hz;
    const double complex reading = tune_sensor_reading(model, phi, f_hz);
    size_t m = 0;
    of[m++] = (struct pair_power){.one = 1.0};
    of[m++] = (struct pair_power){.two = 1.0};
    of[m++] = common(to->g[i], to->h[i], 1.0);
    of[m++] = common(to->g[i], to->h[i], wind);
    of[m++] = common(to->from_wind[i], reading * to->to_payload[i], 1.0);
    of[m++] = common(to->from_wind[i], reading * to->to_payload[i], wind);
    of[m++] = common(to->from_wind[i], reading * to->to_payload[i], wind / f2);
    of[m++] = common(1.0, reading, wind / (f2 * f2));
    for (size_t k = 0; k < model->n_modes; k++) {
        const struct tune_mode *mode = &plant->mode[k];
        const double re = mode->f_hz * mode->f_hz - f2, im = 2.0 * mode->zeta * mode->f_hz * f_hz;
        of[m++] = common(1.0, reading * mode->payload_ratio, 1.0 / (re * re + im * im));
    }
}

/* Errors of both sensors, their powers, and what every source would do. x is filled with e2. */
static void fill(struct sources *s, double complex *e1, double complex *e2,
                 const struct sensor_data *data, const struct sensor_model *model,
                 const double *phi)
{
    struct tune_plant plant;
    struct responses to;
    tune_plant_from_params(&plant, phi, model->n_theta, model->n_modes, model->loop_rate_hz);
    for (size_t k = 0; k < model->n_modes; k++)
        plant.mode[k].payload_ratio = phi[sensor_at_ratio(model, k)];
    for (size_t start = 0; start < data->n; start += SENSOR_BLOCK) {
        const size_t count = data->n - start < SENSOR_BLOCK ? data->n - start : SENSOR_BLOCK;
        const double *f_hz = data->f_hz + start;
        tune_plant_eval_jacobian(to.g, NULL, phi, model->n_theta, model->n_modes,
                                 model->loop_rate_hz, f_hz, count);
        tune_sensor_eval(to.h, NULL, model, phi, f_hz, count);
        tune_plant_eval(to.from_wind, &plant, TUNE_PATH_PAYLOAD_ENCODER, f_hz, count);
        tune_plant_eval(to.to_payload, &plant, TUNE_PATH_PAYLOAD_PAYLOAD, f_hz, count);
        for (size_t i = 0; i < count; i++) {
            const size_t line = start + i;
            e1[line] = data->paired[line] ? data->y1[line] - to.g[i] * data->u[line] : 0.0;
            e2[line] = data->y[line] - to.h[i] * data->u[line];
            s->seen[line] = common(e1[line], e2[line], 1.0);
            list_sources(s->of + line * s->m, model, phi, &plant, f_hz[i], &to, i);
        }
    }
}

/* Whitened: e1/l1 and (e2 - beta e1)/l2. */
struct whitener {
    double l1, l2;
    double complex beta;
};

static struct whitener make_whitener(const struct pair_power *model, bool paired)
{
    if (!paired) return (struct whitener){.l1 = 1.0, .l2 = sqrt(model->two + DBL_MIN)};
    const double one = fmax(model->one, DBL_MIN);
    const double left = model->two - creal(model->cross * conj(model->cross)) / one;
    return (struct whitener){.l1 = sqrt(one),
                             .l2 = sqrt(fmax(left, 1e-12 * model->two + DBL_MIN)),
                             .beta = model->cross / one};
}

static void whiten(double row[4], const struct pair_power *p, const struct whitener *w, bool paired)
{
    const double complex cross = (p->cross - w->beta * p->one) / (w->l1 * w->l2);
    const double b2 = creal(w->beta * conj(w->beta));
    row[0] = row[2] = row[3] = 0.0;
    row[1] = (p->two - 2.0 * creal(conj(w->beta) * p->cross) + b2 * p->one) / (w->l2 * w->l2);
    if (!paired) return;
    row[0] = p->one / (w->l1 * w->l1);
    row[2] = sqrt(2.0) * creal(cross);
    row[3] = sqrt(2.0) * cimag(cross);
}

static void add_line(double *normal, double *rhs, const struct sources *s, size_t line, bool paired)
{
    const size_t m = s->m;
    const struct whitener w = make_whitener(&s->model[line], paired);
    double row[SOURCES_MAX][4], target[4];
    whiten(target, &s->seen[line], &w, paired);
    for (size_t j = 0; j < m; j++)
        whiten(row[j], &s->of[line * m + j], &w, paired);
    for (size_t j = 0; j < m; j++)
        for (int c = 0; c < 4; c++) {
            for (size_t k = 0; k <= j; k++)
                normal[j * m + k] += row[j][c] * row[k][c];
            rhs[j] += row[j][c] * target[c];
        }
}

static void sum_up(struct sources *s, const double *coefficient)
{
    for (size_t i = 0; i < s->n; i++) {
        struct pair_power sum = {0};
        for (size_t j = 0; j < s->m; j++) {
            const struct pair_power *of = &s->of[i * s->m + j];
            sum.one += coefficient[j] * of->one;
            sum.two += coefficient[j] * of->two;
            sum.cross += coefficient[j] * of->cross;
        }
        s->model[i] = sum;
    }
}

/* Each sensor's own power, levelled: no common motion. */
static enum tune_status first_model(struct sources *s, const struct sensor_data *data,
                                    const struct sensor_model *model, struct tune_error *err)
{
    const struct fit_data lines = {
        .n = s->n, .loop_rate_hz = model->loop_rate_hz, .f_hz = data->f_hz};
    double *work = malloc((4 * s->n + 1) * sizeof *work);
    double *one, *two, *power1, *power2;
    enum tune_status status;
    if (!work) return tune_error_memory(err, "comparing two sensors");
    one = work;
    two = one + s->n;
    power1 = two + s->n;
    power2 = power1 + s->n;
    for (size_t i = 0; i < s->n; i++) {
        one[i] = two[i] = 1.0;
        power1[i] = s->seen[i].one;
        power2[i] = s->seen[i].two;
    }
    status = tune_fit_level(one, power1, &lines, err);
    if (!status) status = tune_fit_level(two, power2, &lines, err);
    for (size_t i = 0; !status && i < s->n; i++)
        s->model[i] = (struct pair_power){.one = one[i] + DBL_MIN, .two = two[i] + DBL_MIN};
    free(work);
    return status;
}

/* data->source: where to go on from, if anywhere; left where it ended. */
static void fit_sources(struct sources *s, struct sensor_data *data)
{
    double normal[SOURCES_MAX * SOURCES_MAX], rhs[SOURCES_MAX];
    if (data->sourced) sum_up(s, data->source);
    for (int round = 0; round < (data->sourced ? ROUNDS_LATER : ROUNDS_FIRST); round++) {
        memset(normal, 0, s->m * s->m * sizeof *normal);
        memset(rhs, 0, s->m * sizeof *rhs);
        for (size_t i = 0; i < s->n; i++)
            add_line(normal, rhs, s, i, data->paired[i]);
        tune_nnls_scaled(data->source, normal, rhs, s->m);
        sum_up(s, data->source);
    }
    data->sourced = true;
}

static enum tune_status allocate(struct sources *s, size_t n, size_t m, struct tune_error *err)
{
    *s = (struct sources){.n = n, .m = m};
    s->of = malloc((n * m + 1) * sizeof *s->of);
    s->seen = malloc((n + 1) * sizeof *s->seen);
    s->model = malloc((n + 1) * sizeof *s->model);
    return s->of && s->seen && s->model ? TUNE_OK : tune_error_memory(err, "comparing two sensors");
}

enum tune_status tune_sensor_noise(struct sensor_data *data, const struct sensor_model *model,
                                   const double *phi, const double *covariance,
                                   struct tune_error *err)
{
    const size_t n = data->n;
    struct fit_data lines = {.n = n,
                             .loop_rate_hz = model->loop_rate_hz,
                             .f_hz = data->f_hz,
                             .y = data->y,
                             .var = data->var};
    struct sources s;
    double complex *e = malloc((2 * n + 1) * sizeof *e);
    double *power = malloc((n + 1) * sizeof *power);
    enum tune_status status = allocate(&s, n, SENSOR_SOURCES + model->n_modes, err);
    if (!status && (!e || !power)) status = tune_error_memory(err, "comparing two sensors");
    if (!status) {
        fill(&s, e, e + n, data, model, phi);
        status = first_model(&s, data, model, err);
    }
    if (!status) {
        fit_sources(&s, data);
        for (size_t i = 0; i < n; i++) {
            const struct whitener w = make_whitener(&s.model[i], data->paired[i]);
            data->beta[i] = w.beta;
            data->var[i] = w.l2 * w.l2;
        }
        tune_sensor_power(power, data, model, phi, covariance, e, e + n);
        status = tune_fit_level(data->var, power, &lines, err);
        tune_fit_guard(&lines);
    }
    sources_free(&s);
    free(power);
    free(e);
    return status;
}
