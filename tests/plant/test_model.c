/* test_model.c - the plant model against closed forms, identities and its own differences.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "plant/model.h"

/* Motor j1 and payload j2 on a spring k with damper c: rigid body J = j1 + j2 and one mode with
 * g = j2/j1, r = -j1/j2, omega^2 = k/mu, 2 zeta omega = c/mu, mu = j1 j2/J. */
static struct tune_plant two_inertias(double j1, double j2, double k, double c)
{
    const double mu = j1 * j2 / (j1 + j2), omega = sqrt(k / mu);
    struct tune_plant plant = {
        .inertia_kg_m2 = j1 + j2,
        .delay_s = 0.3e-3,
        .loop_rate_hz = 4000.0,
        .n_modes = 1,
        .mode[0] = {omega / (2.0 * TUNE_PI), 0.5 * c / (mu * omega), j2 / j1, -j1 / j2},
    };
    return plant;
}

static struct tune_plant telescope_axis(void)
{
    struct tune_plant plant = {
        .inertia_kg_m2 = 1500.0,
        .viscous_nm_s_per_rad = 60.0,
        .delay_s = 1.2 / 4000.0,
        .loop_rate_hz = 4000.0,
        .n_modes = 5,
        .mode = {{14.8, 0.004, 0.30, (double)NAN},
                 {31.0, 0.010, 0.12, (double)NAN},
                 {62.5, 0.004, 0.05, (double)NAN},
                 {104.0, 0.020, -0.08, (double)NAN},
                 {168.0, 0.012, 0.06, (double)NAN}},
    };
    return plant;
}

static double complex eval_one(const struct tune_plant *plant, enum tune_path path, double f_hz)
{
    double complex g;
    tune_plant_eval(&g, plant, path, &f_hz, 1);
    return g;
}

static void two_inertias_resonate_where_their_equation_says(void **state)
{
    /* Derived (D): w_a^2 = k/J2, w_r^2 = k (J1 + J2)/(J1 J2), zeta_r = c/(2 mu w_r),
     * zeta_a = c/(2 J2 w_a); figures recomputed with scipy eigenvalues. */
    const struct tune_plant stiff = two_inertias(2.0, 8.0, 1e5, 0.0);
    struct tune_plant damped = two_inertias(2.0, 8.0, 1e5, 5.0);
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_error err;
    size_t n;
    (void)state;
    assert_int_equal(tune_plant_antiresonances(zero, &n, &damped, &err), TUNE_OK);
    assert_int_equal(n, 1);
    check_close(damped.mode[0].zeta, 0.00625, 1e-15);
    check_close(zero[0].zeta, 0.00279508, 1e-8); /* digits printed */
    damped = stiff;
    damped.mode[0].zeta = 1e-9;
    assert_int_equal(tune_plant_antiresonances(zero, &n, &damped, &err), TUNE_OK);
    check_close(zero[0].f_hz, 17.794064, 1e-6);
    check_close(stiff.mode[0].f_hz, 39.788736, 1e-6);
    check_close(stiff.mode[0].f_hz / zero[0].f_hz, 2.236068, 1e-6); /* sqrt(1 + J2/J1) */
    check_close(creal(tune_plant_continuous(&damped, 1.0)), -2.5266255e-3, 1e-10);
}

/* J1 q1'' + J2 q2'' = torque, whatever the spring does: with the torque held,
 * J1 G_1 + J2 G_2 = T^2 (z + 1)/(2 (z - 1)^2). */
static void momentum_is_conserved_on_every_path(void **state)
{
    const double j1 = 3.0, j2 = 5.0;
    const struct tune_plant plant = two_inertias(j1, j2, 2e5, 40.0);
    (void)state;
    for (double f = 0.05; f < 2000.0; f *= 1.31) {
        const double t = 1.0 / plant.loop_rate_hz;
        const double complex z = cexp(CMPLX(0.0, 2.0 * TUNE_PI * f * t));
        const double complex want = t * t * (z + 1.0) / (2.0 * (z - 1.0) * (z - 1.0));
        const double complex motor = j1 * eval_one(&plant, TUNE_PATH_DRIVE_ENCODER, f) +
                                     j2 * eval_one(&plant, TUNE_PATH_DRIVE_PAYLOAD, f);
        const double complex payload = j1 * eval_one(&plant, TUNE_PATH_PAYLOAD_ENCODER, f) +
                                       j2 * eval_one(&plant, TUNE_PATH_PAYLOAD_PAYLOAD, f);
        /* rounding: (z - 1)^2 of the right-hand side loses eps/(omega T)^2 */
        const double allowed = 1e-14 + 4.0 * 2.2e-16 / (2.0 * TUNE_PI * f * t);
        check_close(cabs(motor / want - 1.0), 0.0, 10.0 * allowed);
        check_close(cabs(payload / want - 1.0), 0.0, 10.0 * allowed);
    }
}

