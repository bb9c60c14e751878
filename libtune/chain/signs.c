/* signs.c - which signs and scales the first motions have verified.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/signs_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/precheck.h"

/* What gains rest on. */
static const char *const scale[][2] = {{"torque-sign", "torque sign"},
                                       {"encoder-sign", "encoder sign"},
                                       {"torque-per-unit", "torque per unit"},
                                       {"counts-per-turn", "counts per turn"}};
enum { SCALES = sizeof scale / sizeof *scale };

static bool is_scale(const char *name)
{
    for (size_t i = 0; i < SCALES; i++)
        if (!strcmp(scale[i][0], name)) return true;
    return false;
}

static void sort_checks(struct chain_signs *out, const struct tune_precheck *result)
{
    const struct tune_check *inertia = tune_precheck_find(result, "inertia");
    if (inertia) out->inertia_kg_m2 = inertia->measured;
    for (size_t i = 0; i < SCALES; i++) {
        const struct tune_check *check = tune_precheck_find(result, scale[i][0]);
        if (!check || check->answer == TUNE_CHECK_NOT_TESTED)
            chain_list_add(out->untested, sizeof out->untested, scale[i][1]);
        else if (check->answer == TUNE_CHECK_DISAGREES)
            chain_list_add(out->wrong, sizeof out->wrong, scale[i][1]);
        else
            chain_list_add(out->verified, sizeof out->verified, scale[i][1]);
    }
    for (size_t i = 0; i < result->n_checks; i++)
        if (result->check[i].answer == TUNE_CHECK_DISAGREES && !is_scale(result->check[i].name))
            chain_list_add(out->also_wrong, sizeof out->also_wrong, result->check[i].name);
}

/* All logs of first motions, whatever the job restricts. */
static enum tune_status check(struct tune_precheck *result, struct chain_signs *out,
                              const struct chain *chain, struct tune_error *err)
{
    struct tune_job job = *chain->job;
    struct tune_error found = {0};
    enum tune_status status;
    job.n_logs = job.n_pointings = 0;
    status = tune_chain_precheck(result, &job, &found);
    if (status == TUNE_EDATA || status == TUNE_EIO) {
        (void)snprintf(out->why, sizeof out->why, "%.*s", TUNE_NOTE_LENGTH - 1, found.text);
        return TUNE_OK;
    }
    if (status && err) *err = found;
    return status;
}

enum tune_status chain_signs_read(struct chain_signs *out, const struct chain *chain,
                                  struct tune_error *err)
{
    struct tune_precheck *result = calloc(1, sizeof *result);
    enum tune_status status = TUNE_OK;
    memset(out, 0, sizeof *out);
    out->inertia_kg_m2 = (struct tune_estimate){(double)NAN, (double)NAN};
    if (!result) return tune_error_memory(err, "looking for verified signs");
    out->logged = tune_chain_precheckable(&chain->logbook) > 0;
    if (out->logged) status = check(result, out, chain, err);
    if (!status) sort_checks(out, result);
    tune_precheck_free(result);
    free(result);
    return status;
}

enum tune_status chain_signs_provenance(struct tune_provenance *provenance,
                                        const struct chain_signs *signs, struct tune_error *err)
{
    char digest[TUNE_SHA256_TEXT];
    tune_sha256_bytes(digest, signs, sizeof *signs);
    return tune_provenance_add_option(provenance, err, "precheck", "%.16s", digest);
}

/* An axis has another inertia wherever the other one stands, so the pointing nearest to the pulses decides,
 * and a tenth is allowed (common practice, no source). */
void chain_signs_compare(struct chain_signs *signs, const struct tune_identification *id)
{
    const struct tune_estimate *pulses = &signs->inertia_kg_m2;
    signs->apart = 0.0;
    for (size_t i = 0; i < id->n_pointings; i++) {
        const struct tune_estimate *sweep = &id->pointing[i].fit.inertia;
        const double ratio = sweep->value / pulses->value;
        const double std = ratio * hypot(pulses->std / pulses->value, sweep->std / sweep->value);
        if (!(pulses->value > 0.0) || !(std < 0.1)) continue;
        if (fabs(ratio - 1.0) <= 0.1 + 4.0 * std) {
            signs->apart = 0.0;
            return;
        }
        if (signs->apart == 0.0 || fabs(log(ratio)) < fabs(log(signs->apart))) signs->apart = ratio;
    }
}

void chain_signs_describe(struct tune_notes *notes, struct tune_notes *cautions,
                          const struct chain_signs *signs)
{
    if (signs->apart != 0.0)
        tune_notes_add(cautions,
                       "The sweeps give %.3g times the inertia of the first motions (%.4g kg m^2): "
                       "unless the other axis stood elsewhere, a torque or angle is scaled "
                       "otherwise in their logs, and what precheck verified does not hold for "
                       "these gains.",
                       signs->apart, signs->inertia_kg_m2.value);
    if (signs->wrong[0])
        tune_notes_add(
            cautions,
            "PRECHECK DISAGREES on %s: these gains can drive the axis into its stop. Do not "
            "use them before it is corrected, everything logged anew and checked again.",
            signs->wrong);
    if (signs->also_wrong[0])
        tune_notes_add(cautions,
                       "Precheck disagrees on %s: see precheck.json, and correct it first.",
                       signs->also_wrong);
    if (signs->untested[0])
        tune_notes_add(
            cautions,
            "%s not verified by precheck: %s%s%.150s. Check each with the smallest motion "
            "that shows it.",
            signs->verified[0] || signs->wrong[0] ? "Signs and scales partly" : "Signs and scales",
            signs->untested, signs->why[0] ? "; " : "", signs->why);
    if (signs->verified[0] && signs->apart == 0.0)
        tune_notes_add(notes, "Signs and scales verified: %s (precheck).", signs->verified);
}
