/* fft.c - discrete Fourier transform of real sequences, by FFTW.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum/fft.h"

#include <fftw3.h>
#include <limits.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* FFTW plans under one lock: its planner is shared by the whole process. FFTW_ESTIMATE and
 * FFTW_UNALIGNED make the plan, and so the last bit of the result, depend on n alone. */
static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;
enum { FLAGS = FFTW_ESTIMATE | FFTW_UNALIGNED };

/* Bytes FFTW 3.3.10 asked for beyond our arrays, measured over lengths from 1 to 10^6: 3.7 n complex
 * values at the worst (primes, by a padded convolution), and 0.2 MB of its own the first time. */
static size_t bytes_wanted(size_t n)
{
    return 6 * n * sizeof(fftw_complex) + ((size_t)1 << 18);
}

/* FFTW aborts the program where memory runs out, so what it may need is asked for here first. */
static enum tune_status reserve(size_t n, struct tune_error *err)
{
    void *volatile block = malloc(bytes_wanted(n));
    if (!block) return tune_error_memory(err, "preparing a Fourier transform");
    free(block);
    return TUNE_OK;
}

static enum tune_status check_length(size_t n, struct tune_error *err)
{
    if (n >= 1 && n <= INT_MAX) return TUNE_OK;
    return tune_error_set(err, TUNE_EINVAL, "a Fourier transform of %zu samples is not possible",
                          n);
}

static enum tune_status run_and_free(fftw_plan plan, struct tune_error *err)
{
    if (!plan) return tune_error_memory(err, "planning a Fourier transform");
    fftw_execute(plan);
    (void)pthread_mutex_lock(&planner);
    fftw_destroy_plan(plan);
    (void)pthread_mutex_unlock(&planner);
    return TUNE_OK;
}

enum tune_status tune_fft_real(double complex *X, const double *x, size_t n, struct tune_error *err)
{
    fftw_plan plan;
    enum tune_status status = check_length(n, err);
    if (!status) status = reserve(n, err);
    if (status) return status;
    (void)pthread_mutex_lock(&planner);
    /* x is not written: FFTW_ESTIMATE plans without trying, FFTW_PRESERVE_INPUT says the rest */
    plan = fftw_plan_dft_r2c_1d((int)n, (double *)x, X, FLAGS | FFTW_PRESERVE_INPUT);
    (void)pthread_mutex_unlock(&planner);
    return run_and_free(plan, err);
}

enum tune_status tune_fft_real_inverse(double *x, const double complex *X, size_t n,
                                       struct tune_error *err)
{
    fftw_plan plan;
    double complex *copy; /* the inverse destroys its input */
    enum tune_status status = check_length(n, err);
    if (!status) status = reserve(n, err);
    if (status) return status;
    copy = malloc((n / 2 + 1) * sizeof *copy);
    if (!copy) return tune_error_memory(err, "preparing an inverse Fourier transform");
    memcpy(copy, X, (n / 2 + 1) * sizeof *copy);
    (void)pthread_mutex_lock(&planner);
    plan = fftw_plan_dft_c2r_1d((int)n, copy, x, FLAGS);
    (void)pthread_mutex_unlock(&planner);
    status = run_and_free(plan, err);
    for (size_t i = 0; !status && i < n; i++)
        x[i] /= (double)n;
    free(copy);
    return status;
}

size_t tune_fft_good_length(size_t n)
{
    size_t best = n ? 1 : 0;
    /* p7 <= n / 7 before each product: no overflow */
    for (size_t p7 = 1;; p7 *= 7) {
        for (size_t p5 = p7;; p5 *= 5) {
            for (size_t p3 = p5;; p3 *= 3) {
                size_t p2 = p3;
                while (p2 <= n / 2)
                    p2 *= 2;
                if (p2 <= n && p2 > best) best = p2;
                if (p3 > n / 3) break;
            }
            if (p5 > n / 5) break;
        }
        if (p7 > n / 7) break;
    }
    return best;
}
