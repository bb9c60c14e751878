/* test_names.c - a column that may be a misspelt name of what is missing; logs that tell too little.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "health/health_log.h"

#include <stdio.h>

static void call_it_near(struct log *log, enum tune_role role, const char *name)
{
    (void)snprintf(log->rec.near[role].name, TUNE_COLUMN_NAME, "%s", name);
    log->rec.near[role].field = 2;
    log->rec.header_line = 1;
}

static void a_near_name_asks_for_care(void **state)
{
    struct log log = good_sweep();
    struct tune_finding finding;
    (void)state;
    log.opts.file = "logs/a.csv";
    call_it_near(&log, TUNE_ROLE_LOAD_POSITION, "load_postion_deg");
    finding = expect_one(&log, "column-misspelt", TUNE_WITH_CARE);
    assert_string_equal(finding.text, "logs/a.csv, line 1, column 2: 'load_postion_deg' may be "
                                      "misspelt, no load_position is logged");
    assert_non_null(strstr(finding.advice, "load_position = \"load_postion_deg\""));
    tune_record_free(&log.rec);
}

/* An index mark or an enabling is looked for in first motions only. */
static void what_nobody_needs_is_not_missed(void **state)
{
    struct log sweep = good_sweep(), motion = plain(2000, 1e-3);
    struct tune_health health;
    (void)state;
    call_it_near(&sweep, TUNE_ROLE_ENABLED, "enable");
    call_it_near(&motion, TUNE_ROLE_ENABLED, "enable");
    expect_clean(&sweep, "enable in a sweep", 1);
    health = judge(&motion);
    assert_non_null(find(&health, "column-misspelt"));
    tune_record_free(&sweep.rec);
    tune_record_free(&motion.rec);
}

static void too_little_is_not_wrong(void **state)
{
    struct log weak = good_sweep(), dead = good_sweep();
    const struct tune_finding *finding;
    struct tune_health health;
    (void)state;
    for (size_t k = 0; k < weak.rec.n; k++) {
        weak.rec.channel[TUNE_ROLE_EXCITATION][k] = 0.0;
        dead.rec.channel[TUNE_ROLE_POSITION][k] = 0.5;
    }
    health = judge(&weak);
    finding = find(&health, "no-excitation");
    assert_non_null(finding);
    assert_true(finding->too_little);
    health = judge(&dead);
    finding = find(&health, "dead-channel");
    assert_non_null(finding);
    assert_false(finding->too_little);
    tune_record_free(&weak.rec);
    tune_record_free(&dead.rec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_near_name_asks_for_care),
        cmocka_unit_test(what_nobody_needs_is_not_missed),
        cmocka_unit_test(too_little_is_not_wrong),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
