/* test_sensor_estimate.c - payload ratios from a second sensor.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/sensed.h"

static void without_noise_the_ratios_come_back(void **state)
{
    const enum tune_payload_source kind[] = {TUNE_PAYLOAD_LOAD_ENCODER, TUNE_PAYLOAD_ACCELEROMETER};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct sensed s;
        sense(&s, kind[i], 0.0, 3);
        assert_int_equal(s.sensor.n_modes, 5);
        for (size_t k = 0; k < 5; k++)
            check_close(s.sensor.ratio[k].value, ratio_of[k], 1e-5); /* where the search stops */
        check_close(s.sensor.gain_sum.value, -1.0, 1e-5);
        check_close_rel(s.sensor.late_s.value, late_periods / 4000.0, 1e-4);
        if (kind[i] == TUNE_PAYLOAD_ACCELEROMETER) {
            check_close_rel(s.sensor.scale.value, -1.3, 1e-5);
            check_close(s.sensor.tilt.value, 4.0, 1e-2);
        }
        sensed_free(&s);
    }
}

/* E[e e^H] of the lines second_lines() makes, and from it beta, the variance beyond the encoder, and
 * that of the encoder. */
static void true_noise(double complex *beta, double *var, double *power1,
                       const struct tune_plant *plant, double f)
{
    static const enum tune_path path[2][2] = {
        {TUNE_PATH_DRIVE_ENCODER, TUNE_PATH_DRIVE_PAYLOAD},
        {TUNE_PATH_PAYLOAD_ENCODER, TUNE_PATH_PAYLOAD_PAYLOAD}};
    const double power[2] = {2000.0 * 0.0025, 2000.0 * 18.0 * pow(1.0 + 25.0 * f * f, -5.0 / 6.0)};
    double s11 = 2.25e-16, s22 = 2.25e-16;
    double complex s21 = 0.0;
    for (int i = 0; i < 2; i++) {
        double complex a, b;
        tune_plant_eval(&a, plant, path[i][0], &f, 1);
        tune_plant_eval(&b, plant, path[i][1], &f, 1);
        s11 += creal(a * conj(a)) * power[i];
        s22 += creal(b * conj(b)) * power[i];
        s21 += b * conj(a) * power[i];
    }
    *power1 = s11;
    *beta = s21 / s11;
    *var = s22 - creal(s21 * conj(s21)) / s11;
}

/* Means over the lines: of var over the truth, and of what an error of beta leaves, |error|^2 s11 over var. */
static void noise_errors(double *ratio, double *left, uint64_t seed)
{
    const struct tune_plant plant = payload_axis();
    double phi[SENSOR_PARAMS_MAX];
    const struct sensor_model model = model_of(&plant, false, phi);
    struct synthetic data;
    struct tune_lines second;
    struct sensor_data pairs;
    struct tune_error err;
    synthetic_sweep(&data, &plant, &short_sweep, 1.0, 1.0, seed);
    second = second_lines(&data, &plant, &model, phi, 1.0, 15e-9, seed);
    assert_int_equal(tune_sensor_take(&pairs, &data.lines, &second, 1e9, &err), TUNE_OK);
    assert_int_equal(pairs.n, data.lines.n);
    assert_int_equal(tune_sensor_noise(&pairs, &model, phi, NULL, &err), TUNE_OK);
    *ratio = *left = 0.0;
    for (size_t i = 0; i < pairs.n; i++) {
        double complex beta;
        double var, s11;
        true_noise(&beta, &var, &s11, &plant, pairs.f_hz[i]);
        assert_true(pairs.paired[i]);
        *ratio += pairs.var[i] / var / (double)pairs.n;
        *left += pow(cabs(pairs.beta[i] - beta), 2.0) * s11 / var / (double)pairs.n;
    }
    tune_sensor_data_free(&pairs);
    free_second(&second);
    synthetic_free(&data);
}

