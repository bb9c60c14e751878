/* test_table.c - tables of responses as what the fit works on: exact tables, what their noise is taken
 * for, the statistics of a fit to them.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <stdlib.h>

#include "core/random.h"
#include "plant/fit.h"
#include "plant/table.h"

/* Not of the house: round numbers, one mode whose encoder moves against the motor. */
static const struct tune_plant axis = {
    .inertia_kg_m2 = 500.0,
    .viscous_nm_s_per_rad = 20.0,
    .delay_s = 0.0006,
    .loop_rate_hz = 2000.0,
    .n_modes = 3,
    .mode = {{18.0, 0.012, 0.25, NAN}, {47.0, 0.02, 0.10, NAN}, {90.0, 0.015, -0.06, NAN}}};

enum { POINTS_MOST = 800, AVERAGES = 16 };

struct made {
    struct tune_response table;
    double f_hz[POINTS_MOST], std[POINTS_MOST], dof[POINTS_MOST], coherence[POINTS_MOST];
    double complex exact[POINTS_MOST], g[POINTS_MOST];
};

/* n points from 1 to 200 Hz by ratio; noise: relative std of each. No column but G is handed over. */
static void make(struct made *m, size_t n, double noise, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 0);
    for (size_t i = 0; i < n; i++)
        m->f_hz[i] = pow(200.0, (double)i / (double)(n - 1));
    tune_plant_eval(m->exact, &axis, TUNE_PATH_MOTOR_ENCODER, m->f_hz, n);
    for (size_t i = 0; i < n; i++) {
        m->std[i] = noise * cabs(m->exact[i]);
        const double part = m->std[i] * sqrt(0.5);
        m->g[i] =
            m->exact[i] + CMPLX(part * tune_random_normal(&rng), part * tune_random_normal(&rng));
    }
    m->table = (struct tune_response){.n = n, .f_hz = m->f_hz, .g = m->g};
}

/* G and coherence of AVERAGES repetitions with noise at the output, as an analyser averages them. */
static void average(struct made *m, double noise, uint64_t seed)
{
    struct tune_random rng;
    tune_random_init(&rng, seed, 1);
    for (size_t i = 0; i < m->table.n; i++) {
        const double part = noise * cabs(m->exact[i]) * sqrt(0.5 * AVERAGES);
        double complex cross = 0.0;
        double power = 0.0;
        for (int k = 0; k < AVERAGES; k++) {
            const double complex y = m->exact[i] + CMPLX(part * tune_random_normal(&rng),
                                                         part * tune_random_normal(&rng));
            cross += y;
            power += creal(y * conj(y));
        }
        m->g[i] = cross / AVERAGES;
        m->coherence[i] = creal(cross * conj(cross)) / (AVERAGES * power);
        m->dof[i] = AVERAGES - 1;
    }
    m->table.coherence = m->coherence;
}

static void fit(struct tune_fit *out, enum tune_table_error *source, const struct made *m)
{
    const struct tune_fit_opts opts = tune_fit_defaults(axis.loop_rate_hz);
    struct tune_frf frf;
    struct tune_lines lines;
    struct tune_error err = {0};
    assert_int_equal(tune_table_frf(&frf, &lines, source, &m->table, 1000.0, &err), TUNE_OK);
    assert_int_equal(tune_fit_plant(out, &frf, &lines, &opts, NULL, &err), TUNE_OK);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
}

/* ---- identities ---------------------------------------------------------------------------------*/

static void an_exact_table_gives_its_plant(void **state)
{
    static const size_t points[] = {60, 200, 800};
    static struct made m;
    (void)state;
    for (int i = 0; i < 3; i++) {
        enum tune_table_error source;
        struct tune_fit out;
        make(&m, points[i], 0.0, 1);
        fit(&out, &source, &m);
        assert_int_equal(source, TUNE_TABLE_SCATTER);
        assert_int_equal(out.plant.n_modes, axis.n_modes);
        /* the descent ends where a step gains nothing: far below 1e-6 */
        check_close_rel(out.inertia.value, axis.inertia_kg_m2, 1e-6);
        check_close_rel(out.delay.value, axis.delay_s, 1e-6);
        for (size_t k = 0; k < axis.n_modes; k++) {
            check_close_rel(out.mode_f_hz[k].value, axis.mode[k].f_hz, 1e-6);
            check_close_rel(out.mode_zeta[k].value, axis.mode[k].zeta, 1e-6);
            check_close_rel(out.mode_gain[k].value, axis.mode[k].gain, 1e-6);
        }
        tune_fit_free(&out);
    }
}

