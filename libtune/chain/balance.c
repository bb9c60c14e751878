/* balance.c - friction, out-of-balance and the remedy, from slow turns.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/balance.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/balance_internal.h"
#include "chain/health_internal.h"
#include "core/units.h"
#include "results/tables.h"

size_t tune_chain_balanceable(const struct tune_logbook *logbook)
{
    size_t n = 0;
    for (size_t i = 0; i < logbook->n_logs; i++)
        n += logbook->log[i].kind == TUNE_LOG_TURN;
    return n;
}

/* ---- logs ----------------------------------------------------------------------------------------*/

/* Slow turns; without any, whatever tracked. */
static enum tune_status choose(struct balance_work *work, struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->chain.logbook;
    const enum tune_log_kind kinds[] = {TUNE_LOG_TURN, TUNE_LOG_TRACK};
    work->entry = calloc(logbook->n_logs + 1, sizeof *work->entry);
    if (!work->entry) return tune_error_memory(err, "choosing logs");
    for (size_t k = 0; k < 2 && work->n == 0; k++)
        for (size_t i = 0; i < logbook->n_logs; i++)
            if (logbook->log[i].kind == kinds[k] &&
                chain_log_chosen(&work->chain, &logbook->log[i]))
                work->entry[work->n++] = &logbook->log[i];
    if (work->n > 0 && work->n <= TUNE_TURN_LOGS_MAX) return TUNE_OK;
    tune_error_set(err, TUNE_EDATA,
                   work->n ? "more than 64 logs were chosen: name some with --log"
                           : "there is no log of a slow turn: turn the axis slowly both ways over "
                             "its travel, log torque and position, and give it kind = turn");
    return tune_error_place(err, logbook->ini_path, 0, 0);
}

static enum tune_status provenance(struct tune_provenance *now, const struct balance_work *work,
                                   struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->chain.logbook;
    const struct tune_drive_entry *drive = &logbook->drive;
    enum tune_status status = chain_provenance(now, &work->chain, TUNE_SCHEMA_BALANCE, err);
    for (size_t i = 0; i < work->n && !status; i++) {
        status = chain_add_log(now, &work->chain, work->entry[i], 0, err);
        if (!status) status = chain_health_provenance(now, &work->chain, work->entry[i], err);
    }
    if (!status)
        status = tune_provenance_add_option(now, err, "axis", "%s %.15g", logbook->axis.name,
                                            logbook->axis.latitude_deg);
    if (!status)
        status = tune_provenance_add_option(now, err, "drive", "%.15g %.15g %.15g %.15g",
                                            drive->torque_continuous_nm, drive->torque_limit_nm,
                                            drive->travel_limit_deg[0], drive->travel_limit_deg[1]);
    for (size_t i = 0; i < logbook->n_weights && !status; i++) {
        const struct tune_weight_entry *w = &logbook->weight[i];
        char name[TUNE_OPTION_NAME];
        (void)snprintf(name, sizeof name, "%s %s", w->place ? "place" : "slide", w->name);
        status = w->place
                     ? tune_provenance_add_option(now, err, name,
                                                  "%.15g deg, %.15g m, at most %.15g kg by %.15g",
                                                  w->angle_deg, w->arm_m, w->most_kg, w->step_kg)
                     : tune_provenance_add_option(
                           now, err, name, "%.15g deg, %.15g kg, %.15g .. %.15g mm by %.15g",
                           w->angle_deg, w->mass_kg, w->travel_mm[0], w->travel_mm[1], w->step_mm);
    }
    return status;
}

/* Every log read and fit; records live as long as work. */
static enum tune_status read_logs(struct tune_balance *out, struct balance_work *work,
                                  struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    work->rec = calloc(work->n, sizeof *work->rec);
    work->turn = calloc(work->n, sizeof *work->turn);
    out->log = calloc(work->n, sizeof *out->log);
    if (!work->rec || !work->turn || !out->log) return tune_error_memory(err, "reading turns");
    for (size_t i = 0; i < work->n && !status; i++) {
        const struct tune_log_entry *entry = work->entry[i];
        struct tune_record *rec = &work->rec[i];
        status = tune_watch_tick(work->chain.job->watch, entry->name,
                                 0.8 * (double)i / (double)work->n, err);
        if (!status) status = chain_read_log(rec, &work->chain, entry, err);
        if (!status) status = tune_record_require(rec, TUNE_ROLE_POSITION, entry->file, err);
        if (!status) status = tune_record_require(rec, TUNE_ROLE_TORQUE, entry->file, err);
        if (!status)
            status = chain_require_health(&out->notes, &out->notes, &work->chain, entry, rec, err);
        status = chain_blame_log(&work->chain, entry, status, err);
        if (status) break;
        work->turn[i] = (struct tune_turn_log){
            rec->channel[TUNE_ROLE_POSITION], rec->channel[TUNE_ROLE_TORQUE], rec->n, rec->rate_hz};
        chain_set_rows(&out->provenance, entry->file, rec->n);
        (void)snprintf(out->log[i].name, sizeof out->log[i].name, "%s", entry->name);
        out->n_logs++;
    }
    return status;
}

