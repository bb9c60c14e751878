/* test_unseen.c - what the encoder cannot see.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>

#include "core/units.h"
#include "plant/fit_case.h"
#include "plant/unseen.h"

/* Two inertias on a spring: the payload J2 rings on it with the motor locked. */
struct bodies {
    double motor, payload, stiffness, damping;
};

static struct tune_plant two_bodies(const struct bodies *b)
{
    const double sum = b->motor + b->payload, reduced = b->motor * b->payload / sum;
    const double omega = sqrt(b->stiffness / reduced);
    return (struct tune_plant){
        .inertia_kg_m2 = sum,
        .viscous_nm_s_per_rad = 1e-6,
        .loop_rate_hz = 4000.0,
        .n_modes = 1,
        .mode = {{.f_hz = omega / (2.0 * TUNE_PI),
                  .zeta = b->damping / reduced / (2.0 * omega),
                  .gain = b->payload / b->motor,
                  .payload_ratio = -b->motor / b->payload}},
    };
}

static const struct bodies heavy = {1100.0, 400.0, 5e6, 400.0};

static double complex on_its_spring(const struct bodies *b, double f_hz)
{
    const double omega = 2.0 * TUNE_PI * f_hz;
    return 1.0 / (b->stiffness - b->payload * omega * omega + CMPLX(0.0, b->damping * omega));
}

static void two_bodies_leave_the_payload_on_its_spring(void **state)
{
    struct tune_plant plant = two_bodies(&heavy);
    (void)state;
    plant.mode[0].gain_quadrature = 0.1; /* does not count: residues are real */
    for (double f = 0.01; f < 1000.0; f *= 1.3)
        /* rounding, and the drag of 1e-6 N m s */
        check_close(cabs(tune_plant_unseen(&plant, f) / on_its_spring(&heavy, f) - 1.0), 0.0, 1e-8);
}

static void a_payload_that_moves_as_the_encoder_leaves_nothing(void **state)
{
    struct tune_plant plant = telescope_axis();
    (void)state;
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].payload_ratio = k % 2 ? 1.0 : (double)NAN;
    check_close(cabs(tune_plant_unseen(&plant, 20.0)), 0.0, 1e-25);
}

/* A fit of the two bodies, made up: covariance as if J, f, zeta and g were known to so much. */
static struct tune_fit made_fit(const struct bodies *b, double *covariance)
{
    static const double std[6] = {1e-3, 1.0, 0.01, 2e-4, 0.03, 2e-3};
    struct tune_fit fit = {.plant = two_bodies(b), .n_params = 6, .covariance = covariance};
    struct tune_antiresonance zero;
    size_t count;
    struct tune_error err;
    tune_plant_to_params(fit.theta, &fit.plant);
    for (size_t i = 0; i < 36; i++)
        covariance[i] = i % 7 ? 0.0 : std[i / 7] * std[i / 7];
    assert_int_equal(tune_plant_antiresonances(&zero, &count, &fit.plant, &err), TUNE_OK);
    assert_int_equal(count, 1);
    fit.mode_gain[0] = (struct tune_estimate){fit.plant.mode[0].gain, std[5]};
    fit.mode_zeta[0] = (struct tune_estimate){fit.plant.mode[0].zeta, 1e-4};
    fit.n_antiresonances = 1;
    fit.antiresonance_f_hz[0] = (struct tune_estimate){zero.f_hz, 0.01};
    fit.antiresonance_zeta[0] = (struct tune_estimate){zero.zeta, 1e-4};
    return fit;
}

/* Assumed r = -1/g is the truth of two bodies: stiffness k = J w^2 g/(1 + g)^2, so static 1/k has
 *     d ln 1/k = d ln 1/J - 2 d ln f - d ln g + 2 d g/(1 + g);
 * the peak is 1/(c w_d), c = 2 zeta w J g/(1 + g)^2, with the damped w_d^2 = k/J2 - c^2/(4 J2^2). */
