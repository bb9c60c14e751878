/* fuzz_entry.c - the door of libFuzzer; FUZZ_TARGET is one of the functions in fuzz_targets.h.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "fuzz/fuzz_targets.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    FUZZ_TARGET(bytes, size);
    return 0;
}
