/* print.c - answers as text.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "print.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { COLUMNS = 80 };

void print_coloured(enum print_colour colour, const char *text)
{
    static const char *const code[] = {"", "\033[32m", "\033[31m", "\033[1m"};
    const char *no_colour = getenv("NO_COLOR"), *term = getenv("TERM");
    const bool plain = colour == PRINT_PLAIN || (no_colour && *no_colour) || !term ||
                       !strcmp(term, "dumb") || isatty(STDOUT_FILENO) != 1;
    if (plain)
        printf("%s", text);
    else
        printf("%s%s\033[0m", code[colour], text);
}

/* ---- numbers ------------------------------------------------------------------------------------*/

const char *print_number(char cell[PRINT_CELL], double value, int digits)
{
    if (isnan(value))
        (void)snprintf(cell, PRINT_CELL, "-");
    else if (isinf(value))
        (void)snprintf(cell, PRINT_CELL, "%s", value > 0.0 ? "none" : "-none");
    else
        (void)snprintf(cell, PRINT_CELL, "%.*g", digits, value);
    return cell;
}

const char *print_fixed(char cell[PRINT_CELL], double value, int decimals)
{
    if (!isfinite(value)) return print_number(cell, value, 1);
    (void)snprintf(cell, PRINT_CELL, "%.*f", decimals, value);
    return cell;
}

const char *print_estimate(char cell[PRINT_CELL], double value, double std)
{
    int decimals;
    if (!isfinite(value) || !isfinite(std) || std <= 0.0) return print_number(cell, value, 6);
    decimals = 1 - (int)floor(log10(std)); /* two digits of the std */
    if (decimals < 0) decimals = 0;
    if (decimals > 9) decimals = 9;
    (void)snprintf(cell, PRINT_CELL, "%.*f +- %.*f", decimals, value, decimals, std);
    return cell;
}

const char *print_interval(char cell[PRINT_CELL], const double interval[2])
{
    if (isnan(interval[0]) || isnan(interval[1])) return print_number(cell, (double)NAN, 1);
    char low[16], high[16];
    (void)snprintf(low, sizeof low, "%.3g", interval[0]);
    (void)snprintf(high, sizeof high, "%.3g", interval[1]);
    if (strcmp(low, high) != 0)
        (void)snprintf(cell, PRINT_CELL, "%s .. %s", low, high);
    else
        (void)snprintf(cell, PRINT_CELL, "%s", low);
    return cell;
}

/* ---- text ---------------------------------------------------------------------------------------*/

void print_heading(const char *text)
{
    printf("\n");
    print_coloured(PRINT_STRONG, text);
    printf("\n");
}

void print_sentence(const char *mark, const char *text)
{
    const size_t indent = strlen(mark), width = COLUMNS - indent;
    const char *before = mark;
    while (*text) {
        size_t length = strlen(text);
        if (length > width) {
            length = width;
            while (length > 0 && text[length] != ' ')
                length--;
            if (length == 0) length = width;
        }
        printf("%s%.*s\n", before, (int)length, text);
        text += length;
        while (*text == ' ')
            text++;
        before = "      " + (indent < 6 ? 6 - indent : 0);
    }
}

void print_notes(const char *heading, const struct tune_notes *notes)
{
    if (notes->n == 0) return;
    print_heading(heading);
    for (size_t i = 0; i < notes->n; i++)
        print_sentence("- ", notes->text[i]);
}

static void judgement_row(const struct tune_judgement *item, double sky_arcsec)
{
    char limit[PRINT_CELL], value[PRINT_CELL], text[128];
    const bool open = tune_judgement_cannot_tell(item);
    const bool only_encoder =
        item->met && !strcmp(item->name, "jitter_rms_arcsec") && sky_arcsec > item->limit;
    printf("  %-26s %s %6s %9s  ", item->name,
           item->at_most ? "<=" : ">=", print_number(limit, item->limit, 4),
           print_number(value, item->value, 4));
    print_coloured(only_encoder || open ? PRINT_STRONG
                   : item->met          ? PRINT_GOOD
                                        : PRINT_BAD,
                   only_encoder ? "met at the encoder;"
                   : item->met  ? "met"
                   : open       ? "cannot tell"
                                : "missed");
    if (only_encoder) {
        (void)snprintf(text, sizeof text,
                       "the line of sight moves by %.3g arcsec, more than the limit", sky_arcsec);
        printf("\n");
        print_sentence("      ", text);
    } else {
        printf("%s%.20s\n", item->where[0] ? " at " : "", item->where);
    }
}

void print_judgements(const struct tune_judgements *judgements, const char *verb, double sky_arcsec)
{
    print_heading("Requirement");
    if (judgements->n == 0) {
        printf("  no requirement stated: nothing was judged\n");
        return;
    }
    printf("  %-26s %9s %9s\n", "", "asked", verb);
    for (size_t i = 0; i < judgements->n; i++)
        judgement_row(&judgements->item[i], sky_arcsec);
    /* its limit has a default: it may stand there though nothing was asked */
    if (judgements->n == 1 && !strcmp(judgements->item[0].name, "noise_torque_rms_nm"))
        printf("  no other requirement stated: nothing else was judged\n");
}

static void controller_row(const char *key, double value)
{
    printf("  %-24s = %.10g\n", key, value);
}

void print_controller(const struct tune_controller *controller)
{
    controller_row("kp_nm_per_rad", controller->kp_nm_per_rad);
    controller_row("ki_nm_per_rad_s", controller->ki_nm_per_rad_s);
    controller_row("kd_nm_s_per_rad", controller->kd_nm_s_per_rad);
    if (controller->derivative_filter_hz > 0.0)
        controller_row("derivative_filter_hz", controller->derivative_filter_hz);
    if (controller->lowpass_hz > 0.0) {
        printf("  %-24s = %.10g   order %d, zeta %.10g\n", "lowpass_hz", controller->lowpass_hz,
               controller->lowpass_order, controller->lowpass_zeta);
    }
    if (controller->position_divider > 1)
        printf("  %-24s = %zu   position loop every so many samples\n", "position_divider",
               controller->position_divider);
    for (size_t i = 0; i < controller->n_biquads; i++) {
        const struct tune_biquad_spec *spec = &controller->biquad[i];
        printf("  biquad%-2zu = zero %.7g Hz, zeta %.5g; pole %.7g Hz, zeta %.5g\n", i + 1,
               spec->zero_hz, spec->zero_zeta, spec->pole_hz, spec->pole_zeta);
    }
}

int print_json(enum tune_status status, char **text, const struct tune_error *err)
{
    int code;
    if (status) return command_fail(err);
    code = command_print(*text);
    free(*text);
    *text = NULL;
    return code;
}

int print_end(int code)
{
    if (fflush(stdout) == EOF || ferror(stdout)) {
        fprintf(stderr, "quietaxis: cannot write the answer to standard output\n");
        return EXIT_MISUSE;
    }
    return code;
}
