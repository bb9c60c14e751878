/* test_first_motion.c - what first motions tell, on axes whose truth is known.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "core/units.h"
#include "mechanics/first_motion.h"
#include "synthetic_motion.h"

/* An axis that is measured without any error. */
static struct synthetic_axis silent_axis(void)
{
    struct synthetic_axis axis = synthetic_axis();
    axis.drive_noise_nm = axis.sensor_noise_rad = axis.step_rad = 0.0;
    return axis;
}

static void scale_channel(struct tune_record *rec, enum tune_role role, double factor)
{
    for (size_t k = 0; k < rec->n; k++)
        rec->channel[role][k] *= factor;
}

static void refused(enum tune_status status, const struct tune_error *err, const char *sentence)
{
    assert_int_equal(status, TUNE_EDATA);
    if (!strstr(err->text, sentence)) fail_msg("'%s' lacks '%s'", err->text, sentence);
}

/* ---- pulses --------------------------------------------------------------------------------------*/

/* Without noise what is left is the step of the synthetic axis, which holds friction over a sample: model
 * errors of 1e-4 of the gain, 0.05 N m of friction. */
static void pulses_tell_inertia_and_friction(void **state)
{
    const struct synthetic_axis axis = silent_axis();
    const struct synthetic_pulses pulses = {60.0, 0.5, 1.0};
    struct tune_record rec = synthetic_motion(&axis, 12.0, synthetic_pulse, &pulses, 1);
    struct tune_pulse_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_pulse_fit(&fit, &rec, &err), TUNE_OK);
    check_close_rel(1.0 / fit.gain.value, 850.0, 3e-4);
    check_close(fit.coulomb_nm.value, 6.0, 0.05);
    check_close(fit.pulse_nm, 60.0, 1e-9);
    check_close(fit.pulse_s, 0.5, 2e-3);    /* a sample or two */
    check_close(fit.lag_s, 0.0015, 0.0005); /* one sample, and half of one for the hold */
    assert_int_equal(fit.n_places, 1);
    check_close(fit.place[0].gain.value, fit.gain.value, 0.0);
    tune_record_free(&rec);
}

static void a_sign_or_scale_of_torque_or_angle_shows_in_the_gain(void **state)
{
    const struct synthetic_axis axis = synthetic_axis();
    const struct synthetic_pulses pulses = {60.0, 0.5, 1.0};
    struct tune_record rec = synthetic_motion(&axis, 12.0, synthetic_pulse, &pulses, 2);
    struct tune_pulse_fit fit, other;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_pulse_fit(&fit, &rec, &err), TUNE_OK);
    scale_channel(&rec, TUNE_ROLE_TORQUE, -2.0);
    assert_int_equal(tune_pulse_fit(&other, &rec, &err), TUNE_OK);
    check_close_rel(other.gain.value, -fit.gain.value / 2.0, 1e-9); /* identity */
    check_close_rel(other.coulomb_nm.value, -2.0 * fit.coulomb_nm.value, 1e-6);
    scale_channel(&rec, TUNE_ROLE_POSITION, -4.0);
    assert_int_equal(tune_pulse_fit(&other, &rec, &err), TUNE_OK);
    check_close_rel(other.gain.value, 2.0 * fit.gain.value, 1e-9);
    check_close_rel(other.gain.std, 2.0 * fit.gain.std, 1e-6);
    tune_record_free(&rec);
}

