/* disturbance.c - what disturbs the axis, backed out of a quiet log.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "jitter/disturbance.h"

#include <math.h>
#include <stdlib.h>

#include "control/loop.h"
#include "jitter/jitter_internal.h"
#include "jitter/tracking.h"
#include "simulation/axis.h"
#include "spectrum/fft.h"
#include "spectrum/psd.h"

enum { TAPERS = 6 };

static const double shortest_s = 10.0;

void tune_jitter_chunk(struct jitter_chunk *chunk, const struct tune_plant *plant,
                       const struct tune_controller *controller, const double *f_hz, size_t n)
{
    double complex g[JITTER_CHUNK];
    tune_plant_eval(g, plant, TUNE_PATH_PAYLOAD_ENCODER, f_hz, n);
    for (size_t i = 0; i < n; i++)
        chunk->wind[i] = squared_magnitude(g[i]);
    tune_plant_eval(g, plant, TUNE_PATH_DRIVE_ENCODER, f_hz, n);
    for (size_t i = 0; i < n; i++)
        chunk->drive[i] = squared_magnitude(g[i]);
    if (!controller) return;
    tune_plant_eval(chunk->loop, plant, TUNE_PATH_MOTOR_ENCODER, f_hz, n);
    tune_controller_eval(g, controller, f_hz, n);
    for (size_t i = 0; i < n; i++)
        chunk->loop[i] *= g[i];
}

static enum tune_status check_log(const double *error_rad, size_t n, double rate_hz,
                                  const struct tune_plant *plant,
                                  const struct tune_controller *controller, struct tune_error *err)
{
    bool moves = false;
    if (!(rate_hz > 0.0 && rate_hz <= 1.001 * plant->loop_rate_hz))
        return tune_error_set(
            err, TUNE_EINVAL,
            "the log's sample rate, %g Hz, must be above 0 and not above the loop "
            "rate, %g Hz",
            rate_hz, plant->loop_rate_hz);
    if (controller->loop_rate_hz != plant->loop_rate_hz)
        return tune_error_set(err, TUNE_EINVAL,
                              "the controller runs at %g Hz but the plant was fitted at %g Hz",
                              controller->loop_rate_hz, plant->loop_rate_hz);
    if ((double)n < shortest_s * rate_hz)
        return tune_error_set(err, TUNE_EDATA,
                              "the quiet log lasts %.3g s; take one of at least 10 s, better 60 s",
                              (double)n / rate_hz);
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(error_rad[i]))
            return tune_error_set(err, TUNE_EDATA, "sample %zu of the quiet log is not finite",
                                  i + 1);
        moves = moves || error_rad[i] != error_rad[0];
    }
    if (!moves)
        return tune_error_set(err, TUNE_EDATA,
                              "the position error of the quiet log never changes: a dead channel, "
                              "or an encoder too coarse to see the jitter");
    return TUNE_OK;
}

static enum tune_status check_loop(const struct tune_plant *plant,
                                   const struct tune_controller *controller, struct tune_error *err)
{
    bool stable = false;
    enum tune_status status = tune_controller_check(controller, err);
    if (!status) status = tune_loop_judge(NULL, &stable, plant, controller, err);
    if (status || stable) return status;
    return tune_error_set(err, TUNE_EDATA,
                          "the gains stated for the quiet log do not hold the fitted plant stably; "
                          "the log cannot have been taken under them");
}

/* Spectrum of the log without its straight line. */
static enum tune_status measure_spectrum(struct tune_psd *psd, const double *error_rad, size_t n,
                                         double rate_hz, struct tune_error *err)
{
    struct tune_tracking line;
    double *x = malloc(n * sizeof *x);
    enum tune_status status;
    if (!x) return tune_error_memory(err, "estimating the disturbance");
    status = tune_tracking_measure(&line, error_rad, n, rate_hz, err);
    for (size_t i = 0; i < n; i++) {
        const double t = ((double)i - ((double)n - 1.0) / 2.0) / rate_hz;
        x[i] = error_rad[i] - line.offset_rad - line.drift_rad_per_s * t;
    }
    if (!status) status = tune_psd_multitaper(psd, x, n, rate_hz, TAPERS, err);
    free(x);
    return status;
}

