/* cases.c - the axes that the figures of the design are measured on.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "cases.h"

#include <math.h>
#include <string.h>

#include "core/units.h"

static const double shift_most = 0.05;

const char *const case_pointings[EVALUATION] = {
    "zenith", "east-45", "west-45", "east-20", "west-20", "6",  "7",  "8",  "9",  "10", "11", "12",
    "13",     "14",      "15",      "16",      "17",      "18", "19", "20", "21", "22", "23", "24",
    "25",     "26",      "27",      "28",      "29",      "30", "31", "32", "33", "34", "35"};

static const struct tune_mode light[MODES] = {{.f_hz = 14.8, .zeta = .004, .gain = .30},
                                              {.f_hz = 31.0, .zeta = .010, .gain = .12},
                                              {.f_hz = 62.5, .zeta = .004, .gain = .05},
                                              {.f_hz = 104.0, .zeta = .02, .gain = -.08},
                                              {.f_hz = 168.0, .zeta = .012, .gain = .06}};
static const struct tune_mode heavy[MODES] = {{.f_hz = 20.0, .zeta = .004, .gain = 3.0},
                                              {.f_hz = 45.0, .zeta = .010, .gain = .30},
                                              {.f_hz = 80.0, .zeta = .004, .gain = .10},
                                              {.f_hz = 120.0, .zeta = .02, .gain = -.08},
                                              {.f_hz = 190.0, .zeta = .012, .gain = .06}};

static void place(struct design_case *c, const struct tune_mode mode[MODES],
                  const double ratio[MODES], double rate_hz, double delay_samples)
{
    static const double inertia[] = {1500, 1400, 1620, 1560, 1450};
    static const double scale[POINTINGS][MODES] = {{1, 1, 1, 1, 1},
                                                   {1.04, 1.01, 1.02, .98, 1.0},
                                                   {.96, .99, .98, 1.02, 1.01},
                                                   {.98, 1.02, 1.01, .99, .98},
                                                   {1.02, .98, .99, 1.01, 1.02}};
    for (int p = 0; p < POINTINGS; p++) {
        c->plant[p] = (struct tune_plant){.inertia_kg_m2 = inertia[p],
                                          .viscous_nm_s_per_rad = 60.0,
                                          .delay_s = delay_samples / rate_hz,
                                          .loop_rate_hz = rate_hz,
                                          .n_modes = MODES};
        for (int k = 0; k < MODES; k++) {
            c->plant[p].mode[k] = mode[k];
            c->plant[p].mode[k].f_hz *= scale[p][k];
            c->plant[p].mode[k].payload_ratio = ratio[k];
        }
    }
}

/* An encoder of 28 bits and 15 nrad. */
static double sensor_noise(void)
{
    const double step = 2.0 * TUNE_PI / 268435456.0;
    return hypot(15e-9, step / sqrt(12.0));
}

static void disturb(struct design_case *c, double wind_rms_nm, double rate_hz)
{
    c->disturbance = tune_disturbance_stated(wind_rms_nm, 0.2, 0.05, sensor_noise(), rate_hz);
    c->opts = tune_design_defaults();
    c->opts.sensor_noise_rad = sensor_noise();
    c->opts.threads = 2;
}

