/* axis_matrix.c - the closed loop of an axis as a matrix.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/axis_matrix.h"

#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

#include "core/units.h"
#include "support/check.h"

/* ---- plant --------------------------------------------------------------------------------------*/

/* One degree of freedom  q'' + c q' + k q = g u  over a held torque that changes from the older value
 * to the newer one `late` after the sample. */
struct held {
    double phi[2][2], newer[2], older[2];
};

/* e^{A t} and the integral of e^{A s} b over 0..t, from the exponential of [A b; 0 0] t. */
static void exponential(double phi[2][2], double gamma[2], double c, double k, double g, double t)
{
    double m[9] = {0.0, t, 0.0, -k * t, -c * t, g * t, 0.0, 0.0, 0.0}, e[9];
    gsl_matrix_view from = gsl_matrix_view_array(m, 3, 3), to = gsl_matrix_view_array(e, 3, 3);
    assert_int_equal(gsl_linalg_exponential_ss(&from.matrix, &to.matrix, GSL_PREC_DOUBLE), 0);
    for (int i = 0; i < 2; i++) {
        phi[i][0] = e[3 * i];
        phi[i][1] = e[3 * i + 1];
        gamma[i] = e[3 * i + 2];
    }
}

static struct held hold(double c, double k, double g, double period, double late)
{
    struct held h;
    double rest[2][2], first[2], unused[2], skip[2][2];
    exponential(h.phi, unused, c, k, g, period);
    exponential(rest, h.newer, c, k, g, period - late);
    exponential(skip, first, c, k, g, late);
    for (int i = 0; i < 2; i++)
        h.older[i] = rest[i][0] * first[0] + rest[i][1] * first[1];
    return h;
}

/* ---- one step of everything ---------------------------------------------------------------------*/

struct running {
    size_t n_bodies, waiting, n_sections; /* torques under way: waiting >= 1 */
    struct held body[TUNE_MODES_MAX + 1];
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    double kp, ki_t, kd_per_t, a;
};

static size_t states(const struct running *r)
{
    return 2 * r->n_bodies + r->waiting + 3 + 2 * r->n_sections;
}

/* x: integral, filtered derivative, last error; two states per section, here in direct form II (not the
 * transposed form of the library). The equations are those of control/controller.h. */
static double control(double *next, const struct running *r, const double *x, double y)
{
    const double *filter = x + 3, e = -y;
    double *next_filter = next + 3, u;
    next[0] = r->ki_t > 0.0 ? x[0] + r->ki_t * e : 0.0;
    next[1] = (1.0 - r->a) * x[1] + r->a * r->kd_per_t * (e - x[2]);
    next[2] = e;
    u = r->kp * e + next[0] + next[1];
    for (size_t k = 0; k < r->n_sections; k++) {
        const struct tune_biquad *b = &r->section[k];
        const double w = u - b->a1 * filter[2 * k] - b->a2 * filter[2 * k + 1];
        u = b->b0 * w + b->b1 * filter[2 * k] + b->b2 * filter[2 * k + 1];
        next_filter[2 * k] = w;
        next_filter[2 * k + 1] = filter[2 * k];
    }
    return u;
}

/* torque: those waiting, newest first; u is the one computed now. */
struct torque {
    double newer, older;
};

static struct torque wait(double *next, const struct running *r, const double *torque, double u)
{
    const struct torque out = {r->waiting == 1 ? u : torque[r->waiting - 2],
                               torque[r->waiting - 1]};
    next[0] = u;
    for (size_t k = 1; k < r->waiting; k++)
        next[k] = torque[k - 1];
    return out;
}

static void move(double *next, const struct held *h, const double *x, struct torque torque)
{
    for (int j = 0; j < 2; j++)
        next[j] = h->phi[j][0] * x[0] + h->phi[j][1] * x[1] + h->newer[j] * torque.newer +
                  h->older[j] * torque.older;
}

/* State: angle and speed of each body; torques waiting; controller. */
static double advance(double *next, const struct running *r, const double *x, double noise)
{
    const size_t torque = 2 * r->n_bodies, pid = torque + r->waiting;
    double y = noise, u;
    for (size_t i = 0; i < r->n_bodies; i++)
        y += x[2 * i];
    u = control(next + pid, r, x + pid, y);
    const struct torque now = wait(next + torque, r, x + torque, u);
    for (size_t i = 0; i < r->n_bodies; i++)
        move(next + 2 * i, &r->body[i], x + 2 * i, now);
    return u;
}

/* Two axes that share the modes of the first; the second adds its rigid body to them. */
struct pair {
    struct running axis, other;
    const double *ratio; /* [axis.n_bodies - 1] angle of the other axis per angle of this one */
};

static size_t pair_states(const struct pair *p)
{
    return states(&p->axis) + 2 + p->other.waiting + 3 + 2 * p->other.n_sections;
}

