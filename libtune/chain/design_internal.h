/* design_internal.h - what a design is made from.  SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_CHAIN_DESIGN_INTERNAL_H
#define TUNE_CHAIN_DESIGN_INTERNAL_H

#include "chain/chain_internal.h"
#include "chain/identify_internal.h"
#include "chain/design_typed_internal.h"
#include "chain/quiet_internal.h"
#include "chain/signs_internal.h"
#include "design/design.h"
#include "design/tradeoff.h"
#include "results/proposal.h"

enum { CHAIN_CROSS_WHY = 240 };

/* The other axis of the mount, from the logbook beside this one. */
struct chain_cross {
    bool found, several; /* several: more than one lies there */
    bool logged; /* some sweep of this axis logged its angle; without that nothing below is read */
    char folder[256]; /* its name beside this one's */
    struct tune_logbook logbook;
    bool identified;
    char path[TUNE_PATH_LENGTH];   /* of its identify.json */
    struct tune_identification id; /* as that says */
    bool has_now;
    struct chain_gains now;
    /* "../ha/results/controller.ini, line 3: what is wrong": a file of the other axis, so that nothing is judged;
     * an axis.ini beside, which is no other axis then. Empty: none. */
    char unread[CHAIN_CROSS_WHY], passed[CHAIN_CROSS_WHY];
};

/* What slow turns told of the axis; NAN: not known. */
struct chain_friction {
    bool measured;
    struct tune_estimate coulomb_nm, viscous_nm_s_per_rad, imbalance_nm, imbalance_angle_deg;
    double offset_nm;
    char why[TUNE_NOTE_LENGTH]; /* there are turns, but they told nothing */
};

struct design_work {
    struct chain_basis basis;
    struct tune_design_opts opts;
    struct tune_design_spread *spread; /* [basis.plants.n] */
    struct tune_tradeoff_demand tradeoff;
    struct chain_signs signs;
    struct chain_cross cross;
    struct chain_friction friction;
    struct chain_gains given; /* of the job's file to evaluate */
    size_t bound_of;   /* the candidate whose jitter is set beside the least: bold, or given */
    double bound_peak; /* its limit on |S| */
    struct {
        double encoder_rad, sky_rad; /* jitter the recommended proposal was made to keep; 0: none */
        double peak_most;            /* peak sensitivity the boldest proposal may have */
    } kept;
    struct chain_typed typed; /* what the drive takes of it */
};

/* design_spread.c: *out[id->n_pointings], the caller frees it, after a failure too. */
enum tune_status chain_design_spread(struct tune_design_spread **out,
                                     const struct tune_identification *id, struct tune_error *err);

/* design_candidates.c: the gains in use first, then those given, or the proposals and the curve between
 * them; recommended, purchases and what is implied with them. Nothing is judged pointing by pointing yet. */
enum tune_status chain_candidates(struct tune_proposal *out, struct design_work *work,
                                  const struct tune_watch *watch, struct tune_error *err);

/* What follows from these limits, in place of what is there. */
void chain_take_implied(struct tune_proposal *out, const struct tune_design_opts *opts);

/* One appraised controller as a candidate of that name. */
void chain_take_step(struct tune_candidate *out, const char *name,
                     const struct tune_design_step *step);

/* design_enable.c: the ladder up to the recommended gains. Gains to evaluate may have none: a sentence. */
enum tune_status chain_design_enable(struct tune_proposal *out, const struct design_work *work,
                                     const struct tune_watch *watch, struct tune_error *err);
/* design_trial.c: the recommended gains on the simulated axis, pointing by pointing. */
enum tune_status chain_design_trial(struct tune_proposal *out, const struct design_work *work,
                                    const struct tune_watch *watch, struct tune_error *err);
/* design_friction.c: friction and out-of-balance from the logbook's slow turns, where there are some; what of it
 * enters. */
