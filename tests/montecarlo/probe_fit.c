/* probe_fit.c - simulate, estimate, fit, over many seeds; judged against the truth and the bound.
 *
 * usage: probe_fit nominal|random|hard|complex RUNS [FIRST]
 * Plants as in random_plants.h, the one of seed FIRST and the following, swept (swept_axis.h) for 60 s,
 * hard ones for 80 s. A seed whose axis the soft hold cannot keep is left out and one more is taken.
 *
 * A mode counts as missed when nothing is found within 0.4 % or 5 standard deviations of it although
 * the bound sees its gain to better than a sixth; what lies in the band without a truth counts as
 * spurious. Errors are judged of modes whose gain the bound sees to
 * better than a tenth: of weaker ones they are not small against the curvature of the model.
 *
 * Standard output: '#' lines on every run, then a line per figure (figure.h), then a TAP verdict: all
 * figures met. Runs share all processors; what is printed does not depend on their number, times apart.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdarg.h>
#include <time.h>

#include "core/workers.h"

#include "fit_tally.h"
#include "random_plants.h"
#include "swept_axis.h"

struct one_run {
    uint64_t seed;
    struct fit_tally tally;
    char said[1500];
};

struct study {
    enum plant_kind kind;
    double *excitation;
    size_t n;
    double *nominal_bound; /* of the plant that is always the same; NULL: every run has its own */
    struct one_run *run;
};

static void say(struct one_run *run, const char *format, ...)
{
    const size_t used = strlen(run->said);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(run->said + used, sizeof run->said - used, format, args);
    va_end(args);
}

/* ---- judging --------------------------------------------------------------------------------------*/

struct truth {
    const struct tune_plant *plant;
    const double *bound; /* [n_params x n_params] */
    size_t n_params;
    double theta[TUNE_PARAMS_MAX], band_hz[2];
};

static double least_std(const struct truth *truth, size_t param)
{
    return sqrt(truth->bound[param * (truth->n_params + 1)]);
}

/* The fitted mode next to a frequency, of those not yet taken; n_modes: none. */
static size_t nearest(const struct tune_fit *fit, const bool *used, double f_hz)
{
    size_t best = fit->plant.n_modes;
    for (size_t k = 0; k < fit->plant.n_modes; k++)
        if (!used[k] &&
            (best == fit->plant.n_modes || fabs(log(fit->plant.mode[k].f_hz / f_hz)) <
                                               fabs(log(fit->plant.mode[best].f_hz / f_hz))))
            best = k;
    return best;
}

/* Where in theta the quantity of a mode stands. */
static size_t parameter(const struct tune_plant *plant, size_t mode, size_t quantity)
{
    return quantity < 3 ? 3 + 3 * mode + quantity : 3 + 3 * plant->n_modes + mode;
}

static void judge_errors(struct one_run *run, const struct tune_fit *fit, const struct truth *truth,
                         size_t fitted, size_t real)
{
    for (size_t q = 0; q < (truth->plant->complex_residues ? 4 : 3); q++) {
        const size_t own = parameter(truth->plant, real, q), at = parameter(&fit->plant, fitted, q);
        const bool there = at < fit->n_params; /* else taken as 0 */
        const double error = (there ? fit->theta[at] : 0.0) - truth->theta[own];
        const double claimed =
            there ? sqrt(fit->covariance[at * (fit->n_params + 1)]) : (double)INFINITY;
        const double least = least_std(truth, own);
        error_add(&run->tally.all[q], error, least, claimed);
        if (real < JUDGED_MODES) error_add(&run->tally.mode[real][q], error, least, claimed);
        if (fabs(error) <= 5.0 * claimed) continue;
        run->tally.outliers++;
        say(run, "# seed %u: %s of the mode at %.2f Hz off by %.1f claimed std\n",
            (unsigned)run->seed, quantity_name[q], truth->plant->mode[real].f_hz, error / claimed);
    }
}

