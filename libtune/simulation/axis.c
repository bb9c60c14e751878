/* axis.c - the axis in the time domain.
 *
 * Torques are constant between events; the events of a loop period are its start, where noise and
 * wind step to their next value, and the instant a fraction of the delay later at which the drive
 * changes to the next command. Between events the linear motion is exact, so a linear axis agrees with
 * the response of the sampled model to rounding. Friction and ripple follow the motion and are held
 * over shorter steps.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulation/axis.h"

#include <math.h>
#include <stdlib.h>

#include "simulation/axis_internal.h"

struct tune_axis tune_axis_defaults(void)
{
    struct tune_axis axis = {.substeps = 5, .wind_corner_hz = 0.2};
    axis.plant.inertia_kg_m2 = 1.0;
    axis.plant.loop_rate_hz = 1000.0;
    return axis;
}

static struct stretch make_stretch(const struct simulator *sim, double part, size_t age)
{
    const double period = 1.0 / sim->axis->plant.loop_rate_hz;
    struct stretch stretch = {.age = age};
    if (part <= 0.0) return stretch;
    stretch.steps = 1;
    if (sim->follows_motion)
        stretch.steps = (size_t)ceil(part * tune_axis_steps_needed(sim->axis) - 1e-9);
    if (stretch.steps == 0) stretch.steps = 1;
    tune_motion_step_make(&stretch.step, &sim->axis->plant, part * period / (double)stretch.steps);
    return stretch;
}

/* delay = (whole + part) periods: the command of `whole` periods ago arrives `part` into the period */
static void divide_period(struct simulator *sim)
{
    const double delay = sim->axis->plant.delay_s * sim->axis->plant.loop_rate_hz;
    double whole = floor(delay), part = delay - whole;
    if (part > 1.0 - 1e-12) { /* rounding of delay_s * rate */
        whole += 1.0;
        part = 0.0;
    }
    sim->stretch[0] = make_stretch(sim, part, (size_t)whole + 1);
    sim->stretch[1] = make_stretch(sim, 1.0 - part, (size_t)whole);
}

/* What changes with the angle alone, opposing positive motion. */
static double at_angle(const struct tune_axis *axis, double angle_rad)
{
    double torque = axis->offset_nm + axis->cable_nm_per_rad * (angle_rad - axis->cable_rest_rad) -
                    tune_imbalance_pull(&axis->imbalance, angle_rad);
    if (axis->ripple_nm != 0.0)
        torque += axis->ripple_nm * sin(axis->ripple_per_turn * angle_rad + axis->ripple_phase_rad);
    return torque;
}

/* What cables add to Coulomb friction, over it. */
static double rubbing(const struct tune_axis *axis, double angle_rad)
{
    if (axis->drag_nm == 0.0) return 0.0;
    return 0.5 * axis->drag_nm * (1.0 + cos(angle_rad - axis->drag_angle_rad)) /
           axis->friction.coulomb_nm;
}

/* The controller as after long holding torque_nm without error: its filters pass constants unchanged. */
static void charge_controller(struct tune_controller_state *state, double torque_nm)
{
    state->integral = torque_nm;
    for (size_t i = 0; i < state->n_sections; i++) {
        state->state[i].s1 = (1.0 - state->section[i].b0) * torque_nm;
        state->state[i].s2 = (state->section[i].b2 - state->section[i].a2) * torque_nm;
    }
}

/* What a controller holds at that angle without ripple, which it cannot follow. */
static double standing(const struct tune_axis *axis, double angle_rad)
{
    struct tune_axis smooth = *axis;
    smooth.ripple_nm = 0.0;
    return at_angle(&smooth, angle_rad);
}

static void start_on_ramp(struct simulator *sim)
{
    const struct tune_axis *axis = sim->axis;
    const struct tune_axis_run *run = sim->run;
    const double v = run->start_rad_per_s;
    const double settling = (double)run->settle / axis->plant.loop_rate_hz;
    const double friction = tune_friction_steady(&axis->friction, v);
    const double first_rad = run->start_rad - v * settling;
    const double dry = friction - axis->friction.viscous_nm_s_per_rad * v;
    const double torque = friction + axis->plant.viscous_nm_s_per_rad * v +
                          rubbing(axis, first_rad) * dry + standing(axis, first_rad);
    tune_motion_start(&sim->motion, &axis->plant);
    tune_motion_set_ramp(&sim->motion, &axis->plant, first_rad, v);
    for (size_t k = 0; k < axis->plant.n_modes; k++)
        sim->motion.other[k + 1] = axis->other_ratio[k];
    if (axis->friction.coulomb_nm > 0.0) sim->bristle_rad = dry / axis->friction.bristle_nm_per_rad;
    if (!run->controller) return;
    tune_controller_start(&sim->controller, run->controller);
    if (run->controller->ki_nm_per_rad_s <= 0.0) return;
    charge_controller(&sim->controller, torque);
    for (size_t i = 0; i < AXIS_RING; i++)
        sim->command_nm[i] = torque;
}

