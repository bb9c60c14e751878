/* plots_embedded.h - gnuplot scripts and style sheets, put into the program at build.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_PLOTS_EMBEDDED_H
#define REPORT_PLOTS_EMBEDDED_H

struct embedded_plot {
    const char *name; /* of the file in plots/; NULL closes the list */
    const char *text;
};

extern const struct embedded_plot embedded_plots[];

#endif
