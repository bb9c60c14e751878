/* test_modal_values.c - resonances of the plant model against what the textbooks say of them.
 *
 * A "derived" value needs no source; "from memory" marks one whose printed page was not seen. The figures
 * were recomputed with numpy and scipy. Tolerances are the digits given unless they say otherwise.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/model.h"
#include "simulation/axis.h"

/* ---- one resonance ---------------------------------------------------------------------------------*/

/* Inertia 1 and one mode of unit gain at 1 rad/s: what the mode adds to the rigid body is the receptance
 * of a mass of 1 kg on a spring of 1 N/m. */
static double complex receptance(double omega, double zeta)
{
    const double f_hz = omega / (2.0 * TUNE_PI);
    struct tune_plant plant = {.inertia_kg_m2 = 1.0,
                               .loop_rate_hz = 1000.0,
                               .n_modes = 1,
                               .mode = {{1.0 / (2.0 * TUNE_PI), zeta, 1.0, 1.0, 0.0}}};
    const double complex both = tune_plant_continuous(&plant, f_hz);
    plant.n_modes = 0;
    return both - tune_plant_continuous(&plant, f_hz);
}

static double complex mobility(double omega, double zeta)
{
    return CMPLX(0.0, omega) * receptance(omega, zeta);
}

typedef double complex response(double omega, double zeta);

/* Where the response falls through `level` between inside (above) and outside (below). */
static double half_power(response *of, double zeta, double level, double inside, double outside)
{
    for (int i = 0; i < 80; i++) {
        const double middle = 0.5 * (inside + outside);
        if (cabs(of(middle, zeta)) > level)
            inside = middle;
        else
            outside = middle;
    }
    return inside;
}

static void half_power_points_overstate_damping(void **state)
{
    /* Apparent damping (w2 - w1)/(2 wr), w1,2^2 = 1 - 2 zeta^2 -+ 2 zeta sqrt(1 - zeta^2), wr^2 = 1 - 2 zeta^2;
     * peak 1/(2 zeta sqrt(1 - zeta^2)). Derived; D. J. Ewins, Modal Testing (from memory) */
    static const double want[][2] = {
        {0.01, 0.010002}, {0.05, 0.050252}, {0.1, 0.102062}, {0.2, 0.218261}, {0.3, 0.376767}};
    (void)state;
    for (int i = 0; i < 5; i++) {
        const double zeta = want[i][0], wr = sqrt(1.0 - 2.0 * zeta * zeta);
        const double level = cabs(receptance(wr, zeta)) / sqrt(2.0);
        const double w1 = half_power(receptance, zeta, level, wr, 1e-2);
        const double w2 = half_power(receptance, zeta, level, wr, 3.0);
        check_close(0.5 * (w2 - w1) / wr, want[i][1], 1e-6);
        check_close(w1 * w1, wr * wr - 2.0 * zeta * sqrt(1.0 - zeta * zeta), 1e-9); /* rounding */
    }
    check_close(cabs(receptance(sqrt(1.0 - 2.0 * 0.05 * 0.05), 0.05)), 10.01252, 1e-5);
    check_close(cabs(receptance(sqrt(1.0 - 2.0 * 0.1 * 0.1), 0.1)), 5.02519, 1e-5);
}

static void half_power_width_of_the_mobility_is_exact(void **state)
{
    /* exactly 2 zeta at any damping (derived) */
    (void)state;
    for (double zeta = 0.01; zeta < 0.9; zeta *= 2.0) {
        const double level = cabs(mobility(1.0, zeta)) / sqrt(2.0);
        const double w1 = half_power(mobility, zeta, level, 1.0, 1e-2);
        const double w2 = half_power(mobility, zeta, level, 1.0, 5.0);
        check_close(w2 - w1, 2.0 * zeta, 1e-12);
    }
}

/* ---- free decay ------------------------------------------------------------------------------------*/

enum { PERIOD = 200, PUSHED = 2 };

/* The axis rings after a push and a pull of one period each, which leave the rigid body at rest: angle above
 * that rest, and the same `periods` damped periods later. */