static enum tune_status start_wind(struct simulator *sim, struct tune_error *err)
{
    const struct tune_axis *axis = sim->axis;
    const size_t n = sim->run->settle + sim->run->n;
    struct tune_random rng;
    if (axis->wind_rms_nm == 0.0) return TUNE_OK;
    sim->wind_nm = malloc(n * sizeof *sim->wind_nm);
    if (!sim->wind_nm) return tune_error_memory(err, "simulating the axis");
    tune_random_init(&rng, sim->run->seed, 4 * sim->run->stream + 2);
    return tune_wind_realise(sim->wind_nm, n, axis->plant.loop_rate_hz, axis->wind_rms_nm,
                             axis->wind_corner_hz, &rng, err);
}

enum tune_status tune_simulator_start(struct simulator *sim, const struct tune_axis *axis,
                                      const struct tune_axis_run *run, struct tune_error *err)
{
    const struct tune_friction *friction = &axis->friction;
    const enum tune_status status = tune_axis_check(axis, run, err);
    *sim = (struct simulator){0};
    if (status) return status;
    sim->axis = axis;
    sim->run = run;
    sim->follows_motion = friction->coulomb_nm > 0.0 || friction->viscous_nm_s_per_rad > 0.0 ||
                          axis->ripple_nm != 0.0 || axis->imbalance.nm != 0.0 ||
                          axis->offset_nm != 0.0 || axis->cable_nm_per_rad != 0.0;
    divide_period(sim);
    tune_random_init(&sim->encoder, run->seed, 4 * run->stream);
    tune_random_init(&sim->drive, run->seed, 4 * run->stream + 1);
    /* streams 4 k + 3 are left to whoever writes the log */
    tune_random_init(&sim->other, ~run->seed, 4 * run->stream + 3);
    /* white noise held for a period, one-sided density d: variance d^2 rate/2 */
    sim->drive_std_nm = axis->drive_noise_nm_per_rthz * sqrt(axis->plant.loop_rate_hz / 2.0);
    start_on_ramp(sim);
    return start_wind(sim, err);
}

void tune_simulator_free(struct simulator *sim)
{
    free(sim->wind_nm);
    sim->wind_nm = NULL;
}

/* Sine and cosine signals that are not quite equal, centred, and in quadrature make errors of the first and
 * second order of the line; their own harmonics make higher ones. */
static double interpolation_error(const struct tune_axis *axis, double angle)
{
    double error = 0.0;
    for (size_t k = 0; k < TUNE_INTERPOLATION_ORDERS; k++)
        if (axis->interpolation_rad[k] != 0.0)
            error += axis->interpolation_rad[k] *
                     sin((double)(k + 1) * axis->encoder_lines_per_turn * angle);
    return error;
}

static double read_encoder(struct simulator *sim, double angle)
{
    const double step = sim->axis->encoder_step_rad;
    double reading = angle;
    if (sim->axis->encoder_lines_per_turn > 0.0) reading += interpolation_error(sim->axis, angle);
    if (sim->axis->encoder_noise_rad > 0.0)
        reading += sim->axis->encoder_noise_rad * tune_random_normal(&sim->encoder);
    return step > 0.0 ? step * floor(reading / step + 0.5) : reading;
}

static double limited(double torque, double limit, bool *saturated)
{
    *saturated = limit > 0.0 && fabs(torque) > limit;
    return *saturated ? copysign(limit, torque) : torque;
}

/* Friction and what changes with the angle, at the motor, advanced by dt. */
static double resistance(struct simulator *sim, double dt)
{
    const struct tune_axis *axis = sim->axis;
    const double angle = tune_motion_angle(&sim->motion), speed = tune_motion_speed(&sim->motion);
    double torque = tune_friction_step(&axis->friction, &sim->bristle_rad, speed, dt);
    if (axis->drag_nm > 0.0)
        torque += rubbing(axis, angle) * (torque - axis->friction.viscous_nm_s_per_rad * speed);
    return torque + at_angle(axis, angle);
}

/* The motion from sample `now` to the next; returns the mean resistance. */
static double move(struct simulator *sim, size_t now, double load_nm)
{
    const double outside = load_nm + (sim->wind_nm ? sim->wind_nm[now] : 0.0);
    double drive = 0.0, impulse = 0.0; /* N m s */
    if (sim->drive_std_nm > 0.0) drive = sim->drive_std_nm * tune_random_normal(&sim->drive);
    for (int i = 0; i < 2; i++) {
        const struct stretch *stretch = &sim->stretch[i];
        const double command = sim->command_nm[(now - stretch->age) % AXIS_RING];
        for (size_t k = 0; k < stretch->steps; k++) {
            double against = 0.0;
            if (sim->follows_motion) against = resistance(sim, stretch->step.dt_s);
            impulse += against * stretch->step.dt_s;
            tune_motion_advance(&sim->motion, &stretch->step, command + drive - against, outside);
        }
    }
    return impulse * sim->axis->plant.loop_rate_hz;
}

