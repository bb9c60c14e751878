/* identify_table.c - one table of responses: read, as a plant to fit, refused where no axis answers so.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "chain/identify_tables_internal.h"

/* Mean cosine of the phase over the lowest octave: +1 is a spring's, -1 an inertia's; a slope of |G| that no
 * inertia has. As inspect judges (inspect_table.c). */
static const double spring = 0.5, flat = -0.5;

enum tune_status chain_table_read(struct tune_response *out, const struct chain *chain,
                                  const struct tune_log_entry *log, struct tune_error *err)
{
    const struct tune_response_opts opts = {.of_loop = log->of_loop,
                                            .torque_per_unit_nm = log->reading.torque_per_unit_nm,
                                            .encoder_counts_per_turn =
                                                log->reading.encoder_counts_per_turn};
    char path[TUNE_PATH_LENGTH];
    enum tune_status status = tune_logbook_join(path, &chain->logbook, log->file, err);
    *out = (struct tune_response){0};
    return status ? status
                  : chain_name_section(log, tune_response_read(out, path, &opts, err), err);
}

size_t chain_table_points(const struct tune_response *table, double loop_rate_hz)
{
    size_t n = 0;
    while (n < table->n && table->f_hz[n] < 0.5 * loop_rate_hz)
        n++;
    return n;
}

enum tune_status chain_table_turn(struct tune_response *table,
                                  const struct tune_controller *controller, struct tune_error *err)
{
    double complex *c = malloc((table->n + 1) * sizeof *c);
    if (!c) return tune_error_memory(err, "reading a table of responses");
    tune_controller_eval(c, controller, table->f_hz, table->n);
    for (size_t i = 0; i < table->n; i++) {
        const double complex factor = table->of_loop ? 1.0 / c[i] : c[i];
        table->g[i] *= factor;
        if (table->std) table->std[i] *= cabs(factor);
    }
    table->of_loop = !table->of_loop;
    free(c);
    return TUNE_OK;
}

static enum tune_status refuse(struct tune_error *err, const char *text)
{
    tune_error_set(err, TUNE_EDATA, "%s", text);
    return TUNE_EDATA;
}

static enum tune_status check_low_end(const struct tune_frf *frf, struct tune_error *err)
{
    double cosine, slope;
    tune_table_low_end(&cosine, &slope, frf->f_hz, frf->g, frf->n);
    if (cosine >= spring)
        return refuse(err,
                      "over the lowest octave the angle follows the torque as in a spring, not "
                      "as an inertia: a sign is wrong, or the axis stuck while the table was "
                      "taken; turn the phase by 180 degrees where the sign is");
    if (cosine <= -spring && slope >= flat)
        return refuse(err,
                      "over the lowest octave the phase is that of an inertia, but the gain does "
                      "not fall with frequency: see that gain_db is in dB, and that the table is "
                      "of angle per torque, not of speed or acceleration");
    return TUNE_OK;
}

enum tune_status chain_table_plant(struct tune_frf *frf, struct tune_lines *lines, size_t *rows,
                                   const struct chain *chain, const struct tune_log_entry *log,
                                   bool of_loop, struct tune_error *err)
{
    const double rate_hz = chain->logbook.drive.loop_rate_hz;
    struct tune_response table;
    struct chain_gains gains;
    enum tune_table_error source = TUNE_TABLE_STD;
    bool found = false;
    enum tune_status status = chain_table_read(&table, chain, log, err);
    if (!status) *rows = table.n;
    if (!status) table.n = chain_table_points(&table, rate_hz);
    table.of_loop = of_loop;
    if (!status && of_loop) {
        status = chain_log_gains(&gains, &found, chain, log, err);
        if (!status) status = chain_table_turn(&table, &gains.controller, err);
    }
    if (!status) status = tune_table_frf(frf, lines, &source, &table, 0.5 * rate_hz, err);
    tune_response_free(&table);
    return status;
}

static enum tune_status read_record(struct pointing_record *out, struct pointing_work *pointing,
                                    const struct chain *chain, struct tune_error *err)
{
    const struct tune_log_entry *log = out->log;
    enum tune_status status =
        chain_table_plant(&out->frf, &out->lines, &pointing->rows[pointing->n_records], chain, log,
                          log->of_loop, err);
    if (!status) status = check_low_end(&out->frf, err);
    out->quiet_ends = true;
    out->excitation_rms_nm = out->torque_rms_nm = out->noise_square = (double)NAN;
    return chain_blame_log(chain, log, status, err);
}

