/* test_identify_tables.c - tables of responses through the chain: exact ones, and memory that runs out.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/identify.h"
#include "chain/simulate.h"

static const char exact[] = "[axis]\nname = azimuth\n"
                            "[drive]\nloop_rate_hz = 1000\n"
                            "[controller]\nkp_nm_per_rad = 1.6e4\nki_nm_per_rad_s = 3e4\n"
                            "kd_nm_s_per_rad = 1.8e3\nderivative_filter_hz = 60\n"
                            "[plant]\ninertia_kg_m2 = 100\nviscous_nm_s_per_rad = 10\n"
                            "delay_s = 0.0012\nmode1_hz = 22\nmode1_zeta = 0.02\nmode1_gain = 0.2\n"
                            "[pointing a]\nangle_deg = 0\n[pointing b]\nangle_deg = 10\n"
                            "[log of-plant]\nkind = response\npointing = a\nsweep_from_hz = 0.4\n"
                            "sweep_to_hz = 300\nresponse_noise = 0\nresponse_std = none\n"
                            "points = 80\n"
                            "[log of-loop]\nkind = response\npointing = b\nsweep_from_hz = 0.4\n"
                            "sweep_to_hz = 300\nresponse_noise = 0\nresponse_std = none\n"
                            "points = 80\nof = loop\n";

static char *make_book(char **folder)
{
    char *description, *book;
    struct tune_truth truth;
    struct tune_error err;
    *folder = check_folder();
    description = check_file(*folder, "d.ini", exact, sizeof exact - 1);
    book = malloc(strlen(*folder) + sizeof "/book");
    (void)sprintf(book, "%s/book", *folder);
    const struct tune_simulation_job make = {.description = description, .folder = book};
    assert_int_equal(tune_chain_simulate(&truth, &make, &err), TUNE_OK);
    tune_truth_free(&truth);
    free(description);
    return book;
}

/* Rounding: the tables hold 1e-6 dB and 1e-5 degrees, 1e-7 of the response each. */
static void exact_tables_give_plant_and_margins(void **state)
{
    char *folder, *book = make_book(&folder);
    const struct tune_job job = tune_job_defaults(book);
    struct tune_identification *id = malloc(sizeof *id);
    struct tune_error err;
    (void)state;
    if (tune_chain_identify(id, &job, &err)) fail_msg("%s", err.text);
    assert_int_equal(id->n_pointings, 2);
    assert_int_equal(id->n_tables, 2);
    for (size_t i = 0; i < 2; i++) {
        const struct tune_fit *fit = &id->pointing[i].fit;
        const struct tune_measured_table *t = &id->table[i];
        assert_int_equal(id->pointing[i].estimator, TUNE_FRF_TABLE);
        assert_true(isnan(id->pointing[i].torque_rms_nm));
        assert_true(isnan(id->pointing[i].sensor_noise_arcsec));
        check_close_rel(fit->inertia.value, 100.0, 1e-6);
        check_close_rel(fit->mode_f_hz[0].value, 22.0, 1e-6);
        check_close_rel(fit->mode_zeta[0].value, 0.02, 1e-5);
        check_close_rel(fit->delay.value, 0.0012, 1e-5);
        assert_int_equal(t->error, TUNE_TABLE_SCATTER);
        assert_true(t->fitted && t->has_margins && t->has_model && t->model.stable);
        assert_int_equal(t->of_loop, i == 1);
        /* model: 80 points are 8 % apart, the response between them is interpolated */
        check_close_rel(t->margins.phase_margin_deg.value, t->model.phase_margin_deg, 1e-3);
        check_close_rel(t->margins.gain_margin_db.value, t->model.gain_margin_db, 1e-2);
        check_close_rel(t->margins.sens_peak.value, t->model.sens_peak, 1e-2);
    }
    tune_identification_free(id);
    free(id);
    free(book);
    check_folder_remove(folder);
}

/* Every seventh allocation: there are thousands, and each run fits two plants. */
static void memory_that_runs_out_is_told(void **state)
{
    char *folder, *book = make_book(&folder);
    struct tune_job job = tune_job_defaults(book);
    struct tune_identification *id = malloc(sizeof *id);
    struct tune_error err;
    bool refused = true;
    (void)state;
    job.threads = 1;
    for (unsigned long k = 1; refused; k += 7) {
        check_fail_allocation(k);
        const enum tune_status status = tune_chain_identify(id, &job, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        if (refused && status != TUNE_ENOMEM) fail_msg("allocation %lu: %s", k, err.text);
        if (status) assert_true(!id->pointing && !id->table);
        if (!status) tune_identification_free(id);
    }
    free(id);
    free(book);
    check_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact_tables_give_plant_and_margins),
        cmocka_unit_test(memory_that_runs_out_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
