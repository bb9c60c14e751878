/* test_sensor.c - the response of a second sensor, and how it reads.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "plant/sensor_case.h"

static struct tune_plant with_quadrature(void)
{
    struct tune_plant plant = payload_axis();
    plant.complex_residues = true;
    for (size_t k = 0; k < plant.n_modes; k++)
        plant.mode[k].gain_quadrature = 0.3 * plant.mode[k].gain;
    return plant;
}

static void an_angle_is_the_response_of_the_payload(void **state)
{
    const struct tune_plant axis[] = {payload_axis(), with_quadrature()};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        double phi[SENSOR_PARAMS_MAX];
        const struct sensor_model model = model_of(&axis[i], false, phi);
        for (double f = 0.5; f < 1990.0; f *= 1.31) {
            double complex h, g;
            tune_sensor_eval(&h, NULL, &model, phi, &f, 1);
            tune_plant_eval(&g, &axis[i], TUNE_PATH_MOTOR_PAYLOAD, &f, 1);
            check_close(cabs(h / g - 1.0), 0.0, 1e-9); /* rounding, cancelling modes */
        }
    }
}

/* A smaller delay shows the angle a little later: the second difference over delays is the acceleration,
 * as long as no step of the torque lies between. Error h^2/12 times the fourth derivative, beside rounding
 * of 1e-16/h^2; with w T <= 0.4 and h = 0.003 T, below 1e-6 and 2e-6 of the parts that make it up. */
static void an_acceleration_is_the_second_difference_of_angles_over_delays(void **state)
{
    const struct tune_plant axis = payload_axis();
    const double step = 0.003 / axis.loop_rate_hz;
    double phi[SENSOR_PARAMS_MAX];
    const struct sensor_model model = model_of(&axis, true, phi);
    (void)state;
    for (double f = 2.0; f < 250.0; f *= 1.27) {
        struct tune_plant early = axis, late = axis;
        double complex h, g[3];
        early.delay_s -= step;
        late.delay_s += step;
        tune_sensor_eval(&h, NULL, &model, phi, &f, 1);
        tune_plant_eval(&g[0], &early, TUNE_PATH_MOTOR_PAYLOAD, &f, 1);
        tune_plant_eval(&g[1], &axis, TUNE_PATH_MOTOR_PAYLOAD, &f, 1);
        tune_plant_eval(&g[2], &late, TUNE_PATH_MOTOR_PAYLOAD, &f, 1);
        const double complex second = (g[0] - 2.0 * g[1] + g[2]) / (step * step);
        const double rounding = 1e-14 * cabs(g[1]) / (step * step);
        check_close(cabs(h - second), 0.0, 1e-5 / axis.inertia_kg_m2 + rounding);
    }
}

static void derivatives_are_those_of_the_response(void **state)
{
    const struct tune_plant axis = with_quadrature();
    (void)state;
    for (int acceleration = 0; acceleration < 2; acceleration++) {
        double phi[SENSOR_PARAMS_MAX];
        struct sensor_model model = model_of(&axis, acceleration, phi);
        double complex h, high, low, jac[SENSOR_PARAMS_MAX];
        model.hold_s = 8.0 * model.row_s;
        model.exposure_s = 1e-3;
        phi[sensor_at_late(&model)] = 0.7;
        phi[sensor_at_tilt(&model)] = acceleration ? 3.0 : 0.0;
        for (double f = 3.0; f < 300.0; f *= 2.3) {
            tune_sensor_eval(&h, jac, &model, phi, &f, 1);
            for (size_t k = 0; k < model.p - (acceleration ? 0 : 1); k++) {
                const double was = phi[k], step = 1e-6 * fmax(fabs(was), 0.1);
                phi[k] = was + step;
                tune_sensor_eval(&high, NULL, &model, phi, &f, 1);
                phi[k] = was - step;
                tune_sensor_eval(&low, NULL, &model, phi, &f, 1);
                phi[k] = was;
                /* of two differences: the error of the coarser, and rounding */
                check_close(cabs(jac[k] - (high - low) / (2.0 * step)) / cabs(h), 0.0,
                            1e-5 * cabs(jac[k] / h) + 1e-8);
            }
        }
    }
}

/* Rows that repeat: the transform of the stairs over that of the readings, summed directly. */
static void a_reading_that_stands_is_delayed_and_weakened(void **state)
{
    enum { ROWS = 40 };
    const struct tune_plant axis = payload_axis();
    double phi[SENSOR_PARAMS_MAX];
    struct sensor_model model = model_of(&axis, false, phi);
    (void)state;
    model.hold_s = ROWS * model.row_s;
    for (double f = 1.0; f < 40.0; f *= 1.7) {
        double complex sum = 0.0;
        for (int i = 0; i < ROWS; i++)
            sum += cexp(CMPLX(0.0, -2.0 * TUNE_PI * f * (double)i * model.row_s)) / ROWS;
        check_close(cabs(tune_sensor_reading(&model, phi, f) - sum), 0.0, 1e-12); /* rounding */
    }
}

static void rows_that_repeat_are_counted(void **state)
{
    double x[1000];
    (void)state;
    for (size_t i = 0; i < 1000; i++)
        x[i] = sin(0.37 * (double)(i / 20));
    assert_int_equal(tune_sensor_hold_rows(x, 1000), 20);
    for (size_t i = 0; i < 1000; i++)
        x[i] = sin(0.37 * (double)i);
    assert_int_equal(tune_sensor_hold_rows(x, 1000), 1);
    /* coarse steps of a slow angle now and then are no hold */
    for (size_t i = 0; i < 1000; i++)
        x[i] = i % 50 < 10 ? 1.0 : (double)i;
    assert_int_equal(tune_sensor_hold_rows(x, 1000), 1);
}

static void sources_have_names(void **state)
{
    (void)state;
    assert_string_equal(tune_payload_source_name(TUNE_PAYLOAD_LOAD_ENCODER), "load encoder");
    assert_string_equal(tune_payload_source_name(TUNE_PAYLOAD_ASSUMED), "assumed");
    assert_string_equal(tune_payload_source_name((enum tune_payload_source)99), "unknown");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_angle_is_the_response_of_the_payload),
        cmocka_unit_test(an_acceleration_is_the_second_difference_of_angles_over_delays),
        cmocka_unit_test(derivatives_are_those_of_the_response),
        cmocka_unit_test(a_reading_that_stands_is_delayed_and_weakened),
        cmocka_unit_test(rows_that_repeat_are_counted),
        cmocka_unit_test(sources_have_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
