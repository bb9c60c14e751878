/* coefficients.c - coefficients in order of execution, and numbers to type in.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/coefficients.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/units.h"
#include "record/text.h"
#include "results/coefficients_internal.h"

enum { FOLD = 96 };

enum tune_status coefficients_check(const struct tune_coefficients_page *page,
                                    struct tune_error *err)
{
    if (page->cautions && page->cautions->n > 0) return TUNE_OK;
    (void)tune_error_set(err, TUNE_EINVAL,
                         "gains are not written without the cautions that belong to them");
    tune_error_about(err, "cautions", "none", "at least one");
    return TUNE_EINVAL;
}

/* ---- the head ------------------------------------------------------------------------------------*/

/* One word of the line; what could end a comment or a line is taken apart. */
static void add_word(struct text *text, const char *word, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        const char c = word[i];
        char one[3] = {(unsigned char)c < 32 || c == 127 ? '?' : c};
        if ((c == '*' || c == '/' || c == '?') && i + 1 < length && strchr("*/?", word[i + 1]))
            one[1] = ' ';
        text_add(text, one);
    }
}

void coefficients_line(struct text *text, const char *mark, const char *line)
{
    size_t column = 0;
    text_add(text, mark);
    while (*line) {
        const size_t width = strcspn(line, " ");
        if (column > 0 && column + width > FOLD) {
            text_add(text, "\n");
            text_add(text, mark);
            text_add(text, "  ");
            column = 2;
        }
        text_add(text, " ");
        add_word(text, line, width);
        column += width + 1;
        line += width + (line[width] == ' ');
    }
    text_add(text, "\n");
}

static void add_scales(struct text *text, const struct tune_coefficients_page *page,
                       const char *mark)
{
    const struct tune_drive_form *form = page->form;
    char line[320], torque[TUNE_NUMBER_TEXT], angle[TUNE_NUMBER_TEXT], time[TUNE_NUMBER_TEXT];
    coefficients_line(text, mark,
                      "Signs assumed: torque = C (target - position); positive torque raises the "
                      "position. A wrong sign makes the axis run away.");
    (void)snprintf(line, sizeof line,
                   "Scales assumed: one %s of torque is %s N m, one %s of angle %s rad, one %s %s "
                   "s. A wrong one makes every gain wrong by its factor.",
                   form->torque_unit, tune_number_text(torque, form->torque_unit_nm),
                   form->angle_unit, tune_number_text(angle, form->angle_unit_rad), form->time_unit,
                   tune_number_text(time, form->time_unit_s));
    coefficients_line(text, mark, line);
}

void coefficients_head(struct text *text, const struct tune_coefficients_page *page,
                       const char *mark)
{
    char line[160], format[TUNE_FORMAT_TEXT], rate[TUNE_NUMBER_TEXT];
    coefficients_line(text, mark, page->title);
    for (size_t i = 0; i < page->cautions->n; i++)
        coefficients_line(text, mark, page->cautions->text[i]);
    add_scales(text, page, mark);
    (void)snprintf(line, sizeof line, "Sections run at %s Hz, coefficients in %s, in this order:",
                   tune_number_text(rate, page->controller->typed.loop_rate_hz),
                   tune_number_format_text(format, &page->controller->format));
    coefficients_line(text, mark, line);
    coefficients_line(text, mark, "y = b0 x + b1 x1 + b2 x2 - a1 y1 - a2 y2, behind the PID.");
}

const char *coefficients_section(char name[32], const struct tune_rounded_controller *controller,
                                 size_t i)
{
    const bool lowpass = controller->typed.lowpass_hz > 0.0;
    if (lowpass && i == 0)
        (void)snprintf(name, 32, "low-pass");
    else
        (void)snprintf(name, 32, "biquad %zu", lowpass ? i : i + 1);
    return name;
}

void coefficients_values(double value[5], const struct tune_biquad *section)
{
    const double five[5] = {section->b0, section->b1, section->b2, section->a1, section->a2};
    memcpy(value, five, sizeof five);
}

/* ---- the table -----------------------------------------------------------------------------------*/

static void add_row(struct text *text, const struct tune_rounded_controller *c, size_t i)
{
    char name[32], number[TUNE_NUMBER_TEXT];
    double value[5];
    coefficients_values(value, &c->section[i]);
    text_say(text, "%s", coefficients_section(name, c, i));
    for (size_t k = 0; k < 5; k++)
        text_say(text, ",%s", tune_number_text(number, value[k]));
    text_add(text, "\n");
    if (c->format.kind != TUNE_FIXED) return;
    text_say(text, "%s times 2^%d", name, c->format.fraction);
    for (size_t k = 0; k < 5; k++)
        text_say(text, ",%" PRId64, tune_number_integer(&c->format, value[k]));
    text_add(text, "\n");
}

enum tune_status tune_coefficients_table(char **text, const struct tune_coefficients_page *page,
                                         struct tune_error *err)
{
    struct text out = {0};
    const enum tune_status status = coefficients_check(page, err);
    *text = NULL;
    if (status != TUNE_OK) return status;
    coefficients_head(&out, page, "#");
    text_add(&out, "section,b0,b1,b2,a1,a2\n");
    for (size_t i = 0; i < page->controller->n_sections; i++)
        add_row(&out, page->controller, i);
    return text_finish(text, &out, err);
}

