/* plot.h - one embedded gnuplot script, run on data of fixed file names in a private folder.
 *
 * gnuplot starts a shell for backticks and for file names that begin with '<'. Therefore: no shell
 * here (posix_spawn with an argument vector), no start-up files (-d), file names chosen by us, and user
 * text only inside data files.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_PLOT_H
#define REPORT_PLOT_H

#include <stddef.h>

#include "buffer.h"
#include "tune.h"

/* A file laid beside the script. The name is ours, never a user's. */
struct plot_file {
    char name[32];
    struct buffer text;
};

/* svg: the picture, appended; release with buffer_free(). timeout_s > 0.
 *   TUNE_EIO     gnuplot is not installed, was killed, took too long, or said no (its words in err)
 *   TUNE_EINVAL  no script of this name was embedded
 *   TUNE_ECANCELLED  gnuplot was interrupted, as by a key at the terminal
 *   TUNE_ENOMEM */
enum tune_status plot_draw(struct buffer *svg, const char *script, const struct plot_file *files,
                           size_t n_files, double timeout_s, struct tune_error *err);

/* Text of an embedded script or style sheet, NULL where there is none. */
const char *plot_embedded(const char *name);

#endif
