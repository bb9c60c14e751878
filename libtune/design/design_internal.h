/* design_internal.h - the design as a smooth problem: scenarios, demands, variables, one evaluation.
 *
 * A scenario is one pointing with its modes shifted by one fraction. A demand is something every
 * scenario's loop must bear (less gain, one more sample of delay, ...). A constraint is one demand on
 * one scenario over one band of frequencies: its worst point there, as ln(value/limit) <= 0.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_DESIGN_INTERNAL_H
#define TUNE_DESIGN_INTERNAL_H

#include <complex.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>

#include "design/design.h"

enum {
    VARIABLES_PID = 6,    /* ln of kp, ki, kd, derivative filter, low-pass corner, its damping */
    VARIABLES_BIQUAD = 4, /* ln f_zero, ln zeta_zero, ln zeta_pole, ln(f_pole/f_zero) */
    VARIABLES_MAX = VARIABLES_PID + VARIABLES_BIQUAD * TUNE_BIQUADS_MAX,
    DEMANDS_MAX = 24,
    BINDING_TEXT = 160
};

/* The grid starts at this fraction of the lowest feature: far below the slowest rung of the slowest loop
 * tried. */
#define GRID_START 1e-5

/* Products without the NaN recovery that C's complex multiplication carries: L may not be infinite
 * anywhere on the grid, and the evaluation checks its sums for that. */
static inline double complex times(double complex a, double complex b)
{
    return CMPLX(creal(a) * creal(b) - cimag(a) * cimag(b),
                 creal(a) * cimag(b) + cimag(a) * creal(b));
}

static inline double square(double complex a)
{
    return creal(a) * creal(a) + cimag(a) * cimag(a);
}

static inline double complex scaled(double complex a, double factor)
{
    return CMPLX(creal(a) * factor, cimag(a) * factor);
}

static inline double complex inverse(double complex a)
{
    return scaled(conj(a), 1.0 / square(a));
}

enum demand_kind {
    DEMAND_PEAK,        /* |S| */
    DEMAND_DISC,        /* |S - T|: phase margin */
    DEMAND_REDUCED,     /* |S| with the loop gain times value */
    DEMAND_LADDER,      /* |S| on the rung value of the enable ladder */
    DEMAND_DELAY,       /* |S| with value more samples of delay */
    DEMAND_ROLLOFF,     /* |L| above the frequency value */
    DEMAND_TORQUE,      /* noise torque, N m rms */
    DEMAND_ENCODER,     /* true encoder jitter, rad rms */
    DEMAND_SKY,         /* J_c, rad rms */
    DEMAND_GAIN_MARGIN, /* these two only in the final judgement: the limits above imply them */
    DEMAND_REDUCTION_MARGIN,
    DEMAND_SCALED_GAIN /* every plain gain from -10 dB to 0 stable */
};

/* One number of the whole loop, no band of frequencies. */
static inline bool is_figure(enum demand_kind kind)
{
    return kind == DEMAND_TORQUE || kind == DEMAND_ENCODER || kind == DEMAND_SKY;
}

struct demand {
    enum demand_kind kind;
    double value, limit;
    bool added; /* by the judge, not by the options */
};

/* What is asked of the loop; margins beyond what the sensitivity limits imply stand beside it. */
struct demands {
    size_t n;
    struct demand demand[DEMANDS_MAX];
    double phase_margin_rad, gain_margin, gain_reduction_margin; /* 0 or 1: nothing asked */
};

struct scenario {
    size_t pointing;
    double shift;  /* of the modes: the largest, relative; 0: none */
    double spread; /* gain and delay three std higher 1, lower -1, as fitted 0 */
    struct tune_plant plant;
    double lowest_feature_hz; /* first antiresonance, else first mode, else 0 */
    size_t n;
    size_t *at;           /* [n] where each point stands in the common grid */
    double *weight;       /* [n] trapezoid rule */
    double complex *g;    /* [n] motor to encoder */
    double complex *wind; /* [n] H_w - H_q = wind - wind_loop R */
    double complex *wind_loop;
    double complex *drive; /* [n] H_d = drive - drive_loop R */
    double complex *drive_loop;
    double complex *noise_loop; /* [n] H_n = -noise_loop R */
    double *encoder;            /* [n] torque spectra as open-loop encoder motion, rad^2/Hz */
};

