/* test_wrap.c - angles that wrap, whose continuous course is known.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "record/record.h"

enum { ROWS = 5000 };

/* What a column holds: x brought into low .. low + period, `decimals` decimals. */
struct column {
    const char *name;
    double low, period;
    int decimals;
};

static double wrapped(double x, const struct column *column)
{
    if (!(column->period > 0.0)) return x;
    return x - column->period * floor((x - column->low) / column->period);
}

/* One column or two, at 1 kHz. */
static struct tune_record parse(const struct column *a, const double *x, const struct column *b,
                                const double *y, const struct tune_record_opts *opts)
{
    char *text = malloc(100 + 64 * ROWS);
    struct tune_record rec;
    struct tune_error err = {0};
    size_t used;
    assert_non_null(text);
    used = (size_t)sprintf(text, "%s,%s\n", a->name, b ? b->name : "other");
    for (size_t k = 0; k < ROWS; k++)
        used += (size_t)sprintf(text + used, "%.*f,%.*f\n", a->decimals, wrapped(x[k], a),
                                b ? b->decimals : 0, b ? wrapped(y[k], b) : 0.0);
    if (tune_record_parse(&rec, "a.csv", text, used, opts, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    free(text);
    return rec;
}

static struct tune_record_opts options(double counts_per_turn)
{
    struct tune_record_opts opts = tune_record_defaults();
    opts.sample_rate_hz = 1000.0;
    opts.encoder_counts_per_turn = counts_per_turn;
    return opts;
}

/* The channel runs as x does, but for whole periods at its start; rounded to the decimals. */
static void check_course(const struct tune_record *rec, enum tune_role role, const double *x,
                         const struct column *column)
{
    const double scale = fabs(rec->unit_scale[role]);
    const double start = column->period * round((rec->channel[role][0] / scale - x[0]) /
                                                (column->period > 0.0 ? column->period : 1.0));
    const double rounding = 0.51 * pow(10.0, -column->decimals) + 1e-9;
    for (size_t k = 0; k < ROWS; k++)
        check_close(rec->channel[role][k] / scale, x[k] + start, rounding);
}

/* In every unit and range: the number of wraps, their first row and size, the course. */
static void wraps_of_every_range_are_undone(void **state)
{
    static const struct {
        struct column column;
        double counts_per_turn, start, rate; /* rate: per row */
    } cases[] = {
        {{"position_deg", 0.0, 360.0, 5}, 0.0, 350.0, 0.01},
        {{"position_deg", -180.0, 360.0, 5}, 0.0, 170.0, 0.01},
        {{"position_deg", -180.0, 360.0, 5}, 0.0, -170.0, -0.3},
        {{"position_deg", -90.0, 360.0, 5}, 0.0, 260.0, 0.01}, /* neither signed nor unsigned */
        {{"position_rad", 0.0, 2.0 * TUNE_PI, 9}, 0.0, 6.2, 1e-4},
        {{"position_rad", -TUNE_PI, 2.0 * TUNE_PI, 9}, 0.0, 3.0, 1e-3},
        {{"position_arcsec", 0.0, 1296000.0, 2}, 0.0, 1295000.0, 0.5},
        {{"position_mas", 0.0, 1296e6, 0}, 0.0, 1295e6, 2345.0},
        {{"position_counts", 0.0, 10000.0, 0}, 10000.0, 9000.0, 3.3},         /* counts per turn */
        {{"position_counts", 0.0, 65536.0, 0}, 268435456.0, 65000.0, 4000.0}, /* 2^16 */
        {{"position_counts", -32768.0, 65536.0, 0}, 268435456.0, 32000.0, -900.0},
        {{"position_counts", 0.0, 16777216.0, 0}, 268435456.0, 16770000.0, 900.0}, /* 2^24 */
        {{"position_counts", 0.0, 4294967296.0, 0}, 68719476736.0, 4294960000.0, 900.0},
        {{"position_counts", -2147483648.0, 4294967296.0, 0}, 68719476736.0, -2147480000.0, -900.0},
        {{"load_position_deg", 0.0, 360.0, 5}, 0.0, 350.0, 0.01},
        {{"sky_deg", 0.0, 360.0, 5}, 0.0, 350.0, 0.01},
    };
    double *x = malloc(ROWS * sizeof *x);
    (void)state;
    assert_non_null(x);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct column *column = &cases[i].column;
        const struct tune_record_opts opts = options(cases[i].counts_per_turn);
        const enum tune_role role = column->name[0] == 'l'   ? TUNE_ROLE_LOAD_POSITION
                                    : column->name[0] == 's' ? TUNE_ROLE_SKY
                                                             : TUNE_ROLE_POSITION;
        size_t wraps = 0, first = 0;
        for (size_t k = 0; k < ROWS; k++) {
            x[k] = cases[i].start + cases[i].rate * (double)k;
            if (k && fabs(wrapped(x[k], column) - wrapped(x[k - 1], column)) > column->period / 2)
                if (!wraps++) first = k + 1;
        }
        struct tune_record rec = parse(column, x, NULL, NULL, &opts);
        assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].count, wraps);
        assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].row, first);
        assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].line, first + 1);
        check_close_rel(rec.repair[TUNE_REPAIR_WRAP].worst, column->period, 1e-12);
        check_course(&rec, role, x, column);
        tune_record_free(&rec);
    }
    free(x);
}

