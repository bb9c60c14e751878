/* test_chain.c - jobs, progress, simulated logs and axis.ini, cancelling.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "chain/identify.h"
#include "chain/ini_writer_internal.h"
#include "chain/inspect.h"
#include "chain/job.h"
#include "chain/new.h"
#include "chain/progress_internal.h"
#include "chain/simulate.h"
#include "core/workers.h"
#include "results/file.h"

static char *join(const char *folder, const char *name)
{
    char *path = malloc(strlen(folder) + strlen(name) + 2);
    (void)sprintf(path, "%s/%s", folder, name);
    return path;
}

/* ---- jobs ---------------------------------------------------------------------------------------*/

static void answers_go_into_the_logbook_unless_sent_elsewhere(void **state)
{
    char out[TUNE_PATH_LENGTH], *folder = check_folder(), *ini = NULL, *want = NULL;
    struct tune_job job = tune_job_defaults("some/book/");
    char *long_name = malloc(2 * TUNE_PATH_LENGTH);
    (void)state;
    assert_int_equal(tune_job_folder(out, &job, NULL), TUNE_OK);
    assert_string_equal(out, "some/book/results");
    ini = check_file(folder, "axis.ini", "x", 1);
    want = join(folder, "results");
    job.logbook = ini;
    assert_int_equal(tune_job_folder(out, &job, NULL), TUNE_OK);
    assert_string_equal(out, want);
    job.out = "elsewhere";
    assert_int_equal(tune_job_folder(out, &job, NULL), TUNE_OK);
    assert_string_equal(out, "elsewhere");
    job.out = "";
    assert_int_equal(tune_job_folder(out, &job, NULL), TUNE_EINVAL);
    memset(long_name, 'x', 2 * TUNE_PATH_LENGTH - 1);
    long_name[2 * TUNE_PATH_LENGTH - 1] = '\0';
    job.out = long_name;
    assert_int_equal(tune_job_folder(out, &job, NULL), TUNE_EINVAL);
    free(long_name);
    free(want);
    free(ini);
    check_folder_remove(folder);
}

/* ---- progress -----------------------------------------------------------------------------------*/

struct seen {
    int inside, worst_inside, calls, stop_after;
    double last;
    char stage[64];
};

static int look(void *user, const char *stage, double done)
{
    struct seen *seen = user;
    if (++seen->inside > seen->worst_inside) seen->worst_inside = seen->inside;
    seen->calls++;
    seen->last = done;
    (void)snprintf(seen->stage, sizeof seen->stage, "%s", stage);
    seen->inside--;
    return seen->stop_after > 0 && seen->calls >= seen->stop_after;
}

static enum tune_status tick_a_lot(void *user, size_t item, struct tune_error *err)
{
    struct progress *progress = user;
    struct progress_item watch;
    enum tune_status status = TUNE_OK;
    progress_item(&watch, progress, item, "item");
    for (int i = 0; !status && i <= 1000; i++)
        status = tune_watch_tick(&watch.watch, "ticking", i / 1000.0, err);
    return status;
}

static void many_items_make_one_progress(void **state)
{
    struct seen seen = {0};
    const struct tune_watch outer = {look, &seen};
    struct progress *progress = calloc(1, sizeof *progress);
    struct progress_item watch;
    (void)state;
    progress_start(progress, &outer, 4, 0.2, 1.0);
    assert_int_equal(tune_workers_run(4, 4, tick_a_lot, progress, NULL), TUNE_OK);
    assert_int_equal(seen.worst_inside, 1);
    assert_true(seen.calls > 0);
    progress_start(progress, &outer, 2, 0.2, 1.0);
    progress_item(&watch, progress, 1, "west");
    assert_int_equal(progress_stage(&watch, "fitting", 0.5, 1.0, NULL), TUNE_OK);
    assert_string_equal(seen.stage, "west: fitting");
    check_close(seen.last, 0.2 + 0.8 * 0.25, 1e-3); /* rounding: thousandths are kept */
    assert_int_equal(tune_watch_tick(&watch.watch, "fitting", 1.0, NULL), TUNE_OK);
    check_close(seen.last, 0.2 + 0.8 * 0.5, 1e-3);
    free(progress);
}