static void judge_mode(struct one_run *run, const struct tune_fit *fit, const struct truth *truth,
                       bool *used, size_t real)
{
    const struct tune_mode *mode = &truth->plant->mode[real];
    const size_t k = nearest(fit, used, mode->f_hz);
    const double size = cabs(CMPLX(mode->gain, mode->gain_quadrature));
    const double seen = size / least_std(truth, 5 + 3 * real);
    const double within = fmax(0.004, 5.0 * least_std(truth, 3 + 3 * real));
    if (k < fit->plant.n_modes && fabs(log(fit->plant.mode[k].f_hz / mode->f_hz)) <= within) {
        used[k] = true;
        if (seen >= 10.0) judge_errors(run, fit, truth, k, real);
    } else if (seen > 6.0) {
        run->tally.missed++;
        say(run, "# seed %u: missed %.2f Hz, zeta %.4f, gain %.4f (%.1f std of the bound)\n",
            (unsigned)run->seed, mode->f_hz, mode->zeta, mode->gain, seen);
    }
}

static void judge(struct one_run *run, const struct tune_fit *fit, const struct truth *truth)
{
    bool used[TUNE_MODES_MAX] = {false};
    for (size_t i = 0; i < truth->plant->n_modes; i++)
        if (truth->plant->mode[i].f_hz <= truth->band_hz[1]) judge_mode(run, fit, truth, used, i);
    for (size_t k = 0; k < fit->plant.n_modes; k++) {
        const struct tune_mode *mode = &fit->plant.mode[k];
        if (used[k] || mode->f_hz > 0.97 * truth->band_hz[1]) continue;
        run->tally.spurious++;
        say(run, "# seed %u: spurious %.2f Hz, zeta %.4f, gain %.5f +- %.5f\n", (unsigned)run->seed,
            mode->f_hz, mode->zeta, mode->gain, fit->mode_gain[k].std);
    }
    run->tally.other_order = run->tally.missed + run->tally.spurious > 0;
    run->tally.complex_residues = fit->plant.complex_residues;
}

/* ---- runs -----------------------------------------------------------------------------------------*/

