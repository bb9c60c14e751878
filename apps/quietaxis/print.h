/* print.h - answers as text of at most 80 columns on standard output.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef APP_PRINT_H
#define APP_PRINT_H

#include "command.h"

enum { PRINT_CELL = 48 };

/* Colours, on a terminal that has not been asked to do without (NO_COLOR). */
enum print_colour { PRINT_PLAIN, PRINT_GOOD, PRINT_BAD, PRINT_STRONG };
void print_coloured(enum print_colour colour, const char *text);

/* Value with as many digits as its std bears, "23.691 +- 0.012"; without a std six digits. */
const char *print_estimate(char cell[PRINT_CELL], double value, double std);

/* "low .. high" in three digits, once where they are equal; "-" where one is not known. */
const char *print_interval(char cell[PRINT_CELL], const double interval[2]);

/* "%.*g", "inf" as "none", NAN as "-". */
const char *print_number(char cell[PRINT_CELL], double value, int digits);

/* A fixed number of decimals; INFINITY as "none", NAN as "-". */
const char *print_fixed(char cell[PRINT_CELL], double value, int decimals);

/* A heading: the text, underlined by nothing, set off by an empty line. */
void print_heading(const char *text);

/* A sentence broken at 80 columns behind a mark ("- "), following lines indented. */
void print_sentence(const char *mark, const char *text);

/* A list of sentences under a heading; nothing where there are none. */
void print_notes(const char *heading, const struct tune_notes *notes);

/* Requirements as a table; verb: "designed", "predicted", "measured". sky_arcsec: what the line of sight
 * does where jitter is judged at the encoder, else NAN. */
void print_judgements(const struct tune_judgements *judgements, const char *verb,
                      double sky_arcsec);

/* The gains of a controller, one key a line. */
void print_controller(const struct tune_controller *controller);

/* " ?" with care, " !" doubtful, else nothing; then the reasons, a line each. */
const char *print_mode_mark(const struct tune_mode_verdict *verdict);
void print_mode_reasons(const struct tune_pointing_plant *p);

/* Levels of excitation, and the other axis where it was logged. */
void print_comparisons(const struct tune_pointing_plant *p);

/* Modes over pointings, what they follow, where to sweep next; nothing of a single pointing. */
void print_tracks(const struct tune_identification *id);

/* Print the JSON a call has just made (or its failure) and release it. */
int print_json(enum tune_status status, char **text, const struct tune_error *err);

/* Everything printed reached standard output. */
int print_end(int code);

/* Margins of a controller at every pointing, and every crossing at the worst. */
void print_margins(const struct tune_candidate *best);

/* Margins with the loop of the other axis closed; nothing where that was not checked. */
void print_cross(const struct tune_proposal *r);

/* Jitter beside the least of any controller; nothing where that was not asked for. */
void print_bound(const struct tune_proposal *r);

/* What would help most, in sentences. */
void print_limits(const struct tune_proposal *r);

/* What to type into the drive, new and old, and the files that have it. */
void print_typed(const struct tune_proposal *r);

/* The enable ladder of a design and how to climb it. */
void print_ladder(const struct tune_proposal *r);

/* The recommended gains on the simulated axis. */
void print_trial(const struct tune_proposal *r);

/* Numbers for the drive's feedforward, and limits of a move. */
void print_feedforward(const struct tune_proposal *r);

#endif
