/* test_tables.c - the CSV files beside the results, read back by an independent reader.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "results/tables.h"
#include "sample.h"

enum { COLUMNS = 6, ROWS_MOST = 20000 };

/* Checks the header; returns the rows. */
static size_t read_table(double (*row)[COLUMNS], const char *text, const char *header, int columns)
{
    size_t n = 0;
    assert_int_equal(strncmp(text, header, strlen(header)), 0);
    text += strlen(header);
    while (*text) {
        assert_true(n < ROWS_MOST);
        for (int c = 0; c < columns; c++) {
            char *end;
            row[n][c] = strtod(text, &end);
            assert_true(end != text);
            assert_int_equal(*end, c + 1 < columns ? ',' : '\n');
            text = end + 1;
        }
        n++;
    }
    return n;
}

static void a_response_table_leaves_out_what_is_no_number(void **state)
{
    static double row[ROWS_MOST][COLUMNS];
    double f[] = {1.0, 2.0, 3.0}, std[] = {1e-9, NAN, 2e-9}, coh[] = {0.9, 0.5, 1.0};
    double dof[] = {11, 11, 11};
    double complex g[] = {CMPLX(1e-6, -2e-6), 0, CMPLX(1.0 / 3.0, 1.0)};
    struct tune_frf frf = {.n = 3, .f_hz = f, .g = g, .std = std, .coh = coh, .dof = dof};
    struct tune_error err;
    char *text = NULL;
    (void)state;
    assert_int_equal(tune_frf_csv(&text, &frf, &err), TUNE_OK);
    assert_int_equal(read_table(row, text,
                                "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,"
                                "coherence\n",
                                6),
                     2);
    check_close(row[0][2], -2e-6, 0.0);
    check_close_rel(row[1][1], 1.0 / 3.0, 5e-15); /* rounding: 15 digits */
    check_close(row[1][5], 1.0, 0.0);
    free(text);
    check_fail_allocation(1);
    assert_int_equal(tune_frf_csv(&text, &frf, &err), TUNE_ENOMEM);
    check_fail_allocation(0);
    assert_null(text);
}

/* |S + T| = 1 is an identity, but the table holds magnitudes: S = |1/(1+L)|, T = |L| S. */
static void a_loop_table_keeps_its_identities_up_to_half_the_rate(void **state)
{
    static double row[ROWS_MOST][COLUMNS];
    const struct tune_controller controller = sample_controller();
    struct tune_fit fit = {0};
    struct tune_error err;
    char *text = NULL;
    size_t n;
    (void)state;
    sample_fit(&fit);
    assert_int_equal(tune_loop_csv(&text, &fit.plant, &controller, 0.05, &err), TUNE_OK);
    n = read_table(row, text,
                   "frequency_hz,loop_real,loop_imag,sensitivity,complementary_sensitivity\n", 5);
    check_close_rel(row[0][0], 0.05, 1e-12);
    check_between(row[n - 1][0], 1990.0, 1999.99999);
    for (size_t i = 0; i < n; i++) {
        const double complex loop = CMPLX(row[i][1], row[i][2]);
        if (i > 0) assert_true(row[i][0] > row[i - 1][0]);
        check_close_rel(row[i][3], 1.0 / cabs(1.0 + loop), 1e-12);
        check_close_rel(row[i][4], cabs(loop) * row[i][3], 1e-12);
    }
    free(text);
    tune_fit_free(&fit);
}

static void a_model_table_is_the_plant_and_dense_at_its_resonance(void **state)
{
    static double row[ROWS_MOST][COLUMNS];
    struct tune_fit fit = {0};
    struct tune_error err;
    char *text = NULL;
    size_t n, near = 0;
    (void)state;
    sample_fit(&fit);
    assert_int_equal(tune_model_csv(&text, &fit, 1.0, 300.0, &err), TUNE_OK);
    n = read_table(row, text, "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm\n", 4);
    for (size_t i = 0; i < n; i++) {
        double complex g;
        tune_plant_eval(&g, &fit.plant, TUNE_PATH_MOTOR_ENCODER, &row[i][0], 1);
        check_close(row[i][1], creal(g), 1e-11 * cabs(g)); /* rounding: f itself has 15 digits */
        check_close(row[i][2], cimag(g), 1e-11 * cabs(g));
        assert_true(row[i][3] >= 0.0);
        near += fabs(row[i][0] / 24.3 - 1.0) < 0.006;
    }
    assert_true(near > 10); /* inside one half-width of the mode */
    /* drawn, a resonance is round: steps of 5 deg at most on its circle */
    const struct tune_mode *mode = &fit.plant.mode[0];
    for (size_t i = 1; i < n; i++) {
        const double width_hz = mode->zeta * mode->f_hz;
        const double from = atan((row[i - 1][0] - mode->f_hz) / width_hz);
        const double to = atan((row[i][0] - mode->f_hz) / width_hz);
        assert_true(tune_deg_from_rad(2.0 * (to - from)) < 5.0 + 1e-6);
    }
    free(text);
    for (unsigned long k = 1;; k++) {
        check_fail_allocation(k);
        const enum tune_status status = tune_model_csv(&text, &fit, 1.0, 300.0, &err);
        const bool refused = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, refused ? TUNE_ENOMEM : TUNE_OK);
        if (!refused) break;
        assert_null(text);
    }
    free(text);
    tune_fit_free(&fit);
}

static void a_jitter_table_is_in_arcseconds(void **state)
{
    static double row[ROWS_MOST][COLUMNS];
    double f[] = {0.1, 1.0}, psd[] = {1e-12, 2e-12}, sum[] = {1e-7, 2e-7};
    const struct tune_jitter jitter = {.n = 2,
                                       .f_hz = f,
                                       .measured_psd = psd,
                                       .true_psd = psd,
                                       .measured_cumulative = sum,
                                       .true_cumulative = sum};
    const double arcsec = 206264.80624709636; /* 648000/pi */
    struct tune_error err;
    char *text = NULL;
    (void)state;
    assert_int_equal(tune_jitter_csv(&text, &jitter, &err), TUNE_OK);
    assert_int_equal(read_table(row, text,
                                "frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,"
                                "measured_cumulative_arcsec,true_cumulative_arcsec\n",
                                5),
                     2);
    check_close_rel(row[1][1], 2e-12 * arcsec * arcsec, 1e-14);
    check_close_rel(row[1][4], 2e-7 * arcsec, 1e-14);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_response_table_leaves_out_what_is_no_number),
        cmocka_unit_test(a_loop_table_keeps_its_identities_up_to_half_the_rate),
        cmocka_unit_test(a_model_table_is_the_plant_and_dense_at_its_resonance),
        cmocka_unit_test(a_jitter_table_is_in_arcseconds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
