/* test_json.c - results written and read back: nothing is lost, nothing that is no number gets in.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "results/listing.h"
#include "sample.h"

/* Write, read, write: the second text is the first. Defines round_trip_NAME. */
#define ROUND_TRIP(name, type)                                                                     \
    static char *text_of_##name(const struct type *result)                                         \
    {                                                                                              \
        struct tune_error err;                                                                     \
        char *text = NULL;                                                                         \
        tune_error_clear(&err);                                                                    \
        if (type##_json(&text, result, &err)) fail_msg("%s (%s)", err.text, err.thing);            \
        return text;                                                                               \
    }                                                                                              \
    static void name##_comes_back_with_every_byte(void **state)                                    \
    {                                                                                              \
        struct type *first = calloc(1, sizeof *first), *second = calloc(1, sizeof *second);        \
        struct tune_error err;                                                                     \
        char *text, *again;                                                                        \
        (void)state;                                                                               \
        sample_##name(first);                                                                      \
        text = text_of_##name(first);                                                              \
        tune_error_clear(&err);                                                                    \
        if (type##_parse(second, "x.json", text, strlen(text), &err))                              \
            fail_msg("%s (%s)", err.text, err.thing);                                              \
        again = text_of_##name(second);                                                            \
        assert_string_equal(text, again);                                                          \
        assert_null(strstr(text, ": nan"));                                                        \
        assert_null(strstr(text, ": inf"));                                                        \
        free(text);                                                                                \
        free(again);                                                                               \
        type##_free(first);                                                                        \
        type##_free(second);                                                                       \
        type##_free(second);                                                                       \
        free(first);                                                                               \
        free(second);                                                                              \
    }

ROUND_TRIP(identification, tune_identification)
ROUND_TRIP(proposal, tune_proposal)
ROUND_TRIP(forecast, tune_forecast)
ROUND_TRIP(verification, tune_verification)
ROUND_TRIP(balance, tune_balance)
ROUND_TRIP(inspection, tune_inspection)
ROUND_TRIP(precheck, tune_precheck)
ROUND_TRIP(truth, tune_truth)

/* ---- values -------------------------------------------------------------------------------------*/

/* 15 digits: half a unit in the last place of each, so relative 5e-15 (rounding) */
static void a_plant_and_its_covariance_come_back_to_15_digits(void **state)
{
    struct tune_identification first, second;
    struct tune_error err;
    char *text;
    (void)state;
    sample_identification(&first);
    text = text_of_identification(&first);
    assert_int_equal(tune_identification_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    for (size_t i = 0; i < 2; i++) {
        const struct tune_fit *a = &first.pointing[i].fit, *b = &second.pointing[i].fit;
        check_close_rel(b->plant.inertia_kg_m2, a->plant.inertia_kg_m2, 5e-15);
        check_close_rel(b->plant.mode[1].f_hz, a->plant.mode[1].f_hz, 5e-15);
        check_close_rel(b->plant.mode[1].payload_ratio, -6.2, 5e-15);
        assert_true(isnan(b->plant.mode[0].payload_ratio));
        assert_int_equal(b->n_params, a->n_params);
        for (size_t k = 0; k < a->n_params * a->n_params; k++)
            check_close_rel(b->covariance[k], a->covariance[k], 5e-15);
        /* logarithms of numbers good to 5e-15 */
        for (size_t k = 0; k < a->n_params; k++)
            check_close(b->theta[k], a->theta[k], 1e-14);
        check_close_rel(b->viscous_prior_share, 0.83, 5e-15);
        assert_true(b->order_forced);
        assert_int_equal(b->evident_modes, 3);
        assert_int_equal(b->n_alike, 1);
        assert_int_equal(b->alike[0].second, 1);
        check_close_rel(b->alike[0].correlation, -0.97, 5e-15);
        assert_int_equal(b->start, TUNE_FIT_VECTOR_FIT);
        assert_true(isnan(b->whittle[TUNE_FIT_INSERTION]));
        check_close_rel(b->whittle[TUNE_FIT_VECTOR_FIT], -484160.25, 5e-15);
        assert_true(b->out_of_band[1]);
        assert_false(b->out_of_band[0]);
    }
    assert_int_equal(second.pointing[0].sensor.kind, TUNE_PAYLOAD_ACCELEROMETER);
    assert_int_equal(second.pointing[1].sensor.kind, TUNE_PAYLOAD_UNKNOWN);
    check_close_rel(second.pointing[0].sensor.ratio[1].std, 0.002, 5e-15);
    assert_true(isnan(second.pointing[0].sensor.ratio[0].value));
    check_close_rel(second.pointing[0].sensor.scale.value, -1.2, 5e-15);
    check_close_rel(second.pointing[0].unseen.static_rad_per_nm.value, 4.1e-7 / 3.0, 6e-15);
    assert_int_equal(second.pointing[1].unseen.payload, TUNE_PAYLOAD_ASSUMED);
    assert_true(isnan(second.pointing[1].unseen.peak_hz.value));
    assert_true(isnan(second.pointing[1].angle_deg));
    assert_int_equal(second.pointing[1].estimator, TUNE_FRF_PERIODIC);
    assert_int_equal(second.provenance.input[1].rows, 40000);
    assert_int_equal(second.provenance.input[0].rows, 0);
    free(text);
    tune_identification_free(&first);
    tune_identification_free(&second);
}

static void tracks_come_back_and_must_fit_the_pointings(void **state)
{
    struct tune_identification first, second;
    struct tune_error err;
    char *text = NULL, *at;
    (void)state;
    sample_identification(&first);
    assert_int_equal(tune_identification_json(&text, &first, &err), TUNE_OK);
    assert_int_equal(tune_identification_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    const struct tune_tracks *tracks = &second.tracks;
    assert_int_equal(tracks->n, 2);
    assert_int_equal(tracks->n_pointings, 2);
    assert_int_equal(tracks->track[0].point[1].mode, 0);
    assert_int_equal(tracks->track[1].point[1].finding, TUNE_TRACK_ABSENT);
    assert_int_equal(tracks->track[1].point[1].mode, TUNE_MODES_MAX);
    check_close_rel(tracks->track[1].point[1].gain_bound, 0.02, 5e-15);
    assert_true(isnan(tracks->track[1].point[1].gain.value));
    assert_true(tracks->track[0].point[0].ambiguous);
    assert_int_equal(tracks->track[0].law.term[1], TUNE_TERM_OTHER_BRAKED);
    check_close_rel(tracks->track[0].law.coefficient[1].value, -0.02, 5e-15);
    check_close_rel(tracks->track[0].left_out[1].z, -1.5, 5e-15);
    assert_true(isnan(tracks->track[0].left_out[0].z));
    assert_int_equal(tracks->interpolation, TUNE_INTERPOLATION_COARSE);
    assert_int_equal(tracks->worst_error[0], 2);
    check_close(tracks->next.at.angle_rad, 0.5, 1e-14);
    assert_true(isnan(tracks->next.at.other_axis_rad));
    assert_int_equal(tracks->next.at.other_axis, TUNE_OTHER_AXIS_FREE);
    assert_int_equal(second.pointing[1].other_axis, TUNE_OTHER_AXIS_BRAKED);
    check_close_rel(second.pointing[1].other_axis_deg, 20.5, 5e-15);
    assert_true(isnan(second.pointing[0].other_axis_deg));
    tune_identification_free(&second);
    /* another pointing's name in the list of points */
    at = strstr(strstr(text, "\"tracks\""), "\"west-30\"");
    assert_non_null(at);
    memcpy(at, "\"west-31\"", 9);
    assert_int_equal(tune_identification_parse(&second, "x", text, strlen(text), &err), TUNE_EDATA);
    assert_null(second.tracks.track);
    free(text);
    tune_identification_free(&first);
}

static void a_delay_below_its_bound_comes_back(void **state)
{
    struct tune_identification first, second;
    struct tune_error err;
    char *text = NULL;
    (void)state;
    sample_identification(&first);
    first.pointing[0].fit.delay_wanted_s = -4e-4;
    first.pointing[0].fit.delay.std = (double)NAN;
    assert_int_equal(tune_identification_json(&text, &first, &err), TUNE_OK);
    assert_int_equal(tune_identification_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    check_close_rel(second.pointing[0].fit.delay_wanted_s, -4e-4, 5e-15);
    assert_true(isnan(second.pointing[0].fit.delay.std));
    free(text);
    tune_identification_free(&first);
    tune_identification_free(&second);
}

static void checks_are_found_and_counted_by_their_answer(void **state)
{
    struct tune_precheck first, second;
    struct tune_error err;
    char *text = NULL;
    (void)state;
    sample_precheck(&first);
    assert_int_equal(tune_precheck_json(&text, &first, &err), TUNE_OK);
    assert_int_equal(tune_precheck_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    const struct tune_check *check = tune_precheck_find(&second, "torque-per-unit");
    assert_non_null(check);
    assert_string_equal(tune_check_answer_name(check->answer), "disagrees");
    check_close_rel(check->measured.value, 13.01, 5e-15);
    check_close_rel(check->measured.std, 0.08, 5e-15);
    assert_null(tune_precheck_find(&second, "torque"));
    assert_true(isnan(tune_precheck_find(&second, "limit-low")->measured.value));
    assert_int_equal(tune_precheck_count(&second, TUNE_CHECK_DISAGREES), 1);
    assert_int_equal(tune_precheck_count(&second, TUNE_CHECK_NOT_TESTED), 1);
    assert_int_equal(tune_precheck_count(&second, TUNE_CHECK_AGREES), 0);
    assert_string_equal(tune_check_answer_name((enum tune_check_answer)9), "unknown");
    free(text);
    tune_precheck_free(&first);
    tune_precheck_free(&second);
}

static void endless_and_undefined_margins_come_back_as_they_were(void **state)
{
    struct tune_proposal first, second;
    struct tune_error err;
    char *text;
    (void)state;
    sample_proposal(&first);
    first.candidate[0].controller.position_divider = 4;
    text = text_of_proposal(&first);
    assert_int_equal(tune_proposal_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    const struct tune_pointing_margins *m = &second.candidate[1].margins[0];
    assert_true(isinf(m->gain_reduction_margin_db.value));
    assert_true(isinf(m->gain_reduction_margin_db.bound95));
    assert_true(isnan(m->crossover_hz.value));
    check_close_rel(m->peak_sensitivity.bound95, 1.6816, 5e-15);
    assert_true(isnan(second.candidate[0].jitter_rms_arcsec));
    assert_true(isinf(second.candidate[0].worst_sensitivity));
    assert_int_equal(second.recommended, 1);
    assert_true(second.requirement.met);
    assert_int_equal(second.other_axis.n, 2);
    assert_true(second.other_axis.proposed);
    assert_true(second.other_axis.pointing[0].stable && !second.other_axis.pointing[1].stable);
    check_close_rel(second.other_axis.pointing[0].peak_sensitivity.bound95, 1.7166, 5e-15);
    assert_string_equal(second.other_axis.pointing[1].other_pointing, "south");
    assert_string_equal(second.ranked_of, "bold");
    check_close_rel(second.candidate[1].line_of_sight_rms_arcsec, 0.31, 5e-15);
    assert_int_equal(second.n_ranked, 2);
    assert_true(second.ranked[0].solved && second.ranked[0].reached && !second.ranked[1].solved);
    check_close_rel(second.ranked[0].after_arcsec, 0.0271, 5e-15);
    assert_true(isnan(second.ranked[1].gain));
    assert_string_equal(second.ranked[1].unit, "s");
    assert_int_equal(second.candidate[0].controller.n_biquads, 2);
    assert_int_equal(second.candidate[0].controller.lowpass_order, 1);
    assert_int_equal(second.candidate[0].controller.position_divider, 4);
    assert_int_equal(second.candidate[1].controller.position_divider, 0);
    check_close_rel(second.candidate[0].controller.kp_nm_per_rad, 2.1e6 / 7.0, 5e-15);
    assert_non_null(strstr(text, "\"note\": \"infinite\""));
    assert_non_null(strstr(text, "\"upper_95\""));
    free(text);
    tune_proposal_free(&first);
    tune_proposal_free(&second);
}

static void the_seed_keeps_all_64_bits(void **state)
{
    struct tune_truth first, second;
    struct tune_error err;
    char *text;
    (void)state;
    sample_truth(&first);
    text = text_of_truth(&first);
    assert_int_equal(tune_truth_parse(&second, "x", text, strlen(text), &err), TUNE_OK);
    assert_true(second.log[0].seed == UINT64_MAX);
    free(text);
    tune_truth_free(&first);
    tune_truth_free(&second);
}

static void bytes_that_are_no_utf8_do_not_stop_a_result(void **state)
{
    struct tune_verification result;
    char *text;
    (void)state;
    sample_verification(&result);
    (void)snprintf(result.provenance.logbook, sizeof result.provenance.logbook, "T\xe9lescope");
    text = text_of_verification(&result);
    assert_non_null(strstr(text, "T?lescope"));
    free(text);
    tune_verification_free(&result);
}

static void a_listing_names_tool_and_files(void **state)
{
    const char *const files[] = {"axis.ini", "a \"quoted\" name"};
    struct tune_error err;
    char *text = NULL;
    (void)state;
    assert_int_equal(tune_listing_json(&text, "kind-1", files, 2, NULL, &err), TUNE_OK);
    assert_non_null(strstr(text, "\"schema\": \"kind-1\""));
    assert_non_null(strstr(text, "\"name\": \"quietaxis\""));
    assert_non_null(strstr(text, "a \\\"quoted\\\" name"));
    free(text);
}

/* ---- refusals -----------------------------------------------------------------------------------*/

static void refuse(const char *text, const char *thing)
{
    struct tune_identification result;
    struct tune_error err;
    tune_error_clear(&err);
    assert_int_equal(tune_identification_parse(&result, "x.json", text, strlen(text), &err),
                     TUNE_EDATA);
    assert_string_equal(err.file, "x.json");
    assert_string_equal(err.thing, thing);
    assert_null(result.pointing);
    assert_int_equal(result.n_pointings, 0);
}

static void what_is_no_result_is_refused_with_its_place(void **state)
{
    struct tune_identification result;
    struct tune_error err;
    const char *cut = "{\"schema\": \"" TUNE_SCHEMA_IDENTIFY "\",\n \"tool\": ";
    (void)state;
    assert_int_equal(tune_identification_parse(&result, "x.json", cut, strlen(cut), &err),
                     TUNE_EDATA);
    assert_int_equal(err.line, 2);
    refuse("[1, 2]", "");
    refuse("{}", "schema");
    refuse("{\"schema\": 3}", "schema");
    refuse("{\"schema\": \"quietaxis-identify-0\"}", "schema");
    refuse("{\"schema\": \"" TUNE_SCHEMA_IDENTIFY "\"}", "tool");
    refuse("{\"schema\": \"" TUNE_SCHEMA_IDENTIFY "\", \"tool\": []}", "tool");
}

/* Replace one word of a sample and expect a refusal naming `thing`. */
static void refuse_changed(const char *from, const char *to, const char *thing)
{
    struct tune_identification sample;
    char *text, *place, *changed;
    sample_identification(&sample);
    text = text_of_identification(&sample);
    place = strstr(text, from);
    assert_non_null(place);
    changed = malloc(strlen(text) + strlen(to) + 1);
    (void)sprintf(changed, "%.*s%s%s", (int)(place - text), text, to, place + strlen(from));
    refuse(changed, thing);
    free(changed);
    free(text);
    tune_identification_free(&sample);
}

static void members_of_the_wrong_kind_are_refused(void **state)
{
    (void)state;
    refuse_changed("\"bins\": 1234", "\"bins\": -1", "bins");
    refuse_changed("\"estimator\": \"indirect\"", "\"estimator\": \"guess\"", "estimator");
    refuse_changed("\"closed_loop\": true", "\"closed_loop\": 1", "closed_loop");
    refuse_changed("\"order\": 2", "\"order\": 999", "order");
    refuse_changed("\"order\": 2", "\"order\": 1", "number");
    refuse_changed("\"number\": 1", "\"number\": 0", "number");
    refuse_changed("\"median_coherence\": 0.998", "\"median_coherence\": \"good\"",
                   "median_coherence");
    refuse_changed("\"parameter_order\": [", "\"parameter_order\": [\"one more\",", "covariance");
}

/* ---- memory -------------------------------------------------------------------------------------*/

/* jansson's own allocations are not seen; ours are refused one after the other. */
static void running_out_of_memory_leaves_nothing_behind(void **state)
{
    struct tune_identification sample, result;
    struct tune_error err;
    char *text = NULL, *again = NULL;
    bool refused = true;
    (void)state;
    sample_identification(&sample);
    text = text_of_identification(&sample);
    for (unsigned long k = 1; refused; k++) {
        check_fail_allocation(k);
        const enum tune_status status =
            tune_identification_parse(&result, "x", text, strlen(text), &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (status) assert_null(result.pointing);
        if (!status) tune_identification_free(&result);
    }
    check_fail_allocation(1);
    assert_int_equal(tune_identification_json(&again, &sample, &err), TUNE_ENOMEM);
    check_fail_allocation(0);
    assert_null(again);
    free(text);
    tune_identification_free(&sample);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(identification_comes_back_with_every_byte),
        cmocka_unit_test(proposal_comes_back_with_every_byte),
        cmocka_unit_test(forecast_comes_back_with_every_byte),
        cmocka_unit_test(verification_comes_back_with_every_byte),
        cmocka_unit_test(balance_comes_back_with_every_byte),
        cmocka_unit_test(inspection_comes_back_with_every_byte),
        cmocka_unit_test(precheck_comes_back_with_every_byte),
        cmocka_unit_test(checks_are_found_and_counted_by_their_answer),
        cmocka_unit_test(truth_comes_back_with_every_byte),
        cmocka_unit_test(a_plant_and_its_covariance_come_back_to_15_digits),
        cmocka_unit_test(tracks_come_back_and_must_fit_the_pointings),
        cmocka_unit_test(a_delay_below_its_bound_comes_back),
        cmocka_unit_test(endless_and_undefined_margins_come_back_as_they_were),
        cmocka_unit_test(the_seed_keeps_all_64_bits),
        cmocka_unit_test(bytes_that_are_no_utf8_do_not_stop_a_result),
        cmocka_unit_test(a_listing_names_tool_and_files),
        cmocka_unit_test(what_is_no_result_is_refused_with_its_place),
        cmocka_unit_test(members_of_the_wrong_kind_are_refused),
        cmocka_unit_test(running_out_of_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
