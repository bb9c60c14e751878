/* number_format.c - the numbers a drive keeps its filter coefficients in.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/number_format.h"

#include <ctype.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One or two digits; the end behind them, NULL where there are none. */
static const char *read_digits(int *value, const char *text)
{
    const char *at = text;
    *value = 0;
    for (; at - text < 2 && isdigit((unsigned char)*at); at++)
        *value = 10 * *value + (*at - '0');
    return at > text ? at : NULL;
}

static bool read_fixed(struct tune_number_format *out, const char *text)
{
    const char *at = text[0] == 'Q' ? read_digits(&out->whole, text + 1) : NULL;
    at = at && *at == '.' ? read_digits(&out->fraction, at + 1) : NULL;
    out->kind = TUNE_FIXED;
    return at && !*at && out->whole >= 1 && out->whole + out->fraction <= 64;
}

enum tune_status tune_number_format_parse(struct tune_number_format *out, const char *text,
                                          struct tune_error *err)
{
    *out = (struct tune_number_format){.kind = TUNE_FLOAT64};
    if (strcmp(text, "float64") == 0) return TUNE_OK;
    out->kind = TUNE_FLOAT32;
    if (strcmp(text, "float32") == 0 || read_fixed(out, text)) return TUNE_OK;
    *out = (struct tune_number_format){.kind = TUNE_FLOAT64};
    (void)tune_error_set(err, TUNE_EINVAL,
                         "%s is no number format: expected float64, float32 or Qm.n such as Q2.30, "
                         "m from 1 and m + n up to 64",
                         text);
    tune_error_about(err, "coefficient_format", text, "float64, float32 or Qm.n");
    return TUNE_EINVAL;
}

const char *tune_number_format_text(char text[TUNE_FORMAT_TEXT],
                                    const struct tune_number_format *format)
{
    if (format->kind == TUNE_FIXED)
        (void)snprintf(text, TUNE_FORMAT_TEXT, "Q%d.%d", format->whole, format->fraction);
    else
        (void)snprintf(text, TUNE_FORMAT_TEXT,
                       format->kind == TUNE_FLOAT32 ? "float32" : "float64");
    return text;
}

static enum tune_status refuse(struct tune_error *err, const struct tune_number_format *format,
                               double value, const char *what)
{
    char name[TUNE_FORMAT_TEXT], number[32], range[96];
    tune_number_format_text(name, format);
    (void)snprintf(number, sizeof number, "%.10g", value);
    if (format->kind == TUNE_FIXED)
        (void)snprintf(range, sizeof range, "from %.10g to %.10g - %.3g",
                       -ldexp(1.0, format->whole - 1), ldexp(1.0, format->whole - 1),
                       ldexp(1.0, -format->fraction));
    else
        (void)snprintf(range, sizeof range, "finite, up to %.3g",
                       format->kind == TUNE_FLOAT32 ? (double)FLT_MAX : DBL_MAX);
    (void)tune_error_set(err, TUNE_ENOSOL, "%s is %s, beyond what %s holds, %s: take %s", what,
                         number, name, range,
                         format->kind == TUNE_FIXED
                             ? "filter_form = notch, whose coefficients stay within 2, or a format "
                               "with more integer bits"
                             : "another filter");
    tune_error_about(err, what, number, range);
    return TUNE_ENOSOL;
}

enum tune_status tune_number_round(double *out, const struct tune_number_format *format,
                                   double value, const char *what, struct tune_error *err)
{
    double rounded = value;
    bool fits = isfinite(value);
    if (fits && format->kind == TUNE_FLOAT32) {
        /* half a step above FLT_MAX already rounds to infinity */
        fits = fabs(value) < 0x1.ffffffp127;
        if (fits) rounded = (double)(float)value;
    }
    if (fits && format->kind == TUNE_FIXED) {
        const double integer = nearbyint(ldexp(value, format->fraction));
        const double end = ldexp(1.0, format->whole + format->fraction - 1);
        fits = integer >= -end && integer < end;
        rounded = ldexp(integer, -format->fraction);
    }
    *out = fits ? rounded : 0.0;
    return fits ? TUNE_OK : refuse(err, format, value, what);
}

double tune_number_step(const struct tune_number_format *format, double value)
{
    if (format->kind == TUNE_FIXED) return ldexp(1.0, -format->fraction);
    if (format->kind == TUNE_FLOAT32)
        return (double)nextafterf(fabsf((float)value), INFINITY) - (double)fabsf((float)value);
    return nextafter(fabs(value), INFINITY) - fabs(value);
}

int64_t tune_number_integer(const struct tune_number_format *format, double value)
{
    return (int64_t)llrint(ldexp(value, format->fraction));
}