/* An axis held at the place of the wrap goes to and fro over it with every noisy sample. */
static void noise_over_the_wrap_is_undone(void **state)
{
    static const struct column column = {"position_deg", 0.0, 360.0, 6};
    const struct tune_record_opts opts = options(0.0);
    double *x = malloc(ROWS * sizeof *x);
    struct tune_random rng;
    size_t wraps = 0;
    (void)state;
    assert_non_null(x);
    tune_random_init(&rng, 4, 0);
    for (size_t k = 0; k < ROWS; k++) {
        x[k] = 360.0 + 1e-4 * tune_random_normal(&rng);
        wraps += k && fabs(wrapped(x[k], &column) - wrapped(x[k - 1], &column)) > 180.0;
    }
    struct tune_record rec = parse(&column, x, NULL, NULL, &opts);
    assert_true(wraps > ROWS / 3);
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].count, wraps);
    check_course(&rec, TUNE_ROLE_POSITION, x, &column);
    tune_record_free(&rec);
    free(x);
}

/* As it stands, nothing undone. */
static void expect_untouched(const struct column *column, const double *x, const char *what)
{
    const struct tune_record_opts opts = options(65536.0 * 16.0);
    struct tune_record rec = parse(column, x, NULL, NULL, &opts);
    const double rounding = 0.51 * pow(10.0, -column->decimals);
    if (rec.repair[TUNE_REPAIR_WRAP].count)
        fail_msg("%s: %zu wraps undone", what, rec.repair[TUNE_REPAIR_WRAP].count);
    for (size_t k = 0; k < ROWS; k++)
        check_close(rec.channel[TUNE_ROLE_POSITION][k] / rec.unit_scale[TUNE_ROLE_POSITION], x[k],
                    rounding);
    tune_record_free(&rec);
}

