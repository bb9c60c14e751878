/* precheck_judge.c - when a measured value agrees with a stated one, and the words for it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "chain/precheck_internal.h"

struct tune_check *precheck_add(struct precheck_work *work, const char *name, const char *unit)
{
    struct tune_check *check = &work->out->check[work->out->n_checks++];
    memset(check, 0, sizeof *check);
    (void)snprintf(check->name, sizeof check->name, "%s", name);
    (void)snprintf(check->unit, sizeof check->unit, "%s", unit);
    check->answer = TUNE_CHECK_NOT_TESTED;
    check->stated = check->tolerance = (double)NAN;
    check->measured = (struct tune_estimate){(double)NAN, (double)NAN};
    return check;
}

void precheck_text(struct tune_check *check, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    (void)vsnprintf(check->text, sizeof check->text, format, args);
    va_end(args);
}

void precheck_advise(struct tune_check *check, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    (void)vsnprintf(check->advice, sizeof check->advice, format, args);
    va_end(args);
}

/* 4 std: a false alarm in 16000 checks where the errors are normal. 2 std: between, it stays open. */
void precheck_judge(struct tune_check *check, double tolerance, double std_most,
                    const char *if_uncertain)
{
    const double off = fabs(check->measured.value - check->stated), std = check->measured.std;
    check->tolerance = tolerance;
    if (off > tolerance + 4.0 * std)
        check->answer = TUNE_CHECK_DISAGREES;
    else if (off <= tolerance + 2.0 * std && std <= std_most)
        check->answer = TUNE_CHECK_AGREES;
    else
        check->answer = TUNE_CHECK_NOT_TESTED;
    if (check->answer == TUNE_CHECK_NOT_TESTED)
        precheck_advise(check, "Too uncertain to tell: %s", if_uncertain);
}

void precheck_missing(struct tune_check *check, const struct precheck_work *work,
                      enum tune_log_kind kind, const char *what_to_log)
{
    precheck_text(check, "There is no log of kind = %s.", tune_log_kind_name(kind));
    precheck_advise(check, "To test it, log %s (kind = %s).", what_to_log,
                    tune_log_kind_name(kind));
    for (size_t i = 0; i < work->n; i++) {
        if (work->log[i].entry->kind != kind || work->log[i].usable) continue;
        precheck_text(check, "Log %s cannot be used: %.230s.", work->log[i].entry->name,
                      work->log[i].why);
        return;
    }
}

/* ---- confusions ----------------------------------------------------------------------------------*/

struct confusion {
    double ratio;
    const char *name; /* as it or its inverse shows itself */
};

/* Common practice, no source. */
static const struct confusion of_counts[] = {
    {4.0, "quadrature: four counts to a line, counted or not"},
    {57.29577951308232, "degrees taken for radians"},
    {3600.0, "degrees taken for arcseconds"},
    {206264.80624709636, "radians taken for arcseconds"},
    {6.283185307179586, "turns taken for radians"},
    {360.0, "turns taken for degrees"},
    {1000.0, "a factor of a thousand in the unit"},
    {10.0, "a factor of ten, a decimal point"},
};
static const struct confusion of_torque[] = {
    {1.4142135623730951, "rms amperes taken for peak ones"},
    {1.7320508075688772, "phase taken for line values"},
    {1.5, "the factor 3/2 between current conventions"},
    {2.0, "a factor of two, peak against peak-to-peak or two windings"},
    {1000.0, "a factor of a thousand in the unit"},
    {10.0, "a factor of ten, per mille against per cent or a decimal point"},
    {57.29577951308232, "degrees taken for radians"},
};

static bool close_to(double ratio, double known, double allowed)
{
    return fabs(ratio / known - 1.0) < allowed || fabs(ratio * known - 1.0) < allowed;
}

const char *precheck_confusion(enum precheck_scale scale, double ratio, double relative_std)
{
    const double allowed = fmin(0.05, fmax(0.01, 3.0 * relative_std));
    const struct confusion *list = scale == PRECHECK_COUNTS ? of_counts : of_torque;
    const size_t n = scale == PRECHECK_COUNTS ? sizeof of_counts / sizeof *of_counts
                                              : sizeof of_torque / sizeof *of_torque;
    for (size_t i = 0; i < n; i++)
        if (close_to(ratio, list[i].ratio, allowed)) return list[i].name;
    for (int bits = 1; scale == PRECHECK_COUNTS && bits <= 24; bits++)
        if (close_to(ratio, ldexp(1.0, bits), allowed))
            return "a power of two, another number of bits";
    return NULL;
}

/* ---- estimates -----------------------------------------------------------------------------------*/

bool precheck_known(const struct tune_estimate *x)
{
    return isfinite(x->value);
}

bool precheck_answered(const struct precheck_work *work, const char *name,
                       enum tune_check_answer answer)
{
    const struct tune_check *check = tune_precheck_find(work->out, name);
    return check && check->answer == answer;
}

double precheck_sign(const struct tune_estimate *x)
{
    if (!precheck_known(x) || fabs(x->value) < 5.0 * x->std) return 0.0;
    return x->value > 0.0 ? 1.0 : -1.0;
}

struct tune_estimate precheck_mean(const struct tune_estimate *x, size_t n)
{
    double weights = 0.0, sum = 0.0, squares = 0.0, std;
    for (size_t i = 0; i < n; i++) {
        const double weight = 1.0 / (x[i].std * x[i].std);
        weights += weight;
        sum += weight * x[i].value;
    }
    if (n == 0) return (struct tune_estimate){(double)NAN, (double)NAN};
    if (n == 1) return x[0];
    for (size_t i = 0; i < n; i++)
        squares += pow((x[i].value - sum / weights) / x[i].std, 2.0);
    std = sqrt(fmax(1.0, squares / (double)(n - 1)) / weights);
    return (struct tune_estimate){sum / weights, std};
}
