/* page.c - the page, from top to bottom.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plot.h"
#include "report.h"
#include "sections.h"

static void begin(struct buffer *html, const struct report *report)
{
    const char *style = plot_embedded("report.css");
    buffer_add(html, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                     "<meta name=\"color-scheme\" content=\"light dark\">\n<title>");
    report_title(html, report);
    buffer_format(html, ": servo report</title>\n<style>\n%s</style>\n</head>\n<body>\n",
                  style ? style : "");
}

static void contents(struct buffer *html, const struct report *report)
{
    buffer_add(html, "<nav aria-label=\"Contents\"><ul>\n<li><a href=\"#answer\">Answer</a></li>\n"
                     "<li><a href=\"#cautions\">Cautions</a></li>\n");
    if (report->identification) buffer_add(html, "<li><a href=\"#plant\">The axis</a></li>\n");
    if (report_controller(report))
        buffer_add(html, "<li><a href=\"#gains\">Gains and margins</a></li>\n");
    if (report_recommended(report) && report->proposal->n_rungs)
        buffer_add(html, "<li><a href=\"#ladder\">Enable ladder</a></li>\n");
    if (report_recommended(report) && report->proposal->n_trials)
        buffer_add(html, "<li><a href=\"#trial\">Simulated axis</a></li>\n");
    if (report_recommended(report))
        buffer_add(html, "<li><a href=\"#drive\">For the drive</a></li>\n");
    if (report->forecast || report->verification)
        buffer_add(html, "<li><a href=\"#jitter\">How still it holds</a></li>\n");
    if (report->balance) buffer_add(html, "<li><a href=\"#balance\">Balance</a></li>\n");
    if (report->precheck)
        buffer_add(html, "<li><a href=\"#first-motions\">First motions</a></li>\n");
    if (report->inspection) buffer_add(html, "<li><a href=\"#logs\">The logs</a></li>\n");
    buffer_add(html, "<li><a href=\"#assumptions\">Assumed, not covered</a></li>\n"
                     "<li><a href=\"#provenance\">Where this comes from</a></li>\n</ul></nav>\n");
}

enum tune_status report_build(struct buffer *html, const struct report *report,
                              const struct tune_watch *watch, struct tune_error *err)
{
    enum tune_status status;
    begin(html, report);
    section_head(html, report);
    contents(html, report);
    buffer_add(html, "<main>\n");
    section_answer(html, report);
    section_cautions(html, report);
    status = section_plant(html, report, watch, err);
    if (!status) status = section_gains(html, report, watch, err);
    section_ladder(html, report);
    section_trial(html, report);
    section_drive(html, report);
    if (!status) status = section_stillness(html, report, watch, err);
    if (!status) status = section_balance(html, report, err);
    section_precheck(html, report);
    section_logs(html, report);
    section_assumptions(html, report);
    section_provenance(html, report);
    buffer_add(html, "</main>\n</body>\n</html>\n");
    if (!status && html->failed) status = tune_error_memory(err, "building the report");
    if (status) buffer_free(html);
    return status;
}
