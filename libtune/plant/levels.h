/* levels.h - does the axis answer alike in all records of a pointing, and whatever the excitation's level?
 *
 * A linear axis does. Each record is held against the joint fit of all:
 * - by band: the factor 1 + c on the fitted response that suits the record's lines best,
 *       c = sum conj(G U) (Y - G U)/s^2 / sum |G U|^2/s^2,   E|error|^2 = 1/sum |G U|^2/s^2;
 * - by mode: a few Gauss-Newton steps of ln f, ln zeta and g, with a constant background of its own, on the
 *   record's lines around the mode, starting from the fit.
 * s^2 is the noise seen in the record's own residuals. Differences between levels are tested by chi square,
 * trends of a mode's parameters against ln level by their std; where the records scatter significantly (0.05) by
 * more than that, by F and Student's t with that scatter. All of them together at 0.001 (Bonferroni).
 * An axis that drifts from record to record may do so in step with the level. A change counts as one with level,
 * not drift, where F or t would give it by chance in less than 0.01; with one record a level nothing tells.
 * A mode that differs between records has drifted, or changes with level: its std becomes that of the mean of
 * the records as their scatter has it, sqrt(chi^2/dof) times that of their own std (R. T. Birge, Phys. Rev. 40
 * (1932) 207, from memory). One that leaves more residual than the regression's noise within a record has its
 * std multiplied by the root of that ratio.
 *
 * What a record cannot show: a mode that moves evenly while a sweep passes it looks like one of another
 * damping. Two sweeps, one the other way round, tell.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_LEVELS_H
#define TUNE_LEVELS_H

#include <stdbool.h>
#include <stddef.h>

#include "core/estimate.h"
#include "core/status.h"
#include "plant/fit.h"
#include "plant/frf.h"

enum { TUNE_LEVELS_MAX = 8, TUNE_LEVEL_BANDS_MAX = 4 * TUNE_MODES_MAX + 16 };

struct tune_level_record {
    const struct tune_lines *lines; /* of this record alone */
    double level;                   /* rms or peak of the injected torque, > 0; NAN: not known */
};

enum tune_level_band_kind {
    TUNE_BAND_BELOW, /* an octave, or what is left of one, below the first mode or antiresonance */
    TUNE_BAND_MODE,
    TUNE_BAND_ANTIRESONANCE,
    TUNE_BAND_BETWEEN,
    TUNE_BAND_ABOVE
};

enum tune_level_verdict {
    TUNE_LEVEL_LINEAR,
    TUNE_LEVEL_CHANGES,
    TUNE_LEVEL_UNTOLD,
    TUNE_LEVEL_SAME /* not tested: the torque there is the same at every level, within a factor 1.4 */
};

/* From the lowest to the highest level. */
struct tune_level_band {
    enum tune_level_band_kind kind;
    size_t of; /* index of the mode or antiresonance */
    double band_hz[2];
    double torque_ratio;            /* rms of the torque's lines there, highest over lowest level */
    struct tune_estimate change;    /* of the size of the response, relative */
    struct tune_estimate phase_rad; /* of its phase */
    double within; /* relative; the change of the complex response is less, with 95 % confidence */
    double chance; /* of so much difference between levels on a linear axis */
    double
        drift_chance; /* of so much by drift, as records of one level show it; 1: none was repeated */
    enum tune_level_verdict verdict;
};

/* One mode over records and levels. Slopes are relative changes per unit of ln level. */
struct tune_level_mode {
    bool known; /* it lies in the band of every record, with lines enough */
    struct tune_estimate f_hz[TUNE_LEVELS_MAX], zeta[TUNE_LEVELS_MAX], gain[TUNE_LEVELS_MAX];
    struct tune_estimate f_slope, zeta_slope, gain_slope; /* NAN with one level */
    bool f_changes, zeta_changes, gain_changes;           /* with level, significantly */
    bool differs;                                         /* between records, significantly */
    double f_chance, zeta_chance, gain_chance;            /* of such slopes on a linear axis */
    double
        drift_chance[3]; /* of such slopes by drift from record to record, Student's; 1 with two */
    bool or_drift;       /* a change that drift may make as well: its chance is above 0.01 */
    double chance;       /* of so much difference between the records; 1 with one record */
    bool smeared;        /* within a record: significantly more residual than noise */
    double excess; /* largest ratio of residual power around the mode to the regression's noise */
    double excess_chance;
    double widen[3]; /* factors on the std of f, zeta, gain; 1 where nothing is wrong */
};

enum tune_level_cause { TUNE_CAUSE_FRICTION = 1, TUNE_CAUSE_LOOSE = 2, TUNE_CAUSE_HARDENING = 4 };

struct tune_levels {
    size_t n_records, n_levels;    /* levels apart by more than a factor 1.2; 0: not known */
    double level[TUNE_LEVELS_MAX]; /* mean of the records of each, rising */
    size_t n_bands;                /* 0 with one level */
    struct tune_level_band band[TUNE_LEVEL_BANDS_MAX];
    size_t n_modes;                              /* as in the fit */
    struct tune_level_mode mode[TUNE_MODES_MAX]; /* out-of-band ones: not known */
    unsigned
        causes; /* sum of tune_level_cause that the changes point to (common practice, no source):
                        friction where the response below the modes grows with level or damping falls;
                        otherwise a loose joint where a mode falls, a hardening one where it rises */
    bool
        or_drift; /* there are changes, and every one may be drift as well: the causes hold only if not */
};

/* band_hz: the band of the fit. TUNE_EINVAL without records; TUNE_ENOMEM. */
TUNE_API enum tune_status tune_levels_compare(struct tune_levels *out,
                                              const struct tune_level_record *record, size_t n,
                                              const struct tune_fit *fit, const double band_hz[2],
                                              struct tune_error *err);

/* Multiply rows and columns of the covariance by the factors of each mode, and renew what follows from it:
 * the std of modes and antiresonances. Nothing happens where all factors are 1. */
TUNE_API enum tune_status tune_levels_widen(struct tune_fit *fit, const struct tune_levels *levels,
                                            const double band_hz[2], struct tune_error *err);

/* Of all bands and modes together: changes where one does, linear where all that can be told are, and untold where
 * nothing can be or there is one level only; same where every band is. */
TUNE_API enum tune_level_verdict tune_levels_verdict(const struct tune_levels *levels);

/* "linear", "changes with level", "cannot be told", "not tested: same level" */
TUNE_API const char *tune_level_verdict_name(enum tune_level_verdict verdict);

/* The largest of `within` over the bands that are linear; 0: none is. */
TUNE_API double tune_levels_within(const struct tune_levels *levels);

/* The bands of that verdict, neighbours as one: "1.49 to 3.46, 98 to 196"; empty for none. What finds no room is
 * told by dots. */
TUNE_API void tune_levels_bands(char *text, size_t size, const struct tune_levels *levels,
                                enum tune_level_verdict verdict);

/* What the causes are in words, "friction: ..."; empty for none. */
TUNE_API const char *tune_level_cause_text(unsigned causes);

#endif
