/* coefficients_header.c - a controller as a C header that stands alone.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "record/text.h"
#include "results/coefficients_internal.h"

struct sheet {
    struct text text;
    const struct tune_coefficients_page *page;
    const struct tune_rounded_controller *controller;
    bool is_float;       /* gains and coefficients in float */
    const char *signal;  /* type of signals */
    const char *stored;  /* type of coefficients */
    const char *integer; /* macro for integer constants; NULL: none */
};

static struct sheet sheet_of(const struct tune_coefficients_page *page)
{
    const struct tune_number_format *format = &page->controller->format;
    const int bits = format->whole + format->fraction;
    struct sheet sheet = {.page = page, .controller = page->controller, .signal = "double"};
    sheet.is_float = format->kind == TUNE_FLOAT32;
    /* a cascade takes angles, not their difference: in float 1 rad has steps of 0.025 arcsec, and the
     * rate over one sample would be made of them */
    if (sheet.is_float && page->form->structure != TUNE_FORM_CASCADE) sheet.signal = "float";
    sheet.stored = sheet.is_float ? "float" : sheet.signal;
    if (format->kind == TUNE_FIXED) {
        sheet.stored = bits <= 16 ? "int16_t" : bits <= 32 ? "int32_t" : "int64_t";
        sheet.integer = bits <= 16 ? "INT16_C" : bits <= 32 ? "INT32_C" : "INT64_C";
    }
    return sheet;
}

/* A constant of the signals' type that reads back as the same number. */
static const char *constant(char text[2 * TUNE_NUMBER_TEXT], double value, bool is_float)
{
    char number[TUNE_NUMBER_TEXT];
    tune_number_text(number, value);
    (void)snprintf(text, (size_t)2 * TUNE_NUMBER_TEXT, "%s%s%s", number,
                   strpbrk(number, ".e") ? "" : ".0", is_float ? "f" : "");
    return text;
}

static void add_define(struct sheet *sheet, const char *name, double value, const char *unit)
{
    char text[2 * TUNE_NUMBER_TEXT];
    const double stored = sheet->is_float ? (double)(float)value : value;
    text_say(&sheet->text, "#define %s %s /* %s */\n", name,
             constant(text, stored, sheet->is_float), unit);
}

/* ---- data ----------------------------------------------------------------------------------------*/

/* Share of the new difference in the filtered one, as in controller.h. */
static double share(const struct tune_controller *c)
{
    if (c->derivative_filter_hz == 0.0) return 1.0;
    return -expm1(-2.0 * TUNE_PI * c->derivative_filter_hz / c->loop_rate_hz);
}

static void add_gains(struct sheet *sheet)
{
    const struct tune_controller *c = &sheet->controller->typed;
    struct tune_cascade cascade;
    text_add(&sheet->text, "/* Angles in rad, torques in N m, whatever the drive counts in. */\n");
    add_define(sheet, "CONTROLLER_RATE_HZ", c->loop_rate_hz, "Hz");
    if (sheet->page->form->structure == TUNE_FORM_CASCADE &&
        tune_cascade_from(&cascade, c, NULL) == TUNE_OK) {
        add_define(sheet, "CONTROLLER_POSITION_GAIN", cascade.position_gain_per_s, "1/s");
        add_define(sheet, "CONTROLLER_VELOCITY_GAIN", cascade.velocity_gain_nm_s_per_rad,
                   "N m s/rad");
        add_define(sheet, "CONTROLLER_VELOCITY_INTEGRAL", cascade.velocity_integral_nm_per_rad,
                   "N m/rad: of the summed velocity error");
        text_say(&sheet->text,
                 "#define CONTROLLER_POSITION_DIVIDER %zu /* position loop every so many samples "
                 "*/\n",
                 c->position_divider > 1 ? c->position_divider : (size_t)1);
    } else {
        add_define(sheet, "CONTROLLER_KP", c->kp_nm_per_rad, "N m/rad");
        add_define(sheet, "CONTROLLER_KI", c->ki_nm_per_rad_s, "N m/(rad s)");
        add_define(sheet, "CONTROLLER_KD", c->kd_nm_s_per_rad, "N m s/rad");
    }
    add_define(sheet, "CONTROLLER_RATE_SHARE", share(c),
               "a = 1 - exp(-2 pi f_d T): rate += a (new - rate)");
}