/* The axis is moved to another angle between pulses; there the motor gives 20 % less. */
static void a_place_where_torque_is_less_is_found(void **state)
{
    struct synthetic_axis axis = synthetic_axis();
    const struct synthetic_pulses pulses = {60.0, 0.3, 0.6}, less = {48.0, 0.3, 0.6};
    struct tune_record here, there, both = {0};
    struct tune_pulse_fit fit;
    struct tune_error err;
    (void)state;
    here = synthetic_motion(&axis, 12.0, synthetic_pulse, &pulses, 3);
    axis.start_rad = 1.0;
    there = synthetic_motion(&axis, 12.0, synthetic_pulse, &less, 4);
    scale_channel(&there, TUNE_ROLE_TORQUE, 60.0 / 48.0); /* what the drive believes */
    both.n = here.n + there.n;
    both.rate_hz = here.rate_hz;
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++) {
        if (!here.channel[role]) continue;
        both.channel[role] = malloc(both.n * sizeof(double));
        memcpy(both.channel[role], here.channel[role], here.n * sizeof(double));
        memcpy(both.channel[role] + here.n, there.channel[role], there.n * sizeof(double));
    }
    assert_int_equal(tune_pulse_fit(&fit, &both, &err), TUNE_OK);
    assert_int_equal(fit.n_places, 2);
    check_close(fit.place[0].angle_rad, 0.0, 0.1);
    check_close(fit.place[1].angle_rad, 1.0, 0.1);
    /* statistical, 5 sigma */
    check_close(fit.place[0].gain.value, 1.0 / 850.0, 5.0 * fit.place[0].gain.std);
    check_close(fit.place[1].gain.value, 0.8 / 850.0, 5.0 * fit.place[1].gain.std);
    check_between(fit.place[1].gain.std * 850.0, 1e-5, 0.01);
    tune_record_free(&here);
    tune_record_free(&there);
    tune_record_free(&both);
}

static bool no_torque(double *torque, double time_s, double x, double v, const void *user)
{
    (void)time_s, (void)x, (void)v, (void)user;
    *torque = 3.0;
    return true;
}

static void pulses_that_tell_nothing_are_refused(void **state)
{
    const struct synthetic_axis axis = synthetic_axis();
    const struct synthetic_pulses pulses = {5.0, 0.5, 1.0}; /* under the friction */
    struct tune_record rec = synthetic_motion(&axis, 6.0, no_torque, NULL, 1);
    struct tune_pulse_fit fit;
    struct tune_error err;
    (void)state;
    refused(tune_pulse_fit(&fit, &rec, &err), &err, "there are no pulses in the torque");
    free(rec.channel[TUNE_ROLE_TORQUE]);
    rec.channel[TUNE_ROLE_TORQUE] = NULL;
    refused(tune_pulse_fit(&fit, &rec, &err), &err, "the log has no torque");
    tune_record_free(&rec);
    rec = synthetic_motion(&axis, 6.0, synthetic_pulse, &pulses, 1);
    refused(tune_pulse_fit(&fit, &rec, &err), &err, "the pulses hardly move the axis");
    tune_record_free(&rec);
}

/* ---- moves ---------------------------------------------------------------------------------------*/

/* angle over time by a formula, with noise of a fixed seed */
static struct tune_record course(size_t n, double rate_hz, double (*angle)(double time_s),
                                 double noise_rad)
{
    struct tune_record rec = {.n = n, .rate_hz = rate_hz};
    struct tune_random rng;
    rec.channel[TUNE_ROLE_POSITION] = malloc(n * sizeof(double));
    tune_random_init(&rng, 11, 0);
    for (size_t k = 0; k < n; k++)
        rec.channel[TUNE_ROLE_POSITION][k] =
            angle((double)k / rate_hz) + noise_rad * tune_random_normal(&rng);
    return rec;
}

/* 1 s at rest, 0.1 rad/s for 2 s, 2 s at rest */
static double there(double t)
{
    return 3.0 + 0.1 * fmin(fmax(t - 1.0, 0.0), 2.0);
}

static double forever(double t)
{
    return 0.1 * t;
}

static double back(double t)
{
    return sin(TUNE_PI * t / 5.0);
}

static void a_move_is_measured_between_its_still_ends(void **state)
{
    struct tune_record rec = course(5000, 1000.0, there, 1e-5);
    struct tune_estimate way;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_move_measure(&way, &rec, &err), TUNE_OK);
    check_close(way.value, 0.2, 5.0 * way.std); /* statistical, 5 sigma */
    check_between(way.std, 1e-7, 1e-5);         /* a thousand samples of 1e-5 at least */
    scale_channel(&rec, TUNE_ROLE_POSITION, -1.0);
    assert_int_equal(tune_move_measure(&way, &rec, &err), TUNE_OK);
    check_close(way.value, -0.2, 5.0 * way.std);
    tune_record_free(&rec);
    rec = course(5000, 1000.0, forever, 1e-5);
    refused(tune_move_measure(&way, &rec, &err), &err, "does not stand still at the beginning");
    tune_record_free(&rec);
    rec = course(5001, 1000.0, back, 1e-5);
    refused(tune_move_measure(&way, &rec, &err), &err, "the axis ends where it began");
    tune_record_free(&rec);
    rec = course(20, 1000.0, there, 1e-5);
    refused(tune_move_measure(&way, &rec, &err), &err, "the log is too short");
    tune_record_free(&rec);
}

