/* test_design.c - designs judged by others than the optimiser.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "design/design.h"
#include "design/small_axis.h"
#include "support/axis_matrix.h"

static const double shifts[] = {0.0, 0.05, -0.05};

static enum tune_status run(struct tune_design *out, const struct small_axis *a,
                            struct tune_error *err)
{
    return tune_design_controller(out, a->plant, a->name, 2, &a->disturbance, &a->opts, NULL, err);
}

/* The design all tests look at; made once. */
static const struct tune_design *common(void)
{
    static struct tune_design design;
    const struct small_axis a = small_axis();
    if (design.n_steps == 0) assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    return &design;
}

static void judge(const struct tune_plant *plant, const struct tune_controller *controller,
                  double limit)
{
    struct tune_margins margins;
    bool stable = false;
    assert_int_equal(tune_loop_judge(&margins, &stable, plant, controller, NULL), TUNE_OK);
    assert_true(stable);
    check_between(margins.sens_peak, 1.0, limit * (1.0 + 1e-9));
}

static void every_demand_is_kept_on_every_pointing_and_shift(void **state)
{
    static const double rung[] = {0.71, 0.5, 0.316, 0.178, 0.1};
    const struct small_axis a = small_axis();
    (void)state;
    assert_int_equal(common()->n_steps, 2);
    for (size_t n = 0; n < common()->n_steps; n++)
        for (size_t p = 0; p < 2; p++)
            for (size_t i = 0; i < 3; i++) {
                const struct tune_design_step *step = &common()->step[n];
                const struct tune_controller *c = &step->controller;
                struct tune_plant plant = small_shifted(a.plant[p], shifts[i]);
                double torque_nm;
                struct tune_controller other;
                assert_true(step->feasible);
                assert_int_equal(c->n_biquads, n);
                judge(&plant, c, 1.7);
                assert_int_equal(
                    tune_loop_noise_torque(&torque_nm, &plant, c, a.opts.sensor_noise_rad, NULL),
                    TUNE_OK);
                /* model: two quadratures, 1e-3 of each other */
                check_between(torque_nm, 0.0, a.opts.noise_torque_rms_nm * 1.001);
                other = small_reduced(*c, 0.5), judge(&plant, &other, 2.5);
                other = small_reduced(*c, 0.316), judge(&plant, &other, 2.5);
                for (size_t k = 0; k < sizeof rung / sizeof rung[0]; k++)
                    other = tune_controller_scaled(c, rung[k]), judge(&plant, &other, 2.0);
                plant.delay_s += 1e-3;
                judge(&plant, c, 2.5);
            }
}

static void rungs_between_are_stable_by_their_eigenvalues(void **state)
{
    static struct axis_matrix matrix;
    const struct small_axis a = small_axis();
    const struct tune_controller *c = &common()->step[common()->recommended].controller;
    (void)state;
    for (double db = 0.0; db >= -40.0; db -= 2.0)
        for (size_t p = 0; p < 2; p++) {
            const struct tune_controller rung = tune_controller_scaled(c, pow(10.0, db / 20.0));
            double complex pole[AXIS_STATES_MOST];
            axis_matrix_make(&matrix, &a.plant[p], &rung);
            axis_matrix_poles(pole, &matrix);
            for (size_t i = 0; i < matrix.n; i++)
                check_between(cabs(pole[i]), 0.0, 1.0 - 1e-9);
        }
}

/* Squares of corrected line-of-sight and encoder jitter by brute force: midpoints, 30000 of them,
 * straight from the definition. */
