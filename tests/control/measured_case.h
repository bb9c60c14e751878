/* measured_case.h - an axis and its loop as a table, with and without noise; included after support/check.h.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_MEASURED_CASE_H
#define TEST_MEASURED_CASE_H

#include <complex.h>

#include "control/measured.h"
#include "core/units.h"
#include "core/random.h"

enum { POINTS_MOST = 4000 };

static const struct tune_plant axis = {
    .inertia_kg_m2 = 500.0,
    .viscous_nm_s_per_rad = 20.0,
    .delay_s = 0.0006,
    .loop_rate_hz = 2000.0,
    .n_modes = 3,
    .mode = {{18.0, 0.012, 0.25, NAN}, {47.0, 0.02, 0.10, NAN}, {90.0, 0.015, -0.06, NAN}}};

static inline struct tune_controller gains(void)
{
    struct tune_controller c = tune_controller_defaults(2000.0);
    c.kp_nm_per_rad = 2.0e5;
    c.ki_nm_per_rad_s = 6.0e5;
    c.kd_nm_s_per_rad = 1.6e4;
    c.derivative_filter_hz = 100.0;
    return c;
}

struct made {
    double f_hz[POINTS_MOST], std[POINTS_MOST];
    double complex exact[POINTS_MOST], l[POINTS_MOST];
    struct tune_loop_table table;
};

static inline void frequencies(struct made *m, size_t n, double low_hz, double high_hz)
{
    for (size_t i = 0; i < n; i++) {
        m->f_hz[i] = low_hz * pow(high_hz / low_hz, (double)i / (double)(n - 1));
        m->std[i] = 0.0;
    }
    m->table = (struct tune_loop_table){.n = n, .f_hz = m->f_hz, .l = m->l, .std = m->std};
}

static inline void axis_loop(struct made *m, size_t n, double low_hz, double high_hz)
{
    const struct tune_controller c = gains();
    frequencies(m, n, low_hz, high_hz);
    tune_plant_eval(m->exact, &axis, TUNE_PATH_MOTOR_ENCODER, m->f_hz, n);
    tune_controller_eval(m->l, &c, m->f_hz, n);
    for (size_t i = 0; i < n; i++)
        m->exact[i] = m->l[i] = m->l[i] * m->exact[i];
}

/* White noise of size relative |L| + absolute, stated as std. */
static inline void add_noise(struct made *m, double relative, double absolute, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    for (size_t i = 0; i < m->table.n; i++) {
        m->std[i] = relative * cabs(m->exact[i]) + absolute;
        const double part = m->std[i] * sqrt(0.5);
        m->l[i] =
            m->exact[i] + CMPLX(part * tune_random_normal(&rng), part * tune_random_normal(&rng));
    }
}

static inline void measure(struct tune_measured_margins *out, const struct made *m)
{
    struct tune_error err = {0};
    assert_int_equal(tune_measured_margins(out, &m->table, &err), TUNE_OK);
}

#endif
