/* identify_pointing.c - from the sweeps of one pointing to its plant.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/identify_internal.h"
#include "core/units.h"
#include "plant/fit.h"
#include "plant/frf.h"
#include "results/tables.h"

static int compare_numbers(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(const double *x, size_t n)
{
    double result = (double)NAN, *copy = malloc((n + 1) * sizeof *copy);
    if (copy && n > 0) {
        memcpy(copy, x, n * sizeof *copy);
        qsort(copy, n, sizeof *copy, compare_numbers);
        result = copy[n / 2];
    }
    free(copy);
    return result;
}

/* The records of the pointing put together. */
static enum tune_status join_records(struct tune_frf *frf, struct tune_lines *lines,
                                     struct tune_pointing_plant *out,
                                     struct pointing_work *pointing, struct tune_error *err)
{
    double torque_square = 0.0, noise_square = 0.0;
    const double n = (double)pointing->n_records;
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < pointing->n_records; i++) {
        const struct pointing_record *record = &pointing->record[i];
        status = tune_frf_append(frf, &record->frf, err);
        if (!status) status = tune_lines_append(lines, &record->lines, err);
        torque_square += record->torque_rms_nm * record->torque_rms_nm / n;
        noise_square += record->noise_square / n;
        if (record->frf.estimator != TUNE_FRF_PERIODIC && !record->quiet_ends)
            pointing->unquiet_s = pointing->unquiet_s > 0.0
                                      ? fmin(pointing->unquiet_s, record->duration_s)
                                      : record->duration_s;
    }
    out->torque_rms_nm = sqrt(torque_square);
    out->sensor_noise_arcsec = tune_arcsec_from_rad(sqrt(noise_square));
    return status;
}

static enum tune_status tables(struct tune_pointing_plant *out, struct pointing_work *pointing,
                               const struct tune_frf *frf, struct tune_error *err)
{
    const double nyquist_hz = 0.5 * out->fit.plant.loop_rate_hz;
    const double low_hz = 0.5 * frf->band_hz[0];
    const double high_hz = fmin(1.6 * frf->band_hz[1], 0.98 * nyquist_hz);
    enum tune_status status = tune_frf_csv(&pointing->frf.text, frf, err);
    if (!status) status = tune_model_csv(&pointing->model.text, &out->fit, low_hz, high_hz, err);
    if (status) return status;
    (void)snprintf(pointing->frf.name, sizeof pointing->frf.name, "frf-%s.csv", out->name);
    (void)snprintf(pointing->model.name, sizeof pointing->model.name, "model-%s.csv", out->name);
    chain_result_file(&out->frf_file, &pointing->frf);
    chain_result_file(&out->model_file, &pointing->model);
    return TUNE_OK;
}

/* Without quiet ends the response itself tells the transient by what is smooth over some bins, and a
 * resonance of a few bins is not. The fit knows it by the poles: on a simulated axis with twelve sweeps of 8 s
 * that follow each other without a pause the damping of resonances 1 to 5 bins wide was wrong by 6 to
 * 47 % when made from the response's own lines, and by less than a third of its std in the end. */
static void doubt_width(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const double bins_least = 40.0;
    double narrowest = INFINITY, at_hz = 0.0;
    for (size_t i = 0; i < out->fit.plant.n_modes; i++) {
        const struct tune_mode *mode = &out->fit.plant.mode[i];
        const double width_hz = 2.0 * fabs(mode->zeta) * mode->f_hz;
        if (mode->f_hz < out->band_hz[0] || mode->f_hz > out->band_hz[1]) continue;
        if (width_hz >= narrowest) continue;
        narrowest = width_hz;
        at_hz = mode->f_hz;
    }
    if (!(narrowest * pointing->unquiet_s < bins_least)) return;
    if (!(pointing->unquiet_s > 0.0)) return;
    tune_notes_add(
        &pointing->notes,
        "Pointing %s: a sweep of %.3g s begins or ends without quiet, and blurs resonances as "
        "narrow as the one at %.4g Hz in frf-%s.csv; the fit and assisted-%s.csv allow for it. "
        "Half a second before and a second after every sweep without excitation make all of them "
        "better.",
        out->name, pointing->unquiet_s, at_hz, out->name, out->name);
}

/* What the fit could not know from the sweep alone. */
static void doubt_knowledge(struct pointing_work *pointing, const struct tune_pointing_plant *out)
{
    const struct tune_fit *fit = &out->fit;
    if (fit->viscous_prior_share > 0.5)
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: viscous friction is limited by its prior (%.0f %% of what is "
            "known of it): no measurement, and nothing to compare; a coast or a sweep that "
            "begins lower would measure it.",
            out->name, 100.0 * fit->viscous_prior_share);
    if (fit->n_alike > 0) {
        char more[48] = "";
        if (fit->n_alike > 1)
            (void)snprintf(more, sizeof more, ", and %zu pairs more", fit->n_alike - 1);
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: the resonances at %.4g and %.4g Hz are hardly told apart "
            "(correlation %.3f)%s: both together are known better than either; sweep longer.",
            out->name, fit->plant.mode[fit->alike[0].first].f_hz,
            fit->plant.mode[fit->alike[0].second].f_hz, fit->alike[0].correlation, more);
    }
    if (fit->plant.complex_residues)
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: residues have a phase: the damping of this axis sits in single "
            "joints, not everywhere alike.",
            out->name);
}

