/* model.h - the axis as a rigid body, flexible modes and a delay, driven through a hold.
 *
 *     G(s) = 1/J [ 1/(s^2 + (B/J) s)
 *                  + sum_k rho_k (g_k + q_k s/w_k) / (s^2 + 2 zeta_k w_k s + w_k^2) ]
 * g + j q is the residue as seen at the resonance, s = j w: real (q = 0) where the damping is spread as
 * stiffness and inertia are, complex where it sits in a few places.
 * rho = 1 from motor to encoder, r_k between motor side and payload, r_k^2 payload to payload, where
 * r_k is the payload/encoder mode-shape ratio. Responses are those of the sampled system, exact:
 * torque held for one loop period, starting delay_s after the sample it was computed from. Checked
 * against matrix exponentials to 1e-12 for zeta < 0.9; digits are lost as a mode nears critical damping.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MODEL_H
#define TUNE_MODEL_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

enum { TUNE_MODES_MAX = 24 };

struct tune_mode {
    double f_hz; /* undamped natural frequency, > 0 */
    double zeta; /* damping ratio, 0 < zeta < 1 */
    double gain; /* g: modal gain times inertia; negative where encoder and motor move apart */
    double payload_ratio;   /* r; NAN: not known */
    double gain_quadrature; /* q; 0: a real residue */
};

/* Plain data, copied freely. */
struct tune_plant {
    double inertia_kg_m2;                  /* J > 0 */
    double viscous_nm_s_per_rad;           /* B >= 0 */
    double delay_s;                        /* >= 0, excludes the hold */
    double loop_rate_hz;                   /* hold period = 1/loop_rate_hz */
    bool complex_residues;                 /* the q of the modes are parameters, too */
    size_t n_modes;                        /* <= TUNE_MODES_MAX */
    struct tune_mode mode[TUNE_MODES_MAX]; /* rising frequency */
};

/* From what torque to which angle. Motor torque passes the delay; payload torque and drive torque
 * disturbance are held for one period from the sample, without delay. */
enum tune_path {
    TUNE_PATH_MOTOR_ENCODER,   /* control command -> encoder: the plant G of the loop */
    TUNE_PATH_MOTOR_PAYLOAD,   /* control command -> line of sight */
    TUNE_PATH_DRIVE_ENCODER,   /* torque disturbance at the motor -> encoder */
    TUNE_PATH_DRIVE_PAYLOAD,   /* torque disturbance at the motor -> line of sight */
    TUNE_PATH_PAYLOAD_ENCODER, /* wind torque on the payload -> encoder */
    TUNE_PATH_PAYLOAD_PAYLOAD  /* wind torque on the payload -> line of sight */
};

/* g[n] in rad per N m at f_hz[n], each 0 < f. A payload_ratio that is NAN counts as 1. */
TUNE_API void tune_plant_eval(double complex *g, const struct tune_plant *plant,
                              enum tune_path path, const double *f_hz, size_t n);

/* The continuous-time rational part alone, no hold, no delay, motor to encoder, at one frequency. */
TUNE_API double complex tune_plant_continuous(const struct tune_plant *plant, double f_hz);

/* ---- the parameter vector of the fit ----------------------------------------------------------
 * theta = [ ln(1/J), ln(B/J), delay in loop periods, then ln f, ln zeta, g of each mode, then, where
 * residues are complex, q of each mode ]. */

enum { TUNE_PARAMS_MAX = 3 + 4 * TUNE_MODES_MAX };

TUNE_API size_t
tune_plant_param_count(const struct tune_plant *plant); /* 3 + 3 n_modes, complex 3 + 4 n_modes */
TUNE_API void tune_plant_to_params(double *theta, const struct tune_plant *plant);
/* n_params = 3 + 3 n_modes or 3 + 4 n_modes; payload ratios come out NAN. */
TUNE_API void tune_plant_from_params(struct tune_plant *plant, const double *theta, size_t n_params,
                                     size_t n_modes, double loop_rate_hz);

/* Motor to encoder with derivatives: jac[i * n_params + p] = dG(f_i)/dtheta_p (jac may be NULL). */
TUNE_API void tune_plant_eval_jacobian(double complex *g, double complex *jac, const double *theta,
                                       size_t n_params, size_t n_modes, double loop_rate_hz,
                                       const double *f_hz, size_t n);

/* ---- zeros -------------------------------------------------------------------------------------*/

struct tune_antiresonance {
    double f_hz;
    double zeta; /* negative: a zero in the right half plane */
};

/* Complex zeros of the continuous plant, motor to encoder, by rising frequency: at most n_modes.
 * Real zero pairs (non-collocated axes) are left out. *count is set.
 * TUNE_ENOSOL when the roots were not found. */
TUNE_API enum tune_status tune_plant_antiresonances(struct tune_antiresonance *zero, size_t *count,
                                                    const struct tune_plant *plant,
                                                    struct tune_error *err);

/* Default for an axis whose payload ratios are not known (docs/theory.md): the positive-gain mode
 * with the largest g/f^2 is taken as the payload's, r = -1/g, every other mode r = 0.
 * Returns its index, or n_modes where there is none (then all ratios are set to 1). */
TUNE_API size_t tune_plant_assume_payload(struct tune_plant *plant);

/* Quasi-static twist of the payload against the encoder, rad per N m of payload torque:
 *     k_w = 1/J sum g_k (r_k - 1)^2 / w_k^2. NAN ratios count as 1. */
TUNE_API double tune_plant_windup(const struct tune_plant *plant);

#endif
