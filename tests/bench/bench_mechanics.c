/* bench_mechanics.c - what slow turns tell of simulated axes, against the goals: out-of-balance, friction, how
 * often the 95 % intervals hold, and whether the remedy makes anything worse. Some two minutes.
 *   bench_mechanics [SEED [AXES]]     0 and 100 unless given. Fails when a goal is missed.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "../mechanics/turned_axis.h"
#include "core/random.h"
#include "core/units.h"
#include "mechanics/remedy.h"

enum { LOGS = 2 };

/* An axis of 400 to 1600 kg m^2 with friction that sticks, 5 N m out of balance somewhere, in a closed dome:
 * wind of 0.2 to 0.5 N m rms, ripple, drive noise. */
static struct tune_axis draw(struct tune_random *rng)
{
    struct tune_axis axis = turned_axis();
    axis.plant.inertia_kg_m2 = 400.0 * pow(4.0, tune_random_uniform(rng));
    axis.plant.viscous_nm_s_per_rad = 20.0 + 60.0 * tune_random_uniform(rng);
    axis.friction.breakaway_nm = 20.0 + 6.0 * tune_random_uniform(rng);
    axis.imbalance.angle_rad = 2.0 * TUNE_PI * tune_random_uniform(rng);
    axis.offset_nm = 2.0 * tune_random_uniform(rng) - 1.0;
    axis.wind_rms_nm = 0.2 + 0.3 * tune_random_uniform(rng);
    axis.wind_corner_hz = 0.3;
    axis.drive_noise_nm_per_rthz = 0.05;
    axis.ripple_nm = 0.4;
    axis.ripple_per_turn = 264.0;
    axis.ripple_phase_rad = 6.0 * tune_random_uniform(rng);
    return axis;
}

struct tally {
    size_t axes, far, skew, friction, worse, remedies, intervals, covered;
    double pull2, angle2, coulomb2, inertia2, most_pull, most_angle, most_coulomb, left2,
        residual_std;
};

static void cover(struct tally *t, const struct tune_estimate *x, double truth)
{
    t->intervals++;
    t->covered += fabs(x->value - truth) <= 1.96 * x->std;
}

/* Two slides, at the axis angles 20 and 100 degrees; what remains in truth once they are moved as said. */
static void mend(struct tally *t, const struct tune_turn_fit *fit, const double truth[2])
{
    const struct tune_adjuster slide[] = {{490.0, 0.35, -0.2, 0.2, 0.001, 1.0},
                                          {250.0, 1.75, -0.2, 0.2, 0.001, 1.0}};
    const struct tune_measured_pull pull = {fit->value[TUNE_TURN_COSINE].value,
                                            fit->value[TUNE_TURN_SINE].value,
                                            fit->covariance[TUNE_TURN_COSINE][TUNE_TURN_COSINE],
                                            fit->covariance[TUNE_TURN_SINE][TUNE_TURN_SINE],
                                            fit->covariance[TUNE_TURN_COSINE][TUNE_TURN_SINE]};
    struct tune_remedy remedy;
    double left[2] = {truth[0], truth[1]};
    if (tune_remedy_find(&remedy, &pull, slide, 2, NULL) || !remedy.worth_it) return;
    for (size_t i = 0; i < 2; i++) {
        left[0] += remedy.amount[i] * slide[i].pull_nm_per_unit * cos(slide[i].angle_rad);
        left[1] += remedy.amount[i] * slide[i].pull_nm_per_unit * sin(slide[i].angle_rad);
    }
    t->remedies++;
    t->worse += hypot(left[0], left[1]) >= hypot(truth[0], truth[1]);
    t->left2 += left[0] * left[0] + left[1] * left[1];
}

static void judge(struct tally *t, const struct tune_turn_fit *fit, const struct tune_axis *axis)
{
    const double truth[2] = {axis->imbalance.nm * cos(axis->imbalance.angle_rad),
                             axis->imbalance.nm * sin(axis->imbalance.angle_rad)};
    const double pull = fit->imbalance_nm.value / axis->imbalance.nm - 1.0;
    const double angle = tune_deg_from_rad(
        remainder(fit->imbalance_angle_rad.value - axis->imbalance.angle_rad, 2.0 * TUNE_PI));
    const double coulomb = fit->value[TUNE_TURN_COULOMB].value / axis->friction.coulomb_nm - 1.0;
    t->axes++;
    t->far += fabs(pull) > 0.03;
    t->skew += fabs(angle) > 2.0;
    t->friction += fabs(coulomb) > 0.03;
    t->pull2 += pull * pull;
    t->angle2 += angle * angle;
    t->coulomb2 += coulomb * coulomb;
    t->inertia2 += pow(fit->value[TUNE_TURN_INERTIA].value / axis->plant.inertia_kg_m2 - 1.0, 2.0);
    t->most_pull = fmax(t->most_pull, fabs(pull));
    t->most_angle = fmax(t->most_angle, fabs(angle));
    t->most_coulomb = fmax(t->most_coulomb, fabs(coulomb));
    cover(t, &fit->value[TUNE_TURN_COULOMB], axis->friction.coulomb_nm);
    cover(t, &fit->value[TUNE_TURN_OFFSET], axis->offset_nm);
    cover(t, &fit->value[TUNE_TURN_COSINE], truth[0]);
    cover(t, &fit->value[TUNE_TURN_SINE], truth[1]);
    mend(t, fit, truth);
}