static void add_coefficient(struct sheet *sheet, double value)
{
    const struct tune_number_format *format = &sheet->controller->format;
    char text[2 * TUNE_NUMBER_TEXT];
    const int64_t integer = sheet->integer ? tune_number_integer(format, value) : 0;
    if (!sheet->integer)
        text_add(&sheet->text, constant(text, value, sheet->is_float));
    else if (integer == INT64_MIN) /* its digits alone are too large a constant */
        text_add(&sheet->text, "INT64_MIN");
    else
        text_say(&sheet->text, "%s(%" PRId64 ")", sheet->integer, integer);
}

static void add_sections(struct sheet *sheet)
{
    const struct tune_rounded_controller *c = sheet->controller;
    text_say(&sheet->text, "#define CONTROLLER_SECTIONS %zu\n", c->n_sections);
    if (c->format.kind == TUNE_FIXED)
        text_say(&sheet->text,
                 "#define CONTROLLER_COEFFICIENT_STEP 0x1p-%d /* of the integers */\n",
                 c->format.fraction);
    if (c->n_sections == 0) return;
    text_say(&sheet->text,
             "\n/* b0, b1, b2, a1, a2 */\nstatic const %s controller_section[CONTROLLER_SECTIONS]"
             "[5] = {\n",
             sheet->stored);
    for (size_t i = 0; i < c->n_sections; i++) {
        double value[5];
        char name[32];
        coefficients_values(value, &c->section[i]);
        text_add(&sheet->text, "    {");
        for (size_t k = 0; k < 5; k++) {
            if (k > 0) text_add(&sheet->text, ", ");
            add_coefficient(sheet, value[k]);
        }
        text_say(&sheet->text, "}, /* %s */\n", coefficients_section(name, c, i));
    }
    text_add(&sheet->text, "};\n");
}

/* ---- the step ------------------------------------------------------------------------------------*/

static const char state_text[] =
    "\n"
    "/* All zero to start. */\n"
    "struct controller_state {\n"
    "    int started;\n"
    "    REAL integral, rate, previous; /* rate: of the error */\n"
    "    REAL s1[CONTROLLER_SECTIONS + 1], s2[CONTROLLER_SECTIONS + 1];\n"
    "};\n";

static const char cascade_state_text[] =
    "\n"
    "/* All zero to start. */\n"
    "struct controller_state {\n"
    "    int started, until_position;\n"
    "    REAL integral, rate, previous, speed_command; /* rate: of the position */\n"
    "    REAL s1[CONTROLLER_SECTIONS + 1], s2[CONTROLLER_SECTIONS + 1];\n"
    "};\n";

/* Transposed direct form II: the same filter as y = b0 x + ..., two numbers a section. */
static const char filter_text[] =
    "\n"
    "static inline REAL controller_filter(struct controller_state *c, REAL x)\n"
    "{\n"
    "    for (int i = 0; i < CONTROLLER_SECTIONS; i++) {\n"
    "        const REAL b0 = COEFFICIENT(i, 0), b1 = COEFFICIENT(i, 1), b2 = COEFFICIENT(i, 2);\n"
    "        const REAL a1 = COEFFICIENT(i, 3), a2 = COEFFICIENT(i, 4);\n"
    "        const REAL y = b0 * x + c->s1[i];\n"
    "        c->s1[i] = b1 * x - a1 * y + c->s2[i];\n"
    "        c->s2[i] = b2 * x - a2 * y;\n"
    "        x = y;\n"
    "    }\n"
    "    return x;\n"
    "}\n";

static const char no_filter_text[] =
    "\n"
    "static inline REAL controller_filter(struct controller_state *c, REAL x)\n"
    "{\n"
    "    (void)c;\n"
    "    return x;\n"
    "}\n";

