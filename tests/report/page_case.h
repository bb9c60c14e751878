/* page_case.h - pages of the sample, with and without plots.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_PAGE_CASE_H
#define TEST_PAGE_CASE_H

#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "report/sample.h"

static inline struct sample *start(char **folder)
{
    struct sample *sample = calloc(1, sizeof *sample);
    *folder = check_folder();
    assert_non_null(sample);
    sample_fill(sample, *folder, NULL);
    return sample;
}

static inline void finish(struct sample *sample, char *folder)
{
    free(sample);
    check_folder_remove(folder);
}

/* The page without plots, which take time: nothing identified, nothing predicted. */
static inline struct sample *start_bare(char **folder)
{
    struct sample *sample = calloc(1, sizeof *sample);
    assert_non_null(sample);
    *folder = check_folder();
    sample_fill(sample, NULL, NULL);
    sample->report.identification = NULL;
    sample->report.forecast = NULL;
    sample->report.proposal = NULL;
    return sample;
}

/* A page about the proposal alone. */
static inline struct sample *start_proposal(char **folder)
{
    struct sample *s = start_bare(folder);
    s->report.proposal = &s->proposal;
    s->report.verification = NULL;
    return s;
}

static inline void expect_page(const struct report *report, const char *says, const char *says_not)
{
    struct buffer html = {0};
    struct tune_error err;
    assert_int_equal(report_build(&html, report, NULL, &err), TUNE_OK);
    if (says && !strstr(html.bytes, says)) print_error("not on the page: %s\n", says);
    assert_true(!says || strstr(html.bytes, says));
    assert_true(!says_not || !strstr(html.bytes, says_not));
    buffer_free(&html);
}

#endif