/* State: that of the first axis; rigid body, torques, controller of the second. */
static void advance_pair(double *next, const struct pair *p, const double *x)
{
    const struct running *a = &p->axis, *b = &p->other;
    const size_t torque = 2 * a->n_bodies, pid = torque + a->waiting, rigid = states(a),
                 torque_b = rigid + 2, pid_b = torque_b + b->waiting;
    double y = 0.0, y_b = x[rigid];
    struct torque now, now_b;
    for (size_t i = 0; i < a->n_bodies; i++)
        y += x[2 * i];
    for (size_t i = 1; i < a->n_bodies; i++)
        y_b += p->ratio[i - 1] * x[2 * i];
    now = wait(next + torque, a, x + torque, control(next + pid, a, x + pid, y));
    now_b = wait(next + torque_b, b, x + torque_b, control(next + pid_b, b, x + pid_b, y_b));
    move(next, &a->body[0], x, now);
    move(next + rigid, &b->body[0], x + rigid, now_b);
    for (size_t i = 1; i < a->n_bodies; i++) {
        const double r = p->ratio[i - 1];
        const struct torque both = {now.newer + r * now_b.newer, now.older + r * now_b.older};
        move(next + 2 * i, &a->body[i], x + 2 * i, both);
    }
}

static struct running prepare(const struct tune_plant *plant, const struct tune_controller *c)
{
    struct running r = {0};
    const double period = 1.0 / plant->loop_rate_hz, j = plant->inertia_kg_m2;
    const double whole = floor(plant->delay_s / period);
    const double late = plant->delay_s - whole * period;
    r.waiting = (size_t)whole + 1;
    r.body[r.n_bodies++] = hold(plant->viscous_nm_s_per_rad / j, 0.0, 1.0 / j, period, late);
    for (size_t i = 0; i < plant->n_modes; i++) {
        const double omega = 2.0 * TUNE_PI * plant->mode[i].f_hz;
        r.body[r.n_bodies++] = hold(2.0 * plant->mode[i].zeta * omega, omega * omega,
                                    plant->mode[i].gain / j, period, late);
    }
    r.n_sections = tune_controller_sections(r.section, c);
    r.kp = c->kp_nm_per_rad;
    r.ki_t = c->ki_nm_per_rad_s * period;
    r.kd_per_t = c->kd_nm_s_per_rad / period;
    r.a = c->derivative_filter_hz > 0.0
              ? 1.0 - exp(-2.0 * TUNE_PI * c->derivative_filter_hz * period)
              : 1.0;
    return r;
}

void axis_matrix_make(struct axis_matrix *out, const struct tune_plant *plant,
                      const struct tune_controller *controller)
{
    const struct running r = prepare(plant, controller);
    double x[AXIS_STATES_MOST] = {0.0}, next[AXIS_STATES_MOST];
    memset(out, 0, sizeof *out);
    out->n = states(&r);
    assert_in_range(out->n, 1, AXIS_STATES_MOST);
    for (size_t i = 0; i < out->n; i++) {
        x[i] = 1.0;
        out->c[i] = advance(next, &r, x, 0.0);
        for (size_t k = 0; k < out->n; k++)
            out->a[k][i] = next[k];
        x[i] = 0.0;
    }
    out->d = advance(out->b, &r, x, 1.0);
}

void axis_pair_matrix_make(struct axis_matrix *out, const struct tune_plant *plant,
                           const struct tune_controller *controller, const struct tune_plant *other,
                           const struct tune_controller *other_controller, const double *ratio)
{
    const struct pair p = {prepare(plant, controller), prepare(other, other_controller), ratio};
    double x[AXIS_STATES_MOST] = {0.0}, next[AXIS_STATES_MOST];
    memset(out, 0, sizeof *out);
    out->n = pair_states(&p);
    assert_in_range(out->n, 1, AXIS_STATES_MOST);
    for (size_t i = 0; i < out->n; i++) {
        x[i] = 1.0;
        advance_pair(next, &p, x);
        for (size_t k = 0; k < out->n; k++)
            out->a[k][i] = next[k];
        x[i] = 0.0;
    }
}

void axis_matrix_poles(double complex *pole, const struct axis_matrix *matrix)
{
    const size_t n = matrix->n;
    gsl_matrix *m = gsl_matrix_alloc(n, n);
    gsl_vector_complex *value = gsl_vector_complex_alloc(n);
    gsl_eigen_nonsymm_workspace *work = gsl_eigen_nonsymm_alloc(n);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < n; k++)
            gsl_matrix_set(m, i, k, matrix->a[i][k]);
    gsl_eigen_nonsymm_params(0, 1, work); /* balanced: angles and torques differ by many decades */
    assert_int_equal(gsl_eigen_nonsymm(m, value, work), 0);
    for (size_t i = 0; i < n; i++) {
        const gsl_complex z = gsl_vector_complex_get(value, i);
        pole[i] = CMPLX(GSL_REAL(z), GSL_IMAG(z));
    }
    gsl_eigen_nonsymm_free(work);
    gsl_vector_complex_free(value);
    gsl_matrix_free(m);
}

