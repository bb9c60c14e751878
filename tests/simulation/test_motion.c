/* test_motion.c - exact motion over stretches of constant torque.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>

#include "core/units.h"
#include "simulation/axis_internal.h"

static double complex turn(double angle_rad)
{
    return CMPLX(cos(angle_rad), sin(angle_rad));
}

static struct tune_plant example(double viscous, double zeta)
{
    struct tune_plant plant = {.inertia_kg_m2 = 5.0,
                               .viscous_nm_s_per_rad = viscous,
                               .loop_rate_hz = 1000.0,
                               .n_modes = 2};
    plant.mode[0] = (struct tune_mode){20.0, zeta, 0.4, -2.5, 0.0};
    plant.mode[1] = (struct tune_mode){333.0, zeta, -0.1, 0.7, 0.0};
    return plant;
}

static void steps_compose(void **state)
{
    const double viscous[] = {0.0, 1e-6, 3.0, 4e4};
    (void)state;
    for (size_t k = 0; k < 4; k++) {
        const struct tune_plant plant = example(viscous[k], 0.01);
        struct motion_step whole, part;
        struct motion a, b;
        tune_motion_start(&a, &plant);
        tune_motion_set_ramp(&a, &plant, 0.3, 0.02);
        b = a;
        tune_motion_step_make(&whole, &plant, 0.7e-3);
        tune_motion_step_make(&part, &plant, 0.1e-3);
        tune_motion_advance(&a, &whole, 2.0, -1.0);
        for (int i = 0; i < 7; i++)
            tune_motion_advance(&b, &part, 2.0, -1.0);
        check_close(tune_motion_angle(&a), tune_motion_angle(&b), 1e-15); /* rounding */
        check_close(tune_motion_payload(&a), tune_motion_payload(&b), 1e-15);
        check_close_rel(tune_motion_speed(&a), tune_motion_speed(&b), 1e-11);
    }
}

static void energy_stays_where_nothing_takes_it(void **state)
{
    const struct tune_plant plant = example(0.0, 1e-15);
    struct motion_step step;
    struct motion m;
    double energy[3];
    (void)state;
    tune_motion_start(&m, &plant);
    tune_motion_step_make(&step, &plant, 2e-4);
    tune_motion_advance(&m, &step, 100.0, 0.0);
    for (int look = 0; look < 2; look++) {
        for (size_t k = 0; k < 3; k++) {
            const double w = k > 0 ? 2.0 * TUNE_PI * plant.mode[k - 1].f_hz : 0.0;
            const double e = m.v[k] * m.v[k] + w * w * m.q[k] * m.q[k];
            if (look > 0) check_close_rel(e, energy[k], 1e-10); /* rounding of 1e5 steps */
            energy[k] = e;
        }
        for (int i = 0; i < 100000; i++)
            tune_motion_advance(&m, &step, 0.0, 0.0);
    }
}

static struct tune_plant complex_example(double viscous)
{
    struct tune_plant plant = example(viscous, 0.01);
    plant.complex_residues = true;
    plant.mode[0].gain_quadrature = 0.2;
    plant.mode[1].gain = 0.0;
    plant.mode[1].gain_quadrature = -0.05;
    return plant;
}

static void ramp_goes_on(const struct tune_plant *plant)
{
    struct motion_step step;
    struct motion m;
    tune_motion_start(&m, plant);
    tune_motion_step_make(&step, plant, 1e-3);
    tune_motion_set_ramp(&m, plant, -0.1, 0.05);
    for (int i = 0; i < 5000; i++)
        tune_motion_advance(&m, &step, 3.0 * 0.05, 0.0);
    check_close(tune_motion_angle(&m), -0.1 + 0.05 * 5.0, 1e-13); /* rounding */
    check_close(tune_motion_speed(&m), 0.05, 1e-13);
}

static void a_ramp_goes_on(void **state)
{
    const struct tune_plant neat = example(3.0, 0.01), complex_residues = complex_example(3.0);
    (void)state;
    ramp_goes_on(&neat);
    ramp_goes_on(&complex_residues);
}

/* Between two looks that are close the angle changes by the mean speed: cubes of the step are left. */
static void speed_is_the_rate_of_the_angle(void **state)
{
    const double h = 1e-6;
    const struct tune_plant plant = complex_example(3.0);
    struct motion_step lead, step;
    struct motion m, later;
    (void)state;
    tune_motion_step_make(&lead, &plant, 1.7e-3);
    tune_motion_step_make(&step, &plant, h);
    tune_motion_start(&m, &plant);
    tune_motion_advance(&m, &lead, 40.0, -3.0);
    later = m;
    tune_motion_advance(&later, &step, 40.0, -3.0);
    check_close_rel((tune_motion_angle(&later) - tune_motion_angle(&m)) / h,
                    0.5 * (tune_motion_speed(&later) + tune_motion_speed(&m)), 1e-6);
}

/* From a torque of +1 in the first period and -1 in the second, at motor or payload, the axis ends at
 * rest, displaced; first differences of angle over that torque are the sampled response. */
static void pushes_on_either_end_have_the_sampled_response(void **state)
{
    static const struct {
        enum tune_path path;
        bool at_payload, of_payload;
    } way[] = {{TUNE_PATH_DRIVE_ENCODER, false, false},
               {TUNE_PATH_DRIVE_PAYLOAD, false, true},
               {TUNE_PATH_PAYLOAD_ENCODER, true, false},
               {TUNE_PATH_PAYLOAD_PAYLOAD, true, true}};
    const double f[] = {0.2, 5.0, 19.0, 20.0, 100.0, 333.0, 480.0};
    const struct tune_plant plant = example(0.0, 0.05);
    struct motion_step step;
    (void)state;
    tune_motion_step_make(&step, &plant, 1e-3);
    for (size_t k = 0; k < 4; k++) {
        double complex sum[7] = {0.0}, g[7];
        struct motion m;
        double before = 0.0;
        tune_motion_start(&m, &plant);
        for (int i = 0; i < 6000; i++) {
            const double t = i == 0 ? 1.0 : i == 1 ? -1.0 : 0.0;
            const double angle =
                way[k].of_payload ? tune_motion_payload(&m) : tune_motion_angle(&m);
            for (size_t j = 0; j < 7; j++)
                sum[j] += (angle - before) * turn(-2e-3 * TUNE_PI * f[j] * i);
            before = angle;
            tune_motion_advance(&m, &step, way[k].at_payload ? 0.0 : t,
                                way[k].at_payload ? t : 0.0);
        }
        tune_plant_eval(g, &plant, way[k].path, f, 7);
        for (size_t j = 0; j < 7; j++) {
            const double complex d = 1.0 - turn(-2e-3 * TUNE_PI * f[j]);
            check_close(cabs(sum[j] / (d * d) / g[j] - 1.0), 0.0, 1e-8); /* rounding at 0.2 Hz */
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_compose),
        cmocka_unit_test(energy_stays_where_nothing_takes_it),
        cmocka_unit_test(a_ramp_goes_on),
        cmocka_unit_test(speed_is_the_rate_of_the_angle),
        cmocka_unit_test(pushes_on_either_end_have_the_sampled_response),
    };
    return cmocka_run_group_tests_name("motion", tests, NULL, NULL);
}
