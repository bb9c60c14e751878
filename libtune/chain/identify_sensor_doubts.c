/* identify_sensor_doubts.c - may the payload ratios of a second sensor be used, and how far may they be off?
 *
 * Refused where the sensor is not what the logbook says: a sign, a unit, a scale, a lateness no sensor of its
 * kind has, or motion that its model explains to a small part only. Doubtful, with stds widened, where it
 * reads slowly by itself, or shows more than the modes explain. The limits are common practice, no source.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "chain/identify_internal.h"
#include "core/units.h"

static const double distinct = 3.0, sum_off_most = 0.05;

/* Reads more than so many times off: not the sensor that is described. */
static const double scale_most = 1.2;

/* Encoders and accelerometers read within a sample or two; cameras expose and read out. */
static const double late_doubt_s = 1e-3, late_most_s = 5e-3;

/* chi-square over that of the fit, where it passes 1 by 5 std as well. */
static const double chi_told = 1.5, chi_doubt = 2.0, chi_most = 10.0, chi_sigmas = 5.0;

/* m/s^2 per g by definition (3rd CGPM, 1901); so near it the factor is one of units. */
static const double gravity = 9.80665, unit_near = 0.06;

struct judged {
    struct tune_notes *notes;
    struct tune_sensor *s;
    const struct tune_sensor_opts *opts;
    const struct tune_pointing_plant *p;
    const char *name, *key;
    double scale; /* what it reads over what is stated; 1: nothing wrong */
    double chi;   /* chi-square over that of the fit; 1 where within its statistics */
};

static bool refuse(const struct judged *j, const char *why)
{
    tune_notes_add(j->notes,
                   "Pointing %s: the %s is not used, its payload ratios would be wrong: %s.",
                   j->p->name, j->name, why);
    return false;
}

static bool near(double x, double y)
{
    return fabs(log(fabs(x) / y)) < unit_near;
}

/* Why the scale found is not that of the sensor described. */
static bool check_scale(const struct judged *j)
{
    char why[360] = "", sign[160] = "";
    const bool accelerometer = j->s->kind == TUNE_PAYLOAD_ACCELEROMETER;
    if (j->scale < 0.0 && accelerometer)
        (void)snprintf(sign, sizeof sign,
                       "its sign is the opposite one: payload_accel_arm_m = %.6g in [payload], or "
                       "payload_accel_sign = -1 in the log's section",
                       -j->opts->scale);
    else if (j->scale < 0.0)
        (void)snprintf(sign, sizeof sign,
                       "its sign is the opposite one: set %s_sign = -1 in the log's section",
                       j->key);
    const char *and = sign[0] ? "; and " : "";
    if (accelerometer && near(j->scale, gravity))
        (void)snprintf(why, sizeof why,
                       "%s%sit reads %.4g times what the rigid body says, as m/s2 taken for g "
                       "do: payload_accel_unit = m_per_s2",
                       sign, and, fabs(j->scale));
    else if (accelerometer && near(j->scale, 1.0 / gravity))
        (void)snprintf(why, sizeof why,
                       "%s%sit reads %.4g times what the rigid body says, as g taken for m/s2 "
                       "do: payload_accel_unit = g",
                       sign, and, fabs(j->scale));
    else if (fabs(log(fabs(j->scale))) > log(scale_most))
        (void)snprintf(why, sizeof why,
                       "%s%sit reads %.4g times what the rigid body and its stated scale say: "
                       "check its %s",
                       sign, and, fabs(j->scale), accelerometer ? "arm and unit" : "scale");
    else
        (void)snprintf(why, sizeof why, "%s", sign);
    return why[0] ? refuse(j, why) : true;
}

static bool check_slowness(const struct judged *j)
{
    const double late_s = j->s->late_s.value;
    char why[240];
    if (j->s->kind == TUNE_PAYLOAD_SKY || fabs(late_s) < late_most_s) return true;
    (void)snprintf(why, sizeof why,
                   "it reads %.3g ms later than the encoder, beyond what is stated, which no "
                   "sensor of its kind does: check its columns, arm and sign; a lag that is known "
                   "is stated as %s_delay_samples",
                   1e3 * late_s, j->key);
    return refuse(j, why);
}

