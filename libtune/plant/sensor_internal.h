/* sensor_internal.h - the parts of the estimate from a second sensor: response, noise, start.
 *
 * phi = [theta of the fit, r of each mode, lateness in loop periods, scale, tilt].
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SENSOR_INTERNAL_H
#define TUNE_SENSOR_INTERNAL_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "plant/sensor.h"

enum { SENSOR_SOURCES = 8, SENSOR_SOURCES_MAX = SENSOR_SOURCES + TUNE_MODES_MAX };
enum { SENSOR_PARAMS_MAX = TUNE_PARAMS_MAX + TUNE_MODES_MAX + 3, SENSOR_BLOCK = 64 };

struct sensor_model {
    size_t n_theta, n_modes, p; /* p = n_theta + n_modes + 3 */
    double loop_rate_hz;
    bool acceleration;
    double hold_s, exposure_s, row_s;
};

/* Places in phi. */
static inline size_t sensor_at_ratio(const struct sensor_model *m, size_t k)
{
    return m->n_theta + k;
}
static inline size_t sensor_at_late(const struct sensor_model *m)
{
    return m->n_theta + m->n_modes;
}
static inline size_t sensor_at_scale(const struct sensor_model *m)
{
    return sensor_at_late(m) + 1;
}
static inline size_t sensor_at_tilt(const struct sensor_model *m)
{
    return sensor_at_late(m) + 2;
}

/* The sensor's sampled response h[n] to a commanded torque and its derivatives jac[i * p + k] (NULL: not
 * wanted); those by ln B/J, delay, ln f and ln zeta are central differences. n <= SENSOR_BLOCK. */
void tune_sensor_eval(double complex *h, double complex *jac, const struct sensor_model *model,
                      const double *phi, const double *f_hz, size_t n);

/* What the sensor makes of the payload's angle at one frequency: F with lateness, hold and exposure. */
double complex tune_sensor_reading(const struct sensor_model *model, const double *phi,
                                   double f_hz);

/* Paired lines and the noise on them: x = y - h u - beta (y1 - g u) is independent of the encoder's. */
struct sensor_data {
    size_t n;
    double *f_hz;               /* [n] */
    double complex *u, *y, *y1; /* [n] torque, sensor, encoder */
    bool *paired;               /* [n] y1 is there */
    double *known;              /* [n] E|V|^2 of the sensor as the regression knows it */
    double complex *beta;       /* [n] what the encoder's error says of the sensor's */
    double *var;                /* [n] E|x|^2 */
    bool sourced; /* the sources of the noise have been fitted once: go on from these */
    double source[SENSOR_SOURCES_MAX];
};

enum tune_status tune_sensor_take(struct sensor_data *out, const struct tune_lines *encoder,
                                  const struct tune_lines *sensor, double highest_hz,
                                  struct tune_error *err);
void tune_sensor_data_free(struct sensor_data *data);

/* Ratios and lateness to start from: linear least squares for each of a row of latenesses. */
enum tune_status tune_sensor_start(double *phi, const struct sensor_model *model,
                                   const struct sensor_data *data, struct tune_error *err);

/* beta and var from the residuals of both sensors at phi; covariance[p x p] of phi as it is now (for the
 * leverage; NULL: none). */
enum tune_status tune_sensor_noise(struct sensor_data *data, const struct sensor_model *model,
                                   const double *phi, const double *covariance,
                                   struct tune_error *err);

/* |x|^2 of every line from the errors e1, e2 of encoder and sensor, enlarged by what the parameters have
 * swallowed. */
void tune_sensor_power(double *power, const struct sensor_data *data,
                       const struct sensor_model *model, const double *phi,
                       const double *covariance, const double complex *e1,
                       const double complex *e2);

/* What is minimised: sum |x|^2/var + (theta - mean)^T information (theta - mean) + sum weight (phi - mean)^2,
 * the last over what is not theta. */
struct sensor_problem {
    struct sensor_model model;
    struct sensor_data data;
    size_t p;
    double *information;              /* [n_theta x n_theta] of the fit: (2 C)^-1 */
    double mean[SENSOR_PARAMS_MAX];   /* of phi beforehand */
    double weight[SENSOR_PARAMS_MAX]; /* 1/(2 std^2) of what is not theta */
    double phi[SENSOR_PARAMS_MAX], cost;
    double gradient[SENSOR_PARAMS_MAX];
    double *hessian, *factor, *covariance; /* [p x p] */
};

/* From problem->phi to the least cost; the Hessian is then that of the end. TUNE_ENOSOL: no convergence. */
enum tune_status tune_sensor_descend(struct sensor_problem *problem, struct tune_error *err);

/* By how much more x of neighbouring lines adds up than independent values would, as tune_fit_kinship() has
 * it of the encoder; chi_square: how far the residuals pass the noise known without the model. */
double tune_sensor_kinship(const struct sensor_problem *problem, double chi_square);

#endif
