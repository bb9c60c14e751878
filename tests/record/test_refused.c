/* test_refused.c - logs that must be refused, each with the place, the thing, its value and a sentence.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/refused.h"

#include <errno.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "record/record.h"

#define HEADER "time_s,torque_nm,position_arcsec\n"

/* What the log's section states, where a case needs it. */
struct stated {
    double rate_hz, torque_per_unit_nm;
    enum tune_role role; /* for column and unit */
    const char *column, *unit;
};

struct refused_log {
    struct refused refused;
    struct stated stated;
};

/* clang-format off */
static const struct refused_log cases[] = {
    {.refused = {"an empty file", TEXT(""), AT(1, 0), ABOUT("rows", "0"),
     .sentence = "the log is empty: it has no header"}},
    {.refused = {"comments only", TEXT("# a\n# b\n"), AT(3, 0), ABOUT("rows", "0"),
     .sentence = "is empty: it has no header"}},
    {.refused = {"header only", TEXT("# x\n" HEADER), AT(2, 0), ABOUT("rows", "0"),
     .sentence = "has a header and no rows"}},
    {.refused = {"header and units only", TEXT(HEADER "s,Nm,arcsec\n\n"), AT(1, 0),
     ABOUT("rows", "0"),
     .sentence = "no rows"}},
    {.refused = {"no header", TEXT("0,1,2\n0.001,1,2\n"), AT(1, 0), ABOUT("header", "0, 1, 2"),
     .sentence = "the first line holds numbers: the log needs a header"}},
    {.refused = {"no known column", TEXT("a,b\n1,2\n"), AT(1, 0), ABOUT("header", "a, b"),
     .sentence = "no column of the log has a known name; it has: a, b"}},
    {.refused = {"no known column in any of the first lines", TEXT("Device;X\nDate;1.5.\na;b\n1;2\n"), AT(1, 0),
     ABOUT("header", "Device, X"),
     .sentence = "no column of the log has a known name; it has: Device, X"}},
    {.refused = {"a bad header behind other lines", TEXT("Device;X\nDate;1.5.\ntime_s;time_ms\n1;2\n"), AT(3, 2),
     ABOUT("time", "time_ms"),
     .sentence = "two columns could be the time, 'time_s' and 'time_ms'"}},
    {.refused = {"a bad row behind other lines", TEXT("Device;X\nDate;1.5.\ntime_s;torque_nm\n1;2\n2;x\n"), AT(5, 2),
     ABOUT("torque_nm", "x"),
     .sentence = "'x' in column 'torque_nm', row 2, is not a number"}},
    {.refused = {"zero bytes", TEXT(HEADER "0,1,2\n0.001,\0,3\n"), AT(3, 0), ABOUT("line", ""),
     .sentence = "the line holds zero bytes"}},
    {.refused = {"UTF-16", TEXT("\xff\xfet\0i\0m\0e\0_\0s\0\n\0"), AT(1, 0), ABOUT("line", ""),
     .sentence = "not a text file, or it is UTF-16"}},
    {.refused = {"a binary file", TEXT("\x7f\x45LF\x02\x01\x01\x03\x03\x05\n"), AT(1, 0),
     ABOUT("header", ""),
     .sentence = "the header holds control characters"}},
    {.refused = {"lines ended by CR alone", TEXT("time_s,torque_nm\r0,1\r0.1,2\r"), AT(1, 0),
     ABOUT("header", ""),
     .sentence = "bare carriage return"}},
    {.refused = {"overflow", TEXT(HEADER "0,1,2\n0.001,1e999,2\n"), AT(3, 2),
     ABOUT("torque_nm", "1e999"),
     .sentence = "'1e999' in column 'torque_nm', row 2, is beyond the range of a double"}},
    {.refused = {"overflow by scaling", TEXT("torque_a\n1e308\n"), AT(2, 1),
     ABOUT("torque_a", "1e308"),
     .sentence = "is beyond the range of a double"},
     .stated = {.rate_hz = 1, .torque_per_unit_nm = 1e10}},
    {.refused = {"nan", TEXT(HEADER "0,1,2\n0.001,1,nan\n"), AT(3, 3),
     ABOUT("position_arcsec", "nan"),
     .sentence = "row 2, is not a finite number: correct or remove the row"}},
    {.refused = {"infinity", TEXT(HEADER "0,1,-Inf\n"), AT(2, 3), ABOUT("position_arcsec", "-Inf"),
     .sentence = "is not a finite number"}},
    {.refused = {"text in a number column", TEXT(HEADER "0,1,2\n0.001,1,off\n"), AT(3, 3),
     ABOUT("position_arcsec", "off"),
     .sentence = "'off' in column 'position_arcsec', row 2, is not a number"}},
    {.refused = {"a control character in a number", TEXT(HEADER "0,1,2\n0.001,1,2\x01\x80\n"), AT(3, 3),
     ABOUT("position_arcsec", "2\?\?"),
     .sentence = "'2\?\?' in column"}},
    {.refused = {"an empty field", TEXT(HEADER "0,1,2\n0.001,,2\n"), AT(3, 2),
     ABOUT("torque_nm", ""),
     .sentence = "is empty"}},
    {.refused = {"a short row", TEXT(HEADER "0,1,2\n0.001,1\n0.002,1,2\n"), AT(3, 3),
     ABOUT("fields", "2"),
     .sentence = "row 2 has 2 fields, the header 3: correct or remove the row"}},
    {.refused = {"a long row", TEXT(HEADER "0,1,2\n0.001,1,2,3\n"), AT(3, 4), ABOUT("fields", "4"),
     .sentence = "row 2 has 4 fields, the header 3"}},
    {.refused = {"the end cut off", TEXT(HEADER "0,1,2\n0.001,1"), AT(3, 3), ABOUT("fields", "2"),
     .sentence = "the log ends in the middle of a row"}},
    {.refused = {"rows with another separator", TEXT(HEADER "0;1;2\n0.001;1;2\n"), AT(2, 2),
     ABOUT("fields", "1"),
     .sentence = "rows and header use different separators"}},
    {.refused = {"separators mixed in the header", TEXT("time_s,torque_nm;position_arcsec\n0,1;2\n"), AT(1, 0),
     ABOUT("header", ""),
     .sentence = "the header mixes commas, semicolons or tabs"}},
    {.refused = {"decimal commas between commas", TEXT("time_s,torque_nm\n0,0,1,5\n"), AT(2, 3),
     ABOUT("fields", "4"),
     .sentence = "decimal commas need semicolons or tabs"}},
    {.refused = {"a quoted decimal comma between commas", TEXT("time_s,torque_nm\n0,\"1,5\"\n"), AT(2, 2),
     ABOUT("torque_nm", "1,5"),
     .sentence = "has a decimal comma, which needs semicolons or tabs"}},
    {.refused = {"both decimal marks", TEXT("time_s;torque_nm\n0,5;1,5\n0,501;1.500\n"), AT(3, 2),
     ABOUT("torque_nm", "1.500"),
     .sentence = "has another decimal mark than the numbers before"}},
    {.refused = {"a thousands mark", TEXT("time_s;torque_nm\n0;1.234,5\n"), AT(2, 2),
     ABOUT("torque_nm", "1.234,5"),
     .sentence = "is not a number"}},
    {.refused = {"text behind a quote", TEXT(HEADER "0,1,2\n0.001,\"1\"x,2\n"), AT(3, 2),
     ABOUT("field", ""),
     .sentence = "a quoted field does not end with a quote and a separator"}},
    {.refused = {"a quote never closed", TEXT(HEADER "0,1,2\n0.001,\"1,2\n0.002,1,2\n"), AT(3, 2),
     ABOUT("field", ""),
     .sentence = "a quoted field does not end with a quote"}},
    {.refused = {"an empty line between rows", TEXT(HEADER "0,1,2\n\n\n0.001,1,2\n"), AT(3, 0),
     ABOUT("row", ""),
     .sentence = "an empty line stands before row 2: remove it"}},
    {.refused = {"a comment between rows", TEXT(HEADER "0,1,2\n# paused\n0.001,1,2\n"), AT(3, 2),
     ABOUT("fields", "1"),
     .sentence = "row 2 has 1 field, the header 3"}},
    {.refused = {"two columns for a role", TEXT("time_s,position_arcsec,position_deg\n0,1,2\n"), AT(1, 3),
     ABOUT("position", "position_deg"),
     .sentence = "two columns could be the position, 'position_arcsec' and 'position_deg'"}},
    {.refused = {"a mapped name twice", TEXT("time_s,Iq,Iq\n0,1,2\n"), AT(1, 3),
     ABOUT("torque", "Iq"),
     .sentence = "two columns could be the torque, 'Iq' and 'Iq'"},
     .stated = {.role = TUNE_ROLE_TORQUE, .column = "Iq", .unit = "nm"}},
    {.refused = {"a column for two roles", TEXT("time_s,torque_nm,position_arcsec\n0,1,2\n"), AT(1, 3),
     ABOUT("load_position", "position_arcsec"),
     .sentence = "the column 'position_arcsec' serves both as position and as load_position: name another with load_position = \"...\", or take"},
     .stated = {.role = TUNE_ROLE_LOAD_POSITION, .column = "position_arcsec"}},
    {.refused = {"a mapped column that is another by its name", TEXT(HEADER "0,1,2\n"), AT(1, 2),
     ABOUT("excitation", "torque_nm"),
     .sentence = "serves both as torque and as excitation: name another with excitation = \"...\""},
     .stated = {.role = TUNE_ROLE_EXCITATION, .column = "torque_nm"}},
    {.refused = {"a mapped column that is not there", TEXT(HEADER "0,1,2\n"), AT(1, 0),
     ABOUT("sky", "spot_x"),

         .sentence = "the column 'spot_x', named for the sky, is not in the log; it has: time_s, torque_nm"},
     .stated = {.role = TUNE_ROLE_SKY, .column = "spot_x", .unit = "arcsec"}},
    {.refused = {"no unit", TEXT("time_s,Iq act\n0,1\n"), AT(1, 2), ABOUT("Iq act", ""),

         .sentence = "names no unit for the torque: state torque_unit in the log's section as one of nm, a, v"},
     .stated = {.role = TUNE_ROLE_TORQUE, .column = "Iq act"}},
    {.refused = {"a units row with a stranger", TEXT("time_s,torque\ns,mA\n0,1\n"), AT(2, 2),
     ABOUT("torque", "mA"),
     .sentence = "'mA' under 'torque' is neither a number nor a unit of the torque"}},
    {.refused = {"units that disagree", TEXT("time_s,torque_nm\ns,A\n0,1\n"), AT(2, 2),
     ABOUT("torque_nm", "a"),
     .sentence = "is in nm by its name and in a by the units row"}},
    {.refused = {"a unit without its scale", TEXT("time_s,torque_permille\n0,1\n"), AT(1, 2),
     ABOUT("torque_permille", "permille"),
     .sentence = "is in permille, which needs torque_per_unit_nm in [drive]"}},
    {.refused = {"counts without their scale", TEXT("time_s,position_counts\n0,1\n"), AT(1, 2),
     ABOUT("position_counts", "counts"),
     .sentence = "is in counts, which needs encoder_counts_per_turn in [drive]"}},
    {.refused = {"no time and no rate", TEXT("torque_nm\n1\n"), AT(1, 0), ABOUT("time", ""),
     .sentence = "the log has no time column and no stated rate: state sample_rate_hz"}},
    {.refused = {"one row and no rate", TEXT(HEADER "0,1,2\n"), AT(1, 1), ABOUT("time_s", "1 row"),
     .sentence = "one row has no sample rate"}},
    {.refused = {"stamps that do not rise", TEXT(HEADER "0,1,2\n0,1,2\n0,1,2\n"), AT(1, 1),
     ABOUT("time_s", ""),
     .sentence = "the time stamps do not rise from row to row"}},
    {.refused = {"a long gap", TEXT(HEADER "0,1,2\n0.001,1,2\n0.002,1,2\n1.1,1,2\n1.101,1,2\n"), AT(5, 1),
     ABOUT("time_s", "1.1"),
     .sentence = "a gap of 1.097 s (1097 rows) before row 4 is too long to be filled in: cut the log there"},
     .stated = {.rate_hz = 1000}},
    {.refused = {"many rows missing", TEXT(HEADER "0,1,2\n0.001,1,2\n0.002,1,2\n0.005,1,2\n0.006,1,2\n"), AT(5, 1),
     ABOUT("time_s", "2 rows missing"),
     .sentence = "2 rows are missing between the 5 of the log, more than 1 %"},
     .stated = {.rate_hz = 1000}},
};
/* clang-format on */

