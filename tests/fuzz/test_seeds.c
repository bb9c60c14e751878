/* test_seeds.c - every seed of the fuzzers, and every prefix of the small ones, keeps the promises of
 * the readers.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "fuzz_targets.c" /* a test program is one file and the support folder */

enum { PREFIXES_BELOW = 4096 };

/* A copy of exactly this size, so that reading past its end is seen. */
static void feed(void (*target)(const uint8_t *, size_t), const uint8_t *bytes, size_t size)
{
    uint8_t *copy = malloc(size ? size : 1);
    assert_non_null(copy);
    memcpy(copy, bytes, size);
    target(copy, size);
    free(copy);
}

static uint8_t *load(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    uint8_t *bytes = malloc(1 << 20);
    assert_true(file && bytes);
    *size = fread(bytes, 1, 1 << 20, file);
    assert_int_equal(fclose(file), 0);
    return bytes;
}

/* Whole, cut everywhere, and with single bytes changed. */
static void replay_file(const char *path, void (*target)(const uint8_t *, size_t))
{
    size_t size;
    uint8_t *bytes = load(path, &size);
    struct tune_random rng;
    tune_random_init(&rng, 1, size);
    feed(target, bytes, size);
    for (size_t cut = 0; size < PREFIXES_BELOW && cut < size; cut++)
        feed(target, bytes, cut);
    for (unsigned i = 0; size && i < 100 * check_multiplier(); i++) {
        const size_t at = (size_t)(tune_random_bits(&rng) % size);
        const uint8_t kept = bytes[at];
        bytes[at] = (uint8_t)tune_random_bits(&rng);
        feed(target, bytes, size);
        bytes[at] = kept;
    }
    free(bytes);
}

static void replay_folder(const char *name, void (*target)(const uint8_t *, size_t))
{
    const char *tree = getenv("TUNE_SOURCE");
    char folder[512], path[1024];
    struct dirent **entry;
    int n, seeds = 0;
    (void)snprintf(folder, sizeof folder, "%s/tests/fuzz/seeds/%s", tree ? tree : ".", name);
    n = scandir(folder, &entry, NULL, alphasort);
    assert_true(n >= 0);
    for (int i = 0; i < n; i++) {
        (void)snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        if (entry[i]->d_name[0] != '.') {
            replay_file(path, target);
            seeds++;
        }
        free(entry[i]);
    }
    free(entry);
    assert_true(seeds > 0);
}

static void log_seeds_keep_the_promises(void **state)
{
    (void)state;
    replay_folder("record", fuzz_record);
}

static void response_seeds_keep_the_promises(void **state)
{
    (void)state;
    replay_folder("response", fuzz_response);
}

static void logbook_seeds_keep_the_promises(void **state)
{
    (void)state;
    replay_folder("logbook", fuzz_logbook);
}

static void controller_seeds_keep_the_promises(void **state)
{
    (void)state;
    replay_folder("controller", fuzz_controller);
}

static void description_seeds_keep_the_promises(void **state)
{
    (void)state;
    replay_folder("description", fuzz_description);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(log_seeds_keep_the_promises),
        cmocka_unit_test(response_seeds_keep_the_promises),
        cmocka_unit_test(logbook_seeds_keep_the_promises),
        cmocka_unit_test(controller_seeds_keep_the_promises),
        cmocka_unit_test(description_seeds_keep_the_promises),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