/* ---- limits --------------------------------------------------------------------------------------*/

/* 0.05 rad/s from 1.5 rad, braked from 1.6 rad with 0.05 rad/s^2: rest at 1.625 rad */
static double into_limit(double t)
{
    const double brake = t - 3.0;
    if (t < 1.0) return 1.5;
    if (brake < 0.0) return 1.5 + 0.05 * (t - 1.0);
    return 1.6 + (brake < 1.0 ? 0.05 * brake - 0.025 * brake * brake : 0.025);
}

static void a_limit_is_seen_where_braking_begins_and_ends(void **state)
{
    struct tune_record rec = course(6000, 1000.0, into_limit, 1e-7);
    struct tune_limit_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_limit_fit(&fit, &rec, true, &err), TUNE_OK);
    check_close(fit.speed_rad_per_s, 0.05, 1e-3);
    /* one tenth of the speed is lost after 0.1 s: 0.00475 rad on; and the smoothing of 25 ms */
    check_close(fit.brake_rad, 1.60475, 0.0015);
    check_close(fit.end_rad, 1.625, 1e-6);
    assert_false(fit.dropped);
    refused(tune_limit_fit(&fit, &rec, false, &err), &err, "does not move towards its low limit");

    rec.channel[TUNE_ROLE_ENABLED] = malloc(rec.n * sizeof(double));
    for (size_t k = 0; k < rec.n; k++)
        rec.channel[TUNE_ROLE_ENABLED][k] = k < 2000;
    assert_int_equal(tune_limit_fit(&fit, &rec, true, &err), TUNE_OK);
    assert_true(fit.dropped);
    check_close(fit.dropped_rad, 1.55, 1e-4);
    scale_channel(&rec, TUNE_ROLE_POSITION, -1.0);
    assert_int_equal(tune_limit_fit(&fit, &rec, false, &err), TUNE_OK);
    check_close(fit.end_rad, -1.625, 1e-6);
    check_close(fit.speed_rad_per_s, -0.05, 1e-3);
    tune_record_free(&rec);
}

/* ---- following error -----------------------------------------------------------------------------*/

/* Position 0; target as given for rows from 1000 to 1000 + rows, enabled until then. */
static struct tune_record error_of(double size, size_t rows, bool trips)
{
    struct tune_record rec = {.n = 3000, .rate_hz = 1000.0};
    rec.channel[TUNE_ROLE_POSITION] = calloc(rec.n, sizeof(double));
    rec.channel[TUNE_ROLE_TARGET] = calloc(rec.n, sizeof(double));
    rec.channel[TUNE_ROLE_ENABLED] = calloc(rec.n, sizeof(double));
    for (size_t k = 0; k < rec.n; k++) {
        const bool jumped = k >= 1000 && k < 1000 + rows;
        rec.channel[TUNE_ROLE_TARGET][k] = jumped ? size : 0.001;
        rec.channel[TUNE_ROLE_ENABLED][k] = !trips || k + 1 < 1000 + rows;
    }
    return rec;
}

static void what_the_drive_bore_and_where_it_tripped(void **state)
{
    struct tune_record rec = error_of(-0.02, 100, false);
    struct tune_following_fit fit;
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_following_fit(&fit, &rec, &err), TUNE_OK);
    check_close(fit.borne_rad, 0.02, 0.0);
    assert_false(fit.tripped);
    tune_record_free(&rec);
    rec = error_of(0.02, 4, true); /* acts after 3 ms: borne is what was before */
    assert_int_equal(tune_following_fit(&fit, &rec, &err), TUNE_OK);
    check_close(fit.borne_rad, 0.001, 0.0);
    assert_true(fit.tripped);
    check_close(fit.tripped_rad, 0.02, 0.0);
    assert_int_equal(fit.row, 1003);
    memset(rec.channel[TUNE_ROLE_ENABLED], 0, rec.n * sizeof(double));
    refused(tune_following_fit(&fit, &rec, &err), &err, "never enabled");
    tune_record_free(&rec);
}

