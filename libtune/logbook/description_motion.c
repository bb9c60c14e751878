/* description_motion.c - first motions that `simulate` is to write, and how the axis differs from what the
 * settings say.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "logbook/description_internal.h"

/* ---- [mismatch] ----------------------------------------------------------------------------------*/

/* [mismatch] as the file has it. */
struct raw_mismatch {
    struct tune_mismatch m;
    int encoder_reversed, torque_reversed;
    double commutation_offset_deg, low_shift_deg, high_shift_deg, index_scatter_arcsec;
    double known_angle_error_deg;
};

#define RAW(field) offsetof(struct raw_mismatch, field)
#define SIGN       .type = KEY_CHOICE, .choices = "1|-1"
#define ACTS       .type = KEY_SWITCH, .choices = "no|yes"

const struct key_spec mismatch_keys[MISMATCH_KEYS] = {
    {.name = "counts_factor", .offset = RAW(m.counts_factor), KEY_POSITIVE},
    {.name = "encoder_sign", .offset = RAW(encoder_reversed), SIGN},
    {.name = "torque_factor", .offset = RAW(m.torque_factor), KEY_POSITIVE},
    {.name = "torque_sign", .offset = RAW(torque_reversed), SIGN},
    {.name = "commutation_offset_deg", .offset = RAW(commutation_offset_deg), KEY_ANY},
    {.name = "pole_pairs_excess", .offset = RAW(m.pole_pairs_excess), KEY_ANY},
    {.name = "inertia_factor", .offset = RAW(m.inertia_factor), KEY_POSITIVE},
    {.name = "friction_factor", .offset = RAW(m.friction_factor), KEY_NOT_NEGATIVE},
    {.name = "low_limit_shift_deg", .offset = RAW(low_shift_deg), KEY_ANY},
    {.name = "high_limit_shift_deg", .offset = RAW(high_shift_deg), KEY_ANY},
    {.name = "low_limit_acts", .offset = RAW(m.limit_acts[0]), ACTS},
    {.name = "high_limit_acts", .offset = RAW(m.limit_acts[1]), ACTS},
    {.name = "following_error_factor", .offset = RAW(m.trip_factor), KEY_POSITIVE},
    {.name = "following_error_acts", .offset = RAW(m.trip_acts), ACTS},
    {.name = "index_scatter_arcsec", .offset = RAW(index_scatter_arcsec), KEY_NOT_NEGATIVE},
    {.name = "known_angle_error_deg", .offset = RAW(known_angle_error_deg), KEY_ANY},
};

/* A brake that rubs is stiffer in proportion: the bristles give way at the same deflection. */
static void scale_friction(struct tune_friction *friction, double factor)
{
    friction->coulomb_nm *= factor;
    friction->breakaway_nm *= factor;
    friction->bristle_nm_per_rad *= factor;
    friction->bristle_nm_s_per_rad *= factor;
}

enum tune_status description_read_mismatch(struct tune_description *out,
                                           const struct ini_document *document,
                                           struct tune_error *err)
{
    const struct ini_section *section = keys_section(document, "mismatch");
    struct raw_mismatch raw = {.m = tune_mismatch_none()};
    if (section) {
        const enum tune_status status = keys_read(document, section, description_sections,
                                                  DESCRIPTION_SECTIONS, &raw, NULL, err);
        if (status != TUNE_OK) return status;
    }
    raw.m.encoder_sign = raw.encoder_reversed ? -1.0 : 1.0;
    raw.m.torque_sign = raw.torque_reversed ? -1.0 : 1.0;
    raw.m.commutation_offset_rad = tune_rad_from_deg(raw.commutation_offset_deg);
    raw.m.limit_shift_rad[0] = tune_rad_from_deg(raw.low_shift_deg);
    raw.m.limit_shift_rad[1] = tune_rad_from_deg(raw.high_shift_deg);
    raw.m.index_scatter_rad = tune_rad_from_arcsec(raw.index_scatter_arcsec);
    out->mismatch = raw.m;
    out->known_angle_error_rad = tune_rad_from_deg(raw.known_angle_error_deg);
    out->axis.plant.inertia_kg_m2 *= raw.m.inertia_factor;
    scale_friction(&out->axis.friction, raw.m.friction_factor);
    return TUNE_OK;
}

/* ---- which key goes with which kind --------------------------------------------------------------*/

bool tune_log_is_motion(enum tune_log_kind kind)
{
    return kind == TUNE_LOG_PULSE || kind == TUNE_LOG_MOVE || kind == TUNE_LOG_COAST ||
           kind == TUNE_LOG_LOAD || kind == TUNE_LOG_LIMIT || kind == TUNE_LOG_INDEX;
}

#define K(kind) (1u << TUNE_LOG_##kind)
enum {
    COURSES = K(SWEEP) | K(HOLD) | K(TRACK),
    TRACES = K(TURN) | COURSES,
    LOOPS = K(TURN) | K(MOVE) | K(COAST) | K(LOAD) | K(LIMIT) |
            K(INDEX) /* motions with the loop closed */
};