/* ---- answers -------------------------------------------------------------------------------------*/

static struct tune_estimate scaled(struct tune_estimate x, double by)
{
    return (struct tune_estimate){by * x.value, by * x.std};
}

static void take_fit(struct tune_balance *out, const struct tune_turn_fit *fit)
{
    const double deg = tune_deg_from_rad(1.0);
    out->arc_deg[0] = deg * fit->low_rad;
    out->arc_deg[1] = deg * fit->high_rad;
    out->up_s = fit->up_s;
    out->down_s = fit->down_s;
    out->slowest_deg_per_s = deg * fit->slowest_rad_per_s;
    out->fastest_deg_per_s = deg * fit->fastest_rad_per_s;
    out->imbalance_nm = fit->imbalance_nm;
    out->imbalance_angle_deg = scaled(fit->imbalance_angle_rad, deg);
    out->coulomb_nm = fit->value[TUNE_TURN_COULOMB];
    out->viscous_nm_s_per_rad = fit->value[TUNE_TURN_VISCOUS];
    out->offset_nm = fit->value[TUNE_TURN_OFFSET];
    out->inertia_kg_m2 = fit->value[TUNE_TURN_INERTIA];
    out->friction_nm = tune_turn_friction(fit, fit->slowest_rad_per_s);
    out->residual_nm = fit->residual_nm;
    out->saturated = fit->saturated;
    out->level = fit->level;
}

/* Angles the axis can be at: its soft limits, else a turn where it went nearly round, else where it went. */
static void travel(struct tune_balance *out, const struct balance_work *work)
{
    const double *limit = work->chain.logbook.drive.travel_limit_deg;
    const bool stated = isfinite(limit[0]) && isfinite(limit[1]);
    const bool round = out->arc_deg[1] - out->arc_deg[0] > 340.0;
    out->over_deg[0] = stated ? limit[0] : round ? -180.0 : out->arc_deg[0];
    out->over_deg[1] = stated ? limit[1] : round ? 180.0 : out->arc_deg[1];
}

/* Every degree: where the axis is nearest to starting, and how sure that is anywhere. */
static void judge_rest(struct tune_balance *out, const struct tune_turn_fit *fit)
{
    bool sure = true, starts = false;
    const double width = out->over_deg[1] - out->over_deg[0];
    const size_t n = (size_t)fmax(ceil(width), 1.0);
    out->margin_nm = (struct tune_estimate){INFINITY, NAN};
    for (size_t i = 0; i <= n; i++) {
        const double deg = out->over_deg[0] + width * (double)i / (double)n;
        const double angle = tune_rad_from_deg(deg);
        const struct tune_estimate margin = tune_turn_rest(fit, angle);
        sure = sure && margin.value - 1.96 * margin.std > 0.0;
        starts = starts || margin.value + 1.96 * margin.std < 0.0;
        out->held_nm = fmax(out->held_nm, fabs(tune_turn_standing(fit, angle).value));
        if (!(margin.value < out->margin_nm.value)) continue;
        out->margin_nm = margin;
        out->least_at_deg = deg;
    }
    out->at_rest = starts ? TUNE_REST_NO : sure ? TUNE_REST_YES : TUNE_REST_NOT_SURE;
    if (out->margin_nm.value < 0.0 && fit->known[TUNE_TURN_INERTIA])
        out->starts_with_deg_per_s2 =
            tune_deg_from_rad(-out->margin_nm.value / fit->value[TUNE_TURN_INERTIA].value);
}

static enum tune_status find_remedy(struct tune_balance *out, double mended_nm[2],
                                    const struct tune_turn_fit *fit,
                                    const struct tune_logbook *logbook, struct tune_error *err)
{
    const double level = cos(tune_axis_tilt(&logbook->axis)) * tune_axis_gravity(&logbook->axis);
    const struct tune_measured_pull pull = {fit->value[TUNE_TURN_COSINE].value,
                                            fit->value[TUNE_TURN_SINE].value,
                                            fit->covariance[TUNE_TURN_COSINE][TUNE_TURN_COSINE],
                                            fit->covariance[TUNE_TURN_SINE][TUNE_TURN_SINE],
                                            fit->covariance[TUNE_TURN_COSINE][TUNE_TURN_SINE]};
    struct tune_adjuster adjuster[TUNE_ADJUSTERS_MAX];
    struct tune_remedy remedy;
    enum tune_status status;
    out->step = calloc(logbook->n_weights + 1, sizeof *out->step);
    if (!out->step) return tune_error_memory(err, "looking for a remedy");
    for (size_t i = 0; i < logbook->n_weights; i++)
        adjuster[i] = balance_adjuster(&logbook->weight[i], level);
    status = tune_remedy_find(&remedy, &pull, adjuster, logbook->n_weights, err);
    if (status) return status;
    out->has_remedy = remedy.worth_it;
    mended_nm[0] = remedy.after_cosine_nm;
    mended_nm[1] = remedy.after_sine_nm;
    for (size_t i = 0; i < logbook->n_weights; i++) {
        struct tune_remedy_step *step = &out->step[out->n_steps++];
        memcpy(step->name, logbook->weight[i].name, sizeof step->name);
        step->place = logbook->weight[i].place;
        step->amount = remedy.amount[i] * (step->place ? 1.0 : 1e3);
    }
    memcpy(out->before_95_nm, remedy.before_nm_95, sizeof out->before_95_nm);
    out->after_nm = remedy.after_nm;
    memcpy(out->after_95_nm, remedy.after_nm_95, sizeof out->after_95_nm);
    return TUNE_OK;
}

