/* probe_control.c - prints what the control room says, for the scripts beside it.
 * Standard input, any number of times:
 *     J B delay_s loop_rate_hz n_modes, n_modes x (f zeta gain)
 *     kp ki kd derivative_filter lowpass order zeta n_biquads, n_biquads x (zero zeta pole zeta)
 *     n, n x f_hz,  m, m x error
 * Output, one line each: sections (b0 b1 b2 a1 a2 ...); C at f_hz (re im ...); torque of the running
 * controller; stable gain_margin its_hz reduction phase_margin its_hz Ms Mt noise_torque.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "control/loop.h"

enum { POINTS_MAX = 4096 };

static int read_plant(struct tune_plant *plant)
{
    if (scanf("%lf%lf%lf%lf%zu", &plant->inertia_kg_m2, &plant->viscous_nm_s_per_rad,
              &plant->delay_s, &plant->loop_rate_hz, &plant->n_modes) != 5)
        return 0;
    for (size_t k = 0; k < plant->n_modes; k++)
        if (scanf("%lf%lf%lf", &plant->mode[k].f_hz, &plant->mode[k].zeta, &plant->mode[k].gain) !=
            3)
            return 0;
    return 1;
}

static int read_controller(struct tune_controller *c)
{
    if (scanf("%lf%lf%lf%lf%lf%d%lf%zu", &c->kp_nm_per_rad, &c->ki_nm_per_rad_s,
              &c->kd_nm_s_per_rad, &c->derivative_filter_hz, &c->lowpass_hz, &c->lowpass_order,
              &c->lowpass_zeta, &c->n_biquads) != 8)
        return 0;
    for (size_t k = 0; k < c->n_biquads; k++)
        if (scanf("%lf%lf%lf%lf", &c->biquad[k].zero_hz, &c->biquad[k].zero_zeta,
                  &c->biquad[k].pole_hz, &c->biquad[k].pole_zeta) != 4)
            return 0;
    return 1;
}

static size_t read_list(double *x)
{
    size_t n;
    if (scanf("%zu", &n) != 1 || n > POINTS_MAX) return 0;
    for (size_t i = 0; i < n; i++)
        if (scanf("%lf", &x[i]) != 1) return 0;
    return n;
}

static void print_controller(const struct tune_controller *c)
{
    static double x[POINTS_MAX];
    static double complex response[POINTS_MAX];
    struct tune_biquad section[TUNE_BIQUADS_MAX + 1];
    struct tune_controller_state run;
    size_t n = tune_controller_sections(section, c);
    for (size_t k = 0; k < n; k++)
        printf("%.17g %.17g %.17g %.17g %.17g ", section[k].b0, section[k].b1, section[k].b2,
               section[k].a1, section[k].a2);
    printf("\n");
    n = read_list(x);
    tune_controller_eval(response, c, x, n);
    for (size_t i = 0; i < n; i++)
        printf("%.17g %.17g ", creal(response[i]), cimag(response[i]));
    printf("\n");
    n = read_list(x);
    tune_controller_start(&run, c);
    for (size_t i = 0; i < n; i++)
        printf("%.17g ", tune_controller_step(&run, x[i]));
    printf("\n");
}

int main(void)
{
    struct tune_plant plant = {0};
    struct tune_controller controller;
    while (read_plant(&plant)) {
        struct tune_margins m;
        struct tune_error err = {.text = ""};
        double noise = 0.0;
        bool stable;
        controller = tune_controller_defaults(plant.loop_rate_hz);
        if (!read_controller(&controller)) return 1;
        print_controller(&controller);
        if (tune_loop_judge(&m, &stable, &plant, &controller, &err) != TUNE_OK ||
            (stable && tune_loop_noise_torque(&noise, &plant, &controller, 1.0, &err) != TUNE_OK)) {
            fprintf(stderr, "%s\n", err.text);
            return 1;
        }
        printf("%d %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n", stable, m.gain_margin,
               m.gain_margin_hz, m.gain_reduction_margin, m.phase_margin_rad, m.phase_margin_hz,
               m.sens_peak, m.comp_sens_peak, noise);
    }
    return 0;
}
