/* values.c - the values of keys: what is expected, read and stored.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "logbook/keys_internal.h"
#include "record/text.h"

/* ---- what is expected, in words ------------------------------------------------------------------*/

static void describe_range(char *text, size_t size, const struct key_spec *spec, const char *noun)
{
    char low[TUNE_NUMBER_TEXT], high[TUNE_NUMBER_TEXT];
    const bool has_low = isfinite(spec->low), has_high = isfinite(spec->high);
    if (has_low) tune_number_text(low, spec->low);
    if (has_high) tune_number_text(high, spec->high);
    if (has_low && has_high)
        (void)snprintf(text, size, "%s %s%s %s %s", noun, spec->above ? "above " : "from ", low,
                       spec->below ? "and below" : "to", high);
    else if (has_low)
        (void)snprintf(text, size, spec->above ? "%s above %s" : "%s, %s or more", noun, low);
    else if (has_high)
        (void)snprintf(text, size, spec->below ? "%s below %s" : "%s, %s or less", noun, high);
    else
        (void)snprintf(text, size, "%s", noun);
}

static void describe(char *text, size_t size, const struct key_spec *spec)
{
    switch (spec->type) {
    case KEY_NUMBER:
        describe_range(text, size, spec, "a number");
        break;
    case KEY_WHOLE:
    case KEY_ORDER:
    case KEY_SEED:
        describe_range(text, size, spec, "a whole number");
        break;
    case KEY_RANGE:
        (void)snprintf(text, size, "two numbers, the smaller first");
        break;
    case KEY_TEXT:
        (void)snprintf(text, size, "a text of 1 to %zu bytes", spec->size - 1);
        break;
    case KEY_POINTING:
        (void)snprintf(text, size, "a name of at most 32 of a-z 0-9 . _ -");
        break;
    default:
        (void)snprintf(text, size, "one of %s", spec->choices);
    }
}

static enum tune_status refuse_value(const struct ini_entry *entry, const struct key_spec *spec,
                                     struct tune_error *err)
{
    char expected[TUNE_ERROR_WORD];
    describe(expected, sizeof expected, spec);
    return ini_refuse(err, NULL, entry, expected, "%s = %s is not possible: expected %s",
                      entry->key, entry->value[0] ? entry->value : "(nothing)", expected);
}

/* ---- values --------------------------------------------------------------------------------------*/

static bool in_range(const struct key_spec *spec, double x)
{
    if (x < spec->low || (spec->above && x == spec->low)) return false;
    return !(x > spec->high || (spec->below && x == spec->high));
}

enum tune_status keys_number(double *value, const struct ini_entry *entry,
                             const struct key_spec *spec, struct tune_error *err)
{
    double x;
    if (tune_number_parse(&x, entry->value, strlen(entry->value), '.') != TUNE_NUMBER_GOOD ||
        !in_range(spec, x))
        return refuse_value(entry, spec, err);
    *value = x;
    return TUNE_OK;
}

/* Digits only, so that a seed of 64 bits keeps them all. */
static bool read_whole(uint64_t *value, const char *text)
{
    *value = 0;
    if (!*text) return false;
    for (; *text; text++) {
        const unsigned digit = (unsigned)(*text - '0');
        if (digit > 9 || *value > (UINT64_MAX - digit) / 10) return false;
        *value = 10 * *value + digit;
    }
    return true;
}

static bool store_whole(void *at, const char *text, const struct key_spec *spec)
{
    uint64_t value;
    if (!read_whole(&value, text) || !in_range(spec, (double)value)) return false;
    if (spec->type == KEY_SEED) memcpy(at, &value, sizeof value);
    if (spec->type == KEY_WHOLE) memcpy(at, &(size_t){(size_t)value}, sizeof(size_t));
    if (spec->type == KEY_ORDER) memcpy(at, &(int){(int)value}, sizeof(int));
    return true;
}

static bool store_range(double at[2], const char *text)
{
    const size_t width = strcspn(text, " \t");
    double low, high;
    if (tune_number_parse(&low, text, width, '.') != TUNE_NUMBER_GOOD) return false;
    if (tune_number_parse(&high, text + width, strlen(text + width), '.') != TUNE_NUMBER_GOOD)
        return false;
    if (!(low < high)) return false;
    at[0] = low;
    at[1] = high;
    return true;
}

static bool store_text(char *at, const char *text, const struct key_spec *spec)
{
    const size_t length = strlen(text);
    if (length == 0 || length >= spec->size) return false;
    if (spec->type == KEY_POINTING && !ini_is_name(text)) return false;
    memcpy(at, text, length + 1);
    return true;
}

/* The index of the word in "a|b|c", or -1. */
static int find_choice(const char *choices, const char *word)
{
    int index = 0;
    for (const char *at = choices;; index++) {
        const size_t width = strcspn(at, "|");
        if (strlen(word) == width && memcmp(at, word, width) == 0) return index;
        if (!at[width]) return -1;
        at += width + 1;
    }
}

static bool store_choice(void *at, const char *text, const struct key_spec *spec)
{
    const int index = find_choice(spec->choices, text);
    if (index < 0) return false;
    if (spec->type == KEY_WORD) (void)snprintf(at, spec->size, "%s", text);
    if (spec->type == KEY_CHOICE) memcpy(at, &index, sizeof index);
    if (spec->type == KEY_SWITCH) memcpy(at, &(bool){index == 1}, sizeof(bool));
    return true;
}

enum tune_status keys_value(void *at, const struct ini_entry *entry, const struct key_spec *spec,
                            struct tune_error *err)
{
    bool good = false;
    switch (spec->type) {
    case KEY_NUMBER: {
        double value;
        const enum tune_status status = keys_number(&value, entry, spec, err);
        if (status == TUNE_OK) memcpy(at, &value, sizeof value);
        return status;
    }
    case KEY_WHOLE:
    case KEY_ORDER:
    case KEY_SEED:
        good = store_whole(at, entry->value, spec);
        break;
    case KEY_RANGE:
        good = store_range(at, entry->value);
        break;
    case KEY_TEXT:
    case KEY_POINTING:
        good = store_text(at, entry->value, spec);
        break;
    case KEY_WORD:
    case KEY_CHOICE:
    case KEY_SWITCH:
        good = store_choice(at, entry->value, spec);
        break;
    }
    return good ? TUNE_OK : refuse_value(entry, spec, err);
}
