/* number_internal.h - a number out of the middle of a text.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_NUMBER_INTERNAL_H
#define TUNE_NUMBER_INTERNAL_H

/* So many bytes before and behind a text must be there to be read, whatever they are. */
enum { RECORD_NUMBER_SLACK = 32 };

/* The decimal mark of a number that may have none: a mark is looked for where digits ended. */
enum { RECORD_NO_MARK = '0' };

/* The number that starts at text, to the first character that does not belong to it, which is
 * returned; the nearest double, as tune_number_parse() has it. NULL where there is no number, it does
 * not fit a double or it has more than 19 digits: tune_number_parse() then knows more. The text must
 * hold a character that is no digit. */
const char *record_number_scan(double *value, const char *text, char mark);

#endif
