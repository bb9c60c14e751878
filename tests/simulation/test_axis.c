/* test_axis.c - the axis in the time domain against its own equations and the sampled response.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "plant/sensor_internal.h"
#include "simulation/axis.h"

/* A quick axis: everything dies away within seconds. */
static struct tune_axis quick_axis(void)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant.inertia_kg_m2 = 2.0;
    axis.plant.viscous_nm_s_per_rad = 0.3;
    axis.plant.loop_rate_hz = 1000.0;
    axis.plant.n_modes = 3;
    axis.plant.mode[0] = (struct tune_mode){15.0, 0.03, 0.3, -3.0, 0.0};
    axis.plant.mode[1] = (struct tune_mode){62.0, 0.02, 0.08, 0.5, 0.0};
    axis.plant.mode[2] = (struct tune_mode){140.0, 0.02, -0.04, NAN, 0.0};
    return axis;
}

/* Well damped around 2 kg m^2, no integrator: at rest again within seconds of a push. */
static struct tune_controller quick_controller(void)
{
    struct tune_controller c = tune_controller_defaults(1000.0);
    c.kp_nm_per_rad = 300.0;
    c.kd_nm_s_per_rad = 30.0;
    c.derivative_filter_hz = 200.0;
    return c;
}

static struct tune_axis_trace simulated(const struct tune_axis *axis,
                                        const struct tune_axis_run *run)
{
    struct tune_axis_trace trace;
    struct tune_error err;
    if (tune_axis_simulate(&trace, axis, run, NULL, &err)) fail_msg("%s", err.text);
    return trace;
}

static double complex turn(double angle_rad)
{
    return CMPLX(cos(angle_rad), sin(angle_rad));
}

static double complex transform(const double *x, size_t n, double f_hz, double rate_hz)
{
    double complex sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * turn(-2.0 * TUNE_PI * f_hz * (double)i / rate_hz);
    return sum;
}

static double mean_square(const double *x, const double *y, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += (x[i] - y[i]) * (x[i] - y[i]);
    return sum / (double)n;
}

/* Response of a payload that only the modes carry along, by so many times their own motion. */
static void carried(double complex *g, const struct tune_plant *plant, const double *ratio,
                    const double *f, size_t n)
{
    struct tune_plant with = *plant, without = *plant;
    double complex still[16];
    for (size_t k = 0; k < plant->n_modes; k++) {
        with.mode[k].payload_ratio = ratio[k];
        without.mode[k].payload_ratio = 0.0;
    }
    tune_plant_eval(g, &with, TUNE_PATH_MOTOR_PAYLOAD, f, n);
    tune_plant_eval(still, &without, TUNE_PATH_MOTOR_PAYLOAD, f, n);
    for (size_t i = 0; i < n; i++)
        g[i] -= still[i];
}

/* Angular acceleration of the payload. */
static void accelerated(double complex *h, const struct tune_plant *plant, const double *f,
                        size_t n)
{
    double phi[SENSOR_PARAMS_MAX];
    struct sensor_model model = {.n_theta = tune_plant_param_count(plant),
                                 .n_modes = plant->n_modes,
                                 .loop_rate_hz = plant->loop_rate_hz,
                                 .row_s = 1.0 / plant->loop_rate_hz,
                                 .acceleration = true};
    model.p = model.n_theta + model.n_modes + 3;
    tune_plant_to_params(phi, plant);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const double r = plant->mode[k].payload_ratio;
        phi[sensor_at_ratio(&model, k)] = isnan(r) ? 1.0 : r;
    }
    phi[sensor_at_late(&model)] = phi[sensor_at_tilt(&model)] = 0.0;
    phi[sensor_at_scale(&model)] = 1.0;
    tune_sensor_eval(h, NULL, &model, phi, f, n);
}