/* ---- coast ---------------------------------------------------------------------------------------*/

/* The closed form against its own differential equation, by small steps (model: step 1e-5 s). */
static void the_way_to_rest_follows_from_the_deceleration(void **state)
{
    const double cases[][3] = {
        {0.1, 0.02, 0.3}, {0.1, 0.02, 1e-6}, {0.05, 0.0, 0.5}, {0.2, 0.5, 0.0}};
    (void)state;
    for (size_t i = 0; i < 4; i++) {
        double v = cases[i][0], x = 0.0, t = 0.0, way, time;
        const double a = cases[i][1], b = cases[i][2], dt = 1e-5;
        tune_coast_predict(&way, &time, v, a, b);
        while (v > 0.0 && t < 40.0) {
            const double after = v - dt * (a + b * v);
            x += 0.5 * dt * (v + fmax(after, 0.0));
            v = after;
            t += dt;
        }
        check_close_rel(x, way, 1e-4);
        if (a > 0.0)
            check_close(t, time, 1e-3);
        else
            assert_true(isinf(time));
    }
    /* v^2 / 2a, v / a without drag: identities, on both sides of the switch to the series */
    double way, time, near_way, near_time;
    tune_coast_predict(&way, &time, -0.1, 0.02, 0.0);
    check_close_rel(way, 0.25, 1e-15);
    check_close_rel(time, 5.0, 1e-15);
    tune_coast_predict(&way, &time, 0.1, 0.02, 0.00019999);
    tune_coast_predict(&near_way, &near_time, 0.1, 0.02, 0.00020001);
    check_close_rel(way, near_way, 1e-7);
    check_close_rel(time, near_time, 1e-7);
}

static void a_coast_tells_friction_and_drag(void **state)
{
    struct synthetic_axis axis = silent_axis();
    struct tune_coast_fit fit;
    struct tune_record rec;
    struct tune_error err;
    double way, time;
    (void)state;
    axis.offset_nm = 0.0;
    for (int side = -1; side <= 1; side += 2) {
        axis.start_rad_per_s = side * 0.02;
        rec = synthetic_motion(&axis, 8.0, synthetic_coast, NULL, 1);
        assert_int_equal(tune_coast_fit(&fit, &rec, &err), TUNE_OK);
        assert_int_equal(fit.row, 500);
        check_close(fit.friction_per_s2.value, 6.0 / 850.0, 1e-5); /* model: step of the axis */
        check_close(fit.drag_per_s.value, 40.0 / 850.0, 1e-3);
        assert_true(fit.speed_rad_per_s * side > 0.0);
        tune_coast_predict(&way, &time, fit.speed_rad_per_s, 6.0 / 850.0, 40.0 / 850.0);
        check_close_rel(fit.distance_rad, way, 5e-3); /* the speed at the start is smoothed */
        check_close_rel(fit.time_s, time, 5e-3);
        tune_record_free(&rec);
    }
}

static bool always(double *torque, double time_s, double x, double v, const void *user)
{
    (void)time_s, (void)x, (void)v, (void)user;
    *torque = 8.0;
    return true;
}

static void coasts_that_tell_nothing_are_refused(void **state)
{
    struct synthetic_axis axis = synthetic_axis();
    struct tune_coast_fit fit;
    struct tune_error err;
    struct tune_record rec = synthetic_motion(&axis, 3.0, always, NULL, 1);
    (void)state;
    refused(tune_coast_fit(&fit, &rec, &err), &err, "does not show the drive disabled");
    tune_record_free(&rec);
    rec = synthetic_motion(&axis, 3.0, synthetic_coast, NULL, 1); /* from rest */
    refused(tune_coast_fit(&fit, &rec, &err), &err, "hardly moves when the drive is disabled");
    tune_record_free(&rec);
    axis.start_rad_per_s = 0.3;
    rec = synthetic_motion(&axis, 1.5, synthetic_coast, NULL, 1);
    refused(tune_coast_fit(&fit, &rec, &err), &err, "hardly slows down");
    tune_record_free(&rec);
    axis.start_rad_per_s = 0.004;
    axis.rate_hz = 40.0;
    rec = synthetic_motion(&axis, 6.0, synthetic_coast, NULL, 1);
    refused(tune_coast_fit(&fit, &rec, &err), &err, "too short to tell friction");
    tune_record_free(&rec);
}

