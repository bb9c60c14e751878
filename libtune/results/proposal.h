/* proposal.h - what `design` proposes: controllers, their margins at every pointing, what limits them.
 * design.json; the recommended one lies beside it as controller.ini, its loops as CSV.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_PROPOSAL_H
#define TUNE_PROPOSAL_H

#include <stdbool.h>
#include <stddef.h>

#include "control/controller.h"
#include "control/loop.h"
#include "control/drive_form.h"
#include "core/status.h"
#include "logbook/logbook.h"
#include "results/identification.h"
#include "results/judgement.h"
#include "results/notes.h"
#include "results/provenance.h"

/* A margin with its uncertainty and the side that hurts, one-sided 95 %. value INFINITY: no crossing,
 * the margin has no end; NAN: undefined. */
struct tune_margin {
    double value, std;
    double bound95; /* the value is worse than this in 5 % of cases: lower_95, or upper_95 of the
                       peak sensitivity */
};

/* Where an open loop has gain 1 or phase -180 deg. */
struct tune_margin_crossing {
    bool of_phase; /* L is real and negative; else |L| = 1 */
    struct tune_estimate frequency_hz;
    /* |L| = 1: deg from -180, in (-180, 180]; else dB the gain may rise, negative: fall. bound95 lies
     * towards 0. std NAN: within the std of the fit the crossing may vanish. */
    struct tune_margin margin;
};

struct tune_pointing_margins {
    char pointing[TUNE_NAME_LENGTH + 1];
    bool stable; /* by encirclement count */
    struct tune_margin gain_margin_db, gain_reduction_margin_db, phase_margin_deg, delay_margin_s,
        peak_sensitivity, crossover_hz;
    size_t n_crossings; /* by rising frequency */
    struct tune_margin_crossing crossing[2 * TUNE_CROSSINGS_MAX];
    struct tune_result_file loop_file; /* loop-<pointing>.csv; of the recommended one only */
};

struct tune_candidate {
    char name[TUNE_NAME_LENGTH + 1]; /* "present", "given", "calm", "middle", "bold"; points of the
                                        trade-off between them "between-1", ...; what
                                        the drive takes of the recommended one "calm-typed" */
    struct tune_controller controller;
    bool present;  /* the gains of the logbook, not a proposal */
    bool between;  /* only a point of the trade-off: no margins */
    bool feasible; /* every design constraint met on every pointing and mode shift, all stable */
    size_t n_margins;
    struct tune_pointing_margins
        *margins;             /* [n_margins], one per pointing; none of those between */
    double jitter_rms_arcsec; /* worst pointing, of the signal jitter_of names, as a log would
                                              measure it; NAN: an unstable loop */
    double
        jitter_upper95_arcsec; /* there: upper end of the interval in which 95 % of logs lie; NAN:
                                     not known, as of the sky */
    char worst_pointing[TUNE_NAME_LENGTH + 1]; /* of that jitter */
    double sky_rms_arcsec;                     /* unseen twist excluded; NAN: not known */
    double line_of_sight_rms_arcsec; /* worst pointing, that twist and all; NAN: not known */
    double noise_torque_rms_nm;      /* worst pointing */
    double worst_sensitivity;        /* max |S| over all pointings and mode shifts */
    char limit[TUNE_NOTE_LENGTH];    /* what stands in the way of more; may be empty */
};

/* What a number of biquads reaches under one of the goals: jitter by the smooth disturbance model, worst
 * over pointings and mode shifts. */
struct tune_purchase {
    char goal[8]; /* "calm" or "bold" */
    size_t biquads;
    double encoder_rms_arcsec, sky_rms_arcsec; /* of the sky without the twist no encoder sees */
    double noise_torque_rms_nm, worst_sensitivity;
    bool feasible, taken; /* taken: by the proposal of that name */
};

/* A tone by which a rung is checked: |S| there must lie between the alarms. */
struct tune_probe_tone {
    double f_hz, sensitivity, alarm_low, alarm_high;
    double torque_nm, motion_arcsec; /* amplitude to inject; what it moves at most */
};

enum { TUNE_PROBE_TONES = 3 };

/* One rung of the enable ladder: gains and what a log under them must show, worst pointing. */
struct tune_rung {
    struct tune_result_file file; /* enable-<number>.ini */
    struct tune_controller controller;
    double gain_db; /* of k; kd k, kp k^2, ki k^3 */
    double crossover_hz, peak_sensitivity, phase_margin_deg;
    double encoder_rms_arcsec, encoder_interval_arcsec[2]; /* where 95 % of logs lie */
    double torque_rms_nm, noise_torque_rms_nm;
    double abort_encoder_arcsec, abort_torque_nm; /* above: back to the rung below */
    double dwell_s;
    size_t n_tones;
    struct tune_probe_tone tone[TUNE_PROBE_TONES];
};

