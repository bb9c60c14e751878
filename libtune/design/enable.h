/* enable.h - the enable ladder: how a new controller is switched on without a leap.
 *
 * Every rung has the filters of the final controller and its gains kd k, kp k^2, ki k^3: the same loop,
 * slower. Rungs are climbed one at a time, at most 3 dB each, with a short log in between that must show
 * what is foretold here. Each rung is proved stable at every pointing and mode shift by the encirclement
 * count, and so are the gains between two rungs: by the count at every decibel, and everywhere in between
 * because
 *     max over f of |C_b - C_a| |G| |S_a| < 1
 * says that no gain on the way from a to b takes a closed-loop pole across the edge (the small-gain
 * theorem, G. Zames, IEEE Trans. Automatic Control 11, 1966, from memory).
 *
 * Start: the highest rung of -21, -24 .. -39 dB at which, in every loop, the last crossing |L| = 1 lies at
 * or below a fifth of the lowest antiresonance (of a rigid axis: a tenth of the final one), so that the loop
 * moves the rigid body alone and no mode is driven out whatever its phase, and at which sensor noise makes at
 * most a tenth of the allowed noise torque. Where no rung is so timid, it is the highest at which the first
 * crossing and the noise are, else -39 dB, and the ladder says that modes take part from the start.
 *
 * Ramps that are not this ladder: a plain factor on all gains is safe only down to scalar_lowest (an
 * integrating loop on a free body is unstable below some gain; a saturated drive acts as such a factor); from
 * zero only without the integrator, which is then raised last. A mixture of two controllers, neither of
 * which needs the other, can be unstable even though both are stable: never fade from one to the other.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_ENABLE_H
#define TUNE_ENABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "core/watch.h"
#include "design/design.h"
#include "jitter/disturbance.h"
#include "plant/model.h"

enum {
    TUNE_ENABLE_RUNGS = 14,
    TUNE_ENABLE_TONES = 3,
    TUNE_ENABLE_STAYS = 3, /* a tone is on for so many dwell_s: longer, not larger */
    TUNE_ENABLE_ADVICE = 9,
    TUNE_ENABLE_TEXT = 320
};

/* One loop of one pointing: where something is worst. */
struct tune_enable_place {
    size_t pointing;
    double shift;  /* of the modes: the largest, as a fraction */
    double spread; /* gain and delay three std higher 1, lower -1, as fitted 0 */
    double f_hz;   /* NAN where it does not exist */
};

/* A tone added to the controller's torque. At its frequency |S| is the amplitude of the sum, which goes to the
 * motor, over that of the tone. Tones are chosen where |S| differs least over pointings and shifts; where no
 * frequency holds it within the tolerance there are fewer. */
struct tune_enable_tone {
    double f_hz;
    double sens;                  /* |S| expected: geometric mean over the pointings */
    double sens_low, sens_high;   /* over all pointings and shifts */
    double alarm_low, alarm_high; /* outside, 20 % beyond those: go back a rung */
    double torque_nm;  /* amplitude at which TUNE_ENABLE_STAYS dwell_s tell |S| to 3.7 % */
    double motion_rad; /* amplitude it makes at the encoder, worst pointing */
};

/* Worst means over every pointing and shift; expected figures are those of the worst pointing with its
 * modes where they are, for a log of dwell_s with its straight line removed, by the smooth disturbance
 * model: no friction, no ripple. */
struct tune_enable_rung {
    double k, gain_db; /* k = 10^(gain_db/20) */
    struct tune_controller controller;
    bool stable; /* at every pointing and shift */
    double sens_peak;
    struct tune_enable_place worst;                              /* where sens_peak is */
    double crossover_hz;                                         /* lowest */
    double top_crossing_hz;                                      /* highest */
    double phase_margin_rad, gain_margin, gain_reduction_margin; /* worst; as in control/loop.h */
    double encoder_rms_rad;           /* as the encoder shows it, its noise included */
    double encoder_interval95_rad[2]; /* where 95 % of logs lie: their own scatter */
    double torque_rms_nm;             /* of the controller's torque, as the drive shows it */
    double noise_torque_rms_nm;       /* the share of sensor noise in it */
    double abort_encoder_rad, abort_torque_nm; /* twice the expected */
    double dwell_s; /* ten periods of the crossover or 10 s, and until the scatter of the encoder's
                       rms is below a factor 1.5 with 95 % */
    size_t n_tones;
    struct tune_enable_tone tone[TUNE_ENABLE_TONES];
};

/* Plain data. */
struct tune_enable_ladder {
    size_t n_rungs; /* from the most timid to the final one, whose k is 1 */
    struct tune_enable_rung rung[TUNE_ENABLE_RUNGS];
    bool timid;          /* the first rung keeps the rule above: no mode reaches |L| = 1 */
    size_t n_steps;      /* gains counted stable from the first rung to the final one, */
    double sens_peak;    /* the largest |S| of them, */
    double sens_peak_db; /* at this gain */
    struct tune_enable_place worst;
    double scalar_lowest; /* all gains times this factor: the lowest at which every loop is stable,
                             with everything between it and 1; 0: none found down to 1e-6 */
    struct tune_enable_place scalar_worst; /* the loop that is lost there */
    bool integrator_last; /* all gains may rise from 0 with ki = 0, and then ki from 0: proved */
    double
        integrator_last_peak; /* largest |S| on that way from a sixteenth of ki; INFINITY: not proved */
};

/* plants, names, disturbance and opts as for tune_design_controller; of opts those that make the loops
 * to be judged (mode_shift), sensor_noise_rad, noise_torque_rms_nm and threads are used.
 *   TUNE_ENOSOL  a gain on the ladder is not stable: err names the gain, the pointing and the frequency
 *   TUNE_EINVAL  an argument out of range, a controller of another loop rate
 *   TUNE_ECANCELLED, TUNE_ENOMEM
 * On failure *out is all 0. */
TUNE_API enum tune_status
tune_design_enable(struct tune_enable_ladder *out, const struct tune_controller *controller,
                   const struct tune_plant *plants, const char *const *names, size_t n_pointings,
                   const struct tune_disturbance *disturbance, const struct tune_design_opts *opts,
                   const struct tune_watch *watch, struct tune_error *err);

/* What to tell the person who climbs it, one sentence each; returns how many. */
TUNE_API size_t tune_enable_advice(char text[TUNE_ENABLE_ADVICE][TUNE_ENABLE_TEXT],
                                   const struct tune_enable_ladder *ladder);

#endif
