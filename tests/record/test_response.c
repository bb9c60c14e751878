/* test_response.c - tables of frequency responses.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/refused.h"

#include <complex.h>
#include <stdlib.h>

#include "core/units.h"
#include "plant/frf.h"
#include "record/response.h"
#include "results/tables.h"

static struct tune_response parse(const char *text, const struct tune_response_opts *opts)
{
    struct tune_response out;
    struct tune_error err = {0};
    if (tune_response_parse(&out, "a.csv", text, strlen(text), opts, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    return out;
}

/* rounding: a few operations on each part */
static void check_complex(double complex got, double complex want)
{
    check_close(creal(got), creal(want), 4e-15 * cabs(want));
    check_close(cimag(got), cimag(want), 4e-15 * cabs(want));
}

/* One response in every form, g = (3 - 4i) and (-6 + 8i) times 1e-7 rad per N m. */
static void every_form_and_unit_gives_the_same(void **state)
{
    static const struct {
        const char *text;
        double unit; /* rad per N m; the numbers are 3 - 4i, -6 + 8i of it */
    } cases[] = {
        {"frequency_hz,real,imag\n1,3,-4\n2.5,-6,8\n", 1.0},
        {"frequency_hz,real_rad_per_nm,imag_rad_per_nm\n1,3,-4\n2.5,-6,8\n", 1.0},
        {"# "
         "c\n\nFrequency_Hz;note;Imag_arcsec_per_Nm;REAL_arcsec_per_Nm\n1,0;x;-4;3,0\n2,5;;8;-"
         "6\n\n",
         TUNE_PI / 648000.0},
        {"frequency_hz\treal_deg_per_a\timag_deg_per_a\n1\t3\t-4\n2.5\t-6\t8\n",
         TUNE_PI / 180.0 / 18.4},
        {"frequency_hz,real_counts_per_permille,imag_counts_per_permille\n1,3,-4\n2.5,-6,8\n",
         2.0 * TUNE_PI / 1e6 / (18.4e-3)},
        {"Analyser;Z 4\nDate;14.5.2026\nfrequency_hz;real;imag\n1;3;-4\n2.5;-6;8\n", 1.0},
        {"frequency_hz,real_m_per_v,imag_m_per_v\r\n1,3,-4\r\n2.5,-6,8\r\n", 1.0 / 18.4},
        /* 20 lg 5, 20 lg 10; atan2(-4, 3), atan2(8, -6) */
        {"frequency_hz,gain_db,phase_deg\n1,13.979400086720376,-53.13010235415598\n"
         "2.5,20,126.86989764584402\n",
         1.0},
        {"frequency_hz,phase_deg,gain_db_arcsec_per_nm\n1,306.86989764584402,13.979400086720376\n"
         "2.5,126.86989764584402,20\n",
         TUNE_PI / 648000.0},
    };
    const struct tune_response_opts opts = {false, 18.4, 1e6};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tune_response r = parse(cases[i].text, &opts);
        assert_int_equal(r.n, 2);
        assert_false(r.of_loop);
        check_close(r.f_hz[0], 1.0, 0.0);
        check_close(r.f_hz[1], 2.5, 0.0);
        check_complex(r.g[0], cases[i].unit * CMPLX(3.0, -4.0));
        check_complex(r.g[1], cases[i].unit * CMPLX(-6.0, 8.0));
        assert_null(r.std);
        assert_null(r.coherence);
        assert_null(r.dof);
        tune_response_free(&r);
        tune_response_free(&r);
        assert_int_equal(r.n, 0);
    }
}

static void a_loop_has_no_unit(void **state)
{
    const struct tune_response_opts opts = {.of_loop = true};
    struct tune_response r = parse("frequency_hz,gain_db,phase_deg,coherence\n1,-20,180,1\n"
                                   "2,0,-90,0.5\n",
                                   &opts);
    (void)state;
    assert_true(r.of_loop);
    check_close(creal(r.g[0]), -0.1, 1e-16);
    check_close(cimag(r.g[1]), -1.0, 1e-16);
    check_close(r.coherence[1], 0.5, 0.0);
    assert_string_equal(r.column[0], "gain_db");
    assert_string_equal(r.column[1], "phase_deg");
    assert_string_equal(r.columns_found, "frequency_hz, gain_db, phase_deg, coherence");
    tune_response_free(&r);
}

