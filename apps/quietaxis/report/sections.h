/* sections.h - the parts of the page, in its order.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_SECTIONS_H
#define REPORT_SECTIONS_H

#include "report.h"
#include "table.h"

void section_head(struct buffer *html, const struct report *report);
void section_answer(struct buffer *html, const struct report *report);
void section_cautions(struct buffer *html, const struct report *report);

/* What the line of sight was measured to do, beside the encoder; nothing where no log shows it. */
void part_measured_sky(struct buffer *html, const struct report *report);
/* The limit of jitter is on the encoder, and the line of sight moves by more, predicted or measured. */
bool report_only_at_encoder(const struct report *report);

/* Every quantity asked for, designed, predicted and measured. */
void part_requirement(struct buffer *html, const struct report *report);
/* Which gains, why, their margins, and how to come to them. */
void part_recommendation(struct buffer *html, const struct report *report);

/* Pointings, then each with its response drawn. */
enum tune_status section_plant(struct buffer *html, const struct report *report,
                               const struct tune_watch *watch, struct tune_error *err);

/* Reasons to doubt modes, levels of excitation, the other axis. */
void part_verdicts(struct buffer *html, const struct tune_pointing_plant *p);

/* Modes over pointings, what they follow, where to sweep next. */
enum tune_status part_tracks(struct buffer *html, const struct tune_identification *id,
                             struct tune_error *err);

/* Margins of tables of the loop, all crossings, and what the tables do not show. */
void part_measured_loops(struct buffer *html, const struct tune_identification *id);

/* Candidates, gains, filters, margins, and the loops. */
enum tune_status section_gains(struct buffer *html, const struct report *report,
                               const struct tune_watch *watch, struct tune_error *err);

/* Present gains and proposals side by side, the curve they lie on, what each biquad buys. */
enum tune_status part_proposals(struct buffer *html, const struct report *report,
                                struct tune_error *err);

/* Every crossing at the worst pointing, margins with the other axis' loop closed, the loop above the band. */
void part_loop_details(struct buffer *html, const struct tune_proposal *proposal);
/* What stands in the way of more, what would help, the least any controller could leave. */
void part_limits(struct buffer *html, const struct tune_proposal *proposal);

/* The way up to the recommended gains. */
void section_ladder(struct buffer *html, const struct report *report);
/* The recommended gains on the simulated axis. */
void section_trial(struct buffer *html, const struct report *report);
/* Numbers to type in, feedforward, limits of a move. */
void section_drive(struct buffer *html, const struct report *report);

/* The loops alone, drawn under the gains the page is about. */
enum tune_status section_loops(struct buffer *html, const struct report *report,
                               struct tune_error *err);

/* What disturbs, the prediction by pointing and source, the spectrum drawn; what logs showed. */
enum tune_status section_stillness(struct buffer *html, const struct report *report,
                                   const struct tune_watch *watch, struct tune_error *err);

/* Friction, out-of-balance, rest and remedy, drawn. */
enum tune_status section_balance(struct buffer *html, const struct report *report,
                                 struct tune_error *err);
/* What the first motions said of signs, scales and limits. */
void section_precheck(struct buffer *html, const struct report *report);
void section_logs(struct buffer *html, const struct report *report);
void section_assumptions(struct buffer *html, const struct report *report);
void section_provenance(struct buffer *html, const struct report *report);

/* Site and axis, escaped. */
void report_title(struct buffer *html, const struct report *report);

/* The gains that the loop plots and the prediction are about; NULL where there are none. */
const struct tune_controller *report_controller(const struct report *report);
/* "results/controller.ini", ... */
const char *report_controller_source(const struct report *report);
const struct tune_candidate *report_recommended(const struct report *report);
bool report_same_controller(const struct tune_controller *a, const struct tune_controller *b);

#endif
