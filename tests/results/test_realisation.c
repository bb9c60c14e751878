/* test_realisation.c - plant-POINTING.json: nothing is lost on the way out and in.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "results/realisation.h"

static const struct tune_plant sample = {
    .inertia_kg_m2 = 820.0 / 3.0,
    .viscous_nm_s_per_rad = 35.1,
    .delay_s = 3.5e-4,
    .loop_rate_hz = 4000.0,
    .complex_residues = true,
    .n_modes = 3,
    .mode = {{24.3, 0.006, 0.15, NAN, 0.01},
             {41.0, 0.02, -0.05, 1.0, 0.0},
             {90.0, 0.01, 0.02, 1.0, 0.0}},
};

static void sample_provenance(struct tune_provenance *p)
{
    tune_provenance_start(p, "kind-1", "Heron Flat 0.8 m, hour-angle, bare");
    assert_int_equal(tune_provenance_add_input(p, "logs/east.csv.gz", "11", 40000, NULL), TUNE_OK);
}

static char *sample_text(void)
{
    struct tune_provenance provenance;
    struct tune_error err;
    char *text;
    sample_provenance(&provenance);
    if (tune_realisation_text(&text, &sample, "east", &provenance, &err)) fail_msg("%s", err.text);
    assert_string_equal(provenance.schema, "kind-1");
    tune_provenance_free(&provenance);
    return text;
}

static struct tune_realisation_result parsed(const char *text)
{
    struct tune_realisation_result result;
    struct tune_error err;
    if (tune_realisation_parse(&result, "x", text, strlen(text), &err)) fail_msg("%s", err.text);
    return result;
}

static void it_comes_back_with_every_byte(void **state)
{
    char *text = sample_text(), *again;
    struct tune_realisation_result result = parsed(text);
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_realisation_json(&again, &result, &err), TUNE_OK);
    assert_string_equal(text, again);
    assert_non_null(strstr(text, TUNE_SCHEMA_PLANT));
    tune_realisation_result_free(&result);
    tune_realisation_result_free(&result);
    free(text);
    free(again);
}

/* 15 digits: half a unit in the last place of each, so relative 5e-15 (rounding) */
static void every_number_comes_back(void **state)
{
    char *text = sample_text();
    struct tune_realisation_result result = parsed(text);
    const struct tune_realisation *b = &result.plant;
    struct tune_realisation a;
    (void)state;
    assert_int_equal(tune_plant_realise(&a, &sample, NULL), TUNE_OK);
    assert_string_equal(result.pointing, "east");
    assert_int_equal(result.provenance.input[0].rows, 40000);
    assert_int_equal(b->n_poles, 8);
    assert_int_equal(b->n_zeros, 7);
    for (size_t i = 0; i < 8; i++)
        check_close(cabs(b->pole[i] - a.pole[i]), 0.0, 5e-15 * cabs(a.pole[i]));
    for (size_t i = 0; i < 7; i++)
        check_close(cabs(b->zero[i] - a.zero[i]), 0.0, 5e-15 * cabs(a.zero[i]));
    check_close_rel(b->gain, a.gain, 5e-15);
    check_close_rel(b->delay_s, 3.5e-4, 5e-15);
    assert_int_equal(b->delay_samples, 1);
    assert_int_equal(b->continuous.n, 8);
    assert_int_equal(b->sampled.n, 9);
    for (size_t i = 0; i < 81; i++)
        check_close_rel(b->sampled.a[i], a.sampled.a[i], 5e-15);
    for (size_t i = 0; i < 8; i++)
        check_close_rel(b->continuous.c[i], a.continuous.c[i], 5e-15);
    tune_realisation_free(&a);
    tune_realisation_result_free(&result);
    free(text);
}

static void what_is_no_plant_is_refused(void **state)
{
    struct tune_realisation_result result;
    struct tune_error err;
    char *text = sample_text(), *at;
    (void)state;
    assert_int_equal(tune_realisation_parse(&result, "x", "{}", 2, &err), TUNE_EDATA);
    assert_string_equal(err.file, "x");
    at = strstr(text, "\"states\": 8");
    assert_non_null(at);
    memcpy(at, "\"states\": 9", 11);
    assert_int_equal(tune_realisation_parse(&result, "x", text, strlen(text), &err), TUNE_EDATA);
    assert_null(result.plant.continuous.a);
    free(text);
}

static void an_impossible_plant_leaves_no_text(void **state)
{
    struct tune_provenance provenance;
    struct tune_plant bad = sample;
    struct tune_error err;
    char *text;
    (void)state;
    bad.mode[0].zeta = 0.0;
    sample_provenance(&provenance);
    assert_int_equal(tune_realisation_text(&text, &bad, "east", &provenance, &err), TUNE_EINVAL);
    assert_null(text);
    tune_provenance_free(&provenance);
}

static void running_out_of_memory_leaves_nothing_behind(void **state)
{
    char *text = sample_text();
    struct tune_error err;
    bool refused = true;
    unsigned long k = 0;
    (void)state;
    while (refused) {
        struct tune_realisation_result result;
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_realisation_parse(&result, "x", text, strlen(text), &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        tune_realisation_result_free(&result);
    }
    assert_true(k > 6);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_comes_back_with_every_byte),
        cmocka_unit_test(every_number_comes_back),
        cmocka_unit_test(what_is_no_plant_is_refused),
        cmocka_unit_test(an_impossible_plant_leaves_no_text),
        cmocka_unit_test(running_out_of_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests_name("plant file", tests, NULL, NULL);
}
