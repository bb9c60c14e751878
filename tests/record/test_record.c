/* test_record.c - logs that are good, in every form they may take.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "core/random.h"
#include "core/units.h"
#include "record/record.h"

static struct tune_record parse(const char *text, const struct tune_record_opts *opts)
{
    struct tune_record rec;
    struct tune_error err = {0};
    if (tune_record_parse(&rec, "log.csv", text, strlen(text), opts, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    return rec;
}

static const char plain[] = "time_s,excitation_nm,torque_nm,position_arcsec\n"
                            "0.5,1,1.25,3600\n"
                            "0.501,-1,-1.5,7200\n"
                            "0.502,0,2,-648000\n";

static void a_plain_log_comes_out_in_si(void **state)
{
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec = parse(plain, &opts);
    (void)state;
    assert_int_equal(rec.n, 3);
    check_close(rec.rate_hz, 1000.0, 1e-9);
    check_close(rec.start_s, 0.5, 0.0);
    check_close(rec.channel[TUNE_ROLE_TORQUE][1], -1.5, 0.0);
    check_close(rec.channel[TUNE_ROLE_EXCITATION][0], 1.0, 0.0);
    check_close(rec.channel[TUNE_ROLE_POSITION][1], 2.0 * TUNE_RAD_PER_DEG, 1e-17);
    check_close(rec.channel[TUNE_ROLE_POSITION][2], -TUNE_PI, 1e-15);
    assert_null(rec.channel[TUNE_ROLE_TIME]);
    assert_null(rec.channel[TUNE_ROLE_SKY]);
    assert_string_equal(rec.column[TUNE_ROLE_POSITION], "position_arcsec");
    assert_string_equal(rec.columns_found, "time_s, excitation_nm, torque_nm, position_arcsec");
    tune_record_free(&rec);
    tune_record_free(&rec);
    assert_int_equal(rec.n, 0);
}

/* Every way of writing the same table gives the same numbers. */
static void separators_line_ends_and_marks_do_not_matter(void **state)
{
    static const char *const form[] = {
        "time_s;excitation_nm;torque_nm;position_arcsec\n0.5;1;1.25;3600\n0.501;-1;-1.5;7200\n"
        "0.502;0;2;-648000\n",
        "time_s\texcitation_nm\ttorque_nm\tposition_arcsec\r\n0,5\t1\t1,25\t3600\r\n"
        "0,501\t-1\t-1,5\t7200\r\n0,502\t0\t2\t-648000\r\n",
        "\xef\xbb\xbf# taken at night, \"quoted\n#\n\ntime_s;excitation_nm;torque_nm;"
        "position_arcsec\n0,5;1;1,25;3600\n0,501;-1;-1,5;7200\n0,502;0;2;-648000",
        "time_s,excitation_nm,torque_nm,position_arcsec\r\n"
        "0.5, 1 ,1.25,+3600\r\n0.501,-1e0,-15e-1, 7.2e3\r\n0.502,0,2.,-648000.0\r\n\r\n\n",
        "\"time_s\",\"excitation_nm\", \"torque_nm\" ,note,\"position_arcsec\"\n"
        "0.5,\"1\",1.25,\"two \"\"quoted\"\"\nlines, \"\"here\"\"\",3600\n0.501,-1,-1.5,,7200\n"
        "0.502,0,2,a \"b\" c,-648000\n",
        "time,excitation,torque,position\ns,Nm,N m,arcsec\n0.5,1,1.25,3600\n0.501,-1,-1.5,7200\n"
        "0.502,0,2,-648000\n",
        "time_ms,Excitation_Nm,position_deg,torque_nm\n[ms],,,\n500,1,1,1.25\n501,-1,2,-1.5\n"
        "502,0,-180,2\n",
    };
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record want = parse(plain, &opts);
    (void)state;
    for (size_t i = 0; i < sizeof form / sizeof *form; i++) {
        struct tune_record got = parse(form[i], &opts);
        assert_int_equal(got.n, want.n);
        check_close(got.rate_hz, want.rate_hz, 1e-9);
        check_close(got.start_s, 0.5, 1e-15);
        for (size_t k = 0; k < want.n; k++) {
            check_close(got.channel[TUNE_ROLE_EXCITATION][k], want.channel[TUNE_ROLE_EXCITATION][k],
                        0.0);
            check_close(got.channel[TUNE_ROLE_TORQUE][k], want.channel[TUNE_ROLE_TORQUE][k], 0.0);
            check_close(got.channel[TUNE_ROLE_POSITION][k], want.channel[TUNE_ROLE_POSITION][k],
                        1e-15); /* rounding: degrees against arcseconds */
        }
        tune_record_free(&got);
    }
    tune_record_free(&want);
}

