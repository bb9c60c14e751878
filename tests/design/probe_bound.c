/* probe_bound.c - prints the least jitter of any linear controller, for the script beside it.
 * Standard input, any number of times:
 *     J B delay_s loop_rate_hz n_modes, n_modes x (f zeta gain ratio)
 *     wind_rms wind_corner drive_per_rthz sensor_noise
 *     encoder (0|1) peak_sensitivity noise_torque, kp ki kd derivative_filter of the start
 * Output, one line each: rms_rad peak noise_torque start_rms_rad spread.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "design/bound.h"

static int read_plant(struct tune_plant *plant)
{
    *plant = (struct tune_plant){0};
    if (scanf("%lf%lf%lf%lf%zu", &plant->inertia_kg_m2, &plant->viscous_nm_s_per_rad,
              &plant->delay_s, &plant->loop_rate_hz, &plant->n_modes) != 5 ||
        plant->n_modes > TUNE_MODES_MAX)
        return 0;
    for (size_t k = 0; k < plant->n_modes; k++) {
        struct tune_mode *mode = &plant->mode[k];
        if (scanf("%lf%lf%lf%lf", &mode->f_hz, &mode->zeta, &mode->gain, &mode->payload_ratio) != 4)
            return 0;
    }
    return 1;
}

int main(void)
{
    struct tune_plant plant;
    while (read_plant(&plant)) {
        struct tune_controller start = tune_controller_defaults(plant.loop_rate_hz);
        struct tune_bound_opts opts = tune_bound_defaults();
        double wind, corner, drive;
        int encoder;
        struct tune_bound b;
        struct tune_error err;
        if (scanf("%lf%lf%lf%lf%d%lf%lf%lf%lf%lf%lf", &wind, &corner, &drive,
                  &opts.sensor_noise_rad, &encoder, &opts.peak_sensitivity,
                  &opts.noise_torque_rms_nm, &start.kp_nm_per_rad, &start.ki_nm_per_rad_s,
                  &start.kd_nm_s_per_rad, &start.derivative_filter_hz) != 11)
            return 2;
        const struct tune_disturbance disturbance =
            tune_disturbance_stated(wind, corner, drive, opts.sensor_noise_rad, plant.loop_rate_hz);
        opts.encoder_objective = encoder != 0;
        if (tune_design_bound(&b, &plant, &start, &disturbance, &opts, NULL, &err) != TUNE_OK) {
            (void)fprintf(stderr, "%s\n", err.text);
            return 1;
        }
        printf("%.17g %.17g %.17g %.17g %.17g\n", b.rms_rad, b.peak_sensitivity,
               b.noise_torque_rms_nm, b.start_rms_rad, b.spread);
    }
    return 0;
}
