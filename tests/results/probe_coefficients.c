/* probe_coefficients.c - controllers as text, for the script beside it.
 *     probe_coefficients header|data|table|type FORMAT parallel|standard|cascade|notch DIVIDER
 *     probe_coefficients run ...       position of each sample and the torque of the rounded controller,
 *                                      target at rest
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "core/units.h"
#include "results/coefficients.h"

static struct tune_controller controller(double change)
{
    struct tune_controller c = tune_controller_defaults(4000.0);
    c.kp_nm_per_rad = 2.1e6 * change;
    c.ki_nm_per_rad_s = 4.0e6 * change;
    c.kd_nm_s_per_rad = 9.5e4 * change;
    c.derivative_filter_hz = 400.0;
    c.lowpass_hz = 600.0;
    c.n_biquads = change == 1.0 ? 2 : 1;
    c.biquad[0] = (struct tune_biquad_spec){141.2, 0.05, 141.2, 0.5};
    c.biquad[1] = (struct tune_biquad_spec){300.0, 0.1, 300.0, 0.3};
    return c;
}

static struct tune_drive_form form_of(char **words)
{
    struct tune_drive_form form = tune_drive_form_defaults();
    struct tune_error err;
    if (tune_number_format_parse(&form.coefficients, words[0], &err)) exit(2);
    form.torque_unit_nm = 18.4;
    (void)snprintf(form.torque_unit, sizeof form.torque_unit, "A");
    form.angle_unit_rad = 2.0 * TUNE_PI / 268435456.0;
    (void)snprintf(form.angle_unit, sizeof form.angle_unit, "count");
    form.position_divider = (size_t)strtoul(words[2], NULL, 10);
    if (strcmp(words[1], "standard") == 0) form.structure = TUNE_FORM_STANDARD;
    if (strcmp(words[1], "cascade") == 0) form.structure = TUNE_FORM_CASCADE;
    if (strcmp(words[1], "notch") == 0) form.filters = TUNE_FILTERS_NOTCH;
    for (size_t q = 0; q < TUNE_DRIVE_QUANTITIES; q++)
        form.limit[q].digits = 6;
    return form;
}

static void make(struct tune_rounded_controller *out, const struct tune_drive_form *form,
                 double change)
{
    const struct tune_controller c = controller(change);
    struct tune_drive_setting setting;
    struct tune_error err;
    if (tune_drive_setting_from(&setting, form, &c, &err) ||
        tune_drive_setting_round(&setting, form, &err) ||
        tune_rounded_make(out, form, &setting, &c, &err)) {
        fprintf(stderr, "%s\n", err.text);
        exit(2);
    }
}

static int run(const struct tune_rounded_controller *r)
{
    struct tune_controller plain;
    struct tune_controller_state state;
    struct tune_random rng;
    if (tune_rounded_plain(&plain, r, NULL)) return 2;
    tune_controller_start(&state, &plain);
    tune_random_init(&rng, 71, 0);
    for (int k = 0; k < 2000; k++) {
        /* from 0: cascade and PID count their integral from where they start */
        const double position = k > 0 ? 1e-6 * (tune_random_uniform(&rng) - 0.5) : 0.0;
        printf("%.17g %.17g\n", position, tune_controller_step(&state, -position));
    }
    return 0;
}

int main(int argc, char **argv)
{
    struct tune_rounded_controller now, old;
    struct tune_notes cautions = {0};
    struct tune_coefficients_page page = {.title = "Heron Flat, hour-angle */ #error",
                                          .controller = &now,
                                          .old = &old,
                                          .cautions = &cautions,
                                          .torque_limit_nm = 300.0};
    char *text = NULL;
    enum tune_status status = TUNE_EINVAL;
    if (argc != 5) return 2;
    const struct tune_drive_form form = form_of(argv + 2);
    page.form = &form;
    tune_notes_add(&cautions, "Nothing was written to a drive. Limits and emergency stop first.");
    make(&now, &form, 1.0);
    make(&old, &form, 0.5);
    if (strcmp(argv[1], "run") == 0) return run(&now);
    if (strcmp(argv[1], "header") == 0) status = tune_coefficients_header(&text, &page, true, NULL);
    if (strcmp(argv[1], "data") == 0) status = tune_coefficients_header(&text, &page, false, NULL);
    if (strcmp(argv[1], "table") == 0) status = tune_coefficients_table(&text, &page, NULL);
    if (strcmp(argv[1], "type") == 0) status = tune_coefficients_to_type(&text, &page, NULL);
    if (status != TUNE_OK) return 2;
    fputs(text, stdout);
    free(text);
    return 0;
}
