/* peak_internal.h - where a function of frequency is largest.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PEAK_INTERNAL_H
#define TUNE_PEAK_INTERNAL_H

typedef double tune_value(void *user, double f_hz);

/* The place of the largest value between low and high, where it has one peak: golden section. */
double tune_peak_between(tune_value *value, void *user, double low, double high);

#endif