/* What the reader should doubt. */
static void doubts(struct pointing_work *pointing, const struct tune_pointing_plant *out,
                   size_t modes)
{
    if (out->estimator == TUNE_FRF_DIRECT && out->closed_loop)
        tune_notes_add(&pointing->notes,
                       "Pointing %s: the injected signal was not logged, so the response is biased "
                       "wherever the loop answers to disturbances; log it.",
                       out->name);
    if (!(out->median_coherence > 0.9))
        tune_notes_add(&pointing->notes,
                       "Pointing %s: median coherence only %.3f; sweep longer or harder.",
                       out->name, out->median_coherence);
    doubt_knowledge(pointing, out);
    if (modes > 0)
        tune_notes_add(
            &pointing->notes,
            "Pointing %s: %zu resonances as --modes asks for, whatever the sweeps show; "
            "chi-square, doubts and std are those of that plant: where the sweeps show more, "
            "std are too small.",
            out->name, modes);
    doubt_width(pointing, out);
}

/* Far below its modes an axis answers a torque with an acceleration of the same sign: G lies left of the
 * imaginary axis. Where it lies right of it over the lowest octave a sign is wrong, or the axis sticks
 * and answers like a spring: either way no gains may be made from it. */
static enum tune_status check_sign(const struct tune_frf *frf, const struct tune_log_entry *log,
                                   struct tune_error *err)
{
    double cosine = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < frf->n && frf->f_hz[i] <= 2.0 * frf->band_hz[0]; i++) {
        if (!(cabs(frf->g[i]) > 0.0)) continue;
        cosine += creal(frf->g[i]) / cabs(frf->g[i]);
        n++;
    }
    if (n == 0 || cosine / (double)n < 0.5) return TUNE_OK;
    tune_error_set(
        err, TUNE_EDATA,
        "at low frequency the position follows the torque as in a spring: a sign is wrong "
        "(torque_sign, position_sign), or the axis sticks and must be swept on a ramp");
    tune_error_about(err, log->name, NULL, NULL);
    return TUNE_EDATA;
}

/* Whoever accepts an unfit log may be left with noise: no gains come from an axis whose inertia is not known
 * to a third (common practice, no source). */
static enum tune_status require_inertia(const struct tune_estimate *inertia, struct tune_error *err)
{
    char value[32], limit[32];
    if (inertia->std <= inertia->value / 3.0) return TUNE_OK;
    tune_error_set(
        err, TUNE_ENOSOL,
        "the sweep says nearly nothing of the axis: its inertia comes out as %.3g +- %.2g "
        "kg m^2; where the axis turns back during it (inspect tells) friction hides the axis: "
        "sweep on a faster ramp; else sweep longer, or harder within the drive's limits",
        inertia->value, inertia->std);
    (void)snprintf(value, sizeof value, "%.3g kg m^2", inertia->std);
    (void)snprintf(limit, sizeof limit, "at most %.3g", inertia->value / 3.0);
    tune_error_about(err, "std of the inertia", value, limit);
    return TUNE_ENOSOL;
}

static bool has_raw_lines(const struct pointing_work *pointing)
{
    for (size_t i = 0; i < pointing->n_records; i++)
        if (pointing->record[i].lines.raw) return true;
    return false;
}

enum tune_status chain_identify_pointing(void *user, size_t item, struct tune_error *err)
{
    struct identification_work *work = user;
    struct pointing_work *pointing = &work->pointing[item];
    struct tune_pointing_plant *out = &work->result[item];
    const double loop_rate_hz = work->chain->logbook.drive.loop_rate_hz;
    struct tune_fit_opts opts = tune_fit_defaults(loop_rate_hz);
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    struct progress_item watch;
    enum tune_status status;

    opts.modes = work->chain->job->modes;
    (void)snprintf(out->name, sizeof out->name, "%s", pointing->log[0]->pointing);
    chain_identify_condition(out, pointing);
    out->n_logs = pointing->n_logs;
    progress_item(&watch, &work->progress, item, out->name);
    status = progress_stage(&watch, "reading", 0.0, 0.3, err);
    if (!status) status = chain_identify_records(pointing, work->chain, &watch, err);
    if (!status) status = join_records(&frf, &lines, out, pointing, err);
    if (!status) status = check_sign(&frf, pointing->log[0], err);
    if (!status)
        status = progress_stage(&watch, "fitting", 0.3, pointing->unquiet_s > 0.0 ? 0.5 : 1.0, err);
    if (!status) {
        opts.rough = has_raw_lines(pointing); /* then fitted again */
        status = tune_fit_plant(&out->fit, &frf, &lines, &opts, &watch.watch, err);
        opts.rough = false;
        if (frf.estimator == TUNE_FRF_TABLE)
            status = chain_table_check(&out->fit, status, &frf, &lines, &opts, pointing,
                                       work->chain, err);
    }
    if (!status) status = chain_identify_transients(out, pointing, &frf, &opts, &watch, err);
    if (!status) status = require_inertia(&out->fit.inertia, err);
    status = chain_blame_log(work->chain, pointing->log[0], status, err);
    if (!status) {
        /* on its bound it has none */
        if (out->fit.delay_wanted_s < 0.0) out->fit.delay.std = (double)NAN;
        out->bins = frf.n;
        memcpy(out->band_hz, frf.band_hz, sizeof out->band_hz);
        out->estimator = frf.estimator;
        out->closed_loop = frf.closed_loop;
        out->median_coherence = median(frf.coh, frf.n);
        status = chain_identify_levels(out, pointing, err);
        if (!status) status = chain_identify_cross(out, pointing, work->chain, err);
        if (!status) status = chain_identify_verdicts(out, pointing, work->chain, err);
        doubts(pointing, out, opts.modes);
        if (!status) status = tables(out, pointing, &frf, err);
        if (!status) status = chain_identify_sensors(out, pointing, &lines, work->chain, err);
        if (!status && frf.estimator != TUNE_FRF_TABLE)
            status = chain_identify_assisted(out, pointing, err);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    chain_records_free(pointing);
    if (!status) status = tune_watch_tick(&watch.watch, "done", 1.0, err);
    return status;
}
