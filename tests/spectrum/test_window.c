/* test_window.c - figures of merit against the published table, tapers against their definition.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "spectrum/window.h"

enum { LENGTH = 4096 };

static double decibels_down(double ratio)
{
    return -20.0 * log10(ratio);
}

/* full width, in bins, at which the response has fallen by so many decibels */
static double width(const double *w, double down_db)
{
    double inside = 0.0, outside = 1.9;
    for (int i = 0; i < 50; i++) {
        const double middle = 0.5 * (inside + outside);
        if (decibels_down(tune_window_response(w, LENGTH, middle)) < down_db)
            inside = middle;
        else
            outside = middle;
    }
    return 2.0 * inside;
}

static void figures_of_merit_are_the_published_ones(void **state)
{
    /* F. J. Harris, Proc. IEEE 66(1), 51-83, 1978, table I (digits from memory, recomputed to four
     * decimals from the definitions): rectangle and Hann, periodic. Tolerance: the digits given.
     * A symmetric Hann window would have a noise bandwidth of 1.5004 bins. */
    static const struct {
        enum tune_window kind;
        double enbw, scallop_db, worst_db, width3, width6, overlap75, overlap50;
    } want[] = {
        {TUNE_WINDOW_RECTANGLE, 1.0, 3.9224, 3.9224, 0.8845, 1.2050, 0.75, 0.50},
        {TUNE_WINDOW_HANN, 1.5, 1.4236, 3.1845, 1.4382, 1.9968, 0.6592, 0.1667},
    };
    static double w[LENGTH];
    (void)state;
    for (int i = 0; i < 2; i++) {
        tune_window_fill(w, LENGTH, want[i].kind);
        const double enbw = tune_window_enbw(w, LENGTH);
        const double scallop = decibels_down(tune_window_response(w, LENGTH, 0.5));
        check_close(enbw, want[i].enbw, 1e-12); /* rounding */
        check_close(scallop, want[i].scallop_db, 5e-4);
        check_close(scallop + 10.0 * log10(enbw), want[i].worst_db, 5e-4);
        check_close(width(w, 3.0), want[i].width3, 5e-4);
        check_close(width(w, 6.0), want[i].width6, 5e-4);
        check_close(tune_window_overlap_correlation(w, LENGTH, 0.75), want[i].overlap75, 5e-4);
        check_close(tune_window_overlap_correlation(w, LENGTH, 0.50), want[i].overlap50, 5e-4);
    }
}

static void windows_are_periodic(void **state)
{
    double w[8];
    (void)state;
    tune_window_fill(w, 8, TUNE_WINDOW_HANN);
    check_close(w[0], 0.0, 0.0);
    check_close(w[4], 1.0, 1e-15);
    for (int i = 1; i < 4; i++)
        check_close(w[i], w[8 - i], 1e-15);
    tune_window_fill(w, 1, TUNE_WINDOW_RECTANGLE);
    check_close(w[0], 1.0, 0.0);
}

static void overlap_runs_from_none_to_all(void **state)
{
    double w[64];
    (void)state;
    tune_window_fill(w, 64, TUNE_WINDOW_HANN);
    check_close(tune_window_overlap_correlation(w, 64, 0.0), 0.0, 0.0);
    check_close(tune_window_overlap_correlation(w, 64, 1.0), 1.0, 1e-15);
    check_close(tune_window_response(w, 64, 0.0), 1.0, 1e-15);
    check_close(tune_window_response(w, 64, 3.0), 0.0, 1e-14); /* Hann: nothing beyond 2 bins */
}

static void sine_tapers_are_orthonormal(void **state)
{
    double a[101], b[101];
    (void)state;
    for (size_t k = 1; k <= 8; k++) {
        tune_window_sine_taper(a, 101, k);
        for (size_t m = 1; m <= 8; m++) {
            double dot = 0.0;
            tune_window_sine_taper(b, 101, m);
            for (int i = 0; i < 101; i++)
                dot += a[i] * b[i];
            check_close(dot, k == m ? 1.0 : 0.0, 1e-14); /* rounding */
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_of_merit_are_the_published_ones),
        cmocka_unit_test(windows_are_periodic),
        cmocka_unit_test(overlap_runs_from_none_to_all),
        cmocka_unit_test(sine_tapers_are_orthonormal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