static void the_column_is_taken_as_it_is(void **state)
{
    static struct made m;
    double std[100], dof[100];
    enum tune_table_error source;
    struct tune_error err;
    (void)state;
    make(&m, 100, 0.01, 2);
    m.table.std = m.std;
    assert_int_equal(tune_table_std(std, dof, &source, &m.table, &err), TUNE_OK);
    assert_int_equal(source, TUNE_TABLE_STD);
    for (size_t i = 0; i < 100; i++) {
        check_close(std[i], m.std[i], 0.0);
        check_close(dof[i], 1e6, 0.0);
        m.dof[i] = 7.0;
    }
    m.table.dof = m.dof;
    assert_int_equal(tune_table_std(std, dof, &source, &m.table, &err), TUNE_OK);
    check_close(dof[50], 7.0, 0.0);
    m.std[3] = 0.0; /* a column that cannot be true says nothing */
    assert_int_equal(tune_table_std(std, dof, &source, &m.table, &err), TUNE_OK);
    assert_int_equal(source, TUNE_TABLE_SCATTER);
}

/* The whitened lines say what the response says: y/u = G, and the noise is of one size. */
static void lines_and_response_are_one(void **state)
{
    static struct made m;
    struct tune_frf frf;
    struct tune_lines lines;
    enum tune_table_error source;
    struct tune_error err;
    (void)state;
    make(&m, 120, 0.02, 3);
    m.table.std = m.std;
    m.g[7] = 0.0; /* says nothing */
    assert_int_equal(tune_table_frf(&frf, &lines, &source, &m.table, 150.0, &err), TUNE_OK);
    assert_int_equal(frf.estimator, TUNE_FRF_TABLE);
    assert_int_equal(frf.n, lines.n);
    assert_true(frf.f_hz[frf.n - 1] < 150.0 && m.f_hz[frf.n + 1] >= 150.0);
    check_close(frf.band_hz[0], frf.f_hz[0], 0.0);
    check_close(frf.band_hz[1], frf.f_hz[frf.n - 1], 0.0);
    for (size_t i = 0; i < frf.n; i++) {
        check_close(cabs(lines.y[i] / lines.u[i] - frf.g[i]), 0.0, 4e-16 * cabs(frf.g[i]));
        check_close_rel(lines.var_y[i], lines.var_y[0], 1e-14);
        check_close(lines.var_u[i] + cabs(lines.cov_yu[i]), 0.0, 0.0);
        check_close_rel(frf.coh[i] / (1.0 - frf.coh[i]), pow(cabs(frf.g[i]) / frf.std[i], 2.0),
                        1e-12);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
}

static void the_low_end_tells_an_inertia_from_a_spring(void **state)
{
    static struct made m;
    double complex flat[40];
    double cosine, slope;
    (void)state;
    make(&m, 200, 0.0, 1);
    tune_table_low_end(&cosine, &slope, m.f_hz, m.g, m.table.n);
    check_close(cosine, -1.0, 0.01); /* model: delay and drag turn it by a few degrees */
    check_close(slope, -2.0, 0.02);
    for (int i = 0; i < 40; i++)
        flat[i] = CMPLX(3.0, 0.1);
    tune_table_low_end(&cosine, &slope, m.f_hz, flat, 40);
    check_close(cosine, 1.0, 0.01);
    check_close(slope, 0.0, 1e-12);
    tune_table_low_end(&cosine, &slope, m.f_hz, flat, 3);
    assert_true(cosine > 0.9 && isnan(slope));
}

/* ---- noise --------------------------------------------------------------------------------------*/

/* Geometric mean of std^/std over the table, averaged over some tables. */
static double size_of_std(bool averaged, bool with_dof)
{
    static struct made m;
    double std[400], dof[400], sum = 0.0;
    const int tables = 10;
    for (int t = 0; t < tables; t++) {
        enum tune_table_error source;
        struct tune_error err;
        make(&m, 400, 0.01, 10 + (uint64_t)t);
        if (averaged) average(&m, 0.01, 10 + (uint64_t)t);
        if (with_dof) m.table.dof = m.dof;
        assert_int_equal(tune_table_std(std, dof, &source, &m.table, &err), TUNE_OK);
        assert_int_equal(source, averaged ? TUNE_TABLE_COHERENCE : TUNE_TABLE_SCATTER);
        for (size_t i = 0; i < 400; i++)
            sum += log(std[i] / (0.01 * cabs(m.exact[i])));
    }
    return exp(sum / (400.0 * tables));
}

/* Statistical: 41 squares which share neighbours scatter by 1/sqrt(10) each, 100 windows' worth of them;
 * the curve at resonances adds to it. The log of one estimated coherence's 1 - c, of 15 degrees of freedom,
 * is low by 1/30. */
static void the_size_of_the_noise_is_found(void **state)
{
    (void)state;
    check_between(size_of_std(false, false), 0.93, 1.10);
    check_between(size_of_std(true, true), 0.93, 1.03);
    check_between(size_of_std(true, false), 0.90, 1.12);
}

/* 50 tables each: rms (error/claimed std) over f and zeta of three modes, 300 squares that go together a
 * little: 1 within 20 % is 5 sigma. */
static void claimed_std_is_right(void **state)
{
    static struct made m;
    const int tables = 50 * (int)check_multiplier();
    (void)state;
    for (int kind = 0; kind < 3; kind++) {
        double sum = 0.0;
        for (int t = 0; t < tables; t++) {
            enum tune_table_error source;
            struct tune_fit out;
            make(&m, 150, 0.01, 100 + (uint64_t)t);
            if (kind == TUNE_TABLE_COHERENCE) average(&m, 0.01, 100 + (uint64_t)t);
            if (kind == TUNE_TABLE_STD) m.table.std = m.std;
            fit(&out, &source, &m);
            assert_int_equal(source, kind);
            assert_int_equal(out.plant.n_modes, axis.n_modes);
            for (size_t k = 0; k < axis.n_modes; k++) {
                const struct tune_estimate *f = &out.mode_f_hz[k], *zeta = &out.mode_zeta[k];
                sum += pow((f->value - axis.mode[k].f_hz) / f->std, 2.0) +
                       pow((zeta->value - axis.mode[k].zeta) / zeta->std, 2.0);
            }
            tune_fit_free(&out);
        }
        check_between(sqrt(sum / (6.0 * tables)), 0.8, 1.2);
    }
}

/* ---- refused ------------------------------------------------------------------------------------*/

static void what_cannot_be_used_is_refused(void **state)
{
    static struct made m;
    struct tune_frf frf;
    struct tune_lines lines;
    enum tune_table_error source;
    struct tune_error err;
    (void)state;
    make(&m, TUNE_TABLE_POINTS_MIN, 0.0, 1);
    m.table.of_loop = true;
    assert_int_equal(tune_table_frf(&frf, &lines, &source, &m.table, 0.0, &err), TUNE_EINVAL);
    m.table.of_loop = false;
    assert_int_equal(tune_table_frf(&frf, &lines, &source, &m.table, 0.0, &err), TUNE_OK);
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    assert_int_equal(tune_table_frf(&frf, &lines, &source, &m.table, 190.0, &err), TUNE_EDATA);
    assert_true(frf.n == 0 && !frf.g && lines.n == 0 && !lines.u);
    m.table.n--;
    assert_int_equal(tune_table_frf(&frf, &lines, &source, &m.table, 0.0, &err), TUNE_EDATA);
}

static void want_of_memory_leaves_nothing(void **state)
{
    static struct made m;
    struct tune_frf frf;
    struct tune_lines lines;
    enum tune_table_error source;
    struct tune_error err;
    bool failed = true;
    (void)state;
    make(&m, 50, 0.01, 1);
    for (unsigned long k = 1; failed; k++) {
        check_fail_allocation(k);
        const enum tune_status status = tune_table_frf(&frf, &lines, &source, &m.table, 0.0, &err);
        failed = check_allocation_failed();
        check_fail_allocation(0);
        assert_int_equal(status, failed ? TUNE_ENOMEM : TUNE_OK);
        assert_true(failed == !frf.g && failed == !lines.y);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_exact_table_gives_its_plant),
        cmocka_unit_test(the_column_is_taken_as_it_is),
        cmocka_unit_test(lines_and_response_are_one),
        cmocka_unit_test(the_low_end_tells_an_inertia_from_a_spring),
        cmocka_unit_test(the_size_of_the_noise_is_found),
        cmocka_unit_test(claimed_std_is_right),
        cmocka_unit_test(what_cannot_be_used_is_refused),
        cmocka_unit_test(want_of_memory_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
