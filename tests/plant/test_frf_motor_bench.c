/* test_frf_motor_bench.c - a real log: motor and load on a flexible coupling, driven by a multisine.
 * Skipped unless TUNE_OPEN_DATA names the folder of open data.
 * Source: W. Ohnishi and T. Beauduin, FdiTools, Examples/private/MultisineTypeA.mat, commit 760b945.
 * Known of it, from independent least-squares fits made with scipy: antiresonance of the motor side
 * 54.1 Hz, resonance 76.3 Hz seen from both sides, coherence of the motor side 0.9993 in the median and
 * 0.970 at the least, at the antiresonance.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#include "plant/frf.h"

static void name_column(struct tune_column_map *map, const char *column, const char *unit)
{
    (void)snprintf(map->column, sizeof map->column, "%s", column);
    (void)snprintf(map->unit, sizeof map->unit, "%s", unit);
}

static struct tune_record read_log(bool with_reference)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    const char *folder = getenv("TUNE_OPEN_DATA");
    char path[4096];
    if (!folder) skip();
    (void)snprintf(path, sizeof path, "%s/motor-bench/multisine.csv", folder);
    opts.torque_per_unit_nm = 1.0;
    name_column(&opts.map[TUNE_ROLE_TORQUE], "current_a", "a");
    name_column(&opts.map[TUNE_ROLE_POSITION], "motor_angle_rad", "rad");
    name_column(&opts.map[TUNE_ROLE_LOAD_POSITION], "load_angle_rad", "rad");
    opts.map[TUNE_ROLE_LOAD_POSITION].sign = -1.0;
    if (with_reference) name_column(&opts.map[TUNE_ROLE_EXCITATION], "current_reference_a", "a");
    if (tune_record_read(&rec, path, &opts, &err)) print_error("%s\n", err.text);
    assert_int_equal(err.status, TUNE_OK);
    return rec;
}

/* Frequency between from and to where |G| f^2 is largest (sign 1) or smallest (-1). */
static double extreme_hz(const struct tune_frf *frf, double from, double to, double sign)
{
    double best = -INFINITY, at = 0.0;
    for (size_t k = 0; k < frf->n; k++) {
        const double f = frf->f_hz[k], size = sign * cabs(frf->g[k]) * f * f;
        if (f < from || f > to || size <= best) continue;
        best = size;
        at = f;
    }
    return at;
}

static double median_coherence(const struct tune_frf *frf, double *least, double *least_hz)
{
    size_t below;
    double middle = 0.0;
    *least = 1.0;
    for (size_t k = 0; k < frf->n; k++) {
        below = 0;
        for (size_t j = 0; j < frf->n; j++)
            below += frf->coh[j] < frf->coh[k];
        if (below == frf->n / 2) middle = frf->coh[k];
        if (frf->coh[k] >= *least) continue;
        *least = frf->coh[k];
        *least_hz = frf->f_hz[k];
    }
    return middle;
}

static void motor_side_shows_antiresonance_and_resonance(void **state)
{
    (void)state;
    for (int with_reference = 0; with_reference < 2; with_reference++) {
        struct tune_record rec = read_log(with_reference);
        const struct tune_frf_opts opts = tune_frf_defaults();
        struct tune_frf frf;
        struct tune_lines lines;
        struct tune_error err;
        double least, least_hz;
        assert_int_equal(tune_frf_estimate(&frf, &lines, &rec, &opts, &err), TUNE_OK);
        assert_int_equal(frf.estimator, TUNE_FRF_PERIODIC);
        assert_int_equal(frf.n, 240); /* the lines that were excited, 11 to 250 Hz */
        assert_int_equal(lines.n, 240);
        check_close(lines.df_hz, 1.0, 1e-6);
        check_close(frf.f_hz[0], 11.0, 1e-4);
        check_close(frf.f_hz[239], 250.0, 1e-3);
        /* model: lines 1 Hz apart, noisy where the response is smallest: the line next to the fitted
         * frequency or the one beside it */
        check_close(extreme_hz(&frf, 40.0, 65.0, -1.0), 54.1, 1.2);
        check_close(extreme_hz(&frf, 65.0, 90.0, 1.0), 76.3, 1.2);
        check_close(median_coherence(&frf, &least, &least_hz), 0.9993, 1e-4); /* digits given */
        check_close(least, 0.970, 1e-3);
        check_close(least_hz, 54.1, 1.2);
        tune_frf_free(&frf);
        tune_lines_free(&lines);
        tune_record_free(&rec);
    }
}

static void load_side_shows_the_resonance_alone(void **state)
{
    struct tune_record rec = read_log(false);
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_frf frf;
    struct tune_error err;
    (void)state;
    opts.output = TUNE_ROLE_LOAD_POSITION;
    assert_int_equal(tune_frf_estimate(&frf, NULL, &rec, &opts, &err), TUNE_OK);
    check_close(extreme_hz(&frf, 50.0, 90.0, 1.0), 76.3, 1.2);
    /* |G| f^2 rises all the way to the resonance: no antiresonance, but for the noise of a line */
    double largest = 0.0;
    for (size_t k = 0; k < frf.n; k++) {
        const double f2 = frf.f_hz[k] * frf.f_hz[k];
        if (frf.f_hz[k] < 30.0 || frf.f_hz[k] > 75.0) continue;
        assert_true(cabs(frf.g[k]) * f2 > largest - 4.0 * frf.std[k] * f2);
        largest = fmax(largest, cabs(frf.g[k]) * f2);
    }
    tune_frf_free(&frf);
    tune_record_free(&rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(motor_side_shows_antiresonance_and_resonance),
        cmocka_unit_test(load_side_shows_the_resonance_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