static void a_no_cancels_every_item(void **state)
{
    struct seen seen = {.stop_after = 10};
    const struct tune_watch outer = {look, &seen};
    struct progress *progress = calloc(1, sizeof *progress);
    struct tune_error err;
    (void)state;
    progress_start(progress, &outer, 3, 0.0, 1.0);
    assert_int_equal(tune_workers_run(3, 1, tick_a_lot, progress, &err), TUNE_ECANCELLED);
    assert_int_equal(seen.calls, 10);
    progress_start(progress, NULL, 3, 0.0, 1.0);
    assert_int_equal(tune_workers_run(3, 2, tick_a_lot, progress, &err), TUNE_OK);
    free(progress);
}

/* ---- axis.ini of a simulated logbook ------------------------------------------------------------*/

static void the_head_of_a_logbook_is_copied_word_for_word(void **state)
{
    static const char description[] = "; about the file\n"
                                      "[axis] ; remark\n"
                                      "name = altitude\n"
                                      "; about the plant\n"
                                      "[plant]\n"
                                      "inertia_kg_m2 = 3\n"
                                      "[drive]\n"
                                      "loop_rate_hz = 1000.000   ; as it was written\n"
                                      "\n"
                                      "; about the log\n"
                                      "[log a]\n"
                                      "kind = hold\n"
                                      "[requirement]\n"
                                      "jitter_rms_arcsec = 1";
    const struct tune_simulated_log log = {.name = "a", .kind = TUNE_LOG_SWEEP};
    const struct tune_pointing_entry pointing = {.name = "south", .angle_deg = -20.5};
    const struct tune_truth_log truth = {.known_angle_deg = 9.75};
    char *text = NULL;
    (void)state;
    assert_int_equal(chain_logbook_head(&text, description, NULL), TUNE_OK);
    assert_non_null(strstr(text, "\n[axis] ; remark\nname = altitude\n\n[drive]\n"
                                 "loop_rate_hz = 1000.000   ; as it was written\n\n"
                                 "[requirement]\njitter_rms_arcsec = 1\n"));
    assert_null(strstr(text, "plant"));
    assert_null(strstr(text, "about the"));
    assert_null(strstr(text, "[log"));
    assert_int_equal(chain_append_log(&text, &log, &pointing, &truth, true, NULL), TUNE_OK);
    assert_non_null(strstr(text, "jitter_rms_arcsec = 1\n\n[log a]\nkind = sweep\n"
                                 "file = logs/a.csv.gz\npointing = south\nangle_deg = -20.5\n"
                                 "controller = controllers/a.ini\n"));
    assert_null(strstr(text, "known_angle_deg"));
    check_fail_allocation(1);
    assert_int_equal(chain_append_log(&text, &log, &pointing, &truth, false, NULL), TUNE_ENOMEM);
    check_fail_allocation(0);
    free(text);
    check_fail_allocation(1);
    assert_int_equal(chain_logbook_head(&text, description, NULL), TUNE_ENOMEM);
    check_fail_allocation(0);
}