static bool check_misfit(const struct judged *j)
{
    char why[240];
    if (!(j->chi > chi_most)) return true;
    (void)snprintf(why, sizeof why,
                   "it moves in ways that the modes of the encoder do not explain (reduced "
                   "chi-square %.3g): a mode of its own, a loose mount, or not on this axis",
                   j->s->reduced_chi_square);
    return refuse(j, why);
}

/* ---- doubts --------------------------------------------------------------------------------------*/

/* How much weaker a sensor reads at f that filters by itself: a second order without a peak (Butterworth) of the
 * same delay, sqrt 2/w_c; of an image, the mean over its exposure. */
static double loss(const struct judged *j, double f_hz)
{
    const double omega = 2.0 * TUNE_PI * f_hz, late_s = fabs(j->s->late_s.value);
    if (j->s->kind != TUNE_PAYLOAD_SKY) return sqrt(1.0 + pow(omega * late_s, 4.0) / 4.0) - 1.0;
    const double exposed_s = j->opts->hold_s > 0.0 ? j->opts->hold_s : 2.0 * late_s;
    const double x = 0.5 * omega * exposed_s;
    return x > 0.0 ? fmin(1.0 / fmax(fabs(sin(x) / x), 0.05), 20.0) - 1.0 : 0.0;
}

static void widen(const struct judged *j, bool slow)
{
    struct tune_sensor *s = j->s;
    const size_t theta = s->n - s->n_modes;
    double sum = s->gain_sum.std * s->gain_sum.std;
    s->doubtful = true;
    for (size_t k = 0; k < s->n_modes; k++) {
        struct tune_estimate *r = &s->ratio[k];
        if (isnan(r->value)) continue;
        const double lost = slow ? loss(j, j->p->fit.plant.mode[k].f_hz) : 0.0;
        const double scale = slow ? fabs(j->scale) - 1.0 : 0.0;
        const double more =
            hypot(r->value * hypot(lost, scale), r->std * sqrt(fmax(j->chi - 1.0, 0.0)));
        s->covariance[(theta + k) * (s->n + 1)] += more * more;
        r->std = hypot(r->std, more);
        sum += pow(j->p->fit.plant.mode[k].gain * more, 2.0);
    }
    s->gain_sum.std = sqrt(sum);
}

static void doubt_slowness(const struct judged *j)
{
    const double late_s = j->s->late_s.value;
    if (j->s->kind != TUNE_PAYLOAD_SKY) {
        if (late_s < late_doubt_s) {
            if (j->chi > chi_doubt) widen(j, false);
            return;
        }
        tune_notes_add(j->notes,
                       "Pointing %s: the %s reads %.3g ms later than the encoder, as a filter of "
                       "its own does (of second order: %.3g Hz), which weakens modes: its ratios "
                       "are doubtful (!), std widened by as much. A lag without a filter is stated "
                       "as %s_delay_samples.",
                       j->p->name, j->name, 1e3 * late_s, sqrt(2.0) / (2.0 * TUNE_PI * late_s),
                       j->key);
    } else if (!(j->opts->exposure_s > 0.0) && (j->opts->hold_s > 0.0 || late_s > late_doubt_s)) {
        char frames[64] = "";
        if (j->opts->hold_s > 0.0)
            (void)snprintf(frames, sizeof frames, " (%.4g frames per second)",
                           1.0 / j->opts->hold_s);
        tune_notes_add(j->notes,
                       "Pointing %s: the exposure of the sky%s is not stated, and weakens modes: "
                       "its ratios are doubtful (!), std widened by what a whole frame would take. "
                       "State sky_exposure_s in [payload].",
                       j->p->name, frames);
    } else {
        if (j->chi > chi_doubt) widen(j, false);
        return;
    }
    widen(j, true);
}

