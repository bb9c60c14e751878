/* design_typed_files.c - the files one carries to the drive.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "results/coefficients.h"

static const char *const file_name[CHAIN_TYPED_FILES] = {"coefficients.csv", "controller.h",
                                                         "to-type.txt"};

/* Numbers of an earlier design beside one that has none to type would be typed in. */
static void remove_earlier(const struct chain *chain)
{
    for (size_t i = 0; i < CHAIN_TYPED_FILES; i++) {
        char path[TUNE_PATH_LENGTH];
        const int length = snprintf(path, sizeof path, "%s/%s", chain->folder, file_name[i]);
        if (length > 0 && (size_t)length < sizeof path) (void)remove(path);
    }
}

/* The gains in use as the drive holds them; false where there are none, or this form has no place for them. */
static bool old_numbers(struct tune_rounded_controller *out, const struct design_work *work)
{
    const struct tune_logbook *logbook = &work->basis.chain.logbook;
    const struct tune_drive_form *form = &logbook->drive.form;
    struct tune_drive_setting setting;
    if (!logbook->has_controller ||
        tune_drive_setting_from(&setting, form, &logbook->controller, NULL) ||
        tune_rounded_make(out, form, &setting, &logbook->controller, NULL))
        return false;
    for (size_t i = 0; i < logbook->controller.n_biquads; i++)
        if (setting.notch_off[i] > 1e-6) return false; /* no notch: other numbers, then */
    return true;
}

static double find(const struct tune_rounded_controller *in, const struct tune_drive_number *number)
{
    for (size_t i = 0; in && i < in->setting.n; i++)
        if (in->setting.number[i].quantity == number->quantity &&
            in->setting.number[i].notch == number->notch)
            return in->setting.number[i].value;
    return (double)NAN;
}

/* Those of both, the new ones first. */
static void take_numbers(struct tune_to_type *out, const struct tune_drive_form *form,
                         const struct tune_rounded_controller *now,
                         const struct tune_rounded_controller *old)
{
    const struct tune_rounded_controller *of[] = {now, old};
    out->n_numbers = 0;
    out->old_known = old != NULL;
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; of[k] && i < of[k]->setting.n; i++) {
            const struct tune_drive_number *number = &of[k]->setting.number[i];
            struct tune_typed_number *row = &out->number[out->n_numbers];
            if (k == 1 && !isnan(find(now, number))) continue;
            tune_drive_number_name(row->name, number);
            tune_drive_unit(row->unit, form, number->quantity);
            row->value = find(now, number);
            row->old = find(old, number);
            out->n_numbers++;
        }
}

static enum tune_status write_page(struct chain_file *file, size_t *n, struct tune_to_type *out,
                                   const struct tune_coefficients_page *page,
                                   struct tune_error *err)
{
    struct tune_result_file *const result[] = {&out->coefficients_file, &out->header_file,
                                               &out->text_file};
    enum tune_status status = tune_coefficients_table(&file[0].text, page, err);
    if (!status) status = tune_coefficients_header(&file[1].text, page, true, err);
    if (!status) status = tune_coefficients_to_type(&file[2].text, page, err);
    for (size_t i = 0; !status && i < CHAIN_TYPED_FILES; i++) {
        (void)snprintf(file[i].name, sizeof file[i].name, "%s", file_name[i]);
        chain_result_file(result[i], &file[i]);
    }
    *n = status ? 0 : CHAIN_TYPED_FILES;
    return status;
}

enum tune_status chain_typed_files(struct chain_file *file, size_t *n, struct tune_proposal *out,
                                   const struct design_work *work, struct tune_error *err)
{
    const struct tune_drive_entry *drive = &work->basis.chain.logbook.drive;
    struct tune_rounded_controller *old = calloc(1, sizeof *old);
    char title[512];
    struct tune_coefficients_page page = {.title = title,
                                          .form = &drive->form,
                                          .controller = &work->typed.what,
                                          .cautions = &out->cautions,
                                          .torque_limit_nm = drive->torque_limit_nm};
    enum tune_status status = old ? TUNE_OK : tune_error_memory(err, "writing a design");
    *n = 0;
    if (!status && !work->typed.any) remove_earlier(&work->basis.chain);
    if (!status && work->typed.any) {
        (void)snprintf(title, sizeof title, "Proposed by quietaxis %s for %s: %s.", tune_version(),
                       out->provenance.logbook, out->candidate[out->recommended].name);
        if (old_numbers(old, work)) page.old = old;
        take_numbers(&out->to_type, page.form, page.controller, page.old);
        status = write_page(file, n, &out->to_type, &page, err);
    }
    free(old);
    return status;
}