struct constraint {
    size_t demand, scenario, first, last; /* points first .. last-1 of the scenario */
};

/* A frequency the judge found a scenario to need. */
struct extra {
    size_t scenario;
    double f_hz;
};

struct problem {
    const struct tune_design_opts *opts;
    const char *const *names; /* [n_pointings] */
    const struct tune_disturbance *disturbance;
    struct demands demands;
    size_t n_pointings, n_scenarios;
    struct scenario *scenario;
    double rate_hz, inertia_kg_m2, first_feature_hz;
    size_t n_extra, extra_room;
    struct extra *extra;    /* [n_extra] */
    size_t n;               /* the common grid */
    double *f_hz, *tangent; /* [n] tan(pi f / rate) */
    double complex *z1;     /* [n] exp(-j 2 pi f / rate) */
    double *wind_psd;       /* [n] N m^2/Hz */
    double *drive_psd;      /* [n] N m^2/Hz */
    double *sensor_psd;     /* [n] rad^2/Hz */
    double torque_noise_psd;
    size_t n_constraints;
    struct constraint *constraint;
    size_t *constraints_of; /* [n_scenarios * demands.n + 1] first constraint of each pair */
    size_t largest;         /* points of the largest scenario */
    double *guard;          /* [n_scenarios x demands.n] how far below its limit each is kept, ln */
    /* Design for a process that is no axis: its response in place of every path of the plants. NULL: none.
     * Set between design_problem_init and design_problem_renew. */
    tune_loop_eval *process;
    void *process_user;
    double sharpness; /* tolerances of the search are so many times smaller; 0: 1 */
    unsigned held;    /* bit j: variable j < VARIABLES_PID stays where the search starts */
};

/* ---- options.c -----------------------------------------------------------------------------------*/

enum tune_status design_check(const struct tune_design_opts *opts, const struct tune_plant *plants,
                              size_t n_pointings, const struct tune_disturbance *disturbance,
                              struct tune_error *err);
void design_demands(struct demands *out, const struct tune_design_opts *opts);
/* Limit of |S| on the rung k of the ladder: near full gain no less than the loop itself may have. */
double design_rung_limit(const struct tune_design_opts *opts, double k);
/* What the objective is made of. */
enum demand_kind design_objective_kind(const struct tune_design_opts *opts);

/* ---- spread.c -----------------------------------------------------------------------------------*/

/* The scenarios of one pointing: as fitted, modes higher and lower, gain and delay high and low. out:
 * NULL to count only; returns how many. */
size_t design_variants(struct scenario *out, const struct tune_plant *plant, size_t pointing,
                       const struct tune_design_opts *opts);
void design_cover(struct tune_design_cover *out, const struct problem *problem,
                  const struct tune_plant *plants);

/* A controller from outside must run at the axis's loop rate: else TUNE_EINVAL. */
enum tune_status design_check_rate(const struct tune_controller *controller,
                                   const struct problem *problem, struct tune_error *err);

/* ---- scenario.c, grid.c: the problem without its constraints ------------------------------------*/

/* Antiresonances of the plant; *first_hz is the lowest one, else the lowest mode, else 0. */
void design_features(struct tune_antiresonance zero[TUNE_MODES_MAX], size_t *n_zeros,
                     double *first_hz, const struct tune_plant *plant);

/* The quasi-static twist H_q = k_w/(1 + (2 f/f_AR)^4), rad per N m. */
double design_twist(const struct tune_plant *plant, double first_hz, double f_hz);

enum tune_status design_problem_init(struct problem *problem, const struct tune_plant *plants,
                                     const char *const *names, size_t n_pointings,
                                     const struct tune_disturbance *disturbance,
                                     const struct tune_design_opts *opts, struct tune_error *err);
