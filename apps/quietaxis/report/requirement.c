/* requirement.c - each quantity asked for and what becomes of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "sections.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "html.h"

struct quantity {
    const char *key, *raw_name, *raw_unit;
};

static const struct quantity quantities[] = {
    {"jitter_rms_arcsec", "Jitter, rms", "arcsec"},
    {"phase_margin_deg", "Phase margin", "deg"},
    {"gain_margin_db", "Gain margin, upward", "dB"},
    {"gain_reduction_margin_db", "Gain margin, downward", "dB"},
    {"peak_sensitivity", "Peak sensitivity at the pointings, max |S|", ""},
    {"noise_torque_rms_nm", "Torque from sensor noise, rms", "N m"},
    {"tracking_rate_arcsec_per_s", "Tracking rate", "arcsec/s"},
    {"settle_s", "Settling time", "s"},
    {"settle_arcsec", "Settling band", "arcsec"},
    {"settles", "Comes to rest on the simulated axis", ""},
    {TUNE_JUDGEMENT_TONES, "Sensitivity at injected tones, part of its bound", ""},
    {"typed", "The drive can hold gains that keep every limit", ""},
    {TUNE_JUDGEMENT_STABLE, "Stable", ""},
    {TUNE_JUDGEMENT_STABLE_95, "Stable within what the fit leaves open (95&nbsp;%)", ""},
};

/* The margin a judgement of these gains is about; NULL where it is about none. */
static const struct tune_margin *margin_of(const struct tune_candidate *judged,
                                           const struct tune_judgement *item)
{
    for (size_t i = 0; judged && i < judged->n_margins; i++) {
        const struct tune_pointing_margins *m = &judged->margins[i];
        if (strcmp(m->pointing, item->where) != 0) continue;
        if (!strcmp(item->name, "phase_margin_deg")) return &m->phase_margin_deg;
        if (!strcmp(item->name, "gain_margin_db")) return &m->gain_margin_db;
        if (!strcmp(item->name, "gain_reduction_margin_db")) return &m->gain_reduction_margin_db;
        if (!strcmp(item->name, "peak_sensitivity")) return &m->peak_sensitivity;
    }
    return NULL;
}

/* The bound of the wrong side of its limit: the value is met, but not surely. */
static bool unsure(const struct tune_judgement *item, const struct tune_margin *margin)
{
    if (!item->met || !margin || !isfinite(margin->value)) return false;
    return item->at_most ? !(margin->bound95 <= item->limit) : !(margin->bound95 >= item->limit);
}

/* Limit 1, value 0 or 1, and no key of [requirement]. */
static bool yes_or_no(const struct tune_judgement *item)
{
    static const char *const names[] = {TUNE_JUDGEMENT_STABLE, TUNE_JUDGEMENT_STABLE_95, "settles",
                                        "typed"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (!strcmp(item->name, names[i])) return true;
    return false;
}

static void judgement_row(struct buffer *html, const struct tune_judgement *item, const char *basis,
                          const struct tune_margin *margin)
{
    const struct quantity unknown = {NULL, NULL, ""}, *quantity = &unknown;
    const bool doubt = unsure(item, margin), open = tune_judgement_cannot_tell(item);
    for (size_t i = 0; i < sizeof quantities / sizeof *quantities; i++)
        if (strcmp(quantities[i].key, item->name) == 0) quantity = &quantities[i];
    buffer_format(html, "<tr class=\"%s\"><th scope=\"row\">",
                  doubt || open ? "unsure"
                  : item->met   ? "met"
                                : "missed");
    if (quantity->raw_name)
        buffer_add(html, quantity->raw_name);
    else
        buffer_escape(html, item->name);
    if (*quantity->raw_unit) buffer_format(html, " (%s)", quantity->raw_unit);
    buffer_format(html, "</th><td class=\"w\"><span class=\"verdict\">%s</span></td>",
                  open         ? "cannot tell"
                  : !item->met ? "missed"
                  : doubt      ? "met, not for sure"
                               : "met");
    if (yes_or_no(item)) {
        html_cell(html, "%s", item->met ? "yes" : "no");
        html_cell(html, "&ndash;");
        html_cell(html, "yes");
    } else {
        html_number(html, item->value, margin ? 4 : 3);
        html_number(html, margin && isfinite(margin->value) ? margin->bound95 : (double)NAN, 4);
        html_cell(html, "%s %.4g", item->at_most ? "at most" : "at least", item->limit);
    }
    html_words(html, item->where);
    html_words(html, basis);
    html_row_end(html);
}

static bool judged_again(const struct tune_judgements *list, const char *name)
{
    for (size_t i = 0; i < list->n; i++)
        if (strcmp(list->item[i].name, name) == 0) return true;
    return false;
}

static bool anything(const struct report *report)
{
    return (report_recommended(report) && report->proposal->requirement.n) ||
           (report->forecast && report->forecast->requirement.n) ||
           (report->verification && report->verification->requirement.n);
}

void part_requirement(struct buffer *html, const struct report *report)
{
    const struct tune_candidate *recommended = report_recommended(report);
    const struct tune_forecast *forecast = report->forecast;
    char basis[TUNE_INPUT_PATH + 32];
    /* the prediction's figure replaces the design's own where both speak of the same gains */
    const bool replaced = forecast && recommended &&
                          report_same_controller(&forecast->controller, &recommended->controller);
    if (!anything(report)) return;
    html_table(html, "Requirement and what is reached",
               "Quantity|<Verdict|Reached|95 % bound|Required|<Decided at|<Basis");
    for (size_t i = 0; recommended && i < report->proposal->requirement.n; i++) {
        const struct tune_judgement *item = &report->proposal->requirement.item[i];
        (void)snprintf(basis, sizeof basis, "designed, %s", recommended->name);
        if (!replaced || !judged_again(&forecast->requirement, item->name))
            judgement_row(html, item, basis, margin_of(recommended, item));
    }
    for (size_t i = 0; forecast && i < forecast->requirement.n; i++) {
        (void)snprintf(basis, sizeof basis, "predicted, %s", forecast->controller_source);
        judgement_row(html, &forecast->requirement.item[i], basis, NULL);
    }
    for (size_t i = 0; report->verification && i < report->verification->requirement.n; i++)
        judgement_row(html, &report->verification->requirement.item[i], "measured", NULL);
    html_table_end(html);
}
