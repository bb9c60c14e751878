/* design_friction.c - what slow turns told, for the feedforward.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/balance.h"
#include "chain/design_internal.h"

static void take(struct chain_friction *out, const struct tune_balance *balance)
{
    out->measured = isfinite(balance->coulomb_nm.std) && balance->coulomb_nm.value > 0.0;
    out->coulomb_nm = balance->coulomb_nm;
    out->viscous_nm_s_per_rad = balance->viscous_nm_s_per_rad;
    out->imbalance_nm = balance->imbalance_nm;
    out->imbalance_angle_deg = balance->imbalance_angle_deg;
    out->offset_nm = isfinite(balance->offset_nm.std) ? balance->offset_nm.value : 0.0;
}

/* Turns that tell nothing do not end a design. */
enum tune_status chain_friction_read(struct chain_friction *out, const struct chain *chain,
                                     struct tune_error *err)
{
    struct tune_balance balance;
    enum tune_status status;
    *out = (struct chain_friction){.measured = false};
    if (!tune_chain_balanceable(&chain->logbook) || chain->job->n_logs || chain->job->n_pointings)
        return TUNE_OK;
    status = tune_chain_balance(&balance, chain->job, err);
    if (status == TUNE_EDATA) {
        (void)snprintf(out->why, sizeof out->why, "%.300s", err ? err->text : "");
        tune_error_clear(err);
        return TUNE_OK;
    }
    if (status) return status;
    take(out, &balance);
    tune_balance_free(&balance);
    return TUNE_OK;
}

enum tune_status chain_friction_provenance(struct tune_provenance *out,
                                           const struct chain_friction *f, struct tune_error *err)
{
    if (!f->measured) return TUNE_OK;
    return tune_provenance_add_option(
        out, err, "slow turns", "%.10g %.10g N m, %.10g N m s/rad, %.10g N m at %.10g deg",
        f->coulomb_nm.value, f->offset_nm, f->viscous_nm_s_per_rad.value, f->imbalance_nm.value,
        f->imbalance_angle_deg.value);
}
