/* test_simulated_format.c - whole simulated logbooks: same seed same bytes, other recorders' formats.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "chain/simulate.h"
#include "core/units.h"
#include "logbook/logbook.h"
#include "record/record.h"
#include "results/file.h"

static const char axis_text[] =
    "[axis]\nname = altitude\n[drive]\nloop_rate_hz = 500\ntorque_limit_nm = 60\n"
    "torque_per_unit_nm = 25\nencoder_counts_per_turn = 16777216\n"
    "encoder_lines_per_turn = 16384\n"
    "[controller]\nkp_nm_per_rad = 1e3\nkd_nm_s_per_rad = 1e2\n"
    "[plant]\ninertia_kg_m2 = 10\nviscous_nm_s_per_rad = 1\ndelay_s = 0.001\n"
    "mode1_hz = 30\nmode1_zeta = 0.02\nmode1_gain = 0.1\n"
    "[disturbance]\nseed = 1\nencoder_noise_arcsec = 0.1\ndrive_noise_nm_per_rthz = 0.01\n"
    "[pointing a]\nangle_deg = 30\n";

/* Simulate axis_text with these logs; the caller frees folder and truth. */
static char *simulate(struct tune_truth *truth, const char *logs, size_t threads)
{
    char *folder = check_folder(), *text = malloc(sizeof axis_text + strlen(logs) + 1), *path;
    struct tune_simulation_job job = {.folder = folder, .threads = threads};
    struct tune_error err;
    (void)sprintf(text, "%s%s", axis_text, logs);
    path = check_file(folder, "d.ini", text, strlen(text));
    job.description = path;
    if (tune_chain_simulate(truth, &job, &err)) fail_msg("%s (%s)", err.text, err.thing);
    free(path);
    free(text);
    return folder;
}

static char *bytes_of(const char *folder, const char *name, size_t *size)
{
    char path[TUNE_PATH_LENGTH], *bytes = NULL;
    struct tune_error err;
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    if (tune_file_read(&bytes, size, path, &err)) fail_msg("%s: %s", path, err.text);
    return bytes;
}

#define HOLD "kind = hold\npointing = a\nduration_s = 2\nramp_arcsec_per_s = 900\n"

/* A log comes out the same whatever is wrong with another, and the same again in any order of work. */
static void the_same_seed_gives_the_same_bytes(void **state)
{
    static const char plain[] = "[log one]\n" HOLD "log_gzip = no\n[log two]\n" HOLD,
                      bent[] = "[log one]\n" HOLD "log_gzip = no\n[log two]\n" HOLD
                               "trouble_glitches = 3\ntrouble_glitch_arcsec = 9\n"
                               "trouble_stamp_scatter_s = 1e-5\ntrouble_measured = instead\n"
                               "trouble_measured_lag_s = 0\ntrouble_measured_noise_nm = 0.1\n";
    static const char start[] = "time_s,excitation_nm,torque_nm,position_arcsec,target_arcsec\n"
                                "0.000000000,0,";
    struct tune_truth truth[3];
    char *folder[3], *bytes[3];
    size_t size[3];
    (void)state;
    folder[0] = simulate(&truth[0], plain, 1);
    folder[1] = simulate(&truth[1], bent, 1);
    folder[2] = simulate(&truth[2], bent, 2);
    for (int i = 0; i < 3; i++) {
        bytes[i] = bytes_of(folder[i], "logs/one.csv", &size[i]);
        assert_int_equal(size[i], size[0]);
        assert_memory_equal(bytes[i], bytes[0], size[0]);
    }
    assert_memory_equal(bytes[0], start, sizeof start - 1);
    for (int i = 0; i < 3; i++) {
        free(bytes[i]);
        bytes[i] = bytes_of(folder[i], "logs/two.csv.gz", &size[i]);
    }
    assert_int_equal(size[1], size[2]);
    assert_memory_equal(bytes[1], bytes[2], size[1]);
    assert_true(size[0] != size[1] || memcmp(bytes[0], bytes[1], size[0]) != 0);
    assert_int_equal(truth[0].log[1].n_troubles, 0);
    assert_int_equal(truth[1].log[1].n_troubles, 3);
    for (int i = 0; i < 3; i++) {
        free(bytes[i]);
        bytes[i] = bytes_of(folder[i], "truth.json", &size[i]);
    }
    assert_null(strstr(bytes[0], "troubles"));
    assert_non_null(strstr(bytes[1], "\"finding\": \"encoder-glitch\""));
    assert_memory_equal(bytes[1], bytes[2], size[1]);
    for (int i = 0; i < 3; i++) {
        free(bytes[i]);
        tune_truth_free(&truth[i]);
        check_folder_remove(folder[i]);
    }
}

