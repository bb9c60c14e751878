/* frf.c - frequency response of the plant: the estimator that fits the record.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plant/frf.h"

#include <math.h>
#include <string.h>

#include "core/units.h"
#include "plant/frf_internal.h"

enum { SAMPLES_MIN = 64 };

struct tune_frf_opts tune_frf_defaults(void)
{
    return (struct tune_frf_opts){
        .lpm = tune_lpm_defaults(), .output = TUNE_ROLE_POSITION, .stride = 8};
}

const char *tune_frf_estimator_name(enum tune_frf_estimator estimator)
{
    static const char *const name[] = {
        [TUNE_FRF_INDIRECT] = "indirect local polynomial",
        [TUNE_FRF_DIRECT] = "direct local polynomial",
        [TUNE_FRF_PERIODIC] = "mean over periods",
        [TUNE_FRF_TABLE] = "table of responses",
        [TUNE_FRF_ASSISTED] = "model-assisted local polynomial",
    };
    if ((unsigned)estimator >= sizeof name / sizeof *name) return "unknown estimator";
    return name[estimator];
}

double complex tune_frf_turn(double cycles)
{
    const double phase = 2.0 * TUNE_PI * cycles;
    return CMPLX(cos(phase), sin(phase));
}

void tune_frf_advance(double complex *X, size_t bins, double scale, double delay)
{
    const bool late = delay > 0.0 || delay < 0.0;
    for (size_t k = 0; k < bins; k++)
        X[k] *= late ? scale * tune_frf_turn((double)k * delay) : scale;
}

/* e = (Vy - G Vu)/U to first order */
double tune_frf_ratio_variance(double complex g, double complex u, const struct tune_noise *noise)
{
    const double gain2 = pow(cabs(g), 2.0);
    const double var = noise->yy + gain2 * noise->uu - 2.0 * creal(conj(g) * noise->yu);
    return fmax(var, 0.0) / pow(cabs(u), 2.0);
}

static enum tune_status check_options(const struct tune_frf_opts *opts, struct tune_error *err)
{
    const double *band = opts->band_hz;
    if (opts->stride < 1)
        return tune_error_set(err, TUNE_EINVAL, "a stride of 0 bins between estimates");
    if (opts->output != TUNE_ROLE_POSITION && opts->output != TUNE_ROLE_LOAD_POSITION &&
        opts->output != TUNE_ROLE_SKY && opts->output != TUNE_ROLE_OTHER_POSITION &&
        opts->output != TUNE_ROLE_PAYLOAD_ACCEL)
        return tune_error_set(err, TUNE_EINVAL, "the %s cannot be the plant's output",
                              tune_role_name(opts->output));
    if (!(band[0] >= 0.0 &&
          (band[1] > band[0] || (band[0] <= 0.0 && band[1] >= 0.0 && band[1] <= 0.0))))
        return tune_error_set(err, TUNE_EINVAL,
                              "a band from %g to %g Hz: it rises, or is 0 to 0 for the excited one",
                              band[0], band[1]);
    return TUNE_OK;
}

static enum tune_status check_record(const struct tune_record *rec,
                                     const struct tune_frf_opts *opts, struct tune_error *err)
{
    const enum tune_role needed[] = {TUNE_ROLE_TORQUE, opts->output};
    for (int i = 0; i < 2; i++)
        if (!rec->channel[needed[i]]) {
            tune_error_set(err, TUNE_EDATA,
                           "the log has no %s: name its column in the log's section",
                           tune_role_name(needed[i]));
            tune_error_about(err, tune_role_name(needed[i]), "not logged", NULL);
            return TUNE_EDATA;
        }
    if (!(rec->rate_hz > 0.0))
        return tune_error_set(err, TUNE_EDATA, "the log has no sampling rate");
    if (rec->n < SAMPLES_MIN)
        return tune_error_set(err, TUNE_EDATA,
                              "%zu rows are too few for a frequency response: record at least %d",
                              rec->n, SAMPLES_MIN);
    return TUNE_OK;
}

enum tune_status tune_frf_estimate(struct tune_frf *out, struct tune_lines *lines,
                                   const struct tune_record *rec, const struct tune_frf_opts *opts,
                                   struct tune_error *err)
{
    struct tune_excerpt excerpt = {0};
    struct tune_periods periods = {0};
    enum tune_status status;

    memset(out, 0, sizeof *out);
    if (lines) memset(lines, 0, sizeof *lines);
    status = check_options(opts, err);
    if (!status) status = check_record(rec, opts, err);
    if (!status) status = tune_excerpt_take(&excerpt, rec, opts->output, err);
    if (!status) status = tune_frf_find_periods(&periods, &excerpt, err);
    if (!status)
        status = periods.periods ? tune_frf_periodic(out, lines, &excerpt, &periods, opts, err)
                                 : tune_frf_sweep(out, lines, &excerpt, opts, err);
    tune_excerpt_free(&excerpt);
    if (status) {
        tune_frf_free(out);
        if (lines) tune_lines_free(lines);
    }
    return status;
}