/* Room for the responses of the n points of a scenario; the responses of its plant there. */
enum tune_status design_scenario_reserve(struct scenario *scenario, struct tune_error *err);
enum tune_status design_scenario_respond(struct scenario *scenario, const struct problem *problem,
                                         struct tune_error *err);
/* Take one more frequency into the scenario's grid; then prepare everything anew. */
enum tune_status design_problem_refine(struct problem *problem, size_t scenario, double f_hz,
                                       struct tune_error *err);
enum tune_status design_problem_renew(struct problem *problem, struct tune_error *err);
/* Other limits or another goal on the same plants; opts is borrowed. What the judge taught stays. */
enum tune_status design_problem_ask(struct problem *problem, const struct tune_design_opts *opts,
                                    struct tune_error *err);
/* One more rung of the ladder becomes a demand. TUNE_OK and nothing done where there is no room. */
enum tune_status design_problem_add_rung(struct problem *problem, double factor,
                                         struct tune_error *err);

void design_problem_free(struct problem *problem);

/* The common grid and every scenario's share of it. */
enum tune_status design_grid(struct problem *problem, struct tune_error *err);

/* ---- constraints.c ------------------------------------------------------------------------------*/

enum tune_status design_constraints(struct problem *problem, struct tune_error *err);

/* ---- variables.c ----------------------------------------------------------------------------------*/

size_t design_variable_count(size_t n_biquads);
void design_bounds(double *lower, double *upper, const struct problem *problem, size_t n_biquads);

/* shape.c: what the drive's structure can hold, as constraints: value <= 0. A notch takes away, it never adds; the
 * ki of a cascade stays below tune_cascade_integral_limit(). gradient[count x n_vars] may be NULL. */
enum { SHAPES_MAX = TUNE_BIQUADS_MAX + 1 };
size_t design_shape_count(const struct problem *problem, size_t n_biquads);
void design_shape(double *value, double *gradient, const struct problem *problem, const double *x,
                  size_t n_biquads);
void design_start_at(double x[VARIABLES_PID], const struct problem *problem, double crossover_hz,
                     double lowpass_factor);
/* The inverse of the next, for a controller of its making. */
void design_from_controller(double *x, const struct tune_controller *controller);
void design_to_controller(struct tune_controller *controller, const double *x, size_t n_biquads,
                          double rate_hz);

/* ---- evaluation.c -------------------------------------------------------------------------------*/

/* The controller at x over the common grid, and its logarithmic derivatives. */
struct response {
    double complex *c, *pid; /* [n] whole, and its PID part alone */
    double complex *integral, *derivative, *derivative_slope; /* [n] parts of pid; the last is
                                                                 d pid/d ln f_d */
    double complex *slope;                                    /* [n_vars x n] d ln C / d x_j */
};

struct evaluation {
    size_t n_biquads, n_vars;
    double x[VARIABLES_MAX];
    bool has_value, has_gradient;
    struct response response;
    double complex *factor[DEMANDS_MAX]; /* [n] each: L of the demand over L */
    double complex *loop;                /* [n_scenarios x largest] */
    double complex *pull;                /* [n] weight of d ln C in the objective's gradient */
    double *ratio;                       /* [largest] */
    double *sky2, *encoder2, *torque2;   /* [n_scenarios] rad^2, rad^2, (N m)^2 */
    double *value;                       /* [n_constraints] ln(value/limit), guard included */
    double complex *sensitivity;         /* [n_constraints] d value = Re(sensitivity d ln C) */
    size_t *worst;                       /* [n_constraints] point of the scenario */
    double *gradient;                    /* [n_constraints x n_vars] */
    double objective; /* ln of the rms over scenarios of jitter (rad) or torque (N m) */
    double objective_gradient[VARIABLES_MAX];
    double worst_value; /* largest of value */
    double unstable;    /* sum of |count| over every loop, 0 when all are stable */
    double complex *block;
    double *reals;
};

