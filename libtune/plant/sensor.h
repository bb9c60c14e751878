/* sensor.h - a second sensor on the same axis: what each mode does to the payload.
 *
 * The torque that moves the encoder moves the payload through the same poles:
 *     H(s) = F(s)/J [ 1/(s^2 + (B/J) s) + sum_k r_k (g_k + q_k s/w_k)/(s^2 + 2 zeta_k w_k s + w_k^2) ],
 * r_k the payload/encoder ratio of the mode, 1 for the rigid body; F(s) = a for an angle, a s^2 + c for
 * an accelerometer at the arm a, where c is what gravity adds as the axis tilts. The ratios, the lateness
 * of the sensor, a and c are estimated together with the parameters of the plant, about which the fit of
 * the encoder is the prior knowledge: to first order, that is the joint fit of both sensors.
 * What disturbs the axis moves both sensors. The likelihood is that of the sensor given what the encoder
 * read on the same line, so that common motion is no noise (docs/theory.md).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_SENSOR_H
#define TUNE_SENSOR_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/fit.h"
#include "plant/frf.h"

/* Where the payload ratios of a plant come from. */
enum tune_payload_source {
    TUNE_PAYLOAD_UNKNOWN,
    TUNE_PAYLOAD_LOAD_ENCODER, /* TUNE_ROLE_LOAD_POSITION */
    TUNE_PAYLOAD_ACCELEROMETER,
    TUNE_PAYLOAD_SKY,
    TUNE_PAYLOAD_STATED, /* by the logbook */
    TUNE_PAYLOAD_ASSUMED
};

/* "load encoder", "accelerometer", "sky", "stated", "assumed"; "unknown" */
TUNE_API const char *tune_payload_source_name(enum tune_payload_source source);

struct tune_sensor_opts {
    enum tune_payload_source kind; /* one of the three sensors */
    double scale; /* reading per angle: 1 of an angle; the arm in m of an accelerometer, with the
                           sign of its axis; not 0 */
    double scale_std;  /* std of it, same unit; 0: exact */
    double tilt_std;   /* accelerometer: std of c, m/s^2 per rad; 9.81 where it may feel gravity */
    double hold_s;     /* each reading stands for so long in the log; 0: no longer than a row */
    double exposure_s; /* each reading is the mean over so long; 0: an instant */
    double highest_hz; /* lines above are left out; 0: none are, but for those past 0.4/hold_s */
};

/* 1, exact, of an angle; 2 % of an arm or of an image scale (common practice, no source). */
TUNE_API struct tune_sensor_opts tune_sensor_defaults(enum tune_payload_source kind, double scale);

/* Plain data except covariance, [n x n] with n = fit's n_params + n_modes: theta, then the ratios, all as
 * they come out of both sensors. */
struct tune_sensor {
    enum tune_payload_source kind;
    size_t n_modes; /* of the fit, in its order */
    /* NAN: the sensor does not see the mode, std above both 0.5 and a third of the value */
    struct tune_estimate ratio[TUNE_MODES_MAX];
    /* sum g_k r_k over every mode: -1 where no torque acts on the payload but through the modes seen; NAN
     * where one has no ratio */
    struct tune_estimate gain_sum;
    struct tune_estimate late_s; /* behind the encoder, beyond the delays stated */
    struct tune_estimate scale;  /* as opts */
    struct tune_estimate tilt;   /* c; 0 of an angle */
    double
        reduced_chi_square; /* of the sensor alone, against noise known from the regression; where it
                                    is above 1 and residuals of neighbouring lines go together, stds
                                    are larger by as much */
    bool
        doubtful; /* set by who judges it: ratios may be off by more than the regression knows, and stds
                      were widened for that */
    size_t lines;      /* of the sensor that were used, */
    double band_hz[2]; /* from here to here */
    size_t n;
    double *covariance;
};

/* encoder: the lines the fit was made from. sensor: those of the second output of the same records (see
 * tune_frf_opts). Lines are paired where frequency and torque (1 %) agree; a line without its pair counts by
 * itself.
 *   TUNE_EINVAL  a kind that is no sensor, scale 0 or not finite
 *   TUNE_EDATA   a plant without modes; too few lines
 *   TUNE_ENOSOL  no convergence
 *   TUNE_ENOMEM */
TUNE_API enum tune_status tune_sensor_estimate(struct tune_sensor *out, const struct tune_fit *fit,
                                               const struct tune_lines *encoder,
                                               const struct tune_lines *sensor,
                                               const struct tune_sensor_opts *opts,
                                               struct tune_error *err);

/* The same with a scale that is not known, sign included: where the axis moves like a rigid body, over the
 * lowest octave, the sensor itself tells it. out->scale over opts->scale is then 1, -1 where a sign is wrong,
 * 9.8 where a unit is. TUNE_ENOSOL also where that octave tells nothing. */
TUNE_API enum tune_status
tune_sensor_estimate_free(struct tune_sensor *out, const struct tune_fit *fit,
                          const struct tune_lines *encoder, const struct tune_lines *sensor,
                          const struct tune_sensor_opts *opts, struct tune_error *err);

TUNE_API void tune_sensor_free(struct tune_sensor *sensor);

/* For how many rows each reading stands in x[n] (sample and hold): the commonest run of equal values,
 * where runs of 3 rows and more make up 90 % of the rows; else 1. */
TUNE_API size_t tune_sensor_hold_rows(const double *x, size_t n);

#endif