/* What lies above the band in which the plant of a pointing was identified, under the recommended gains.
 * Nothing unknown does harm there that keeps the loop gain below the limit, 1 - 1/M of the peak sensitivity M
 * allowed. */
struct tune_beyond_band {
    char pointing[TUNE_NAME_LENGTH + 1];
    double band_hz; /* where that band ends */
    double loop_gain_limit;
    double largest_loop_gain, largest_hz; /* by the model, above the band */
    bool stable; /* below the limit there, and by encirclement count within the band alone */
    double mode_damping,
        harmless_gain;  /* an unknown mode: harmless up to this gain, of the unit of modal
                                           gains; 0: not even the model keeps the limit */
    double harmless_hz; /* where it would do harm first */
};

/* The least jitter any linear controller of the encoder can reach at a pointing, and what one reaches. By
 * the smooth disturbance model, line of sight without the twist no encoder sees. */
struct tune_least_jitter {
    char pointing[TUNE_NAME_LENGTH + 1];
    char controller[TUNE_NAME_LENGTH + 1];                /* "bold" or "given" */
    double peak_sensitivity_limit, noise_torque_limit_nm; /* the least is held to these */
    double least_rms_arcsec, rms_arcsec;                  /* of any, of that one */
    double ratio;                                         /* rms/least */
    double spread; /* relative, by how much the least still moved as its search was refined */
};

/* What the jitter would be with one thing of the axis, or one limit of the design, changed. */
struct tune_ranked_limit {
    char kind[24];   /* a key of tune_limit_name() */
    char unit[16];   /* of from and to; empty: a plain ratio */
    double from, to; /* what is now, and what it would be */
    double at_hz[2]; /* frequency of the mode, or edges of the band; 0: neither */
    double slope;    /* d ln jitter/d ln of it */
    bool solved;     /* designed anew; else by the slope alone, a rough guess */
    bool reached;    /* false: no controller found that would meet all demands; after, gain NAN */
    double before_arcsec, after_arcsec; /* rms over pointings and mode shifts, smooth model */
    double gain;                        /* 1 - after/before */
    char text[TUNE_NOTE_LENGTH];
};

/* A number to type into the drive; NAN: off. */
struct tune_typed_number {
    char name[TUNE_DRIVE_NAME], unit[TUNE_DRIVE_UNIT];
    double value, old; /* old: of the gains in use */
};

enum { TUNE_TYPED_NUMBERS_MAX = 2 * TUNE_DRIVE_NUMBERS_MAX };

/* The recommended gains as the drive takes them. No files: nothing proposed, or nothing it could hold. */
struct tune_to_type {
    struct tune_result_file coefficients_file, header_file, text_file; /* coefficients.csv,
                                                           controller.h, to-type.txt */
    bool
        old_known; /* false: no gains in use are stated, or this form of controller cannot hold them */
    size_t n_numbers;
    struct tune_typed_number number[TUNE_TYPED_NUMBERS_MAX];
};

/* How many filters of the controller, low-pass and biquads, are not among the numbers: without them the numbers are
 * another controller, one whose loop nobody judged. */
TUNE_API size_t tune_to_type_filters(const struct tune_to_type *typed,
                                     const struct tune_controller *controller);

/* What became of one disturbance on the simulated axis. */
struct tune_tried {
    bool settled, ran_away;
    double given_s,
        settling_s; /* until the last entry into the band; INFINITY: outside at the end */
    double peak_arcsec, peak_torque_nm, saturated_s;
};

/* The recommended gains tried in the time domain at one pointing: with torque limit and encoder step,
 * without friction. */
struct tune_pointing_trial {
    char pointing[TUNE_NAME_LENGTH + 1];
    double offset_arcsec, push_nm, large_offset_arcsec; /* what was asked of the loop */
    double band_arcsec;                                 /* within it the axis is at rest */
    double tracking_s; /* of the anti-windup (back-calculation); 0: it has nothing to do */
    struct tune_tried offset, push;
    struct tune_tried large_offset, bare; /* the large offset with anti-windup, and without */
    /* a quiet stretch between offset and push; expected NAN where the loop is not stable */
    double quiet_s, encoder_rms_arcsec, expected_rms_arcsec;
    double expected_interval_arcsec[2]; /* where 95 % of such stretches lie */
    double torque_rms_nm, expected_torque_rms_nm, quiet_saturated_s;
};

/* What the drive may be told of the target: torque = inertia a + viscous v + coulomb sign(v), positive
 * torque raising the angle; and how a target may move. */
