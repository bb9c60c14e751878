/* coherence.c - statistics of averaged frequency responses and coherences.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/coherence.h"

#include <math.h>

/* 0.05^(-1/x) - 1 without loss where x is large */
static double surplus(double x)
{
    return expm1(-log(0.05) / x);
}

double tune_coherence_radius95(double coh, double averages)
{
    if (!(coh > 0.0 && coh <= 1.0 && averages > 1.0)) return NAN;
    return sqrt((1.0 - coh) / coh * surplus(averages - 1.0));
}

double tune_f95_two(double d)
{
    return d > 0.0 ? 0.5 * d * surplus(0.5 * d) : (double)NAN;
}

/* 2F1(1,1;n+2;z), 0 <= z <= 1, n > 1. The power series needs 1/(1-z) terms; Euler's integral,
 *     (n+1) int_0^1 s^n/(1 - z + z s) ds
 * with s = exp(-x/n) becomes
 *     (n+1)/n int_0^inf exp(-x) / ((1-z) exp(x/n) + z) dx,
 * smooth for every z up to 1, and is summed by the trapezoidal rule in t, x = exp(t - exp(-t))
 * (double exponential rule, H. Takahasi and M. Mori, Publ. RIMS 9, 1974, from memory). */
static double hypergeometric(double n, double z)
{
    const double step = 1.0 / 32.0;
    double sum = 0.0;
    for (int k = -160; k <= 160; k++) {
        const double t = k * step, e = exp(-t), x = exp(t - e);
        sum += (1.0 + e) * x * exp(-x) / ((1.0 - z) * exp(x / n) + z);
    }
    return (n + 1.0) / n * step * sum;
}

double tune_coherence_mean(double coh, double averages)
{
    const double n = averages;
    if (!(coh >= 0.0 && coh <= 1.0 && n >= 1.0)) return NAN;
    if (n == 1.0) return 1.0; /* one average: always coherent */
    return 1.0 / n + (n - 1.0) / (n + 1.0) * coh * hypergeometric(n, coh);
}