static void has_the_sampled_response(bool complex_residues)
{
    /* whole and broken delays, below and above one period; the last is not representable */
    const double delay[] = {0.0, 0.35e-3, 1e-3, 1.2e-3, 2.75e-3, 3.0 * 0.1e-2};
    const double f[] = {0.3, 2.0, 9.0, 14.9, 15.0, 40.0, 61.9, 100.0, 139.0, 260.0, 450.0};
    enum { N = 12000, F = sizeof f / sizeof *f };
    double push[N] = {0.0};
    struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {.n = N, .excitation_nm = push, .controller = &controller};
    axis.plant.complex_residues = complex_residues;
    if (complex_residues) {
        axis.plant.mode[0].gain_quadrature = 0.15;
        axis.plant.mode[1].gain_quadrature = -0.05;
        axis.plant.mode[2].gain_quadrature = 0.02;
    }
    axis.other_ratio[0] = 0.3;
    axis.other_ratio[1] = -0.1;
    axis.other_ratio[2] = 0.8;
    push[0] = 3.0;
    push[1] = -1.0;
    for (size_t k = 0; k < sizeof delay / sizeof *delay; k++) {
        struct tune_axis_trace trace;
        double complex g[F], g_sky[F], g_other[F], g_felt[F];
        axis.plant.delay_s = delay[k];
        trace = simulated(&axis, &run);
        tune_plant_eval(g, &axis.plant, TUNE_PATH_MOTOR_ENCODER, f, F);
        tune_plant_eval(g_sky, &axis.plant, TUNE_PATH_MOTOR_PAYLOAD, f, F);
        carried(g_other, &axis.plant, axis.other_ratio, f, F);
        accelerated(g_felt, &axis.plant, f, F);
        for (size_t i = 0; i < F; i++) {
            const double complex u = transform(trace.torque_nm, N, f[i], 1000.0);
            const double complex y = transform(trace.position_rad, N, f[i], 1000.0);
            const double complex sky = transform(trace.sky_rad, N, f[i], 1000.0);
            /* rounding: of sums of 12000 terms against the small responses at 450 Hz */
            check_close(cabs(y / u / g[i] - 1.0), 0.0, 1e-9);
            check_close(cabs(sky / u / g_sky[i] - 1.0), 0.0, 5e-9);
            check_close(
                cabs(transform(trace.payload_rad_per_s2, N, f[i], 1000.0) / u / g_felt[i] - 1.0),
                0.0, 5e-9);
            check_close(cabs(transform(trace.other_rad, N, f[i], 1000.0) / u / g_other[i] - 1.0),
                        0.0, 5e-9);
        }
        assert_memory_equal(trace.position_rad, trace.true_rad, N * sizeof(double));
        tune_axis_trace_free(&trace);
    }
}

static void linear_run_has_the_sampled_response(void **state)
{
    (void)state;
    has_the_sampled_response(false);
}

static void so_it_has_with_complex_residues(void **state)
{
    (void)state;
    has_the_sampled_response(true);
}

static void substeps_do_not_change_a_linear_run(void **state)
{
    enum { N = 2000 };
    double push[N] = {2.0};
    struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {.n = N, .excitation_nm = push, .controller = &controller};
    struct tune_axis_trace one, many;
    (void)state;
    axis.plant.delay_s = 1.3e-3;
    axis.ripple_nm = 1e-300; /* no torque to speak of, but followed step by step */
    axis.substeps = 1;
    one = simulated(&axis, &run);
    axis.substeps = 17;
    many = simulated(&axis, &run);
    for (size_t i = 0; i < N; i++)
        check_close(one.position_rad[i], many.position_rad[i], 1e-15); /* rounding, of 1e-3 rad */
    tune_axis_trace_free(&one);
    tune_axis_trace_free(&many);
}

static void quantisation_of_a_26_bit_ring(void **state)
{
    enum { N = 200000 };
    const double step = 2.0 * TUNE_PI / (1 << 26);
    struct tune_axis axis = tune_axis_defaults();
    /* golden-section steps per sample: the phase within a step fills evenly */
    const struct tune_axis_run run = {.n = N,
                                      .start_rad_per_s = 1000.0 * step * (sqrt(5.0) - 1.0) / 2.0};
    struct tune_axis_trace trace;
    (void)state;
    axis.encoder_step_rad = step;
    trace = simulated(&axis, &run);
    /* step/sqrt(12): W. R. Bennett, Bell Syst. Tech. J. 27, 1948 (from memory). 26 bits: step
     * 0.019311905 arcsec, rms 0.005574867 arcsec */
    check_close(tune_arcsec_from_rad(step), 0.019311905, 1e-9);
    check_close_rel(tune_arcsec_from_rad(sqrt(mean_square(trace.position_rad, trace.true_rad, N))),
                    0.005574867, 1e-4); /* model: N evenly spread phases instead of a continuum */
    tune_axis_trace_free(&trace);
}

static void encoder_noise_is_gaussian_in_two_axes(void **state)
{
    enum { N = 200000 };
    const double sigma = 2.5e-8;
    struct tune_axis axis = tune_axis_defaults();
    struct tune_axis_run run = {.n = N, .seed = 3};
    struct tune_axis_trace x, y;
    size_t within_fwhm = 0, within_cep = 0, within_95 = 0;
    double radial = 0.0;
    (void)state;
    axis.encoder_noise_rad = sigma;
    x = simulated(&axis, &run);
    run.stream = 1;
    y = simulated(&axis, &run);
    for (size_t i = 0; i < N; i++) {
        const double r = hypot(x.position_rad[i], y.position_rad[i]) / sigma;
        radial += r / N;
        within_fwhm += fabs(x.position_rad[i]) / sigma < 2.3548200 / 2.0;
        within_cep += r < 1.1774100;
        within_95 += r < 2.4477468;
    }
    /* full width at half maximum, median, mean and 95 % of the radius, in sigma: 2.3548200,
     * 1.1774100, 1.2533141, 2.4477468 (identities of the normal and the Rayleigh distribution).
     * Statistical, 5 sigma: a share p has std sqrt(p(1-p)/N), the mean radius sqrt((4-pi)/2/N) */
    check_close((double)within_cep / N, 0.5, 5.0 * sqrt(0.25 / N));
    check_close((double)within_95 / N, 0.95, 5.0 * sqrt(0.95 * 0.05 / N));
    check_close((double)within_fwhm / N, erf(2.3548200 / 2.0 / sqrt(2.0)),
                5.0 * sqrt(0.76 * 0.24 / N));
    check_close(radial, 1.2533141, 5.0 * sqrt((4.0 - TUNE_PI) / 2.0 / N));
    tune_axis_trace_free(&x);
    tune_axis_trace_free(&y);
}

