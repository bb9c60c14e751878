/* law.c - do torque, excitation and position of one row belong together?
 *
 * torque[k] = C(target - position)[k] + excitation[k] (docs/formats.md). With the gains known the
 * controller runs over the logged error, m; columns that are late by whole rows then show as the shifts i,
 * j, and signs, for which
 *     R(i, j) = sum_k (u'[k] - d'[k + i] - m'[k + j])^2
 * is least. The primes are differences of neighbours: what the controller's integrator held before the log
 * began is not known and does not matter in them; and the sensor's own noise, large in them, tells one
 * row from the next.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "health/findings_internal.h"

enum {
    REACH = 5,
    SHIFTS = 2 * REACH + 1,
    ROWS = 32768,
    LEAD = 4096,
    ROWS_LEAST = 512,
    AFTER = 200
};

/* The gains explain the torque when what they leave is below this part of what the excitation leaves;
 * a shift is told when it leaves below this part of what the rows as they stand leave. */
static const double explains = 0.25, better = 0.25;

struct law {
    size_t from, n;     /* rows compared */
    double *u, *d, *m;  /* [n + 2 REACH] differences, element REACH + k is row from + k */
    unsigned char *use; /* [n] rows without limit, wrong sample, stuck channel */
    bool injected;
};

struct fit {
    int i, j; /* shifts of excitation and position, rows */
    double sign_d, sign_m;
    double left;     /* R */
    double fraction; /* shift of the position by a parabola through R beside the least */
};

static void law_free(struct law *law)
{
    free(law->u);
    free(law->d);
    free(law->m);
    free(law->use);
}

static void mark(struct law *law, const struct health_case *c)
{
    const double *u = c->rec->channel[TUNE_ROLE_TORQUE];
    double most = 0.0;
    memset(law->use, 1, law->n);
    for (size_t k = 0; k < c->rec->n; k++)
        most = fmax(most, fabs(u[k]));
    if (c->opts->torque_limit_nm > 0.0) most = fmin(most, c->opts->torque_limit_nm);
    for (size_t k = 0; k < law->n; k++) {
        const size_t row = law->from + k;
        bool bad = fabs(u[row]) >= most * (1.0 - 1e-5) || fabs(u[row - 1]) >= most * (1.0 - 1e-5);
        bad = bad || (c->stuck[0] < c->stuck[1] && row + REACH + 1 >= c->stuck[0] &&
                      row <= c->stuck[1] + AFTER);
        for (size_t g = 0; g < c->n_glitches && !bad; g++)
            bad = row + REACH + 1 >= c->glitch[g] && row <= c->glitch[g] + AFTER;
        if (bad) law->use[k] = 0;
    }
}

static void run_controller(struct law *law, const struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    const double *x = rec->channel[TUNE_ROLE_POSITION], *target = rec->channel[TUNE_ROLE_TARGET];
    const double *u = rec->channel[TUNE_ROLE_TORQUE], *d = rec->channel[TUNE_ROLE_EXCITATION];
    const size_t first = law->from - REACH, behind = law->from + law->n + REACH;
    const size_t start = first > LEAD ? first - LEAD : 0;
    struct tune_controller_state state;
    double before = 0.0;
    tune_controller_start(&state, c->opts->controller);
    for (size_t row = start; row < behind; row++) {
        const double torque = tune_controller_step(&state, target[row] - x[row]);
        if (row >= first) {
            law->m[row - first] = torque - before;
            law->u[row - first] = u[row] - u[row - 1];
            law->d[row - first] = d ? d[row] - d[row - 1] : 0.0;
            if (law->d[row - first] != 0.0) law->injected = true;
        }
        before = torque;
    }
}

