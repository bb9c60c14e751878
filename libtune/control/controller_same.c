/* controller_same.c - are two controllers the same.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/controller.h"

static size_t divider(const struct tune_controller *c)
{
    return c->position_divider > 1 ? c->position_divider : 1;
}

static bool same_filters(const struct tune_controller *a, const struct tune_controller *b)
{
    if (a->lowpass_hz != b->lowpass_hz || a->n_biquads != b->n_biquads) return false;
    if (a->lowpass_hz > 0.0 && (a->lowpass_order != b->lowpass_order ||
                                (a->lowpass_order == 2 && a->lowpass_zeta != b->lowpass_zeta)))
        return false;
    for (size_t i = 0; i < a->n_biquads; i++) {
        const struct tune_biquad_spec *p = &a->biquad[i], *q = &b->biquad[i];
        if (p->zero_hz != q->zero_hz || p->zero_zeta != q->zero_zeta || p->pole_hz != q->pole_hz ||
            p->pole_zeta != q->pole_zeta)
            return false;
    }
    return true;
}

bool tune_controller_same(const struct tune_controller *a, const struct tune_controller *b)
{
    return a->loop_rate_hz == b->loop_rate_hz && a->kp_nm_per_rad == b->kp_nm_per_rad &&
           a->ki_nm_per_rad_s == b->ki_nm_per_rad_s && a->kd_nm_s_per_rad == b->kd_nm_s_per_rad &&
           a->derivative_filter_hz == b->derivative_filter_hz && divider(a) == divider(b) &&
           same_filters(a, b);
}
