/* precheck_signs.c - does positive torque turn the axis, and its logged angle, the positive way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/precheck_internal.h"

static const char *const wrong_sign =
    "A loop with a wrong sign drives the axis into its stop. Correct the sign, in the drive or as "
    "position_sign or torque_sign, and repeat this check, before a loop is closed.";

static void sign_result(struct tune_check *check, double sign)
{
    check->measured = (struct tune_estimate){sign, 0.0};
    check->answer = sign > 0.0 ? TUNE_CHECK_AGREES : TUNE_CHECK_DISAGREES;
    if (sign < 0.0) precheck_advise(check, "%s", wrong_sign);
}

static void contradiction(struct tune_check *check)
{
    check->answer = TUNE_CHECK_DISAGREES;
    precheck_text(check,
                  "The signs of moves, weights and pulses contradict one another: an entry of "
                  "the logbook (known_angle_deg, load_arm_m) or a sign is wrong.");
    precheck_advise(check,
                    "Look again which way is positive, for each log; do not close a loop before "
                    "that is clear.");
}

/* What moves, weights and pulses say: 1, -1, or 0 where they say nothing. */
struct signs {
    double moved, weight, gain;
};

/* The check, answered already where the signs contradict one another. */
static struct tune_check *add_sign(struct precheck_work *work, const char *name,
                                   struct signs *signs)
{
    struct tune_check *check = precheck_add(work, name, "");
    *signs = (struct signs){precheck_sign(&work->angle), precheck_sign(&work->ratio),
                            precheck_sign(&work->gain)};
    check->stated = 1.0;
    if (work->contradict) contradiction(check);
    return check;
}

void precheck_encoder_sign(struct precheck_work *work)
{
    struct signs s;
    struct tune_check *check = add_sign(work, "encoder-sign", &s);
    if (work->contradict) return;
    if (s.moved != 0.0) {
        precheck_text(check,
                      "The logged angle %s when the axis turns to the positive side as the "
                      "other instrument sees it.",
                      s.moved > 0.0 ? "rises" : "falls");
        sign_result(check, s.moved);
    } else if (s.gain * s.weight != 0.0) {
        precheck_text(check,
                      "From the weight and the pulses: torque that turns the axis to the positive "
                      "side makes the logged angle %s.",
                      s.gain * s.weight > 0.0 ? "rise" : "fall");
        sign_result(check, s.gain * s.weight);
    } else {
        precheck_missing(check, work, TUNE_LOG_MOVE,
                         "a move of known size and direction (known_angle_deg)");
    }
}

void precheck_torque_sign(struct precheck_work *work)
{
    struct signs s;
    struct tune_check *check = add_sign(work, "torque-sign", &s);
    if (work->contradict) return;
    if (s.weight != 0.0) {
        precheck_text(check,
                      "Where the weight pulls to the positive side the drive holds with %s torque.",
                      s.weight > 0.0 ? "negative" : "positive");
        sign_result(check, s.weight);
    } else if (s.gain * s.moved != 0.0) {
        precheck_text(check,
                      "Positive torque makes the logged angle %s, and the angle's own sign is %s.",
                      s.gain > 0.0 ? "rise" : "fall", s.moved > 0.0 ? "right" : "wrong");
        sign_result(check, s.gain * s.moved);
    } else if (s.gain != 0.0) {
        precheck_text(check, "Positive torque makes the logged angle %s.%s",
                      s.gain > 0.0 ? "rise" : "fall",
                      s.gain > 0.0 ? " Whether both are turned round together is not tested."
                                   : " Torque or angle is turned round; a move of known direction "
                                     "tells which.");
        sign_result(check, s.gain);
    } else {
        precheck_missing(check, work, TUNE_LOG_PULSE, "small torque pulses both ways");
    }
}
