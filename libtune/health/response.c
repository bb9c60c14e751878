/* response.c - what the axis answers to a sweep: band, coherence, sign.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "health/findings_internal.h"

/* Common practice, no source: a decade; a loop is closed at a hundredth of its rate or above, and what lies
 * beyond must be known too. An octave tells inertia from nothing else. */
static const double decade = 10.0, octave = 2.0, top_of_rate = 0.01;

/* Coherence below half in so much of the band, by octave. Common practice, no source. */
static const double incoherent = 0.5, care_part = 0.2, unfit_part = 0.5;

/* Share of the lowest octave's phase on the wrong side, as for identification; and the fall of |G| per
 * octave, as a power of f, between an inertia (-2) and a spring (0). */
static const double wrong_side = 0.5, spring_power = -1.0;

static double by_octave(const struct tune_frf *frf, double above)
{
    double part = 0.0, all = 0.0;
    for (size_t i = 0; i < frf->n; i++) {
        all += 1.0 / frf->f_hz[i];
        if (frf->coh[i] > above) part += 1.0 / frf->f_hz[i];
    }
    return all > 0.0 ? part / all : 0.0;
}

/* Median by octave, by halving: coherences lie in 0..1. */
static double median_coherence(const struct tune_frf *frf)
{
    double low = 0.0, high = 1.0;
    for (int i = 0; i < 40; i++) {
        const double middle = 0.5 * (low + high);
        if (by_octave(frf, middle) > 0.5)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

/* What already is known to spoil the response: its consequences are not told again. */
static bool is_spoilt(const struct health_case *c)
{
    static const char *const spoils[] = {
        "dead-channel",   "stuck-channel",       "no-excitation",    "torque-saturated",
        "encoder-glitch", "quantisation-coarse", "position-float32", "noise-high"};
    for (size_t i = 0; i < c->out->n_findings; i++)
        for (size_t k = 0; k < sizeof spoils / sizeof *spoils; k++)
            if (!strcmp(c->out->finding[i].name, spoils[k])) return true;
    return false;
}

static void check_band(struct health_case *c, const struct tune_frf *frf)
{
    const double *band = frf->band_hz, rate_hz = c->rec->rate_hz;
    struct tune_measures *m = &c->out->measures;
    const double incoherent_part = 1.0 - by_octave(frf, incoherent);
    m->excited_hz[0] = band[0];
    m->excited_hz[1] = band[1];
    m->coherence = median_coherence(frf);
    if (is_spoilt(c)) return;
    if (band[1] < decade * band[0] || band[1] < top_of_rate * rate_hz)
        health_add(
            c, "band-narrow", band[1] < octave * band[0] ? TUNE_UNFIT : TUNE_WITH_CARE, 0,
            band[1] / band[0],
            "sweep from a tenth of the crossover wanted to ten times of it at least, and see that "
            "the drive follows",
            "torque and position answer the excitation from %.3g to %.3g Hz only%s", band[0],
            band[1], band[1] < top_of_rate * rate_hz ? ", less than a hundredth of the rate" : "");
    if (incoherent_part > care_part)
        health_add(c, "coherence-low", incoherent_part > unfit_part ? TUNE_UNFIT : TUNE_WITH_CARE,
                   0, incoherent_part,
                   "sweep longer or harder, on a ramp, with less wind; see that the columns belong "
                   "together",
                   "position and excitation have a coherence below 0.5 in %.0f %% of the band from "
                   "%.3g to "
                   "%.3g Hz (by octave; median %.2f)",
                   100.0 * incoherent_part, band[0], band[1], m->coherence);
}

static void check_sign(struct health_case *c, const struct tune_frf *frf)
{
    double cosine = 0.0, n = 0.0, lx = 0.0, ly = 0.0, lxx = 0.0, lxy = 0.0;
    for (size_t i = 0; i < frf->n && frf->f_hz[i] <= octave * frf->band_hz[0]; i++) {
        const double size = cabs(frf->g[i]), x = log(frf->f_hz[i]);
        if (!(size > 0.0)) continue;
        cosine += creal(frf->g[i]) / size;
        n += 1.0;
        lx += x;
        ly += log(size);
        lxx += x * x;
        lxy += x * log(size);
    }
    if (n < 3.0 || cosine < wrong_side * n || c->law_speaks) return;
    const double power = (n * lxy - lx * ly) / (n * lxx - lx * lx);
    if (power < spring_power)
        health_add(
            c, "torque-sign", TUNE_UNFIT, 0, cosine / n,
            "set torque_sign = -1 or position_sign = -1, whichever column is wrong: a wrong sign "
            "drives the axis into its stop",
            "torque accelerates the axis the other way between %.3g and %.3g Hz", frf->band_hz[0],
            octave * frf->band_hz[0]);
    else {
        struct tune_finding *spring = health_add(
            c, "torque-sign", TUNE_UNFIT, 0, cosine / n,
            "sweep on a ramp, so that friction does not hold the axis; if that does not help, "
            "correct torque_sign or position_sign",
            "between %.3g and %.3g Hz the position follows the torque as in a spring: the axis "
            "sticks, or a sign is wrong",
            frf->band_hz[0], octave * frf->band_hz[0]);
        if (spring) spring->too_little = true;
    }
}

enum tune_status health_check_response(struct health_case *c, struct tune_error *err)
{
    const struct tune_record *rec = c->rec;
    struct tune_frf_opts opts = tune_frf_defaults();
    struct tune_frf frf;
    struct tune_error why = {0};
    if (!c->opts->sweep || !rec->channel[TUNE_ROLE_TORQUE]) return TUNE_OK;
    opts.stride = 1 + rec->n / 60000;
    const enum tune_status status = tune_frf_estimate(&frf, NULL, rec, &opts, &why);
    if (status == TUNE_EDATA) {
        if (!is_spoilt(c))
            health_add(c, "coherence-low", TUNE_UNFIT, 0, 0.0,
                       "see that excitation, torque and position were recorded, and are mapped to "
                       "the right columns",
                       "%.190s", why.text);
        return TUNE_OK;
    }
    if (status) {
        if (err) *err = why;
        return status;
    }
    check_band(c, &frf);
    check_sign(c, &frf);
    tune_frf_free(&frf);
    return TUNE_OK;
}