/* 120 to 340 degrees at 1 deg/s, and at 4 deg/s; the less of a turn, the more often. */
static enum tune_status one_axis(struct tally *t, uint64_t seed)
{
    const struct tune_turn_opts opts = tune_turn_defaults();
    struct tune_axis_trace trace[LOGS] = {{0}};
    struct tune_turn_log log[LOGS];
    struct tune_turn_fit fit;
    struct tune_random rng;
    enum tune_status status = TUNE_OK;
    tune_random_init(&rng, seed, 0);
    const struct tune_axis axis = draw(&rng);
    const double way = 120.0 + 220.0 * tune_random_uniform(&rng);
    const double centre = 2.0 * tune_random_uniform(&rng) - 1.0;
    const size_t passes = way < 150.0 ? 6 : way < 180.0 ? 4 : 2;
    const struct tune_simulated_motion turn[LOGS] = {turn_of(way, 1.0, passes),
                                                     turn_of(way, 4.0, passes)};
    for (size_t i = 0; i < LOGS && !status; i++) {
        status = turned(&trace[i], &axis, &turn[i], centre, 2 * seed + i);
        log[i] = turned_log(&trace[i]);
    }
    if (!status) status = tune_turn_estimate(&fit, log, LOGS, &opts, NULL);
    if (!status) judge(t, &fit, &axis);
    for (size_t i = 0; i < LOGS; i++)
        tune_axis_trace_free(&trace[i]);
    return status;
}

static int row(const char *what, const char *goal, bool met, const char *format, double a, double b)
{
    printf("%-58s %-14s ", what, goal);
    printf(format, a, b);
    printf("  %s\n", met ? "met" : "MISSED");
    return met ? 0 : 1;
}

static int tell(const struct tally *t)
{
    const double n = (double)t->axes;
    const double covered = (double)t->covered / (double)t->intervals;
    int missed = 0;
    printf("%zu simulated axes, 5 N m out of balance on 20 N m of friction\n", t->axes);
    missed += row("out-of-balance: rms, largest error", "3 %", t->far == 0, "%.2f, %.2f %%",
                  100.0 * sqrt(t->pull2 / n), 100.0 * t->most_pull);
    missed += row("its angle: rms, largest error", "2 deg", t->skew == 0, "%.2f, %.2f deg",
                  sqrt(t->angle2 / n), t->most_angle);
    missed += row("Coulomb friction: rms, largest error", "3 %", t->friction == 0, "%.2f, %.2f %%",
                  100.0 * sqrt(t->coulomb2 / n), 100.0 * t->most_coulomb);
    missed += row("95 % intervals that hold (of so many)", "92 to 98 %",
                  covered >= 0.92 && covered <= 0.98, "%.1f %% (%.0f)", 100.0 * covered,
                  (double)t->intervals);
    missed += row("remedies that make it worse (of so many)", "0", t->worse == 0, "%.0f (%.0f)",
                  (double)t->worse, (double)t->remedies);
    printf("%-58s %-14s %.2f %%\n", "inertia: rms error", "", 100.0 * sqrt(t->inertia2 / n));
    printf("%-58s %-14s %.3f N m\n", "what the remedies leave, rms", "",
           sqrt(t->left2 / (double)t->remedies));
    return missed;
}

int main(int argc, char **argv)
{
    const uint64_t seed = argc > 1 ? strtoull(argv[1], NULL, 10) : 0;
    const size_t axes = argc > 2 ? strtoul(argv[2], NULL, 10) : 100;
    struct tally tally = {0};
    for (size_t i = 0; i < axes; i++)
        if (one_axis(&tally, 1000 * seed + i)) {
            printf("axis %zu could not be judged\n", i);
            return 1;
        }
    return tell(&tally) > 0;
}
