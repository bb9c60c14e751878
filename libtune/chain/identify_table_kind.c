/* identify_table_kind.c - is a table of the plant, or of the open loop? Where gains are known it is read the other
 * way round, too.
 *
 * A loop taken for a plant, or a plant divided by the gains, asks for many broad modes, and under the gains it makes
 * no loop that is stable and crosses gain 1 within the table. Where one reading makes such a loop and the other
 * does not, that decides. Else n ln(reduced chi-square) and the price of the modes (tune_fit_mode_price()) do, a
 * description length whatever the std of the table is worth: the other reading must be shorter by several prices.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdio.h>

#include "chain/identify_tables_internal.h"

/* In prices of a mode; common practice, no source. */
static const double clearly = 3.0;

/* So far off the table a fit may be whatever the other is. */
static const double as_near = 0.1;

/* A table read one way. length: INFINITY where no axis answers so. */
struct reading {
    double length, misfit, inertia_kg_m2;
    size_t modes;
    bool holds,
        judged; /* the loop of that plant under the stated gains is stable and crosses gain 1 within the
                           table; can it be told? */
};

static double length_of(const struct tune_fit *fit)
{
    double mode = tune_fit_mode_price(fit->lines);
    if (fit->plant.complex_residues) mode += tune_fit_phase_price(fit->lines);
    return (double)fit->lines * log(fit->reduced_chi_square) + (double)fit->plant.n_modes * mode;
}

static bool crosses(const struct tune_frf *frf, const struct tune_controller *gains)
{
    const double f_hz[2] = {frf->f_hz[0], frf->f_hz[frf->n - 1]};
    double complex c[2];
    tune_controller_eval(c, gains, f_hz, 2);
    return cabs(frf->g[0] * c[0]) > 1.0 && cabs(frf->g[frf->n - 1] * c[1]) < 1.0;
}

/* fitted: what the fit came to. */
static enum tune_status take(struct reading *out, const struct tune_fit *fit,
                             enum tune_status fitted, const struct tune_frf *frf,
                             const struct tune_controller *gains, struct tune_error *err)
{
    struct tune_model_margins margins;
    enum tune_status status;
    *out = (struct reading){.length = (double)INFINITY, .misfit = (double)INFINITY};
    if (fitted)
        return fitted == TUNE_ENOMEM ? tune_error_memory(err, "fitting the plant") : TUNE_OK;
    out->length = length_of(fit);
    out->inertia_kg_m2 = fit->inertia.value;
    out->modes = fit->plant.n_modes;
    status = chain_table_misfit(&out->misfit, fit, frf, err);
    if (!status) status = chain_model_margins(&margins, &out->judged, &fit->plant, gains, err);
    out->holds = !status && out->judged && margins.stable && crosses(frf, gains);
    return status;
}

/* Every table of the pointing read against its `of`; n = 0 in frf where one cannot be. */
static enum tune_status read_otherwise(struct tune_frf *frf, struct tune_lines *lines,
                                       const struct pointing_work *pointing,
                                       const struct chain *chain, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < pointing->n_logs; i++) {
        const struct tune_log_entry *log = pointing->log[i];
        struct tune_frf one = {0};
        struct tune_lines of_one = {0};
        struct chain_gains gains;
        size_t rows;
        bool found;
        status = chain_log_gains(&gains, &found, chain, log, err);
        if (!status && !found) break;
        if (!status)
            status = chain_table_plant(&one, &of_one, &rows, chain, log, !log->of_loop, err);
        if (!status) status = tune_frf_append(frf, &one, err);
        if (!status) status = tune_lines_append(lines, &of_one, err);
        tune_frf_free(&one);
        tune_lines_free(&of_one);
        if (!found) break;
    }
    return status;
}

static enum tune_status fit_otherwise(struct reading *out, const struct tune_fit_opts *opts,
                                      const struct pointing_work *pointing,
                                      const struct chain *chain,
                                      const struct tune_controller *gains, struct tune_error *err)
{
    struct tune_frf frf = {0};
    struct tune_lines lines = {0};
    struct tune_fit fit = {0};
    enum tune_status status = read_otherwise(&frf, &lines, pointing, chain, err), fitted;
    if (status == TUNE_EDATA) { /* read so it tells nothing */
        tune_error_clear(err);
        frf.n = 0;
        status = TUNE_OK;
    }
    *out = (struct reading){.length = (double)INFINITY, .misfit = (double)INFINITY};
    if (!status && frf.n > 0) {
        struct tune_error ignored;
        fitted = tune_fit_plant(&fit, &frf, &lines, opts, NULL, &ignored);
        status = take(out, &fit, fitted, &frf, gains, err);
        if (!(fit.inertia.std <= fit.inertia.value / 3.0)) out->length = (double)INFINITY;
        tune_fit_free(&fit);
    }
    tune_frf_free(&frf);
    tune_lines_free(&lines);
    return status;
}

