/* api.h - the mark of a public symbol; everything else in the library is hidden.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_API_H
#define TUNE_API_H

#define TUNE_API __attribute__((visibility("default")))

/* printf-style check; f is the format's argument number, a the first value's. */
#define TUNE_PRINTF(f, a) __attribute__((format(printf, f, a)))

#endif
