/* test_measured_loops.c - margins of tables on the page, with all that limits them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "../../apps/quietaxis/report/sections.h"

static void fill(struct tune_measured_table *t)
{
    struct tune_table_margins *m = &t->margins;
    (void)snprintf(t->log, sizeof t->log, "loop<1>");
    (void)snprintf(t->pointing, sizeof t->pointing, "east");
    t->of_loop = t->has_margins = true;
    t->points = 400;
    m->points = 398;
    m->band_hz[0] = 0.51;
    m->band_hz[1] = 298.0;
    m->phase_margin_deg = (struct tune_estimate){60.26, 0.31};
    m->phase_margin_hz = 4.15;
    m->gain_margin_db = (struct tune_estimate){27.1, 0.2};
    m->gain_margin_hz = 61.0;
    m->gain_reduction_margin_db = (struct tune_estimate){(double)INFINITY, (double)NAN};
    m->gain_reduction_margin_hz = (double)NAN;
    m->delay_margin_s = (struct tune_estimate){0.0139, 0.0002};
    m->sens_peak = (struct tune_estimate){1.14, 0.01};
    m->sens_peak_hz = 30.0;
    m->n_crossings = 2;
    m->crossing[0] = (struct tune_table_crossing){false, {4.15, 0.02}, {60.26, 0.31}};
    m->crossing[1] = (struct tune_table_crossing){true, {61.0, 0.4}, {27.1, 0.2}};
}

static char *page_of(const struct tune_identification *id)
{
    struct buffer html = {0};
    part_measured_loops(&html, id);
    assert_false(html.failed);
    return html.bytes;
}

static void has(const char *page, const char *words)
{
    if (!page || !strstr(page, words)) fail_msg("not on the page: %s", words);
}

static void margins_and_crossings_are_there(void **state)
{
    struct tune_measured_table table[2] = {0};
    struct tune_identification id = {.n_tables = 2, .table = table};
    char *page;
    (void)state;
    fill(&table[1]);
    page = page_of(&id);
    has(page, "loop&lt;1&gt;");
    has(page, "Inside the band only");
    has(page, "that the loop is stable a table alone cannot show");
    has(page, "398 of its 400 points, 0.51 to 298&nbsp;Hz (the others tell nothing)");
    has(page, "60.26 &plusmn; 0.31");
    has(page, "none in the band");
    has(page, "13.90 &plusmn; 0.20");
    has(page, "1.140 &plusmn; 0.010");
    has(page, "Every crossing");
    has(page, "61.00 &plusmn; 0.40");
    has(page, "27.10 &plusmn; 0.20&nbsp;dB");
    has(page, "60.26 &plusmn; 0.31&nbsp;deg");
    assert_null(strstr(page, "Fitted model"));
    assert_null(strstr(page, "<li>"));
    free(page);
    table[1].has_model = true;
    page = page_of(&id);
    has(page, "Fitted model, unstable");
    free(page);
}

static void doubts_are_told(void **state)
{
    struct tune_measured_table table = {0};
    struct tune_identification id = {.n_tables = 1, .table = &table};
    struct tune_table_margins *m = &table.margins;
    char *page;
    (void)state;
    fill(&table);
    m->n_gaps = 2;
    m->gap_hz[0] = 21.5;
    m->gap_hz[1] = 22.5;
    m->n_grazing = 1;
    m->grazing_hz = 22.0;
    m->n_coarse = 3;
    m->coarse_hz[0] = 40.0;
    m->coarse_hz[1] = 41.0;
    m->n_unsure = 5;
    m->sens_peak_at_end = true;
    page = page_of(&id);
    has(page, "at 22&nbsp;Hz the gain comes within noise of 1 and turns back. Whether it passes");
    has(page, "missing at 2 places, the widest from 21.5 to 22.5&nbsp;Hz");
    has(page, "at 3 places, most from 40 to 41&nbsp;Hz");
    has(page, "with more points around 40.5&nbsp;Hz");
    has(page, "at 5 places where the gain is small");
    has(page, "largest at an end of the band");
    free(page);
}

static void without_margins_there_is_nothing(void **state)
{
    struct tune_measured_table table = {0};
    const struct tune_identification id = {.n_tables = 1, .table = &table};
    (void)state;
    assert_null(page_of(&id));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_and_crossings_are_there),
        cmocka_unit_test(doubts_are_told),
        cmocka_unit_test(without_margins_there_is_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