/* What a first motion needs in axis.ini, and no more. */
static void a_motion_is_noted_with_what_was_measured_beside_it(void **state)
{
    const struct tune_pointing_entry pointing = {.name = "p"};
    const struct tune_truth_log truth = {.known_angle_deg = 9.75};
    const struct {
        struct tune_simulated_log log;
        const char *wanted;
    } motion[] = {
        {{.name = "a",
          .kind = TUNE_LOG_MOVE,
          .motion = {.known_angle_std_deg = 0.02, .load_kg = 3.0, .load_axis_tilt_deg = NAN}},
         "angle_deg = 0\nknown_angle_deg = 9.750000\nknown_angle_std_deg = 0.02\n"},
        {{.name = "a",
          .kind = TUNE_LOG_LOAD,
          .motion = {.load_kg = 3.0,
                     .load_std_kg = 0.5,
                     .load_arm_m = -0.7,
                     .load_arm_std_m = 0.25,
                     .load_arm_angle_deg = 6.0,
                     .load_axis_tilt_deg = 20.0}},
         "angle_deg = 0\nload_kg = 3\nload_std_kg = 0.5\nload_arm_m = -0.7\n"
         "load_arm_std_m = 0.25\nload_arm_angle_deg = 6\nload_axis_tilt_deg = 20\n"},
        {{.name = "a",
          .kind = TUNE_LOG_LOAD,
          .motion = {.load_arm_m = 1.0, .load_axis_tilt_deg = NAN}},
         "angle_deg = 0\nload_kg = 0\nload_std_kg = 0\nload_arm_m = 1\nload_arm_std_m = 0\n"
         "load_arm_angle_deg = 0\n"},
        {{.name = "a", .kind = TUNE_LOG_LIMIT, .motion = {.limit_side = TUNE_LIMIT_HIGH}},
         "angle_deg = 0\nlimit_side = high\n"},
        {{.name = "a", .kind = TUNE_LOG_LIMIT, .motion = {.limit_side = TUNE_LIMIT_LOW}},
         "angle_deg = 0\nlimit_side = low\n"},
        {{.name = "a", .kind = TUNE_LOG_PULSE}, "pointing = p\nangle_deg = 0\n"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof motion / sizeof *motion; i++) {
        char *text = calloc(1, 1);
        const char *end;
        assert_int_equal(chain_append_log(&text, &motion[i].log, &pointing, &truth, false, NULL),
                         TUNE_OK);
        end = strstr(text, motion[i].wanted);
        if (!end) fail_msg("%s lacks %s", text, motion[i].wanted);
        assert_string_equal(end, motion[i].wanted); /* and nothing behind it */
        free(text);
    }
}

/* ---- cancelling and refusing --------------------------------------------------------------------*/

static const char small_axis[] = "[axis]\nname = altitude\n[drive]\nloop_rate_hz = 500\n"
                                 "[controller]\nkp_nm_per_rad = 1e3\nkd_nm_s_per_rad = 1e2\n"
                                 "[plant]\ninertia_kg_m2 = 10\nviscous_nm_s_per_rad = 1\n"
                                 "delay_s = 0.001\nmode1_hz = 30\nmode1_zeta = 0.02\n"
                                 "mode1_gain = 0.1\n"
                                 "[disturbance]\nseed = 1\nencoder_noise_arcsec = 0.1\n"
                                 "[pointing a]\nangle_deg = 0\n"
                                 "[log one]\nkind = hold\npointing = a\nduration_s = 2\n"
                                 "[log two]\nkind = hold\npointing = a\nduration_s = 2\n";

static void a_cancelled_simulation_leaves_no_logbook(void **state)
{
    char *folder = check_folder();
    char *description = check_file(folder, "d.ini", small_axis, sizeof small_axis - 1);
    char *book = join(folder, "book"), *ini = join(book, "axis.ini");
    struct seen seen = {.stop_after = 1};
    const struct tune_watch watch = {look, &seen};
    struct tune_simulation_job job = {
        .description = description, .folder = book, .threads = 1, .watch = &watch};
    struct tune_truth truth;
    struct tune_error err;
    struct stat info;
    (void)state;
    assert_int_equal(tune_chain_simulate(&truth, &job, &err), TUNE_ECANCELLED);
    assert_int_not_equal(stat(ini, &info), 0);
    job.watch = NULL;
    if (tune_chain_simulate(&truth, &job, &err)) fail_msg("%s (%s)", err.text, err.thing);
    assert_int_equal(truth.n_logs, 2);
    assert_int_equal(truth.log[0].rows, 1000);
    /* two streams of one seed: the logs differ */
    assert_true(truth.log[0].measured_rms_arcsec != truth.log[1].measured_rms_arcsec);
    assert_int_equal(stat(ini, &info), 0);
    tune_truth_free(&truth);
    free(ini);
    free(book);
    free(description);
    check_folder_remove(folder);
}

static void a_cancelled_inspection_writes_nothing(void **state)
{
    char *folder = check_folder();
    char *description = check_file(folder, "d.ini", small_axis, sizeof small_axis - 1);
    char *book = join(folder, "book"), *results = join(book, "results");
    const struct tune_simulation_job make = {.description = description, .folder = book};
    struct seen seen = {.stop_after = 2};
    const struct tune_watch watch = {look, &seen};
    struct tune_job job = tune_job_defaults(book);
    struct tune_inspection inspection;
    struct tune_identification identification;
    struct tune_truth truth;
    struct tune_error err;
    struct stat info;
    (void)state;
    assert_int_equal(tune_chain_simulate(&truth, &make, &err), TUNE_OK);
    tune_truth_free(&truth);
    job.watch = &watch;
    assert_int_equal(tune_chain_inspect(&inspection, &job, &err), TUNE_ECANCELLED);
    assert_null(inspection.log);
    assert_int_not_equal(stat(results, &info), 0);
    job.watch = NULL;
    assert_int_equal(tune_chain_inspect(&inspection, &job, &err), TUNE_OK);
    assert_int_equal(inspection.n_logs, 2);
    assert_int_equal(inspection.log[1].rows, 1000);
    check_close_rel(inspection.log[1].duration_s, 2.0, 1e-12);
    tune_inspection_free(&inspection);
    /* no sweep among the logs: unusable, and said what to do */
    assert_int_equal(tune_chain_identify(&identification, &job, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "kind = sweep"));
    assert_null(identification.pointing);
    free(results);
    free(book);
    free(description);
    check_folder_remove(folder);
}

static void memory_that_runs_out_in_an_inspection_is_told(void **state)
{
    char *folder = check_folder();
    char *description = check_file(folder, "d.ini", small_axis, sizeof small_axis - 1);
    char *book = join(folder, "book");
    const struct tune_simulation_job make = {.description = description, .folder = book};
    struct tune_job job = tune_job_defaults(book);
    struct tune_inspection inspection;
    struct tune_truth truth;
    struct tune_error err;
    bool refused = true;
    (void)state;
    assert_int_equal(tune_chain_simulate(&truth, &make, &err), TUNE_OK);
    tune_truth_free(&truth);
    job.threads = 1;
    for (unsigned long k = 1; refused; k++) {
        check_fail_allocation(k);
        const enum tune_status status = tune_chain_inspect(&inspection, &job, &err);
        refused = check_allocation_failed();
        check_fail_allocation(0);
        if (refused && status != TUNE_ENOMEM) fail_msg("allocation %lu: %s", k, err.text);
        if (status) assert_null(inspection.log);
        if (!status) tune_inspection_free(&inspection);
    }
    free(book);
    free(description);
    check_folder_remove(folder);
}

static void a_new_logbook_asks_for_what_must_be_known(void **state)
{
    char *folder = check_folder(), *book = join(folder, "book"), *ini = join(book, "axis.ini");
    struct tune_logbook logbook;
    struct tune_error err;
    char *text = NULL, *place;
    size_t size = 0;
    (void)state;
    assert_int_equal(tune_chain_new(book, &err), TUNE_OK);
    assert_int_equal(tune_logbook_read(&logbook, book, &err), TUNE_EDATA);
    assert_string_equal(err.thing, "loop_rate_hz");
    assert_int_equal(tune_file_read(&text, &size, ini, &err), TUNE_OK);
    place = strstr(text, "loop_rate_hz              =");
    assert_non_null(place);
    memcpy(place, "loop_rate_hz = 1000        ", 27);
    assert_int_equal(tune_logbook_parse(&logbook, "x", text, size, &err), TUNE_OK);
    assert_int_equal(logbook.n_logs, 1);
    tune_logbook_free(&logbook);
    assert_int_equal(tune_chain_new(book, &err), TUNE_EINVAL);
    free(text);
    free(ini);
    free(book);
    check_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_go_into_the_logbook_unless_sent_elsewhere),
        cmocka_unit_test(many_items_make_one_progress),
        cmocka_unit_test(a_no_cancels_every_item),
        cmocka_unit_test(the_head_of_a_logbook_is_copied_word_for_word),
        cmocka_unit_test(a_motion_is_noted_with_what_was_measured_beside_it),
        cmocka_unit_test(a_cancelled_simulation_leaves_no_logbook),
        cmocka_unit_test(a_cancelled_inspection_writes_nothing),
        cmocka_unit_test(memory_that_runs_out_in_an_inspection_is_told),
        cmocka_unit_test(a_new_logbook_asks_for_what_must_be_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
