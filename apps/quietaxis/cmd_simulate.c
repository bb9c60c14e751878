/* cmd_simulate.c - `simulate`: a logbook from a simulated axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "command.h"
#include "print.h"

static void print_text(const struct tune_truth *truth)
{
    char measured[PRINT_CELL], sky[PRINT_CELL], torque[PRINT_CELL];
    printf("%s, simulated; figures are rms\n", truth->provenance.logbook);
    printf("\n  %-20s %-6s %-14s %8s %8s %8s %8s\n", "log", "kind", "pointing", "rows", "encoder",
           "sky", "torque");
    printf("  %-20s %-6s %-14s %8s %8s %8s %8s\n", "", "", "", "", "arcsec", "arcsec", "N m");
    for (size_t i = 0; i < truth->n_logs; i++) {
        const struct tune_truth_log *log = &truth->log[i];
        printf(
            "  %-20.20s %-6s %-14.14s %8zu %8s %8s %8s\n", log->name, tune_log_kind_name(log->kind),
            log->pointing, log->rows, print_number(measured, log->measured_rms_arcsec, 4),
            print_number(sky, log->sky_rms_arcsec, 4), print_number(torque, log->torque_rms_nm, 3));
    }
}

static int run(const struct command_line *line)
{
    const struct tune_simulation_job job = {
        .description = line->argument[0],
        .folder = line->argument[1],
        .controller = line->job.controller,
        .log = line->log,
        .n_logs = line->job.n_logs,
        .has_seed = line->has_seed,
        .seed = line->seed,
        .threads = line->job.threads,
        .watch = line->job.watch,
    };
    struct tune_truth truth;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_simulate(&truth, &job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json) {
        code = print_json(tune_truth_json(&text, &truth, &err), &text, &err);
    } else {
        print_text(&truth);
        for (size_t i = 0; i < truth.n_logs; i++)
            if (truth.log[i].saturated_fraction > 0.0)
                printf("  %s: %.2g %% of the samples on the torque limit\n", truth.log[i].name,
                       100.0 * truth.log[i].saturated_fraction);
        code = print_end(EXIT_DONE);
    }
    tune_truth_free(&truth);
    return code;
}

const struct command command_simulate = {
    .name = "simulate",
    .answers = "writes a logbook from a simulated axis, truth in truth.json",
    .usage = "simulate [OPTIONS] DESCRIPTION DIR",
    .help = "Runs the axis of a description file in the time domain and writes its logs,\n"
            "axis.ini and truth.json to DIR. A logbook of the same axis in DIR gets the\n"
            "logs added. With --controller FILE the loop is closed with the gains in FILE,\n"
            "which is copied into the logbook. The same description and seed give the same\n"
            "logs.\n"
            "\n"
            "  quietaxis simulate datasets/heron-flat/hour-angle.ini simulated\n"
            "\n"
            "Exit: 0 written, 2 misuse or a log of that name is there already, 3 faulty\n"
            "description, 4 the loop runs away under these gains.\n",
    .options = TAKES_CONTROLLER | TAKES_LOG | TAKES_THREADS | TAKES_SEED,
    .arguments = 2,
    .run = run,
};
