/* cmd_design.c - `design`: controllers, margins, what limits the axis.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "print.h"

static void print_candidate(const struct tune_candidate *c, bool recommended)
{
    struct tune_worst_margins worst;
    char cell[8][PRINT_CELL];
    tune_worst_margins(&worst, c);
    printf("%s %-8s %9s %9s %8s %7s %6s %6s %6s %8s%s\n", recommended ? "*" : " ", c->name,
           print_number(cell[0], c->jitter_rms_arcsec, 3),
           print_number(cell[1], c->sky_rms_arcsec, 3),
           print_number(cell[2], c->noise_torque_rms_nm, 3),
           print_fixed(cell[3], worst.phase_margin_deg.value, 1),
           print_fixed(cell[4], worst.gain_margin_db.value, 1),
           print_fixed(cell[5], worst.gain_reduction_margin_db.value, 1),
           print_fixed(cell[6], worst.peak_sensitivity.value, 2),
           print_number(cell[7], worst.crossover_hz.value, 3),
           !worst.stable ? "  !"
           : worst.sure  ? ""
                         : "  ?");
}

/* False where the jitter asked for is judged and missed. */
static bool keeps_jitter(const struct tune_proposal *r)
{
    for (size_t i = 0; i < r->requirement.n; i++)
        if (!strcmp(r->requirement.item[i].name, "jitter_rms_arcsec"))
            return r->requirement.item[i].met;
    return true;
}

/* What a smaller figure in the table might hide. */
static void print_twist(const struct tune_candidate *best)
{
    char text[160];
    if (!(best->line_of_sight_rms_arcsec > 1.05 * best->sky_rms_arcsec)) return;
    (void)snprintf(text, sizeof text,
                   "With that twist, which no gains can take away, the line of sight moves by "
                   "%.3g arcsec rms with %s.",
                   best->line_of_sight_rms_arcsec, best->name);
    print_sentence("  ", text);
}

/* What the recommended gains are the best of. */
static void print_why(const struct tune_proposal *r)
{
    if (!strcmp(r->goal, "given")) return;
    if (strcmp(r->goal, "bold") != 0) {
        print_sentence("  ", keeps_jitter(r)
                                 ? "* recommended: the least noise torque that keeps the jitter "
                                   "asked for."
                                 : "* recommended: the least noise torque that keeps what a "
                                   "controller can change of the jitter asked for; the whole of it "
                                   "is missed, see Requirement.");
        return;
    }
    print_sentence("  ",
                   "* recommended, as asked with --bold: the least motion of the line of sight "
                   "without that twist, rms over pointings and mode shifts.");
    if (!r->jitter_of_sky)
        print_sentence("  ",
                       "The requirement asks of the encoder (jitter_of = encoder), the column "
                       "jitter: that is kept where it can be, not made least.");
}

static void print_candidates(const struct tune_proposal *r)
{
    printf("\n  %-8s %9s %9s %8s %7s %6s %6s %6s %8s\n", "", "jitter", "sky", "noise", "phase",
           "gain", "down", "peak", "cross");
    printf("  %-8s %9s %9s %8s %7s %6s %6s %6s %8s\n", "gains", "arcsec", "arcsec", "N m", "deg",
           "dB", "dB", "S", "Hz");
    for (size_t i = 0; i < r->n_candidates; i++)
        if (!r->candidate[i].between) print_candidate(&r->candidate[i], i == r->recommended);
    print_sentence(
        "  ", "Worst pointing of each. ! not stable somewhere, ? within the 95 % bounds of the "
              "fit not. Jitter as a log would show it; "
              "sky without the twist no encoder sees.");
    print_twist(&r->candidate[r->recommended]);
    print_why(r);
    if (strstr(r->candidate[r->recommended].name, "-typed"))
        print_sentence("  ", "-typed: the same, rounded to what the drive accepts.");
}

static void print_purchases(const struct tune_proposal *r)
{
    if (r->n_purchases == 0) return;
    print_heading("What each biquad buys");
    printf("  %-8s %7s %15s %15s %8s %8s\n", "goal", "biquads", "encoder arcsec", "sky arcsec",
           "N m", "peak S");
    for (size_t i = 0; i < r->n_purchases; i++) {
        const struct tune_purchase *p = &r->purchase[i];
        char cell[4][PRINT_CELL];
        printf("%s %-8s %7zu %15s %15s %8s %8s%s\n", p->taken ? "*" : " ", p->goal, p->biquads,
               print_number(cell[0], p->encoder_rms_arcsec, 3),
               print_number(cell[1], p->sky_rms_arcsec, 3),
               print_number(cell[2], p->noise_torque_rms_nm, 3),
               print_fixed(cell[3], p->worst_sensitivity, 2), p->feasible ? "" : "  missed");
    }
    print_sentence("  ", "By the smooth disturbance model, worst over pointings and mode shifts. "
                         "* the number the proposal of that name has. missed: a limit of the "
                         "design is.");
}