/* The target at sample `now`, counted from the start of settling. */
static double target_at(const struct simulator *sim, size_t now)
{
    const struct tune_axis_run *run = sim->run;
    const double first = run->target_rad ? run->target_rad[0] : 0.0;
    if (now >= run->settle) return run->target_rad ? run->target_rad[now - run->settle] : 0.0;
    return first -
           run->start_rad_per_s * (double)(run->settle - now) / sim->axis->plant.loop_rate_hz;
}

struct axis_sample tune_simulator_look(struct simulator *sim)
{
    struct axis_sample sample = {.angle = tune_motion_angle(&sim->motion),
                                 .sky = tune_motion_payload(&sim->motion),
                                 .acceleration = tune_motion_payload_acceleration(&sim->motion),
                                 .other = tune_motion_other(&sim->motion)};
    if (sim->axis->other_noise_rad > 0.0)
        sample.other += sim->axis->other_noise_rad * tune_random_normal(&sim->other);
    sample.position = read_encoder(sim, sample.angle);
    return sample;
}

void tune_simulator_push(struct simulator *sim, struct axis_sample *sample, size_t now,
                         double torque_nm, double load_nm)
{
    sample->torque = limited(torque_nm, sim->axis->torque_limit_nm, &sample->saturated);
    sim->command_nm[now % AXIS_RING] = sample->torque;
    sample->friction = move(sim, now, load_nm);
}

static struct axis_sample advance(struct simulator *sim, size_t now)
{
    const struct tune_axis_run *run = sim->run;
    struct axis_sample sample = tune_simulator_look(sim);
    double torque = 0.0, load = 0.0;
    if (run->controller)
        torque = tune_controller_step(&sim->controller, target_at(sim, now) - sample.position);
    if (run->excitation_nm && now >= run->settle) torque += run->excitation_nm[now - run->settle];
    if (run->payload_nm && now >= run->settle) load = run->payload_nm[now - run->settle];
    tune_simulator_push(sim, &sample, now, torque, load);
    if (run->controller && run->tracking_s > 0.0 && run->controller->ki_nm_per_rad_s > 0.0)
        sim->controller.integral +=
            (sample.torque - torque) / (run->tracking_s * sim->axis->plant.loop_rate_hz);
    return sample;
}

bool tune_simulator_ran_away(const struct axis_sample *sample)
{
    const double turned = 1e6, torque = 1e15; /* beyond any axis; also true for NAN */
    return !(fabs(sample->angle) < turned && fabs(sample->torque) < torque);
}

static void record(struct tune_axis_trace *out, size_t i, const struct axis_sample *sample)
{
    out->position_rad[i] = sample->position;
    out->torque_nm[i] = sample->torque;
    out->true_rad[i] = sample->angle;
    out->sky_rad[i] = sample->sky;
    out->payload_rad_per_s2[i] = sample->acceleration;
    out->other_rad[i] = sample->other;
    out->friction_nm[i] = sample->friction;
    out->saturated += sample->saturated;
}

static enum tune_status allocate(struct tune_axis_trace *out, size_t n, struct tune_error *err)
{
    double **array[] = {&out->position_rad,       &out->torque_nm, &out->true_rad,   &out->sky_rad,
                        &out->payload_rad_per_s2, &out->other_rad, &out->friction_nm};
    out->n = n;
    for (size_t i = 0; i < sizeof array / sizeof *array; i++)
        if (!(*array[i] = malloc(n * sizeof **array[i])))
            return tune_error_memory(err, "simulating the axis");
    return TUNE_OK;
}

static enum tune_status run_all(struct tune_axis_trace *out, struct simulator *sim,
                                const struct tune_watch *watch, struct tune_error *err)
{
    const size_t settle = sim->run->settle, total = settle + sim->run->n;
    struct axis_sample last = {.position = sim->run->start_rad}; /* last sound one */
    for (size_t now = 0; now < total; now++) {
        if (now % 16384 == 0) {
            const double done = (double)now / (double)total;
            const enum tune_status status = tune_watch_tick(watch, "simulating", done, err);
            if (status) return status;
        }
        if (!out->diverged) {
            const struct axis_sample sample = advance(sim, now);
            out->diverged = tune_simulator_ran_away(&sample);
            if (!out->diverged) last = sample;
        }
        if (now >= settle) record(out, now - settle, &last);
    }
    return TUNE_OK;
}

enum tune_status tune_axis_simulate(struct tune_axis_trace *out, const struct tune_axis *axis,
                                    const struct tune_axis_run *run, const struct tune_watch *watch,
                                    struct tune_error *err)
{
    struct simulator sim;
    enum tune_status status;
    *out = (struct tune_axis_trace){0};
    status = tune_simulator_start(&sim, axis, run, err);
    if (!status) status = allocate(out, run->n, err);
    if (!status) status = run_all(out, &sim, watch, err);
    if (status) tune_axis_trace_free(out);
    tune_simulator_free(&sim);
    return status;
}

void tune_axis_trace_free(struct tune_axis_trace *trace)
{
    free(trace->position_rad);
    free(trace->torque_nm);
    free(trace->true_rad);
    free(trace->sky_rad);
    free(trace->payload_rad_per_s2);
    free(trace->other_rad);
    free(trace->friction_nm);
    *trace = (struct tune_axis_trace){0};
}