enum tune_status design_evaluation_init(struct evaluation *evaluation,
                                        const struct problem *problem, size_t n_biquads,
                                        struct tune_error *err);
void design_evaluation_free(struct evaluation *evaluation);

/* All figures at x; what is already there for the same x is kept. No figure is ever NaN: where a sum
 * is not finite, unstable is large and gradients are 0. */
void design_evaluate(struct evaluation *evaluation, const struct problem *problem, const double *x,
                     bool gradient);

/* response.c: fill C at x (and its slopes). */
void design_response(struct response *response, const struct problem *problem, const double *x,
                     size_t n_biquads, bool slopes);

/* jitter.c: squares of jitter and noise torque of every scenario; gradients of the objective and of the
 * ln of one figure of one scenario. */
void design_jitter(struct evaluation *evaluation, const struct problem *problem);
void design_jitter_gradient(struct evaluation *evaluation, const struct problem *problem);
void design_figure_gradient(double *gradient, struct evaluation *evaluation,
                            const struct problem *problem, size_t scenario, enum demand_kind kind);
/* Squares of the figure, [n_scenarios]. */
double *design_figure(const struct evaluation *evaluation, enum demand_kind kind);

/* demand.c: values of every constraint and the stability count; their gradients. */
void design_demand_values(struct evaluation *evaluation, const struct problem *problem);
void design_demand_gradients(struct evaluation *evaluation, const struct problem *problem);

/* ---- enable_figures.c -----------------------------------------------------------------------------*/

/* The smooth model and the bands, at the loop's own rate: the same noise per sample over another band. */
struct tune_disturbance design_smooth_part(const struct tune_disturbance *disturbance,
                                           double rate_hz);

/* ---- solver.c -----------------------------------------------------------------------------------*/

/* Shared by all searches of one call: progress from any thread, never from two at once. */
struct pulse {
    const struct tune_watch *watch;
    const char *stage; /* NULL: "design" */
    atomic_flag busy;
    atomic_bool cancelled;
    _Atomic double done;
    double until; /* done at the end of the present stage */
};

/* True when the call is to stop. */
bool design_pulse(struct pulse *pulse);

struct candidate {
    size_t n_biquads;
    double x[VARIABLES_MAX];
    double objective;   /* ln rad */
    double worst_value; /* largest constraint */
    bool stable;
};

bool design_feasible(const struct candidate *candidate);
bool design_better(const struct candidate *a, const struct candidate *b);

/* Improve candidate->x within the bounds; it never gets worse. */
enum tune_status design_search(struct candidate *candidate, const struct problem *problem,
                               int rounds, struct pulse *pulse, struct tune_error *err);

/* ---- greedy.c -----------------------------------------------------------------------------------*/

/* Best PID and low-pass; then best with one more biquad than `from`. */
enum tune_status design_first(struct candidate *out, const struct problem *problem,
                              struct pulse *pulse, struct tune_error *err);
enum tune_status design_grow(struct candidate *out, const struct candidate *from,
                             const struct problem *problem, struct pulse *pulse,
                             struct tune_error *err);

/* ---- appraise.c ---------------------------------------------------------------------------------*/

/* How one demand stands on one scenario: excess = ln(value/limit), worst at f_hz. */
struct standing {
    double excess;
    enum demand_kind kind;
    double value;
    size_t scenario;
    double f_hz;
    bool unstable;
};

/* Squares of jitter, rad^2, of noise torque, (N m)^2, and of the largest |L| above the frequency from
 * which it is limited, of one scenario. */
struct fine_figures {
    double sky2, encoder2, torque2, gain2, gain_hz;
};

/* Reduced gain on one scenario, and its worst: rungs of the ladder and plain gains. */
struct proof {
    size_t n_proved, n_unstable;
    double
        rung_excess; /* the rung below full gain with the largest |S|/limit; HUGE_VAL: not stable */
    double rung_peak, rung_factor, rung_hz;
    double gain_hz;   /* where L is on the negative axis between -3.16 and -1 */
    bool gain_stable; /* every plain gain from -10 dB to 0 */
};

