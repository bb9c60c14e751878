/* test_loop_judge.c - the loop of an axis against the eigenvalues of its matrix, its noise against
 * Lyapunov's equation and a run in time.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "support/axis_matrix.h"

/* ---- stability ----------------------------------------------------------------------------------*/

static size_t poles_outside(const struct tune_plant *plant, const struct tune_controller *c,
                            double *nearest)
{
    static struct axis_matrix matrix;
    double complex pole[AXIS_STATES_MOST];
    size_t outside = 0;
    *nearest = 1.0;
    axis_matrix_make(&matrix, plant, c);
    axis_matrix_poles(pole, &matrix);
    for (size_t i = 0; i < matrix.n; i++) {
        outside += cabs(pole[i]) > 1.0;
        *nearest = fmin(*nearest, fabs(cabs(pole[i]) - 1.0));
    }
    return outside;
}

static void judgement_agrees_with_the_eigenvalues(void **state)
{
    struct tune_random rng;
    struct tune_error err;
    const int loops = 200 * (int)check_multiplier();
    int stable_loops = 0, skipped = 0;
    (void)state;
    tune_random_init(&rng, 31, 0);
    for (int i = 0; i < loops; i++) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double nearest;
        const size_t outside = poles_outside(&plant, &c, &nearest);
        bool stable;
        /* eigenvalues near z = 1 come in clusters of three and are good to 1e-9 or so */
        if (nearest < 1e-8) {
            skipped++;
            continue;
        }
        if (tune_loop_judge(NULL, &stable, &plant, &c, &err) != TUNE_OK)
            fail_msg("loop %d of seed 31: %s", i, err.text);
        if (stable != (outside == 0))
            fail_msg("loop %d of seed 31: %zu poles outside, judged %s", i, outside,
                     stable ? "stable" : "unstable");
        stable_loops += stable;
    }
    check_between(stable_loops, 0.2 * loops, 0.8 * loops); /* the test sees both kinds */
    check_between(skipped, 0, 0.02 * loops);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(judgement_agrees_with_the_eigenvalues),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