/* Exports of drives begin with lines of their own; a word among them may be that of a role. */
static void lines_before_the_header_are_passed_over(void **state)
{
    static const struct {
        const char *text, *column; /* column: mapped to the torque */
        long line;                 /* of the first row */
    } cases[] = {
        {"Device;X 200\nDate;14.05.2026 21:13\n\ntime_s;torque_nm\n0;1\n1;2\n", "", 5},
        {"Device;X 200\nTime;21:13:05\n# c\nTime;Torque\ns;Nm\n0,0;1\n1,0;2\n", "", 6},
        {"Time;21:13:05\nDevice;X 200\nt;Iq act;time_s\n0;1;0\n1;2;1\n", "Iq act", 4},
        {"Torque;18.4 Nm/A\nGain;3;4;5\ntime_s;torque_nm\n0;1\n1;2\n", "", 4},
        {"Comment;\"a quote\nover two; lines\"\nDate;14 May, 2026\ntime_s,torque_nm\n0,1\n1,2\n",
         "", 5},
        {"Trace 12\n\n\nA\nB\nC\ntime,torque\n0,1\n1,2\n", "", 0},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tune_record_opts opts = tune_record_defaults();
        strcpy(opts.map[TUNE_ROLE_TORQUE].column, cases[i].column);
        if (cases[i].column[0]) strcpy(opts.map[TUNE_ROLE_TORQUE].unit, "nm");
        if (!cases[i].line) { /* bare names want units */
            strcpy(opts.map[TUNE_ROLE_TORQUE].unit, "nm");
            strcpy(opts.map[TUNE_ROLE_TIME].unit, "s");
        }
        struct tune_record rec = parse(cases[i].text, &opts);
        assert_int_equal(rec.n, 2);
        check_close(rec.channel[TUNE_ROLE_TORQUE][0], 1.0, 0.0);
        check_close(rec.channel[TUNE_ROLE_TORQUE][1], 2.0, 0.0);
        check_close(rec.rate_hz, 1.0, 1e-12);
        assert_int_equal(tune_record_line(&rec, 1), cases[i].line ? cases[i].line : 8);
        tune_record_free(&rec);
    }
}

static void every_unit_is_brought_to_si(void **state)
{
    static const struct {
        enum tune_role role;
        const char *header, *number;
        double si;
    } cases[] = {
        {TUNE_ROLE_TORQUE, "torque_nm", "2", 2.0},
        {TUNE_ROLE_TORQUE, "torque_a", "2", 2.0 * 18.5},
        {TUNE_ROLE_TORQUE, "torque_v", "2", 2.0 * 18.5},
        {TUNE_ROLE_TORQUE, "torque_permille", "500", 0.5 * 18.5},
        {TUNE_ROLE_EXCITATION, "excitation_fraction", "0.25", 0.25 * 18.5},
        {TUNE_ROLE_POSITION, "position_arcsec", "648000", TUNE_PI},
        {TUNE_ROLE_POSITION, "position_mas", "648000000", TUNE_PI},
        {TUNE_ROLE_LOAD_POSITION, "load_position_deg", "90", TUNE_PI / 2.0},
        {TUNE_ROLE_TARGET, "target_rad", "1.5", 1.5},
        {TUNE_ROLE_SKY, "sky_counts", "250", TUNE_PI / 2.0},
        {TUNE_ROLE_OTHER_POSITION, "other_position_deg", "-90", -TUNE_PI / 2.0},
        {TUNE_ROLE_POSITION, "position_m", "0.75", 0.75},
        {TUNE_ROLE_PAYLOAD_ACCEL, "payload_accel_m_per_s2", "3", 3.0},
        /* standard acceleration of free fall, by definition (3rd CGPM 1901) */
        {TUNE_ROLE_PAYLOAD_ACCEL, "payload_accel_g", "1", 9.80665},
    };
    struct tune_record_opts opts = tune_record_defaults();
    (void)state;
    opts.sample_rate_hz = 100.0;
    opts.torque_per_unit_nm = 18.5;
    opts.encoder_counts_per_turn = 1000.0;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[100];
        (void)snprintf(text, sizeof text, "%s\n%s\n", cases[i].header, cases[i].number);
        struct tune_record rec = parse(text, &opts);
        check_close_rel(rec.channel[cases[i].role][0], cases[i].si, 1e-15);
        assert_int_equal(rec.n, 1);
        tune_record_free(&rec);
    }
}

