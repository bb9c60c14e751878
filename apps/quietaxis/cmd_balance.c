/* cmd_balance.c - `balance`: friction, out-of-balance, and what to shift where.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "command.h"
#include "print.h"

static void print_row(const char *what, const struct tune_estimate *x, const char *unit)
{
    char cell[PRINT_CELL];
    if (isfinite(x->std))
        printf("  %-28s %22s  %s\n", what, print_estimate(cell, x->value, x->std), unit);
    else
        printf("  %-28s %22s\n", what, "not told apart");
}

static void print_logs(const struct tune_balance *r)
{
    char text[512];
    size_t used = 0;
    for (size_t i = 0; i < r->n_logs && used < sizeof text; i++)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s%s", i ? ", " : "From ",
                                 r->log[i].name);
    print_sentence("  ", text);
    (void)snprintf(text, sizeof text,
                   "%.1f to %.1f deg, %.0f s rising, %.0f s falling, at %.3g to %.3g deg/s",
                   r->arc_deg[0], r->arc_deg[1], r->up_s, r->down_s, r->slowest_deg_per_s,
                   r->fastest_deg_per_s);
    print_sentence("  ", text);
}

static void print_estimates(const struct tune_balance *r)
{
    print_heading("Friction and out-of-balance");
    if (!r->level) {
        print_row("out-of-balance", &r->imbalance_nm, "N m");
        print_row("pulls hardest to rising at", &r->imbalance_angle_deg, "deg");
    }
    print_row("Coulomb friction", &r->coulomb_nm, "N m");
    print_row("viscous friction", &r->viscous_nm_s_per_rad, "N m per rad/s");
    print_row("both at the slowest speed", &r->friction_nm, "N m");
    print_row("offset, against rising", &r->offset_nm, "N m");
    print_row("inertia", &r->inertia_kg_m2, "kg m^2");
    printf("  %-28s %22.3g  N m rms\n", "left of the torque", r->residual_nm);
}

static void print_rest(const struct tune_balance *r)
{
    char text[256], cell[PRINT_CELL];
    print_heading("At rest everywhere with the drive disabled?");
    printf("  ");
    print_coloured(r->at_rest == TUNE_REST_YES  ? PRINT_GOOD
                   : r->at_rest == TUNE_REST_NO ? PRINT_BAD
                                                : PRINT_STRONG,
                   tune_rest_name(r->at_rest));
    printf(", from %.0f to %.0f deg\n", r->over_deg[0], r->over_deg[1]);
    if (isfinite(r->margin_nm.std)) {
        (void)snprintf(
            text, sizeof text,
            "Nearest to starting at %.0f deg: Coulomb friction less what pulls is %s N m "
            "there%s.",
            r->least_at_deg, print_estimate(cell, r->margin_nm.value, r->margin_nm.std),
            r->margin_nm.value < 0.0 ? ", it moves" : "");
        print_sentence("  ", text);
    }
    if (r->starts_with_deg_per_s2 > 0.0) {
        (void)snprintf(text, sizeof text, "It starts with %.2g deg/s^2.",
                       r->starts_with_deg_per_s2);
        print_sentence("  ", text);
    }
    if (isnan(r->held_of_drive))
        (void)snprintf(text, sizeof text, "Left to the drive it holds up to %.3g N m.", r->held_nm);
    else
        (void)snprintf(text, sizeof text,
                       "Left to the drive it holds up to %.3g N m, %.2g %% of its continuous "
                       "torque.",
                       r->held_nm, 100.0 * r->held_of_drive);
    print_sentence("  ", text);
}

static void print_step(const struct tune_remedy_step *step)
{
    if (step->place)
        printf("  add   %8.3g kg  at place %s\n", step->amount, step->name);
    else
        printf("  shift %+8.3g mm  slide %s\n", step->amount, step->name);
}

static void print_remedy(const struct tune_balance *r)
{
    char text[200], cell[2][PRINT_CELL];
    if (r->level || r->n_steps == 0) return;
    print_heading("Remedy");
    if (!r->has_remedy)
        print_sentence("  ", "Nothing is worth moving: out-of-balance is not known well enough, or "
                             "nothing listed takes a tenth of it away.");
    for (size_t i = 0; r->has_remedy && i < r->n_steps; i++)
        if (r->step[i].amount != 0.0) print_step(&r->step[i]);
    (void)snprintf(text, sizeof text,
                   "Out-of-balance now %s N m, then %s N m (95 %%; the masses and "
                   "arms of axis.ini taken as exact).",
                   print_interval(cell[0], r->before_95_nm),
                   print_interval(cell[1], r->after_95_nm));
    print_sentence("  ", text);
}

static void print_text(const struct tune_balance *r)
{
    printf("%s\n\n", r->provenance.logbook);
    print_logs(r);
    print_estimates(r);
    print_rest(r);
    print_remedy(r);
    print_notes("Notes", &r->notes);
    print_notes("Cautions", &r->cautions);
}

static int run(const struct command_line *line)
{
    struct tune_balance result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_balance(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent)
        code = print_json(tune_balance_json(&text, &result, &err), &text, &err);
    else if (!line->silent)
        print_text(&result);
    if (code == EXIT_DONE) code = print_end(result.at_rest == TUNE_REST_YES ? EXIT_DONE : EXIT_NO);
    tune_balance_free(&result);
    return code;
}

const struct command command_balance = {
    .name = "balance",
    .answers = "friction, out-of-balance, and what to shift where",
    .usage = "balance [OPTIONS] LOGBOOK",
    .help = "From slow turns both ways (logs of kind turn; without any, those of kind track):\n"
            "out-of-balance and its angle, Coulomb and viscous friction, inertia, each with\n"
            "its std; whether the axis is at rest at every angle with the drive disabled;\n"
            "which slide to shift or weight to add, of those listed in axis.ini, and what\n"
            "remains. Writes balance.json, and balance.csv: the torque that holds the axis\n"
            "at every angle.\n"
            "\n"
            "  quietaxis balance hour-angle\n"
            "\n"
            "The axis must be locked before weights are moved.\n"
            "\n"
            "Exit: 0 at rest everywhere, 1 it would move or that is not sure, 2 misuse or a\n"
            "file is not there, 3 unusable data or no such log.\n",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT | TAKES_THREADS,
    .arguments = 1,
    .run = run,
};