/* The sampled response is the sum over aliases of H times hold times delay; its tail falls with the
 * cube of the alias number. */
static void sampled_response_is_the_sum_of_its_aliases(void **state)
{
    const struct tune_plant plant = telescope_axis();
    const double t = 1.0 / plant.loop_rate_hz;
    (void)state;
    for (double f = 0.7; f < 2000.0; f *= 1.83) {
        double complex sum = 0.0;
        for (int m = -3000; m <= 3000; m++) {
            const double fm = f + m * plant.loop_rate_hz;
            const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * fm);
            const double complex h = tune_plant_continuous(&plant, fm);
            sum += h * (1.0 - cexp(-s * t)) / (s * t) * cexp(-s * plant.delay_s);
        }
        /* model: terms left out are below 1/J (2 pi fs)^-3 2/(T m^3), summed over |m| > 3000 */
        check_close(cabs(eval_one(&plant, TUNE_PATH_MOTOR_ENCODER, f) - sum), 0.0,
                    4.0 / 1500.0 * t * t / (248.0 * 2.0 * 9e6) + 1e-12 * cabs(sum));
    }
}

static void slow_torque_sees_the_rigid_body(void **state)
{
    struct tune_plant plant = telescope_axis();
    const double f = 1e-5, omega = 2.0 * TUNE_PI * f;
    (void)state;
    /* far below B/J: angle = torque/(j omega B) */
    check_close(cabs(eval_one(&plant, TUNE_PATH_MOTOR_ENCODER, f) * CMPLX(0.0, omega * 60.0)), 1.0,
                2e-6);                /* model: (omega J/B)^2/2 */
    plant.viscous_nm_s_per_rad = 0.0; /* angle = -torque/(J omega^2), modes add g omega^2/w_k^2 */
    check_close(creal(eval_one(&plant, TUNE_PATH_DRIVE_ENCODER, f) * -1500.0 * omega * omega), 1.0,
                1e-9);
}

static void a_bearing_without_drag_is_the_limit_of_little(void **state)
{
    struct tune_plant free_axis = telescope_axis(), dragged = telescope_axis();
    (void)state;
    free_axis.viscous_nm_s_per_rad = 0.0;
    for (double drag = 1e-12; drag < 1e-3; drag *= 10.0) {
        dragged.viscous_nm_s_per_rad = drag * dragged.inertia_kg_m2;
        for (double f = 0.01; f < 2000.0; f *= 2.3) {
            const double complex a = eval_one(&free_axis, TUNE_PATH_MOTOR_ENCODER, f);
            const double complex b = eval_one(&dragged, TUNE_PATH_MOTOR_ENCODER, f);
            /* model: first order in b/omega on the rigid term, which the modes may exceed */
            const double rigid = 1.0 / (1500.0 * pow(2.0 * TUNE_PI * f, 2.0));
            check_close(cabs(a - b), 0.0,
                        2.5 * drag / (2.0 * TUNE_PI * f) * rigid + 1e-13 * cabs(a) +
                            1e-15 / 1500.0 / 4000.0 / 4000.0);
        }
    }
}

static void delay_passes_smoothly_through_whole_periods(void **state)
{
    struct tune_plant plant = telescope_axis();
    const double f[] = {0.9, 14.8, 103.0, 1500.0};
    (void)state;
    for (int whole = 0; whole < 4; whole++)
        for (size_t i = 0; i < sizeof f / sizeof *f; i++) {
            double complex below, above, late, prompt;
            const double complex z = cexp(CMPLX(0.0, -2.0 * TUNE_PI * f[i] * whole / 4000.0));
            plant.delay_s = (whole + 1.0 - 1e-12) / 4000.0;
            below = eval_one(&plant, TUNE_PATH_MOTOR_ENCODER, f[i]);
            plant.delay_s = (whole + 1.0 + 1e-12) / 4000.0;
            above = eval_one(&plant, TUNE_PATH_MOTOR_ENCODER, f[i]);
            check_close(cabs(below / above - 1.0), 0.0, 1e-10); /* rounding: steps of 1e-12 */
            /* whole periods are z^-n exactly */
            plant.delay_s = whole / 4000.0 + 0.1e-3;
            late = eval_one(&plant, TUNE_PATH_MOTOR_PAYLOAD, f[i]);
            plant.delay_s = 0.1e-3;
            prompt = eval_one(&plant, TUNE_PATH_MOTOR_PAYLOAD, f[i]);
            check_close(cabs(late / (prompt * z) - 1.0), 0.0, 1e-9);
        }
}