static void glitches_and_steps_stay(void **state)
{
    static const struct column degrees = {"position_deg", 0.0, 0.0, 6};
    static const struct column counts = {"position_counts", 0.0, 0.0, 0};
    double *x = malloc(ROWS * sizeof *x);
    struct tune_random rng;
    (void)state;
    assert_non_null(x);
    tune_random_init(&rng, 8, 0);
    for (size_t k = 0; k < ROWS; k++)
        x[k] = 100.0 + 1e-3 * (double)k + 1e-4 * tune_random_normal(&rng);
    x[2000] += 360.0;
    expect_untouched(&degrees, x, "a sample off by a turn");
    x[2000] -= 720.0;
    expect_untouched(&degrees, x, "a sample off by a turn, downwards");
    x[2000] += 360.0;
    for (size_t k = 3000; k < ROWS; k++)
        x[k] += 359.0;
    expect_untouched(&degrees, x, "a step of nearly a turn");
    for (size_t k = 3000; k < ROWS; k++)
        x[k] += 1.0 - 179.0;
    expect_untouched(&degrees, x, "a step of half a turn");
    for (size_t k = 0; k < ROWS; k++)
        x[k] = 100.0 + 1e-4 * tune_random_normal(&rng);
    for (size_t width = 1; width <= 7; width += 3) {
        for (size_t k = 2000; k < 2000 + width; k++)
            x[k] += 360.0;
        expect_untouched(&degrees, x, "some samples off by a turn, at rest");
        for (size_t k = 2000; k < 2000 + width; k++)
            x[k] -= 360.0;
    }
    for (size_t k = 0; k < ROWS; k++) { /* beyond a turn before and after: no such range */
        x[k] = 100.0 + 0.1 * (double)k;
        if (k >= 2500) x[k] += 360.0;
    }
    expect_untouched(&degrees, x, "a step of a turn in an angle that goes on beyond");
    for (size_t k = 0; k < ROWS; k++)
        x[k] = round(1e5 + 40.0 * (double)k + (k >= 2500 ? 65536.0 : 0.0));
    expect_untouched(&counts, x, "counts that go beyond 2^16");
    for (size_t k = 0; k < ROWS; k++)
        x[k] = round(3e4 * (1.0 + sin((double)k)));
    expect_untouched(&counts, x, "noise over the whole range");
    free(x);
}

/* ---- target and position -------------------------------------------------------------------------*/

/* The error between both, in degrees, wherever each of them wraps. */
static void target_and_position_end_on_one_turn(void **state)
{
    static const struct {
        struct column position, target;
        double start, rate;
    } cases[] = {
        {{"position_deg", 0.0, 360.0, 6}, {"target_deg", 0.0, 360.0, 6}, 355.0, 0.004},
        {{"position_deg", 0.0, 360.0, 6}, {"target_deg", -180.0, 360.0, 6}, 355.0, 0.004},
        {{"position_deg", 0.0, 360.0, 6}, {"target_deg", 0.0, 0.0, 6}, 715.0, 0.004},
        {{"position_deg", 0.0, 0.0, 6}, {"target_deg", 0.0, 360.0, 6}, 715.0, 0.004},
        /* held at the wrap: which turn either starts on is chance */
        {{"position_deg", 0.0, 360.0, 6}, {"target_deg", 0.0, 360.0, 6}, 360.0, 0.0},
        {{"position_deg", 0.0, 360.0, 6}, {"target_deg", 0.0, 360.0, 6}, 360.0, 1e-8},
    };
    double *x = malloc(ROWS * sizeof *x), *target = malloc(ROWS * sizeof *target);
    const struct tune_record_opts opts = options(0.0);
    struct tune_random rng;
    (void)state;
    assert_true(x && target);
    tune_random_init(&rng, 6, 0);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        for (size_t k = 0; k < ROWS; k++) {
            target[k] = cases[i].start + cases[i].rate * (double)k;
            x[k] = target[k] + 1e-3 * tune_random_normal(&rng);
        }
        struct tune_record rec = parse(&cases[i].position, x, &cases[i].target, target, &opts);
        assert_true(rec.repair[TUNE_REPAIR_WRAP].count > 0);
        for (size_t k = 0; k < ROWS; k++)
            check_close((rec.channel[TUNE_ROLE_TARGET][k] - rec.channel[TUNE_ROLE_POSITION][k]) /
                            TUNE_RAD_PER_DEG,
                        target[k] - x[k], 1.1e-6); /* both rounded to 1e-6 */
        tune_record_free(&rec);
    }
    free(x);
    free(target);
}