static void figures_and_stds_of_two_bodies_are_known(void **state)
{
    double covariance[36];
    struct tune_fit fit = made_fit(&heavy, covariance);
    struct tune_unseen unseen;
    struct tune_error err;
    const double g = fit.plant.mode[0].gain, per_gain = -1.0 / g + 2.0 / (1.0 + g);
    const double std = sqrt(1e-6 + 4.0 * 4e-8 + pow(per_gain * 2e-3, 2.0));
    const double damping = heavy.damping / (2.0 * heavy.payload);
    const double ringing = sqrt(heavy.stiffness / heavy.payload - damping * damping);
    (void)state;
    assert_int_equal(tune_unseen_estimate(&unseen, &fit, NULL, NULL, TUNE_PAYLOAD_ASSUMED, &err),
                     TUNE_OK);
    assert_int_equal(unseen.payload, TUNE_PAYLOAD_ASSUMED);
    assert_int_equal(unseen.n_locked, 1);
    check_close_rel(unseen.locked_rotor_hz[0].value,
                    sqrt(heavy.stiffness / heavy.payload) / (2.0 * TUNE_PI), 1e-9);
    check_close_rel(unseen.static_rad_per_nm.value, 1.0 / heavy.stiffness, 1e-12);
    check_close_rel(unseen.static_rad_per_nm.std, std / heavy.stiffness, 1e-5); /* differences */
    check_close_rel(unseen.peak_rad_per_nm.value, 1.0 / (heavy.damping * ringing), 1e-7);
    check_close_rel(
        unseen.peak_hz.value,
        sqrt(heavy.stiffness / heavy.payload - 2.0 * damping * damping) / (2.0 * TUNE_PI), 1e-6);
    /* mostly the damping: 3 %, beside parts of a per cent */
    check_between(unseen.peak_rad_per_nm.std / unseen.peak_rad_per_nm.value, 0.03, 0.0302);
}

/* Given ratios: dU/dr of the static twist, 2 g (r - 1)/(J w^2), and nothing where they are exact. */
static void the_std_of_the_ratios_counts(void **state)
{
    double own[36], all[49] = {0};
    struct tune_fit fit = made_fit(&heavy, own);
    const struct tune_mode *mode = &fit.plant.mode[0];
    const double ratio = mode->payload_ratio, omega = 2.0 * TUNE_PI * mode->f_hz;
    const double slope =
        2.0 * mode->gain * (ratio - 1.0) / (fit.plant.inertia_kg_m2 * omega * omega);
    struct tune_unseen unseen;
    struct tune_error err;
    (void)state;
    all[48] = 0.05 * 0.05; /* the ratio alone is uncertain */
    assert_int_equal(
        tune_unseen_estimate(&unseen, &fit, &ratio, all, TUNE_PAYLOAD_ACCELEROMETER, &err),
        TUNE_OK);
    check_close_rel(unseen.static_rad_per_nm.std, fabs(slope) * 0.05, 1e-6);
    check_between(unseen.peak_rad_per_nm.std, 1e-3 * unseen.peak_rad_per_nm.value, 1.0);
}

static void without_an_antiresonance_there_is_no_peak(void **state)
{
    double covariance[36];
    struct tune_fit fit = made_fit(&heavy, covariance);
    struct tune_unseen unseen;
    struct tune_error err;
    (void)state;
    fit.n_antiresonances = 0;
    assert_int_equal(tune_unseen_estimate(&unseen, &fit, NULL, NULL, TUNE_PAYLOAD_ASSUMED, &err),
                     TUNE_OK);
    assert_true(isnan(unseen.peak_rad_per_nm.value) && isnan(unseen.peak_hz.std));
    check_close_rel(unseen.static_rad_per_nm.value, 1.0 / heavy.stiffness, 1e-12);
    check_fail_allocation(1);
    assert_int_equal(tune_unseen_estimate(&unseen, &fit, NULL, NULL, TUNE_PAYLOAD_ASSUMED, &err),
                     TUNE_ENOMEM);
    check_fail_allocation(0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_bodies_leave_the_payload_on_its_spring),
        cmocka_unit_test(a_payload_that_moves_as_the_encoder_leaves_nothing),
        cmocka_unit_test(figures_and_stds_of_two_bodies_are_known),
        cmocka_unit_test(the_std_of_the_ratios_counts),
        cmocka_unit_test(without_an_antiresonance_there_is_no_peak),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