/* What was measured both ways, and what holds. */
static enum tune_status make_tables(struct tune_balance *out, struct chain_file file[2],
                                    const struct balance_work *work,
                                    const struct tune_turn_fit *fit, const double mended_nm[2],
                                    struct tune_error *err)
{
    struct tune_turn_curve *curve = malloc(sizeof *curve);
    enum tune_status status =
        curve ? TUNE_OK : tune_error_memory(err, "drawing the torque of a turn");
    if (!status) status = tune_turn_measure(curve, fit, work->turn, work->n, err);
    if (!status) status = tune_balance_csv(&file[0].text, fit, mended_nm, out->over_deg, err);
    if (!status) status = tune_turns_csv(&file[1].text, curve, err);
    if (!status) chain_result_file(&out->table, &file[0]);
    if (!status) chain_result_file(&out->turns, &file[1]);
    free(curve);
    return status;
}

static enum tune_status answer(struct tune_balance *out, struct balance_work *work,
                               const struct tune_turn_fit *fit, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &work->chain.logbook.drive;
    struct chain_file file[] = {{"balance.csv", NULL}, {"turns.csv", NULL}};
    double mended_nm[2] = {fit->value[TUNE_TURN_COSINE].value, fit->value[TUNE_TURN_SINE].value};
    enum tune_status status = TUNE_OK;
    take_fit(out, fit);
    travel(out, work);
    judge_rest(out, fit);
    out->held_of_drive = drive->torque_continuous_nm > 0.0
                             ? out->held_nm / drive->torque_continuous_nm
                             : (double)NAN;
    out->after_95_nm[0] = out->after_95_nm[1] = out->after_nm = (double)NAN;
    out->before_95_nm[0] = out->before_95_nm[1] = (double)NAN;
    if (fit->known[TUNE_TURN_COSINE] && fit->known[TUNE_TURN_SINE] &&
        isfinite(tune_axis_tilt(&work->chain.logbook.axis)))
        status = find_remedy(out, mended_nm, fit, &work->chain.logbook, err);
    if (!status) status = make_tables(out, file, work, fit, mended_nm, err);
    if (!status) {
        balance_describe(out, work, fit);
        status = chain_write(out, &work->chain, &chain_balance_kind, file, 2, err);
    }
    free(file[0].text);
    free(file[1].text);
    return status;
}

static enum tune_status balance_all(struct tune_balance *out, struct balance_work *work,
                                    struct tune_error *err)
{
    const struct tune_logbook *logbook = &work->chain.logbook;
    struct tune_turn_opts opts = tune_turn_defaults();
    struct tune_turn_fit fit;
    enum tune_status status = read_logs(out, work, err);
    /* cos of a tilt of 80 degrees and more leaves less than a sixth: taken as none */
    opts.level = cos(tune_axis_tilt(&logbook->axis)) < 0.17;
    if (logbook->drive.torque_limit_nm > 0.0) opts.torque_limit_nm = logbook->drive.torque_limit_nm;
    if (status) return status;
    status = tune_turn_estimate(&fit, work->turn, work->n, &opts, err);
    if (status) return tune_error_place(err, logbook->ini_path, 0, 0);
    return answer(out, work, &fit, err);
}

enum tune_status tune_chain_balance(struct tune_balance *out, const struct tune_job *job,
                                    struct tune_error *err)
{
    struct balance_work *work = calloc(1, sizeof *work);
    struct tune_provenance now = {0};
    bool fresh = false;
    enum tune_status status;
    memset(out, 0, sizeof *out);
    if (!work) return tune_error_memory(err, "balancing an axis");
    status = chain_open(&work->chain, job, err);
    if (!status) status = choose(work, err);
    if (!status) status = provenance(&now, work, err);
    if (!status) status = chain_reuse(out, &fresh, &work->chain, &chain_balance_kind, &now, err);
    if (!status && !fresh) {
        out->provenance = now;
        memset(&now, 0, sizeof now);
        status = balance_all(out, work, err);
    }
    if (status) tune_balance_free(out);
    tune_provenance_free(&now);
    for (size_t i = 0; work->rec && i < work->n; i++)
        tune_record_free(&work->rec[i]);
    free(work->rec);
    free(work->turn);
    free(work->entry);
    chain_close(&work->chain);
    free(work);
    return status;
}
