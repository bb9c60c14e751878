/* sample_design.h - the curve of proposals, what biquads buy and the enable ladder of the sample.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_REPORT_SAMPLE_DESIGN_H
#define TEST_REPORT_SAMPLE_DESIGN_H

#include <stdio.h>

#include "tune.h"

enum { SAMPLE_CANDIDATES = 4, SAMPLE_PURCHASES = 3, SAMPLE_RUNGS = 3 };

static inline void sample_purchases(struct tune_purchase *purchase)
{
    for (size_t i = 0; i < SAMPLE_PURCHASES; i++) {
        struct tune_purchase *p = &purchase[i];
        *p = (struct tune_purchase){.biquads = i % 2,
                                    .encoder_rms_arcsec = 0.09 - 0.01 * (double)i,
                                    .sky_rms_arcsec = 0.11,
                                    .noise_torque_rms_nm = 1.9 + 0.1 * (double)i,
                                    .worst_sensitivity = 1.5,
                                    .feasible = i != 2,
                                    .taken = i == 1};
        (void)snprintf(p->goal, sizeof p->goal, "%s", i < 2 ? "calm" : "bold");
    }
}

/* Tones fewer than there is room for on the last rung. */
static inline void sample_rungs(struct tune_rung *rung, const struct tune_controller *controller)
{
    for (size_t i = 0; i < SAMPLE_RUNGS; i++) {
        struct tune_rung *r = &rung[i];
        const double d = (double)i;
        *r = (struct tune_rung){.controller = *controller,
                                .gain_db = 3.0 * (d - SAMPLE_RUNGS + 1.0),
                                .crossover_hz = 3.0 + d,
                                .peak_sensitivity = 1.4,
                                .phase_margin_deg = 50.0 - d,
                                .encoder_rms_arcsec = 0.4 / (1.0 + d),
                                .encoder_interval_arcsec = {0.3 / (1.0 + d), 0.5 / (1.0 + d)},
                                .torque_rms_nm = 2.6,
                                .noise_torque_rms_nm = 1.0,
                                .abort_encoder_arcsec = 0.8 / (1.0 + d),
                                .abort_torque_nm = 5.2,
                                .dwell_s = 33.0 - d,
                                .n_tones = i == 2 ? 1 : TUNE_PROBE_TONES};
        (void)snprintf(r->file.name, sizeof r->file.name, "enable-%02zu.ini", i + 1);
        for (size_t k = 0; k < r->n_tones; k++)
            r->tone[k] = (struct tune_probe_tone){.f_hz = 2.75 * (double)(k + 1),
                                                  .sensitivity = 0.7,
                                                  .alarm_low = 0.56,
                                                  .alarm_high = 0.84,
                                                  .torque_nm = 1.5,
                                                  .motion_arcsec = 0.86};
    }
}

#endif
