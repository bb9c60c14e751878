/* fuzz_targets.h - the readers of foreign files, each fed arbitrary bytes. `make fuzz` runs them under
 * libFuzzer; test_seeds.c replays tests/fuzz/seeds in every `make check`.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TEST_FUZZ_TARGETS_H
#define TEST_FUZZ_TARGETS_H

#include <stddef.h>
#include <stdint.h>

/* Each aborts where a promise of the reader is broken: an error without a place or sentence, a result
 * beside an error, a number that is not finite, a text that does not read back. */
void fuzz_record(const uint8_t *bytes, size_t size);
void fuzz_response(const uint8_t *bytes, size_t size);
void fuzz_logbook(const uint8_t *bytes, size_t size);
void fuzz_controller(const uint8_t *bytes, size_t size);
void fuzz_description(const uint8_t *bytes, size_t size);

#endif
