/* precheck_signs.c - does positive torque turn the axis, and its logged angle, the positive way.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/precheck_internal.h"
#include "core/units.h"

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

/* ---- torque --------------------------------------------------------------------------------------*/

/* The place of the pulses, over all logs, whose torque turns the axis against most of the others; where they
 * are as many, one where it turns the logged angle back. False: they are of one mind. */
static bool find_reversed(double *at_deg, const struct precheck_work *work)
{
    size_t count[2] = {0};
    double angle[2] = {0.0};
    for (size_t i = 0; i < work->n; i++) {
        const struct first_log *log = &work->log[i];
        if (log->entry->kind != TUNE_LOG_PULSE || !log->usable) continue;
        for (size_t k = 0; k < log->pulse.n_places; k++) {
            const double sign = precheck_sign(&log->pulse.place[k].gain);
            const size_t which = sign > 0.0;
            if (sign == 0.0) continue;
            if (count[which]++ == 0) angle[which] = log->pulse.place[k].angle_rad;
        }
    }
    *at_deg = tune_deg_from_rad(angle[count[1] < count[0]]);
    return count[0] > 0 && count[1] > 0;
}

static void reversed(struct tune_check *check, double at_deg)
{
    check->answer = TUNE_CHECK_DISAGREES;
    precheck_text(
        check,
        "At %.4g deg positive torque turns the axis the other way than at other places: a "
        "loop drives it into its stop there.",
        at_deg);
    precheck_advise(check,
                    "Wrong pole pairs, a wrong commutation angle or a slipping encoder do that. Do "
                    "not close a loop before it is found.");
}

static void from_pulses(struct tune_check *check, double gain)
{
    precheck_text(
        check, "Positive torque makes the logged angle %s%s", gain > 0.0 ? "rise" : "fall",
        gain > 0.0 ? ": a loop has the right sign; whether both are turned round together is not "
                     "tested."
                   : ". Torque or angle is turned round; a move of known direction tells which.");
    if (gain < 0.0)
        sign_result(check, gain);
    else
        precheck_advise(check,
                        "To test it, log a move of known direction (kind = move, known_angle_deg) "
                        "or a known weight (kind = load).");
}

void precheck_torque_sign(struct precheck_work *work)
{
    struct signs s;
    struct tune_check *check = add_sign(work, "torque-sign", &s);
    double at_deg;
    if (find_reversed(&at_deg, work)) {
        reversed(check, at_deg);
        return;
    }
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
        from_pulses(check, s.gain);
    } else {
        precheck_missing(check, work, TUNE_LOG_PULSE, "small torque pulses both ways");
    }
}
