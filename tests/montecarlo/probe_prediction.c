/* probe_prediction.c - predicted against simulated jitter over many seeds.
 *
 * usage: probe_prediction [SEEDS]     (default 60, at least 20: the bounds are those of many)
 *
 * Per seed a quiet log of 60 s under soft gains is simulated, the jitter under stiffer gains foretold
 * and simulated with other wind and noise. Exit 1 where the mean, the scatter or the share of logs
 * within the 95 % interval disagrees with what the predictions claim.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

#include "jitter/example.h"
#include "jitter/prediction.h"
#include "jitter/tracking.h"

static const double rate = 4000.0, log_s = 60.0;

struct scenario {
    const char *name;
    double wind_nm, bandwidth_hz; /* of the stiffer gains */
    double moved;                 /* inertia, and modes in alternating directions, changed by */
};

/* Mean and standard deviation of a number of values. */
struct moments {
    double n, sum, square;
};

static void add(struct moments *m, double x)
{
    m->n += 1.0;
    m->sum += x;
    m->square += x * x;
}

static double mean(const struct moments *m)
{
    return m->sum / m->n;
}

static double scatter(const struct moments *m)
{
    return sqrt(fmax(0.0, m->square - m->sum * m->sum / m->n) / (m->n - 1.0));
}

struct outcome {
    struct moments measured, true_one, sky, estimate; /* ln of foretold over simulated, or exact */
    double claimed;                                   /* mean variance, by the interval */
    double claimed_estimate;                          /* mean variance, by std */
    double inside;
};

static void give_up(const struct tune_error *err)
{
    fprintf(stderr, "probe_prediction: %s\n", err->text);
    exit(2);
}

static struct tune_axis_trace simulated(const struct tune_axis *axis,
                                        const struct tune_controller *controller, uint64_t seed,
                                        uint64_t stream)
{
    const struct tune_axis_run run = {.n = (size_t)(log_s * rate),
                                      .controller = controller,
                                      .seed = seed,
                                      .stream = stream,
                                      .settle = (size_t)(10.0 * rate)};
    struct tune_axis_trace trace;
    struct tune_error err;
    if (tune_axis_simulate(&trace, axis, &run, NULL, &err)) give_up(&err);
    return trace;
}

static double rms(const double *x, size_t n)
{
    struct tune_tracking tracking;
    struct tune_error err;
    if (tune_tracking_measure(&tracking, x, n, rate, &err)) give_up(&err);
    return tracking.rms_rad;
}

static void one_seed(struct outcome *out, const struct tune_axis *there,
                     const struct tune_axis *here, const struct tune_controller *stiff,
                     double exact_rad, uint64_t seed)
{
    const struct tune_controller soft = example_gains(rate, 3.0);
    struct tune_axis_trace quiet = simulated(there, &soft, seed, 0);
    struct tune_axis_trace later = simulated(here, stiff, seed, 1);
    const double seen = rms(later.position_rad, later.n);
    struct tune_disturbance disturbance;
    struct tune_jitter j;
    struct tune_error err;
    if (tune_disturbance_estimate(&disturbance, quiet.position_rad, quiet.n, rate, &there->plant,
                                  &soft, &err) ||
        tune_jitter_predict(&j, &disturbance, &there->plant, &here->plant, stiff, log_s, &err))
        give_up(&err);
    add(&out->measured, log(j.measured_rms_rad.value / seen));
    add(&out->true_one, log(j.true_rms_rad.value / rms(later.true_rad, later.n)));
    add(&out->sky, log(j.sky_rms_rad / rms(later.sky_rad, later.n)));
    add(&out->estimate, log(j.measured_rms_rad.value / exact_rad));
    out->claimed += pow(log(j.interval95_rad[1] / j.interval95_rad[0]) / 2.0 / 1.96, 2.0);
    out->claimed_estimate += pow(j.measured_rms_rad.std / j.measured_rms_rad.value, 2.0);
    if (seen > j.interval95_rad[0] && seen < j.interval95_rad[1]) out->inside += 1.0;
    tune_jitter_free(&j);
    tune_disturbance_free(&disturbance);
    tune_axis_trace_free(&quiet);
    tune_axis_trace_free(&later);
}

