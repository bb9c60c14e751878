/* test_time_and_frequency.c - what the rooms say by frequency, against the axis run sample by sample.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "control/loop.h"
#include "core/units.h"
#include "simulation/axis.h"
#include "support/axis_matrix.h"

enum { TONES = 6 };

/* Largest distance of a closed-loop pole from 0; the loop forgets in 1/(1 - radius) samples. */
static double spectral_radius(const struct tune_plant *plant, const struct tune_controller *c)
{
    static struct axis_matrix matrix;
    double complex pole[AXIS_STATES_MOST];
    double radius = 0.0;
    axis_matrix_make(&matrix, plant, c);
    axis_matrix_poles(pole, &matrix);
    for (size_t i = 0; i < matrix.n; i++)
        radius = fmax(radius, cabs(pole[i]));
    return radius;
}

static struct tune_axis linear_axis(const struct tune_plant *plant)
{
    struct tune_axis axis = tune_axis_defaults();
    axis.plant = *plant;
    return axis;
}

static struct tune_axis_trace simulated(const struct tune_axis *axis,
                                        const struct tune_axis_run *run)
{
    struct tune_axis_trace trace;
    struct tune_error err;
    if (tune_axis_simulate(&trace, axis, run, NULL, &err) != TUNE_OK) fail_msg("%s", err.text);
    return trace;
}

static double complex tone_in(const double *x, size_t n, size_t cycles)
{
    double complex sum = 0.0;
    for (size_t k = 0; k < n; k++)
        sum += x[k] * cexp(CMPLX(0.0, -2.0 * TUNE_PI * (double)(cycles * k % n) / (double)n));
    return sum;
}

/* Tones added to the controller's torque: the torque that comes out is S times what was added, the
 * position G S times it. Whole periods, after the loop has forgotten its start. */
static void probe_tones_meet_the_sensitivity(void **state)
{
    enum { PERIOD = 4000 };
    static const size_t cycles[TONES] = {3, 17, 60, 190, 433, 1501};
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 61, 0);
    for (int checked = 0; checked < 6 * (int)check_multiplier();) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        const struct tune_axis axis = linear_axis(&plant);
        const double forget = 40.0 / (1.0 - spectral_radius(&plant, &c)); /* e^-40 */
        struct tune_axis_run run = {.controller = &c};
        struct tune_axis_trace trace;
        double *added;
        if (!(forget > 0.0 && forget < 300000.0)) continue;
        run.n = PERIOD * (2 + (size_t)(forget / PERIOD));
        added = malloc(run.n * sizeof *added);
        assert_non_null(added);
        for (size_t k = 0; k < run.n; k++) {
            added[k] = 0.0;
            for (int t = 0; t < TONES; t++)
                added[k] += sin(2.0 * TUNE_PI * (double)(cycles[t] * k % PERIOD) / PERIOD + t);
        }
        run.excitation_nm = added;
        trace = simulated(&axis, &run);
        for (int t = 0; t < TONES; t++) {
            const double f = plant.loop_rate_hz * (double)cycles[t] / PERIOD;
            const size_t last = run.n - PERIOD;
            const double complex d = tone_in(added + last, PERIOD, cycles[t]);
            const double complex u = tone_in(trace.torque_nm + last, PERIOD, cycles[t]);
            const double complex y = tone_in(trace.position_rad + last, PERIOD, cycles[t]);
            double complex g, k, s;
            tune_plant_eval(&g, &plant, TUNE_PATH_MOTOR_ENCODER, &f, 1);
            tune_controller_eval(&k, &c, &f, 1);
            s = 1.0 / (1.0 + g * k);
            /* rounding of the run: its largest values are those of the strongest tone */
            check_close(cabs(u / d - s), 0.0, 1e-8 * (1.0 + cabs(s)));
            check_close(cabs(y / d - g * s), 0.0, 1e-7 * cabs(g * s));
        }
        tune_axis_trace_free(&trace);
        free(added);
        checked++;
    }
}

static double largest(const double *x, size_t from, size_t to)
{
    double most = 0.0;
    for (size_t k = from; k < to; k++)
        most = fmax(most, fabs(x[k]));
    return most;
}

/* Let go a little off its target, without a torque limit, a loop counted stable comes to rest and one
 * counted unstable runs away. */
static void loops_behave_as_counted(void **state)
{
    struct tune_random rng;
    struct tune_error err;
    int kinds[2] = {0, 0};
    (void)state;
    tune_random_init(&rng, 62, 0);
    for (int checked = 0; checked < 40 * (int)check_multiplier();) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        const struct tune_axis axis = linear_axis(&plant);
        const double margin = fabs(1.0 - spectral_radius(&plant, &c));
        const size_t n = (size_t)(60.0 / margin);
        const struct tune_axis_run run = {.n = n, .controller = &c, .start_rad = 1e-6};
        struct tune_axis_trace trace;
        double early, late;
        bool stable;
        if (margin < 5e-4) continue; /* too slow to wait for */
        assert_int_equal(tune_loop_judge(NULL, &stable, &plant, &c, &err), TUNE_OK);
        trace = simulated(&axis, &run);
        early = largest(trace.true_rad, 0, n / 3);
        late = largest(trace.true_rad, n - n / 3, n);
        /* between the two the slowest pole has had e^20 or more */
        if (stable)
            assert_true(!trace.diverged && late < 1e-4 * early);
        else
            assert_true(trace.diverged || late > 1e4 * early);
        tune_axis_trace_free(&trace);
        kinds[stable]++;
        checked++;
    }
    assert_true(kinds[0] > 5 && kinds[1] > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(probe_tones_meet_the_sensitivity),
        cmocka_unit_test(loops_behave_as_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
