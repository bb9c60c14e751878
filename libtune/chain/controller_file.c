/* controller_file.c - the recommended gains as a controller file, with what belongs to them as comments.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/design_internal.h"
#include "logbook/logbook.h"

/* A sentence as comment lines of at most 96 columns. */
static void add_comment(char *text, size_t size, const char *sentence)
{
    const size_t width = 94;
    while (*sentence) {
        size_t length = strlen(sentence), used = strlen(text);
        if (length > width) {
            length = width;
            while (length > 0 && sentence[length] != ' ')
                length--;
            if (length == 0) length = width;
        }
        (void)snprintf(text + used, size - used, "; %.*s\n", (int)length, sentence);
        sentence += length;
        while (*sentence == ' ')
            sentence++;
    }
}

static void add_figures(struct tune_notes *notes, const struct tune_candidate *best)
{
    for (size_t i = 0; i < best->n_margins; i++) {
        const struct tune_pointing_margins *m = &best->margins[i];
        tune_notes_add(notes,
                       "%s: phase margin %.1f deg, gain margin %.1f dB up, %.1f dB down, peak "
                       "sensitivity %.2f, crossover %.3g Hz",
                       m->pointing, m->phase_margin_deg.value, m->gain_margin_db.value,
                       m->gain_reduction_margin_db.value, m->peak_sensitivity.value,
                       m->crossover_hz.value);
    }
}

enum tune_status chain_controller_text(char **text, const struct tune_controller *controller,
                                       const struct tune_notes *notes, struct tune_error *err)
{
    const size_t room = 2 * TUNE_NOTE_LENGTH * (notes->n + 1);
    char *comment = calloc(room, 1);
    enum tune_status status;
    *text = NULL;
    if (!comment) return tune_error_memory(err, "writing a controller file");
    for (size_t i = 0; i < notes->n; i++)
        add_comment(comment, room, notes->text[i]);
    status = tune_controller_text(text, controller, comment, err);
    free(comment);
    return status;
}

enum tune_status chain_controller_file(char **text, const struct tune_proposal *proposal,
                                       struct tune_error *err)
{
    const struct tune_candidate *best = &proposal->candidate[proposal->recommended];
    struct tune_notes *notes = calloc(1, sizeof *notes);
    enum tune_status status;
    *text = NULL;
    if (!notes) return tune_error_memory(err, "writing a controller file");
    tune_notes_add(notes, "Proposed by quietaxis %s for %s: %s.", tune_version(),
                   proposal->provenance.logbook, best->name);
    tune_notes_join(notes, &proposal->cautions);
    add_figures(notes, best);
    tune_notes_join(notes, &proposal->notes);
    status = chain_controller_text(text, &best->controller, notes, err);
    free(notes);
    return status;
}