static struct tune_record_opts options(const struct stated *stated)
{
    struct tune_record_opts opts = tune_record_defaults();
    opts.sample_rate_hz = stated->rate_hz;
    opts.torque_per_unit_nm = stated->torque_per_unit_nm;
    if (stated->column) strcpy(opts.map[stated->role].column, stated->column);
    if (stated->unit) strcpy(opts.map[stated->role].unit, stated->unit);
    return opts;
}

static void expect_empty(const struct tune_record *rec)
{
    const struct tune_record none = {0};
    assert_memory_equal(rec, &none, sizeof none);
}

static void a_malformed_log_is_refused_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct refused *bad = &cases[i].refused;
        const struct tune_record_opts opts = options(&cases[i].stated);
        struct tune_record rec;
        struct tune_error err = {0};
        check_refused(bad, "bad.csv",
                      tune_record_parse(&rec, "bad.csv", bad->text, bad->size, &opts, &err), &err);
        expect_empty(&rec);
        /* the error is optional, the status is not */
        assert_int_equal(tune_record_parse(&rec, "bad.csv", bad->text, bad->size, &opts, NULL),
                         TUNE_EDATA);
    }
}

/* text made of a head and `count` copies of a piece; caller frees */
static char *repeated(const char *head, const char *piece, size_t count)
{
    const size_t width = strlen(piece), start = strlen(head);
    char *text = malloc(start + width * count + 1);
    assert_non_null(text);
    memcpy(text, head, start);
    for (size_t i = 0; i < count; i++)
        memcpy(text + start + i * width, piece, width);
    text[start + width * count] = '\0';
    return text;
}

