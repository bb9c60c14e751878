/* report.h - one self-contained HTML file of everything that is known about an axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_REPORT_H
#define REPORT_REPORT_H

#include "buffer.h"
#include "tune.h"

/* What the page is made from. Only the logbook is required; what is NULL is left out, and left_out says
 * why. */
struct report {
    const struct tune_logbook *logbook;
    const struct tune_precheck *precheck;
    const struct tune_balance *balance;
    const struct tune_inspection *inspection;
    const struct tune_identification *identification;
    const struct tune_proposal *proposal;
    const struct tune_forecast *forecast;
    const struct tune_verification *verification;
    const char *folder; /* where frf-*.csv, model-*.csv and jitter.csv lie */
    struct tune_notes left_out;
};

/* The page; release with buffer_free(). Draws the plots with gnuplot.
 *   TUNE_EIO     gnuplot missing or failing, a CSV file not there
 *   TUNE_EDATA   a CSV file that is not what identify and predict write
 *   TUNE_ENOMEM, TUNE_ECANCELLED */
enum tune_status report_build(struct buffer *html, const struct report *report,
                              const struct tune_watch *watch, struct tune_error *err);

/* Does everything the logs allow (what is fresh is taken again) and writes report.html to the output
 * folder; path[TUNE_PATH_LENGTH] receives its name. Steps that could not be done are told on the page,
 * and in *left_out (may be NULL). Fails as tune_chain_identify() and report_build() do. */
enum tune_status report_write(char *path, struct tune_notes *left_out, const struct tune_job *job,
                              struct tune_error *err);

#endif