enum tune_status chain_identify_table_records(struct pointing_work *pointing,
                                              const struct chain *chain, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    pointing->record = calloc(pointing->n_logs, sizeof *pointing->record);
    if (!pointing->record) return tune_error_memory(err, "reading tables of responses");
    while (!status && pointing->n_records < pointing->n_logs) {
        struct pointing_record *record = &pointing->record[pointing->n_records];
        record->log = pointing->log[pointing->n_records];
        status = read_record(record, pointing, chain, err);
        pointing->n_records++;
    }
    return status;
}

/* ---- the other sign of phase --------------------------------------------------------------------*/

/* A fit worse than this, or with a delay below 0, asks for a look at the mirrored table. That must then be
 * explained so many times better by as many modes; half as clearly will do where the fit wants a delay of
 * this many loop periods. */
static const double poor = 10.0, clearly = 10.0, half_clearly = 2.0, impossible_delay = -0.9;

/* Of a loop L the mirrored plant is conj(L)/C = conj(G) conj(C)/C. Mirrored twice it is as it was, but for
 * rounding. */
static double complex mirrored(double complex g, double f_hz, const struct tune_controller *gains)
{
    double complex c;
    if (!gains) return conj(g);
    tune_controller_eval(&c, gains, &f_hz, 1);
    return conj(g) * (conj(c) / c);
}

void chain_table_mirror(const struct tune_frf *frf, const struct tune_lines *lines,
                        const struct tune_controller *gains)
{
    for (size_t i = 0; i < frf->n; i++)
        frf->g[i] = mirrored(frf->g[i], frf->f_hz[i], gains);
    for (size_t i = 0; i < lines->n; i++) /* u of a table is 1 */
        lines->y[i] = mirrored(lines->y[i], lines->f_hz[i], gains);
}

/* Reduced chi-square of a fit with so many modes at most; INFINITY where there is none, or none with a
 * delay at or above least_s. *n_modes comes back as found. */
static enum tune_status judge(double *chi_square, size_t *n_modes, double least_s,
                              const struct tune_frf *frf, const struct tune_lines *lines,
                              const struct tune_fit_opts *opts, struct tune_error *err)
{
    struct tune_fit_opts fewer = *opts;
    struct tune_fit fit;
    struct tune_error ignored = {0};
    enum tune_status status;
    fewer.max_modes = *n_modes;
    status = tune_fit_plant(&fit, frf, lines, &fewer, NULL, &ignored);
    *chi_square = INFINITY;
    if (status == TUNE_ENOMEM) return tune_error_memory(err, "fitting the plant");
    if (status) return TUNE_OK;
    if (fit.delay_wanted_s >= least_s) *chi_square = fit.reduced_chi_square;
    *n_modes = fit.plant.n_modes;
    tune_fit_free(&fit);
    return TUNE_OK;
}

static enum tune_status check_phase(const struct tune_fit *fit, enum tune_status fitted,
                                    const struct tune_frf *frf, const struct tune_lines *lines,
                                    const struct tune_fit_opts *opts,
                                    const struct tune_controller *gains, struct tune_error *err)
{
    const double needed =
        fit->delay_wanted_s * opts->loop_rate_hz < impossible_delay ? half_clearly : clearly;
    double turned, straight;
    size_t n_modes = opts->max_modes;
    enum tune_status status;
    if (fitted && fitted != TUNE_ENOSOL) return fitted;
    if (!fitted && fit->reduced_chi_square < poor && fit->delay_wanted_s >= 0.0) return TUNE_OK;
    chain_table_mirror(frf, lines, gains);
    status = judge(&turned, &n_modes, 0.0, frf, lines, opts, err);
    chain_table_mirror(frf, lines, gains);
    if (status || isinf(turned)) return status ? status : fitted;
    status = judge(&straight, &n_modes, -INFINITY, frf, lines, opts, err);
    if (status || !(turned * needed < straight)) return status ? status : fitted;
    return refuse(err,
                  "the phases of the table have the other sign: with lag as negative phase an "
                  "axis with a delay explains it, as it stands none does; turn the sign of the "
                  "phase (of imag)");
}

/* ---- a table of something else ------------------------------------------------------------------*/

/* Where model and table differ by more than this part of both, noise taken off, the table is of no axis
 * (common practice, no source). */
