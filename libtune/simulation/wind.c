/* wind.c - the spectrum of the wind torque and realisations of it.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulation/axis_internal.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "simulation/axis.h"
#include "spectrum/fft.h"

/* integral of (1 + x^2)^(-5/6) / (1 + (x/8)^2) over 0..200, by adaptive quadrature */
static const double shape_integral = 1.6688151558238447;

double tune_wind_psd(double rms_nm, double corner_hz, double f_hz)
{
    const double x = f_hz / corner_hz, low = x / 8.0;
    if (rms_nm == 0.0) return 0.0;
    return rms_nm * rms_nm / (corner_hz * shape_integral) * pow(1.0 + x * x, -5.0 / 6.0) /
           (1.0 + low * low);
}

double tune_axis_wind_psd(const struct tune_axis *axis, double f_hz)
{
    return tune_wind_psd(axis->wind_rms_nm, axis->wind_corner_hz, f_hz);
}

/* Independent complex normal lines of power S df. The sequence is periodic: it is made at least twice
 * as long as what is used, so that its end does not foretell its start, and long enough for several
 * lines below the corner, within reason. */
static size_t period(size_t n, double rate_hz, double corner_hz)
{
    const size_t most = (size_t)1 << 22;
    const double slow = 16.0 * rate_hz / corner_hz;
    const size_t lines = slow < (double)most ? (size_t)slow : most;
    return tune_fft_good_length(2 * n > lines ? 2 * n : lines);
}

enum tune_status tune_wind_realise(double *torque_nm, size_t n, double rate_hz, double rms_nm,
                                   double corner_hz, struct tune_random *rng,
                                   struct tune_error *err)
{
    const size_t length = period(n, rate_hz, corner_hz), bins = length / 2 + 1;
    const double df = rate_hz / (double)length;
    double complex *line = malloc(bins * sizeof *line);
    double *wave = malloc(length * sizeof *wave);
    enum tune_status status = TUNE_OK;
    if (!line || !wave) status = tune_error_memory(err, "making the wind");
    for (size_t k = 0; k < bins && !status; k++) {
        /* mean square of line k: 2 |X|^2/N^2, of the two real lines at the ends |X|^2/N^2 */
        const double power = tune_wind_psd(rms_nm, corner_hz, (double)k * df) * df;
        const double size = (double)length * sqrt(power) / 2.0;
        const double re = tune_random_normal(rng), im = tune_random_normal(rng);
        const bool real = k == 0 || 2 * k == length;
        line[k] = real ? sqrt(2.0) * size * re : CMPLX(size * re, size * im);
    }
    if (!status) status = tune_fft_real_inverse(wave, line, length, err);
    for (size_t i = 0; i < n && !status; i++)
        torque_nm[i] = wave[i];
    free(line);
    free(wave);
    return status;
}
