/* cmd_inspect.c - `inspect`: are these logs fit for use.  SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "print.h"

static enum print_colour colour_of(enum tune_verdict verdict)
{
    return verdict == TUNE_UNFIT ? PRINT_BAD : verdict == TUNE_FIT ? PRINT_GOOD : PRINT_STRONG;
}

static void print_findings(const struct tune_inspected_log *log)
{
    char text[512];
    for (size_t i = 0; i < log->health.n_findings; i++) {
        const struct tune_finding *finding = &log->health.finding[i];
        size_t used = (size_t)snprintf(text, sizeof text, "%s: %s", finding->name, finding->text);
        if (finding->row > 0 && used < sizeof text)
            used += (size_t)snprintf(text + used, sizeof text - used, " (row %zu, %.6g s)",
                                     finding->row, finding->time_s);
        if (finding->advice[0] && used < sizeof text)
            (void)snprintf(text + used, sizeof text - used, "; %s", finding->advice);
        print_sentence("    ", text);
    }
}

/* The role's name, bare or with its unit. */
static bool own_name(const struct tune_inspected_log *log, unsigned role)
{
    const char *name = tune_role_name((enum tune_role)role), *column = log->column[role];
    const size_t length = strlen(name);
    if (strncmp(column, name, length) != 0) return false;
    return !column[length] ||
           (column[length] == '_' && !strcmp(column + length + 1, log->unit[role]));
}

/* "torque, position <- motor_angle_rad [rad]" */
static void print_channels(const struct tune_inspected_log *log)
{
    char text[1024] = "";
    for (unsigned role = 0; role < TUNE_ROLE_COUNT; role++) {
        const char *unit = log->unit[role];
        const size_t used = strlen(text);
        if (!log->channel[role]) continue;
        if (own_name(log, role))
            (void)snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "",
                           tune_role_name((enum tune_role)role));
        else
            (void)snprintf(text + used, sizeof text - used, "%s%s <- %s%s%s%s", used ? ", " : "",
                           tune_role_name((enum tune_role)role), log->column[role],
                           unit[0] ? " [" : "", unit, unit[0] ? "]" : "");
    }
    if (text[0]) print_sentence("    ", text);
}

/* One measure: ", noise 0.0033 arcsec"; nothing where it could not be measured. */
static void add_measure(char *text, size_t size, const char *name, double value, const char *unit)
{
    const size_t used = strlen(text);
    char cell[PRINT_CELL];
    if (!isfinite(value)) return;
    (void)snprintf(text + used, size - used, "%s%s%s%s%s%s", used ? ", " : "", name,
                   name[0] ? " " : "", print_number(cell, value, 3), unit[0] ? " " : "", unit);
}

/* The same with its std, and only where it stands out: three std. inspect.json has them all. */
static void add_distinct(char *text, size_t size, const char *name, struct tune_estimate x,
                         double factor, const char *unit)
{
    const size_t used = strlen(text);
    char cell[PRINT_CELL];
    if (!isfinite(x.value) || !(fabs(x.value) > 3.0 * x.std)) return;
    (void)snprintf(text + used, size - used, "%s%s %s %s", used ? ", " : "", name,
                   print_estimate(cell, factor * x.value, factor * x.std), unit);
}

static void print_measures(const struct tune_inspected_log *log)
{
    const struct tune_measures *m = &log->health.measures;
    const double arcsec = tune_arcsec_from_rad(1.0);
    char text[1024] = "", name[64];
    add_measure(text, sizeof text, "noise", arcsec * m->noise_rad.value, "arcsec");
    add_measure(text, sizeof text, "step", arcsec * m->step_rad, "arcsec");
    if (isfinite(m->excited_hz[0])) {
        (void)snprintf(name, sizeof name, "excited %.3g to %.4g Hz with coherence",
                       m->excited_hz[0], m->excited_hz[1]);
        add_measure(text, sizeof text, name, m->coherence, "");
    }
    for (int i = 0; i < TUNE_NOISE_BANDS; i++) {
        (void)snprintf(name, sizeof name, "at %g to %g Hz", tune_noise_band_hz[i][0],
                       tune_noise_band_hz[i][1]);
        add_measure(text, sizeof text, i ? "" : "noise over quiet", m->noise_ratio[i].value, name);
    }
    add_distinct(text, sizeof text, "drift", m->drift_rad_per_s, arcsec, "arcsec/s");
    add_distinct(text, sizeof text, "current loop lags", m->current_lag_s, 1e3, "ms");
    for (int i = 0; i < TUNE_LINE_ORDERS; i++) {
        (void)snprintf(name, sizeof name, "interpolation error %.0f per line", tune_line_order[i]);
        add_distinct(text, sizeof text, name, m->interpolation_rad[i], arcsec, "arcsec");
    }
    if (text[0]) print_sentence("    ", text);
}