static void columns_are_mapped_scaled_and_signed(void **state)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_column_map *torque = &opts.map[TUNE_ROLE_TORQUE];
    struct tune_column_map *position = &opts.map[TUNE_ROLE_POSITION];
    (void)state;
    strcpy(torque->column, "Iq act, filtered");
    strcpy(torque->unit, "A");
    torque->scale = 0.001;
    torque->offset = 0.5;
    torque->sign = -1.0;
    torque->delay_samples = 1.5;
    strcpy(position->column, "motor_angle_deg");
    opts.torque_per_unit_nm = 10.0;
    opts.sample_rate_hz = 4000.0;
    struct tune_record rec =
        parse("\"Iq act, filtered\",motor_angle_deg,torque_nm\n1500,180,7\n-500,0,8\n", &opts);
    /* -(0.001 * 1500 + 0.5) A * 10 N m/A */
    check_close(rec.channel[TUNE_ROLE_TORQUE][0], -20.0, 1e-13);
    check_close(rec.channel[TUNE_ROLE_TORQUE][1], 0.0, 1e-13);
    check_close(rec.channel[TUNE_ROLE_POSITION][0], TUNE_PI, 1e-15);
    check_close(rec.delay_samples[TUNE_ROLE_TORQUE], 1.5, 0.0);
    check_close(rec.rate_hz, 4000.0, 0.0);
    check_close(rec.start_s, 0.0, 0.0);
    assert_string_equal(rec.column[TUNE_ROLE_TORQUE], "Iq act, filtered");
    tune_record_free(&rec);
}

static void a_stated_unit_counts_before_the_header(void **state)
{
    struct tune_record_opts opts = tune_record_defaults();
    (void)state;
    opts.sample_rate_hz = 1.0;
    strcpy(opts.map[TUNE_ROLE_POSITION].unit, "mas");
    struct tune_record rec = parse("position_arcsec\narcsec\n1000\n", &opts);
    check_close_rel(rec.channel[TUNE_ROLE_POSITION][0], tune_rad_from_arcsec(1.0), 1e-15);
    tune_record_free(&rec);
    rec = parse("position\n1000\n", &opts);
    check_close_rel(rec.channel[TUNE_ROLE_POSITION][0], tune_rad_from_arcsec(1.0), 1e-15);
    tune_record_free(&rec);
}

/* ---- time stamps ---------------------------------------------------------------------------------*/

/* n rows of a log whose stamps are rate-uniform, rounded to `digits` decimals; caller frees. */
static char *stamped(size_t n, double start_s, double rate_hz, int digits)
{
    const size_t room = 64 + 40 * n;
    char *text = malloc(room);
    size_t used;
    assert_non_null(text);
    used = (size_t)snprintf(text, room, "time_s,position_rad\n");
    for (size_t k = 0; k < n; k++)
        used += (size_t)snprintf(text + used, room - used, "%.*f,%zu\n", digits,
                                 start_s + (double)k / rate_hz, k);
    return text;
}

