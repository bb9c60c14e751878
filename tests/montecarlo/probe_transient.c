/* probe_transient.c - sweeps without any quiet: are damping and its std right all the same?
 *
 * usage: probe_transient [SECONDS [RUNS [FIRST]]]
 * The axis of the unit tests is swept twelve times without a pause, SECONDS each (8), other noise in every
 * run, and the log cut where one sweep follows the other: every record begins and ends while the axis
 * rings. The fit of the twelve together is compared with the truth, as the response's own leakage
 * correction leaves it and after tune_fit_transients. Modes whose gain is seen to better than a tenth, each with the
 * nearest found; within 1 % of the frequency there must be one.
 *
 * Figures beside their goals (figure.h), TAP verdict in the last line: the mean error of ln damping over
 * its claimed std, pooled over modes, below 0.3; errors as large as claimed within 10 % and what chance adds.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "figure.h"
#include "plant/transient.h"
#include "swept_axis.h"

#include "../plant/synthetic.h"

enum { SWEEPS = 12, PARAMETERS = 3 };

struct tally {
    size_t runs, other_order, missed;
    double n[TUNE_MODES_MAX];
    double mean[TUNE_MODES_MAX][PARAMETERS], square[TUNE_MODES_MAX][PARAMETERS];
    double relative[TUNE_MODES_MAX]; /* of the damping */
    double seconds;
};

static double *sweeps(size_t *length, double duration_s)
{
    const struct tune_sweep sweep = {.rate_hz = swept_rate_hz,
                                     .from_hz = 0.8,
                                     .to_hz = 220.0,
                                     .duration_s = duration_s,
                                     .fade_s = 0.2,
                                     .amplitude_nm = 60.0,
                                     .inertia_kg_m2 = 1500.0,
                                     .position_limit_rad = tune_rad_from_arcsec(112.5)};
    const size_t n = tune_sweep_samples(&sweep);
    double *torque = malloc(n * SWEEPS * sizeof *torque);
    if (!torque || tune_sweep_fill(torque, &sweep, NULL)) exit(2);
    for (size_t i = 1; i < SWEEPS; i++)
        memcpy(torque + i * n, torque, n * sizeof *torque);
    *length = n;
    return torque;
}

static size_t nearest(const struct tune_fit *fit, double f_hz)
{
    size_t best = 0;
    for (size_t k = 1; k < fit->plant.n_modes; k++)
        if (fabs(log(fit->plant.mode[k].f_hz / f_hz)) <
            fabs(log(fit->plant.mode[best].f_hz / f_hz)))
            best = k;
    return best;
}

static void judge(struct tally *tally, const struct tune_fit *fit, const struct tune_plant *truth)
{
    size_t inside = 0;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        inside += fit->plant.mode[k].f_hz < 200.0;
    tally->runs++;
    tally->other_order += inside != truth->n_modes;
    for (size_t i = 0; fit->plant.n_modes && i < truth->n_modes; i++) {
        const struct tune_mode *mode = &truth->mode[i];
        const size_t k = nearest(fit, mode->f_hz);
        const struct tune_estimate found[PARAMETERS] = {fit->mode_f_hz[k], fit->mode_zeta[k],
                                                        fit->mode_gain[k]};
        const double error[PARAMETERS] = {found[0].value * log(found[0].value / mode->f_hz),
                                          found[1].value * log(found[1].value / mode->zeta),
                                          found[2].value - mode->gain};
        if (fabs(error[0]) > 0.01 * mode->f_hz) {
            tally->missed++;
            continue;
        }
        if (!(fabs(found[2].value) > 10.0 * found[2].std)) continue;
        tally->n[i] += 1.0;
        tally->relative[i] += error[1] / found[1].value;
        for (int q = 0; q < PARAMETERS; q++) {
            tally->mean[i][q] += error[q] / found[q].std;
            tally->square[i][q] += pow(error[q] / found[q].std, 2.0);
        }
    }
}

static bool estimate(struct tune_frf *all, struct tune_lines *lines,
                     const struct tune_axis_trace *trace, double *torque, size_t n,
                     struct tune_error *err)
{
    const struct tune_frf_opts opts = tune_frf_defaults();
    bool good = true;
    for (size_t i = 0; good && i < SWEEPS; i++) {
        struct tune_record rec = {.n = n - 2, .rate_hz = swept_rate_hz};
        struct tune_frf one = {0};
        rec.channel[TUNE_ROLE_EXCITATION] = torque + i * n + 1;
        rec.channel[TUNE_ROLE_TORQUE] = trace->torque_nm + i * n + 1;
        rec.channel[TUNE_ROLE_POSITION] = trace->position_rad + i * n + 1;
        good = !tune_frf_estimate(&one, &lines[i], &rec, &opts, err) &&
               !tune_frf_append(all, &one, err);
        tune_frf_free(&one);
    }
    return good;
}