static void quadrature(double *sky2, double *encoder2, const struct tune_plant *plant,
                       const struct tune_controller *c, const struct tune_disturbance *d)
{
    enum { N = 30000, PATHS = 6 };
    static double f_hz[N];
    static double complex g[PATHS][N], k[N];
    struct tune_antiresonance zero[TUNE_MODES_MAX];
    size_t n_zeros;
    const double low = 1e-3, high = 500.0, step = log(high / low) / N;
    const double windup = tune_plant_windup(plant);
    assert_int_equal(tune_plant_antiresonances(zero, &n_zeros, plant, NULL), TUNE_OK);
    for (size_t i = 0; i < N; i++)
        f_hz[i] = low * exp(step * ((double)i + 0.5));
    for (size_t path = 0; path < PATHS; path++)
        tune_plant_eval(g[path], plant, (enum tune_path)path, f_hz, N);
    tune_controller_eval(k, c, f_hz, N);
    *sky2 = *encoder2 = 0.0;
    for (size_t i = 0; i < N; i++) {
        const double complex s = 1.0 / (1.0 + g[TUNE_PATH_MOTOR_ENCODER][i] * k[i]);
        const double complex r = k[i] * s, h_n = g[TUNE_PATH_MOTOR_PAYLOAD][i] * r;
        const double complex h_w = g[TUNE_PATH_PAYLOAD_PAYLOAD][i] -
                                   h_n * g[TUNE_PATH_PAYLOAD_ENCODER][i] -
                                   windup / (1.0 + pow(2.0 * f_hz[i] / zero[0].f_hz, 4.0));
        const double complex h_d =
            g[TUNE_PATH_DRIVE_PAYLOAD][i] - h_n * g[TUNE_PATH_DRIVE_ENCODER][i];
        const double wind = tune_disturbance_wind_psd(d, f_hz[i]), df = f_hz[i] * step;
        const double drive = tune_disturbance_drive_psd(d, f_hz[i]);
        const double sensor = tune_disturbance_sensor_psd(d, f_hz[i], plant->loop_rate_hz);
        *sky2 += df * (pow(cabs(h_w), 2) * wind + pow(cabs(h_d), 2) * drive +
                       pow(cabs(h_n), 2) * sensor);
        *encoder2 += df * (pow(cabs(g[TUNE_PATH_PAYLOAD_ENCODER][i] * s), 2) * wind +
                           pow(cabs(g[TUNE_PATH_DRIVE_ENCODER][i] * s), 2) * drive +
                           pow(cabs(g[TUNE_PATH_MOTOR_ENCODER][i] * r), 2) * sensor);
    }
}

static void check_quadrature(const struct small_axis *axis, const struct tune_design_step *step)
{
    const struct small_axis a = *axis;
    double sum = 0.0, sky2 = 0.0, encoder2 = 0.0;
    for (size_t p = 0; p < 2; p++)
        for (size_t i = 0; i < 3; i++) {
            const struct tune_plant plant = small_shifted(a.plant[p], shifts[i]);
            double sky, encoder;
            quadrature(&sky, &encoder, &plant, &step->controller, &a.disturbance);
            sum += sky / 6.0;
            if (shifts[i] != 0.0) continue;
            sky2 = fmax(sky2, sky);
            encoder2 = fmax(encoder2, encoder);
        }
    /* model: trapezoid over .8 % steps */
    check_close_rel(step->objective_rad, sqrt(sum), 1e-3);
    check_close_rel(step->sky_rms_rad, sqrt(sky2), 1e-3);
    check_close_rel(step->encoder_rms_rad, sqrt(encoder2), 1e-3);
}

static void reported_jitter_is_that_of_brute_force_quadrature(void **state)
{
    const struct small_axis a = small_axis();
    (void)state;
    check_quadrature(&a, &common()->step[1]);
}

/* An error of the encoder about the crossover that outweighs the wind: the design follows it less, and
 * what it reports holds it, and the ripple. */
static void bands_of_torque_and_sensor_shape_the_design(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    struct tune_design_step without;
    (void)state;
    a.disturbance.n_bands = 2;
    a.disturbance.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.02, 0.3, 2.0};
    a.disturbance.band[1] = (struct tune_band){TUNE_BAND_SENSOR, 5.0, 30.0, 5e-6};
    assert_int_equal(
        tune_design_controller(&design, a.plant, a.name, 2, &a.disturbance, &a.opts, NULL, NULL),
        TUNE_OK);
    check_quadrature(&a, &design.step[1]);
    assert_int_equal(tune_design_appraise(&without, &common()->step[1].controller, a.plant, a.name,
                                          2, &a.disturbance, &a.opts, NULL),
                     TUNE_OK);
    check_quadrature(&a, &without);
    assert_true(design.step[1].objective_rad < 0.97 * without.objective_rad);
}