static void the_rate_is_taken_from_the_stamps(void **state)
{
    const struct tune_record_opts opts = tune_record_defaults();
    (void)state;
    /* stamps rounded to 0.1 ms at 4 kHz step by 2 and 3 units: scatter, no fault;
     * the mean rate is out by at most one unit over the log */
    for (size_t n = 2; n < 5000; n = 3 * n + 1) {
        char *text = stamped(n, 12.3, 4000.0, 4);
        struct tune_record rec = parse(text, &opts);
        check_close(rec.rate_hz, 4000.0, 4000.0 * 1e-4 * 4000.0 / (double)(n - 1) * 1.001);
        assert_int_equal(rec.n, n);
        tune_record_free(&rec);
        free(text);
    }
    /* seconds since 1970: the stamps keep 0.2 us */
    char *text = stamped(3000, 1767225600.0, 4000.0, 7);
    struct tune_record rec = parse(text, &opts);
    check_close_rel(rec.rate_hz, 4000.0, 1e-6);
    tune_record_free(&rec);
    free(text);
}

static void a_stated_rate_is_kept_within_a_thousandth(void **state)
{
    struct tune_record_opts opts = tune_record_defaults();
    char *text = stamped(2500, 0.0, 1000.9, 9);
    (void)state;
    opts.sample_rate_hz = 1000.0;
    struct tune_record rec = parse(text, &opts);
    check_close(rec.rate_hz, 1000.0, 0.0);
    tune_record_free(&rec);
    free(text);
}

/* ---- files and gzip ------------------------------------------------------------------------------*/