bool case_named(struct design_case *out, const char *name)
{
    static const struct {
        const char *name;
        const struct tune_mode *mode;
        double ratio[MODES], delay_samples, wind_rms_nm, goal_ratio, goal_regret;
        size_t biquads;
        double roll_off_hz, phase_margin_deg;
    } known[] = {
        {"R", light, {-1.0 / .30, 0, 0, 0, 0}, 1.2, 3.0, 1.12, 3.0, 3, 0, 0},
        {"S", light, {-3.9, 1.417, 0, 0, 0}, 2.5, 20.0, 1.15, 5.0, 4, 0, 0},
        {"H", heavy, {-1.0 / 3.0, 0, 0, 0, 0}, 1.2, 3.0, 1.6, 0.0, 5, 0, 0},
        {"0", light, {1, 1, 1, 1, 1}, 1.2, 3.0, 0.0, 0.0, 3, 0, 0},
        {"G", light, {-1.0 / .30, 0, 0, 0, 0}, 1.2, 3.0, 0.0, 0.0, 3, 40.0, 0},
        {"P", light, {-1.0 / .30, 0, 0, 0, 0}, 1.2, 3.0, 0.0, 0.0, 3, 0, 40.0},
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(known[i].name, name) != 0) continue;
        *out = (struct design_case){.name = known[i].name,
                                    .goal_ratio = known[i].goal_ratio,
                                    .goal_regret = known[i].goal_regret};
        place(out, known[i].mode, known[i].ratio, 2000.0, known[i].delay_samples);
        disturb(out, known[i].wind_rms_nm, 2000.0);
        out->disturbance.n_bands = 2;
        out->disturbance.band[0] = (struct tune_band){TUNE_BAND_TORQUE, 0.02, 0.3, 2.0};
        out->disturbance.band[1] =
            (struct tune_band){TUNE_BAND_SENSOR, 0.1, 2.4, tune_rad_from_arcsec(5e-3)};
        out->opts.noise_torque_rms_nm = 6.0;
        out->opts.max_biquads = known[i].biquads;
        out->opts.gain_stabilised_above_hz = known[i].roll_off_hz;
        out->opts.phase_margin_rad = known[i].phase_margin_deg * TUNE_RAD_PER_DEG;
        return true;
    }
    return false;
}

void case_encoder(struct design_case *out, double wind_rms_nm, double goal_ratio)
{
    static const double ratio[MODES] = {1.5, -1.0, 1.2, .8, .5};
    *out = (struct design_case){.name = "encoder", .goal_ratio = goal_ratio};
    place(out, light, ratio, 4000.0, 1.2);
    disturb(out, wind_rms_nm, 4000.0);
    out->opts.encoder_objective = true;
    out->opts.max_biquads = 5;
    out->opts.noise_torque_rms_nm = 30.0;
    out->opts.mode_shift = 0.0;
    out->opts.pole_zeta_min = 0.03;
    out->opts.reduction_peak = out->opts.ladder_peak = out->opts.delay_peak = 0.0;
}

struct tune_plant case_shifted(const struct tune_plant *plant, const double shift[MODES])
{
    struct tune_plant shifted = *plant;
    for (size_t k = 0; k < MODES; k++)
        shifted.mode[k].f_hz *= 1.0 + shift[k];
    return shifted;
}

struct tune_plant case_shifted_any(const struct tune_plant *plant, struct tune_random *rng)
{
    double shift[MODES];
    for (size_t k = 0; k < MODES; k++)
        shift[k] = shift_most * (2.0 * tune_random_uniform(rng) - 1.0);
    return case_shifted(plant, shift);
}

void case_evaluation(struct tune_plant plant[EVALUATION], const struct design_case *c,
                     unsigned long seed)
{
    static const double pattern[][MODES] = {{0, 0, 0, 0, 0},
                                            {1, 1, 1, 1, 1},
                                            {-1, -1, -1, -1, -1},
                                            {1, -1, 1, -1, 1},
                                            {-1, 1, -1, 1, -1}};
    struct tune_random rng;
    size_t n = 0;
    tune_random_init(&rng, 1000 * seed + 1, 0);
    for (size_t p = 0; p < POINTINGS; p++) {
        for (size_t i = 0; i < sizeof pattern / sizeof pattern[0]; i++) {
            double shift[MODES];
            for (size_t k = 0; k < MODES; k++)
                shift[k] = shift_most * pattern[i][k];
            plant[n++] = case_shifted(&c->plant[p], shift);
        }
        for (size_t i = 0; i < 2; i++)
            plant[n++] = case_shifted_any(&c->plant[p], &rng);
    }
}