/* ---- to type in ----------------------------------------------------------------------------------*/

static const struct tune_drive_number *find(const struct tune_rounded_controller *c,
                                            const struct tune_drive_number *like)
{
    for (size_t i = 0; c && i < c->setting.n; i++)
        if (c->setting.number[i].quantity == like->quantity &&
            c->setting.number[i].notch == like->notch)
            return &c->setting.number[i];
    return NULL;
}

/* New or old value; what is off says so. */
static const char *shown(char text[TUNE_NUMBER_TEXT], const struct tune_rounded_controller *c,
                         const struct tune_drive_number *like)
{
    const struct tune_drive_number *number = find(c, like);
    if (number) return tune_number_text(text, number->value);
    (void)snprintf(text, TUNE_NUMBER_TEXT, c ? "off" : "?");
    return text;
}

static void add_number(struct text *text, const struct tune_coefficients_page *page,
                       const struct tune_drive_number *number)
{
    char name[TUNE_DRIVE_NAME], unit[TUNE_DRIVE_UNIT], now[TUNE_NUMBER_TEXT], old[TUNE_NUMBER_TEXT];
    text_say(text, "%-20s %24s %24s  %s\n", tune_drive_number_name(name, number),
             shown(now, page->controller, number), shown(old, page->old, number),
             tune_drive_unit(unit, page->form, number->quantity));
}

static void add_numbers(struct text *text, const struct tune_coefficients_page *page)
{
    const struct tune_rounded_controller *c = page->controller, *old = page->old;
    text_say(text, "\n%-20s %24s %24s  %s\n", "number", "new", "old", "unit");
    for (size_t i = 0; i < c->setting.n; i++)
        add_number(text, page, &c->setting.number[i]);
    for (size_t i = 0; old && i < old->setting.n; i++)
        if (!find(c, &old->setting.number[i])) add_number(text, page, &old->setting.number[i]);
}

static void add_sections(struct text *text, const struct tune_coefficients_page *page)
{
    static const char *const key[] = {"b0", "b1", "b2", "a1", "a2"};
    const struct tune_rounded_controller *c = page->controller, *old = page->old;
    const size_t n_old = old ? old->n_sections : 0;
    const size_t n = c->n_sections > n_old ? c->n_sections : n_old;
    if (n > 0) text_say(text, "\n%-20s %24s %24s\n", "section, coefficient", "new", "old");
    for (size_t i = 0; i < n; i++) {
        double value[5] = {0.0}, old_value[5] = {0.0};
        if (i < c->n_sections) coefficients_values(value, &c->section[i]);
        if (i < n_old) coefficients_values(old_value, &old->section[i]);
        for (size_t k = 0; k < 5; k++) {
            char label[64], now[TUNE_NUMBER_TEXT] = "off", was[TUNE_NUMBER_TEXT] = "off";
            (void)snprintf(label, sizeof label, "section %zu  %s", i + 1, key[k]);
            if (i < c->n_sections) tune_number_text(now, value[k]);
            if (i < n_old) tune_number_text(was, old_value[k]);
            text_say(text, "%-20s %24s %24s\n", label, now, old ? was : "?");
        }
    }
}

static void add_form(struct text *text, const struct tune_drive_form *form, double rate_hz)
{
    char rate[TUNE_NUMBER_TEXT], outer[TUNE_NUMBER_TEXT];
    if (form->structure == TUNE_FORM_PARALLEL)
        coefficients_line(
            text, "#",
            "Parallel PID on target - position: torque = kp e + ki integral of e + kd "
            "rate of e, the rate behind a first-order filter.");
    else if (form->structure == TUNE_FORM_STANDARD)
        coefficients_line(
            text, "#",
            "Standard PID on target - position: torque = gain (e + integral of e / ti "
            "+ td rate of e), the rate behind a first-order filter.");
    else {
        coefficients_line(text, "#",
                          "Cascade: speed command = position_gain (target - position); torque = "
                          "velocity_gain (v + integral of v / velocity_ti), v = speed command - "
                          "filtered difference of position.");
        text_say(text, "# Velocity loop at %s Hz, position loop at %s Hz.\n",
                 tune_number_text(rate, rate_hz),
                 tune_number_text(outer, rate_hz / (double)form->position_divider));
    }
}

enum tune_status tune_coefficients_to_type(char **text, const struct tune_coefficients_page *page,
                                           struct tune_error *err)
{
    struct text out = {0};
    struct tune_notes advice = {0};
    const enum tune_status status = coefficients_check(page, err);
    *text = NULL;
    if (status != TUNE_OK) return status;
    coefficients_head(&out, page, "#");
    add_form(&out, page->form, page->controller->typed.loop_rate_hz);
    coefficients_line(&out, "#", "Keep the old numbers: they are the way back.");
    add_numbers(&out, page);
    if (page->form->filters == TUNE_FILTERS_BIQUAD) add_sections(&out, page);
    tune_antiwindup_notes(&advice, page->form, &page->controller->typed, page->torque_limit_nm);
    text_add(&out, "\n");
    for (size_t i = 0; i < advice.n; i++)
        coefficients_line(&out, "#", advice.text[i]);
    return text_finish(text, &out, err);
}
