/* passage.h - what went on while a sweep passed a frequency: when, how fast the axis turned, did it turn back.
 *
 * The frequency of the moment is that of the sign changes of the injected signal (of the torque where it was not
 * logged), over steps of no less than 0.05 s. Where it does not go one way through the record, as in a multisine,
 * every moment passes every frequency.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PASSAGE_H
#define TUNE_PASSAGE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/record.h"

struct tune_course_step {
    double time_s; /* its middle, from the first row */
    double f_hz;
    double speed_rad_per_s; /* mean */
    bool
        back; /* somewhere in it the axis turns against the way of the whole sweep, beyond what noise does */
};

struct tune_course {
    bool swept;                    /* the frequency goes one way */
    size_t n;                      /* 0: no signal to follow */
    struct tune_course_step *step; /* [n] */
    double
        back_rad_per_s; /* fastest against the way of the sweep, while there is a signal; 0: never */
};

/* noise_rad: std of the position's white noise per sample; step_rad: its grid; 0 where there is none.
 * TUNE_EDATA without position or torque; TUNE_ENOMEM. Release with tune_course_free(). */
TUNE_API enum tune_status tune_course_take(struct tune_course *out, const struct tune_record *rec,
                                           double noise_rad, double step_rad,
                                           struct tune_error *err);
TUNE_API void tune_course_free(struct tune_course *course);

/* Steps while the frequency lies in band_hz, with one before and two behind, in which a resonance rings on. */
struct tune_passage {
    size_t steps, back; /* of them with the axis turning back */
    double
        time_s; /* of the first turn back; else of the middle of the passage; NAN: it is never passed */
};
TUNE_API struct tune_passage tune_course_passage(const struct tune_course *course,
                                                 const double band_hz[2]);

/* Lowest and highest mean speed of its steps, no sign; 0, 0 for an empty one. */
TUNE_API void tune_course_speeds(double speed_rad_per_s[2], const struct tune_course *course);

#endif