static const struct {
    const char *key;
    unsigned kinds, needed; /* sets of kinds that take it, that cannot do without */
} company[] = {
    {"sweep_from_hz", K(SWEEP) | K(RESPONSE), K(RESPONSE)},
    {"sweep_to_hz", K(SWEEP) | K(RESPONSE), K(RESPONSE)},
    {"points", K(RESPONSE), 0},
    {"of", K(RESPONSE), 0},
    {"response_noise", K(RESPONSE), 0},
    {"response_std", K(RESPONSE), 0},
    {"amplitude_nm", K(SWEEP), 0},
    {"quiet_before_s", K(SWEEP), 0},
    {"quiet_after_s", K(SWEEP), 0},
    {"fade_s", K(SWEEP), 0},
    {"position_limit_arcsec", K(SWEEP), 0},
    {"speed_limit_arcsec_per_s", K(SWEEP), 0},
    {"ramp_arcsec_per_s", COURSES, 0},
    {"duration_s", COURSES, 0},
    {"log_sky", TRACES, 0},
    {"tone1_hz", K(HOLD) | K(TRACK), 0},
    {"tone1_nm", K(HOLD) | K(TRACK), 0},
    {"speed_deg_per_s", LOOPS, K(COAST)},
    {"acceleration_deg_per_s2", LOOPS, 0},
    {"move_deg", K(TURN) | K(MOVE) | K(LOAD) | K(INDEX), K(TURN) | K(MOVE)},
    {"by", K(MOVE), 0},
    {"known_angle_std_deg", K(MOVE), 0},
    {"jump_deg", K(MOVE) | K(LIMIT), 0},
    {"pulse_nm", K(PULSE), K(PULSE)},
    {"pulse_s", K(PULSE), 0},
    {"gap_s", K(PULSE), 0},
    {"pulses", K(PULSE), 0},
    {"coast_s", K(COAST), 0},
    {"load_kg", K(LOAD), K(LOAD)},
    {"load_arm_m", K(LOAD), K(LOAD)},
    {"load_std_kg", K(LOAD), 0},
    {"load_arm_std_m", K(LOAD), 0},
    {"load_arm_angle_deg", K(LOAD), 0},
    {"load_axis_tilt_deg", K(LOAD), 0},
    {"limit_side", K(LIMIT), K(LIMIT)},
    {"beyond_deg", K(LIMIT), 0},
    {"passes", K(TURN) | K(INDEX), 0},
    {"index_deg", K(INDEX), 0},
};

/* "sweep" or "move, load or index" */
static void list_kinds(char *out, size_t size, unsigned set)
{
    size_t used = 0, left = 0;
    for (unsigned k = 0; k < TUNE_LOG_KINDS; k++)
        left += set >> k & 1u;
    out[0] = '\0';
    for (unsigned k = 0; k < TUNE_LOG_KINDS && used < size; k++) {
        if (!(set >> k & 1u)) continue;
        left--;
        used += (size_t)snprintf(out + used, size - used, "%s%s",
                                 tune_log_kind_name((enum tune_log_kind)k),
                                 left > 1    ? ", "
                                 : left == 1 ? " or "
                                             : "");
    }
}

enum tune_status description_check_kind(enum tune_log_kind kind,
                                        const struct ini_document *document,
                                        const struct ini_section *section, struct tune_error *err)
{
    for (size_t i = 0; i < sizeof company / sizeof *company; i++) {
        const struct ini_entry *entry = ini_find(document, section, company[i].key);
        char list[128], limit[TUNE_ERROR_WORD];
        if (!entry && company[i].needed >> kind & 1u)
            return keys_require(document, section, company[i].key, err);
        if (!entry || company[i].kinds >> kind & 1u) continue;
        list_kinds(list, sizeof list, company[i].kinds);
        (void)snprintf(limit, sizeof limit, "kind = %s", list);
        return ini_refuse(err, section, entry, limit,
                          "the key %s goes with kind = %s only: remove it", company[i].key, list);
    }
    return TUNE_OK;
}

/* ---- [log NAME] of a motion ----------------------------------------------------------------------*/

/* Degrees; NAN: follows from the axis. */
struct tune_simulated_motion description_motion_defaults(void)
{
    return (struct tune_simulated_motion){
        .speed_rad_per_s = 0.5,
        .acceleration_rad_per_s2 = NAN,
        .way_rad = 1.0,
        .pulse_s = 0.2,
        .gap_s = 0.3,
        .pulses = 4,
        .coast_s = 10.0,
        .beyond_rad = 1.0,
        .passes = 6,
        .index_rad = NAN,
        .known_angle_std_deg = 0.05,
        .load_arm_std_m = 0.002,
        .load_axis_tilt_deg = NAN,
    };
}

/* 5 % of the torque limit, as first motions are gentle (common practice, no source). */
static double gentle_acceleration(const struct tune_axis *axis)
{
    if (axis->torque_limit_nm == 0.0) return tune_rad_from_deg(1.0);
    return 0.05 * axis->torque_limit_nm / axis->plant.inertia_kg_m2;
}

