/* test_published_optima.c - PI controllers of most integral gain under a limit on the sensitivity, found by
 * the code that designs an axis, against the published ones.
 *
 * K. J. Astrom, H. Panagopoulos, T. Hagglund, Design of PI controllers based on non-convex optimization,
 * Automatica 34(5), 1998, 585-601 (table from memory, to its three digits; the digits used here were
 * recomputed by bisection on ki inside a search over K, outside this library). For a load disturbance that
 * hardly changes |S G| = omega/ki, so that least encoder jitter under torque ripple of a very low frequency
 * is most ki.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <complex.h>
#include <string.h>

#include "control/loop.h"
#include "core/units.h"
#include "design/design_internal.h"

typedef double complex process(double complex s);

static double complex three_lags(double complex s)
{
    return 1.0 / ((s + 1.0) * (s + 1.0) * (s + 1.0));
}

static double complex spread_lags(double complex s)
{
    return 1.0 / ((s + 1.0) * (1.0 + 0.2 * s) * (1.0 + 0.04 * s) * (1.0 + 0.008 * s));
}

static double complex late_lags(double complex s)
{
    return cexp(-15.0 * s) * three_lags(s);
}

static double complex integrator_and_lags(double complex s)
{
    return 1.0 / (s * (s + 1.0) * (s + 1.0));
}

static double complex inverse_response(double complex s)
{
    return (1.0 - 2.0 * s) * three_lags(s);
}

static double complex four_lags(double complex s)
{
    return three_lags(s) / (s + 1.0);
}

static double complex late_lag(double complex s)
{
    return cexp(-s) / (s + 1.0);
}

static void eval_process(void *user, double complex *g, const double *f_hz, size_t n)
{
    process *const *function = user;
    for (size_t i = 0; i < n; i++)
        g[i] = (*function)(CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i]));
}

/* PI only: derivative, its filter and the low-pass are put out of the way and held there. */
static struct candidate start(struct problem *problem)
{
    double lower[VARIABLES_MAX], upper[VARIABLES_MAX];
    struct candidate out = {0};
    design_bounds(lower, upper, problem, 0);
    out.x[0] = log(0.05);
    out.x[1] = log(0.003);
    out.x[2] = lower[2];
    out.x[3] = upper[3];
    out.x[4] = upper[4];
    out.x[5] = log(0.7);
    problem->held = 0x3c;
    return out;
}

/* As the design goes on where its judge finds a peak between the points of the grid: that peak and its
 * flanks join. */
static void refine(struct problem *problem, const double *x)
{
    struct evaluation e;
    double f_hz = 0.0, worst = -HUGE_VAL;
    assert_int_equal(design_evaluation_init(&e, problem, 0, NULL), TUNE_OK);
    design_evaluate(&e, problem, x, false);
    for (size_t i = 0; i < problem->n_constraints; i++)
        if (e.value[i] > worst) {
            worst = e.value[i];
            f_hz = problem->f_hz[problem->scenario[0].at[e.worst[i]]];
        }
    design_evaluation_free(&e);
    for (int k = -100; k <= 100; k++)
        assert_int_equal(design_problem_refine(problem, 0, f_hz * exp(0.0015 * k), NULL), TUNE_OK);
    assert_int_equal(design_problem_renew(problem, NULL), TUNE_OK);
}

static void best_pi(double *gain, double *integral_time, process **function, double peak)
{
    /* sets nothing but the scale of the grid and of the bounds */
    const struct tune_plant scale = {.inertia_kg_m2 = 1e-3, .delay_s = 0.2, .loop_rate_hz = 4000.0};
    const char *name[] = {"process"};
    const struct tune_disturbance load = {.n_bands = 1,
                                          .band[0] = {TUNE_BAND_TORQUE, 1e-5, 1.1e-5, 1.0}};
    struct tune_design_opts opts = tune_design_defaults();
    struct pulse pulse = {.busy = ATOMIC_FLAG_INIT};
    struct problem problem;
    struct candidate found;
    opts.encoder_objective = true;
    opts.peak_sensitivity = peak;
    opts.reduction_peak = opts.ladder_peak = opts.delay_peak = 0.0;
    opts.mode_shift = 0.0;
    opts.noise_torque_rms_nm = 1.0;
    opts.threads = 1;
    assert_int_equal(design_problem_init(&problem, &scale, name, 1, &load, &opts, NULL), TUNE_OK);
    assert_int_equal(problem.n_scenarios, 1);
    assert_int_equal(problem.demands.n, 1);
    problem.process = eval_process;
    problem.process_user = (void *)function;
    assert_int_equal(design_problem_renew(&problem, NULL), TUNE_OK);
    found = start(&problem);
    problem.guard[0] = 0.0;
    problem.sharpness = 1e3; /* ki hardly depends on K near its largest */
    for (int i = 0; i < 6; i++) {
        assert_int_equal(design_search(&found, &problem, 40, &pulse, NULL), TUNE_OK);
        refine(&problem, found.x);
    }
    assert_true(design_feasible(&found));
    design_problem_free(&problem);
    *gain = exp(found.x[0]);
    *integral_time = exp(found.x[0] - found.x[1]);
}

struct published {
    process *process;
    double peak, gain, integral_time;
};

static const struct published published[] = {
    {three_lags, 1.4, 0.6328, 1.945},
    {three_lags, 2.0, 1.2224, 1.784},
    {spread_lags, 1.4, 1.926, 0.7449},
    {spread_lags, 2.0, 4.134, 0.5913},
    {late_lags, 1.4, 0.1640, 6.159},
    {late_lags, 2.0, 0.2658, 5.513},
    {integrator_and_lags, 1.4, 0.1667, 14.00},
    {integrator_and_lags, 2.0, 0.3333, 8.00},
    {inverse_response, 1.4, 0.1788, 1.776},
    {inverse_response, 2.0, 0.2943, 1.597},
    {four_lags, 1.4, 0.4328, 2.254},
    {four_lags, 2.0, 0.7747, 2.050},
    {late_lag, 1.4, 0.3603, 0.966},
    {late_lag, 2.0, 0.6042, 0.846},
};

/* A loop of the process and a continuous PI, for the judge of the library. */
struct pi_loop {
    process *process;
    double gain, integral_time;
};

static void eval_loop(void *user, double complex *l, const double *f_hz, size_t n)
{
    const struct pi_loop *pi = user;
    for (size_t i = 0; i < n; i++) {
        const double complex s = CMPLX(0.0, 2.0 * TUNE_PI * f_hz[i]);
        l[i] = pi->gain * (1.0 + 1.0 / (pi->integral_time * s)) * pi->process(s);
    }
}

static void most_integral_gain_is_that_published(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof published / sizeof published[0]; i++) {
        const struct published *p = &published[i];
        process *function = p->process;
        struct pi_loop pi = {.process = p->process};
        const struct tune_loop loop = {
            .eval = eval_loop, .user = &pi, .f_low_hz = 1e-5, .f_high_hz = 10.0};
        struct tune_margins margins;
        best_pi(&pi.gain, &pi.integral_time, &function, p->peak);
        check_close_rel(pi.gain, p->gain, 0.005);
        check_close_rel(pi.integral_time, p->integral_time, 0.005);
        assert_int_equal(tune_loop_margins(&margins, &loop, NULL), TUNE_OK);
        check_between(margins.sens_peak, p->peak * 0.997, p->peak * 1.0005);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(most_integral_gain_is_that_published),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