/* In closed loop: the error follows the true angle, and the controller answers to it at the line's
 * frequency, lines times turns per second. */
static void interpolation_error_is_in_the_loop(void **state)
{
    enum { N = 8000 };
    const double lines = 3600.0, line_hz = 30.0, v = 2.0 * TUNE_PI * line_hz / lines;
    const double amplitude[] = {2e-6, -1e-6, 0.0, 5e-7};
    double target[N], torque_nm[2];
    double complex c, g;
    struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {
        .n = N, .target_rad = target, .controller = &controller, .start_rad_per_s = v};
    (void)state;
    for (size_t i = 0; i < N; i++)
        target[i] = v * (double)i / 1000.0;
    for (int on = 0; on < 2; on++) {
        struct tune_axis_trace trace;
        axis.encoder_lines_per_turn = lines;
        for (size_t k = 0; k < 4; k++)
            axis.interpolation_rad[k] = on ? amplitude[k] : 0.0;
        trace = simulated(&axis, &run);
        for (size_t i = 0; i < N; i++) {
            const double phase = lines * trace.true_rad[i];
            const double error = amplitude[0] * sin(phase) + amplitude[1] * sin(2.0 * phase) +
                                 amplitude[3] * sin(4.0 * phase);
            /* rounding of angles of 0.4 rad */
            check_close(trace.position_rad[i] - trace.true_rad[i], on ? error : 0.0, 1e-15);
        }
        torque_nm[on] = cabs(transform(trace.torque_nm + N / 2, N / 2, line_hz, 1000.0)) * 4.0 / N;
        tune_axis_trace_free(&trace);
    }
    tune_controller_eval(&c, &controller, &line_hz, 1);
    tune_plant_eval(&g, &axis.plant, TUNE_PATH_MOTOR_ENCODER, &line_hz, 1);
    assert_true(torque_nm[0] < 1e-9);
    /* model: the motion that the error itself makes shifts its phase, lines 2e-6 = 0.7 % */
    check_close_rel(torque_nm[1], amplitude[0] * cabs(c / (1.0 + c * g)), 0.01);
}

static void drive_noise_moves_an_inertia_as_it_should(void **state)
{
    /* held white torque of variance d^2 rate/2 on J: speed differences of variance that T^2/J^2 */
    enum { N = 100000 };
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_axis_run run = {.n = N, .seed = 5};
    struct tune_axis_trace trace;
    double sum = 0.0, want;
    (void)state;
    axis.drive_noise_nm_per_rthz = 0.3;
    trace = simulated(&axis, &run);
    /* second differences of angle: T^2/2 (t[i] + t[i-1])/J, variance T^4/4 2 var(t)/J^2 */
    for (size_t i = 2; i < N; i++) {
        const double d = trace.true_rad[i] - 2.0 * trace.true_rad[i - 1] + trace.true_rad[i - 2];
        sum += d * d;
    }
    want = 0.5 * 1e-12 * 0.3 * 0.3 * 1000.0 / 2.0;
    /* statistical, 5 sigma: correlation 1/2 of neighbours makes the variance (2 + 1)/N */
    check_close_rel(sum / (N - 2), want, 5.0 * sqrt(3.0 / N));
    tune_axis_trace_free(&trace);
}

