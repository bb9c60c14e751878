/* tables.h - the CSV files beside the results. Every column names its unit.
 * Each fills *text (freed by the caller); 15 significant digits, "nan" and "inf" never occur: a row
 * that has no number is left out.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_TABLES_H
#define TUNE_TABLES_H

#include <stddef.h>

#include "control/controller.h"
#include "core/status.h"
#include "jitter/prediction.h"
#include "mechanics/turn.h"
#include "plant/fit.h"
#include "plant/frf.h"

/* frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence */
TUNE_API enum tune_status tune_frf_csv(char **text, const struct tune_frf *frf,
                                       struct tune_error *err);

/* The fitted plant on a logarithmic grid refined at its modes:
 * frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm */
TUNE_API enum tune_status tune_model_csv(char **text, const struct tune_fit *fit, double from_hz,
                                         double to_hz, struct tune_error *err);

/* The open loop and what follows from it, up to half the loop rate:
 * frequency_hz,loop_real,loop_imag,sensitivity,complementary_sensitivity */
TUNE_API enum tune_status tune_loop_csv(char **text, const struct tune_plant *plant,
                                        const struct tune_controller *controller, double from_hz,
                                        struct tune_error *err);

/* frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,measured_cumulative_arcsec,
 * true_cumulative_arcsec */
TUNE_API enum tune_status tune_jitter_csv(char **text, const struct tune_jitter *jitter,
                                          struct tune_error *err);

/* Every degree of the travel, degrees low .. high: angle_deg,holding_nm,holding_std_nm,rest_margin_nm,mended_nm:
 * the torque a drive holds the axis with, Coulomb friction less what pulls, and the holding torque once mended (cosine
 * and sine of gravity, N m) . */
TUNE_API enum tune_status tune_balance_csv(char **text, const struct tune_turn_fit *fit,
                                           const double mended_nm[2], const double over_deg[2],
                                           struct tune_error *err);

/* Where the axis passed both ways: angle_deg,rising_nm,falling_nm */
TUNE_API enum tune_status tune_turns_csv(char **text, const struct tune_turn_curve *curve,
                                         struct tune_error *err);

/* A logarithmic grid from..to with `per_decade` points, refined at each mode of the plant and each of
 * its antiresonances. The caller frees *f_hz. */
TUNE_API enum tune_status tune_plot_grid(double **f_hz, size_t *n, const struct tune_plant *plant,
                                         double from_hz, double to_hz, size_t per_decade,
                                         struct tune_error *err);

#endif