static bool run_once(struct tally tally[2], const struct tune_axis *axis, double *torque, size_t n,
                     uint64_t seed)
{
    const struct tune_fit_opts opts = tune_fit_defaults(swept_rate_hz);
    struct tune_fit_opts first = opts;
    struct tune_axis_trace trace = {0};
    struct tune_lines lines[SWEEPS] = {{0}}, all = {0}, *record[SWEEPS];
    struct tune_frf frf = {0};
    struct tune_fit fit = {0};
    struct tune_error err = {.text = "the axis does not hold still"};
    first.rough = true;
    bool good =
        swept_run(&trace, axis, torque, n * SWEEPS, seed, &err) != SWEPT_FAILED && !trace.diverged;
    good = good && estimate(&frf, lines, &trace, torque, n, &err);
    for (size_t i = 0; good && i < SWEEPS; i++) {
        record[i] = &lines[i];
        good = !tune_lines_append(&all, &lines[i], &err);
    }
    good = good && !tune_fit_plant(&fit, &frf, &all, &first, NULL, &err);
    if (good) judge(&tally[0], &fit, &axis->plant);
    const clock_t since = clock();
    good = good && !tune_fit_transients(&fit, &frf, record, SWEEPS, &opts, NULL, &err);
    tally[1].seconds += (double)(clock() - since) / (double)CLOCKS_PER_SEC;
    if (good) judge(&tally[1], &fit, &axis->plant);
    if (!good) printf("# run %u: %s\n", (unsigned)seed, err.text);
    tune_axis_trace_free(&trace);
    tune_frf_free(&frf);
    tune_lines_free(&all);
    for (size_t i = 0; i < SWEEPS; i++)
        tune_lines_free(&lines[i]);
    tune_fit_free(&fit);
    return good;
}

/* Pooled over modes: mean of the mean errors of ln damping over std, and rms of all errors over std. */
static void report(double *bias, double *size, double *count, const struct tally *t,
                   const char *what, const struct tune_plant *plant)
{
    double sum = 0.0, square = 0.0, n = 0.0;
    printf(
        "# %s: %zu runs, %zu of another order, %.2f s\n"
        "#   mode Hz   runs  damping off %%   mean error/std: f  zeta  gain     rms error/std: f  "
        "zeta  gain\n",
        what, t->runs, t->other_order, t->runs ? t->seconds / (double)t->runs : 0.0);
    for (size_t k = 0; k < plant->n_modes; k++) {
        const double m = t->n[k];
        if (m < 1.0) continue;
        printf("#   %7.1f %6.0f %14.2f %14.2f %6.2f %6.2f %14.2f %6.2f %6.2f\n",
               plant->mode[k].f_hz, m, 100.0 * t->relative[k] / m, t->mean[k][0] / m,
               t->mean[k][1] / m, t->mean[k][2] / m, sqrt(t->square[k][0] / m),
               sqrt(t->square[k][1] / m), sqrt(t->square[k][2] / m));
        sum += t->mean[k][1];
        n += m;
        for (int q = 0; q < PARAMETERS; q++)
            square += t->square[k][q];
    }
    *bias = n > 0.0 ? sum / n : (double)NAN;
    *size = n > 0.0 ? sqrt(square / (PARAMETERS * n)) : (double)NAN;
    *count = n;
}

int main(int words, char **word)
{
    const double duration_s = words > 1 ? strtod(word[1], NULL) : 8.0;
    const size_t runs = words > 2 ? (size_t)strtoul(word[2], NULL, 10) : 40;
    const size_t first = words > 3 ? (size_t)strtoul(word[3], NULL, 10) : 1;
    const struct tune_plant plant = telescope_axis();
    const struct tune_axis axis = noisy_axis(&plant);
    struct tally *tally = calloc(2, sizeof *tally);
    size_t n, failed = 0;
    double bias, size, count;
    char kind[40];
    if (!tally || !(duration_s > 1.0) || runs < 1) return 2;
    double *torque = sweeps(&n, duration_s);
    for (uint64_t seed = first; seed < first + runs; seed++)
        failed += !run_once(tally, &axis, torque, n, seed);
    report(&bias, &size, &count, &tally[0], "local leakage only", &plant);
    report(&bias, &size, &count, &tally[1], "transients by the plant's poles", &plant);
    (void)snprintf(kind, sizeof kind, "12 sweeps of %g s, no quiet", duration_s);
    bool good = figure(kind, "runs failed", "none", (double)failed, 0.0, 0.0);
    good = figure(kind, "modes missed", "none", (double)tally[1].missed, 0.0, 0.0) && good;
    good = figure(kind, "|damping bias|/std", "<= 0.3", fabs(bias), 0.0, 0.3) && good;
    good = figure(kind, "rms error/claimed std", "0.9 to 1.1", size, 0.9, 1.1) && good;
    printf("%s - sweeps without quiet ends give damping without bias\n", good ? "ok" : "not ok");
    free(torque);
    free(tally);
    return good ? 0 : 1;
}
