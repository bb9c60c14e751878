/* estimate.h - a quantity with its uncertainty.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ESTIMATE_H
#define TUNE_ESTIMATE_H

/* An uncertain quantity is never a bare double across a public boundary.
 * value may be INFINITY or NAN where the quantity is infinite or undefined; std is then NAN. */
struct tune_estimate {
    double value;
    double std; /* one standard deviation, same unit, >= 0 */
};

#endif
