/* findings_internal.h - what each look at a log adds to its health.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_FINDINGS_INTERNAL_H
#define TUNE_FINDINGS_INTERNAL_H

#include "health/health.h"

#include "plant/frf.h"

enum { HEALTH_GLITCHES_KEPT = 64 };

struct health_case {
    struct tune_health *out;
    const struct tune_record *rec;
    const struct tune_health_opts *opts;
    double step_rad;     /* grid of the positions; 0: none seen */
    bool between_counts; /* the positions do not lie on the declared grid */
    double noise_rad; /* white noise on the position, std per sample, from its second differences */
    bool repaired;    /* rows were filled in or left out */
    /* rows from the first to behind the last excited one; all where none is logged */
    size_t active[2];
    size_t n_glitches;
    size_t glitch[HEALTH_GLITCHES_KEPT]; /* their rows, from 0, as far as there is room */
    size_t stuck[2];                     /* rows in which the position stands still; none: equal */
    bool law_holds;                      /* the stated gains make the torque of this very row */
    bool law_speaks; /* they tell of a skew or a sign, which need not be told again */
};

/* Add a finding; row counts from 1, 0: the whole log. Text and advice are formatted. The verdict becomes
 * the worst severity. Beyond TUNE_FINDINGS_MAX the least severe are dropped, of these the last. Returns the
 * finding, NULL where it was dropped. */
struct tune_finding *health_add(struct health_case *c, const char *name, enum tune_verdict severity,
                                size_t row, double value, const char *advice, const char *format,
                                ...) TUNE_PRINTF(7, 8);

/* x[k] - (x[k-1] + x[k+1])/2, for 0 < k < n - 1: smooth motion nearly vanishes in it. */
static inline double health_bend(const double *x, size_t k)
{
    return x[k] - 0.5 * (x[k - 1] + x[k + 1]);
}

/* The middle value of x[n], n >= 1; sorts x. */
double health_median(double *x, size_t n);

/* stamps.c */
enum tune_status health_check_stamps(struct health_case *c, struct tune_error *err);

/* names.c */
enum tune_status health_check_names(struct health_case *c, struct tune_error *err);
/* channels.c */
enum tune_status health_check_channels(struct health_case *c, struct tune_error *err);
/* frames.c */
enum tune_status health_check_frames(struct health_case *c, struct tune_error *err);
/* gains.c: after the law and the current, which it falls silent for */
enum tune_status health_check_gains(struct health_case *c, struct tune_error *err);
/* copies.c */
enum tune_status health_check_copies(struct health_case *c, struct tune_error *err);
enum tune_status health_check_excitation(struct health_case *c, struct tune_error *err);
/* saturation.c */
enum tune_status health_check_torque(struct health_case *c, struct tune_error *err);
/* stuck.c: before the glitches, which its ends look like */
enum tune_status health_check_stuck(struct health_case *c, struct tune_error *err);

/* encoder.c: measure first, it fills step_rad and noise_rad. */
enum tune_status health_measure_encoder(struct health_case *c, struct tune_error *err);
enum tune_status health_check_glitches(struct health_case *c, struct tune_error *err);
/* steps.c */
enum tune_status health_measure_step(struct health_case *c, struct tune_error *err);
enum tune_status health_check_quantisation(struct health_case *c, struct tune_error *err);
/* noise.c */
enum tune_status health_check_noise(struct health_case *c, struct tune_error *err);
/* interpolation.c */
enum tune_status health_check_interpolation(struct health_case *c, struct tune_error *err);
/* course.c */
enum tune_status health_check_course(struct health_case *c, struct tune_error *err);
/* law.c */
/* The gains are stated, and the log has every row the controller ran in. */
bool health_knows_gains(const struct health_case *c);
enum tune_status health_check_law(struct health_case *c, struct tune_error *err);
/* response.c */
enum tune_status health_check_response(struct health_case *c, struct tune_error *err);
/* current.c */
enum tune_status health_check_current(struct health_case *c, struct tune_error *err);
/* friction.c */
enum tune_status health_check_friction(struct health_case *c, struct tune_error *err);
/* reversal.c */
enum tune_status health_check_reversal(struct health_case *c, struct tune_error *err);

#endif
