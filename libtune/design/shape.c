/* shape.c - what the structure of the drive's controller can hold, as constraints of the search.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "control/pid_form.h"
#include "design/design_internal.h"

size_t design_shape_count(const struct problem *problem, size_t n_biquads)
{
    return (problem->opts->notches_only ? n_biquads : 0) + (problem->opts->cascade ? 1 : 0);
}

/* ln of ki over the largest of a cascade. */
static double beyond_cascade(const double *x, double rate_hz)
{
    struct tune_controller controller;
    design_to_controller(&controller, x, 0, rate_hz);
    return x[1] - log(tune_cascade_integral_limit(&controller));
}

static void cascade_gradient(double *gradient, const double *x, double rate_hz)
{
    const double step = 1e-5;
    double moved[VARIABLES_PID];
    memcpy(moved, x, sizeof moved);
    for (size_t j = 0; j < 4; j++) { /* ki, kp, kd and the filter */
        moved[j] = x[j] + step;
        gradient[j] = beyond_cascade(moved, rate_hz);
        moved[j] = x[j] - step;
        gradient[j] = (gradient[j] - beyond_cascade(moved, rate_hz)) / (2.0 * step);
        moved[j] = x[j];
    }
}

void design_shape(double *value, double *gradient, const struct problem *problem, const double *x,
                  size_t n_biquads)
{
    const size_t n = design_variable_count(n_biquads),
                 count = design_shape_count(problem, n_biquads);
    size_t i = 0;
    if (gradient) memset(gradient, 0, count * n * sizeof *gradient);
    for (size_t k = 0; problem->opts->notches_only && k < n_biquads; k++, i++) {
        const size_t zero = VARIABLES_PID + VARIABLES_BIQUAD * k + 1, pole = zero + 1;
        value[i] = x[zero] - x[pole];
        if (!gradient) continue;
        gradient[i * n + zero] = 1.0;
        gradient[i * n + pole] = -1.0;
    }
    if (!problem->opts->cascade) return;
    value[i] = beyond_cascade(x, problem->rate_hz);
    if (gradient) cascade_gradient(gradient + i * n, x, problem->rate_hz);
}