static void coulomb_friction_stops_a_sliding_body_where_it_should(void **state)
{
    enum { N = 8000 };
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_axis_run run = {.n = N, .start_rad_per_s = 0.02};
    struct tune_axis_trace trace;
    (void)state;
    axis.plant.inertia_kg_m2 = 100.0;
    axis.friction = (struct tune_friction){.coulomb_nm = 0.5,
                                           .breakaway_nm = 0.5,
                                           .stribeck_rad_per_s = 1e-3,
                                           .bristle_nm_per_rad = 5e4,
                                           .bristle_nm_s_per_rad = 300.0};
    trace = simulated(&axis, &run);
    for (size_t i = 0; i < 3990; i++) {
        /* v0 t - (Fc/J) t^2/2; model: bristles leave the steady curve only near the stop */
        const double t = (double)i / 1000.0;
        check_close(trace.true_rad[i], 0.02 * t - 0.5 / 100.0 * t * t / 2.0, 2e-7);
        check_close(trace.friction_nm[i], 0.5, 1e-6);
    }
    /* it comes to rest at v0^2 J/(2 Fc) = 0.04 rad, within the bristles' 10 microradian */
    check_close(trace.true_rad[N - 1], 0.04, 1.1e-5);
    check_close(trace.true_rad[N - 1], trace.true_rad[N - 500], 1e-7);
    tune_axis_trace_free(&trace);
}

static void breakaway_falls_with_the_rate_of_the_push(void **state)
{
    /* 1 kg, Table I of Canudas de Wit et al., IEEE TAC 40(3), 1995; break-away torques for ramps of
     * 1, 2, 5, 10, 20, 50 N/s found by a stiff integrator to 1e-9 (the paper plots this curve) */
    static const double rate[] = {1, 2, 5, 10, 20, 50},
                        want[] = {1.43241, 1.39441, 1.31321, 1.21995, 1.09861, 1.00747};
    struct tune_axis axis = tune_axis_defaults();
    (void)state;
    axis.plant.loop_rate_hz = 4000.0;
    axis.friction = (struct tune_friction){1.0, 1.5, 0.001, 1e5, sqrt(1e5), 0.4};
    axis.substeps = 10;
    for (size_t k = 0; k < sizeof rate / sizeof *rate; k++) {
        const size_t n = (size_t)(4000.0 * (3.0 / rate[k] + 0.2));
        double *push = malloc(n * sizeof *push), most = 0.0;
        struct tune_axis_run run = {.n = n, .excitation_nm = push};
        struct tune_axis_trace trace;
        assert_non_null(push);
        for (size_t i = 0; i < n; i++)
            push[i] = rate[k] * (double)i / 4000.0;
        trace = simulated(&axis, &run);
        for (size_t i = 1; i < n && trace.true_rad[i] - trace.true_rad[i - 1] < 0.01 / 4000.0; i++)
            most = fmax(most, trace.friction_nm[i]);
        check_close_rel(most, want[k], 0.005); /* model: torque held over 25 microseconds */
        tune_axis_trace_free(&trace);
        free(push);
    }
}

static void finer_steps_change_a_friction_run_little(void **state)
{
    enum { N = 4000 };
    double push[N];
    struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {.n = N, .excitation_nm = push, .controller = &controller};
    struct tune_axis_trace coarse, fine;
    double zero[N] = {0.0};
    (void)state;
    axis.friction = (struct tune_friction){0.5, 0.7, 1e-3, 2e3, 5.0, 0.1};
    axis.ripple_nm = 0.1;
    axis.ripple_per_turn = 500.0;
    for (size_t i = 0; i < N; i++)
        push[i] = 2.0 * sin(2.0 * TUNE_PI * 0.7 * (double)i / 1000.0);
    coarse = simulated(&axis, &run);
    axis.substeps = 80;
    fine = simulated(&axis, &run);
    /* model: first order in the step; 1/5 ms against 1/80 ms */
    check_between(
        sqrt(mean_square(coarse.true_rad, fine.true_rad, N) / mean_square(fine.true_rad, zero, N)),
        0.0, 0.01);
    tune_axis_trace_free(&coarse);
    tune_axis_trace_free(&fine);
}

static void stiff_friction_gets_the_steps_it_needs(void **state)
{
    enum { N = 1500 };
    struct tune_axis axis = tune_axis_defaults();
    double push[N];
    const struct tune_axis_run run = {.n = N, .excitation_nm = push};
    struct tune_axis_trace usual, fine;
    (void)state;
    /* a resonance at 5 kHz under a loop of 1 kHz: five steps per period would explode */
    axis.friction = (struct tune_friction){1.0, 1.0, 1e-3, 1e9, 3e4, 0.0};
    for (size_t i = 0; i < N; i++)
        push[i] = fmin(0.5, 0.5 * (double)i / 1000.0);
    usual = simulated(&axis, &run);
    axis.substeps = 1000;
    fine = simulated(&axis, &run);
    assert_false(usual.diverged);
    check_close_rel(usual.true_rad[N - 1], fine.true_rad[N - 1], 0.02); /* model: first order */
    /* pushed half way to slip it stays, as on a spring: x > F/s0 for the bristles that have bent */
    check_close_rel(usual.friction_nm[N - 1], 0.5, 1e-6);
    check_between(usual.true_rad[N - 1], 0.5e-9, 1e-9);
    tune_axis_trace_free(&usual);
    tune_axis_trace_free(&fine);
}