static void refuse_text(char *text, long line, long column, const char *sentence)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    opts.sample_rate_hz = 1000.0;
    assert_int_equal(tune_record_parse(&rec, "bad.csv", text, strlen(text), &opts, &err),
                     TUNE_EDATA);
    assert_int_equal(err.line, line);
    assert_int_equal(err.column, column);
    if (!strstr(err.text, sentence)) fail_msg("'%s' lacks '%s'", err.text, sentence);
    expect_empty(&rec);
    free(text);
}

static void endless_lines_and_endless_headers_are_refused(void **state)
{
    (void)state;
    refuse_text(repeated("", "1", 3 << 20), 1, 0, "a line is longer than 1048576 bytes");
    refuse_text(repeated("torque_nm\n1\n", "1", 3 << 20), 3, 0, "a line is longer than 1048576");
    refuse_text(repeated("torque_nm\n\"", "1\n", 2 << 20), 2, 0, "or a quote is never closed");
    refuse_text(repeated("torque_nm", ",a", 9999), 1, 1024, "at most 1024 columns");
    refuse_text(repeated("torque_nm\n1\n1", ",2", 9999), 3, 1024, "at most 1024 columns");
}

static void the_header_is_looked_for_in_the_first_lines_only(void **state)
{
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    (void)state;
    for (size_t n = 64; n <= 65; n++) {
        char *before = repeated("", "Device;X\n", n);
        char *text = repeated(before, "time_s;torque_nm\n0;1\n1;2\n", 1);
        assert_int_equal(tune_record_parse(&rec, "a", text, strlen(text), &opts, &err),
                         n == 64 ? TUNE_OK : TUNE_EDATA);
        if (n == 64)
            assert_int_equal(rec.n, 2);
        else
            assert_non_null(strstr(err.text, "it has: Device, X"));
        tune_record_free(&rec);
        free(before);
        free(text);
    }
}

