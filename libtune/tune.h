/* tune.h - the whole of libtune: from swept logs to a servo loop that holds a telescope still.
 *
 * Ownership, library-wide: the caller owns what it passes; the library keeps no pointer to it; whatever
 * a call fills, the matching _free releases. Units are SI inside (rad, N m, s, Hz). Every call may be
 * made from several threads on different objects.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_H
#define TUNE_H

#include "core/status.h"
#include "core/estimate.h"
#include "core/units.h"
#include "core/random.h"
#include "core/workers.h"
#include "core/watch.h"
#include "core/sha256.h"
#include "record/record.h"
#include "spectrum/fft.h"
#include "spectrum/window.h"
#include "spectrum/psd.h"
#include "spectrum/coherence.h"
#include "spectrum/lpm.h"
#include "plant/model.h"
#include "plant/frf.h"
#include "plant/fit.h"
#include "mechanics/friction.h"
#include "control/biquad.h"
#include "control/controller.h"
#include "control/loop.h"
#include "simulation/axis.h"
#include "jitter/tracking.h"
#include "jitter/disturbance.h"
#include "jitter/prediction.h"
#include "design/design.h"
#include "health/health.h"
#include "excite/sweep.h"
#include "logbook/logbook.h"
#include "logbook/description.h"

#endif