static void ripple_follows_the_angle(void **state)
{
    enum { N = 1000 };
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_axis_run run = {.n = N, .start_rad = 1.0, .start_rad_per_s = 0.1};
    struct tune_axis_trace trace;
    (void)state;
    axis.plant.inertia_kg_m2 = 1e9;
    axis.ripple_nm = 2.0;
    axis.ripple_per_turn = 264.0;
    axis.ripple_phase_rad = 0.4;
    axis.substeps = 50;
    trace = simulated(&axis, &run);
    for (size_t i = 0; i < N; i++) /* model: mean over the period against its middle */
        check_close(trace.friction_nm[i],
                    2.0 * sin(264.0 * (1.0 + 0.1 * ((double)i + 0.5) / 1000.0) + 0.4), 1e-3);
    tune_axis_trace_free(&trace);
}

/* Heaviest side down the weight is a pendulum, cables are a spring: w = sqrt((W + k)/J). It swings about the
 * angle at which cables and offset balance. */
static void an_axis_out_of_balance_swings_like_a_pendulum(void **state)
{
    enum { N = 20000 };
    const double down = 0.3 + TUNE_PI / 2.0, w = sqrt((5.0 + 3.0) / 20.0), away = 1e-3;
    struct tune_axis axis = tune_axis_defaults();
    const struct tune_axis_run run = {.n = N, .start_rad = down + away};
    struct tune_axis_trace trace;
    (void)state;
    axis.plant.inertia_kg_m2 = 20.0;
    axis.imbalance = (struct tune_imbalance_torque){5.0, 0.3};
    axis.offset_nm = 0.2;
    axis.cable_nm_per_rad = 3.0;
    axis.cable_rest_rad = down + 0.2 / 3.0; /* pulls there with what the offset takes */
    trace = simulated(&axis, &run);
    for (size_t i = 0; i < N;
         i++) /* cubic term (5/6) x^3: 1e-7 of the swing; torque held over steps */
        check_close(trace.true_rad[i] - down, away * cos(w * (double)i / 1000.0), 2e-3 * away);
    tune_axis_trace_free(&trace);
}

static void the_weight_pulls_by_the_cosine_and_cables_rub_where_they_do(void **state)
{
    enum { N = 4000 };
    struct tune_axis axis = tune_axis_defaults();
    struct tune_axis_trace trace;
    (void)state;
    axis.plant.inertia_kg_m2 = 1e9;
    axis.friction = (struct tune_friction){2.0, 2.0, 1e-3, 1e5, 0.0, 4.0};
    axis.imbalance = (struct tune_imbalance_torque){5.0, 0.3};
    axis.offset_nm = 0.7;
    axis.drag_nm = 1.5;
    axis.drag_angle_rad = -0.4;
    for (int sign = -1; sign <= 1; sign += 2) {
        const double v = sign * 0.1;
        const struct tune_axis_run run = {.n = N, .start_rad = 1.0, .start_rad_per_s = v};
        trace = simulated(&axis, &run);
        for (size_t i = 0; i < N; i++) {
            const double at = 1.0 + v * ((double)i + 0.5) / 1000.0;
            check_close(trace.friction_nm[i],
                        sign * (2.0 + 0.75 * (1.0 + cos(at + 0.4))) + 4.0 * v + 0.7 -
                            5.0 * cos(at - 0.3),
                        1e-3);
        }
        tune_axis_trace_free(&trace);
    }
}

static void torque_never_passes_the_limit_and_is_counted(void **state)
{
    enum { N = 2000 };
    double target[N];
    struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {.n = N, .target_rad = target, .controller = &controller};
    struct tune_axis_trace trace;
    size_t at_limit = 0;
    (void)state;
    for (size_t i = 0; i < N; i++)
        target[i] = i < 100 ? 0.0 : 0.2;
    axis.torque_limit_nm = 12.0;
    trace = simulated(&axis, &run);
    for (size_t i = 0; i < N; i++) {
        assert_true(fabs(trace.torque_nm[i]) <= 12.0);
        at_limit += fabs(trace.torque_nm[i]) == 12.0;
    }
    assert_int_equal(trace.saturated, at_limit);
    check_between((double)at_limit, 20.0, 500.0);
    check_close(trace.true_rad[N - 1], 0.2, 0.01); /* it gets there nevertheless */
    tune_axis_trace_free(&trace);
}

/* Everything at once. */
static struct tune_axis busy_axis(void)
{
    struct tune_axis axis = quick_axis();
    axis.plant.delay_s = 1.2e-3;
    axis.friction = (struct tune_friction){0.05, 0.07, 1e-3, 2e3, 5.0, 0.1};
    axis.ripple_nm = 0.02;
    axis.ripple_per_turn = 264.0;
    axis.torque_limit_nm = 50.0;
    axis.encoder_step_rad = 1e-7;
    axis.encoder_noise_rad = 1e-7;
    axis.drive_noise_nm_per_rthz = 1e-3;
    axis.wind_rms_nm = 0.1;
    axis.wind_corner_hz = 0.5;
    return axis;
}