struct tune_feedforward_numbers {
    struct tune_estimate inertia_kg_m2, viscous_nm_s_per_rad; /* one number for all pointings */
    double coulomb_nm, smooth_arcsec_per_s; /* NAN: not known; soft below that speed */
    bool has_moves;                         /* what follows is known */
    double speed_deg_per_s, acceleration_deg_per_s2, jerk_deg_per_s3; /* at most */
    double jerk_time_s;                        /* ramp of the acceleration; 0: nothing rings, any */
    double torque_nm;                          /* largest of such a move */
    char worst_pointing[TUNE_NAME_LENGTH + 1]; /* where the payload rings most, */
    double locked_rotor_hz;                    /* at; 0: nowhere */
    double ringing_arcsec, step_ringing_arcsec; /* amplitude with that ramp, and with a step */
    struct tune_notes advice;                   /* signs and scales to check, how to try it */
};

/* The margins of a pointing with the loop of the mount's other axis closed. std and bound95 by what is not known
 * of the motion of the other axis alone. */
struct tune_cross_margins {
    char pointing[TUNE_NAME_LENGTH + 1], other_pointing[TUNE_NAME_LENGTH + 1];
    size_t modes; /* in which the other axis moves, above the noise */
    bool stable;  /* both axes together, by encirclement count; else the margins are NAN */
    struct tune_margin peak_sensitivity, gain_margin_db, gain_reduction_margin_db, phase_margin_deg;
    double peak_hz;
};

/* The recommended gains while the other axis is under its own. */
struct tune_other_axis_check {
    char axis[TUNE_NAME_LENGTH + 1]; /* its name; empty: nothing was checked */
    char gains[TUNE_INPUT_PATH];     /* the file of its gains */
    bool
        proposed; /* they are those its design proposes; else its old ones, which its logbook states */
    size_t n;
    struct tune_cross_margins *pointing; /* [n] those where its motion was logged */
};

/* Where the disturbance came from. */
struct tune_disturbance_summary {
    bool measured;                  /* from a quiet log; else stated by default */
    char log[TUNE_NAME_LENGTH + 1]; /* that log, and where it was taken */
    char pointing[TUNE_NAME_LENGTH + 1];
    double duration_s;
    double sensor_noise_arcsec; /* white, std per sample */
    double wind_rms_nm, wind_corner_hz, drive_noise_nm_per_rthz;
};

/* Release with tune_proposal_free(). */
struct tune_proposal {
    struct tune_provenance provenance;
    struct tune_disturbance_summary disturbance;
    char
        payload[16]; /* payload ratios: "stated", "assumed", "partly" (at some pointings), "none" */
    bool jitter_of_sky;
    char goal[8]; /* "calm", "bold"; "given": gains from a file, nothing proposed */
    size_t n_candidates;
    struct tune_candidate *candidate; /* the present gains first, where the logbook has some; then
                                         by rising noise torque */
    size_t recommended;               /* index; of the given gains where nothing is proposed */
    size_t n_purchases;
    struct tune_purchase *purchase; /* [n_purchases] calm, then bold, by number of biquads */
    struct tune_notes implied;      /* what needs no constraint of its own, and why */
    size_t n_rungs;
    struct tune_rung *rung; /* [n_rungs] the way up to the recommended gains, the last are those */
    struct tune_notes climbing; /* how to climb it, and what not to do */
    size_t n_beyond;
    struct tune_beyond_band
        *beyond; /* [n_beyond] pointings whose loop is stable and whose band ends below
                                        half the loop rate */
    size_t n_bounds;
    struct tune_least_jitter *bound; /* [n_bounds] with --bound, where the loop is stable */
    struct tune_other_axis_check other_axis;
    char ranked_of[TUNE_NAME_LENGTH + 1]; /* "bold" or "given": whose jitter that is */
    size_t n_ranked;
    struct tune_ranked_limit *ranked; /* [n_ranked] what would bring most first */
    size_t n_trials;
    struct tune_pointing_trial *trial; /* [n_trials] of the recommended gains, one per pointing */
    struct tune_feedforward_numbers feedforward;
    struct tune_result_file controller_file; /* controller.ini */
    struct tune_to_type to_type;
    struct tune_judgements requirement; /* of the recommended one, worst pointing */
    struct tune_notes limits;           /* what limits the axis */
    struct tune_notes doubts;           /* of the plants the margins rest on */
    struct tune_notes notes;            /* assumptions */
    struct tune_notes cautions;         /* before anybody types these gains into a drive */
};

TUNE_API enum tune_status tune_proposal_json(char **text, const struct tune_proposal *result,
                                             struct tune_error *err);
TUNE_API enum tune_status tune_proposal_parse(struct tune_proposal *out, const char *name,
                                              const char *text, size_t size,
                                              struct tune_error *err);
TUNE_API void tune_proposal_free(struct tune_proposal *result);

#endif
