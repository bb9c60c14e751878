/* print_ladder.c - the enable ladder on a terminal.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "print.h"

static void print_rung(const struct tune_rung *rung)
{
    char cell[9][PRINT_CELL];
    printf("  %-13s %6s %6s %6s %5s %7s %6s %7s %6s %4s\n", rung->file.name,
           print_fixed(cell[0], rung->gain_db, 1), print_number(cell[1], rung->crossover_hz, 3),
           print_fixed(cell[2], rung->phase_margin_deg, 1),
           print_fixed(cell[3], rung->peak_sensitivity, 2),
           print_number(cell[4], rung->encoder_rms_arcsec, 3),
           print_number(cell[5], rung->torque_rms_nm, 3),
           print_number(cell[6], rung->abort_encoder_arcsec, 3),
           print_number(cell[7], rung->abort_torque_nm, 3), print_fixed(cell[8], rung->dwell_s, 0));
}

/* Tones as "2.74 Hz 0.55..0.84". */
static void print_tones(const struct tune_rung *rung)
{
    if (rung->n_tones == 0) return;
    printf("  %-13s", rung->file.name);
    for (size_t i = 0; i < rung->n_tones; i++) {
        const struct tune_probe_tone *t = &rung->tone[i];
        printf(" %6.3g Hz %.2f..%.2f", t->f_hz, t->alarm_low, t->alarm_high);
    }
    printf("\n");
}

void print_ladder(const struct tune_proposal *r)
{
    if (r->n_rungs > 0) {
        print_heading("Enable ladder: from timid to final, one at a time");
        printf("  %-13s %6s %6s %6s %5s  %13s  %13s %4s\n", "", "gain", "cross", "phase", "peak",
               "expected rms", "back above", "stay");
        printf("  %-13s %6s %6s %6s %5s %7s %6s %7s %6s %4s\n", "", "dB", "Hz", "deg", "S",
               "arcsec", "N m", "arcsec", "N m", "s");
        for (size_t i = 0; i < r->n_rungs; i++)
            print_rung(&r->rung[i]);
        print_sentence(
            "  ", "Encoder and torque at the worst pointing. After the quiet log inject small "
                  "tones, one at a time, as large as the files say; |S| there must lie within:");
        for (size_t i = 0; i < r->n_rungs; i++)
            print_tones(&r->rung[i]);
    }
    print_notes("Climbing", &r->climbing);
}
