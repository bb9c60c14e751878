/* motion_internal.h - what the estimates from first motions share: speed, noise, blocks, least squares.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MOTION_INTERNAL_H
#define TUNE_MOTION_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "record/record.h"

/* ---- speed ---------------------------------------------------------------------------------------*/

/* v[n], rad/s: slope of the straight line through the samples within half of each; fewer at the ends.
 * The caller frees it. n >= 2. */
enum tune_status motion_speed(double **v, const double *x, size_t n, double rate_hz, size_t half,
                              struct tune_error *err);

/* Std of the noise of one sample, from third differences, which motion hardly touches; quantisation
 * included. Negative: out of memory. */
double motion_noise(const double *x, size_t n);

/* q-quantile, 0 <= q <= 1, of x[n]; reorders x. */
double motion_quantile(double *x, size_t n, double q);

/* Is the drive enabled in this row? Where that is not logged: yes. */
bool motion_enabled(const struct tune_record *rec, size_t row);

/* ---- blocks --------------------------------------------------------------------------------------*/

/* Mean of x over the block x[0..length-1], weighted with (1 - u^2)^2, u from -1 to 1. */
double motion_block_mean(const double *x, size_t length);

/* The acceleration with the same weight, from positions: x[-1] and x[length] are read too. */
double motion_block_acceleration(const double *x, size_t length, double rate_hz);

/* ---- least squares -------------------------------------------------------------------------------*/

enum { MOTION_UNKNOWNS = 24 };

/* y = x beta. Columns of x[n x p] row by row; x is spoilt. */
struct motion_ols {
    double beta[MOTION_UNKNOWNS];
    double covariance[MOTION_UNKNOWNS][MOTION_UNKNOWNS]; /* with the scatter of the residuals */
    double rss, dof;
};

/* False where the columns depend on one another (to 1e-8) or n <= p. */
bool motion_ols_fit(struct motion_ols *out, double *x, const double *y, size_t n, size_t p);

/* beta[i], its std widened by t.975(dof)/1.96. */
struct tune_estimate motion_ols_estimate(const struct motion_ols *ols, size_t i);

/* t.975(dof) / 1.96 */
double motion_widening(double dof);

#endif
