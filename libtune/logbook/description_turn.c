/* description_turn.c - the course of a slow turn: trapezoids of speed, up and down.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "logbook/description.h"

static const double rest_s =
    1.0; /* at each end: a drive that reverses on the spot is another test */

/* One way: it takes v/a to full speed, where there is room for it. */
struct pass {
    double acceleration, speed, ramp_s, seconds;
};

static struct pass one_way(const struct tune_simulated_motion *turn)
{
    const double a = turn->acceleration_rad_per_s2, way = turn->way_rad;
    struct pass pass = {.acceleration = a, .speed = fmin(turn->speed_rad_per_s, sqrt(way * a))};
    pass.ramp_s = pass.speed / a;
    pass.seconds = way / pass.speed + pass.ramp_s;
    return pass;
}

double tune_turn_seconds(const struct tune_simulated_motion *turn)
{
    return rest_s + 2.0 * (double)turn->passes * (one_way(turn).seconds + rest_s);
}

/* Angle gone after time_s of one way. */
static double gone(const struct pass *pass, double way, double time_s)
{
    const double t = fmin(time_s, pass->seconds), left = pass->seconds - t;
    if (t < pass->ramp_s) return 0.5 * pass->acceleration * t * t;
    if (left < pass->ramp_s) return way - 0.5 * pass->acceleration * left * left;
    return pass->speed * (t - 0.5 * pass->ramp_s);
}

double tune_turn_target(const struct tune_simulated_motion *turn, double time_s)
{
    const struct pass pass = one_way(turn);
    const double period = pass.seconds + rest_s, since = fmax(0.0, time_s - rest_s);
    const double number = fmin(floor(since / period), 2.0 * (double)turn->passes - 1.0);
    const double way = gone(&pass, turn->way_rad, since - number * period);
    return fmod(number, 2.0) == 0.0 ? way - 0.5 * turn->way_rad : 0.5 * turn->way_rad - way;
}
