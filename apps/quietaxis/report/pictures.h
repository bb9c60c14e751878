/* pictures.h - from results to the data files of the plots, and the plots.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REPORT_PICTURES_H
#define REPORT_PICTURES_H

#include <stdbool.h>
#include <stddef.h>

#include "table.h"
#include "buffer.h"
#include "tune.h"

/* Headers of the result files read here. */
extern const char picture_frf_header[], picture_model_header[], picture_loop_header[],
    picture_jitter_header[], picture_balance_header[], picture_turns_header[];

/* A resonance or antiresonance named over the response. */
struct picture_mark {
    double f_hz;
    bool antiresonance;
};

/* The response of one pointing; frf is thinned in place, model may have no rows. */
enum tune_status picture_frf(struct buffer *svg, struct table *frf, const struct table *model,
                             const struct picture_mark *marks, size_t n_marks,
                             struct tune_error *err);

/* loops[n], n >= 1, and the names of their pointings; NAN: no limit. */
enum tune_status picture_loop(struct buffer *svg, const struct table *loops,
                              const char *const *names, size_t n, double peak_sensitivity,
                              struct tune_error *err);
enum tune_status picture_sensitivity(struct buffer *svg, const struct table *loops,
                                     const char *const *names, size_t n, double peak_sensitivity,
                                     struct tune_error *err);

enum tune_status picture_jitter(struct buffer *svg, const struct table *jitter,
                                double required_arcsec, struct tune_error *err);

/* Torque against angle: what was measured both ways, the fit, and once mended where there is a remedy. */
enum tune_status picture_balance(struct buffer *svg, const struct table *holding,
                                 const struct table *turns, double coulomb_nm, bool mends,
                                 struct tune_error *err);

/* Frequencies of all tracks and the inertia against the angle of this axis or, where that stands still,
 * of the other one. TUNE_EINVAL: nothing to draw, as picture_tracks_worth() says. */
bool picture_tracks_worth(const struct tune_identification *id);
enum tune_status picture_tracks(struct buffer *svg, const struct tune_identification *id,
                                struct tune_error *err);

/* Noise torque of the candidates against their jitter, the present gains and the limits among them.
 * Only candidates with both figures can be drawn; TUNE_EINVAL: fewer than two, or none proposed. */
bool picture_tradeoff_worth(const struct tune_proposal *proposal);
enum tune_status picture_tradeoff(struct buffer *svg, const struct tune_proposal *proposal,
                                  const struct tune_requirement *requirement,
                                  struct tune_error *err);

/* The name in quotes, as data of a CSV file. */
void picture_quote(struct buffer *out, const char *name);

/* Where the labels of marks at sorted x[n] stand so that neighbours keep `gap` and all lie within
 * low..high (if they fit at all): least squares, by pooling neighbours that collide. */
void picture_spread(double *place, const double *x, size_t n, double gap, double low, double high);

#endif