static void bring_to_si(struct tune_simulated_motion *motion, double centre_deg)
{
    double *const degrees[] = {&motion->speed_rad_per_s, &motion->acceleration_rad_per_s2,
                               &motion->way_rad,         &motion->jump_rad,
                               &motion->beyond_rad,      &motion->index_rad};
    if (isnan(motion->index_rad)) motion->index_rad = centre_deg;
    for (size_t i = 0; i < sizeof degrees / sizeof *degrees; i++)
        *degrees[i] = tune_rad_from_deg(*degrees[i]);
}

/* What must agree between the numbers of a motion, still in degrees. */
static enum tune_status check_motion(const struct tune_simulated_log *entry,
                                     const struct tune_description *out,
                                     const struct tune_simulated_motion *raw,
                                     const struct ini_document *document,
                                     const struct ini_section *section, struct tune_error *err)
{
    const double angle = out->pointing[entry->pointing].angle_deg, half = 0.5 * raw->way_rad;
    const double latitude = out->logbook.axis.latitude_deg;
    const double *limit = out->logbook.drive.travel_limit_deg;
    const enum tune_log_kind kind = entry->kind;
    const struct {
        const char *key, *expected;
        bool met;
    } rule[] = {
        {"speed_deg_per_s", "a number that is not 0", raw->speed_rad_per_s != 0.0},
        {"speed_deg_per_s", "above 0", raw->speed_rad_per_s > 0.0 || kind == TUNE_LOG_COAST},
        {"move_deg", "a number that is not 0", raw->way_rad != 0.0},
        {"move_deg", "above 0", raw->way_rad > 0.0 || kind == TUNE_LOG_MOVE},
        {"load_arm_m", "a number that is not 0",
         kind != TUNE_LOG_LOAD || raw->load_kg == 0.0 || raw->load_arm_m != 0.0},
        {"load_axis_tilt_deg", "the axis against the horizontal, or latitude_deg in [axis]",
         kind != TUNE_LOG_LOAD || !isnan(raw->load_axis_tilt_deg) || !isnan(latitude) ||
             strcmp(out->logbook.axis.name, "hour-angle") != 0},
        {"index_deg", "within the move about the pointing",
         kind != TUNE_LOG_INDEX || isnan(raw->index_rad) || fabs(raw->index_rad - angle) < half},
        {"pointing", "a pointing within the soft limits",
         kind != TUNE_LOG_LIMIT || (angle > limit[0] && angle < limit[1])},
    };
    for (size_t i = 0; i < sizeof rule / sizeof *rule; i++) {
        const struct ini_entry *found = ini_find(document, section, rule[i].key);
        if (rule[i].met) continue;
        return ini_refuse(err, section, found, rule[i].expected,
                          "%s = %s is not possible: expected %s", rule[i].key,
                          found ? found->value : "", rule[i].expected);
    }
    return TUNE_OK;
}

/* A drive's own units need its scales, a soft limit its place. */
static enum tune_status check_drive(const struct tune_simulated_log *entry,
                                    const struct tune_drive_entry *drive,
                                    const struct ini_section *section, struct tune_error *err)
{
    const struct {
        const char *key;
        bool met;
    } rule[] = {
        {"torque_per_unit_nm", !isnan(drive->torque_per_unit_nm)},
        {"encoder_counts_per_turn", !isnan(drive->encoder_counts_per_turn)},
        {"travel_limit_deg", entry->kind != TUNE_LOG_LIMIT || !isnan(drive->travel_limit_deg[0])},
    };
    for (size_t i = 0; i < sizeof rule / sizeof *rule; i++)
        if (!rule[i].met)
            return ini_refuse(err, section, NULL, rule[i].key,
                              "a log of kind %s needs the key %s in [drive]: add it",
                              tune_log_kind_name(entry->kind), rule[i].key);
    return TUNE_OK;
}

static void take_motion(struct tune_simulated_log *entry, const struct tune_description *out,
                        const struct raw_log *raw)
{
    entry->motion = raw->motion;
    bring_to_si(&entry->motion, out->pointing[entry->pointing].angle_deg);
    if (isnan(entry->motion.acceleration_rad_per_s2))
        entry->motion.acceleration_rad_per_s2 = gentle_acceleration(&out->axis);
}

enum tune_status description_read_motion(struct tune_simulated_log *entry,
                                         const struct tune_description *out,
                                         const struct raw_log *raw,
                                         const struct ini_document *document,
                                         const struct ini_section *section, struct tune_error *err)
{
    enum tune_status status = description_refuse_trouble(document, section, err);
    if (!status) status = check_drive(entry, &out->logbook.drive, section, err);
    if (!status) status = check_motion(entry, out, &raw->motion, document, section, err);
    if (!status) take_motion(entry, out, raw);
    return status;
}

enum tune_status description_read_turn(struct tune_simulated_log *entry,
                                       const struct tune_description *out,
                                       const struct raw_log *raw,
                                       const struct ini_document *document,
                                       const struct ini_section *section, struct tune_error *err)
{
    const enum tune_status status = check_motion(entry, out, &raw->motion, document, section, err);
    if (status) return status;
    take_motion(entry, out, raw);
    if (!ini_find(document, section, "passes")) entry->motion.passes = 1;
    return TUNE_OK;
}
