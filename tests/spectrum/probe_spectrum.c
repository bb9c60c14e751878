/* probe_spectrum.c - prints what the room says, for spectrum_test.py.
 * Standard input, any number of requests, each answered by one line:
 *   fft n x..                             n/2+1 pairs
 *   window KIND n                         n values;  KIND: 0 rectangle, 1 Hann
 *   welch RATE SEGMENT OVERLAP KIND n x.. power of every bin
 *   multitaper RATE TAPERS n x..          power of every bin
 *   lpm HALF ORDER BINS K r.. y.. z..     pairs; answers g, cov_v, power, gain at bin K
 *   coherence COH AVERAGES                mean of the estimate
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "spectrum/coherence.h"
#include "spectrum/fft.h"
#include "spectrum/lpm.h"
#include "spectrum/psd.h"

static double number(void)
{
    double x;
    if (scanf("%lf", &x) != 1) exit(1);
    return x;
}

static size_t count(void)
{
    return (size_t)number();
}

static double *numbers(size_t n)
{
    double *x = malloc((n + 1) * sizeof *x);
    if (!x) exit(1);
    for (size_t i = 0; i < n; i++)
        x[i] = number();
    return x;
}

static void print_all(const double *x, size_t n)
{
    for (size_t i = 0; i < n; i++)
        printf("%.17g ", x[i]);
}

static void answer_fft(void)
{
    const size_t n = count();
    double *x = numbers(n);
    double complex *X = malloc((n / 2 + 1) * sizeof *X);
    if (!X || tune_fft_real(X, x, n, NULL)) exit(1);
    print_all((const double *)X, 2 * (n / 2 + 1));
    free(x);
    free(X);
}

static void answer_window(void)
{
    const enum tune_window kind = (enum tune_window)count();
    const size_t n = count();
    double *w = calloc(n, sizeof *w);
    if (!w) exit(1);
    tune_window_fill(w, n, kind);
    print_all(w, n);
    free(w);
}

static void answer_psd(int welch)
{
    const double rate = number();
    const size_t segment = count(); /* or the tapers */
    const double overlap = welch ? number() : 0.0;
    const enum tune_window kind = welch ? (enum tune_window)count() : TUNE_WINDOW_RECTANGLE;
    const size_t n = count();
    double *x = numbers(n);
    struct tune_psd psd;
    if (welch ? tune_psd_welch(&psd, x, n, rate, segment, overlap, kind, NULL)
              : tune_psd_multitaper(&psd, x, n, rate, segment, NULL))
        exit(1);
    print_all(psd.power, psd.n);
    tune_psd_free(&psd);
    free(x);
}

static void answer_lpm(void)
{
    struct tune_lpm_opts opts;
    struct tune_lpm lpm;
    opts.half_width = count();
    opts.order = count();
    const size_t bins = count(), at = count();
    double *r = numbers(2 * bins), *y = numbers(2 * bins), *z = numbers(2 * bins);
    const double complex *const output[] = {(double complex *)y, (double complex *)z};
    if (tune_lpm_estimate(&lpm, (double complex *)r, output, 2, bins, &at, 1, &opts, NULL)) exit(1);
    print_all((const double *)lpm.g, 4);
    print_all((const double *)lpm.cov_v, 8);
    print_all(lpm.power, 2);
    print_all(lpm.gain, 1);
    tune_lpm_free(&lpm);
    free(r);
    free(y);
    free(z);
}

int main(void)
{
    char word[32];
    while (scanf("%31s", word) == 1) {
        if (!strcmp(word, "fft"))
            answer_fft();
        else if (!strcmp(word, "window"))
            answer_window();
        else if (!strcmp(word, "welch") || !strcmp(word, "multitaper"))
            answer_psd(word[0] == 'w');
        else if (!strcmp(word, "lpm"))
            answer_lpm();
        else if (!strcmp(word, "coherence")) {
            const double coh = number();
            printf("%.17g", tune_coherence_mean(coh, number()));
        } else
            return 1;
        printf("\n");
    }
    return 0;
}