static void check_same_step(const struct tune_design_step *a, const struct tune_design_step *b)
{
    check_close(a->objective_rad, b->objective_rad, 0.0);
    check_close(a->encoder_rms_rad, b->encoder_rms_rad, 0.0);
    check_close(a->sky_rms_rad, b->sky_rms_rad, 0.0);
    check_close(a->noise_torque_rms_nm, b->noise_torque_rms_nm, 0.0);
    check_close(a->sens_peak, b->sens_peak, 0.0);
    assert_true(a->feasible == b->feasible);
}

static void appraisal_of_a_design_is_its_own_report(void **state)
{
    const struct small_axis a = small_axis();
    (void)state;
    for (size_t n = 0; n < common()->n_steps; n++) {
        struct tune_design_step again;
        assert_int_equal(tune_design_appraise(&again, &common()->step[n].controller, a.plant,
                                              a.name, 2, &a.disturbance, &a.opts, NULL),
                         TUNE_OK);
        check_same_step(&again, &common()->step[n]);
    }
}

/* The noise of one sample is the same whether the quiet log kept every sample or every second one: at
 * half the rate its density is twice as high over half the band. */
static void the_rate_of_the_quiet_log_does_not_weigh_on_the_design(void **state)
{
    const struct small_axis a = small_axis();
    struct tune_disturbance slower = a.disturbance;
    struct tune_design_step step;
    (void)state;
    slower.rate_hz *= 0.5;
    slower.sensor_psd *= 2.0;
    assert_true(slower.sensor_psd > 0.0);
    assert_int_equal(tune_design_appraise(&step, &common()->step[0].controller, a.plant, a.name, 2,
                                          &slower, &a.opts, NULL),
                     TUNE_OK);
    check_same_step(&step, &common()->step[0]);
}

static void more_biquads_are_never_worse(void **state)
{
    (void)state;
    for (size_t n = 1; n < common()->n_steps; n++)
        assert_true(common()->step[n].objective_rad < common()->step[n - 1].objective_rad);
    assert_true(common()->recommended < common()->n_steps);
}

static void binding_names_limit_pointing_and_frequency(void **state)
{
    const char *text = common()->step[0].binding;
    (void)state;
    assert_true(strstr(text, "peak sensitivity") || strstr(text, "noise torque"));
    assert_true(strstr(text, " at low") || strstr(text, " at high"));
    assert_true(strstr(text, "noise torque") || strstr(text, " Hz"));
}

static void threads_do_not_change_the_design(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    (void)state;
    a.opts.threads = 2;
    assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    assert_int_equal(design.n_steps, common()->n_steps);
    for (size_t n = 0; n < design.n_steps; n++) {
        const struct tune_controller *c = &design.step[n].controller;
        const struct tune_controller *want = &common()->step[n].controller;
        check_same_step(&design.step[n], &common()->step[n]);
        assert_string_equal(design.step[n].binding, common()->step[n].binding);
        check_close(c->kp_nm_per_rad, want->kp_nm_per_rad, 0.0);
        check_close(c->lowpass_hz, want->lowpass_hz, 0.0);
        assert_memory_equal(c->biquad, want->biquad, n * sizeof c->biquad[0]);
    }
}

/* On a body a hundred times heavier and a clock half as fast, torques 100/4 times larger make the same
 * angles. The solver walks alike too, up to where rounding stops it. */
static void design_scales_with_inertia_and_time(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design, plain;
    const struct tune_design_step *want = &plain.step[0];
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    assert_int_equal(run(&plain, &a, NULL), TUNE_OK);
    a.opts.noise_torque_rms_nm *= 100.0 / 4.0;
    /* torque^2 per Hz: the same power in half the bandwidth */
    a.disturbance = tune_disturbance_stated(100.0 / 4.0, 0.1, 0.01 * 100.0 / 4.0 * sqrt(2.0),
                                            a.opts.sensor_noise_rad, 500.0);
    for (size_t p = 0; p < 2; p++) {
        a.plant[p].inertia_kg_m2 *= 100.0;
        a.plant[p].viscous_nm_s_per_rad *= 50.0;
        a.plant[p].loop_rate_hz = 500.0;
        a.plant[p].delay_s *= 2.0;
        for (size_t k = 0; k < 3; k++)
            a.plant[p].mode[k].f_hz *= 0.5;
    }
    assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    /* model: where the solver stops, 5e-4 of the objective a round */
    check_close_rel(design.step[0].objective_rad, want->objective_rad, 5e-3);
    check_close_rel(design.step[0].controller.kp_nm_per_rad,
                    100.0 / 4.0 * want->controller.kp_nm_per_rad, 0.1);
}

