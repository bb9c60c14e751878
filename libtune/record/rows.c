/* rows.c - the plain rows of a log, straight from the block they were read in.
 *
 * A row is plain where every field that serves a role is a number, with spaces around it or not, and no
 * field holds a quote. All else is left to the way by lines and fields, so that there is one place only
 * that refuses a row, and says why.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

#include "record/number_internal.h"
#include "record/reader_internal.h"
#include "record/text.h"

static const char *skip_spaces(const char *p, char separator)
{
    while (*p == ' ' || (*p == '\t' && separator != '\t'))
        p++;
    return p;
}

/* Behind the separator of a field that nobody wants; NULL where it ends the row or is not plain. */
static const char *skip_field(const char *p, char separator)
{
    for (; *p != separator; p++)
        if (*p == '\n' || *p == '"' || *p == '\0') return NULL;
    return p + 1;
}

/* The line end at or behind p in the last field of a row; NULL where the field is not plain. */
static const char *skip_last(const char *p, char separator)
{
    for (; *p != '\n'; p++)
        if (*p == separator || *p == '"' || *p == '\0') return NULL;
    return p;
}

#ifdef __SSE2__
/* The last n of sixteen bytes, 0 to 16. */
static __m128i last(unsigned n)
{
    static const unsigned char step[32] = {[16] = 255, 255, 255, 255, 255, 255, 255, 255,
                                           255,        255, 255, 255, 255, 255, 255, 255};
    return _mm_loadu_si128((const __m128i *)(const void *)(step + n));
}

/* Sixteen characters less '0' each. */
static __m128i digits_at(const char *p)
{
    return _mm_xor_si128(_mm_loadu_si128((const __m128i *)(const void *)p), _mm_set1_epi8('0'));
}

/* Sixteen digits as a number: neighbours joined to pairs, pairs to fours, fours to eights. */
static uint64_t join(__m128i digits)
{
    const __m128i first = _mm_and_si128(digits, _mm_set1_epi16(255));
    __m128i sum =
        _mm_add_epi16(_mm_mullo_epi16(first, _mm_set1_epi16(10)), _mm_srli_epi16(digits, 8));
    sum = _mm_madd_epi16(sum, _mm_set1_epi32(100 | 1 << 16));
    sum = _mm_madd_epi16(_mm_packs_epi32(sum, sum), _mm_set1_epi32(10000 | 1 << 16));
    uint64_t eights;
    _mm_storel_epi64((__m128i *)(void *)&eights, sum);
    return (eights & 0xffffffff) * 100000000 + (eights >> 32);
}

/* record_number_scan() for what most numbers of a log are: [-]digits[mark digits] with a digit first;
 * NULL where there is none or there are more than 14 before the mark. Looks at sixteen characters: what
 * is returned points at a digit or an exponent where the number goes on. Mantissa and power of ten are
 * exact, so that one division gives the nearest double. */
static const char *scan_short(double *value, const char *text, char mark)
{
    /* the sign stands here, as a branch on it would be guessed wrong every other time */
    static const double power[][2] = {{1e0, -1e0},   {1e1, -1e1},   {1e2, -1e2},   {1e3, -1e3},
                                      {1e4, -1e4},   {1e5, -1e5},   {1e6, -1e6},   {1e7, -1e7},
                                      {1e8, -1e8},   {1e9, -1e9},   {1e10, -1e10}, {1e11, -1e11},
                                      {1e12, -1e12}, {1e13, -1e13}, {1e14, -1e14}};
    const bool negative = *text == '-';
    const char *p = text + negative;
    const __m128i seen = digits_at(p), ten = _mm_set1_epi8(10);
    /* a bit for each character that is no digit */
    const unsigned others =
        (unsigned)_mm_movemask_epi8(_mm_cmpeq_epi8(_mm_max_epu8(seen, ten), seen)) | 1u << 16;
    const unsigned whole = (unsigned)__builtin_ctz(others);
    unsigned end = whole, n = 0;
    __m128i digits;
    if (whole == 0 || whole > 14) return NULL;
    if (p[whole] == mark) {
        end = (unsigned)__builtin_ctz(others & (others - 1));
        n = end - whole - 1;
        /* the same text one character later brings the whole part to where the mark was */
        digits = _mm_and_si128(last(end - 1),
                               _mm_or_si128(_mm_and_si128(last(n), digits_at(p + end - 16)),
                                            _mm_andnot_si128(last(n), digits_at(p + end - 17))));
    } else {
        digits = _mm_and_si128(last(end), digits_at(p + end - 16));
    }
    *value = (double)(int64_t)join(digits) / power[n][negative];
    return p + end;
}
#else
#define scan_short record_number_scan
#endif

