/* check.c - comparing, failing allocations, scratch files.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <ftw.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void check_close_at(double got, double want, double allowed, const char *what, const char *file,
                    int line)
{
    if (got == want || fabs(got - want) <= allowed) return;
    print_error("%s:%d: %s\n  got     %.17g\n  want    %.17g\n  allowed %.3g, off by %.3g\n", file,
                line, what, got, want, allowed, got - want);
    _fail(file, line);
}

void check_between_at(double got, double lowest, double highest, const char *what, const char *file,
                      int line)
{
    if (got >= lowest && got <= highest) return;
    print_error("%s:%d: %s\n  got %.17g\n  allowed %.17g .. %.17g\n", file, line, what, got, lowest,
                highest);
    _fail(file, line);
}

/* ---- allocations, by the linker's --wrap ---------------------------------------------------------*/

void *__real_malloc(size_t size);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *old, size_t size);
void *__real_aligned_alloc(size_t alignment, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t n, size_t size);
void *__wrap_realloc(void *old, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);

static unsigned long countdown;
static bool armed, refused;

static bool refuse(void)
{
    if (!armed) return false;
    if (countdown > 1) {
        countdown--;
        return false;
    }
    return refused = true;
}

void *__wrap_malloc(size_t size)
{
    return refuse() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t n, size_t size)
{
    return refuse() ? NULL : __real_calloc(n, size);
}

void *__wrap_realloc(void *old, size_t size)
{
    return refuse() ? NULL : __real_realloc(old, size);
}

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
    return refuse() ? NULL : __real_aligned_alloc(alignment, size);
}

void check_fail_allocation(unsigned long k)
{
    armed = k > 0;
    countdown = k;
    refused = false;
}

bool check_allocation_failed(void)
{
    return refused;
}

/* ---- surroundings ---------------------------------------------------------------------------------*/

unsigned check_multiplier(void)
{
    const char *text = getenv("TUNE_TEST_MULT");
    const long value = text ? strtol(text, NULL, 10) : 1;
    return value > 1 ? (unsigned)value : 1;
}

char *check_folder(void)
{
    char *folder = strdup("/tmp/tune-test-XXXXXX");
    assert_non_null(folder);
    assert_non_null(mkdtemp(folder));
    return folder;
}

static int remove_one(const char *path, const struct stat *info, int type, struct FTW *place)
{
    (void)info;
    (void)type;
    (void)place;
    return remove(path);
}

void check_folder_remove(char *folder)
{
    (void)nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
    free(folder);
}

char *check_file(const char *folder, const char *name, const void *bytes, size_t size)
{
    const size_t length = strlen(folder) + strlen(name) + 2;
    char *path = malloc(length);
    FILE *file;
    assert_non_null(path);
    (void)snprintf(path, length, "%s/%s", folder, name);
    file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
    return path;
}