const double chain_table_misfit_most = 0.2;

enum tune_status chain_table_misfit(double *out, const struct tune_fit *fit,
                                    const struct tune_frf *frf, struct tune_error *err)
{
    double complex *g = malloc((frf->n + 1) * sizeof *g);
    double *std = malloc((frf->n + 1) * sizeof *std), sum = 0.0;
    enum tune_status status = g && std ? tune_fit_response(g, std, fit, frf->f_hz, frf->n, err)
                                       : tune_error_memory(err, "judging the fit of a table");
    for (size_t i = 0; !status && i < frf->n; i++) {
        const double e = cabs(frf->g[i] - g[i]), known = isfinite(frf->std[i]) ? frf->std[i] : e;
        sum +=
            fmax(e * e - known * known, 0.0) / (pow(cabs(frf->g[i]), 2.0) + pow(cabs(g[i]), 2.0));
    }
    *out = sqrt(sum / (double)(frf->n ? frf->n : 1));
    free(g);
    free(std);
    return status;
}

static enum tune_status check_misfit(const struct tune_fit *fit, const struct tune_frf *frf,
                                     bool of_loop, struct tune_error *err)
{
    char value[TUNE_ERROR_WORD], limit[TUNE_ERROR_WORD];
    double part;
    const enum tune_status status = chain_table_misfit(&part, fit, frf, err);
    if (status || part <= chain_table_misfit_most) return status;
    tune_error_set(err, TUNE_EDATA,
                   "no axis answers like this table: the best fit departs from it by %.0f %%; see "
                   "that it is of the %s (of = plant, loop), that lag is negative phase, and that "
                   "units%s are right",
                   100.0 * part, of_loop ? "open loop, not of the plant" : "plant, not of the loop",
                   of_loop ? " and the gains of the loop" : "");
    (void)snprintf(value, sizeof value, "%.0f %%", 100.0 * part);
    (void)snprintf(limit, sizeof limit, "at most %.0f %%", 100.0 * chain_table_misfit_most);
    tune_error_about(err, "misfit", value, limit);
    return TUNE_EDATA;
}

/* No telescope axis: what a direct drive gives one lies far below (common practice, no source). */
static const double wild_rad_per_s2 = 1000.0;

/* Where no gains tell plant from loop, the drive's torque does: a loop passes for a plant as light as a feather. */
static enum tune_status check_light(const struct tune_fit *fit, const struct tune_log_entry *log,
                                    const struct chain *chain, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &chain->logbook.drive;
    const double torque_nm =
        drive->torque_limit_nm > 0.0 ? drive->torque_limit_nm : drive->torque_continuous_nm;
    const double most = torque_nm / fit->inertia.value;
    char value[TUNE_ERROR_WORD];
    if (log->of_loop || !(most > wild_rad_per_s2)) return TUNE_OK;
    tune_error_set(
        err, TUNE_EDATA,
        "[log %.40s] says of = plant, which gives an inertia of %.3g kg m^2: the %.3g N m "
        "of the drive would turn it with %.2g rad/s^2, no telescope axis. The table is of "
        "an open loop (of = loop, and state the gains), or its unit is wrong",
        log->name, fit->inertia.value, torque_nm, most);
    (void)snprintf(value, sizeof value, "%.2g rad/s^2", most);
    tune_error_about(err, "acceleration", value, "1000 rad/s^2 at most");
    return TUNE_EDATA;
}

enum tune_status chain_table_check(const struct tune_fit *fit, enum tune_status fitted,
                                   const struct tune_frf *frf, const struct tune_lines *lines,
                                   const struct tune_fit_opts *opts,
                                   const struct pointing_work *pointing, const struct chain *chain,
                                   struct tune_error *err)
{
    const struct tune_log_entry *log = pointing->log[0];
    struct chain_gains gains;
    bool found = false;
    enum tune_status status = TUNE_OK;
    status = chain_table_check_kind(fit, fitted, frf, lines, opts, pointing, chain, err);
    if (!status && log->of_loop) status = chain_log_gains(&gains, &found, chain, log, err);
    if (!status)
        status = check_phase(fit, fitted, frf, lines, opts, found ? &gains.controller : NULL, err);
    /* fewer modes than the table shows are bound to miss it */
    if (!status && opts->modes == 0) status = check_misfit(fit, frf, log->of_loop, err);
    if (!status && !fitted) status = check_light(fit, log, chain, err);
    return status;
}