enum { JAC_POINTS = 9 };

static void compare_jacobian(const struct tune_plant *plant)
{
    const double rate = plant->loop_rate_hz;
    const size_t n_params = tune_plant_param_count(plant);
    double theta[TUNE_PARAMS_MAX];
    static const double part[JAC_POINTS] = {1e-5,  1e-4, 1e-3, 0.0037, 0.0155,
                                            0.026, 0.1,  0.3,  0.49};
    double f[JAC_POINTS];
    double complex g[JAC_POINTS], jac[JAC_POINTS * TUNE_PARAMS_MAX];
    tune_plant_to_params(theta, plant);
    for (int i = 0; i < JAC_POINTS; i++)
        f[i] = part[i] * rate;
    tune_plant_eval_jacobian(g, jac, theta, n_params, plant->n_modes, rate, f, JAC_POINTS);
    for (size_t p = 0; p < n_params; p++) {
        double moved[TUNE_PARAMS_MAX];
        double complex at[4][JAC_POINTS];
        const double h = 2e-5, shift[4] = {-2.0 * h, -h, h, 2.0 * h};
        memcpy(moved, theta, n_params * sizeof *moved);
        for (int s = 0; s < 4; s++) {
            moved[p] = theta[p] + shift[s];
            tune_plant_eval_jacobian(at[s], NULL, moved, n_params, plant->n_modes, rate, f,
                                     JAC_POINTS);
        }
        for (size_t i = 0; i < JAC_POINTS; i++) {
            const double complex slope =
                (at[0][i] - 8.0 * at[1][i] + 8.0 * at[2][i] - at[3][i]) / (12.0 * h);
            double largest = cabs(g[i]);
            for (size_t q = 0; q < n_params; q++)
                largest = fmax(largest, cabs(jac[i * n_params + q]));
            /* model: fourth order, (h/zeta)^4 at a peak; rounding: 1e-15/h */
            check_close(cabs(jac[i * n_params + p] - slope) / largest, 0.0, 5e-9);
        }
    }
}

static void jacobian_is_the_slope_of_the_response(void **state)
{
    struct tune_plant plant = telescope_axis();
    (void)state;
    for (double periods = 0.13; periods < 3.0; periods += 0.41) {
        plant.delay_s = periods / 4000.0;
        compare_jacobian(&plant);
    }
    plant.complex_residues = true;
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].gain_quadrature = 0.4 * plant.mode[k].gain;
    compare_jacobian(&plant);
    plant.viscous_nm_s_per_rad = 3e6; /* bT = 0.5 */
    plant.inertia_kg_m2 = 1e-3;
    plant.mode[4] = (struct tune_mode){1700.0, 0.2, 0.7, (double)NAN, 0.0};
    compare_jacobian(&plant);
}

static void no_drag_has_no_slope_in_its_logarithm(void **state)
{
    struct tune_plant plant = telescope_axis();
    double theta[TUNE_PARAMS_MAX];
    double complex g, jac[TUNE_PARAMS_MAX];
    const double f = 3.0;
    (void)state;
    plant.viscous_nm_s_per_rad = 0.0;
    tune_plant_to_params(theta, &plant);
    tune_plant_eval_jacobian(&g, jac, theta, 18, 5, 4000.0, &f, 1);
    assert_true(isfinite(cabs(g)));
    assert_true(jac[1] == 0.0);
}

