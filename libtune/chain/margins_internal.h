/* margins_internal.h - margins of a loop with the uncertainty the fit leaves them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_MARGINS_INTERNAL_H
#define TUNE_MARGINS_INTERNAL_H

#include "control/controller.h"
#include "core/status.h"
#include "plant/fit.h"
#include "results/proposal.h"

/* Margins at the fitted plant; std by the delta method through the covariance of the fit. The loop file
 * is left empty. An unstable loop is an answer (stable = false), not a failure. */
enum tune_status chain_margins(struct tune_pointing_margins *out, const char *pointing,
                               const struct tune_fit *fit, const struct tune_controller *controller,
                               struct tune_error *err);

#endif