/* Statistical: var comes from windows of 51 lines and more, some 50 of them, each known to 14 %: its mean is to
 * 2 %, 4.5 std. 13 sources fitted to some 3000 lines leave 13/3000 where every one of them counts; over 12
 * seeds it was 0.0005 and less. */
static void what_the_encoder_foretells_of_the_sensor_is_known(void **state)
{
    (void)state;
    for (uint64_t seed = 8; seed < 12; seed++) {
        double ratio, left;
        noise_errors(&ratio, &left, seed);
        check_close(ratio, 1.0, 0.09);
        check_between(left, 0.0, 13.0 / 3000.0);
    }
}

/* Statistical: 5 ratios and their sum of so many runs, all within 4.5 sigma (7e-6 each), and their mean
 * square within 4 sigma of 1. */
static void errors_are_what_the_stds_say(void **state)
{
    const size_t runs = 3 * check_multiplier();
    const enum tune_payload_source kind[] = {TUNE_PAYLOAD_LOAD_ENCODER, TUNE_PAYLOAD_ACCELEROMETER};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        double square = 0.0;
        for (size_t run = 0; run < runs; run++) {
            struct sensed s;
            sense(&s, kind[i], 1.0, 20 + run);
            for (size_t k = 0; k < 5; k++) {
                const double z = (s.sensor.ratio[k].value - ratio_of[k]) / s.sensor.ratio[k].std;
                check_close(z, 0.0, 4.5);
                square += z * z / (5.0 * (double)runs);
            }
            check_close(s.sensor.gain_sum.value, -1.0, 4.5 * s.sensor.gain_sum.std);
            check_close(s.sensor.late_s.value, late_periods / 4000.0, 4.5 * s.sensor.late_s.std);
            sensed_free(&s);
        }
        check_close(square, 1.0, 4.0 * sqrt(2.0 / (5.0 * (double)runs)));
    }
}

/* Of records whose encoder gave other lines: every second one, and none at all. */
static void lines_without_their_pair_count_by_themselves(void **state)
{
    const struct tune_sensor_opts opts = tune_sensor_defaults(TUNE_PAYLOAD_LOAD_ENCODER, 1.0);
    struct sensed s;
    (void)state;
    sense(&s, TUNE_PAYLOAD_LOAD_ENCODER, 1.0, 31);
    for (int every = 0; every < 2; every++) {
        struct tune_sensor alone;
        struct tune_error err;
        struct tune_lines other = s.data.lines; /* of another torque */
        double complex *u = malloc(other.n * sizeof *u);
        assert_non_null(u);
        for (size_t i = 0; i < other.n; i++)
            u[i] = (every || i % 2) ? -other.u[i] : other.u[i];
        other.u = u;
        assert_int_equal(tune_sensor_estimate(&alone, &s.fit, &other, &s.second, &opts, &err),
                         TUNE_OK);
        /* the noise is the same all the same, so that stds are but near what they should be */
        for (size_t k = 0; k < 5; k++) {
            check_close(alone.ratio[k].value, ratio_of[k], 0.1);
            check_between(alone.ratio[k].std, 0.3 * s.sensor.ratio[k].std, 0.1);
        }
        tune_sensor_free(&alone);
        free(u);
    }
    sensed_free(&s);
}