/* The notes that do not stand under the margins already. */
static void print_other_notes(const struct tune_proposal *r)
{
    struct tune_notes rest = {0};
    for (size_t i = 0; i < r->notes.n; i++) {
        bool told = false;
        for (size_t d = 0; d < r->doubts.n; d++)
            told = told || !strcmp(r->notes.text[i], r->doubts.text[d]);
        if (!told) tune_notes_add(&rest, "%s", r->notes.text[i]);
    }
    print_notes("Notes", &rest);
}

static void print_text(const struct tune_proposal *r)
{
    const struct tune_candidate *best = &r->candidate[r->recommended];
    char text[128];
    printf("%s\n", r->provenance.logbook);
    print_candidates(r);
    print_purchases(r);
    print_margins(best);
    for (size_t i = 0; i < r->doubts.n; i++)
        print_sentence("  ! ", r->doubts.text[i]);
    print_cross(r);
    (void)snprintf(text, sizeof text, "Gains of %s%s%s", best->name,
                   r->controller_file.name[0] ? ", in " : "", r->controller_file.name);
    print_heading(text);
    print_controller(&best->controller);
    print_typed(r);
    print_ladder(r);
    print_trial(r);
    print_feedforward(r);
    print_bound(r);
    print_judgements(&r->requirement, "designed",
                     r->jitter_of_sky ? (double)NAN : best->line_of_sight_rms_arcsec);
    print_notes("What limits it", &r->limits);
    print_limits(r);
    print_notes("Implied by other limits", &r->implied);
    print_other_notes(r);
    print_notes("Cautions", &r->cautions);
}

static int run(const struct command_line *line)
{
    struct tune_proposal result;
    struct tune_error err;
    char *text = NULL;
    int code = EXIT_DONE;
    if (tune_chain_design(&result, &line->job, &err)) return command_fail(&err);
    command_progress_done();
    if (line->json && !line->silent)
        code = print_json(tune_proposal_json(&text, &result, &err), &text, &err);
    else if (!line->silent)
        print_text(&result);
    if (code == EXIT_DONE) code = print_end(result.requirement.met ? EXIT_DONE : EXIT_NO);
    tune_proposal_free(&result);
    return code;
}

const struct command command_design = {
    .name = "design",
    .answers = "gains and biquads, margins at every pointing, what limits the axis",
    .usage = "design [OPTIONS] LOGBOOK",
    .help = "Identifies the axis and makes three proposals, calm to bold, with as few biquads\n"
            "as will do; recommends the calmest gains that keep the jitter asked for, or\n"
            "with --bold the least jitter; sets the gains in use beside them. Writes\n"
            "design.json, controller.ini with the recommended gains, enable-NN.ini (the rungs\n"
            "that lead to them), to-type.txt, coefficients.csv, controller.h (as the drive\n"
            "takes them) and loop-POINTING.csv.\n"
            "With --evaluate it judges the gains of a file and proposes none: evaluate.json,\n"
            "given-POINTING.csv. With --bound it also finds the least jitter any linear\n"
            "controller can reach at each pointing, and how near the bold or the given gains\n"
            "come. Nothing is written to a drive.\n"
            "\n"
            "  quietaxis design hour-angle\n"
            "  quietaxis design --evaluate tonight.ini hour-angle\n"
            "\n"
            "Exit: 0 requirement met, 1 requirement missed, 2 misuse or a file is not\n"
            "there, 3 unusable data, 4 nothing holds this axis within the constraints, or no\n"
            "gains keep the jitter asked for.\n",
    .log_help = "this sweep, table or quiet log alone; may be repeated",
    .options = TAKES_OUT | TAKES_LOG | TAKES_POINTING | TAKES_ACCEPT | TAKES_MODES | TAKES_THREADS |
               TAKES_GOAL | TAKES_EVALUATE | TAKES_BOUND,
    .arguments = 1,
    .run = run,
};
