/* check.h - what every test program includes: cmocka, a double comparer that reports, failing
 * allocations, scratch files.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_CHECK_H
#define TEST_CHECK_H

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

/* Fail, with got, want and allowed, unless |got - want| <= allowed. NaN fails; equal infinities pass.
 * Say beside the call which kind allowed is: rounding, statistical or model. */
#define check_close(got, want, allowed) check_close_at(got, want, allowed, #got, __FILE__, __LINE__)
void check_close_at(double got, double want, double allowed, const char *what, const char *file,
                    int line);

/* Relative: |got - want| <= relative * |want|. */
#define check_close_rel(got, want, relative)                                                       \
    check_close_at(got, want, (relative)*fabs(want), #got, __FILE__, __LINE__)

/* lowest <= got <= highest */
#define check_between(got, lowest, highest)                                                        \
    check_between_at(got, lowest, highest, #got, __FILE__, __LINE__)
void check_between_at(double got, double lowest, double highest, const char *what, const char *file,
                      int line);

/* The k-th allocation from now (k = 1, 2, ...) fails, and every later one too; 0: none fails.
 * Only allocations made by our own code and the test are seen. */
void check_fail_allocation(unsigned long k);

/* Was an allocation refused since the last check_fail_allocation? */
bool check_allocation_failed(void);

/* TUNE_TEST_MULT of the environment, default 1: how many times longer statistical tests run. */
unsigned check_multiplier(void);

/* A new empty folder for this test's files; the caller frees the name. Removed by
 * check_folder_remove(). */
char *check_folder(void);
void check_folder_remove(char *folder);

/* Write bytes to folder/name; returns the full path, freed by the caller. */
char *check_file(const char *folder, const char *name, const void *bytes, size_t size);

#endif