static void tell(const struct judged *j)
{
    const struct tune_sensor *s = j->s;
    if (j->opts->scale_std > 0.0 &&
        fabs(j->scale - 1.0) * fabs(j->opts->scale) > 2.0 * j->opts->scale_std)
        tune_notes_add(j->notes,
                       "Pointing %s: the %s reads %.4g times what the rigid body and its stated "
                       "scale say: check its %s.",
                       j->p->name, j->name, j->scale,
                       s->kind == TUNE_PAYLOAD_ACCELEROMETER ? "arm and unit" : "scale");
    if (s->reduced_chi_square > chi_told * fmax(j->p->fit.reduced_chi_square, 1.0))
        tune_notes_add(j->notes,
                       "Pointing %s: the %s moves in ways the modes of the encoder do not explain "
                       "(reduced chi-square %.2f): it may see a mode of its own, and the payload "
                       "ratios are %s.",
                       j->p->name, j->name, s->reduced_chi_square,
                       s->doubtful ? "doubtful (!), std widened" : "surer than they should be");
    if (fabs(s->gain_sum.value + 1.0) > fmax(distinct * s->gain_sum.std, sum_off_most))
        tune_notes_add(
            j->notes,
            "Pointing %s: gain times payload ratio of the modes sums up to %.3f +- %.2g; "
            "of a payload that no torque reaches but through them it is -1. A mode "
            "past the band is missing, or the %s sees more than this payload.",
            j->p->name, s->gain_sum.value, s->gain_sum.std, j->name);
}

/* ---- the scale it shows by itself ---------------------------------------------------------------*/

static bool is_suspect(const struct judged *j)
{
    const double off = fabs(j->s->scale.value - j->opts->scale);
    return j->s->reduced_chi_square > chi_told * fmax(j->p->fit.reduced_chi_square, 1.0) ||
           fabs(j->s->late_s.value) > late_doubt_s ||
           (j->opts->scale_std > 0.0 && off > 2.0 * j->opts->scale_std);
}

/* The scale fits clearly better where it is free: a tenth less chi-square, or it is another sign or unit. */
static enum tune_status free_scale(struct judged *j, const struct tune_lines *encoder,
                                   const struct tune_lines *sensor, struct tune_error *err)
{
    struct tune_sensor loose = {0};
    const enum tune_status status =
        tune_sensor_estimate_free(&loose, &j->p->fit, encoder, sensor, j->opts, err);
    if (!status) {
        const double found = loose.scale.value / j->opts->scale;
        const bool better = loose.reduced_chi_square < 0.9 * j->s->reduced_chi_square;
        const bool told = loose.scale.std < 0.1 * fabs(loose.scale.value);
        if (told && (better || fabs(found - 1.0) < 0.2)) j->scale = found;
    } else if (status == TUNE_EDATA || status == TUNE_ENOSOL) {
        tune_error_clear(err);
    }
    tune_sensor_free(&loose);
    return status == TUNE_EDATA || status == TUNE_ENOSOL ? TUNE_OK : status;
}

enum tune_status chain_trust_sensor(bool *use, struct tune_sensor *s,
                                    const struct tune_sensor_opts *opts, const char *key,
                                    struct tune_notes *notes, const struct tune_pointing_plant *p,
                                    const struct tune_lines *encoder,
                                    const struct tune_lines *sensor, struct tune_error *err)
{
    struct judged j = {notes, s, opts, p, tune_payload_source_name(s->kind), key, 1.0, 1.0};
    const double over = s->reduced_chi_square / fmax(p->fit.reduced_chi_square, 1.0);
    enum tune_status status = TUNE_OK;
    if (s->reduced_chi_square > 1.0 + chi_sigmas / sqrt((double)s->lines)) j.chi = fmax(over, 1.0);
    if (opts->scale_std > 0.0) j.scale = s->scale.value / opts->scale;
    if (is_suspect(&j)) status = free_scale(&j, encoder, sensor, err);
    if (status) return status;
    *use = check_scale(&j) && check_slowness(&j) && check_misfit(&j);
    if (!*use) return TUNE_OK;
    doubt_slowness(&j);
    tell(&j);
    return TUNE_OK;
}