static void parameters_go_there_and_back(void **state)
{
    struct tune_plant plant = telescope_axis();
    struct tune_plant back;
    double theta[TUNE_PARAMS_MAX];
    (void)state;
    tune_plant_to_params(theta, &plant);
    assert_int_equal(tune_plant_param_count(&plant), 18);
    tune_plant_from_params(&back, theta, 18, 5, 4000.0);
    check_close_rel(back.inertia_kg_m2, 1500.0, 1e-14);
    check_close_rel(back.viscous_nm_s_per_rad, 60.0, 1e-14);
    check_close_rel(back.delay_s, 3e-4, 1e-14);
    assert_int_equal(back.n_modes, 5);
    for (size_t k = 0; k < 5; k++) {
        check_close_rel(back.mode[k].f_hz, plant.mode[k].f_hz, 1e-14);
        check_close_rel(back.mode[k].zeta, plant.mode[k].zeta, 1e-14);
        check_close_rel(back.mode[k].gain, plant.mode[k].gain, 1e-14);
        assert_true(isnan(back.mode[k].payload_ratio));
    }
    plant.complex_residues = true;
    plant.mode[3].gain_quadrature = -0.02;
    tune_plant_to_params(theta, &plant);
    assert_int_equal(tune_plant_param_count(&plant), 23);
    tune_plant_from_params(&back, theta, 23, 5, 4000.0);
    assert_true(back.complex_residues);
    check_close(back.mode[3].gain_quadrature, -0.02, 0.0);
}

/* g + j q is the residue as the resonance shows it: what a mode adds at s = j w is (g + j q)/(2 j zeta w^2). */
static void a_complex_residue_turns_the_peak(void **state)
{
    struct tune_plant plant = telescope_axis();
    const double w = 2.0 * TUNE_PI * plant.mode[0].f_hz, zeta = plant.mode[0].zeta;
    double complex with, without;
    (void)state;
    plant.complex_residues = true;
    plant.mode[0].gain_quadrature = 0.07;
    with = tune_plant_continuous(&plant, plant.mode[0].f_hz);
    plant.mode[0].gain = plant.mode[0].gain_quadrature = 0.0;
    without = tune_plant_continuous(&plant, plant.mode[0].f_hz);
    check_close(cabs((with - without) * plant.inertia_kg_m2 * CMPLX(0.0, 2.0 * zeta * w * w) -
                     CMPLX(0.30, 0.07)),
                0.0, 1e-12);
}

/* The sampled response of the quadrature part against the sum over aliases of the held torque. Alias m is
 * at most |H| 2/(w_m T) with |H| < sum (q/w)/(J w_m), so that those beyond N on both sides add up to less
 * than sum (q/w)/(J pi^2 N rate). */
static void the_quadrature_part_is_sampled_exactly(void **state)
{
    struct tune_plant plant = telescope_axis();
    const double rate = plant.loop_rate_hz, period = 1.0 / rate, aliases = 2000.0;
    double quadratures = 0.0;
    (void)state;
    plant.complex_residues = true;
    for (size_t k = 0; k < plant.n_modes; k++) {
        plant.mode[k].gain_quadrature = 0.3 * plant.mode[k].gain;
        plant.mode[k].gain = 0.0;
        quadratures += fabs(plant.mode[k].gain_quadrature) / (2.0 * TUNE_PI * plant.mode[k].f_hz);
    }
    for (double f = 3.0; f < 0.45 * rate; f *= 1.37) {
        double complex sum = 0.0, g = eval_one(&plant, TUNE_PATH_MOTOR_ENCODER, f);
        for (double m = -aliases; m < aliases + 0.5; m += 1.0) {
            const double f_alias = f + m * rate;
            const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_alias);
            sum += tune_plant_continuous(&plant, f_alias) * (1.0 - cexp(-s * period)) /
                   (s * period) * cexp(-s * plant.delay_s);
        }
        check_close(cabs(g - sum) /
                        (quadratures / plant.inertia_kg_m2 / (TUNE_PI * TUNE_PI * aliases * rate)),
                    0.0, 1.0);
    }
}

