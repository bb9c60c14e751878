/* balance.c - is the axis in balance, what rubs, and what to shift.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "html.h"
#include "pictures.h"
#include "sections.h"

static void value_row(struct buffer *html, const char *what, const struct tune_estimate *x,
                      const char *unit)
{
    html_row(html, what, NULL);
    if (isfinite(x->std))
        html_estimate(html, x->value, x->std);
    else
        html_cell(html, "not told apart");
    html_words(html, unit);
    html_row_end(html);
}

static void numbers(struct buffer *html, const struct tune_balance *b)
{
    html_table(html, "By slow turns both ways", "Quantity|Value|<Unit");
    if (!b->level) {
        value_row(html, "out-of-balance", &b->imbalance_nm, "N m");
        value_row(html, "pulls hardest towards rising angles at", &b->imbalance_angle_deg, "deg");
    }
    value_row(html, "Coulomb friction", &b->coulomb_nm, "N m");
    value_row(html, "viscous friction", &b->viscous_nm_s_per_rad, "N m per rad/s");
    value_row(html, "both at the slowest speed", &b->friction_nm, "N m");
    value_row(html, "offset, against rising angles", &b->offset_nm, "N m");
    value_row(html, "inertia", &b->inertia_kg_m2, "kg m²");
    html_table_end(html);
}

static void verdict(struct buffer *html, const struct tune_balance *b)
{
    buffer_format(
        html,
        "<p>At rest with the drive disabled, from %.0f to %.0f&nbsp;deg: <strong>%s</strong>.",
        b->over_deg[0], b->over_deg[1], tune_rest_name(b->at_rest));
    if (isfinite(b->margin_nm.std)) {
        buffer_format(html,
                      " Nearest to starting at %.0f&nbsp;deg, where Coulomb friction less what "
                      "pulls is ",
                      b->least_at_deg);
        buffer_estimate(html, b->margin_nm.value, b->margin_nm.std);
        buffer_add(html, "&nbsp;N&nbsp;m.");
    }
    if (b->starts_with_deg_per_s2 > 0.0)
        buffer_format(html, " It starts with %.2g&nbsp;deg/s&sup2;.", b->starts_with_deg_per_s2);
    buffer_format(html, " Left to the drive it holds up to %.3g&nbsp;N&nbsp;m.</p>\n", b->held_nm);
}

static void remedy(struct buffer *html, const struct tune_balance *b)
{
    if (b->level || !b->n_steps) return;
    if (!b->has_remedy) {
        buffer_add(html, "<p>Nothing listed is worth moving.</p>\n");
        return;
    }
    html_table(html, "The remedy, with the axis locked while weights are moved",
               "Mass|<What to do");
    for (size_t i = 0; i < b->n_steps; i++) {
        char text[64];
        if (b->step[i].amount == 0.0) continue;
        html_row(html, b->step[i].name, NULL);
        (void)snprintf(text, sizeof text,
                       b->step[i].place ? "add %.4g kg" : "shift by %+.4g mm along its slide",
                       b->step[i].amount);
        html_words(html, text);
        html_row_end(html);
    }
    html_table_end(html);
    buffer_format(html,
                  "<p>Out-of-balance now %.3g to %.3g&nbsp;N&nbsp;m, then %.3g to "
                  "%.3g&nbsp;N&nbsp;m (95&nbsp;%%).</p>\n",
                  b->before_95_nm[0], b->before_95_nm[1], b->after_95_nm[0], b->after_95_nm[1]);
}

static enum tune_status draw(struct buffer *html, const struct report *report,
                             struct tune_error *err)
{
    const struct tune_balance *b = report->balance;
    static const char words[] =
        "Torque of the drive against angle: measured both ways, the fit, and "
        "the torque that holds the axis, now and once mended.";
    char path[2 * TUNE_PATH_LENGTH];
    struct table holding = {0}, turns = {0};
    struct buffer svg = {0};
    enum tune_status status;
    if (!*b->table.name || !isfinite(b->coulomb_nm.std)) return TUNE_OK;
    (void)snprintf(path, sizeof path, "%s/%s", report->folder, b->table.name);
    status = table_read(&holding, path, picture_balance_header, err);
    if (!status) {
        (void)snprintf(path, sizeof path, "%s/%s", report->folder, b->turns.name);
        status = table_read(&turns, path, picture_turns_header, err);
    }
    if (!status)
        status = picture_balance(&svg, &holding, &turns, b->coulomb_nm.value, b->has_remedy, err);
    if (!status) html_figure(html, &svg, words, words);
    buffer_free(&svg);
    table_free(&holding);
    table_free(&turns);
    return status;
}

enum tune_status section_balance(struct buffer *html, const struct report *report,
                                 struct tune_error *err)
{
    const struct tune_balance *b = report->balance;
    enum tune_status status;
    if (!b) return TUNE_OK;
    html_section(html, "balance", "Is the axis in balance?");
    verdict(html, b);
    numbers(html, b);
    status = draw(html, report, err);
    remedy(html, b);
    html_notes(html, &b->notes);
    buffer_add(html, "<h3>Before weights move</h3>\n");
    html_notes(html, &b->cautions);
    html_section_end(html);
    return status;
}
