/* cmd_analyse.c - `analyse`: everything the logs allow, in order, ending with the report.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "print.h"
#include "report/report.h"

/* What the logbook has to offer. */
struct offer {
    bool first_motions, turns, sweeps /* or tables in their place */, verifiable;
};

/* Does a plant come of it? */
static bool identifies(const struct tune_logbook *logbook, const struct tune_log_entry *log)
{
    if (log->kind == TUNE_LOG_SWEEP) return true;
    return log->kind == TUNE_LOG_RESPONSE &&
           (!log->of_loop || logbook->has_controller || log->controller_file[0]);
}

static enum tune_status look(struct offer *out, const struct tune_job *job, struct tune_error *err)
{
    struct tune_logbook logbook;
    const enum tune_status status = tune_logbook_read(&logbook, job->logbook, err);
    memset(out, 0, sizeof *out);
    if (status) return status;
    for (size_t i = 0; i < logbook.n_logs; i++)
        out->sweeps = out->sweeps || identifies(&logbook, &logbook.log[i]);
    out->first_motions = tune_chain_precheckable(&logbook) > 0 && job->n_logs == 0;
    out->turns = tune_chain_balanceable(&logbook) > 0 && job->n_logs == 0;
    out->verifiable = tune_chain_verifiable(&logbook) > 0;
    tune_logbook_free(&logbook);
    return TUNE_OK;
}

/* One step: its own command prints it as if it had been asked alone. */
static int step(const struct command_line *line, const struct command *command)
{
    struct command_line one = *line;
    one.command = command;
    one.step = true;
    one.job.as_before = true;
    one.job.log = one.log;
    one.job.pointing = one.pointing;
    one.job.accept = one.accept;
    one.silent = line->json;
    if (!line->json) printf("%s== %s ==\n", command == &command_inspect ? "" : "\n", command->name);
    return command->run(&one);
}

/* Which files came of it, in order. */
struct yield {
    const char *file[9];
    size_t n;
    int answer;
};

/* First motions that disagree, or tell nothing, do not keep the rest from being done; but nobody shall
 * overlook them. */
static void warn(const struct command_line *line, int *code)
{
    if (*code == EXIT_DONE) return;
    if (*code == EXIT_UNUSABLE) *code = EXIT_NO;
    command_say(line,
                "PRECHECK DISAGREES OR CANNOT BE DONE: do not use any gains that follow before "
                "that is settled.");
}

/* Returns EXIT_DONE when every step was done, whatever it answered. */
static int run_steps(struct yield *out, const struct command_line *line, const struct offer *offer)
{
    const struct {
        const struct command *command;
        bool offered;
        const char *file;
    } order[] = {
        {&command_inspect, true, "inspect.json"},
        {&command_precheck, offer->first_motions, "precheck.json"},
        {&command_balance, offer->turns, "balance.json"},
        {&command_identify, offer->sweeps, "identify.json"},
        {&command_design, offer->sweeps, "design.json"},
        {&command_predict, offer->sweeps, "predict.json"},
        {&command_verify, offer->verifiable, "verify.json"},
    };
    for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
        int code;
        if (!order[i].offered) continue;
        code = step(line, order[i].command);
        if (order[i].command == &command_precheck) warn(line, &code);
        if (code > EXIT_NO) return code;
        out->file[out->n++] = order[i].file;
        /* an unfit log that no later step needs does not decide; a missed requirement does */
        if (code == EXIT_NO && order[i].command != &command_inspect) out->answer = EXIT_NO;
    }
    return EXIT_DONE;
}

static int write_report(struct yield *out, struct tune_notes *left_out,
                        const struct command_line *line)
{
    char path[TUNE_PATH_LENGTH];
    struct tune_error err;
    struct tune_job job = line->job;
    enum tune_status status;
    job.as_before = true;
    status = report_write(path, left_out, &job, &err);
    command_progress_done();
    if (status) return command_fail(&err);
    for (size_t i = 0; i < left_out->n; i++)
        command_say(line, "not in the report: %s", left_out->text[i]);
    out->file[out->n++] = "report.html";
    if (!line->json) printf("\n== report ==\n%s\n", path);
    return EXIT_DONE;
}

static int run(const struct command_line *line)
{
    struct tune_notes left_out = {0};
    struct yield yield = {.answer = EXIT_DONE};
    struct offer offer;
    struct tune_error err;
    char *text = NULL;
    int code;
    if (look(&offer, &line->job, &err)) return command_fail(&err);
    if (!offer.sweeps)
        command_say(line,
                    "There is no sweep, and no table in its place: only what needs none is done.");
    code = run_steps(&yield, line, &offer);
    if (code == EXIT_DONE && offer.sweeps) code = write_report(&yield, &left_out, line);
    if (code == EXIT_DONE && line->json)
        code = print_json(
            tune_listing_json(&text, "quietaxis-analyse-1", yield.file, yield.n, &left_out, &err),
            &text, &err);
    return code == EXIT_DONE ? print_end(yield.answer) : code;
}

const struct command command_analyse = {
    .name = "analyse",
    .answers = "everything the logs allow, in order, ending with the report",
    .usage = "analyse [OPTIONS] LOGBOOK",
    .help = "inspect, precheck where first motions were logged, balance where slow turns\n"
            "were, identify, design, predict, verify where there is something to verify, and\n"
            "report, in this order. Stops at the first step that cannot be done, but not at\n"
            "precheck: that warns. A design that is there stays what it is, calm or bold;\n"
            "design makes it the other.\n"
            "\n"
            "  quietaxis analyse hour-angle\n"
            "\n"
            "Exit: 0 requirement met, 1 requirement missed, precheck disagrees or the axis\n"
            "would not be at rest everywhere, 2 misuse or a file is not there, 3 unusable\n"
            "data, 4 no solution found.\n",
    .log_help = "only this log among those of its use; may be repeated",
    .options = TAKES_OUT | TAKES_CONTROLLER | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT |
               TAKES_MODES | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