/* The image of a camera shows the first mode, and nothing of those past 0.4 of its rate. */
static void a_slow_camera_tells_the_lowest_mode_alone(void **state)
{
    const struct tune_plant plant = payload_axis();
    struct tune_sensor_opts opts = tune_sensor_defaults(TUNE_PAYLOAD_SKY, 1.0);
    const struct tune_fit_opts fit_opts = tune_fit_defaults(plant.loop_rate_hz);
    struct synthetic data;
    struct tune_fit fit;
    struct tune_sensor sensor;
    struct tune_error err;
    double phi[SENSOR_PARAMS_MAX];
    struct sensor_model model = model_of(&plant, false, phi);
    struct tune_lines second;
    (void)state;
    opts.hold_s = model.hold_s = 0.02;
    opts.exposure_s = model.exposure_s = 0.018;
    synthetic_sweep(&data, &plant, &short_sweep, 1.0, 1.0, 5);
    second = second_lines(&data, &plant, &model, phi, 1.0, 1e-7, 5);
    assert_int_equal(tune_fit_plant(&fit, &data.frf, &data.lines, &fit_opts, NULL, &err), TUNE_OK);
    assert_int_equal(tune_sensor_estimate(&sensor, &fit, &data.lines, &second, &opts, &err),
                     TUNE_OK);
    check_close(sensor.ratio[0].value, -3.0, 4.5 * sensor.ratio[0].std); /* statistical */
    check_between(sensor.ratio[0].std, 0.0, 0.2);
    assert_true(isnan(sensor.ratio[3].value) && isnan(sensor.ratio[4].value));
    assert_true(isnan(sensor.gain_sum.value));
    check_between(sensor.band_hz[1], 15.0, 20.0);
    tune_sensor_free(&sensor);
    tune_fit_free(&fit);
    free_second(&second);
    synthetic_free(&data);
}

/* The sensor described with another sign or unit: the scale that it shows is the true one, -1.3 or 1, whatever was
 * stated. Statistical, 4.5 sigma; the lowest octave alone is some percent off, so that the fit must go on from it. */
static void a_scale_that_is_stated_wrong_is_told_by_the_rigid_body(void **state)
{
    static const double stated_over_true[] = {-1.0, 9.80665, 1.0 / 9.80665, -3.0, 1.0};
    const enum tune_payload_source kind[] = {TUNE_PAYLOAD_LOAD_ENCODER, TUNE_PAYLOAD_ACCELEROMETER};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct sensed s;
        const double scale = i ? -1.3 : 1.0;
        sense(&s, kind[i], 1.0, 41 + i);
        for (size_t k = 0; k < sizeof stated_over_true / sizeof *stated_over_true; k++) {
            const struct tune_sensor_opts opts =
                tune_sensor_defaults(kind[i], scale * stated_over_true[k]);
            struct tune_sensor loose;
            struct tune_error err;
            assert_int_equal(
                tune_sensor_estimate_free(&loose, &s.fit, &s.data.lines, &s.second, &opts, &err),
                TUNE_OK);
            check_close(loose.scale.value, scale, 4.5 * loose.scale.std);
            check_between(loose.scale.std, 0.0, 0.05 * fabs(scale));
            for (size_t m = 0; m < 2; m++)
                check_close(loose.ratio[m].value, ratio_of[m], 4.5 * loose.ratio[m].std);
            tune_sensor_free(&loose);
        }
        sensed_free(&s);
    }
}

static void a_sensor_that_shows_nothing_has_no_scale(void **state)
{
    const struct tune_sensor_opts opts = tune_sensor_defaults(TUNE_PAYLOAD_LOAD_ENCODER, 1.0);
    struct sensed s;
    struct tune_sensor loose;
    struct tune_error err;
    struct tune_random rng;
    (void)state;
    sense(&s, TUNE_PAYLOAD_LOAD_ENCODER, 1.0, 43);
    tune_random_init(&rng, 5, 0);
    for (size_t i = 0; i < s.second.n; i++)
        s.second.y[i] = normal_pair(&rng, s.second.var_y[i]);
    assert_int_equal(
        tune_sensor_estimate_free(&loose, &s.fit, &s.data.lines, &s.second, &opts, &err),
        TUNE_ENOSOL);
    assert_null(loose.covariance);
    sensed_free(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_noise_the_ratios_come_back),
        cmocka_unit_test(what_the_encoder_foretells_of_the_sensor_is_known),
        cmocka_unit_test(errors_are_what_the_stds_say),
        cmocka_unit_test(lines_without_their_pair_count_by_themselves),
        cmocka_unit_test(a_scale_that_is_stated_wrong_is_told_by_the_rigid_body),
        cmocka_unit_test(a_sensor_that_shows_nothing_has_no_scale),
        cmocka_unit_test(a_slow_camera_tells_the_lowest_mode_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
