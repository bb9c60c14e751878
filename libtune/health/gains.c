/* gains.c - are the stated gains those that made the torque?
 *
 * With position, target and torque logged the controller can be read back (docs/formats.md):
 *     torque - excitation = a (proportional and integral part) + b (derivative part),
 * each part as the stated gains make it of target - position, with the stated filters. Both factors come from
 * the differences of neighbouring rows, by least squares; 1 and 1 where the gains are those stated. The two
 * parts rule the low and the high end of the loop's band. Where anything else is in the torque (a filter not
 * stated, a current loop, a feed-forward, a limit) the parts do not make it, and nothing is said.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "health/findings_internal.h"

enum { GAIN_ROWS = 32768, GAIN_LEAD = 4096, GAIN_ROWS_LEAST = 2048 };

/* Off 1 by more than `off`, and by so many std; what the parts leave, in power, must be below `left`, or
 * something else is in the torque. Common practice, no source. */
static const double off_least = 0.1, sigmas = 8.0, left_most = 0.01;

struct parts {
    double aa, ab, bb, au, bu, uu;
    size_t rows;
};

/* Silent where the torque is not that of a linear controller, or the rows are not those it ran in. */
static bool can_tell(const struct health_case *c)
{
    static const char *const spoils[] = {"torque-saturated", "stuck-channel",   "dead-channel",
                                         "channel-copied",   "torque-measured", "samples-missing",
                                         "encoder-glitch",   "scale-differs"};
    const struct tune_record *rec = c->rec;
    if (!health_knows_gains(c) || c->law_speaks || !rec->channel[TUNE_ROLE_TORQUE] ||
        !rec->channel[TUNE_ROLE_TARGET] || rec->n < GAIN_ROWS_LEAST + GAIN_LEAD ||
        c->opts->controller->position_divider > 1)
        return false;
    if (rec->delay_samples[TUNE_ROLE_TORQUE] > 0.0 || rec->delay_samples[TUNE_ROLE_POSITION] > 0.0)
        return false;
    for (size_t i = 0; i < c->out->n_findings; i++)
        for (size_t k = 0; k < sizeof spoils / sizeof *spoils; k++)
            if (!strcmp(c->out->finding[i].name, spoils[k])) return false;
    return true;
}

static void add_up(struct parts *s, const struct health_case *c)
{
    const struct tune_record *rec = c->rec;
    const double *x = rec->channel[TUNE_ROLE_POSITION], *target = rec->channel[TUNE_ROLE_TARGET];
    const double *u = rec->channel[TUNE_ROLE_TORQUE], *d = rec->channel[TUNE_ROLE_EXCITATION];
    struct tune_controller slow = *c->opts->controller, fast = *c->opts->controller;
    struct tune_controller_state state[2];
    double before[3] = {0.0, 0.0, 0.0};
    const size_t middle = (c->active[0] + c->active[1]) / 2;
    size_t start = middle > GAIN_ROWS / 2 + GAIN_LEAD ? middle - GAIN_ROWS / 2 - GAIN_LEAD : 0;
    if (start + GAIN_ROWS + GAIN_LEAD > rec->n)
        start = rec->n > GAIN_ROWS + GAIN_LEAD ? rec->n - GAIN_ROWS - GAIN_LEAD : 0;
    slow.kd_nm_s_per_rad = 0.0;
    fast.kp_nm_per_rad = fast.ki_nm_per_rad_s = 0.0;
    tune_controller_start(&state[0], &slow);
    tune_controller_start(&state[1], &fast);
    for (size_t k = start; k < rec->n && k < start + GAIN_ROWS + GAIN_LEAD; k++) {
        const double error = target[k] - x[k];
        const double now[] = {tune_controller_step(&state[0], error),
                              tune_controller_step(&state[1], error), u[k] - (d ? d[k] : 0.0)};
        const double a = now[0] - before[0], b = now[1] - before[1], y = now[2] - before[2];
        memcpy(before, now, sizeof before);
        if (k < start + GAIN_LEAD) continue;
        s->aa += a * a;
        s->ab += a * b;
        s->bb += b * b;
        s->au += a * y;
        s->bu += b * y;
        s->uu += y * y;
        s->rows++;
    }
}

/* "0.5 times kp and ki" and the like, of what is off. */
static void tell(struct health_case *c, const struct tune_estimate *low,
                 const struct tune_estimate *high, bool low_off, bool high_off)
{
    char text[96] = "";
    if (low_off) (void)snprintf(text, sizeof text, "%.3g times kp and ki", low->value);
    if (high_off) {
        const size_t used = strlen(text);
        (void)snprintf(text + used, sizeof text - used, "%s%.3g times kd", used ? ", " : "",
                       high->value);
    }
    health_add(c, "gains-differ", TUNE_WITH_CARE, 0, low_off ? low->value : high->value,
               "state the gains that were active: in the controller file of the log, else in "
               "[controller]; what is foretold of this loop rests on them",
               "the gains are not those stated: torque, target and position of this log are those "
               "of %s as stated",
               text);
}

enum tune_status health_check_gains(struct health_case *c, struct tune_error *err)
{
    struct parts s = {0};
    (void)err;
    if (!can_tell(c)) return TUNE_OK;
    add_up(&s, c);
    const double det = s.aa * s.bb - s.ab * s.ab;
    if (s.rows < GAIN_ROWS_LEAST || !(det > 1e-9 * s.aa * s.bb) || !(s.uu > 0.0)) return TUNE_OK;
    const double a = (s.au * s.bb - s.bu * s.ab) / det, b = (s.bu * s.aa - s.au * s.ab) / det;
    const double left = fmax(s.uu - a * s.au - b * s.bu, 0.0), var = left / (double)s.rows;
    const struct tune_estimate low = {a, sqrt(var * s.bb / det)},
                               high = {b, sqrt(var * s.aa / det)};
    if (left > left_most * s.uu || !(a > 0.0) || !(b > 0.0)) return TUNE_OK;
    const bool low_off = fabs(a - 1.0) > off_least + sigmas * low.std,
               high_off = fabs(b - 1.0) > off_least + sigmas * high.std;
    if (low_off || high_off) tell(c, &low, &high, low_off, high_off);
    return TUNE_OK;
}
