/* response.h - a frequency response as a table, as analysers of drives give it.
 *
 * CSV as logs are (docs/formats.md). Lag is negative phase; a plant's response is angle per torque,
 * positive torque raises the angle; the open loop's is controller times plant, so that -1 is the critical
 * point.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_RESPONSE_H
#define TUNE_RESPONSE_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "record/record.h"

struct tune_response_opts {
    bool of_loop;                   /* the open loop's, without unit; else the plant's */
    double torque_per_unit_nm;      /* N m per ampere, volt, or at full scale; 0: unknown */
    double encoder_counts_per_turn; /* 0: unknown */
};

/* Plain data. What the table does not hold is NULL. */
struct tune_response {
    size_t n; /* >= 2 */
    bool of_loop;
    double *f_hz;      /* [n] > 0, rising */
    double complex *g; /* [n] plant: rad per N m; loop: without unit */
    double *std;       /* [n] as g, sqrt(E |G^ - G|^2), both parts together; >= 0 */
    double *dof;       /* [n] complex degrees of freedom of std; > 0 */
    double *coherence; /* [n] 0 .. 1 */
    char column[2]
               [TUNE_COLUMN_NAME]; /* header text of real and imaginary part, or gain and phase */
    char columns_found[TUNE_COLUMNS_TEXT]; /* every column of the header, for messages */
};

/* Read a table with the columns frequency_hz and real, imag or gain_db, phase_deg; of a plant those may
 * carry a unit, an angle per torque: real_rad_per_nm (the default), imag_arcsec_per_a,
 * gain_db_arcsec_per_nm (dB re one of it). std (with a unit likewise), dof and coherence are read where
 * they are there. Fills *out; release it with tune_response_free(). On failure *out is empty and err names
 * file, line and column:
 *   TUNE_EIO    not there, or the system refused
 *   TUNE_EDATA  malformed, not finite, frequencies not rising or not above 0, fewer than 2 rows, a column
 *               missing or twice, a unit that is none or lacks its scale
 *   TUNE_EINVAL an option out of range
 *   TUNE_ENOMEM out of memory */
TUNE_API enum tune_status tune_response_read(struct tune_response *out, const char *path,
                                             const struct tune_response_opts *opts,
                                             struct tune_error *err);

/* The same from bytes in memory (plain or gzip); name stands for the file in messages. */
TUNE_API enum tune_status tune_response_parse(struct tune_response *out, const char *name,
                                              const void *bytes, size_t size,
                                              const struct tune_response_opts *opts,
                                              struct tune_error *err);

/* Safe on an empty response. */
TUNE_API void tune_response_free(struct tune_response *response);

#endif
