/* description_balance.c - what turns an axis though its drive does nothing: weight, cables.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stddef.h>

#include "core/units.h"
#include "logbook/description_internal.h"

/* [balance] as the file has it. */
struct raw_balance {
    double imbalance_nm, imbalance_deg, offset_nm;
    double cable_nm_per_rad, cable_rest_deg, drag_nm, drag_deg;
};

#define BALANCE(field) offsetof(struct raw_balance, field)

const struct key_spec balance_keys[BALANCE_KEYS] = {
    {.name = "imbalance_nm", .offset = BALANCE(imbalance_nm), KEY_NOT_NEGATIVE},
    {.name = "imbalance_deg", .offset = BALANCE(imbalance_deg), KEY_ANY},
    {.name = "offset_nm", .offset = BALANCE(offset_nm), KEY_ANY},
    {.name = "cable_nm_per_rad", .offset = BALANCE(cable_nm_per_rad), KEY_NOT_NEGATIVE},
    {.name = "cable_rest_deg", .offset = BALANCE(cable_rest_deg), KEY_ANY},
    {.name = "drag_nm", .offset = BALANCE(drag_nm), KEY_NOT_NEGATIVE},
    {.name = "drag_deg", .offset = BALANCE(drag_deg), KEY_ANY},
};

enum tune_status description_read_balance(struct tune_description *out,
                                          const struct ini_document *document,
                                          struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "balance");
    struct tune_axis *axis = &out->axis;
    struct raw_balance raw = {.imbalance_nm = 0.0};
    enum tune_status status;
    if (!section) return TUNE_OK;
    status =
        keys_read(document, section, description_sections, DESCRIPTION_SECTIONS, &raw, NULL, err);
    if (status != TUNE_OK) return status;
    if (raw.drag_nm > 0.0 && !(axis->friction.coulomb_nm > 0.0))
        return ini_refuse(err, section, ini_find(document, section, "drag_nm"),
                          "0 where [friction] has no coulomb_nm",
                          "drag_nm = %g adds to Coulomb friction, and there is none", raw.drag_nm);
    axis->imbalance =
        (struct tune_imbalance_torque){raw.imbalance_nm, tune_rad_from_deg(raw.imbalance_deg)};
    axis->offset_nm = raw.offset_nm;
    axis->cable_nm_per_rad = raw.cable_nm_per_rad;
    axis->cable_rest_rad = tune_rad_from_deg(raw.cable_rest_deg);
    axis->drag_nm = raw.drag_nm;
    axis->drag_angle_rad = tune_rad_from_deg(raw.drag_deg);
    return TUNE_OK;
}
