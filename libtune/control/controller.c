/* controller.c - the discrete PID with low-pass and biquads, by frequency and by sample.
 *
 * With e = 1 - z^-1 the PID is  kp + ki T/e + kd (a/T) e / (a + (1 - a) e).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/controller.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "control/biquad_internal.h"
#include "control/pid_form.h"
#include "core/units.h"

struct tune_controller tune_controller_defaults(double loop_rate_hz)
{
    return (struct tune_controller){
        .loop_rate_hz = loop_rate_hz, .lowpass_order = 2, .lowpass_zeta = 0.7071};
}

/* ---- ranges -----------------------------------------------------------------------------------*/

static enum tune_status need_positive(struct tune_error *err, const char *key, double value)
{
    return value > 0.0 && isfinite(value) ? TUNE_OK : tune_error_range(err, key, value, "above 0");
}

static enum tune_status need_not_negative(struct tune_error *err, const char *key, double value)
{
    return value >= 0.0 && isfinite(value) ? TUNE_OK
                                           : tune_error_range(err, key, value, "0 or more");
}

static enum tune_status need_below_nyquist(struct tune_error *err, const char *key, double value,
                                           double rate_hz)
{
    char limit[64];
    if (value > 0.0 && value < 0.5 * rate_hz) return TUNE_OK;
    (void)snprintf(limit, sizeof limit, "above 0 and below half the loop rate, %g Hz",
                   0.5 * rate_hz);
    return tune_error_range(err, key, value, limit);
}

static enum tune_status check_biquad(const struct tune_biquad_spec *spec, size_t number,
                                     double rate_hz, struct tune_error *err)
{
    enum tune_status status;
    char key[4][32];
    static const char *const field[] = {"zero_hz", "zero_zeta", "pole_hz", "pole_zeta"};
    for (size_t i = 0; i < 4; i++)
        (void)snprintf(key[i], sizeof key[i], "biquad%zu_%s", number, field[i]);
    status = need_positive(err, key[0], spec->zero_hz);
    if (!status) status = need_not_negative(err, key[1], spec->zero_zeta);
    if (!status) status = need_below_nyquist(err, key[2], spec->pole_hz, rate_hz);
    if (!status) status = need_positive(err, key[3], spec->pole_zeta);
    return status;
}

/* Two rates need a cascade to have them. */
static enum tune_status check_divider(const struct tune_controller *c, struct tune_error *err)
{
    struct tune_cascade cascade;
    struct tune_error why = {0};
    char value[32];
    if (c->position_divider <= 1) return TUNE_OK;
    if (c->position_divider > TUNE_POSITION_DIVIDER_MAX)
        return tune_error_range(err, "position_divider", (double)c->position_divider,
                                "1000 or fewer");
    _Static_assert(TUNE_POSITION_DIVIDER_MAX == 1000, "the sentence above names the number");
    if (tune_cascade_from(&cascade, c, &why) == TUNE_OK) return TUNE_OK;
    (void)snprintf(value, sizeof value, "%zu", c->position_divider);
    (void)tune_error_set(err, TUNE_EINVAL, "position_divider is %s, but %s", value, why.text);
    tune_error_about(err, "position_divider", value, "1 for these gains");
    return TUNE_EINVAL;
}

enum tune_status tune_controller_check(const struct tune_controller *controller,
                                       struct tune_error *err)
{
    const struct tune_controller *c = controller;
    enum tune_status status = need_positive(err, "loop_rate_hz", c->loop_rate_hz);
    if (!status) status = need_not_negative(err, "kp_nm_per_rad", c->kp_nm_per_rad);
    if (!status) status = need_not_negative(err, "ki_nm_per_rad_s", c->ki_nm_per_rad_s);
    if (!status) status = need_not_negative(err, "kd_nm_s_per_rad", c->kd_nm_s_per_rad);
    if (!status) status = need_not_negative(err, "derivative_filter_hz", c->derivative_filter_hz);
    if (!status && c->lowpass_hz != 0.0) {
        status = need_below_nyquist(err, "lowpass_hz", c->lowpass_hz, c->loop_rate_hz);
        if (!status && c->lowpass_order != 1 && c->lowpass_order != 2)
            status = tune_error_range(err, "lowpass_order", c->lowpass_order, "1 or 2");
        if (!status && c->lowpass_order == 2)
            status = need_positive(err, "lowpass_zeta", c->lowpass_zeta);
    }
    if (!status && c->n_biquads > TUNE_BIQUADS_MAX)
        status = tune_error_range(err, "n_biquads", (double)c->n_biquads, "16 or fewer");
    _Static_assert(TUNE_BIQUADS_MAX == 16, "the sentence above names the number");
    for (size_t i = 0; !status && i < c->n_biquads; i++)
        status = check_biquad(&c->biquad[i], i + 1, c->loop_rate_hz, err);
    if (!status) status = check_divider(c, err);
    return status;
}

/* ---- by frequency -----------------------------------------------------------------------------*/

/* Share of the new difference in the filtered one: a = 1 - exp(-2 pi f_d T). */
static double derivative_share(const struct tune_controller *controller)
{
    if (controller->derivative_filter_hz == 0.0) return 1.0;
    return -expm1(-2.0 * TUNE_PI * controller->derivative_filter_hz / controller->loop_rate_hz);
}