/* What this program writes it reads. */
static void our_own_table_reads_back(void **state)
{
    enum { N = 700 };
    double f[N], std[N], coh[N], dof[N];
    double complex g[N];
    const struct tune_frf frf = {.n = N, .f_hz = f, .g = g, .std = std, .coh = coh, .dof = dof};
    const struct tune_response_opts opts = {0};
    struct tune_error err = {0};
    char *text = NULL;
    (void)state;
    for (size_t i = 0; i < N; i++) {
        f[i] = 0.5 * exp(0.01 * (double)i);
        g[i] = -1.0 / (800.0 * f[i] * f[i]) * CMPLX(1.0, 0.01 * f[i]);
        std[i] = 1e-3 * cabs(g[i]);
        coh[i] = 1.0 - 1e-4 * (double)i;
        dof[i] = 7.0 + (double)(i % 3);
    }
    assert_int_equal(tune_frf_csv(&text, &frf, &err), TUNE_OK);
    struct tune_response r = parse(text, &opts);
    assert_int_equal(r.n, N);
    for (size_t i = 0; i < N; i++) { /* 15 digits are written */
        check_close_rel(r.f_hz[i], f[i], 1e-14);
        check_close(cabs(r.g[i] - g[i]), 0.0, 1e-14 * cabs(g[i]));
        check_close_rel(r.std[i], std[i], 1e-14);
        check_close_rel(r.coherence[i], coh[i], 1e-14);
        check_close_rel(r.dof[i], dof[i], 1e-14);
    }
    tune_response_free(&r);
    free(text);
}

#define HEADER "frequency_hz,real,imag\n"

/* clang-format off */
static const struct {
    struct refused refused;
    bool of_loop;
} cases[] = {
    {.refused = {"an empty file", TEXT(""), AT(1, 0), ABOUT("rows", "0"), .sentence = "the log is empty"}},
    {.refused = {"header only", TEXT(HEADER), AT(1, 0), ABOUT("rows", "0"),
     .sentence = "needs at least 2 rows, this one has 0"}},
    {.refused = {"one row", TEXT(HEADER "1,2,3\n\n"), AT(1, 0), ABOUT("rows", "1"),
     .sentence = "needs at least 2 rows, this one has 1"}},
    {.refused = {"no frequency", TEXT("Trace;1\nf,real,imag\n1,2,3\n"), AT(1, 0), ABOUT("frequency_hz", "Trace, 1"),
     .sentence = "the table has no column frequency_hz; it has: Trace, 1; it needs"}},
    {.refused = {"no imaginary part", TEXT("frequency_hz,real\n1,2\n2,2\n"), AT(1, 0), ABOUT("imag", "frequency_hz, real"),
     .sentence = "the table has no column imag"}},
    {.refused = {"no phase", TEXT("frequency_hz,gain_db\n1,2\n2,2\n"), AT(1, 0), ABOUT("phase_deg", "frequency_hz, gain_db"),
     .sentence = "the table has no column phase_deg"}},
    {.refused = {"no response", TEXT("frequency_hz,x\n1,2\n2,2\n"), AT(1, 0), ABOUT("real", "frequency_hz, x"),
     .sentence = "the table has no column real"}},
    {.refused = {"both pairs", TEXT("frequency_hz,real,imag,phase_deg\n1,2,2,2\n"), AT(1, 4), ABOUT("phase_deg", ""),
     .sentence = "leave one pair"}},
    {.refused = {"a column twice", TEXT("frequency_hz,real,imag,real_rad_per_nm\n1,2,2,2\n"), AT(1, 4), ABOUT("real", "real_rad_per_nm"),
     .sentence = "two columns could be the real, 'real' and 'real_rad_per_nm'"}},
    {.refused = {"two units", TEXT("frequency_hz,real_mas_per_nm,imag_rad_per_nm\n1,2,2\n"), AT(1, 3), ABOUT("imag_rad_per_nm", ""),
     .sentence = "have different units: write both in one"}},
    {.refused = {"a strange unit", TEXT("frequency_hz,real_inch_per_lb,imag\n1,2,2\n"), AT(1, 2), ABOUT("real_inch_per_lb", "inch_per_lb"),
     .sentence = "has a unit that is none of a plant"}},
    {.refused = {"a unit without its scale", TEXT("frequency_hz,gain_db_deg_per_a,phase_deg\n1,2,2\n"), AT(1, 2), ABOUT("gain_db_deg_per_a", "deg_per_a"),
     .sentence = "which needs torque_per_unit_nm in [drive]"}},
    {.refused = {"counts without their scale", TEXT("frequency_hz,gain_db_counts_per_nm,phase_deg\n1,2,2\n"), AT(1, 2), ABOUT("gain_db_counts_per_nm", "counts_per_nm"),
     .sentence = "which needs encoder_counts_per_turn in [drive]"}},
    {.refused = {"a unit on a loop", TEXT("frequency_hz,real_rad_per_nm,imag\n1,2,2\n"), AT(1, 2), ABOUT("real_rad_per_nm", "rad_per_nm"),
     .sentence = "an open loop has none"}, .of_loop = true},
    {.refused = {"frequency 0", TEXT(HEADER "0,2,3\n1,2,3\n"), AT(2, 1), ABOUT("frequency_hz", "0"),
     .sentence = "'0' in column 'frequency_hz', row 1, is not above 0"}},
    {.refused = {"a frequency below 0", TEXT(HEADER "1,2,3\n-2,2,3\n"), AT(3, 1), ABOUT("frequency_hz", "-2"),
     .sentence = "row 2, is not above 0"}},
    {.refused = {"a frequency again", TEXT(HEADER "1,2,3\n1,2,3\n"), AT(3, 1), ABOUT("frequency_hz", "1"),
     .sentence = "row 2, is not above the frequency of the row before"}},
    {.refused = {"falling frequencies", TEXT(HEADER "2,2,3\n1,2,3\n"), AT(3, 1), ABOUT("frequency_hz", "1"),
     .sentence = "is not above the frequency of the row before"}},
    {.refused = {"nan", TEXT(HEADER "1,2,3\n2,nan,3\n"), AT(3, 2), ABOUT("real", "nan"),
     .sentence = "'nan' in column 'real', row 2, is not a finite number"}},
    {.refused = {"overflow of dB", TEXT("frequency_hz,gain_db,phase_deg\n1,2,3\n2,1e5,3\n"), AT(3, 2), ABOUT("gain_db", "100000"),
     .sentence = "is beyond the range of a double"}},
    {.refused = {"overflow", TEXT(HEADER "1,2,3\n2,3,1e400\n"), AT(3, 3), ABOUT("imag", "1e400"),
     .sentence = "is beyond the range of a double"}},
    {.refused = {"a std below 0", TEXT("frequency_hz,real,imag,std\n1,2,3,-1\n"), AT(2, 4), ABOUT("std", "-1"),
     .sentence = "is below 0"}},
    {.refused = {"no degrees of freedom", TEXT("frequency_hz,real,imag,dof\n1,2,3,0\n"), AT(2, 4), ABOUT("dof", "0"),
     .sentence = "is not above 0"}},
    {.refused = {"coherence above 1", TEXT("frequency_hz,real,imag,coherence\n1,2,3,1.5\n"), AT(2, 4), ABOUT("coherence", "1.5"),
     .sentence = "is outside 0 .. 1"}},
    {.refused = {"a short row", TEXT(HEADER "1,2,3\n2,3\n"), AT(3, 3), ABOUT("fields", "2"),
     .sentence = "row 2 has 2 fields, the header 3"}},
    {.refused = {"an empty line between rows", TEXT(HEADER "1,2,3\n\n2,3,3\n"), AT(3, 0), ABOUT("row", ""),
     .sentence = "an empty line stands before row 2"}},
    {.refused = {"units under the header", TEXT(HEADER "Hz,,\n1,2,3\n"), AT(2, 1), ABOUT("frequency_hz", "Hz"),
     .sentence = "'Hz' in column 'frequency_hz', row 1, is not a number"}},
};
/* clang-format on */