static void same_seed_same_bytes(void **state)
{
    enum { N = 3000 };
    const struct tune_axis axis = busy_axis();
    const struct tune_controller controller = quick_controller();
    struct tune_axis_run run = {
        .n = N, .controller = &controller, .seed = 11, .stream = 4, .settle = 200};
    struct tune_axis_trace a = simulated(&axis, &run), b = simulated(&axis, &run), c, d;
    (void)state;
    run.stream = 5;
    c = simulated(&axis, &run);
    run.stream = 4;
    run.seed = 12;
    d = simulated(&axis, &run);
    assert_memory_equal(a.position_rad, b.position_rad, N * sizeof(double));
    assert_memory_equal(a.torque_nm, b.torque_nm, N * sizeof(double));
    assert_memory_equal(a.true_rad, b.true_rad, N * sizeof(double));
    assert_memory_equal(a.sky_rad, b.sky_rad, N * sizeof(double));
    assert_memory_equal(a.friction_nm, b.friction_nm, N * sizeof(double));
    assert_memory_not_equal(a.position_rad, c.position_rad, N * sizeof(double));
    assert_memory_not_equal(a.position_rad, d.position_rad, N * sizeof(double));
    tune_axis_trace_free(&a);
    tune_axis_trace_free(&b);
    tune_axis_trace_free(&c);
    tune_axis_trace_free(&d);
}

static void a_run_on_a_ramp_starts_without_transient(void **state)
{
    enum { N = 3000 };
    double target[N];
    struct tune_axis axis = quick_axis();
    struct tune_controller controller = quick_controller();
    struct tune_axis_run run = {.n = N,
                                .target_rad = target,
                                .controller = &controller,
                                .start_rad = -0.4,
                                .start_rad_per_s = 0.01};
    (void)state;
    controller.ki_nm_per_rad_s = 600.0;
    controller.lowpass_hz = 300.0;
    controller.n_biquads = 1;
    controller.biquad[0] = (struct tune_biquad_spec){60.0, 0.1, 70.0, 0.4};
    axis.plant.delay_s = 2.4e-3;
    axis.friction = (struct tune_friction){0.05, 0.07, 1e-3, 2e3, 5.0, 0.1};
    for (size_t i = 0; i < N; i++)
        target[i] = -0.4 + 0.01 * (double)i / 1000.0;
    for (size_t settle = 0; settle < 1000; settle += 500) {
        struct tune_axis_trace trace;
        run.settle = settle;
        trace = simulated(&axis, &run);
        for (size_t i = 0; i < N; i++) {
            check_close(trace.true_rad[i], target[i], 1e-12); /* rounding */
            check_close(trace.torque_nm[i], 0.05 + 0.01 * (0.3 + 0.1), 1e-9);
        }
        tune_axis_trace_free(&trace);
    }
}

static void settling_samples_keep_the_excitation_out(void **state)
{
    enum { N = 500 };
    double push[N] = {5.0}, still[N] = {0.0};
    const struct tune_axis axis = quick_axis();
    const struct tune_controller controller = quick_controller();
    struct tune_axis_run run = {.n = N, .excitation_nm = push, .controller = &controller};
    struct tune_axis_trace direct = simulated(&axis, &run), settled;
    (void)state;
    run.settle = 300;
    settled = simulated(&axis, &run);
    assert_memory_equal(direct.true_rad, settled.true_rad, N * sizeof(double));
    assert_true(mean_square(direct.true_rad, still, N) > 0.0);
    tune_axis_trace_free(&direct);
    tune_axis_trace_free(&settled);
}

static void a_loop_that_runs_away_is_cut_off(void **state)
{
    enum { N = 5000 };
    double push[N] = {1.0};
    const struct tune_axis axis = quick_axis();
    struct tune_controller controller = quick_controller();
    const struct tune_axis_run run = {.n = N, .excitation_nm = push, .controller = &controller};
    struct tune_axis_trace trace;
    (void)state;
    controller.kp_nm_per_rad *= 1000.0;
    trace = simulated(&axis, &run);
    assert_true(trace.diverged);
    for (size_t i = 0; i < N; i++)
        assert_true(isfinite(trace.position_rad[i]) && isfinite(trace.torque_nm[i]) &&
                    isfinite(trace.sky_rad[i]) && isfinite(trace.friction_nm[i]));
    assert_true(trace.true_rad[N - 1] == trace.true_rad[N - 2]);
    tune_axis_trace_free(&trace);
}

