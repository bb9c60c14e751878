/* rounded.c - the controller a drive really runs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/rounded.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "control/biquad_internal.h"
#include "core/units.h"

/* "low-pass" or "biquad 2": the i-th section in order of execution. */
static const char *section_name(char text[32], const struct tune_controller *c, size_t i)
{
    const bool lowpass = c->lowpass_hz > 0.0;
    if (lowpass && i == 0)
        (void)snprintf(text, 32, "low-pass");
    else
        (void)snprintf(text, 32, "biquad %zu", lowpass ? i : i + 1);
    return text;
}

/* ---- making it -----------------------------------------------------------------------------------*/

static enum tune_status round_section(struct tune_biquad *section,
                                      const struct tune_number_format *format, const char *name,
                                      bool lowpass, struct tune_error *err)
{
    static const char *const key[] = {"b0", "b1", "b2", "a1", "a2"};
    double *value[] = {&section->b0, &section->b1, &section->b2, &section->a1, &section->a2};
    const double b2 = section->b2;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; i < 5 && status == TUNE_OK; i++) {
        char what[48];
        (void)snprintf(what, sizeof what, "%s of %s", key[i], name);
        if (lowpass && i == 1) *value[i] = section->b0 * (b2 > 0.0 ? 2.0 : 1.0);
        if (lowpass && i == 2) *value[i] = b2 > 0.0 ? section->b0 : 0.0;
        status = tune_number_round(value[i], format, *value[i], what, err);
    }
    if (status != TUNE_OK || !lowpass || section->b0 > 0.0) return status;
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "b0 of the low-pass rounds to 0, nothing would pass: take a finer format, "
                         "or a low-pass at a higher frequency");
    tune_error_about(err, "b0 of low-pass", "0", "above 0");
    return TUNE_ENOSOL;
}

bool tune_biquad_is_stable(const struct tune_biquad *section)
{
    return 1.0 + section->a1 + section->a2 > 0.0 && 1.0 - section->a1 + section->a2 > 0.0 &&
           section->a2 < 1.0;
}

static enum tune_status refuse_poles(struct tune_error *err, const struct tune_biquad *section,
                                     const struct tune_number_format *format, const char *name)
{
    char format_text[TUNE_FORMAT_TEXT], value[64];
    (void)snprintf(value, sizeof value, "a1 = %.10g, a2 = %.10g", section->a1, section->a2);
    (void)tune_error_set(err, TUNE_ENOSOL,
                         "%s: rounded to %s its poles are not inside the unit circle (%s): take a "
                         "finer format, or a filter at a higher frequency",
                         name, tune_number_format_text(format_text, format), value);
    tune_error_about(err, name, value, "poles inside the unit circle");
    return TUNE_ENOSOL;
}

enum tune_status tune_rounded_make(struct tune_rounded_controller *out,
                                   const struct tune_drive_form *form,
                                   const struct tune_drive_setting *setting,
                                   const struct tune_controller *like, struct tune_error *err)
{
    enum tune_status status;
    memset(out, 0, sizeof *out);
    out->setting = *setting;
    out->format = form->coefficients;
    status = tune_drive_setting_to(&out->typed, form, setting, like, err);
    if (status == TUNE_OK) out->n_sections = tune_controller_sections(out->section, &out->typed);
    for (size_t i = 0; i < out->n_sections && status == TUNE_OK; i++) {
        char name[32];
        const bool lowpass = out->typed.lowpass_hz > 0.0 && i == 0;
        section_name(name, &out->typed, i);
        status = round_section(&out->section[i], &form->coefficients, name, lowpass, err);
        if (status == TUNE_OK && !tune_biquad_is_stable(&out->section[i]))
            status = refuse_poles(err, &out->section[i], &form->coefficients, name);
    }
    if (status != TUNE_OK) memset(out, 0, sizeof *out);
    return status;
}

/* ---- its response --------------------------------------------------------------------------------*/

void tune_rounded_eval(double complex *c, const struct tune_rounded_controller *rounded,
                       const double *f_hz, size_t n)
{
    struct tune_controller pid = rounded->typed;
    pid.lowpass_hz = 0.0;
    pid.n_biquads = 0;
    tune_controller_eval(c, &pid, f_hz, n);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < rounded->n_sections; k++)
            c[i] *= tune_biquad_eval(&rounded->section[k], f_hz[i], pid.loop_rate_hz);
}