static const char pid_text[] =
    "\n"
    "/* error = target - position in rad; torque in N m, not yet limited. */\n"
    "static inline REAL controller_step(struct controller_state *c, REAL error)\n"
    "{\n"
    "    if (!c->started) c->previous = error;\n"
    "    c->started = 1;\n"
    "    c->integral += CONTROLLER_KI / CONTROLLER_RATE_HZ * error;\n"
    "    c->rate += CONTROLLER_RATE_SHARE *\n"
    "               ((error - c->previous) * CONTROLLER_RATE_HZ - c->rate);\n"
    "    c->previous = error;\n"
    "    return controller_filter(c, CONTROLLER_KP * error + c->integral +\n"
    "                                    CONTROLLER_KD * c->rate);\n"
    "}\n";

static const char cascade_text[] =
    "\n"
    "/* target and position in rad; torque in N m, not yet limited. */\n"
    "static inline REAL controller_step(struct controller_state *c, REAL target, REAL position)\n"
    "{\n"
    "    REAL speed_error;\n"
    "    if (!c->started) c->previous = position;\n"
    "    c->started = 1;\n"
    "    c->rate += CONTROLLER_RATE_SHARE *\n"
    "               ((position - c->previous) * CONTROLLER_RATE_HZ - c->rate);\n"
    "    c->previous = position;\n"
    "    if (c->until_position == 0) {\n"
    "        c->speed_command = CONTROLLER_POSITION_GAIN * (target - position);\n"
    "        c->until_position = CONTROLLER_POSITION_DIVIDER;\n"
    "    }\n"
    "    c->until_position--;\n"
    "    speed_error = c->speed_command - c->rate;\n"
    "    c->integral += CONTROLLER_VELOCITY_INTEGRAL / CONTROLLER_RATE_HZ * speed_error;\n"
    "    return controller_filter(c, CONTROLLER_VELOCITY_GAIN * speed_error + c->integral);\n"
    "}\n";

/* The type of the signals stands where REAL does. */
static void add_code(struct sheet *sheet, const char *code)
{
    for (const char *real; (real = strstr(code, "REAL")); code = real + 4) {
        text_say(&sheet->text, "%.*s", (int)(real - code), code);
        text_add(&sheet->text, sheet->signal);
    }
    text_add(&sheet->text, code);
}

static void add_step(struct sheet *sheet)
{
    const bool cascade = sheet->page->form->structure == TUNE_FORM_CASCADE;
    if (sheet->controller->n_sections > 0)
        text_say(&sheet->text, "\n#define COEFFICIENT(i, k) (%scontroller_section[i][k]%s)\n",
                 sheet->integer ? "(double)" : "",
                 sheet->integer ? " * CONTROLLER_COEFFICIENT_STEP" : "");
    add_code(sheet, cascade ? cascade_state_text : state_text);
    add_code(sheet, sheet->controller->n_sections > 0 ? filter_text : no_filter_text);
    if (sheet->controller->n_sections > 0) text_add(&sheet->text, "\n#undef COEFFICIENT\n");
    add_code(sheet, cascade ? cascade_text : pid_text);
}

enum tune_status tune_coefficients_header(char **text, const struct tune_coefficients_page *page,
                                          bool with_step, struct tune_error *err)
{
    struct sheet sheet = sheet_of(page);
    const enum tune_status status = coefficients_check(page, err);
    *text = NULL;
    if (status != TUNE_OK) return status;
    text_add(&sheet.text, "/*\n");
    coefficients_head(&sheet.text, page, " *");
    text_add(&sheet.text, " */\n#ifndef CONTROLLER_COEFFICIENTS_H\n"
                          "#define CONTROLLER_COEFFICIENTS_H\n\n#include <stdint.h>\n\n");
    add_gains(&sheet);
    add_sections(&sheet);
    if (with_step) add_step(&sheet);
    text_add(&sheet.text, "\n#endif\n");
    return text_finish(text, &sheet.text, err);
}