static void refuses(const struct tune_axis *axis, const struct tune_axis_run *run,
                    const char *field)
{
    struct tune_axis_trace trace;
    struct tune_error err;
    assert_int_equal(tune_axis_simulate(&trace, axis, run, NULL, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, field);
    assert_null(trace.position_rad);
    assert_int_equal(trace.n, 0);
}

static void every_field_out_of_range_is_named(void **state)
{
    struct tune_controller controller = quick_controller();
    const struct tune_axis_run usual = {.n = 10, .controller = &controller};
    struct tune_axis_run run = usual;
    struct tune_axis axis;
    (void)state;
#define REFUSES(field, bad, name)                                                                  \
    do {                                                                                           \
        axis = busy_axis();                                                                        \
        axis.field = (bad);                                                                        \
        refuses(&axis, &usual, name);                                                              \
    } while (0)
    REFUSES(plant.inertia_kg_m2, 0.0, "inertia_kg_m2");
    REFUSES(plant.viscous_nm_s_per_rad, -1.0, "viscous_nm_s_per_rad");
    REFUSES(plant.loop_rate_hz, (double)NAN, "loop_rate_hz");
    REFUSES(plant.delay_s, -1e-6, "delay_s");
    REFUSES(plant.delay_s, 1.1, "delay_s");
    REFUSES(plant.n_modes, TUNE_MODES_MAX + 1, "n_modes");
    REFUSES(plant.mode[1].f_hz, 0.0, "mode f_hz");
    REFUSES(plant.mode[1].zeta, 1.0, "mode zeta");
    REFUSES(plant.mode[2].gain, (double)NAN, "mode gain");
    REFUSES(plant.mode[1].gain_quadrature, 0.1, "mode gain_quadrature"); /* residues are real */
    REFUSES(plant.mode[0].payload_ratio, (double)INFINITY, "mode payload_ratio");
    REFUSES(friction.coulomb_nm, -1.0, "coulomb_nm");
    REFUSES(friction.breakaway_nm, 0.01, "breakaway_nm");
    REFUSES(friction.stribeck_rad_per_s, 0.0, "stribeck_rad_per_s");
    REFUSES(friction.bristle_nm_per_rad, 0.0, "bristle_nm_per_rad");
    REFUSES(friction.bristle_nm_per_rad, 1e15, "bristle_nm_per_rad");
    REFUSES(friction.bristle_nm_s_per_rad, -1.0, "bristle_nm_s_per_rad");
    REFUSES(friction.viscous_nm_s_per_rad, -1.0, "friction viscous_nm_s_per_rad");
    REFUSES(ripple_nm, (double)NAN, "ripple_nm");
    REFUSES(imbalance.nm, -1.0, "imbalance nm");
    REFUSES(imbalance.angle_rad, (double)NAN, "imbalance angle_rad");
    REFUSES(offset_nm, (double)INFINITY, "offset_nm");
    REFUSES(cable_nm_per_rad, -1.0, "cable_nm_per_rad");
    REFUSES(cable_rest_rad, (double)NAN, "cable_rest_rad");
    REFUSES(drag_nm, -1.0, "drag_nm");
    REFUSES(drag_angle_rad, (double)NAN, "drag_angle_rad");
    REFUSES(ripple_per_turn, (double)INFINITY, "ripple_per_turn");
    REFUSES(ripple_phase_rad, (double)NAN, "ripple_phase_rad");
    REFUSES(torque_limit_nm, -1.0, "torque_limit_nm");
    REFUSES(encoder_step_rad, -1.0, "encoder_step_rad");
    REFUSES(encoder_noise_rad, -1.0, "encoder_noise_rad");
    REFUSES(encoder_lines_per_turn, -1.0, "encoder_lines_per_turn");
    REFUSES(interpolation_rad[3], 1e-9, "interpolation_rad"); /* without lines */
    REFUSES(interpolation_rad[0], (double)NAN, "interpolation_rad");
    axis = busy_axis();
    axis.plant.complex_residues = true;
    axis.plant.mode[0].gain_quadrature = 1e4; /* too much for the friction beside it */
    refuses(&axis, &usual, "mode gain_quadrature");
    axis = busy_axis();
    axis.encoder_lines_per_turn = 1000.0;
    axis.interpolation_rad[0] = 5e-4;
    axis.interpolation_rad[1] = -2.5e-4; /* slopes 0.5 and 0.5 */
    refuses(&axis, &usual, "interpolation_rad");
    REFUSES(drive_noise_nm_per_rthz, -1.0, "drive_noise_nm_per_rthz");
    REFUSES(wind_rms_nm, -1.0, "wind_rms_nm");
    REFUSES(wind_corner_hz, 0.0, "wind_corner_hz");
    REFUSES(substeps, 0, "substeps");
    REFUSES(substeps, 1001, "substeps");
    axis = busy_axis();
    run.n = 0;
    refuses(&axis, &run, "n");
    run = usual;
    run.start_rad = NAN;
    refuses(&axis, &run, "start_rad");
    run = usual;
    run.start_rad_per_s = INFINITY;
    refuses(&axis, &run, "start_rad_per_s");
    controller.loop_rate_hz = 999.0;
    refuses(&axis, &usual, "controller loop_rate_hz");
    controller = quick_controller();
    controller.kp_nm_per_rad = -1.0;
    refuses(&axis, &usual, "kp_nm_per_rad");
}

static int stop_at_half(void *user, const char *stage, double done)
{
    (void)user;
    assert_non_null(stage);
    return done > 0.5;
}

static void watching_can_cancel(void **state)
{
    const struct tune_axis axis = quick_axis();
    const struct tune_axis_run run = {.n = 100000};
    const struct tune_watch watch = {stop_at_half, NULL};
    struct tune_axis_trace trace;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_axis_simulate(&trace, &axis, &run, &watch, &err), TUNE_ECANCELLED);
    assert_null(trace.true_rad);
}

