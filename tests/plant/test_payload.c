/* test_payload.c - which mode of a fit the payload is taken to hang on.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "plant/fit.h"

/* The mode at 3 Hz is the softest by far, that at 20 Hz the next; g/f^2 is 0.011, 0.00075 and 2e-5. */
static struct tune_fit some_fit(void)
{
    static const double hz[3] = {3.0, 20.0, 70.0}, zeta[3] = {0.01, 0.012, 0.02},
                        gain[3] = {0.1, 0.3, 0.1};
    struct tune_fit fit = {.plant = {.inertia_kg_m2 = 100.0, .loop_rate_hz = 1000.0, .n_modes = 3}};
    for (size_t k = 0; k < 3; k++) {
        fit.plant.mode[k] = (struct tune_mode){
            .f_hz = hz[k], .zeta = zeta[k], .gain = gain[k], .payload_ratio = (double)NAN};
        fit.mode_gain[k] = (struct tune_estimate){gain[k], 0.01 * gain[k]};
        fit.mode_zeta[k] = (struct tune_estimate){zeta[k], 0.01 * zeta[k]};
    }
    return fit;
}

static void hangs_on(const struct tune_fit *fit, size_t mode)
{
    struct tune_plant plant = fit->plant;
    assert_int_equal(tune_fit_assume_payload(&plant, fit), mode);
    for (size_t k = 0; k < plant.n_modes; k++) {
        const double want = mode == plant.n_modes ? 1.0
                            : k == mode           ? -1.0 / fit->plant.mode[k].gain
                                                  : 0.0;
        check_close_rel(plant.mode[k].payload_ratio, want, 1e-15);
        check_close(plant.mode[k].gain, fit->plant.mode[k].gain,
                    0.0); /* and nothing else is touched */
    }
}

static void the_softest_mode_that_the_data_show_carries_the_payload(void **state)
{
    struct tune_fit fit = some_fit();
    (void)state;
    hangs_on(&fit, 0);
    fit.mode_gain[0].std = 0.1 / 3.9; /* 3.9 std above nothing */
    hangs_on(&fit, 1);
    fit.mode_gain[0].std = 0.1 / 4.1;
    hangs_on(&fit, 0);
    fit.mode_gain[0].std = (double)NAN; /* nobody knows how well */
    hangs_on(&fit, 1);
}

static void a_bend_so_damped_that_it_is_no_mode_carries_nothing(void **state)
{
    struct tune_fit fit = some_fit();
    (void)state;
    fit.plant.mode[0].zeta = fit.mode_zeta[0].value = 0.21;
    hangs_on(&fit, 1);
    fit.plant.mode[0].zeta = fit.mode_zeta[0].value = 0.19;
    hangs_on(&fit, 0);
}

static void where_no_mode_is_shown_the_payload_moves_with_the_motor(void **state)
{
    struct tune_fit fit = some_fit();
    (void)state;
    for (size_t k = 0; k < 3; k++)
        fit.mode_gain[k].std = 1.0;
    hangs_on(&fit, 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_softest_mode_that_the_data_show_carries_the_payload),
        cmocka_unit_test(a_bend_so_damped_that_it_is_no_mode_carries_nothing),
        cmocka_unit_test(where_no_mode_is_shown_the_payload_moves_with_the_motor),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