/* ---- index ---------------------------------------------------------------------------------------*/

/* Passes at 1 mrad per sample over marks at the places given, up and down in turn; a flag of the width
 * given, seen `latch` (one sample) or as long as it lasts. */
static struct tune_record passes(const double *place, size_t n, double width, bool latch)
{
    struct tune_record rec = {.n = n * 1000 + 1, .rate_hz = 1000.0};
    double *x = malloc(rec.n * sizeof(double)), *flag = calloc(rec.n, sizeof(double));
    for (size_t k = 0; k < rec.n; k++) {
        const size_t pass = k / 1000, at = k % 1000;
        x[k] = 1e-3 * (pass % 2 ? 1000.0 - (double)at : (double)at);
        if (pass >= n) continue;
        const double before = pass % 2 ? x[k] + 1e-3 : x[k] - 1e-3, mark = place[pass];
        flag[k] = latch ? (before < mark) != (x[k] < mark) : fabs(x[k] - mark) < width / 2.0;
    }
    rec.channel[TUNE_ROLE_POSITION] = x;
    rec.channel[TUNE_ROLE_INDEX] = flag;
    return rec;
}

static void the_scatter_of_the_index_is_told_from_its_hysteresis(void **state)
{
    /* upwards 0.4, 0.41, 0.42: std 0.01; downwards 0.5, 0.51, 0.52; samples every 0.001 */
    const double place[] = {0.4005, 0.5005, 0.4105, 0.5105, 0.4205, 0.5205};
    struct tune_index_fit fit;
    struct tune_error err;
    (void)state;
    for (int latch = 0; latch < 2; latch++) {
        struct tune_record rec = passes(place, 6, 0.0301, latch);
        assert_int_equal(tune_index_fit(&fit, &rec, &err), TUNE_OK);
        assert_int_equal(fit.n[0], 3);
        assert_int_equal(fit.n[1], 3);
        /* marks and edges lie midway between samples: exact but for rounding */
        check_close(fit.mean_rad[0], 0.4105, 1e-9);
        check_close(fit.mean_rad[1], 0.5105, 1e-9);
        check_close(fit.std_rad, 0.01, 1e-9);
        check_close(fit.hysteresis.value, -0.1, 1e-9);
        check_close(fit.spread_rad, 0.02, 1e-9);
        check_close_rel(fit.resolution_rad, 1e-3 / sqrt(12.0), 1e-9);
        /* sum of squares 4e-4, 4 degrees of freedom. Upper tail of chi-square(4): exp(-x/2)(1 + x/2) =
         * 3.167e-5 at x = 25.999 by that formula, to the digits given */
        check_close(fit.least_rad, sqrt(4e-4 / 25.999), 1e-6);
        assert_true(fit.most_rad > 5.0 * fit.std_rad);
        tune_record_free(&rec);
    }
    struct tune_record rec = passes(place, 3, 0.03, true);
    refused(tune_index_fit(&fit, &rec, &err), &err, "passed 2 times upwards and 1 times downwards");
    tune_record_free(&rec);
}

/* ---- load ----------------------------------------------------------------------------------------*/

