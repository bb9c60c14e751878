/* noise.c - the white noise of the position sensor.
 *
 * Sixth differences pass what is near half the sample rate and stop motion: at a tenth of the rate 1/18 of
 * what they make of white noise, at a hundredth nothing. They multiply the variance of white noise by
 * C(12, 6) = 924. The middle one of many blocks is not upset by a resonance or a wrong sample.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "core/units.h"
#include "health/findings_internal.h"

enum { ORDER = 6, BLOCK = 256 };
static const double noise_gain = 924.0;

/* Relative variance of one block's variance: 2/BLOCK times sum rho^2 of the sixth difference's
 * autocorrelation rho_j = (-1)^j C(12, 6 + j)/C(12, 6), which is C(24, 12)/C(12, 6)^2 (Vandermonde). The
 * median of many has pi/2 of the variance of their mean. */
static const double correlated = 2704156.0 / (924.0 * 924.0);

/* A loop can be closed at a fiftieth of its rate at most: noise below that goes through it. With care where
 * that alone is half of what is required. Common practice, no source. */
static const double loop_part = 1.0 / 50.0, of_required = 0.5;

/* Noise of so many declared steps is not that of the encoder. Common practice, no source. */
static const double steps_noisy = 20.0;

static double sixth(const double *x)
{
    return x[0] - 6.0 * x[1] + 15.0 * x[2] - 20.0 * x[3] + 15.0 * x[4] - 6.0 * x[5] + x[6];
}

static enum tune_status measure(struct health_case *c, struct tune_error *err)
{
    const double *x = c->rec->channel[TUNE_ROLE_POSITION];
    const size_t blocks = (c->rec->n - ORDER) / BLOCK;
    double *square = malloc((blocks + 1) * sizeof *square);
    if (!square) return tune_error_memory(err, "measuring the noise of a log");
    for (size_t b = 0; b < blocks; b++) {
        double sum = 0.0;
        for (size_t k = b * BLOCK; k < (b + 1) * BLOCK; k++)
            sum += pow(sixth(x + k), 2.0);
        square[b] = sum / BLOCK / noise_gain;
    }
    if (blocks >= 4) {
        const double of_block = 2.0 * correlated / BLOCK;
        /* median of a chi square below its mean: (1 - 2/(9 nu))^3, E. B. Wilson, M. M. Hilferty,
         * Proc. Nat. Acad. Sci. 17, 1931 */
        const double below = pow(1.0 - of_block / 9.0, 3.0);
        struct tune_estimate *noise = &c->out->measures.noise_rad;
        noise->value = sqrt(health_median(square, blocks) / below);
        noise->std = 0.5 * noise->value * sqrt(0.5 * TUNE_PI * of_block / (double)blocks);
    }
    free(square);
    return TUNE_OK;
}

enum tune_status health_check_noise(struct health_case *c, struct tune_error *err)
{
    const double required = c->opts->jitter_rms_rad, declared = c->opts->encoder_step_rad;
    const enum tune_status status = measure(c, err);
    const double noise = c->out->measures.noise_rad.value;
    const double passed = noise * sqrt(2.0 * loop_part);
    static const char advice[] =
        "check shielding, earthing and the signal of the encoder's head; average in the drive";
    if (status || !(noise > 0.0)) return status;
    /* steps make noise of their own, which other findings tell */
    if (noise < 0.5 * c->step_rad) return TUNE_OK;
    if (required > 0.0 && passed > of_required * required)
        health_add(
            c, "noise-high", TUNE_WITH_CARE, 0, tune_arcsec_from_rad(noise), advice,
            "the position has %.3g arcsec rms of white noise; %.2g of it lie where a fast loop "
            "follows, the requirement is %.3g",
            tune_arcsec_from_rad(noise), tune_arcsec_from_rad(passed),
            tune_arcsec_from_rad(required));
    else if (declared > 0.0 && noise > steps_noisy * declared)
        health_add(c, "noise-high", TUNE_WITH_CARE, 0, tune_arcsec_from_rad(noise), advice,
                   "the position has %.3g arcsec rms of white noise, %.3g steps of the encoder",
                   tune_arcsec_from_rad(noise), noise / declared);
    return TUNE_OK;
}
