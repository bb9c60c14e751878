/* enable_tones.c - a few frequencies at which |S| tells the loop that was meant from a wrong one.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/enable_internal.h"

#include <math.h>

enum { CANDIDATES = 60 };

static const double tolerance = 1.2; /* 20 % */

/* For a tone of a loop that is as designed to be called so in 99 of 100 logs, its 95 % interval has to stay within
 * the lower bound, 1 - 1/1.2 below it: (2.15 + 2.33) std, Student's t of the 13.5 degrees of freedom that
 * jitter/tones.c has, and the one-sided 99 % of the value's own scatter. */
static const double std_wanted = (1.0 - 1.0 / 1.2) / (2.15 + 2.33);

/* What the window (Hann: 1.5) and the stretch left out (a fifth) cost there in variance. */
static const double cost = 1.5 / 0.8;

/* S and the plant of one loop at one frequency. */
struct look {
    double sens;       /* |S| */
    double torque_psd; /* |C S|^2 S_v, N m^2/Hz */
    double motion;     /* |G S|, rad per N m of tone */
};

static struct look look_at(const struct tune_controller *controller, const struct tune_plant *plant,
                           const struct problem *problem, double f_hz)
{
    const struct tune_disturbance *d = problem->disturbance;
    double complex c, g, wind, drive, s;
    double psd = tune_disturbance_sensor_psd(d, f_hz, problem->rate_hz);
    tune_controller_eval(&c, controller, &f_hz, 1);
    tune_plant_eval(&g, plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_plant_eval(&wind, plant, TUNE_PATH_PAYLOAD_ENCODER, &f_hz, 1);
    tune_plant_eval(&drive, plant, TUNE_PATH_DRIVE_ENCODER, &f_hz, 1);
    psd += square(wind) * tune_disturbance_wind_psd(d, f_hz);
    psd += square(drive) * tune_disturbance_drive_psd(d, f_hz);
    s = inverse(1.0 + times(g, c));
    return (struct look){sqrt(square(s)), square(times(c, s)) * psd, sqrt(square(times(g, s)))};
}

/* The tone at f_hz. T seconds of it give the amplitude of each quadrature with variance PSD/T (least squares in
 * white noise of that one-sided density; S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation
 * Theory, 1993, ex. 4.2, from memory), times the cost of the measurement: |S| a to a part of itself asks for
 * a = sqrt(cost PSD/T)/(part |S|). */
static struct tune_enable_tone tone_at(const struct tune_enable_rung *rung,
                                       const struct problem *problem, double f_hz)
{
    struct tune_enable_tone tone = {.f_hz = f_hz, .sens_low = INFINITY};
    const double on_s = TUNE_ENABLE_STAYS * rung->dwell_s;
    double log_sens = 0.0, motion = 0.0;
    for (size_t i = 0; i < problem->n_scenarios; i++) {
        const struct scenario *s = &problem->scenario[i];
        const struct look at = look_at(&rung->controller, &s->plant, problem, f_hz);
        tone.sens_low = fmin(tone.sens_low, at.sens);
        tone.sens_high = fmax(tone.sens_high, at.sens);
        if (i != enable_nominal(problem, s->pointing)) continue;
        log_sens += log(at.sens) / (double)problem->n_pointings;
        tone.torque_nm =
            fmax(tone.torque_nm, sqrt(cost * at.torque_psd / on_s) / (std_wanted * at.sens));
        motion = fmax(motion, at.motion);
    }
    tone.sens = exp(log_sens);
    tone.alarm_low = tone.sens_low / tolerance;
    tone.alarm_high = tone.sens_high * tolerance;
    tone.motion_rad = motion * tone.torque_nm;
    return tone;
}

static double spread(const struct tune_enable_tone *tone)
{
    return fmax(tone->sens_high / tone->sens, tone->sens / tone->sens_low);
}

/* What each of the three tells: the gain of the loop inside it, its phase at the crossover, its margin where
 * |S| is largest; a loop whose |S| hardly passes 1 has nothing to tell there. */
static bool is_of_kind(const struct tune_enable_tone *tone, size_t kind,
                       const struct tune_enable_rung *rung, const struct tune_enable_tone *peak)
{
    const double from_crossover = tone->f_hz / rung->crossover_hz;
    if (kind == 0) return tone->sens >= 0.2 && tone->sens <= 0.7 && from_crossover < 0.8;
    if (kind == 1) return from_crossover >= 0.85 && from_crossover <= 1.3;
    return peak->sens >= 1.15 && tone->sens >= 0.9 * peak->sens;
}

/* The gentlest of those at which |S| hardly depends on pointing and shift; else the one where it depends
 * least. */
static bool is_better(const struct tune_enable_tone *a, const struct tune_enable_tone *b)
{
    const double hardly = 1.1;
    if (fmax(spread(a), spread(b)) <= hardly) return a->torque_nm < b->torque_nm;
    return spread(a) < spread(b);
}

void enable_tones(struct tune_enable_rung *rung, const struct problem *problem)
{
    const double low = rung->crossover_hz / 5.0;
    const double high = fmin(2.0 * rung->top_crossing_hz, 0.4 * problem->rate_hz);
    struct tune_enable_tone candidate[CANDIDATES];
    size_t peak = 0;
    for (size_t i = 0; i < CANDIDATES; i++) {
        candidate[i] = tone_at(rung, problem, low * pow(high / low, (double)i / (CANDIDATES - 1)));
        if (candidate[i].sens > candidate[peak].sens) peak = i;
    }
    rung->n_tones = 0;
    for (size_t kind = 0; kind < TUNE_ENABLE_TONES; kind++) {
        const struct tune_enable_tone *best = NULL;
        const double above_hz = rung->n_tones > 0 ? 1.15 * rung->tone[rung->n_tones - 1].f_hz : 0.0;
        for (size_t i = 0; i < CANDIDATES; i++)
            if (candidate[i].f_hz > above_hz &&
                is_of_kind(&candidate[i], kind, rung, &candidate[peak]) &&
                (!best || is_better(&candidate[i], best)))
                best = &candidate[i];
        if (best && spread(best) <= tolerance) rung->tone[rung->n_tones++] = *best;
    }
}