static void stamps_that_change_pace_are_refused(void **state)
{
    enum { ROWS = 6000 };
    struct tune_record_opts opts = tune_record_defaults();
    char *text = malloc(40 * ROWS);
    struct tune_record rec;
    struct tune_error err = {0};
    double t = 0.0;
    size_t used;
    (void)state;
    assert_non_null(text);
    /* 3000 rows at 1 kHz, then 3000 at 1020 Hz: no step is out of place */
    used = (size_t)sprintf(text, "time_s,position_rad\n");
    for (int k = 0; k < ROWS; k++, t += k <= 3000 ? 1e-3 : 1.0 / 1020.0)
        used += (size_t)sprintf(text + used, "%.7f,1\n", t);
    for (int stated = 0; stated < 2; stated++) {
        opts.sample_rate_hz = stated ? 1000.0 : 0.0;
        assert_int_equal(tune_record_parse(&rec, "bad.csv", text, used, &opts, &err), TUNE_EDATA);
        assert_int_equal(err.line, 4002); /* a thousand rows after the change, one header line */
        assert_int_equal(err.column, 1);
        assert_non_null(strstr(err.text, "run at 1020 Hz"));
    }
    free(text);
}

static void refuse_file(const char *path, enum tune_status status, const char *sentence)
{
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    assert_int_equal(tune_record_read(&rec, path, &opts, &err), status);
    assert_int_equal(err.status, status);
    assert_string_equal(err.file, path);
    if (!strstr(err.text, sentence)) fail_msg("'%s' lacks '%s'", err.text, sentence);
    expect_empty(&rec);
    tune_error_clear(&err);
    assert_int_equal(tune_record_require_file(path, &err), status);
    assert_string_equal(err.file, path);
    if (!strstr(err.text, sentence)) fail_msg("'%s' lacks '%s'", err.text, sentence);
}