static void a_weight_tells_the_true_torque(void **state)
{
    struct tune_record with, without;
    const struct tune_weight weight = {10.0, 0.5, 0.0, 0.0, 9.8}, none = {0.0, 0.5, 0.0, 0.0, 9.8};
    struct tune_load_fit fit;
    struct tune_error err;
    (void)state;
    synthetic_loads(&with, &without, silent_axis(), 49.0, 20.0, 1);
    assert_int_equal(tune_load_fit(&fit, &with, &weight, &without, &none, 1.0, &err), TUNE_OK);
    /* the weight of the synthetic axis does not turn with it; cos(0.05) = 0.9988 at the ends of the
     * range, 0.9996 on the average (model) */
    check_close(fit.ratio.value, 1.0, 2e-3);
    check_between(fit.ratio.std, 1e-4, 5e-3);
    check_close(fit.friction_nm.value, 6.4, 0.1); /* Coulomb 6 and viscous 40 * 0.01 */
    assert_int_equal(fit.passes, 4);
    check_close(fit.weight_nm, 49.0, 1e-12);
    /* exchanged they say the same */
    struct tune_load_fit other;
    assert_int_equal(tune_load_fit(&other, &without, &none, &with, &weight, 1.0, &err), TUNE_OK);
    check_close_rel(other.ratio.value, fit.ratio.value, 1e-9);
    /* what the drive calls 2 N m was -1 N m */
    scale_channel(&with, TUNE_ROLE_TORQUE, -2.0);
    scale_channel(&without, TUNE_ROLE_TORQUE, -2.0);
    assert_int_equal(tune_load_fit(&other, &with, &weight, &without, &none, 1.0, &err), TUNE_OK);
    check_close_rel(other.ratio.value, -0.5 * fit.ratio.value, 1e-9);

    assert_int_equal(tune_load_fit(&fit, &with, &none, &without, &none, 1.0, &err), TUNE_EINVAL);
    without.n /= 4; /* one way only */
    refused(tune_load_fit(&fit, &with, &weight, &without, &none, 1.0, &err), &err,
            "no slow moves both ways");
    free(without.channel[TUNE_ROLE_TORQUE]);
    without.channel[TUNE_ROLE_TORQUE] = NULL;
    refused(tune_load_fit(&fit, &with, &weight, &without, &none, 1.0, &err), &err, "no torque");
    tune_record_free(&with);
    tune_record_free(&without);
}

/* ---- anything -------------------------------------------------------------------------------------*/

/* Records of every length and kind of nonsense: an answer with finite numbers, or a refusal. */
static void nonsense_is_answered_or_refused(void **state)
{
    const struct tune_weight weight = {10.0, 0.5, 0.0, 0.0, 9.8}, none = {0.0, 0.5, 0.0, 0.0, 9.8};
    static const enum tune_role roles[] = {TUNE_ROLE_POSITION, TUNE_ROLE_TORQUE, TUNE_ROLE_TARGET,
                                           TUNE_ROLE_ENABLED, TUNE_ROLE_INDEX};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (size_t trial = 0; trial < 400; trial++) {
        struct tune_record rec = {.n = 1 + (size_t)(400.0 * pow(tune_random_uniform(&rng), 2.0)),
                                  .rate_hz = trial % 3 ? 1000.0 : 10.0};
        struct tune_pulse_fit pulse;
        struct tune_coast_fit coast;
        struct tune_index_fit index;
        struct tune_limit_fit limit;
        struct tune_following_fit following;
        struct tune_load_fit load;
        struct tune_estimate way;
        struct tune_error err;
        for (size_t i = 0; i < 5; i++) {
            const double kind = tune_random_uniform(&rng), size = exp(8.0 * kind - 4.0);
            double x = 0.0;
            rec.channel[roles[i]] = malloc(rec.n * sizeof(double));
            for (size_t k = 0; k < rec.n; k++) {
                if (kind > 0.6) x += size * tune_random_normal(&rng); /* else constant or steps */
                if (kind > 0.3 && tune_random_uniform(&rng) < 0.05)
                    x = kind - 0.5 < 0.0 ? -x : 1.0 - x;
                rec.channel[roles[i]][k] = x;
            }
        }
        if (!tune_pulse_fit(&pulse, &rec, &err))
            assert_true(isfinite(pulse.gain.value) && pulse.gain.std >= 0.0 && pulse.n_places >= 1);
        if (!tune_coast_fit(&coast, &rec, &err))
            assert_true(isfinite(coast.friction_per_s2.value) && coast.friction_per_s2.std >= 0.0);
        if (!tune_index_fit(&index, &rec, &err)) assert_true(isfinite(index.std_rad));
        if (!tune_limit_fit(&limit, &rec, trial % 2, &err)) assert_true(isfinite(limit.brake_rad));
        if (!tune_following_fit(&following, &rec, &err)) assert_true(following.borne_rad >= 0.0);
        if (!tune_move_measure(&way, &rec, &err))
            assert_true(isfinite(way.value) && way.std >= 0.0);
        if (!tune_load_fit(&load, &rec, &weight, &rec, &none, 1.0, &err))
            assert_true(load.ratio.std >= 0.0);
        tune_record_free(&rec);
    }
}