static void response_vanishes_at_every_antiresonance(void **state)
{
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 20, 0);
    for (int round = 0; round < 200; round++) {
        struct tune_plant plant = {.inertia_kg_m2 = 40.0, .loop_rate_hz = 4000.0};
        struct tune_antiresonance zero[TUNE_MODES_MAX];
        struct tune_error err;
        size_t n;
        double f = 3.0, decay = 0.0;
        plant.n_modes = 1 + (size_t)(tune_random_bits(&rng) % TUNE_MODES_MAX);
        plant.viscous_nm_s_per_rad = round % 3 ? 40.0 * tune_random_uniform(&rng) : 0.0;
        for (size_t k = 0; k < plant.n_modes; k++) {
            f *= 1.02 + 0.3 * tune_random_uniform(&rng);
            plant.mode[k] = (struct tune_mode){f, 1e-4 + 1e-3 * tune_random_uniform(&rng),
                                               0.001 + 0.4 * tune_random_uniform(&rng), 1.0, 0.0};
            decay = fmax(decay, 2.0 * TUNE_PI * f * plant.mode[k].zeta);
        }
        decay = fmax(decay, plant.viscous_nm_s_per_rad / plant.inertia_kg_m2);
        assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
        /* positive gains and light damping: one zero below each pole (Foster's theorem) */
        assert_int_equal(n, plant.n_modes);
        for (size_t k = 0; k < n; k++) {
            const double dip = cabs(tune_plant_continuous(&plant, zero[k].f_hz));
            const double side = cabs(tune_plant_continuous(&plant, plant.mode[k].f_hz));
            check_between(zero[k].f_hz, k ? plant.mode[k - 1].f_hz : 0.0, plant.mode[k].f_hz);
            check_between(dip / side, 0.0, 1.0);
            /* collocated and passive: never in the right half plane, nor quicker to decay than
             * the quickest pole */
            check_between(2.0 * TUNE_PI * zero[k].f_hz * zero[k].zeta, 0.0, 1.0001 * decay);
        }
    }
}

static void axes_without_antiresonance_say_so(void **state)
{
    struct tune_plant plant = two_inertias(2.0, 8.0, 1e5, 5.0);
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    struct tune_error err;
    size_t n = 9;
    (void)state;
    plant.mode[0].gain = -1.0; /* seen from the payload: one real zero at k/c */
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
    assert_int_equal(n, 0);
    plant.mode[0].gain = -1.5; /* a real pair */
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
    assert_int_equal(n, 0);
    plant.mode[0].gain = 0.0; /* a mode that nothing moves */
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
    assert_int_equal(n, 0);
    plant.n_modes = 0;
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_OK);
    assert_int_equal(n, 0);
    plant.n_modes = 1;
    plant.mode[0].gain = (double)NAN;
    assert_int_equal(tune_plant_antiresonances(zero, &n, &plant, &err), TUNE_ENOSOL);
    assert_int_equal(n, 0);
}

static void payload_of_two_inertias_is_recognised(void **state)
{
    const struct tune_plant known = two_inertias(2.0, 8.0, 1e5, 5.0);
    struct tune_plant plant = known;
    (void)state;
    plant.mode[0].payload_ratio = (double)NAN;
    check_close(tune_plant_windup(&plant), 0.0, 0.0); /* r = 1: nothing twists */
    assert_int_equal(tune_plant_assume_payload(&plant), 0);
    check_close_rel(plant.mode[0].payload_ratio, known.mode[0].payload_ratio, 1e-15);
    check_close_rel(tune_plant_windup(&plant), 1e-5, 1e-13); /* 1/k */

    plant = telescope_axis();
    assert_int_equal(tune_plant_assume_payload(&plant), 0);
    check_close_rel(plant.mode[0].payload_ratio, -1.0 / 0.3, 1e-15);
    check_close(plant.mode[1].payload_ratio, 0.0, 0.0);

    plant = two_inertias(2.0, 8.0, 1e5, 5.0);
    plant.mode[0].gain = -1.0;
    assert_int_equal(tune_plant_assume_payload(&plant), 1);
    check_close(plant.mode[0].payload_ratio, 1.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_inertias_resonate_where_their_equation_says),
        cmocka_unit_test(momentum_is_conserved_on_every_path),
        cmocka_unit_test(sampled_response_is_the_sum_of_its_aliases),
        cmocka_unit_test(slow_torque_sees_the_rigid_body),
        cmocka_unit_test(a_bearing_without_drag_is_the_limit_of_little),
        cmocka_unit_test(delay_passes_smoothly_through_whole_periods),
        cmocka_unit_test(jacobian_is_the_slope_of_the_response),
        cmocka_unit_test(no_drag_has_no_slope_in_its_logarithm),
        cmocka_unit_test(parameters_go_there_and_back),
        cmocka_unit_test(a_complex_residue_turns_the_peak),
        cmocka_unit_test(the_quadrature_part_is_sampled_exactly),
        cmocka_unit_test(response_vanishes_at_every_antiresonance),
        cmocka_unit_test(axes_without_antiresonance_say_so),
        cmocka_unit_test(payload_of_two_inertias_is_recognised),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
