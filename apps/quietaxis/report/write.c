/* write.c - the chain's results gathered for the page, and the page written.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "report.h"

#include <stdio.h>
#include <string.h>

struct parts {
    struct tune_logbook logbook;
    struct tune_precheck precheck;
    struct tune_balance balance;
    struct tune_inspection inspection;
    struct tune_identification identification;
    struct tune_proposal proposal;
    struct tune_forecast forecast;
    struct tune_verification verification;
    char folder[TUNE_PATH_LENGTH];
};

/* A step whose data or problem say no is told on the page; what else goes wrong ends the report. */
static enum tune_status optional(enum tune_status status, const char *step, struct report *report,
                                 const struct tune_error *why)
{
    if (status != TUNE_EDATA && status != TUNE_ENOSOL && status != TUNE_EINVAL) return status;
    if (*why->file)
        tune_notes_add(&report->left_out, "%s: %s: %s", step, why->file, why->text);
    else
        tune_notes_add(&report->left_out, "%s: %s", step, why->text);
    return TUNE_OK;
}

static enum tune_status gather(struct parts *parts, struct report *report,
                               const struct tune_job *job, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    if (tune_chain_precheckable(&parts->logbook)) {
        status = tune_chain_precheck(&parts->precheck, job, err);
        if (!status)
            report->precheck = &parts->precheck;
        else
            status = optional(status, "precheck", report, err);
    }
    if (!status && tune_chain_balanceable(&parts->logbook)) {
        status = tune_chain_balance(&parts->balance, job, err);
        if (!status)
            report->balance = &parts->balance;
        else
            status = optional(status, "balance", report, err);
    }
    if (!status) status = tune_chain_inspect(&parts->inspection, job, err);
    if (!status) {
        report->inspection = &parts->inspection;
        status = tune_chain_identify(&parts->identification, job, err);
    }
    if (!status) {
        report->identification = &parts->identification;
        status = tune_chain_design(&parts->proposal, job, err);
        if (!status)
            report->proposal = &parts->proposal;
        else
            status = optional(status, "design", report, err);
    }
    if (!status) {
        status = tune_chain_predict(&parts->forecast, job, err);
        if (!status)
            report->forecast = &parts->forecast;
        else if (!job->controller) /* gains that were asked for must not fail silently */
            status = optional(status, "predict", report, err);
    }
    if (!status && tune_chain_verifiable(&parts->logbook)) {
        status = tune_chain_verify(&parts->verification, job, err);
        if (!status)
            report->verification = &parts->verification;
        else
            status = optional(status, "verify", report, err);
    }
    return status;
}

enum tune_status report_write(char *path, struct tune_notes *left_out, const struct tune_job *job,
                              struct tune_error *err)
{
    struct parts parts;
    struct report report = {.logbook = &parts.logbook, .folder = parts.folder};
    struct buffer html = {0};
    enum tune_status status;
    memset(&parts, 0, sizeof parts);
    status = tune_logbook_read(&parts.logbook, job->logbook, err);
    if (!status) status = tune_job_folder(parts.folder, job, err);
    if (!status) status = gather(&parts, &report, job, err);
    if (!status) status = report_build(&html, &report, job->watch, err);
    if (!status &&
        snprintf(path, TUNE_PATH_LENGTH, "%s/report.html", parts.folder) >= TUNE_PATH_LENGTH)
        status = tune_error_set(err, TUNE_EINVAL, "the name of the output folder is too long");
    if (!status) status = tune_file_write(path, html.bytes, html.size, err);
    if (left_out) *left_out = report.left_out;
    buffer_free(&html);
    tune_verification_free(&parts.verification);
    tune_forecast_free(&parts.forecast);
    tune_proposal_free(&parts.proposal);
    tune_identification_free(&parts.identification);
    tune_inspection_free(&parts.inspection);
    tune_balance_free(&parts.balance);
    tune_precheck_free(&parts.precheck);
    tune_logbook_free(&parts.logbook);
    return status;
}