/* A command to turn once round is no wrap: the position goes there. */
static void a_commanded_turn_stays(void **state)
{
    static const struct column position = {"position_deg", 0.0, 0.0, 6};
    static const struct column commanded = {"target_deg", 0.0, 0.0, 6};
    double *x = malloc(ROWS * sizeof *x), *target = malloc(ROWS * sizeof *target);
    const struct tune_record_opts opts = options(0.0);
    (void)state;
    assert_true(x && target);
    for (size_t k = 0; k < ROWS; k++) {
        target[k] = k < 500 ? 0.0 : 360.0;
        x[k] = k < 500 ? 0.0 : 360.0 * (1.0 - exp(-(double)(k - 500) / 700.0));
    }
    struct tune_record rec = parse(&position, x, &commanded, target, &opts);
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].count, 0);
    check_close_rel(rec.channel[TUNE_ROLE_TARGET][ROWS - 1], 2.0 * TUNE_PI, 1e-12);
    tune_record_free(&rec);
    free(x);
    free(target);
}

/* ---- together with missing rows ------------------------------------------------------------------*/

static void a_wrap_within_a_gap_is_undone_before_it_is_bridged(void **state)
{
    struct tune_record_opts opts = options(0.0);
    char *text = malloc(64 * ROWS);
    struct tune_record rec;
    size_t used;
    (void)state;
    assert_non_null(text);
    used = (size_t)sprintf(text, "time_s,position_deg\n");
    for (size_t k = 0; k < ROWS; k++) {
        const double x = 350.0 + 0.01 * (double)k;
        if (k >= 990 && k < 1010) continue; /* 360 is reached at 1000 */
        used += (size_t)sprintf(text + used, "%.3f,%.6f\n", 1e-3 * (double)k,
                                x < 360.0 ? x : x - 360.0);
    }
    assert_int_equal(tune_record_parse(&rec, "a", text, used, &opts, NULL), TUNE_OK);
    assert_int_equal(rec.n, ROWS);
    for (size_t k = 0; k < ROWS; k++)
        check_close(rec.channel[TUNE_ROLE_POSITION][k] / TUNE_RAD_PER_DEG, 350.0 + 0.01 * (double)k,
                    1e-6);
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].count, 1);
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].row, 1011); /* behind the gap */
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].line, 992);
    tune_record_free(&rec);
    free(text);
}

/* Raw numbers of a drive, brought to degrees by a stated scale. */
static void raw_numbers_with_a_scale_wrap_by_powers_of_two(void **state)
{
    static const struct column column = {"position_deg", 0.0, 65536.0, 0};
    struct tune_record_opts opts = options(0.0);
    double *x = malloc(ROWS * sizeof *x);
    (void)state;
    assert_non_null(x);
    opts.map[TUNE_ROLE_POSITION].scale = 1e-4;
    opts.map[TUNE_ROLE_POSITION].sign = -1.0;
    opts.map[TUNE_ROLE_POSITION].offset = 30.0;
    for (size_t k = 0; k < ROWS; k++)
        x[k] = 60000.0 + 50.0 * (double)k;
    struct tune_record rec = parse(&column, x, NULL, NULL, &opts);
    assert_int_equal(rec.repair[TUNE_REPAIR_WRAP].count, 4); /* at 1, 2, 3, 4 times 65536 */
    check_close_rel(rec.repair[TUNE_REPAIR_WRAP].worst, 65536.0, 1e-12);
    for (size_t k = 0; k < ROWS; k++)
        check_close(rec.channel[TUNE_ROLE_POSITION][k] / TUNE_RAD_PER_DEG, -(1e-4 * x[k] + 30.0),
                    1e-9);
    tune_record_free(&rec);
    free(x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wraps_of_every_range_are_undone),
        cmocka_unit_test(noise_over_the_wrap_is_undone),
        cmocka_unit_test(glitches_and_steps_stay),
        cmocka_unit_test(target_and_position_end_on_one_turn),
        cmocka_unit_test(a_commanded_turn_stays),
        cmocka_unit_test(a_wrap_within_a_gap_is_undone_before_it_is_bridged),
        cmocka_unit_test(raw_numbers_with_a_scale_wrap_by_powers_of_two),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
