/* cmd_report.c - `report`: everything about the axis in one HTML file.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "command.h"
#include "print.h"
#include "report/report.h"

static int run(const struct command_line *line)
{
    const char *const files[] = {"report.html"};
    char path[TUNE_PATH_LENGTH], *text = NULL;
    struct tune_notes left_out = {0};
    struct tune_error err;
    struct tune_job job = line->job;
    enum tune_status status;
    job.as_before = true;
    status = report_write(path, &left_out, &job, &err);
    command_progress_done();
    if (status) return command_fail(&err);
    for (size_t i = 0; i < left_out.n; i++)
        command_say(line, "not in the report: %s", left_out.text[i]);
    if (line->json)
        return print_json(tune_listing_json(&text, "quietaxis-report-1", files, 1, &left_out, &err),
                          &text, &err);
    printf("%s\n", path);
    return print_end(EXIT_DONE);
}

const struct command command_report = {
    .name = "report",
    .answers = "one self-contained HTML file",
    .usage = "report [OPTIONS] LOGBOOK",
    .help = "Does what the logs allow (inspect, identify, design, predict, verify), taking\n"
            "fresh results again, and writes results/report.html: the answer, cautions,\n"
            "tables, plots, assumptions and the hashes of its inputs in one file that opens\n"
            "without a network. A step the logs do not allow is left out, and the page says\n"
            "why. The plots are drawn by gnuplot, which must be installed.\n"
            "\n"
            "  quietaxis report hour-angle\n"
            "\n"
            "Prints the name of the file. With --controller FILE the loop and the\n"
            "prediction are those of the gains in FILE. The design is the one that is there,\n"
            "calm or bold, with its bound; with --bold or --bound it is made so, and where\n"
            "its logs or the logbook have changed it is made anew in the same way.\n"
            "Exit: 0 written, 2 misuse or no gnuplot, 3 unusable data, 4 no fit found.\n",
    .log_help = "only this log among those of its use; may be repeated",
    .options = TAKES_OUT | TAKES_CONTROLLER | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT |
               TAKES_MODES | TAKES_THREADS | TAKES_GOAL | TAKES_BOUND,
    .arguments = 1,
    .run = run,
};