static enum tune_status prepare(struct law *law, const struct health_case *c,
                                struct tune_error *err)
{
    const size_t least = REACH + 2, most = c->rec->n - REACH;
    size_t middle = c->rec->n / 2;
    if (c->active[0] < c->active[1]) middle = (c->active[0] + c->active[1]) / 2;
    law->from = middle > least + ROWS / 2 ? middle - ROWS / 2 : least;
    law->n = law->from + ROWS < most ? ROWS : most - law->from;
    law->u = malloc((law->n + 2 * REACH) * sizeof(double));
    law->d = malloc((law->n + 2 * REACH) * sizeof(double));
    law->m = malloc((law->n + 2 * REACH) * sizeof(double));
    law->use = malloc(law->n);
    if (!law->u || !law->d || !law->m || !law->use)
        return tune_error_memory(err, "holding the torque against the gains");
    run_controller(law, c);
    mark(law, c);
    return TUNE_OK;
}

/* ---- sums ----------------------------------------------------------------------------------------*/

struct sums {
    double uu, ud[SHIFTS], um[SHIFTS], dd[SHIFTS], mm[SHIFTS], dm[SHIFTS][SHIFTS];
    size_t rows;
};

static void add_row(struct sums *s, double u, const double *d, const double *m, bool injected)
{
    s->rows++;
    s->uu += u * u;
    for (int j = 0; j < SHIFTS; j++) {
        s->um[j] += u * m[j];
        s->mm[j] += m[j] * m[j];
    }
    if (!injected) return;
    for (int i = 0; i < SHIFTS; i++) {
        s->ud[i] += u * d[i];
        s->dd[i] += d[i] * d[i];
        for (int j = 0; j < SHIFTS; j++)
            s->dm[i][j] += d[i] * m[j];
    }
}

static double left_over(const struct sums *s, int i, int j, double sign_d, double sign_m)
{
    const double left = s->uu + s->dd[i] + s->mm[j] - 2.0 * sign_d * s->ud[i] -
                        2.0 * sign_m * s->um[j] + 2.0 * sign_d * sign_m * s->dm[i][j];
    return fmax(left, 0.0);
}

/* What the excitation alone leaves, at its best. */
static double without_law(const struct sums *s)
{
    double least = s->uu;
    for (int i = 0; i < SHIFTS; i++)
        least = fmin(least, s->uu + s->dd[i] - 2.0 * fabs(s->ud[i]));
    return least;
}

static struct fit best_fit(const struct sums *s, bool injected)
{
    struct fit best = {.left = INFINITY};
    for (int i = injected ? 0 : REACH; i < (injected ? SHIFTS : REACH + 1); i++)
        for (int j = 0; j < SHIFTS; j++)
            for (int sign = 0; sign < (injected ? 4 : 2); sign++) {
                const double sign_m = sign & 1 ? -1.0 : 1.0, sign_d = sign & 2 ? -1.0 : 1.0;
                const double left = left_over(s, i, j, sign_d, sign_m);
                if (left < best.left)
                    best = (struct fit){i - REACH, j - REACH, sign_d, sign_m, left, 0.0};
            }
    const int j = best.j + REACH, i = best.i + REACH;
    best.fraction = best.j;
    if (j > 0 && j + 1 < SHIFTS) {
        const double low = left_over(s, i, j - 1, best.sign_d, best.sign_m),
                     high = left_over(s, i, j + 1, best.sign_d, best.sign_m),
                     bend = low - 2.0 * best.left + high;
        if (bend > 0.0) best.fraction += 0.5 * (low - high) / bend;
    }
    return best;
}

/* ---- what it means -------------------------------------------------------------------------------*/

/* Which columns are late, so that none is early: torque 0, position j, excitation i, less the least. */
static void report_skew(struct health_case *c, const struct fit *fit, bool injected)
{
    static const enum tune_role role[] = {TUNE_ROLE_TORQUE, TUNE_ROLE_POSITION,
                                          TUNE_ROLE_EXCITATION};
    const double *declared = c->rec->delay_samples;
    const double by[] = {0.0, fit->j, injected ? fit->i : fmin(0.0, fit->j)};
    const double least = fmin(fmin(by[0], by[1]), by[2]);
    char advice[200] = "", text[200] = "";
    for (int k = 0; k < (injected ? 3 : 2); k++) {
        const size_t used = strlen(advice), told = strlen(text);
        if (by[k] == least) continue;
        (void)snprintf(advice + used, sizeof advice - used, "%s%s_delay_samples = %g",
                       used ? ", " : "write into the log's section: ", tune_role_name(role[k]),
                       declared[role[k]] + by[k] - least);
        (void)snprintf(text + told, sizeof text - told, "%sthe %s is %g row%s late",
                       told ? " and " : "", tune_role_name(role[k]), by[k] - least,
                       by[k] - least > 1.0 ? "s" : "");
    }
    c->law_speaks = true;
    health_add(c, "columns-skewed", fit->j ? TUNE_UNFIT : TUNE_WITH_CARE, 0,
               fit->j ? fit->j : fit->i, advice,
               "columns do not belong together: the stated gains explain the torque if %s", text);
}