size_t axis_matrix_poles_outside(const struct axis_matrix *matrix, double *nearest)
{
    double complex pole[AXIS_STATES_MOST];
    size_t outside = 0;
    *nearest = 1.0;
    axis_matrix_poles(pole, matrix);
    for (size_t i = 0; i < matrix->n; i++) {
        outside += cabs(pole[i]) > 1.0;
        *nearest = fmin(*nearest, fabs(cabs(pole[i]) - 1.0));
    }
    return outside;
}

size_t axis_poles_outside(const struct tune_plant *plant, const struct tune_controller *controller,
                          double *nearest)
{
    static struct axis_matrix matrix;
    axis_matrix_make(&matrix, plant, controller);
    return axis_matrix_poles_outside(&matrix, nearest);
}

/* ---- axes ---------------------------------------------------------------------------------------*/

struct tune_plant axis_example_plant(void)
{
    return (struct tune_plant){.inertia_kg_m2 = 1500.0,
                               .viscous_nm_s_per_rad = 60.0,
                               .delay_s = 0.3e-3,
                               .loop_rate_hz = 4000.0,
                               .n_modes = 2,
                               .mode = {{14.8, 0.004, 0.30, 1.0}, {104.0, 0.02, -0.08, 1.0}}};
}

struct tune_controller axis_example_controller(void)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 2.4e6;
    c.ki_nm_per_rad_s = 6e6;
    c.kd_nm_s_per_rad = 9e4;
    c.derivative_filter_hz = 400.0;
    c.lowpass_hz = 600.0;
    c.n_biquads = 1;
    c.biquad[0] = (struct tune_biquad_spec){104.0, 0.1, 104.0, 0.6};
    return c;
}

/* ---- random axes --------------------------------------------------------------------------------*/

static double between(struct tune_random *rng, double low, double high)
{
    return low * pow(high / low, tune_random_uniform(rng));
}

static bool chance(struct tune_random *rng, double of)
{
    return tune_random_uniform(rng) < of;
}

struct tune_plant axis_random_plant(struct tune_random *rng)
{
    static const double rates[] = {1000.0, 2000.0, 4000.0, 8000.0};
    struct tune_plant plant = {.loop_rate_hz = rates[tune_random_bits(rng) % 4],
                               .inertia_kg_m2 = between(rng, 5.0, 50000.0)};
    const double highest = 0.7 * plant.loop_rate_hz; /* modes above half the rate alias */
    plant.delay_s = 3.0 * tune_random_uniform(rng) / plant.loop_rate_hz;
    if (chance(rng, 0.2))
        plant.delay_s = floor(3.0 * tune_random_uniform(rng)) / plant.loop_rate_hz;
    if (chance(rng, 0.85))
        plant.viscous_nm_s_per_rad = plant.inertia_kg_m2 * 2.0 * TUNE_PI * between(rng, 1e-7, 3.0);
    plant.n_modes = tune_random_bits(rng) % 6;
    for (size_t i = 0; i < plant.n_modes; i++)
        plant.mode[i] = (struct tune_mode){
            .f_hz = fmin(highest, (i ? plant.mode[i - 1].f_hz : 6.0) * between(rng, 1.05, 3.0)),
            .zeta = between(rng, 0.002, 0.04),
            .gain = between(rng, 0.01, 2.0) * (chance(rng, 0.3) ? -1.0 : 1.0),
            .payload_ratio = 1.0};
    return plant;
}

struct tune_controller axis_random_controller(struct tune_random *rng,
                                              const struct tune_plant *plant)
{
    struct tune_controller c = tune_controller_defaults(plant->loop_rate_hz);
    const double omega = 2.0 * TUNE_PI * between(rng, 0.1, 40.0);
    const double nyquist = 0.5 * plant->loop_rate_hz;
    c.kd_nm_s_per_rad = plant->inertia_kg_m2 * omega * between(rng, 0.3, 1.5);
    c.kp_nm_per_rad = c.kd_nm_s_per_rad * omega / between(rng, 0.7, 6.0);
    if (chance(rng, 0.8)) c.ki_nm_per_rad_s = c.kp_nm_per_rad * omega / between(rng, 1.0, 100.0);
    if (chance(rng, 0.8)) c.derivative_filter_hz = between(rng, 20.0, nyquist);
    if (chance(rng, 0.8)) c.lowpass_hz = between(rng, 50.0, 0.95 * nyquist);
    c.lowpass_order = chance(rng, 0.3) ? 1 : 2;
    c.lowpass_zeta = between(rng, 0.3, 1.2);
    c.n_biquads = tune_random_bits(rng) % 4;
    for (size_t i = 0; i < c.n_biquads; i++) {
        const double f = plant->n_modes && chance(rng, 0.6)
                             ? fmin(0.9 * nyquist, plant->mode[i % plant->n_modes].f_hz)
                             : between(rng, 5.0, 0.9 * nyquist);
        c.biquad[i] = (struct tune_biquad_spec){
            .zero_hz = f * between(rng, 0.8, 1.25),
            .zero_zeta = chance(rng, 0.1) ? 0.0 : between(rng, 0.005, 1.0),
            .pole_hz = f,
            .pole_zeta = between(rng, 0.05, 1.0)};
    }
    return c;
}
