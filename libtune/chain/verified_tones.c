/* verified_tones.c - |S| at the tones injected into a loop, beside what its gains should make of them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>

#include "chain/verify_internal.h"
#include "jitter/tones.h"

_Static_assert((int)TUNE_VERIFIED_TONES == (int)TUNE_TONES_MAX, "every tone found has its place");

/* As the enable ladder takes them. */
static const double tolerance = 1.2, shift = 0.05;

/* |S| lowest and highest, modes as they are and all of them higher or lower. */
static void expect(double range[2], const struct tune_plant *plant,
                   const struct tune_controller *controller, double f_hz)
{
    for (int way = -1; way <= 1; way++) {
        struct tune_plant moved = *plant;
        double complex g, c;
        double sens;
        for (size_t k = 0; k < moved.n_modes; k++)
            moved.mode[k].f_hz *= 1.0 + way * shift;
        tune_plant_eval(&g, &moved, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
        tune_controller_eval(&c, controller, &f_hz, 1);
        sens = 1.0 / cabs(1.0 + g * c);
        range[0] = fmin(range[0], sens);
        range[1] = fmax(range[1], sens);
    }
}

/* Of the pointing's own plant, else of all. */
static void foretell(struct tune_verified_tone *tone, const struct verification_work *work,
                     size_t item)
{
    const struct chain_plants *plants = &work->plants;
    const size_t at = chain_plant_at(plants, work->log[item].pointing);
    double range[2] = {INFINITY, 0.0};
    if (!work->can_predict || !work->known[item]) return;
    for (size_t i = 0; i < plants->n; i++)
        if (at == plants->n || at == i)
            expect(range, &plants->plant[i], &work->gains[item].controller, tone->f_hz);
    tone->expected[0] = range[0];
    tone->expected[1] = range[1];
    tone->bounds[0] = range[0] / tolerance;
    tone->bounds[1] = range[1] * tolerance;
}

enum tune_tone_verdict chain_tone_verdict(const struct tune_verified_tone *tone)
{
    const double reach = 1.96 * tone->sensitivity.std;
    const double low = tone->sensitivity.value - reach, high = tone->sensitivity.value + reach;
    if (isnan(tone->bounds[0])) return TUNE_TONE_NOT_FORETOLD;
    if (low >= tone->bounds[0] && high <= tone->bounds[1]) return TUNE_TONE_AS_DESIGNED;
    if (high < tone->bounds[0] || low > tone->bounds[1]) return TUNE_TONE_OFF;
    return TUNE_TONE_NOT_SURE; /* a std that is not known, too */
}

bool chain_injected(const struct tune_record *rec)
{
    const double *excitation = rec->channel[TUNE_ROLE_EXCITATION];
    for (size_t k = 0; excitation && k < rec->n; k++)
        if (excitation[k] != 0.0) return true;
    return false;
}

static void say_none(struct tune_notes *notes, const struct tune_verified_log *log, const char *why)
{
    tune_notes_add(notes,
                   "Log %s: a signal is injected, so its rms is not that of the axis and is not "
                   "judged; |S| is not measured: %s.",
                   log->name, why);
}

enum tune_status chain_measure_tones(struct verification_work *work, size_t item,
                                     const struct tune_record *rec, struct tune_error *err)
{
    struct tune_verified_log *out = &work->log[item];
    struct tune_tone tone[TUNE_TONES_MAX];
    enum tune_status status;
    out->injected = true;
    if (!rec->channel[TUNE_ROLE_TORQUE]) {
        say_none(&work->notes[item], out, "there is no torque column");
        return TUNE_OK;
    }
    status = tune_tones_measure(tone, &out->n_tones, rec->channel[TUNE_ROLE_EXCITATION],
                                rec->channel[TUNE_ROLE_TORQUE], rec->n, rec->rate_hz, err);
    if (!status && out->n_tones == 0)
        say_none(&work->notes[item], out, "no tones of five periods or more are in it");
    if (!status && out->n_tones == TUNE_TONES_MAX)
        tune_notes_add(&work->notes[item],
                       "Log %s: the first %d tones are measured; any further one is not: give it a "
                       "log of its own.",
                       out->name, TUNE_TONES_MAX);
    for (size_t i = 0; !status && i < out->n_tones; i++) {
        out->tone[i] = (struct tune_verified_tone){.f_hz = tone[i].f_hz,
                                                   .torque_nm = tone[i].torque_nm,
                                                   .sensitivity = tone[i].sensitivity,
                                                   .expected = {NAN, NAN},
                                                   .bounds = {NAN, NAN}};
        foretell(&out->tone[i], work, item);
        out->tone[i].verdict = chain_tone_verdict(&out->tone[i]);
    }
    return status;
}

/* How much of its bound a tone takes: 1 on it. */
static double part_of_bound(const struct tune_verified_tone *tone)
{
    return fmax(tone->sensitivity.value / tone->bounds[1],
                tone->bounds[0] / tone->sensitivity.value);
}

/* How many times as large the tone has to be for its interval to lie on one side of every bound. */
static double wanted(const struct tune_verified_tone *tone)
{
    const double value = tone->sensitivity.value;
    const double room = fmin(fabs(value - tone->bounds[0]), fabs(value - tone->bounds[1]));
    return 1.96 * tone->sensitivity.std / room;
}

static void say_not_sure(struct tune_notes *notes, const struct tune_verified_log *log,
                         const struct tune_verified_tone *tone)
{
    const double times = wanted(tone),
                 worth = 5.0; /* a larger factor is that of a value on its bound */
    char advice[96] = "with a larger tone";
    if (times <= worth)
        (void)snprintf(advice, sizeof advice,
                       "with some %.1f times the tone (or %.2g times as long)", times,
                       times * times);
    tune_notes_add(notes,
                   "Log %s: whether |S| at %.3g Hz is as designed is not sure (%.2f +- %.2f): "
                   "stay on this rung and log again, %s.",
                   log->name, tone->f_hz, tone->sensitivity.value, 1.96 * tone->sensitivity.std,
                   advice);
}

static void say_verdict(struct tune_notes *notes, const struct tune_verified_log *log,
                        const struct tune_verified_tone *tone)
{
    if (tone->verdict == TUNE_TONE_NOT_SURE) say_not_sure(notes, log, tone);
    if (tone->verdict == TUNE_TONE_OFF)
        tune_notes_add(
            notes,
            "Log %s: |S| at %.3g Hz is not as designed: the drive does not run these "
            "gains (unit slips, a filter left off, a wrong rate), or the axis is not the "
            "one that was swept. Go back a rung, or disable, before anything else.",
            log->name, tone->f_hz);
}

/* The one tone that decides: any that is off before any that is not sure, before any as designed; the worst of
 * its kind. */
static bool decides(const struct tune_verified_tone *tone, const struct tune_verified_tone *before)
{
    if (tone->verdict == TUNE_TONE_NOT_FORETOLD) return false;
    if (!before) return true;
    if (tone->verdict != before->verdict) return tone->verdict > before->verdict;
    return part_of_bound(tone) > part_of_bound(before);
}

void chain_judge_tones(struct tune_verification *out)
{
    const struct tune_verified_tone *worst = NULL;
    const char *where = NULL;
    for (size_t i = 0; i < out->n_logs; i++)
        for (size_t t = 0; t < out->log[i].n_tones; t++) {
            const struct tune_verified_tone *tone = &out->log[i].tone[t];
            say_verdict(&out->notes, &out->log[i], tone);
            if (!decides(tone, worst)) continue;
            worst = tone;
            where = out->log[i].name;
        }
    if (worst)
        tune_judgements_add(
            &out->requirement, TUNE_JUDGEMENT_TONES, 1.0,
            worst->verdict == TUNE_TONE_NOT_SURE ? (double)NAN : part_of_bound(worst), true, where);
}