/* The end of the field that starts at p with any number, spaces around it or not; NULL where it holds
 * none, or one too large in SI. */
static const char *scan_field(double *raw, const char *p, char mark, char separator,
                              const struct record_entry *entry)
{
    const char *start = skip_spaces(p, separator), *end = record_number_scan(raw, start, mark);
    if (!end && mark == RECORD_NO_MARK) return NULL;
    if (!end) {
        for (end = start; *end != separator && *end != '\n' && *end != '\r'; end++) {
        }
        if (tune_number_parse(raw, start, (size_t)(end - start), mark) != TUNE_NUMBER_GOOD)
            return NULL;
    }
    return isfinite(entry->scale * *raw + entry->offset) ? skip_spaces(end, separator) : NULL;
}

/* Behind the row that starts at p, or NULL where it is not plain. */
static const char *take_row(double si[TUNE_ROLE_COUNT], const struct record_columns *columns,
                            const char *p, char mark)
{
    const struct record_entry *entry = columns->entry, *const stop = entry + columns->n_entries;
    const char separator = columns->separator;
    size_t left = columns->n_fields; /* fields from p on */
    for (; entry < stop; entry++) {
        double raw;
        const char *end;
        for (; left > columns->n_fields - entry->field; left--)
            if (!(p = skip_field(p, separator))) return NULL;
        end = scan_short(&raw, p, mark);
        if (!end || *end != separator) {
            if (!end || (*end != '\n' && *end != '\r'))
                end = scan_field(&raw, p, mark, separator, entry);
            if (!end || (left > 1 && *end != separator)) return NULL;
        }
        *si++ = entry->scale * raw + entry->offset;
        p = end + (--left > 0);
    }
    for (; left > 1; left--)
        if (!(p = skip_field(p, separator))) return NULL;
    if (left && !(p = skip_last(p, separator))) return NULL;
    if (*p == '\r') p++;
    return *p == '\n' ? p + 1 : NULL;
}

/* Has every entry a field of its own, and no short number, below 10^15, becomes too large in SI? */
static bool is_plain(const struct record_columns *columns)
{
    for (size_t i = 0; i < columns->n_entries; i++) {
        const struct record_entry *entry = &columns->entry[i];
        if (i && entry->field == entry[-1].field) return false;
        if (!isfinite(fabs(entry->scale) * 1e15 + fabs(entry->offset))) return false;
    }
    return true;
}

enum tune_status record_reader_plain_rows(struct record_reader *reader, struct tune_error *err)
{
    const bool settled = reader->mark || reader->columns.separator == ',';
    const char mark = !settled ? RECORD_NO_MARK : reader->mark == ',' ? ',' : '.';
    const char *text, *p, *next;
    const size_t size = record_lines_in_hand(&reader->lines, &text);
    enum tune_status status = TUNE_OK;
    double si[TUNE_ROLE_COUNT];
    if (!is_plain(&reader->columns)) return TUNE_OK;
    for (p = text; p < text + size && status == TUNE_OK; p = next) {
        next = take_row(si, &reader->columns, p, mark);
        if (!next || next - p > RECORD_LINE_MAX) break;
        status = record_reader_take(reader, si, reader->lines.next_number, err);
        record_lines_skip(&reader->lines, (size_t)(next - p), 1);
    }
    return status;
}