static void without_payload_the_line_of_sight_is_the_encoder(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design_step step;
    (void)state;
    for (size_t p = 0; p < 2; p++)
        for (size_t k = 0; k < 3; k++)
            a.plant[p].mode[k].payload_ratio = nan("");
    assert_int_equal(tune_design_appraise(&step, &common()->step[1].controller, a.plant, a.name, 2,
                                          &a.disturbance, &a.opts, NULL),
                     TUNE_OK);
    /* rounding: G_d - G R G_d against G_d S loses 1/|S| digits at the lowest frequencies */
    check_close_rel(step.sky_rms_rad, step.encoder_rms_rad, 1e-6);
}

static void each_objective_wins_in_its_own_figure(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design sky, encoder;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    assert_int_equal(run(&sky, &a, NULL), TUNE_OK);
    a.opts.encoder_objective = true;
    assert_int_equal(run(&encoder, &a, NULL), TUNE_OK);
    assert_true(encoder.step[0].feasible && sky.step[0].feasible);
    assert_true(encoder.step[0].encoder_rms_rad < sky.step[0].encoder_rms_rad);
    assert_true(encoder.step[0].sky_rms_rad > sky.step[0].sky_rms_rad);
}

static void margins_of_the_logbook_are_met(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    a.opts.phase_margin_rad = 45.0 * TUNE_RAD_PER_DEG;
    a.opts.gain_margin = 2.8;
    a.opts.gain_reduction_margin = 8.0;
    assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    for (size_t p = 0; p < 2; p++) {
        const struct tune_controller *c = &design.step[0].controller;
        struct tune_margins m;
        bool stable;
        assert_int_equal(tune_loop_judge(&m, &stable, &a.plant[p], c, NULL), TUNE_OK);
        assert_true(stable);
        assert_true(m.phase_margin_rad >= a.opts.phase_margin_rad);
        assert_true(m.gain_margin >= 2.8 && m.gain_reduction_margin >= 8.0);
    }
}

static void gain_stabilised_loops_roll_off(void **state)
{
    struct small_axis a = small_axis();
    struct tune_design design;
    (void)state;
    a.opts.max_biquads = 0;
    a.opts.mode_shift = 0.0;
    a.opts.gain_stabilised_above_hz = 40.0;
    assert_int_equal(run(&design, &a, NULL), TUNE_OK);
    for (size_t p = 0; p < 2; p++)
        for (double f_hz = 40.0; f_hz < 499.0; f_hz *= 1.0005) {
            double complex g, c;
            tune_plant_eval(&g, &a.plant[p], TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
            tune_controller_eval(&c, &design.step[0].controller, &f_hz, 1);
            /* model: the peak of a mode between points a fifth of its half width apart */
            check_between(cabs(g * c), 0.0, 0.5 * 1.01);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_demand_is_kept_on_every_pointing_and_shift),
        cmocka_unit_test(rungs_between_are_stable_by_their_eigenvalues),
        cmocka_unit_test(reported_jitter_is_that_of_brute_force_quadrature),
        cmocka_unit_test(bands_of_torque_and_sensor_shape_the_design),
        cmocka_unit_test(appraisal_of_a_design_is_its_own_report),
        cmocka_unit_test(the_rate_of_the_quiet_log_does_not_weigh_on_the_design),
        cmocka_unit_test(more_biquads_are_never_worse),
        cmocka_unit_test(binding_names_limit_pointing_and_frequency),
        cmocka_unit_test(threads_do_not_change_the_design),
        cmocka_unit_test(design_scales_with_inertia_and_time),
        cmocka_unit_test(without_payload_the_line_of_sight_is_the_encoder),
        cmocka_unit_test(each_objective_wins_in_its_own_figure),
        cmocka_unit_test(margins_of_the_logbook_are_met),
        cmocka_unit_test(gain_stabilised_loops_roll_off),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