/* bytes as gzip, caller frees *out */
static size_t pack(unsigned char **out, const char *bytes, size_t size)
{
    z_stream z = {0};
    const size_t room = size + size / 100 + 200;
    *out = malloc(room);
    assert_non_null(*out);
    assert_int_equal(deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
    z.next_in = (Bytef *)(uintptr_t)bytes;
    z.avail_in = (uInt)size;
    z.next_out = *out;
    z.avail_out = (uInt)room;
    assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
    assert_int_equal(deflateEnd(&z), Z_OK);
    return z.total_out;
}

static void gzip_reads_like_plain(void **state)
{
    const struct tune_record_opts opts = tune_record_defaults();
    char *text = stamped(20000, 0.0, 4000.0, 6), *folder = check_folder(), *path;
    const size_t length = strlen(text), half = length / 2;
    unsigned char *packed, *first, *second;
    const size_t packed_size = pack(&packed, text, length);
    const size_t first_size = pack(&first, text, half);
    const size_t second_size = pack(&second, text + half, length - half);
    struct tune_record want = parse(text, &opts), got;
    struct tune_error err;
    (void)state;

    assert_int_equal(tune_record_parse(&got, "a.csv.gz", packed, packed_size, &opts, &err),
                     TUNE_OK);
    assert_int_equal(got.n, want.n);
    assert_memory_equal(got.channel[TUNE_ROLE_POSITION], want.channel[TUNE_ROLE_POSITION],
                        want.n * sizeof(double));
    tune_record_free(&got);

    path = check_file(folder, "a.csv.gz", packed, packed_size);
    assert_int_equal(tune_record_read(&got, path, &opts, &err), TUNE_OK);
    assert_int_equal(got.n, want.n);
    tune_record_free(&got);
    free(path);

    path = check_file(folder, "a.csv", text, length);
    assert_int_equal(tune_record_read(&got, path, &opts, &err), TUNE_OK);
    assert_int_equal(got.n, want.n);
    tune_record_free(&got);
    free(path);

    /* two members joined end to end are one file (RFC 1952, section 2.2) */
    unsigned char *joined = malloc(first_size + second_size);
    assert_non_null(joined);
    memcpy(joined, first, first_size);
    memcpy(joined + first_size, second, second_size);
    assert_int_equal(tune_record_parse(&got, "j.gz", joined, first_size + second_size, &opts, &err),
                     TUNE_OK);
    assert_int_equal(got.n, want.n);
    tune_record_free(&got);
    free(joined);

    /* cut anywhere, it is refused and nothing is handed out */
    for (size_t cut = 2; cut < packed_size; cut += 1 + packed_size / 97) {
        assert_int_equal(tune_record_parse(&got, "cut.gz", packed, cut, &opts, &err), TUNE_EDATA);
        assert_non_null(strstr(err.text, "gzip data ends early"));
        assert_string_equal(err.file, "cut.gz");
        assert_int_equal(got.n, 0);
    }
    packed[packed_size / 2] ^= 0x55;
    assert_int_equal(tune_record_parse(&got, "bad.gz", packed, packed_size, &opts, &err),
                     TUNE_EDATA);
    tune_record_free(&want);
    free(packed);
    free(first);
    free(second);
    free(text);
    check_folder_remove(folder);
}

static void random_numbers_survive_the_journey(void **state)
{
    enum { ROWS = 5000 };
    struct tune_record_opts opts = tune_record_defaults();
    double *want = malloc(2 * ROWS * sizeof *want);
    char *text = malloc(64 + 60 * ROWS);
    struct tune_random rng;
    size_t used;
    (void)state;
    assert_true(want && text);
    tune_random_init(&rng, 3, 0);
    opts.sample_rate_hz = 4000.0;
    used = (size_t)sprintf(text, "torque_nm,position_rad\n");
    for (size_t k = 0; k < ROWS; k++) {
        want[2 * k] = 300.0 * tune_random_normal(&rng);
        want[2 * k + 1] = tune_random_normal(&rng) * 1e-6;
        used += (size_t)sprintf(text + used, "%.17g,%.17g\n", want[2 * k], want[2 * k + 1]);
    }
    struct tune_record rec = parse(text, &opts);
    assert_int_equal(rec.n, ROWS);
    for (size_t k = 0; k < ROWS; k++) {
        assert_true(rec.channel[TUNE_ROLE_TORQUE][k] == want[2 * k]);
        assert_true(rec.channel[TUNE_ROLE_POSITION][k] == want[2 * k + 1]);
    }
    tune_record_free(&rec);
    free(text);
    free(want);
}

/* The rows of a log are foreseen from its first ones, wrongly where those are longer or shorter than the
 * rest: all are read nevertheless, also where a gzip file holds far more than its beginning tells. */
static void a_long_log_is_read_whatever_its_first_rows_foretell(void **state)
{
    enum { ROWS = 400000, LONG = 300 };
    static const size_t long_rows[] = {0, 20, ROWS}; /* from the start; 0: a long row comes last */
    struct tune_record_opts opts = tune_record_defaults();
    char *text = malloc(64 + (size_t)ROWS * (LONG + 16)), remark[LONG + 1];
    (void)state;
    assert_non_null(text);
    memset(remark, 'x', LONG);
    remark[LONG] = '\0';
    opts.sample_rate_hz = 4000.0;
    for (size_t form = 0; form < sizeof long_rows / sizeof *long_rows; form++) {
        const size_t n = long_rows[form] == ROWS ? ROWS / 10 : ROWS;
        size_t used = (size_t)sprintf(text, "remark,torque_nm,position_rad,note\n"), packed_size;
        unsigned char *packed;
        struct tune_record rec[2];
        for (size_t k = 0; k < n; k++)
            used += (size_t)sprintf(text + used, "%s,%zu,-%zu.5,\n",
                                    k < long_rows[form] || k == n - 1 ? remark : "", k, k % 77);
        packed_size = pack(&packed, text, used);
        text[used] = '\0';
        rec[0] = parse(text, &opts);
        assert_int_equal(tune_record_parse(&rec[1], "log.csv.gz", packed, packed_size, &opts, NULL),
                         TUNE_OK);
        for (size_t i = 0; i < 2; i++) {
            assert_int_equal(rec[i].n, n);
            for (size_t k = 0; k < n; k++) {
                assert_true(rec[i].channel[TUNE_ROLE_TORQUE][k] == (double)k);
                assert_true(rec[i].channel[TUNE_ROLE_POSITION][k] == -(double)(k % 77) - 0.5);
            }
            tune_record_free(&rec[i]);
        }
        free(packed);
    }
    free(text);
}

static void a_missing_role_is_named_with_the_columns_found(void **state)
{
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec = parse(plain, &opts);
    struct tune_error err;
    (void)state;
    assert_int_equal(tune_record_require(&rec, TUNE_ROLE_TORQUE, "a.csv", &err), TUNE_OK);
    assert_int_equal(tune_record_require(&rec, TUNE_ROLE_SKY, "a.csv", &err), TUNE_EDATA);
    assert_string_equal(err.file, "a.csv");
    assert_string_equal(err.thing, "sky");
    assert_non_null(strstr(err.text, "the log has no sky"));
    assert_non_null(strstr(err.text, "time_s, excitation_nm, torque_nm, position_arcsec"));
    tune_record_free(&rec);
}

static void role_names_and_units_are_consistent(void **state)
{
    (void)state;
    for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
        char list[64], *save = NULL;
        assert_int_equal(tune_role_from_name(tune_role_name((enum tune_role)role)), role);
        (void)snprintf(list, sizeof list, "%s", tune_role_units((enum tune_role)role));
        for (char *unit = strtok_r(list, ", ", &save); unit; unit = strtok_r(NULL, ", ", &save))
            assert_string_equal(tune_role_unit((enum tune_role)role, unit), unit);
    }
    assert_int_equal(tune_role_from_name("angle"), TUNE_ROLE_COUNT);
    assert_string_equal(tune_role_unit(TUNE_ROLE_POSITION, "(\xc2\xb0)"), "deg");
    assert_null(tune_role_unit(TUNE_ROLE_POSITION, "nm"));
    assert_null(tune_role_unit(TUNE_ROLE_COUNT, "nm"));
    assert_string_equal(tune_role_name(TUNE_ROLE_COUNT), "unknown");
    assert_string_equal(tune_role_units(TUNE_ROLE_COUNT), "");
}