/* Sweeps that no quiet log can be held against. */
static void print_unjudged(const struct tune_inspection *result)
{
    char text[1024] = "";
    for (size_t i = 0; i < result->n_logs; i++) {
        const struct tune_inspected_log *log = &result->log[i];
        const size_t used = strlen(text);
        if (log->kind != TUNE_LOG_SWEEP || !log->rows) continue;
        if (isfinite(log->health.measures.noise_ratio[0].value)) continue;
        (void)snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "", log->name);
    }
    if (!text[0]) return;
    printf("\n");
    print_sentence("", "Not looked for friction, for want of a hold or track log of the same "
                       "pointing under the same gains:");
    print_sentence("  ", text);
}

static void print_last(const struct tune_inspected_log *log)
{
    char text[128];
    if (!strcmp(log->name, log->last)) return;
    (void)snprintf(text, sizeof text, "to %s: logs that go on from each other, judged as one",
                   log->last);
    print_sentence("    ", text);
}

/* "plant, 0.5 to 240 Hz" */
static void print_table(const struct tune_inspected_log *log)
{
    char text[100];
    if (log->kind != TUNE_LOG_RESPONSE || !log->rows) return;
    (void)snprintf(text, sizeof text, "response of the %s, %.4g to %.4g Hz",
                   log->of_loop ? "open loop" : "plant", log->band_hz[0], log->band_hz[1]);
    print_sentence("    ", text);
}

static void print_text(const struct tune_inspection *result)
{
    printf("%s\n\n  %-20s %-8s %-14s %8s %8s %8s\n", result->provenance.logbook, "", "", "", "",
           "rate", "error");
    printf("  %-20s %-8s %-14s %8s %8s %8s\n", "log", "kind", "verdict", "rows", "Hz", "arcsec");
    for (size_t i = 0; i < result->n_logs; i++) {
        const struct tune_inspected_log *log = &result->log[i];
        char rate[PRINT_CELL], error[PRINT_CELL], verdict[PRINT_CELL];
        printf("  %-20.20s %-8s ", log->name, tune_log_kind_name(log->kind));
        (void)snprintf(verdict, sizeof verdict, "%-14s", tune_verdict_name(log->health.verdict));
        print_coloured(colour_of(log->health.verdict), verdict);
        printf(" %8zu %8s %8s\n", log->rows, print_number(rate, log->rate_hz, 6),
               print_number(error, log->error_rms_arcsec, 3));
        print_last(log);
        print_channels(log);
        print_table(log);
        print_measures(log);
        print_findings(log);
    }
    print_unjudged(result);
    print_notes("Notes", &result->notes);
}

static int run(const struct command_line *line)
{
    struct tune_inspection result;
    struct tune_error err;
    char *text = NULL;
    int code;
    if (tune_chain_inspect(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    code = EXIT_DONE;
    if (line->json && !line->silent)
        code = print_json(tune_inspection_json(&text, &result, &err), &text, &err);
    else if (!line->silent)
        print_text(&result);
    if (code == EXIT_DONE) code = print_end(result.verdict == TUNE_UNFIT ? EXIT_NO : EXIT_DONE);
    tune_inspection_free(&result);
    return code;
}

const struct command command_inspect = {
    .name = "inspect",
    .answers = "are these logs fit for use",
    .usage = "inspect [OPTIONS] LOGBOOK",
    .help = "Reads every log and says whether it is fit for what it is meant for, fit with\n"
            "care, or unfit; what was found, in which row, and what to do. A log that\n"
            "cannot be read is unfit. Writes inspect.json.\n"
            "\n"
            "  quietaxis inspect hour-angle\n"
            "\n"
            "Exit: 0 every log may be used, 1 a log is unfit, 2 misuse or a file is not\n"
            "there, 3 faulty axis.ini.\n",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