double tune_rounded_change(double *at_hz, const struct tune_rounded_controller *rounded,
                           const struct tune_controller *controller, double low_hz)
{
    enum { POINTS = 2000 };
    const double high = 0.4 * controller->loop_rate_hz; /* above, a low-pass leaves nothing */
    double largest = 0.0;
    *at_hz = low_hz;
    for (int i = 0; i < POINTS; i++) {
        const double f_hz = low_hz * pow(high / low_hz, (double)i / (POINTS - 1));
        double complex got, want;
        tune_rounded_eval(&got, rounded, &f_hz, 1);
        tune_controller_eval(&want, controller, &f_hz, 1);
        if (!(cabs(got / want - 1.0) > largest)) continue;
        largest = cabs(got / want - 1.0);
        *at_hz = f_hz;
    }
    return largest;
}

/* ---- the same as a plain controller --------------------------------------------------------------*/

static enum tune_status refuse_zeros(struct tune_error *err, const char *name)
{
    (void)tune_error_set(
        err, TUNE_ENOSOL,
        "%s: rounding moved its zeros onto or out of the unit circle: take a finer "
        "format, or a filter at a higher frequency",
        name);
    tune_error_about(err, name, NULL, "zeros inside the unit circle");
    return TUNE_ENOSOL;
}

/* With P = 1 + a1 + a2 = 4 t^2/a0, M = 1 - a1 + a2 = 4/a0, 1 - a2 = 4 zeta t/a0 (biquad.c's a0, t):
 *     t^2 = P/M,  zeta = (1 - a2)/sqrt(P M)
 * and the same of the numerator, where b0 + b1 + b2 = g P and b0 - b1 + b2 = g r^2 M. */
static bool spec_of(struct tune_biquad_spec *out, double *gain, const struct tune_biquad *b,
                    double rate_hz)
{
    const double sum = 1.0 + b->a1 + b->a2, difference = 1.0 - b->a1 + b->a2;
    const double above = b->b0 + b->b1 + b->b2, below = b->b0 - b->b1 + b->b2;
    const double t = sqrt(sum / difference);
    double r;
    if (!(above > 0.0 && below > 0.0 && b->b0 >= b->b2)) return false;
    *gain = above / sum;
    r = sqrt(below / (*gain * difference));
    out->pole_hz = atan(t) * rate_hz / TUNE_PI;
    out->pole_zeta = (1.0 - b->a2) / sqrt(sum * difference);
    out->zero_hz = out->pole_hz / r;
    out->zero_zeta = (b->b0 - b->b2) / sqrt(above * below);
    return true;
}

/* b, 2b, b or b, b: the bilinear transform of a low-pass, times a gain. */
static bool lowpass_of(struct tune_controller *out, double *gain, const struct tune_biquad *b,
                       double rate_hz)
{
    const double sum = 1.0 + b->a1 + b->a2, difference = 1.0 - b->a1 + b->a2;
    const bool second = out->lowpass_order == 2;
    if (!(b->b0 > 0.0)) return false;
    *gain = (b->b0 + b->b1 + b->b2) / sum;
    out->lowpass_hz = atan(second ? sqrt(sum / difference) : sum / difference) * rate_hz / TUNE_PI;
    if (second) out->lowpass_zeta = (1.0 - b->a2) / sqrt(sum * difference);
    return true;
}

enum tune_status tune_rounded_plain(struct tune_controller *out,
                                    const struct tune_rounded_controller *rounded,
                                    struct tune_error *err)
{
    const struct tune_controller *typed = &rounded->typed;
    const size_t first = typed->lowpass_hz > 0.0 ? 1 : 0;
    double all = 1.0, gain = 1.0;
    *out = *typed;
    for (size_t i = 0; i < rounded->n_sections; i++) {
        const struct tune_biquad *section = &rounded->section[i];
        char name[32];
        const bool found =
            i < first ? lowpass_of(out, &gain, section, typed->loop_rate_hz)
                      : spec_of(&out->biquad[i - first], &gain, section, typed->loop_rate_hz);
        if (!found) {
            memset(out, 0, sizeof *out);
            return refuse_zeros(err, section_name(name, typed, i));
        }
        all *= gain;
    }
    out->kp_nm_per_rad *= all;
    out->ki_nm_per_rad_s *= all;
    out->kd_nm_s_per_rad *= all;
    return TUNE_OK;
}