static void a_measured_log_is_read(void **state)
{
    const char *folder = getenv("TUNE_OPEN_DATA");
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_error err = {0};
    struct tune_record rec;
    char path[1024];
    (void)state;
    if (!folder) skip(); /* TUNE_OPEN_DATA is not set */
    (void)snprintf(path, sizeof path, "%s/motor-bench/multisine.csv", folder);
    strcpy(opts.map[TUNE_ROLE_TORQUE].column, "current_a");
    strcpy(opts.map[TUNE_ROLE_POSITION].column, "motor_angle_rad");
    opts.torque_per_unit_nm = 1.0;
    assert_int_equal(tune_record_read(&rec, path, &opts, &err), TUNE_OK);
    assert_int_equal(rec.n, 50000); /* rows and rate as its README states */
    check_close_rel(rec.rate_hz, 2500.0, 1e-9);
    tune_record_free(&rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plain_log_comes_out_in_si),
        cmocka_unit_test(separators_line_ends_and_marks_do_not_matter),
        cmocka_unit_test(lines_before_the_header_are_passed_over),
        cmocka_unit_test(every_unit_is_brought_to_si),
        cmocka_unit_test(columns_are_mapped_scaled_and_signed),
        cmocka_unit_test(a_stated_unit_counts_before_the_header),
        cmocka_unit_test(the_rate_is_taken_from_the_stamps),
        cmocka_unit_test(a_stated_rate_is_kept_within_a_thousandth),
        cmocka_unit_test(gzip_reads_like_plain),
        cmocka_unit_test(random_numbers_survive_the_journey),
        cmocka_unit_test(a_long_log_is_read_whatever_its_first_rows_foretell),
        cmocka_unit_test(a_missing_role_is_named_with_the_columns_found),
        cmocka_unit_test(role_names_and_units_are_consistent),
        cmocka_unit_test(a_measured_log_is_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