/* ---- memory --------------------------------------------------------------------------------------*/

static enum tune_status all_of_them(const struct tune_record *pulses,
                                    const struct tune_record *coast, const struct tune_record *move,
                                    const struct tune_record *index, const struct tune_record *with,
                                    const struct tune_record *without)
{
    const struct tune_weight weight = {10.0, 0.5, 0.0, 0.0, 9.8}, none = {0.0, 0.5, 0.0, 0.0, 9.8};
    struct tune_pulse_fit pulse_fit;
    struct tune_coast_fit coast_fit;
    struct tune_index_fit index_fit;
    struct tune_limit_fit limit_fit;
    struct tune_load_fit load_fit;
    struct tune_estimate way;
    struct tune_error err;
    enum tune_status status = tune_pulse_fit(&pulse_fit, pulses, &err);
    if (!status) status = tune_coast_fit(&coast_fit, coast, &err);
    if (!status) status = tune_move_measure(&way, move, &err);
    if (!status) status = tune_limit_fit(&limit_fit, move, true, &err);
    if (!status) status = tune_index_fit(&index_fit, index, &err);
    if (!status) status = tune_load_fit(&load_fit, with, &weight, without, &none, 1.0, &err);
    return status;
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    struct synthetic_axis axis = synthetic_axis();
    const struct synthetic_pulses program = {60.0, 0.5, 1.0};
    const double place[] = {0.4, 0.5, 0.4, 0.5, 0.4, 0.5};
    struct tune_record with, without, pulses, coast, move, index;
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    axis.rate_hz = 200.0;
    pulses = synthetic_motion(&axis, 12.0, synthetic_pulse, &program, 1);
    synthetic_loads(&with, &without, axis, 49.0, 20.0, 1);
    axis.start_rad_per_s = 0.02;
    coast = synthetic_motion(&axis, 8.0, synthetic_coast, NULL, 1);
    move = course(1000, 200.0, there, 1e-6);
    index = passes(place, 6, 0.0, true);
    do {
        check_fail_allocation(++k);
        status = all_of_them(&pulses, &coast, &move, &index, &with, &without);
        assert_true(status == TUNE_OK || status == TUNE_ENOMEM);
        assert_int_equal(status != TUNE_OK, check_allocation_failed());
    } while (status != TUNE_OK);
    check_fail_allocation(0);
    assert_true(k > 15);
    tune_record_free(&pulses);
    tune_record_free(&coast);
    tune_record_free(&move);
    tune_record_free(&index);
    tune_record_free(&with);
    tune_record_free(&without);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses_tell_inertia_and_friction),
        cmocka_unit_test(a_sign_or_scale_of_torque_or_angle_shows_in_the_gain),
        cmocka_unit_test(a_place_where_torque_is_less_is_found),
        cmocka_unit_test(pulses_that_tell_nothing_are_refused),
        cmocka_unit_test(a_move_is_measured_between_its_still_ends),
        cmocka_unit_test(a_limit_is_seen_where_braking_begins_and_ends),
        cmocka_unit_test(what_the_drive_bore_and_where_it_tripped),
        cmocka_unit_test(the_way_to_rest_follows_from_the_deceleration),
        cmocka_unit_test(a_coast_tells_friction_and_drag),
        cmocka_unit_test(coasts_that_tell_nothing_are_refused),
        cmocka_unit_test(the_scatter_of_the_index_is_told_from_its_hysteresis),
        cmocka_unit_test(a_weight_tells_the_true_torque),
        cmocka_unit_test(nonsense_is_answered_or_refused),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
