/* bench_design.c - a design over five pointings and three mode shifts: what it costs and what it buys.
 *
 * Direct-drive axis, 1500 kg m^2, loop 2 kHz, payload on a 14.8 Hz spring, one non-collocated mode.
 * Prints jitter, noise torque and the worst sensitivity per filter count, then the worst sensitivity
 * and stability over mode shifts the design has not seen.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "control/loop.h"
#include "core/random.h"
#include "core/units.h"
#include "design/design.h"

enum { POINTINGS = 5, MODES = 5 };

static const char *const names[POINTINGS] = {"zenith", "east-45", "west-45", "east-20", "west-20"};

static void axis(struct tune_plant plants[POINTINGS])
{
    static const double inertia[] = {1500, 1400, 1620, 1560, 1450};
    static const double scale[POINTINGS][MODES] = {{1, 1, 1, 1, 1},
                                                   {1.04, 1.01, 1.02, .98, 1.0},
                                                   {.96, .99, .98, 1.02, 1.01},
                                                   {.98, 1.02, 1.01, .99, .98},
                                                   {1.02, .98, .99, 1.01, 1.02}};
    static const struct tune_mode mode[MODES] = {{14.8, .004, .30, -1.0 / .3},
                                                 {31.0, .010, .12, 0.0},
                                                 {62.5, .004, .05, 0.0},
                                                 {104.0, .02, -.08, 0.0},
                                                 {168.0, .012, .06, 0.0}};
    for (int p = 0; p < POINTINGS; p++) {
        plants[p] = (struct tune_plant){.inertia_kg_m2 = inertia[p],
                                        .viscous_nm_s_per_rad = 60.0,
                                        .delay_s = 1.2 / 2000.0,
                                        .loop_rate_hz = 2000.0,
                                        .n_modes = MODES};
        for (int k = 0; k < MODES; k++) {
            plants[p].mode[k] = mode[k];
            plants[p].mode[k].f_hz *= scale[p][k];
        }
    }
}

static double seconds(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Every mode shifted on its own, uniformly within +-5 %, and alternating signs. */
static void unseen(const struct tune_plant *plants, const struct tune_controller *controller)
{
    struct tune_random rng;
    double peak = 0.0;
    int unstable = 0, loops = 0;
    tune_random_init(&rng, 1, 0);
    for (int p = 0; p < POINTINGS; p++)
        for (int trial = 0; trial < 20; trial++) {
            struct tune_plant plant = plants[p];
            struct tune_margins margins;
            bool stable = false;
            for (size_t k = 0; k < plant.n_modes; k++) {
                const double sign = (k + (size_t)trial) % 2 ? 1.0 : -1.0;
                plant.mode[k].f_hz *=
                    1.0 + 0.05 * (trial < 2 ? sign : 2.0 * tune_random_uniform(&rng) - 1.0);
            }
            loops++;
            if (tune_loop_judge(&margins, &stable, &plant, controller, NULL) != TUNE_OK || !stable)
                unstable++;
            else
                peak = fmax(peak, margins.sens_peak);
        }
    printf("  unseen shifts: %d loops, worst Ms %.3f, unstable %d\n", loops, peak, unstable);
}

static void run(const struct tune_plant *plants, const struct tune_disturbance *disturbance,
                const struct tune_design_opts *opts, const char *title)
{
    struct tune_design design;
    struct tune_error err;
    const double start = seconds();
    const enum tune_status status =
        tune_design_controller(&design, plants, names, POINTINGS, disturbance, opts, NULL, &err);
    printf("%s: %.2f s\n", title, seconds() - start);
    if (status != TUNE_OK) {
        printf("  %s\n", err.text);
        return;
    }
    for (size_t i = 0; i < design.n_steps; i++) {
        const struct tune_design_step *s = &design.step[i];
        printf("  +%zu%s objective %7.2f  sky %7.2f  encoder %7.2f mas  noise %.2f N m  Ms %.3f  %s"
               "  limit: %s\n",
               i, i == design.recommended ? "*" : " ", 1e3 * tune_arcsec_from_rad(s->objective_rad),
               1e3 * tune_arcsec_from_rad(s->sky_rms_rad),
               1e3 * tune_arcsec_from_rad(s->encoder_rms_rad), s->noise_torque_rms_nm, s->sens_peak,
               s->feasible ? "feasible" : "NOT feasible", s->binding);
    }
    unseen(plants, &design.step[design.recommended].controller);
}

int main(void)
{
    struct tune_plant plants[POINTINGS];
    struct tune_design_opts opts = tune_design_defaults();
    const double step = 2.0 * TUNE_PI / 268435456.0; /* 28 bit encoder */
    const double noise = sqrt(15e-9 * 15e-9 + step * step / 12.0);
    const struct tune_disturbance wind = tune_disturbance_stated(3.0, 0.2, 0.05, noise, 2000.0);
    axis(plants);
    opts.noise_torque_rms_nm = 6.0;
    opts.sensor_noise_rad = noise;
    run(plants, &wind, &opts, "line of sight");
    opts.gain_stabilised_above_hz = 40.0;
    run(plants, &wind, &opts, "line of sight, gain-stabilised above 40 Hz");
    opts.gain_stabilised_above_hz = 0.0;
    opts.phase_margin_rad = 40.0 * TUNE_RAD_PER_DEG;
    run(plants, &wind, &opts, "line of sight, phase margin 40 deg");
    opts.phase_margin_rad = 0.0;
    opts.encoder_objective = true;
    run(plants, &wind, &opts, "encoder");
    return 0;
}
