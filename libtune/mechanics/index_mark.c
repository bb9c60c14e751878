/* index_mark.c - how well the index mark is found again.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "mechanics/first_motion.h"
#include "mechanics/motion_internal.h"

/* One passage of the mark. */
struct passage {
    double place, step; /* rad; step: travel between two samples there, signed */
};

/* The flag rises between rows first - 1 and first and falls before row end. */
static struct passage passage_of(const double *x, size_t first, size_t end)
{
    const double rise = 0.5 * (x[first - 1] + x[first]), step = x[first] - x[first - 1];
    if (end - first < 2) return (struct passage){rise, step};
    return (struct passage){0.5 * (rise + 0.5 * (x[end - 1] + x[end])), step};
}

static size_t find_passages(struct passage *out, const struct tune_record *rec)
{
    const double *x = rec->channel[TUNE_ROLE_POSITION], *flag = rec->channel[TUNE_ROLE_INDEX];
    size_t n = 0;
    for (size_t k = 1; k < rec->n; k++) {
        size_t end = k;
        if (!(flag[k] > 0.5 && flag[k - 1] <= 0.5)) continue;
        while (end < rec->n && flag[end] > 0.5)
            end++;
        if (end == rec->n) break; /* ends on the mark: its other side is not seen */
        /* where it does not move between the samples, it did not pass */
        if (x[k] != x[k - 1]) out[n++] = passage_of(x, k, end);
        k = end;
    }
    return n;
}

static void judge_direction(struct tune_index_fit *out, size_t which, const struct passage *pass,
                            size_t n, double *squares)
{
    double mean = 0.0, low = INFINITY, high = -INFINITY, sum = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if ((pass[i].step > 0.0) != (which == 0)) continue;
        mean += pass[i].place;
        low = fmin(low, pass[i].place);
        high = fmax(high, pass[i].place);
        count++;
    }
    out->n[which] = count;
    out->mean_rad[which] = count ? mean / (double)count : (double)NAN;
    for (size_t i = 0; i < n; i++)
        if ((pass[i].step > 0.0) == (which == 0))
            sum += (pass[i].place - out->mean_rad[which]) * (pass[i].place - out->mean_rad[which]);
    *squares += sum;
    if (count) out->spread_rad = fmax(out->spread_rad, high - low);
}

static enum tune_status judge(struct tune_index_fit *out, const struct passage *pass, size_t n,
                              struct tune_error *err)
{
    /* one-sided tail of 4 sigma of the normal distribution */
    const double tail = 3.167124183e-5;
    double squares = 0.0, step2 = 0.0, dof;
    for (size_t which = 0; which < 2; which++)
        judge_direction(out, which, pass, n, &squares);
    dof = (double)n - (out->n[0] > 0) - (out->n[1] > 0);
    if (dof < 2.0)
        return tune_error_set(err, TUNE_EDATA,
                              "the index mark is passed %zu times upwards and %zu times downwards: "
                              "pass it at least three times, better five, each way",
                              out->n[0], out->n[1]);
    for (size_t i = 0; i < n; i++)
        step2 += pass[i].step * pass[i].step / (double)n;
    out->std_rad = sqrt(squares / dof);
    out->least_rad = sqrt(squares / gsl_cdf_chisq_Qinv(tail, dof));
    out->most_rad = sqrt(squares / gsl_cdf_chisq_Pinv(tail, dof));
    out->resolution_rad = sqrt(step2 / 12.0); /* anywhere between two samples */
    out->hysteresis = (struct tune_estimate){(double)NAN, (double)NAN};
    if (out->n[0] && out->n[1]) {
        out->hysteresis.value = out->mean_rad[0] - out->mean_rad[1];
        out->hysteresis.std = motion_widening(dof) * out->std_rad *
                              sqrt(1.0 / (double)out->n[0] + 1.0 / (double)out->n[1]);
    }
    return TUNE_OK;
}

enum tune_status tune_index_fit(struct tune_index_fit *out, const struct tune_record *rec,
                                struct tune_error *err)
{
    struct passage *pass;
    enum tune_status status = tune_record_require(rec, TUNE_ROLE_POSITION, NULL, err);
    memset(out, 0, sizeof *out);
    if (!status) status = tune_record_require(rec, TUNE_ROLE_INDEX, NULL, err);
    if (status) return status;
    pass = malloc((rec->n / 2 + 1) * sizeof *pass);
    if (!pass) return tune_error_memory(err, "looking at the index mark");
    status = judge(out, pass, find_passages(pass, rec), err);
    free(pass);
    if (status) memset(out, 0, sizeof *out);
    return status;
}