static void a_malformed_table_is_refused_with_its_place(void **state)
{
    const struct tune_response none = {0};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct refused *bad = &cases[i].refused;
        const struct tune_response_opts opts = {.of_loop = cases[i].of_loop};
        struct tune_response out;
        struct tune_error err = {0};
        check_refused(bad, "bad.csv",
                      tune_response_parse(&out, "bad.csv", bad->text, bad->size, &opts, &err),
                      &err);
        assert_memory_equal(&out, &none, sizeof none);
        assert_int_equal(tune_response_parse(&out, "bad.csv", bad->text, bad->size, &opts, NULL),
                         TUNE_EDATA);
    }
}

static void bad_options_and_files_are_refused(void **state)
{
    const struct tune_response_opts good = {0}, bad = {.torque_per_unit_nm = -1.0},
                                    worse = {.encoder_counts_per_turn = NAN};
    struct tune_response out;
    struct tune_error err = {0};
    (void)state;
    assert_int_equal(tune_response_parse(&out, "a", HEADER, sizeof HEADER - 1, &bad, &err),
                     TUNE_EINVAL);
    assert_string_equal(err.thing, "torque_per_unit_nm");
    assert_int_equal(tune_response_parse(&out, "a", HEADER, sizeof HEADER - 1, &worse, &err),
                     TUNE_EINVAL);
    assert_int_equal(tune_response_read(&out, "/nonexistent/r.csv", &good, &err), TUNE_EIO);
    assert_string_equal(err.file, "/nonexistent/r.csv");
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    const struct tune_response_opts opts = {0};
    char *text = malloc(40 * 1000);
    size_t used = 0;
    (void)state;
    assert_non_null(text);
    used += (size_t)sprintf(text, "frequency_hz,real,imag,std,dof,coherence\n");
    for (unsigned i = 1; i <= 600; i++)
        used += (size_t)sprintf(text + used, "%u,1,-1,0.1,8,0.99\n", i);
    for (unsigned long k = 1;; k++) {
        struct tune_response out;
        struct tune_error err = {0};
        enum tune_status status;
        check_fail_allocation(k);
        status = tune_response_parse(&out, "a", text, used, &opts, &err);
        check_fail_allocation(0);
        if (status == TUNE_OK) {
            assert_int_equal(out.n, 600);
            tune_response_free(&out);
            assert_in_range(k, 10, 40);
            break;
        }
        assert_int_equal(status, TUNE_ENOMEM);
        assert_null(out.g);
        assert_null(out.f_hz);
    }
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_form_and_unit_gives_the_same),
        cmocka_unit_test(a_loop_has_no_unit),
        cmocka_unit_test(our_own_table_reads_back),
        cmocka_unit_test(a_malformed_table_is_refused_with_its_place),
        cmocka_unit_test(bad_options_and_files_are_refused),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