/* What an endless series of logs would show: the disturbance is known here. */
static double exact_rms(const struct tune_axis *axis, const struct tune_controller *controller)
{
    struct tune_disturbance d = tune_disturbance_stated(axis->wind_rms_nm, axis->wind_corner_hz,
                                                        axis->drive_noise_nm_per_rthz, 0.0, rate);
    struct tune_jitter j;
    struct tune_error err;
    double value;
    d.sensor_psd = example_sensor_psd(axis);
    if (tune_jitter_predict(&j, &d, NULL, &axis->plant, controller, log_s, &err)) give_up(&err);
    value = j.measured_rms_rad.value;
    tune_jitter_free(&j);
    return value;
}

/* Bounds 4 sigma wide: of a mean std/sqrt(n), of a std std/sqrt(2 n), of a share by its binomial; the
 * mean may be off by 1 % for the leakage of tapers, a claimed std be 30 % too wide or 10 % too narrow. */
static bool judge(const struct outcome *o)
{
    const double n = o->measured.n;
    const double claimed = sqrt(o->claimed / n), estimate = sqrt(o->claimed_estimate / n);
    const double room = 1.0 + 4.0 / sqrt(2.0 * n);
    bool good = fabs(mean(&o->measured)) < 0.01 + 4.0 * claimed / sqrt(n);
    good = good && fabs(mean(&o->true_one)) < 0.01 + 4.0 * scatter(&o->true_one) / sqrt(n);
    good = good && fabs(mean(&o->sky)) < 0.05 + 4.0 * scatter(&o->sky) / sqrt(n);
    good = good && scatter(&o->measured) < 1.1 * claimed * room &&
           scatter(&o->measured) > 0.7 * claimed / room;
    good = good && scatter(&o->estimate) < 1.1 * estimate * room &&
           scatter(&o->estimate) > 0.7 * estimate / room;
    return good && o->inside / n > 0.95 - 4.0 * sqrt(0.95 * 0.05 / n);
}

int main(int argc, char **argv)
{
    static const struct scenario scenario[] = {{"wind 20 N m, 3 to 10 Hz", 20.0, 10.0, 0.0},
                                               {"wind 20 N m, 3 to 6 Hz", 20.0, 6.0, 0.0},
                                               {"wind 0.3 N m, 3 to 12 Hz", 0.3, 12.0, 0.0},
                                               {"another pointing", 20.0, 10.0, 0.05}};
    const uint64_t seeds = argc > 1 ? strtoull(argv[1], NULL, 10) : 60;
    bool all_good = true;
    if (seeds < 20) {
        fprintf(stderr, "usage: probe_prediction [SEEDS, 20 or more]\n");
        return 2;
    }
    printf("%-26s %9s %15s %15s %9s %7s\n", "ln(foretold/simulated)", "exact", "measured", "sky",
           "claimed", "within");
    for (size_t k = 0; k < sizeof scenario / sizeof *scenario; k++) {
        const struct scenario *s = &scenario[k];
        const struct tune_controller stiff = example_gains(rate, s->bandwidth_hz);
        struct tune_axis there = example_axis(rate), here;
        struct outcome o = {0};
        bool good;
        double exact;
        there.wind_rms_nm = s->wind_nm;
        here = there;
        here.plant.inertia_kg_m2 *= 1.0 + s->moved;
        for (size_t m = 0; m < here.plant.n_modes; m++)
            here.plant.mode[m].f_hz *= 1.0 + (m % 2 ? 0.4 : -0.4) * s->moved;
        exact = exact_rms(&here, &stiff);
        for (uint64_t seed = 1; seed <= seeds; seed++)
            one_seed(&o, &there, &here, &stiff, exact, seed);
        good = judge(&o);
        all_good = all_good && good;
        printf("%-26s %8.4f\" %+7.4f %.4f  %+7.4f %.4f  %8.4f %6.1f%% %s\n", s->name,
               tune_arcsec_from_rad(exact), mean(&o.measured), scatter(&o.measured), mean(&o.sky),
               scatter(&o.sky), sqrt(o.claimed / o.measured.n), 100.0 * o.inside / o.measured.n,
               good ? "" : "DISAGREES");
        (void)fflush(stdout);
    }
    return all_good ? 0 : 1;
}