static double thread_seconds(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void fit_and_judge(struct one_run *run, const struct tune_frf *frf,
                          const struct tune_lines *lines, struct truth *truth)
{
    const struct tune_fit_opts opts = tune_fit_defaults(swept_rate_hz);
    struct tune_fit fit = {0};
    struct tune_error err;
    double took_s = thread_seconds();
    const enum tune_status status = tune_fit_plant(&fit, frf, lines, &opts, NULL, &err);
    took_s = thread_seconds() - took_s;
    run->tally.runs = 1;
    run->tally.seconds = run->tally.longest_s = took_s;
    run->tally.chi_square = fit.reduced_chi_square;
    truth->band_hz[0] = frf->band_hz[0];
    truth->band_hz[1] = frf->band_hz[1];
    tune_plant_to_params(truth->theta, truth->plant);
    if (status) {
        run->tally.failed = 1;
        say(run, "# seed %u: %s\n", (unsigned)run->seed, err.text);
    } else {
        judge(run, &fit, truth);
        say(run, "# seed %u: %zu modes, %zu found, chi-square %.3f, %.2f to %.1f Hz, %.2f s\n",
            (unsigned)run->seed, truth->plant->n_modes, fit.plant.n_modes, fit.reduced_chi_square,
            frf->band_hz[0], frf->band_hz[1], took_s);
    }
    tune_fit_free(&fit);
}

static enum tune_status do_run(void *user, size_t item, struct tune_error *err)
{
    const struct study *study = user;
    struct one_run *run = &study->run[item];
    const struct tune_plant plant = plant_of(study->kind, run->seed);
    const struct tune_axis axis = noisy_axis(&plant);
    double own_bound[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX];
    struct truth truth = {.plant = &plant, .bound = own_bound};
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    enum swept_outcome outcome = SWEPT_WELL;
    truth.n_params = tune_plant_param_count(&plant);
    if (study->nominal_bound)
        truth.bound = study->nominal_bound;
    else
        outcome = swept_bound(own_bound, &axis, study->excitation, study->n, err);
    if (outcome == SWEPT_FAILED) return TUNE_ENOSOL; /* the study itself fails */
    if (outcome == SWEPT_WELL)
        outcome = swept_estimate(&frf, &lines, &axis, study->excitation, study->n, run->seed, err);
    if (outcome == SWEPT_WELL) {
        fit_and_judge(run, &frf, &lines, &truth);
    } else if (outcome == SWEPT_LOOSE) {
        run->tally.loose = 1;
        say(run, "# seed %u: the soft hold does not keep this axis still, left out\n",
            (unsigned)run->seed);
    } else {
        run->tally.runs = run->tally.failed = 1;
        say(run, "# seed %u: %s\n", (unsigned)run->seed, err->text);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    return TUNE_OK;
}

/* Seeds from first on, until `runs` of them were fitted; false: the study could not be done. */
static bool do_study(struct fit_tally *all, struct study *study, size_t runs, uint64_t first)
{
    enum { BATCH = 20 };
    uint64_t seed = first;
    if (!(study->run = calloc(BATCH, sizeof *study->run))) return false;
    while (all->runs < runs && all->loose <= 2 * runs) {
        const size_t batch = runs - all->runs < BATCH ? runs - all->runs : BATCH;
        struct tune_error err;
        memset(study->run, 0, BATCH * sizeof *study->run);
        for (size_t i = 0; i < batch; i++)
            study->run[i].seed = seed++;
        if (tune_workers_run(batch, 0, do_run, study, &err)) {
            fprintf(stderr, "%s\n", err.text);
            break;
        }
        for (size_t i = 0; i < batch; i++) {
            tally_join(all, &study->run[i].tally);
            (void)fputs(study->run[i].said, stdout);
        }
        (void)fflush(stdout);
    }
    free(study->run);
    return all->runs == runs;
}

static bool verdict(const struct fit_tally *t, enum plant_kind kind, size_t runs)
{
    const char *name = plant_kind_name[kind];
    const double n = (double)t->runs;
    bool good;
    printf("# %s: %zu runs, %zu left out, %zu errors beyond 5 claimed std, residues complex in "
           "%zu, chi-square %.4f, fit %.2f s, longest %.2f s\n",
           name, t->runs, t->loose, t->outliers, t->complex_residues, t->chi_square / n,
           t->seconds / n, t->longest_s);
    good = figures_of_order(t, name, runs);
    good &= figures_of_errors(t, name, kind == PLANT_COMPLEX ? 1.3 : 1.1);
    if (kind != PLANT_COMPLEX) good &= figures_of_claims(t, name);
    if (kind == PLANT_NOMINAL) good &= figures_of_modes(t, name, telescope_axis().n_modes);
    printf("%s - %s plants: modes found, errors as claimed and near the bound\n",
           good ? "ok" : "not ok", name);
    return good;
}

int main(int count, char **word)
{
    const size_t runs = count > 2 ? (size_t)strtoul(word[2], NULL, 10) : 0;
    const uint64_t first = count > 3 ? strtoul(word[3], NULL, 10) : 1;
    double bound[TUNE_PARAMS_MAX * TUNE_PARAMS_MAX];
    struct study study = {.kind = PLANT_KINDS};
    static struct fit_tally tally;
    struct tune_error err;
    bool done;
    for (int kind = 0; count > 1 && kind < PLANT_KINDS; kind++)
        if (!strcmp(word[1], plant_kind_name[kind])) study.kind = (enum plant_kind)kind;
    if (study.kind == PLANT_KINDS || runs == 0) {
        fprintf(stderr, "usage: probe_fit nominal|random|hard|complex RUNS [FIRST]\n");
        return 2;
    }
    study.excitation = swept_torque(&study.n, study.kind == PLANT_HARD ? 80.0 : 60.0);
    done = study.excitation != NULL;
    if (done && study.kind == PLANT_NOMINAL) {
        const struct tune_plant plant = telescope_axis();
        const struct tune_axis axis = noisy_axis(&plant);
        study.nominal_bound = bound;
        done = swept_bound(bound, &axis, study.excitation, study.n, &err) == SWEPT_WELL;
    }
    done = done && do_study(&tally, &study, runs, first);
    free(study.excitation);
    if (!done) {
        printf("not ok - %s plants: the study could not be done\n", word[1]);
        return 2;
    }
    return verdict(&tally, study.kind, runs) ? 0 : 1;
}
