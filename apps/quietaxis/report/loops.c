/* loops.c - the loops of all pointings drawn.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdlib.h>

#include "html.h"
#include "pictures.h"

/* where the loop files of design begin, too */
static const double loop_from_hz = 0.05;

static enum tune_status tabulate(struct table *loops, const char **names,
                                 const struct tune_identification *found,
                                 const struct tune_controller *controller, struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    for (size_t i = 0; !status && i < found->n_pointings; i++) {
        const struct tune_pointing_plant *pointing = &found->pointing[i];
        char *csv = NULL;
        names[i] = pointing->name;
        status = tune_loop_csv(&csv, &pointing->fit.plant, controller, loop_from_hz, err);
        if (!status) status = table_parse(&loops[i], pointing->name, csv, picture_loop_header, err);
        free(csv);
    }
    return status;
}

static enum tune_status figures(struct buffer *html, const struct table *loops,
                                const char *const *names, size_t n, const char *source,
                                double peak_sensitivity, struct tune_error *err)
{
    struct buffer loop = {0}, sensitivity = {0}, words = {0};
    enum tune_status status = picture_loop(&loop, loops, names, n, peak_sensitivity, err);
    if (!status) status = picture_sensitivity(&sensitivity, loops, names, n, peak_sensitivity, err);
    if (!status) {
        buffer_format(&words,
                      "Open loop of every pointing in the complex plane, around the point -1, with "
                      "the gains of %s.%s",
                      source,
                      isfinite(peak_sensitivity) ? " A curve must stay out of the shaded circle."
                                                 : "");
        if (!words.failed) html_figure(html, &loop, words.bytes, words.bytes);
        buffer_free(&words);
        buffer_format(
            &words,
            "Sensitivity and complementary sensitivity of every pointing with the gains of "
            "%s: disturbances are reduced where |S| lies below 0 dB.",
            source);
        if (!words.failed) html_figure(html, &sensitivity, words.bytes, words.bytes);
        if (words.failed) status = tune_error_memory(err, "building the report");
    }
    buffer_free(&words);
    buffer_free(&sensitivity);
    buffer_free(&loop);
    return status;
}

enum tune_status section_loops(struct buffer *html, const struct report *report,
                               struct tune_error *err)
{
    const struct tune_identification *found = report->identification;
    const struct tune_controller *controller = report_controller(report);
    struct table *loops;
    const char **names;
    enum tune_status status;
    if (!found || !controller || !found->n_pointings) return TUNE_OK;
    loops = calloc(found->n_pointings, sizeof *loops);
    names = calloc(found->n_pointings, sizeof *names);
    status = loops && names ? TUNE_OK : tune_error_memory(err, "building the report");
    if (!status) status = tabulate(loops, names, found, controller, err);
    if (!status)
        status = figures(html, loops, names, found->n_pointings, report_controller_source(report),
                         report->logbook->requirement.peak_sensitivity, err);
    for (size_t i = 0; loops && i < found->n_pointings; i++)
        table_free(&loops[i]);
    free(names);
    free(loops);
    return status;
}