static void a_file_that_is_not_there_is_a_system_error(void **state)
{
    (void)state;
    refuse_file("/nonexistent/log.csv", TUNE_EIO, strerror(ENOENT));
    refuse_file("/dev/null/log.csv", TUNE_EIO, strerror(ENOTDIR));
}

static void what_is_there_and_no_log_is_unusable_data(void **state)
{
    char *folder = check_folder(), pipe_path[256];
    (void)state;
    refuse_file(folder, TUNE_EDATA, "this is a folder: name a log file in it");
    refuse_file("/dev/null", TUNE_EDATA, "this is a device, not a file");
    (void)snprintf(pipe_path, sizeof pipe_path, "%s/pipe", folder);
    assert_int_equal(mkfifo(pipe_path, 0600), 0);
    refuse_file(pipe_path, TUNE_EDATA, "this is a pipe, not a file: save the log to a file first");
    check_folder_remove(folder);
}

static void a_log_that_may_not_be_read_is_unusable_data(void **state)
{
    const bool root = geteuid() == 0; /* root may read anything: be nobody for a while */
    char *folder = check_folder(), *closed = check_file(folder, "closed.csv", HEADER, 4);
    (void)state;
    assert_int_equal(chmod(folder, 0755), 0);
    assert_int_equal(chmod(closed, 0), 0);
    if (root) assert_int_equal(seteuid(65534), 0);
    refuse_file(closed, TUNE_EDATA,
                "the log may not be read (Permission denied): change the rights");
    if (root) assert_int_equal(seteuid(0), 0);
    free(closed);
    check_folder_remove(folder);
}