static double decay_over(double zeta, size_t periods)
{
    const double rate = 1000.0, damped_hz = rate / PERIOD;
    enum { MOST = PUSHED + 5 * PERIOD };
    double push[MOST] = {1.0, -1.0};
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_axis_run run = {.n = MOST, .excitation_nm = push};
    const double rest =
        1.0 / (rate * rate); /* 1 N m on 1 kg m^2 for one period, braked in the next */
    struct tune_axis_trace trace;
    struct tune_error err;
    double ratio;
    axis.plant.loop_rate_hz = rate;
    axis.plant.n_modes = 1;
    axis.plant.mode[0] =
        (struct tune_mode){damped_hz / sqrt(1.0 - zeta * zeta), zeta, 1.0, 1.0, 0.0};
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, NULL, &err), TUNE_OK);
    ratio = (trace.true_rad[PUSHED] - rest) / (trace.true_rad[PUSHED + periods * PERIOD] - rest);
    tune_axis_trace_free(&trace);
    return ratio;
}

static void free_decay_has_its_logarithmic_decrement(void **state)
{
    /* 2 pi zeta/sqrt(1 - zeta^2) (derived); the other way: a ratio of 10 over 4 cycles is a decrement of
     * 0.575646 and zeta = 0.091235 */
    (void)state;
    check_close(log(decay_over(0.05, 1)), 0.314553, 1e-6);
    check_close(log(decay_over(0.1, 1)), 0.631484, 1e-6);
    check_close(log(decay_over(0.091235, 4)) / 4.0, 0.575646, 4e-6); /* six digits of zeta */
    check_close(decay_over(0.091235, 4), 10.0, 1e-4);
}

/* ---- several inertias ------------------------------------------------------------------------------*/

static void two_inertias_answer_at_one_hertz(void **state)
{
    /* J1 = 2 (motor), J2 = 8 kg m^2, k = 1e5 N m/rad: H11 at 1 Hz, and of the rigid body (derived) */
    struct tune_plant plant = {.inertia_kg_m2 = 10.0,
                               .loop_rate_hz = 4000.0,
                               .n_modes = 1,
                               .mode = {{250.0 / (2.0 * TUNE_PI), 1e-12, 4.0, -0.25, 0.0}}};
    (void)state;
    check_close(creal(tune_plant_continuous(&plant, 1.0)), -2.5266255e-3, 1e-9);
    plant.n_modes = 0;
    check_close(creal(tune_plant_continuous(&plant, 1.0)), -2.5330296e-3, 1e-9);
}

static void three_discs_on_two_springs(void **state)
{
    /* Equal discs and springs, J = k = 1: 0, 1 and sqrt(3) rad/s (textbook). Mode shapes (1, 0, -1) and
     * (1, -2, 1): of the end disc's response g = 3/2 and 1/2 of the whole inertia 3. Its zeros are the
     * resonances of the other two discs held by it, sqrt((3 -+ sqrt(5))/2). */
    const struct tune_plant plant = {
        .inertia_kg_m2 = 3.0,
        .loop_rate_hz = 1000.0,
        .n_modes = 2,
        .mode = {{1.0 / (2.0 * TUNE_PI), 1e-12, 1.5, 1.0, 0.0},
                 {sqrt(3.0) / (2.0 * TUNE_PI), 1e-12, 0.5, 1.0, 0.0}},
    };
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_error err;
    size_t n;
    (void)state;
    for (double w = 0.05; w < 10.0; w *= 1.37) { /* dynamic stiffness, solved by hand */
        const double end = 1.0 - w * w, middle = 2.0 - w * w;
        const double determinant = end * (middle * end - 1.0) - end;
        const double want = (middle * end - 1.0) / determinant;
        check_close_rel(creal(tune_plant_continuous(&plant, w / (2.0 * TUNE_PI))), want, 1e-8);
    }
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
    assert_int_equal(n, 2);
    check_close(2.0 * TUNE_PI * zero[0].f_hz, sqrt(0.5 * (3.0 - sqrt(5.0))), 1e-8);
    check_close(2.0 * TUNE_PI * zero[1].f_hz, sqrt(0.5 * (3.0 + sqrt(5.0))), 1e-8);
}

/* ---- circles ---------------------------------------------------------------------------------------*/

enum { LINES = 41 };

/* Mass 1, 20 Hz, zeta 0.02, from 18 to 22 Hz. */
static const double circle_hz = 20.0, circle_zeta = 0.02;

