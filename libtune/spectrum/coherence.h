/* coherence.h - statistics of averaged frequency responses and coherences.
 * coh = squared coherence 0..1; averages = number of independent averages.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_COHERENCE_H
#define TUNE_COHERENCE_H

#include "core/api.h"

/* Radius of the 95 % circle around an averaged response estimate, relative to its magnitude:
 *     sqrt((1 - coh)/coh (0.05^(-1/(averages-1)) - 1))
 * Source: J. S. Bendat and A. G. Piersol, Random Data, 4th ed. 2010, ch. 9.
 * NAN when coh is not in (0, 1] or averages <= 1. */
TUNE_API double tune_coherence_radius95(double coh, double averages);

/* Mean of the squared-coherence estimate when the true one is coh:
 *     1/n + (n-1)/(n+1) coh 2F1(1,1;n+2;coh)
 * Source: G. C. Carter, C. H. Knapp, A. H. Nuttall, IEEE Trans. AU-21, 1973. */
TUNE_API double tune_coherence_mean(double coh, double averages);

/* 95 % quantile of the F distribution with 2 and d degrees of freedom, closed form:
 *     (d/2) (0.05^(-2/d) - 1),  d > 0. */
TUNE_API double tune_f95_two(double d);

#endif