enum tune_status chain_friction_read(struct chain_friction *out, const struct chain *chain,
                                     struct tune_error *err);
enum tune_status chain_friction_provenance(struct tune_provenance *out,
                                           const struct chain_friction *friction,
                                           struct tune_error *err);

/* design_feedforward.c: numbers to type in, and limits of a move. */
enum tune_status chain_design_feedforward(struct tune_proposal *out, const struct design_work *work,
                                          struct tune_error *err);
/* A judgement where the axis does not come to rest, and the sentence for `limits`. */
void chain_judge_trial(struct tune_proposal *out);
/* file[out->n_rungs] for the rungs; their texts belong to whoever frees the files. */
enum tune_status chain_rung_files(struct chain_file *file, struct tune_proposal *out,
                                  const struct design_work *work, struct tune_error *err);

/* design_beyond.c: what lies above the band under the recommended gains, judged before, and a note. */
enum tune_status chain_design_beyond(struct tune_proposal *out, const struct design_work *work,
                                     struct tune_error *err);

/* design_cross_other.c: look for the other axis; what of it enters; close it always. */
enum tune_status chain_cross_open(struct chain_cross *out, const struct chain *chain,
                                  const struct tune_identification *id, struct tune_error *err);
enum tune_status chain_cross_provenance(struct tune_provenance *out,
                                        const struct chain_cross *cross, struct tune_error *err);
void chain_cross_close(struct chain_cross *cross);

/* design_cross_pointing.c: with its loop closed, at one pointing of this axis. TUNE_ENOSOL, TUNE_EINVAL as
 * tune_cross_judge(). */
enum tune_status chain_cross_at(struct tune_cross_margins *out,
                                const struct tune_pointing_plant *pointing,
                                const struct chain_cross *cross,
                                const struct tune_controller *controller, struct tune_error *err);

/* design_cross.c: the margins of the recommended gains with its loop closed, where it is known; they are judged before. */
enum tune_status chain_design_cross(struct tune_proposal *out, const struct design_work *work,
                                    struct tune_error *err);
/* A judgement where that loses what was asked for, and sentences for `limits`. */
void chain_judge_cross(struct tune_proposal *out, const struct tune_requirement *requirement);

/* design_limits.c: what would help most; a note where the search finds nothing to compare with. */
enum tune_status chain_design_limits(struct tune_proposal *out, const struct design_work *work,
                                     const struct tune_watch *watch, struct tune_error *err);

/* design_judge.c: margins, jitter and worst pointing of every candidate. */
enum tune_status chain_design_judge(struct tune_proposal *out, struct design_work *work,
                                    struct tune_error *err);

/* design_bound.c: with job->bound the least jitter at every pointing; the candidates are judged before. */
enum tune_status chain_design_bound(struct tune_proposal *out, const struct design_work *work,
                                    struct tune_error *err);

/* Remove enable-NN.ini of an earlier, longer ladder, from that rung (counted from 0) up. */
void chain_remove_rungs(const struct chain *chain, size_t from);

/* controller_file.c: the text of a controller file with notes as comments. */
enum tune_status chain_controller_text(char **text, const struct tune_controller *controller,
                                       const struct tune_notes *notes, struct tune_error *err);

/* Under which peaks and jitter the proposals were made, as notes. */
void chain_describe_tradeoff(struct tune_proposal *out, const struct tune_tradeoff *tradeoff,
                             const struct design_work *work);

/* design_requirement.c: the requirement, item by item; notes where a 95 % bound does not meet it. */
void chain_judge_requirement(struct tune_proposal *out, const struct tune_requirement *requirement);

/* describe.c: requirement met or not, limits, notes, cautions. */
void chain_describe_design(struct tune_proposal *out, struct design_work *work);

/* The text of controller.ini: the recommended gains, with cautions, signs and scales as comments. */
enum tune_status chain_controller_file(char **text, const struct tune_proposal *proposal,
                                       struct tune_error *err);

#endif