/* What axis.ini says of each format is enough to read the same numbers. */
static void every_format_reads_back_to_the_same(void **state)
{
    static const char *const format[] = {
        "", /* the first is the one the others are held against */
        "log_time = ms\nlog_angle_unit = counts\nlog_torque_unit = permille\n"
        "log_separator = semicolon\nlog_decimal = comma\nlog_heading_rows = 9\n",
        "log_time = us\nlog_angle_unit = deg\nlog_torque_unit = a\nlog_separator = tab\n"
        "log_units_row = yes\nlog_gzip = no\n",
        "log_time = none\nlog_angle_unit = mas\nlog_torque_unit = fraction\n",
        "log_angle_unit = rad\nlog_names = drive\nlog_torque_unit = v\n",
        "log_names = drive\nlog_units_row = yes\nlog_angle_unit = counts\nlog_heading_rows = 3\n"
        "log_sky = yes\n"};
    enum { FORMATS = sizeof format / sizeof *format };
    char path[TUNE_PATH_LENGTH + 256], *folder;
    struct tune_truth truth;
    struct tune_logbook book;
    struct tune_record first = {0}, rec;
    struct tune_error err;
    (void)state;
    /* one description per log: the same stream of random numbers for each */
    for (size_t i = 0; i < FORMATS; i++) {
        char one[1024];
        (void)snprintf(one, sizeof one, "[log f]\n" HOLD "%s", format[i]);
        folder = simulate(&truth, one, 1);
        (void)snprintf(path, sizeof path, "%s/axis.ini", folder);
        assert_int_equal(tune_logbook_read(&book, path, &err), TUNE_OK);
        (void)snprintf(path, sizeof path, "%s/%s", folder, book.log[0].file);
        if (tune_record_read(&rec, path, &book.log[0].reading, &err))
            fail_msg("format %zu, %s: %s", i, path, err.text);
        assert_int_equal(rec.n, 1000);
        check_close_rel(rec.rate_hz, 500.0, 1e-12);
        for (int role = 0; i > 0 && role < TUNE_ROLE_COUNT; role++)
            for (size_t k = 0; first.channel[role] && k < rec.n; k++)
                /* angles: 1e-3 counts of the target are 4e-10 rad; torque has 9 digits */
                check_close(rec.channel[role][k], first.channel[role][k],
                            role == TUNE_ROLE_POSITION || role == TUNE_ROLE_TARGET ? 4e-10 : 1e-6);
        assert_int_equal(rec.channel[TUNE_ROLE_SKY] != NULL, i == FORMATS - 1);
        if (i == 0)
            first = rec;
        else
            tune_record_free(&rec);
        tune_logbook_free(&book);
        tune_truth_free(&truth);
        check_folder_remove(folder);
    }
    tune_record_free(&first);
}

/* Above the header, in the separator of the table, as many as asked for. */
static void rows_of_the_recorder_stand_above_the_header(void **state)
{
    static const char start[] = "Recorder setting 1;100\nRecorder setting 2;101\n"
                                "time_s;excitation_nm;torque_nm;position_arcsec;target_arcsec\n0,0";
    struct tune_truth truth;
    char *folder = simulate(&truth,
                            "[log one]\n" HOLD "log_gzip = no\nlog_heading_rows = 2\n"
                            "log_separator = semicolon\nlog_decimal = comma\n",
                            1);
    size_t size;
    char *bytes = bytes_of(folder, "logs/one.csv", &size);
    (void)state;
    assert_in_range(size, sizeof start, 1000000);
    assert_memory_equal(bytes, start, sizeof start - 1);
    free(bytes);
    tune_truth_free(&truth);
    check_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_seed_gives_the_same_bytes),
        cmocka_unit_test(every_format_reads_back_to_the_same),
        cmocka_unit_test(rows_of_the_recorder_stand_above_the_header),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