static void report_sign(struct health_case *c, const struct fit *fit, bool injected)
{
    if (c->law_speaks) return; /* exchanged columns look so, too */
    const bool torque = fit->sign_m < 0.0 && (!injected || fit->sign_d < 0.0);
    const bool excitation = fit->sign_m > 0.0;
    c->law_speaks = true;
    health_add(
        c, "torque-sign", TUNE_UNFIT, 0, -1.0,
        excitation           ? "set excitation_sign = -1"
        : torque && injected ? "set torque_sign = -1: the torque also has the opposite sign of "
                               "the excitation"
        : injected ? "set torque_sign = -1 and excitation_sign = -1, or position_sign = -1 and "
                     "target_sign = -1, whichever columns are wrong"
                   : "set torque_sign = -1, or position_sign = -1 and target_sign = -1, whichever "
                     "columns are wrong",
        "the %s the opposite sign of what the stated gains make of target - position",
        excitation ? "excitation in the torque has" : "torque has");
}

/* Delays already stated are no finding. */
static struct fit beyond_stated(const struct health_case *c, const struct fit *fit)
{
    const double *delay = c->rec->delay_samples;
    struct fit rest = *fit;
    rest.i -= (int)lround(delay[TUNE_ROLE_EXCITATION] - delay[TUNE_ROLE_TORQUE]);
    rest.j -= (int)lround(delay[TUNE_ROLE_POSITION] - delay[TUNE_ROLE_TORQUE]);
    return rest;
}

bool health_knows_gains(const struct health_case *c)
{
    const struct tune_controller *controller = c->opts->controller;
    return controller && fabs(c->rec->rate_hz / controller->loop_rate_hz - 1.0) < 2e-3;
}

static bool can_run(const struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    return health_knows_gains(c) && rec->channel[TUNE_ROLE_TORQUE] &&
           rec->channel[TUNE_ROLE_TARGET] && rec->n >= ROWS_LEAST;
}

static void judge(struct health_case *c, const struct sums *s, bool injected)
{
    const struct fit found = best_fit(s, injected), fit = beyond_stated(c, &found);
    const double stated_j = found.j - fit.j, stated_i = found.i - fit.i;
    double as_it_stands = INFINITY;
    if (fabs(stated_i) <= REACH && fabs(stated_j) <= REACH)
        as_it_stands = left_over(s, REACH + (int)stated_i, REACH + (int)stated_j, 1.0, 1.0);
    if (found.left > explains * without_law(s) || s->rows < ROWS_LEAST / 2) return;
    if (found.sign_d < 0.0 || found.sign_m < 0.0) {
        report_sign(c, &found, injected);
    } else if (!fit.i && !fit.j) {
        c->law_holds = true;
    } else if (found.left <= better * as_it_stands && fabs(found.fraction - found.j) < 0.25) {
        report_skew(c, &fit, injected);
    }
}

enum tune_status health_check_law(struct health_case *c, struct tune_error *err)
{
    struct law law = {0};
    struct sums *sums;
    enum tune_status status;
    if (!can_run(c)) return TUNE_OK;
    sums = calloc(1, sizeof *sums);
    status =
        sums ? prepare(&law, c, err) : tune_error_memory(err, "holding the torque to the gains");
    if (!status) {
        for (size_t k = 0; k < law.n; k++)
            if (law.use[k]) add_row(sums, law.u[REACH + k], law.d + k, law.m + k, law.injected);
        judge(c, sums, law.injected);
    }
    law_free(&law);
    free(sums);
    return status;
}