/* How long the mirrored table is: a sign of phase may be what is wrong. */
static enum tune_status fit_mirrored(double *length, const struct tune_frf *frf,
                                     const struct tune_lines *lines,
                                     const struct tune_fit_opts *opts,
                                     const struct tune_controller *gains, struct tune_error *err)
{
    struct tune_fit fit = {0};
    struct tune_error ignored;
    enum tune_status status;
    chain_table_mirror(frf, lines, gains);
    status = tune_fit_plant(&fit, frf, lines, opts, NULL, &ignored);
    chain_table_mirror(frf, lines, gains);
    *length = !status && fit.delay_wanted_s >= 0.0 ? length_of(&fit) : (double)INFINITY;
    tune_fit_free(&fit);
    return status == TUNE_ENOMEM ? tune_error_memory(err, "fitting the plant") : TUNE_OK;
}

/* Where one of the two loops holds and the other does not, that one: a table that departs smoothly from every axis
 * may be fitted better by the many modes of the wrong reading. */
static bool other_is_right(const struct reading *declared, const struct reading *other, size_t n)
{
    if (isinf(other->length) || other->misfit > chain_table_misfit_most) return false;
    if (declared->holds && other->judged && !other->holds) return false;
    if (other->holds && !declared->holds && (declared->judged || isinf(declared->length)))
        return other->misfit <= fmax(as_near, 2.0 * declared->misfit);
    return declared->length - other->length > clearly * tune_fit_mode_price(n);
}

/* "an inertia of 0.0304 kg m^2 with 3 modes, off the table by 7.1 %, and no such loop" */
static void say(char text[128], const struct reading *r)
{
    if (isinf(r->length))
        (void)snprintf(text, 128, "no axis at all");
    else
        (void)snprintf(text, 128,
                       "an inertia of %.4g kg m^2 with %zu mode%s, off the table by %.2g %%%s",
                       r->inertia_kg_m2, r->modes, r->modes == 1 ? "" : "s", 100.0 * r->misfit,
                       r->judged && !r->holds ? ", and no such loop" : "");
}

static enum tune_status refuse(const struct reading *declared, const struct reading *other,
                               const struct tune_log_entry *log, struct tune_error *err)
{
    const char *is = log->of_loop ? "loop" : "plant", *be = log->of_loop ? "plant" : "loop";
    char as_is[128], as_other[128];
    say(as_is, declared);
    say(as_other, other);
    tune_error_set(
        err, TUNE_EDATA,
        "[log %.40s] says of = %s, which gives %s; of = %s gives %s with the gains stated. "
        "Write of = %s; or, where it is of the %s, state the gains that were active while "
        "it was taken",
        log->name, is, as_is, be, as_other, be, is);
    tune_error_about(err, "of", is, be);
    return TUNE_EDATA;
}

enum tune_status chain_table_check_kind(const struct tune_fit *fit, enum tune_status fitted,
                                        const struct tune_frf *frf, const struct tune_lines *lines,
                                        const struct tune_fit_opts *opts,
                                        const struct pointing_work *pointing,
                                        const struct chain *chain, struct tune_error *err)
{
    const struct tune_log_entry *log = pointing->log[0];
    struct reading declared, other;
    struct chain_gains gains;
    double mirrored = (double)INFINITY;
    bool found;
    enum tune_status status = chain_log_gains(&gains, &found, chain, log, err);
    if (status || !found || (fitted && fitted != TUNE_ENOSOL)) return status;
    status = take(&declared, fit, fitted, frf, &gains.controller, err);
    if (!status) status = fit_otherwise(&other, opts, pointing, chain, &gains.controller, err);
    if (status || !other_is_right(&declared, &other, frf->n)) return status;
    status =
        fit_mirrored(&mirrored, frf, lines, opts, log->of_loop ? &gains.controller : NULL, err);
    if (status || mirrored < other.length) return status;
    return refuse(&declared, &other, log, err);
}

void chain_table_tell_kind(struct tune_notes *notes, const struct tune_measured_table *t,
                           const struct tune_response *table)
{
    double least = (double)INFINITY, most = 0.0;
    for (size_t i = 0; i < table->n; i++) {
        least = fmin(least, cabs(table->g[i]));
        most = fmax(most, cabs(table->g[i]));
    }
    if (!t->of_loop && most >= 1.0)
        tune_notes_add(
            notes,
            "Log %s: a response of up to %.3g rad per N m is that of a very light axis, or "
            "the table is of an open loop (of = loop). State the gains, in [controller] or "
            "the log's own file, and the one is told from the other; [expected] "
            "inertia_kg_m2 tells, too.",
            t->log, most);
    if (t->of_loop && (most < 1.0 || least > 1.0))
        tune_notes_add(notes,
                       "Log %s: nowhere in its band does the loop have gain 1 (%.3g to %.3g): its "
                       "crossover lies outside, or the table is of the plant (of = plant).",
                       t->log, least, most);
}
