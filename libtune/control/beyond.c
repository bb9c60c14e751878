/* beyond.c - what lies above the band in which the plant was identified.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "control/beyond.h"

#include <math.h>
#include <string.h>

#include "control/loop_axis_internal.h"
#include "control/loop_grid_internal.h"
#include "control/peak_internal.h"

struct search {
    struct axis_loop axis;
    struct tune_plant bare, with_mode; /* the rigid body alone, and with one mode of unit gain */
    double limit, zeta;
};

static double loop_gain(void *user, double f_hz)
{
    const struct search *s = user;
    return cabs(tune_loop_at(&s->axis.loop, f_hz));
}

static double controller_gain(void *user, double f_hz)
{
    const struct search *s = user;
    double complex c;
    tune_controller_eval(&c, s->axis.controller, &f_hz, 1);
    return cabs(c);
}

/* |G| that a mode of unit gain adds at f where it does most: at omega_m^2 = omega^2 (1 - 2 zeta^2). */
static double mode_response(const struct search *s, double f_hz)
{
    struct tune_plant plant = s->with_mode;
    double complex with, without;
    plant.mode[0].f_hz = f_hz * sqrt(1.0 - 2.0 * s->zeta * s->zeta);
    tune_plant_eval(&with, &plant, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    tune_plant_eval(&without, &s->bare, TUNE_PATH_MOTOR_ENCODER, &f_hz, 1);
    return cabs(with - without);
}

/* How soon a mode does harm: 1/g of the least gain that takes |L| to the limit. */
static double mode_harm(void *user, double f_hz)
{
    const struct search *s = user;
    const double left = s->limit - loop_gain(user, f_hz);
    const double most = 1e300;
    return left > 0.0 ? controller_gain(user, f_hz) * mode_response(s, f_hz) / left : most;
}

/* The largest value beyond the band. The grid resolves L; a peak between its points is refined wherever it
 * could be the largest. */
static double largest(double *f_hz, tune_value *value, struct search *s,
                      const struct tune_loop_grid *grid)
{
    const double coarse = 1.1; /* between points 0.3 rad of phase apart a peak rises by less */
    double best = 0.0, top = 0.0;
    for (size_t i = 0; i < grid->n; i++)
        best = fmax(best, value(s, grid->f_hz[i]));
    for (size_t i = 0; i < grid->n; i++) {
        const double low = grid->f_hz[i > 0 ? i - 1 : 0];
        const double high = grid->f_hz[i + 1 < grid->n ? i + 1 : i];
        const double here = value(s, grid->f_hz[i]);
        double f, refined;
        if (here * coarse < best) continue;
        f = tune_peak_between(value, s, low, high);
        refined = value(s, f);
        if (refined < here) {
            f = grid->f_hz[i];
            refined = here;
        }
        if (refined > top) {
            top = refined;
            *f_hz = f;
        }
    }
    return top;
}

static enum tune_status check(double rate_hz, double band_hz, double sens_limit, double mode_zeta,
                              struct tune_error *err)
{
    if (!(band_hz > 0.0 && band_hz < 0.5 * rate_hz))
        return tune_error_set(
            err, TUNE_EINVAL,
            "the plant is said to be known up to %g Hz; this must lie above 0 and "
            "below half the loop rate, %g Hz",
            band_hz, 0.5 * rate_hz);
    if (!(sens_limit > 1.0 && sens_limit <= 100.0))
        return tune_error_set(err, TUNE_EINVAL,
                              "the limit of the sensitivity is %g; it must be above 1 and at most "
                              "100",
                              sens_limit);
    if (!(mode_zeta >= 1e-6 && mode_zeta <= 0.5))
        return tune_error_set(err, TUNE_EINVAL,
                              "the unknown mode has damping ratio %g; it must be 1e-6 .. 0.5",
                              mode_zeta);
    return TUNE_OK;
}

static enum tune_status look_beyond(struct tune_beyond *out, struct search *s,
                                    struct tune_error *err)
{
    struct tune_loop_grid grid;
    struct tune_loop beyond = s->axis.loop;
    double harm;
    enum tune_status status;
    beyond.f_low_hz = out->band_hz;
    status = tune_loop_grid_init(&grid, &beyond, err);
    if (status) return status;
    out->largest = largest(&out->largest_hz, loop_gain, s, &grid);
    out->holds = out->largest < out->limit;
    out->plant_rad_per_nm = out->limit / largest(&out->plant_hz, controller_gain, s, &grid);
    harm = largest(&out->mode_hz, mode_harm, s, &grid);
    out->mode_gain = out->holds ? 1.0 / harm : 0.0;
    tune_loop_grid_free(&grid);
    return TUNE_OK;
}

/* The count over the band alone: nothing above it is looked at. */
static enum tune_status count_within(struct tune_beyond *out, const struct search *s,
                                     struct tune_error *err)
{
    struct tune_loop within = s->axis.loop;
    double count;
    enum tune_status status;
    if (!out->holds) return TUNE_OK;
    if (s->axis.controller->kp_nm_per_rad == 0.0 && s->axis.controller->ki_nm_per_rad_s == 0.0)
        return TUNE_OK;
    within.f_high_hz = out->band_hz;
    within.to_half_rate = false;
    within.bound_above = out->limit;
    status = tune_loop_unstable_poles(&count, &within, s->axis.poles_at_one, 0.0, err);
    return status ? status : tune_axis_loop_whole(&out->stable, count, err);
}

enum tune_status tune_loop_beyond(struct tune_beyond *out, const struct tune_plant *plant,
                                  const struct tune_controller *controller, double band_hz,
                                  double sens_limit, double mode_zeta, struct tune_error *err)
{
    struct search search = {.limit = 1.0 - 1.0 / sens_limit, .zeta = mode_zeta};
    enum tune_status status = tune_axis_loop_make(&search.axis, plant, controller, err);
    memset(out, 0, sizeof *out);
    if (!status) status = check(plant->loop_rate_hz, band_hz, sens_limit, mode_zeta, err);
    if (status) return status;
    search.bare = *plant;
    search.bare.n_modes = 0;
    search.bare.complex_residues = false;
    search.with_mode = search.bare;
    search.with_mode.n_modes = 1;
    search.with_mode.mode[0] = (struct tune_mode){.zeta = mode_zeta, .gain = 1.0};
    *out = (struct tune_beyond){.band_hz = band_hz, .limit = search.limit, .mode_zeta = mode_zeta};
    status = look_beyond(out, &search, err);
    if (!status) status = count_within(out, &search, err);
    if (status) memset(out, 0, sizeof *out);
    return status;
}
