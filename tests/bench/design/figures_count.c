/* figures_count.c - the count of encirclements against the eigenvalues of the closed loop.
 *
 * usage: figures_count [SEED [PART]]
 * Random axes and controllers, half of them unstable (tests/support/axis_matrix.h). A loop with a pole
 * within 1e-8 of the unit circle is no trial: eigenvalues in clusters at z = 1 are no better than that.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "../../montecarlo/figure.h"
#include "../../support/axis_matrix.h"
#include "control/loop.h"

enum { LOOPS = 1000 };

int main(int argc, char **argv)
{
    const unsigned long seed = argc > 1 ? strtoul(argv[1], NULL, 10) : 0;
    const unsigned long part = argc > 2 ? strtoul(argv[2], NULL, 10) : 1;
    const unsigned long loops = LOOPS / (part > 0 ? part : 1);
    unsigned long agreed = 0, unstable = 0, skipped = 0;
    struct tune_random rng;
    char goal[40];
    tune_random_init(&rng, 1000 * seed + 1, 3);
    for (unsigned long i = 0; i < loops;) {
        const struct tune_plant plant = axis_random_plant(&rng);
        const struct tune_controller c = axis_random_controller(&rng, &plant);
        double nearest;
        const size_t outside = axis_poles_outside(&plant, &c, &nearest);
        bool stable;
        if (nearest < 1e-8) {
            skipped++;
            continue;
        }
        i++;
        unstable += outside > 0;
        agreed +=
            tune_loop_judge(NULL, &stable, &plant, &c, NULL) == TUNE_OK && stable == (outside == 0);
    }
    printf("stability: %lu of %lu loops unstable, %lu more too near the edge for eigenvalues\n",
           unstable, loops, skipped);
    (void)snprintf(goal, sizeof goal, "%lu", loops);
    (void)figure("stability", "random loops judged as by their eigenvalues", goal, (double)agreed,
                 (double)loops, (double)loops);
    return 0;
}