/* The circle through points in the least-squares sense: x^2 + y^2 = 2 a x + 2 b y + c. */
static double circle_diameter(double complex *centre, const double complex *point)
{
    double m[3][4] = {{0.0}};
    for (int i = 0; i < LINES; i++) {
        const double row[3] = {2.0 * creal(point[i]), 2.0 * cimag(point[i]), 1.0};
        const double right = creal(point[i] * conj(point[i]));
        for (int r = 0; r < 3; r++) {
            for (int c = 0; c < 3; c++)
                m[r][c] += row[r] * row[c];
            m[r][3] += row[r] * right;
        }
    }
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < 3; i++)
            for (int j = 3; i != k && j >= k; j--)
                m[i][j] -= m[i][k] / m[k][k] * m[k][j];
    *centre = CMPLX(m[0][3] / m[0][0], m[1][3] / m[1][1]);
    return 2.0 * sqrt(m[2][3] / m[2][2] + creal(*centre * conj(*centre)));
}

/* of a mass of 1 kg on its spring, in mobility: frequencies in units of the natural one */
static double complex circle_mobility(double f_hz)
{
    return mobility(f_hz / circle_hz, circle_zeta) / (2.0 * TUNE_PI * circle_hz);
}

static void mobility_is_a_circle(void **state)
{
    /* diameter 1/c = 0.198943679, centre on the real axis (derived; the method is Kennelly's and Pancu's;
     * Ewins, Modal Testing, from memory) */
    double complex point[LINES], centre;
    (void)state;
    for (int i = 0; i < LINES; i++)
        point[i] = circle_mobility(18.0 + 0.1 * i);
    check_close(circle_diameter(&centre, point), 0.198943679, 1e-9);
    check_close(creal(centre), 0.09947184, 1e-8);
    check_close(cimag(centre), 0.0, 1e-9);
}

static void two_points_of_the_circle_tell_the_damping(void **state)
{
    /* 20.5 and 19.6 Hz: angles at the centre 101.9936 and 90.5817 degrees from the natural frequency;
     * zeta = (wa^2 - wb^2)/(2 wn (wa tan(theta_a/2) + wb tan(theta_b/2))) = 0.02 exactly; the formula for
     * hysteretic damping gives 0.020095 (derived) */
    const double f[2] = {20.5, 19.6}, top = creal(circle_mobility(circle_hz));
    double theta[2], viscous = 0.0, hysteretic = 0.0, squares;
    (void)state;
    for (int i = 0; i < 2; i++) {
        theta[i] = fabs(carg(circle_mobility(f[i]) - 0.5 * top));
        viscous += f[i] * tan(0.5 * theta[i]);
        hysteretic += tan(0.5 * theta[i]);
    }
    squares = f[0] * f[0] - f[1] * f[1];
    check_close(tune_deg_from_rad(theta[0]), 101.9936, 1e-4);
    check_close(tune_deg_from_rad(theta[1]), 90.5817, 1e-4);
    check_close(squares / (2.0 * circle_hz * viscous), 0.02, 1e-8);
    check_close(0.5 * squares / (circle_hz * circle_hz * hysteretic), 0.020095, 1e-6);
}

static void a_loss_factor_is_twice_the_damping_ratio(void **state)
{
    /* Hysteretic damping eta = 0.04: the receptance is a circle of diameter 1/(eta k) = 1.583143e-3 (Ewins,
     * Modal Testing, from memory). The damping of the model is viscous: with zeta = eta/2 it is the same at
     * the resonance, and over the lines around it to the order of zeta. */
    double complex point[LINES], centre, peak;
    const double w2 = pow(2.0 * TUNE_PI * circle_hz, 2.0);
    (void)state;
    for (int i = 0; i < LINES; i++)
        point[i] = receptance((18.0 + 0.1 * i) / circle_hz, circle_zeta) / w2;
    peak = receptance(1.0, circle_zeta) / w2;
    check_close(cabs(peak), 1.583143e-3, 1e-9);
    check_close(creal(peak), 0.0, 1e-9);
    check_close_rel(circle_diameter(&centre, point), 1.583143e-3, circle_zeta); /* model */
    check_close_rel(cimag(centre), -0.5 * 1.583143e-3, circle_zeta);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(half_power_points_overstate_damping),
        cmocka_unit_test(half_power_width_of_the_mobility_is_exact),
        cmocka_unit_test(free_decay_has_its_logarithmic_decrement),
        cmocka_unit_test(two_inertias_answer_at_one_hertz),
        cmocka_unit_test(three_discs_on_two_springs),
        cmocka_unit_test(mobility_is_a_circle),
        cmocka_unit_test(two_points_of_the_circle_tell_the_damping),
        cmocka_unit_test(a_loss_factor_is_twice_the_damping_ratio),
    };
    return cmocka_run_group_tests_name("modal values", tests, NULL, NULL);
}
