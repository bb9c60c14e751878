/* prediction.h - jitter under given gains, from a disturbance and a plant. Linear: no friction.
 *
 * Four numbers, never mixed:
 *     true      what the axis does       integral |G_d S|^2 S_tau + |T|^2 S_n
 *     measured  what the encoder log shows  integral |S|^2 S_v
 *     sky       what the payload does    integral |H_w|^2 S_w + |H_d|^2 S_d + |H_n|^2 S_n
 *     torque    what the drive shows      integral |C S|^2 S_v
 *         H_w = G_LL - G_Lm R G_mL,  H_d = G_Ld - G_Lm R G_md,  H_n = -G_Lm R,  R = C S
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PREDICTION_H
#define TUNE_PREDICTION_H

#include <complex.h>
#include <stddef.h>

#include "control/controller.h"
#include "core/estimate.h"
#include "core/status.h"
#include "jitter/disturbance.h"
#include "plant/model.h"

enum { TUNE_SOURCES = 3 };

struct tune_source {
    const char *name; /* "wind", "drive torque", "sensor noise", bands with them: static text */
    double rms_rad;   /* in quadrature they make the true rms */
};

/* Plain data. Cumulative curves rise with frequency: rms of everything below f. Every rms is of what
 * is left after a straight line is removed over duration_s; the curves of power are without that.
 * std is that of the estimate of the spectrum; NAN where the disturbance is stated, not measured. It
 * knows no errors of the plant and no change of weather. */
struct tune_jitter {
    struct tune_estimate true_rms_rad, measured_rms_rad;
    double interval95_rad[2];     /* of a log's measured rms: std and the log's own scatter */
    double sky_rms_rad;           /* NAN where no payload ratio is known or assumed */
    double unseen_windup_rms_rad; /* part of sky: quasi-static twist that no controller of the
                                     encoder can remove; NAN likewise */
    double torque_rms_nm,
        noise_torque_rms_nm; /* the controller's torque about its straight line, and
                                     the share of sensor noise in it; with a measured disturbance up
                                     to half the rate of its log only */
    struct tune_source source[TUNE_SOURCES];
    size_t n; /* points of the curves, logarithmic in frequency */
    double *f_hz;
    double *measured_psd, *true_psd;               /* [n] rad^2/Hz */
    double *measured_cumulative, *true_cumulative; /* [n] rad rms */
};

/* What disturbs an axis at one pointing before any controller does something about it: the same for all gains
 * judged there. Plain data, read only once made; release with tune_jitter_open_free(). */
struct tune_jitter_open {
    size_t n;
    double *f_hz, *width_hz;
    double *torque; /* rad^2/Hz at the encoder, open loop; below 0 where the log holds only noise */
    double *wind_share;    /* of it, by the smooth model, 0..1 */
    double complex *plant; /* motor to encoder, rad per N m */
};

/* tune_jitter_predict() in two steps, for several controllers at one pointing: the same numbers. Statuses as
 * there; disturbance and plant are those the open loop was made with. */
TUNE_API enum tune_status tune_jitter_open(struct tune_jitter_open *out,
                                           const struct tune_disturbance *disturbance,
                                           const struct tune_plant *quiet,
                                           const struct tune_plant *plant, struct tune_error *err);
TUNE_API enum tune_status tune_jitter_close(struct tune_jitter *out,
                                            const struct tune_jitter_open *open,
                                            const struct tune_disturbance *disturbance,
                                            const struct tune_plant *plant,
                                            const struct tune_controller *controller,
                                            double duration_s, struct tune_error *err);
TUNE_API void tune_jitter_open_free(struct tune_jitter_open *open);

/* `quiet` is the plant at the pointing of the quiet log, `plant` the one predicted for; the disturbance
 * torques are taken to be the same at both: where the plants are the same the log's spectrum is used
 * bin by bin, otherwise what it shows over that of the smooth model, averaged over narrow bands, is
 * carried along with wind through G_mL and drive torque through G_d. duration_s: length of the log
 * to be foretold (its straight line is removed; 0: as long as the quiet log).
 *   TUNE_EINVAL  loop rates differ, a duration below 0
 *   TUNE_ENOSOL  the loop of plant and controller is not stable: there is no jitter to predict */
TUNE_API enum tune_status tune_jitter_predict(struct tune_jitter *out,
                                              const struct tune_disturbance *disturbance,
                                              const struct tune_plant *quiet,
                                              const struct tune_plant *plant,
                                              const struct tune_controller *controller,
                                              double duration_s, struct tune_error *err);

TUNE_API void tune_jitter_free(struct tune_jitter *jitter);

#endif