static void options_out_of_range_are_refused(void **state)
{
    const struct tune_record_opts good = tune_record_defaults();
    struct tune_record_opts bad[12];
    const char *const thing[12] = {"position_scale",
                                   "position_scale",
                                   "position_offset",
                                   "position_sign",
                                   "position_delay_samples",
                                   "position_unit",
                                   "time_sign or delay_samples",
                                   "sample_rate_hz",
                                   "sample_rate_hz",
                                   "torque_per_unit_nm",
                                   "encoder_counts_per_turn",
                                   "encoder_counts_per_turn"};
    struct tune_record rec;
    struct tune_error err;
    (void)state;
    for (size_t i = 0; i < 12; i++)
        bad[i] = good;
    bad[0].map[TUNE_ROLE_POSITION].scale = 0.0;
    bad[1].map[TUNE_ROLE_POSITION].scale = NAN;
    bad[2].map[TUNE_ROLE_POSITION].offset = INFINITY;
    bad[3].map[TUNE_ROLE_POSITION].sign = 2.0;
    bad[4].map[TUNE_ROLE_POSITION].delay_samples = -1.0;
    strcpy(bad[5].map[TUNE_ROLE_POSITION].unit, "nm");
    bad[6].map[TUNE_ROLE_TIME].sign = -1.0;
    bad[7].sample_rate_hz = -1.0;
    bad[8].sample_rate_hz = NAN;
    bad[9].torque_per_unit_nm = INFINITY;
    bad[10].encoder_counts_per_turn = NAN;
    bad[11].encoder_counts_per_turn = -4.0;
    for (size_t i = 0; i < 12; i++) {
        assert_int_equal(tune_record_parse(&rec, "a", HEADER, strlen(HEADER), &bad[i], &err),
                         TUNE_EINVAL);
        assert_string_equal(err.thing, thing[i]);
        expect_empty(&rec);
    }
}

/* Read a log of so many rows with every allocation failing in turn; returns how many there are. */
static unsigned long read_without_memory(size_t rows)
{
    struct tune_record_opts opts = tune_record_defaults();
    char *text = repeated("torque_nm,position_arcsec\n", "1,2\n", rows), *folder = check_folder();
    char *path = check_file(folder, "a.csv", text, strlen(text));
    unsigned long k = 0;
    opts.sample_rate_hz = 1000.0;
    for (;;) {
        struct tune_record rec;
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(++k);
        status = tune_record_read(&rec, path, &opts, &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        if (status == TUNE_OK) {
            assert_int_equal(rec.n, rows);
            tune_record_free(&rec);
            if (!refused) break;
            continue; /* shrinking the channels may fail: a larger block does no harm */
        }
        assert_int_equal(status, TUNE_ENOMEM);
        assert_non_null(strstr(err.text, "out of memory"));
        expect_empty(&rec);
    }
    free(path);
    free(text);
    check_folder_remove(folder);
    return k;
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    (void)state;
    assert_in_range(read_without_memory(3000), 8, 40);
    assert_in_range(read_without_memory(300000), 8, 40); /* channels of whole large pages */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_malformed_log_is_refused_with_its_place),
        cmocka_unit_test(endless_lines_and_endless_headers_are_refused),
        cmocka_unit_test(the_header_is_looked_for_in_the_first_lines_only),
        cmocka_unit_test(stamps_that_change_pace_are_refused),
        cmocka_unit_test(a_file_that_is_not_there_is_a_system_error),
        cmocka_unit_test(what_is_there_and_no_log_is_unusable_data),
        cmocka_unit_test(a_log_that_may_not_be_read_is_unusable_data),
        cmocka_unit_test(options_out_of_range_are_refused),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