/* proof.c: TUNE_ENOMEM. The loop at full gain may be unstable, too. */
enum tune_status design_prove(struct proof *out, const struct tune_controller *controller,
                              const struct scenario *scenario, const struct problem *problem,
                              struct tune_error *err);

/* Square of the distance of the origin from the stretch a..b. */
double design_distance2(double complex a, double complex b);

/* fine.c */
enum tune_status design_fine_figures(struct fine_figures *out,
                                     const struct tune_controller *controller,
                                     const struct scenario *scenario, const struct problem *problem,
                                     struct tune_error *err);

/* Independent of the optimiser's grid and its stability count. worst: the demand met with least to
 * spare, or missed by most. each[n_scenarios x demands.n], may be NULL: every one of them, excess
 * -HUGE_VAL where not judged. */
enum tune_status design_appraise(struct tune_design_step *step, struct standing *worst,
                                 struct standing *each, const struct tune_controller *controller,
                                 const struct problem *problem, struct tune_error *err);
/* The same for the demands marked in near[n_scenarios x demands.n] and the first: enough to see that a
 * controller will not do, not that it will. */
enum tune_status design_appraise_near(struct tune_design_step *step, struct standing *worst,
                                      struct standing *each, const bool *near,
                                      const struct tune_controller *controller,
                                      const struct problem *problem, struct tune_error *err);

/* tune_loop_judge; a loop that cannot be counted is no loop to switch on and comes back as not stable. */
enum tune_status design_judge(struct tune_margins *margins, bool *stable,
                              const struct tune_plant *plant,
                              const struct tune_controller *controller, struct tune_error *err);

/* One English sentence part: what, where, at which frequency. */
void design_describe(char text[BINDING_TEXT], const struct standing *standing,
                     const struct problem *problem);

/* Multipliers lambda[n] >= 0 of constraints with gradients row[n][n_vars] that leave least of the gradient,
 * |g + sum lambda row| least; rest[n_vars] is what is left. lambda is d ln J per d ln limit, where the point
 * is optimal. */
void design_multipliers(double *lambda, double *rest, const double **row, size_t n,
                        const double *gradient, size_t n_vars, int sweeps);

/* The constraint whose relief would buy most: largest multiplier at x. */
enum tune_status design_binding(struct standing *out, const struct candidate *candidate,
                                const struct problem *problem, struct tune_error *err);

/* ---- design.c, calm.c, settle.c -----------------------------------------------------------------*/

/* Steps of 0, 1, ... biquads and the searches' own view of them, found[TUNE_BIQUADS_MAX + 1]. */
enum tune_status design_bold(struct tune_design *out, struct candidate *found,
                             struct problem *problem, struct pulse *pulse, struct tune_error *err);
/* The problem asks for a calm design; found[n] have 0, 1, ... n - 1 biquads, starts first, results then. */
enum tune_status design_calm(struct tune_design *out, struct candidate *found, size_t n,
                             struct problem *problem, struct pulse *pulse, struct tune_error *err);
/* The options of the bold designs a calm one starts from. */
struct tune_design_opts design_bold_opts(const struct tune_design_opts *opts);
bool design_improves(const struct tune_design_step *step, const struct tune_design_step *before,
                     enum tune_design_goal goal);
/* Fewest biquads near the best; false: none is feasible. */
bool design_recommend(struct tune_design *out, enum tune_design_goal goal);
/* TUNE_ENOSOL, with what is in the way of the last step. */
enum tune_status design_nothing_found(const struct tune_design *out, struct tune_error *err);
/* The candidate as a controller, judged; searched again where the judge minds. worst: what is in the
 * way of more, or of this. */
enum tune_status design_settle(struct tune_design_step *step, struct standing *worst,
                               struct candidate *candidate, struct problem *problem,
                               struct pulse *pulse, struct tune_error *err);

#endif