/* S_v = |1 + L|^2 S_y at the bins between 0 and half the rate */
static enum tune_status open_loop(struct tune_disturbance *out, const struct tune_psd *psd,
                                  double rate_hz, const struct tune_plant *plant,
                                  const struct tune_controller *controller, struct tune_error *err)
{
    const double highest = fmin(rate_hz, plant->loop_rate_hz) / 2.0;
    struct jitter_chunk chunk;
    out->df_hz = psd->df_hz;
    out->n = psd->n - 1;
    while (out->n > 0 && (double)out->n * psd->df_hz >= highest * (1.0 - 1e-9))
        out->n--;
    out->f_hz = malloc(out->n * sizeof *out->f_hz);
    out->sv = malloc(out->n * sizeof *out->sv);
    if (!out->f_hz || !out->sv) return tune_error_memory(err, "estimating the disturbance");
    for (size_t i = 0; i < out->n; i++)
        out->f_hz[i] = (double)(i + 1) * psd->df_hz;
    for (size_t at = 0; at < out->n; at += JITTER_CHUNK) {
        const size_t m = out->n - at < JITTER_CHUNK ? out->n - at : JITTER_CHUNK;
        tune_jitter_chunk(&chunk, plant, controller, out->f_hz + at, m);
        for (size_t i = 0; i < m; i++)
            out->sv[at + i] = squared_magnitude(1.0 + chunk.loop[i]) * psd->power[at + i + 1];
    }
    return TUNE_OK;
}

enum tune_status tune_disturbance_estimate(struct tune_disturbance *out, const double *error_rad,
                                           size_t n, double rate_hz, const struct tune_plant *plant,
                                           const struct tune_controller *controller,
                                           struct tune_error *err)
{
    /* a length that transforms fast; at most a few samples in a hundred are left out */
    const size_t good = tune_fft_good_length(n);
    struct tune_psd psd = {0};
    enum tune_status status;
    *out = (struct tune_disturbance){0};
    status = check_log(error_rad, n, rate_hz, plant, controller, err);
    if (!status) status = check_loop(plant, controller, err);
    if (!status) status = measure_spectrum(&psd, error_rad, good, rate_hz, err);
    if (!status) {
        out->dof = psd.dof;
        out->resolution_hz = psd.resolution_hz;
        out->duration_s = (double)good / rate_hz;
        out->rate_hz = rate_hz;
        status = open_loop(out, &psd, rate_hz, plant, controller, err);
    }
    if (!status) {
        status = tune_disturbance_fit(out, plant, err);
    }
    tune_psd_free(&psd);
    if (status) tune_disturbance_free(out);
    return status;
}

struct tune_disturbance tune_disturbance_stated(double wind_rms_nm, double wind_corner_hz,
                                                double drive_nm_per_rthz, double sensor_noise_rad,
                                                double rate_hz)
{
    return (struct tune_disturbance){
        .rate_hz = rate_hz,
        .sensor_psd = 2.0 * sensor_noise_rad * sensor_noise_rad / rate_hz,
        .wind_rms_nm = wind_rms_nm,
        .wind_corner_hz = wind_corner_hz,
        .drive_psd = drive_nm_per_rthz * drive_nm_per_rthz,
    };
}

double tune_disturbance_wind_psd(const struct tune_disturbance *disturbance, double f_hz)
{
    return tune_wind_psd(disturbance->wind_rms_nm, disturbance->wind_corner_hz, f_hz);
}

void tune_disturbance_free(struct tune_disturbance *disturbance)
{
    free(disturbance->f_hz);
    free(disturbance->sv);
    *disturbance = (struct tune_disturbance){0};
}
