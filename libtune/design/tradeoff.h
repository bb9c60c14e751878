/* tradeoff.h - three proposals from calm to bold, and the curve between them.
 *
 *     bold    least J_c at the largest peak sensitivity on offer
 *     calm    least noise torque at the smallest one, the jitter asked for kept with headroom and J_c at
 *             most a quarter above the bold one's
 *     middle  least noise torque at the middle one, jitter at the geometric mean of the other two
 * Jitter is held against its limit in the worst of all scenarios. A jitter nobody can keep is said so,
 * with what stands in the way and the smallest change of that limit that would do.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TRADEOFF_H
#define TUNE_TRADEOFF_H

#include <stdbool.h>
#include <stddef.h>

#include "design/design.h"

enum tune_proposed { TUNE_PROPOSED_CALM, TUNE_PROPOSED_MIDDLE, TUNE_PROPOSED_BOLD, TUNE_PROPOSED };

enum { TUNE_CURVE_MAX = 9, TUNE_IN_THE_WAY = 640 };

struct tune_tradeoff_demand {
    double jitter_limit_rad; /* rms; 0: none stated */
    bool of_sky;             /* J_c; else true encoder jitter by the smooth disturbance model */
    double headroom;         /* >= 1: the calm proposal foretells at most limit/headroom, so that a
                                night with that many times the disturbance still keeps the limit;
                                default 2 (common practice, no source) */
    double peak_offer[TUNE_PROPOSED]; /* on max |S|, calm to bold, not falling; 1.5, 1.7, 2.0 */
    double peak_stated;               /* a requirement that caps them; 0: none */
};

struct tune_tradeoff_point {
    const char *name; /* "calm", "middle", "bold", or "" between them; static */
    struct tune_design_step step;
    double peak_sensitivity, encoder_limit_rad, sky_limit_rad; /* what it was made under; 0: none */
};

/* One limit moved alone, every other kept. */
struct tune_relaxation {
    bool any;    /* false: no single limit was found to be in the way */
    bool enough; /* the jitter asked for is kept then */
    char limit[64];
    double from, to;   /* in the unit of the option: ratio, rad, Hz or N m */
    double jitter_rad; /* what the asked-for jitter would be */
};

struct tune_tradeoff {
    size_t
        n; /* points, by rising noise torque (objective_nm); jitter (J_c in the worst scenario; the
                 encoder's with encoder_objective) falls along them */
    struct tune_tradeoff_point point[TUNE_CURVE_MAX];
    size_t proposal[TUNE_PROPOSED]; /* which point; the same one where nothing lies between */
    struct tune_design bold,
        calm; /* what each biquad buys, under the limits of either proposal; the
                                       bold one's without the jitter limit */
    struct tune_design_cover cover;
    bool met;        /* the jitter asked for is kept by all three; true where none is asked */
    double headroom; /* of the calm proposal: limit over its jitter; INFINITY where none is asked */
    double least_rad; /* the least asked-for jitter found, worst scenario; 0 where met */
    struct tune_relaxation relaxation;
    char in_the_way[TUNE_IN_THE_WAY]; /* where not met: a sentence; else empty */
};

TUNE_API struct tune_tradeoff_demand tune_tradeoff_defaults(void);

/* opts: as for tune_design_controller; its goal, jitter limits and peak_sensitivity are not looked at.
 * sensor_noise_rad must be above 0. Progress goes to watch.
 *   TUNE_ENOSOL  nothing feasible even without a jitter to keep: err as of tune_design_controller
 *   TUNE_EINVAL  an option, demand, plant or disturbance outside its range
 *   TUNE_ECANCELLED, TUNE_ENOMEM */
TUNE_API enum tune_status
tune_design_tradeoff(struct tune_tradeoff *out, const struct tune_plant *plants,
                     const char *const *names, size_t n_pointings,
                     const struct tune_disturbance *disturbance,
                     const struct tune_design_opts *opts, const struct tune_tradeoff_demand *demand,
                     const struct tune_watch *watch, struct tune_error *err);

#endif