size_t tune_controller_sections(struct tune_biquad *section,
                                const struct tune_controller *controller)
{
    size_t n = 0;
    if (controller->lowpass_hz > 0.0)
        section[n++] = tune_biquad_lowpass(controller->lowpass_hz, controller->lowpass_zeta,
                                           controller->lowpass_order, controller->loop_rate_hz);
    for (size_t i = 0; i < controller->n_biquads; i++)
        section[n++] = tune_biquad_from_spec(&controller->biquad[i], controller->loop_rate_hz);
    return n;
}

/* What PID and cascade are made of. */
struct pid {
    double rate, a;
    double kp, ki_t, kd_a_per_t;
    size_t divider; /* above 1: the cascade */
    double position_gain, velocity_gain, integral_t;
};

static struct pid pid_of(const struct tune_controller *controller)
{
    const double rate = controller->loop_rate_hz, a = derivative_share(controller);
    struct pid pid = {.rate = rate,
                      .a = a,
                      .kp = controller->kp_nm_per_rad,
                      .ki_t = controller->ki_nm_per_rad_s / rate,
                      .kd_a_per_t = controller->kd_nm_s_per_rad * a * rate,
                      .divider = controller->position_divider};
    struct tune_cascade cascade;
    if (pid.divider <= 1) return pid;
    if (tune_cascade_from(&cascade, controller, NULL) != TUNE_OK) {
        pid.divider = 1; /* _check refuses it */
        return pid;
    }
    pid.position_gain = cascade.position_gain_per_s;
    pid.velocity_gain = cascade.velocity_gain_nm_s_per_rad;
    pid.integral_t = cascade.velocity_integral_nm_per_rad / rate;
    return pid;
}

static double complex pid_eval(const struct pid *pid, double f_hz, double complex e)
{
    const double a = pid->a, n = (double)pid->divider;
    if (pid->divider <= 1)
        return pid->kp + pid->ki_t / e + pid->kd_a_per_t * e / (a + (1.0 - a) * e);
    const double complex hold = tune_backward_difference(f_hz, pid->rate / n) / (n * e);
    const double complex rate = a * pid->rate * e / (a + (1.0 - a) * e);
    return (pid->velocity_gain + pid->integral_t / e) * (pid->position_gain * hold + rate);
}

void tune_controller_eval(double complex *c, const struct tune_controller *controller,
                          const double *f_hz, size_t n)
{
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    const size_t n_sections = tune_controller_sections(section, controller);
    const struct pid pid = pid_of(controller);

    for (size_t i = 0; i < n; i++) {
        const double complex e = tune_backward_difference(f_hz[i], pid.rate);
        double complex above = 1.0, below = 1.0;
        for (size_t k = 0; k < n_sections; k++) {
            const struct tune_biquad *b = &section[k];
            above *= tune_polynomial_from_difference(b->b0, b->b1, b->b2, e);
            below *= tune_polynomial_from_difference(1.0, b->a1, b->a2, e);
        }
        c[i] = pid_eval(&pid, f_hz[i], e) * above / below;
    }
}

struct tune_controller tune_controller_scaled(const struct tune_controller *controller, double k)
{
    struct tune_controller scaled = *controller;
    scaled.kd_nm_s_per_rad *= k;
    scaled.kp_nm_per_rad *= k * k;
    scaled.ki_nm_per_rad_s *= k * k * k;
    return scaled;
}

/* ---- by sample --------------------------------------------------------------------------------*/

void tune_controller_start(struct tune_controller_state *state,
                           const struct tune_controller *controller)
{
    memset(state, 0, sizeof *state);
    state->n_sections = tune_controller_sections(state->section, controller);
    state->kp = controller->kp_nm_per_rad;
    state->ki_t = controller->ki_nm_per_rad_s / controller->loop_rate_hz;
    state->kd_per_t = controller->kd_nm_s_per_rad * controller->loop_rate_hz;
    state->a = derivative_share(controller);
    const struct pid pid = pid_of(controller);
    if (pid.divider <= 1) return;
    state->divider = pid.divider;
    state->position_gain = pid.position_gain;
    state->kp = pid.velocity_gain; /* of the velocity error */
    state->ki_t = pid.integral_t;
    state->kd_per_t = pid.rate;
}

/* The position loop hands the velocity loop a speed at every divider-th sample. */
static double cascade_step(struct tune_controller_state *state, double error_rad)
{
    double speed_error;
    if (state->until_position == 0) {
        state->held_rate = state->position_gain * error_rad;
        state->until_position = state->divider;
    }
    state->until_position--;
    speed_error = state->held_rate + state->derivative;
    state->integral += state->ki_t * speed_error;
    return state->kp * speed_error + state->integral;
}

double tune_controller_tracking_s(const struct tune_controller *controller)
{
    const double kp = controller->kp_nm_per_rad, ki = controller->ki_nm_per_rad_s,
                 kd = controller->kd_nm_s_per_rad;
    if (!(ki > 0.0 && kp > 0.0)) return 0.0;
    return kd > 0.0 ? sqrt(kd / ki) : kp / ki; /* kp cancels */
}

double tune_controller_step(struct tune_controller_state *state, double error_rad)
{
    double torque;
    if (!state->started) {
        state->previous_error = error_rad;
        state->started = true;
    }
    state->derivative = (1.0 - state->a) * state->derivative +
                        state->a * state->kd_per_t * (error_rad - state->previous_error);
    state->previous_error = error_rad;
    if (state->divider > 1) {
        torque = cascade_step(state, error_rad);
    } else {
        state->integral += state->ki_t * error_rad;
        torque = state->kp * error_rad + state->integral + state->derivative;
    }
    for (size_t k = 0; k < state->n_sections; k++)
        torque = tune_biquad_step(&state->section[k], &state->state[k], torque);
    return torque;
}
