/* test_sweep.c - the swept sine to inject.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "excite/sweep.h"

static struct tune_sweep usual(void)
{
    return (struct tune_sweep){.rate_hz = 4000.0,
                               .from_hz = 1.0,
                               .to_hz = 100.0,
                               .duration_s = 60.0,
                               .quiet_before_s = 3.0,
                               .quiet_after_s = 7.0,
                               .fade_s = 0.5,
                               .amplitude_nm = 40.0};
}

static double *filled(const struct tune_sweep *sweep, size_t *n)
{
    struct tune_error err;
    double *x;
    *n = tune_sweep_samples(sweep);
    assert_true(*n > 0);
    x = malloc(*n * sizeof *x);
    assert_non_null(x);
    memset(x, 0xff, *n * sizeof *x); /* NAN where it is not written */
    assert_int_equal(tune_sweep_fill(x, sweep, &err), TUNE_OK);
    return x;
}

static void frequency_follows_the_published_law(void **state)
{
    const struct tune_sweep s = usual();
    (void)state;
    /* 1 to 100 Hz in 60 s: 10 Hz at 30 s, 20 Hz at 39.0309 s. A. Farina, 108th AES Convention,
     * Paris, 2000 (from memory); figures computed from his law */
    check_close(tune_sweep_frequency(&s, 30.0), 10.0, 1e-12);
    check_close(tune_sweep_frequency(&s, 39.0309), 20.0, 1e-4);
    check_close(tune_sweep_frequency(&s, 0.0), 1.0, 1e-15);
    check_close(tune_sweep_frequency(&s, 60.0), 100.0, 1e-12);
}

static void sweep_makes_the_published_number_of_cycles(void **state)
{
    struct tune_sweep s = usual();
    size_t n, rising = 0;
    double *x;
    (void)state;
    s.quiet_before_s = s.quiet_after_s = s.fade_s = 0.0;
    x = filled(&s, &n);
    assert_int_equal(n, 240000);
    for (size_t i = 1; i < n; i++)
        rising += x[i - 1] <= 0.0 && x[i] > 0.0;
    /* 1289.8546 cycles (the same source): the first starts on sample 0, then 1289 more begin */
    assert_int_equal(rising, 1290);
    free(x);
}

static void ends_are_quiet_and_fades_are_smooth(void **state)
{
    const struct tune_sweep s = usual();
    size_t n;
    double *x = filled(&s, &n), most = 0.0;
    (void)state;
    assert_int_equal(n, 280000);
    for (size_t i = 0; i < 12000; i++)
        check_close(x[i], 0.0, 0.0);
    for (size_t i = 252000; i < n; i++)
        check_close(x[i], 0.0, 0.0);
    for (size_t i = 0; i < n; i++)
        most = fmax(most, fabs(x[i]));
    check_between(most, 39.99, 40.0);
    /* a quarter into the fades sin^2(pi/8) of the amplitude is the most there can be */
    for (size_t i = 0; i < 500; i++) {
        const double bound = 40.0 * pow(sin(TUNE_PI / 8.0), 2.0) * (1.0 + 1e-12);
        assert_true(fabs(x[12000 + i]) <= bound);
        assert_true(fabs(x[252000 - 1 - i]) <= bound);
    }
    check_close(x[12000], 0.0, 0.0);
    free(x);
}

/* Envelope: the largest sample of the cycle around time t of the sweep. */
static double envelope(const double *x, const struct tune_sweep *s, double t)
{
    const double half = 0.5 / tune_sweep_frequency(s, t);
    const size_t from = (size_t)((s->quiet_before_s + t - half) * s->rate_hz);
    const size_t to = (size_t)((s->quiet_before_s + t + half) * s->rate_hz);
    double most = 0.0;
    for (size_t i = from; i <= to; i++)
        most = fmax(most, fabs(x[i]));
    return most;
}

static void amplitude_keeps_a_rigid_body_within_its_limits(void **state)
{
    struct tune_sweep s = usual();
    size_t n;
    double *x;
    (void)state;
    s.inertia_kg_m2 = 820.0;
    s.position_limit_rad = tune_rad_from_arcsec(150.0);
    s.speed_limit_rad_per_s = tune_rad_from_arcsec(2000.0);
    x = filled(&s, &n);
    for (double t = 2.0; t < 59.0; t += 0.5) {
        const double f = tune_sweep_frequency(&s, t), w = 2.0 * TUNE_PI * f;
        const double allowed = fmin(
            40.0, fmin(820.0 * w * w * s.position_limit_rad, 820.0 * w * s.speed_limit_rad_per_s));
        /* within the half cycle looked at the limit moves by up to k/f, k = ln(100)/60 per second,
         * squared at most; the crest may fall between samples */
        const double moved = exp(2.0 * log(100.0) / 60.0 * 0.5 / f);
        check_between(envelope(x, &s, t), allowed / moved * cos(TUNE_PI * f / 4000.0) * 0.99,
                      allowed * moved);
    }
    free(x);
}

/* f is the field spoilt, told by its name in the error. */
static void refuses(struct tune_sweep s, const char *field)
{
    struct tune_error err;
    double x[1];
    assert_int_equal(tune_sweep_fill(x, &s, &err), TUNE_EINVAL);
    assert_string_equal(err.thing, field);
    assert_int_equal(tune_sweep_samples(&s), 0);
}

static void every_field_out_of_range_is_named(void **state)
{
    struct tune_sweep s;
    (void)state;
#define REFUSES(field, bad)                                                                        \
    do {                                                                                           \
        s = usual();                                                                               \
        s.field = (bad);                                                                           \
        refuses(s, #field);                                                                        \
    } while (0)
    REFUSES(rate_hz, 0.0);
    REFUSES(rate_hz, (double)NAN);
    REFUSES(from_hz, 0.0);
    REFUSES(to_hz, 1.0);
    REFUSES(to_hz, 2000.0);
    REFUSES(duration_s, 0.0);
    REFUSES(duration_s, (double)INFINITY);
    REFUSES(quiet_before_s, -1.0);
    REFUSES(quiet_after_s, (double)NAN);
    REFUSES(fade_s, 31.0);
    REFUSES(amplitude_nm, 0.0);
    REFUSES(inertia_kg_m2, -1.0);
    REFUSES(position_limit_rad, -1.0);
    REFUSES(speed_limit_rad_per_s, (double)NAN);
    s = usual();
    s.speed_limit_rad_per_s = 1.0; /* a limit needs the inertia it is for */
    refuses(s, "inertia_kg_m2");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frequency_follows_the_published_law),
        cmocka_unit_test(sweep_makes_the_published_number_of_cycles),
        cmocka_unit_test(ends_are_quiet_and_fades_are_smooth),
        cmocka_unit_test(amplitude_keeps_a_rigid_body_within_its_limits),
        cmocka_unit_test(every_field_out_of_range_is_named),
    };
    return cmocka_run_group_tests_name("sweep", tests, NULL, NULL);
}