static void every_refused_allocation_is_reported(void **state)
{
    const struct tune_axis axis = busy_axis();
    const struct tune_axis_run run = {.n = 50};
    struct tune_error err;
    unsigned long k = 0;
    bool refused = true;
    (void)state;
    while (refused) {
        struct tune_axis_trace trace;
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_axis_simulate(&trace, &axis, &run, NULL, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (refused) assert_null(trace.position_rad);
        tune_axis_trace_free(&trace);
    }
    assert_true(k > 6);
}

/* A torque on the payload moves it as G_LL says and the encoder as G_mL: without a delay the encoder sees it as
 * the payload sees one at the motor (reciprocity), and both add to what the motor does. */
static void a_push_on_the_payload_is_one_of_the_motor_the_other_way_round(void **state)
{
    enum { N = 2000 };
    static double push[N];
    struct tune_axis axis = quick_axis();
    const struct tune_axis_run at_motor = {.n = N, .excitation_nm = push};
    const struct tune_axis_run at_payload = {.n = N, .payload_nm = push};
    const struct tune_axis_run at_both = {.n = N, .excitation_nm = push, .payload_nm = push};
    struct tune_axis_trace motor, payload, both;
    (void)state;
    axis.plant.delay_s = 0.0;
    push[3] = 2.0;
    push[700] = -5.0;
    motor = simulated(&axis, &at_motor);
    payload = simulated(&axis, &at_payload);
    both = simulated(&axis, &at_both);
    for (size_t i = 0; i < N; i++) {
        const double size = fabs(motor.true_rad[i]) + 1e-6;
        check_close(payload.true_rad[i], motor.sky_rad[i], 1e-9 * size); /* rounding */
        check_close(both.true_rad[i], motor.true_rad[i] + payload.true_rad[i], 1e-9 * size);
        check_close(payload.torque_nm[i], 0.0, 0.0);
    }
    assert_true(payload.sky_rad[N - 1] != motor.sky_rad[N - 1]);
    tune_axis_trace_free(&motor);
    tune_axis_trace_free(&payload);
    tune_axis_trace_free(&both);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linear_run_has_the_sampled_response),
        cmocka_unit_test(so_it_has_with_complex_residues),
        cmocka_unit_test(substeps_do_not_change_a_linear_run),
        cmocka_unit_test(quantisation_of_a_26_bit_ring),
        cmocka_unit_test(encoder_noise_is_gaussian_in_two_axes),
        cmocka_unit_test(interpolation_error_is_in_the_loop),
        cmocka_unit_test(drive_noise_moves_an_inertia_as_it_should),
        cmocka_unit_test(coulomb_friction_stops_a_sliding_body_where_it_should),
        cmocka_unit_test(breakaway_falls_with_the_rate_of_the_push),
        cmocka_unit_test(finer_steps_change_a_friction_run_little),
        cmocka_unit_test(stiff_friction_gets_the_steps_it_needs),
        cmocka_unit_test(ripple_follows_the_angle),
        cmocka_unit_test(an_axis_out_of_balance_swings_like_a_pendulum),
        cmocka_unit_test(the_weight_pulls_by_the_cosine_and_cables_rub_where_they_do),
        cmocka_unit_test(torque_never_passes_the_limit_and_is_counted),
        cmocka_unit_test(same_seed_same_bytes),
        cmocka_unit_test(a_run_on_a_ramp_starts_without_transient),
        cmocka_unit_test(settling_samples_keep_the_excitation_out),
        cmocka_unit_test(a_loop_that_runs_away_is_cut_off),
        cmocka_unit_test(every_field_out_of_range_is_named),
        cmocka_unit_test(watching_can_cancel),
        cmocka_unit_test(every_refused_allocation_is_reported),
        cmocka_unit_test(a_push_on_the_payload_is_one_of_the_motor_the_other_way_round),
    };
    return cmocka_run_group_tests_name("axis", tests, NULL, NULL);
}
