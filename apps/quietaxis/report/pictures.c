/* pictures.c - the data files of each plot.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "pictures.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plot.h"

const char picture_frf_header[] =
    "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence";
const char picture_model_header[] = "frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm";
const char picture_loop_header[] =
    "frequency_hz,loop_real,loop_imag,sensitivity,complementary_sensitivity";
const char picture_jitter_header[] =
    "frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,"
    "measured_cumulative_arcsec,true_cumulative_arcsec";

const char picture_balance_header[] =
    "angle_deg,holding_nm,holding_std_nm,rest_margin_nm,mended_nm";
const char picture_turns_header[] = "angle_deg,rising_nm,falling_nm";

/* Steps of the logarithmic axis: about one a pixel; marks a line of text apart. */
enum { FRF_BINS = 700, PANEL_PIXELS = 792, LABEL_PIXELS = 17, MARKS_MOST = 4 * TUNE_MODES_MAX };
static const double patience_s = 60.0;
/* frf.gp and marks agree on how far the axis reaches beyond the data */
static const double overhang = 1.12;

static double size_of_response(const double *row)
{
    return hypot(row[1], row[2]);
}

static double coherence(const double *row)
{
    return row[5];
}

static struct plot_file named(const char *name)
{
    struct plot_file file = {.text = {0}};
    (void)snprintf(file.name, sizeof file.name, "%s", name);
    return file;
}

static void free_files(struct plot_file *files, size_t n)
{
    for (size_t i = 0; i < n; i++)
        buffer_free(&files[i].text);
}

/* ---- the frequency response ------------------------------------------------------------------*/

/* Colliding neighbours form a block that stands, evenly spaced, about the mean of its wishes:
 * isotonic regression of x_i - i gap, by pooling adjacent violators. */
void picture_spread(double *place, const double *x, size_t n, double gap, double low, double high)
{
    size_t length[MARKS_MOST], blocks = 0, i = 0;
    double mean[MARKS_MOST];
    const double last = fmax(low, high - (double)(n ? n - 1 : 0) * gap);
    for (size_t k = 0; k < n; k++) {
        mean[blocks] = x[k] - (double)k * gap;
        length[blocks++] = 1;
        for (; blocks > 1 && mean[blocks - 2] >= mean[blocks - 1]; blocks--) {
            const double a = (double)length[blocks - 2], b = (double)length[blocks - 1];
            mean[blocks - 2] = (a * mean[blocks - 2] + b * mean[blocks - 1]) / (a + b);
            length[blocks - 2] += length[blocks - 1];
        }
    }
    for (size_t block = 0; block < blocks; block++)
        for (size_t k = 0; k < length[block]; k++, i++)
            place[i] = fmax(low, fmin(mean[block], last)) + (double)i * gap;
}

static int by_frequency(const void *a, const void *b)
{
    const struct picture_mark *x = a, *y = b;
    return (x->f_hz > y->f_hz) - (x->f_hz < y->f_hz);
}

static void write_marks(struct buffer *out, const struct picture_mark *marks, size_t n_marks,
                        double f_low, double f_high)
{
    struct picture_mark mark[MARKS_MOST] = {{0.0, false}};
    double x[MARKS_MOST] = {0}, place[MARKS_MOST];
    const double low = log(f_low / overhang), high = log(f_high * overhang);
    const double pixel = (high - low) / PANEL_PIXELS;
    size_t n = 0;
    for (size_t i = 0; i < n_marks && n < MARKS_MOST; i++)
        if (marks[i].f_hz >= f_low && marks[i].f_hz <= f_high) mark[n++] = marks[i];
    qsort(mark, n, sizeof *mark, by_frequency);
    for (size_t i = 0; i < n; i++)
        x[i] = log(mark[i].f_hz);
    picture_spread(place, x, n, LABEL_PIXELS * pixel, low + 8 * pixel, high - 8 * pixel);
    buffer_add(out, "kind,frequency_hz,label_hz\n");
    for (size_t i = 0; i < n; i++)
        buffer_format(out, "%d,%.7g,%.7g\n", mark[i].antiresonance ? 2 : 1, mark[i].f_hz,
                      exp(place[i]));
    buffer_add(out, "0,nan,nan\n"); /* gnuplot refuses a file without rows */
}

enum tune_status picture_frf(struct buffer *svg, struct table *frf, const struct table *model,
                             const struct picture_mark *marks, size_t n_marks,
                             struct tune_error *err)
{
    table_measure *const measures[] = {size_of_response, coherence};
    struct plot_file files[] = {named("frf.csv"), named("model.csv"), named("marks.csv")};
    enum tune_status status;
    if (!frf->rows) return tune_error_set(err, TUNE_EINVAL, "no frequency response to draw");
    table_thin(frf, FRF_BINS, measures, 2);
    table_write(&files[0].text, frf, picture_frf_header);
    table_write(&files[1].text, model, picture_model_header);
    if (!model->rows) buffer_add(&files[1].text, "nan,nan,nan,nan\n");
    write_marks(&files[2].text, marks, n_marks, frf->value[0],
                frf->value[(frf->rows - 1) * frf->columns]);
    status = plot_draw(svg, "frf.gp", files, 3, patience_s, err);
    free_files(files, 3);
    return status;
}

/* ---- the loop --------------------------------------------------------------------------------*/

/* The loop at f_hz by linear interpolation; NAN outside its rows. */
static double complex loop_at(const struct table *loop, double f_hz)
{
    for (size_t r = 1; r < loop->rows; r++) {
        const double *a = loop->value + (r - 1) * loop->columns, *b = a + loop->columns;
        const double part = (f_hz - a[0]) / (b[0] - a[0]);
        if (a[0] <= f_hz && f_hz < b[0])
            return CMPLX(a[1] + part * (b[1] - a[1]), a[2] + part * (b[2] - a[2]));
    }
    return (double)NAN;
}

/* Points at 1, 2, 5, 10 ... Hz where they stand apart from the origin and from each other, so that
 * their labels do. */
static void write_loop_marks(struct buffer *out, const struct table *loop)
{
    static const double step[] = {1.0, 2.0, 5.0};
    enum { STEPS = 3, DECADES = 6 };
    const double apart = 0.2;
    double complex shown[STEPS * DECADES] = {0};
    size_t n = 0;
    buffer_add(out, "frequency_hz,loop_real,loop_imag\n");
    for (size_t k = 0; k < STEPS * DECADES; k++) {
        const double f_hz = 0.1 * step[k % STEPS] * pow(10.0, (double)(k / STEPS));
        const double complex l = loop_at(loop, f_hz);
        bool clear = cabs(l) >= 0.5;
        for (size_t i = 0; i < n; i++)
            clear = clear && cabs(l - shown[i]) >= apart;
        if (!clear) continue;
        shown[n++] = l;
        buffer_format(out, "%g,%.5g,%.5g\n", f_hz, creal(l), cimag(l));
    }
    buffer_add(out, "nan,nan,nan\n");
}

/* A name is quoted data for gnuplot; it cannot hold what ends a field. */
void picture_quote(struct buffer *out, const char *name)
{
    buffer_add(out, "\"");
    for (const char *c = name; *c; c++)
        buffer_add_bytes(out, *c == '"' || (unsigned char)*c < ' ' ? "?" : c, 1);
    buffer_add(out, "\"");
}

static void write_names(struct buffer *out, const char *const *names, size_t n)
{
    buffer_add(out, "name\n");
    for (size_t i = 0; i < n; i++) {
        picture_quote(out, names[i]);
        buffer_add(out, "\n");
    }
}

static void write_limits(struct buffer *out, double peak_sensitivity, double required_arcsec)
{
    buffer_format(out, "peak_sensitivity,jitter_rms_arcsec\n%.6g,%.6g\n",
                  isfinite(peak_sensitivity) ? peak_sensitivity : 0.0,
                  isfinite(required_arcsec) ? required_arcsec : 0.0);
}

static enum tune_status draw_loops(struct buffer *svg, const char *script,
                                   const struct table *loops, const char *const *names, size_t n,
                                   double peak_sensitivity, struct tune_error *err)
{
    struct plot_file *files;
    enum tune_status status;
    if (n == 0) return tune_error_set(err, TUNE_EINVAL, "no loop to draw");
    files = calloc(n + 3, sizeof *files);
    if (!files) return tune_error_memory(err, "preparing a plot");
    files[n] = named("pointings.csv");
    files[n + 1] = named("limits.csv");
    files[n + 2] = named("marks.csv");
    for (size_t i = 0; i < n; i++) {
        (void)snprintf(files[i].name, sizeof files[i].name, "loop-%zu.csv", i + 1);
        table_write(&files[i].text, &loops[i], picture_loop_header);
    }
    write_names(&files[n].text, names, n);
    write_limits(&files[n + 1].text, peak_sensitivity, (double)NAN);
    write_loop_marks(&files[n + 2].text, &loops[0]);
    status = plot_draw(svg, script, files, n + 3, patience_s, err);
    free_files(files, n + 3);
    free(files);
    return status;
}

enum tune_status picture_loop(struct buffer *svg, const struct table *loops,
                              const char *const *names, size_t n, double peak_sensitivity,
                              struct tune_error *err)
{
    return draw_loops(svg, "loop.gp", loops, names, n, peak_sensitivity, err);
}

enum tune_status picture_sensitivity(struct buffer *svg, const struct table *loops,
                                     const char *const *names, size_t n, double peak_sensitivity,
                                     struct tune_error *err)
{
    return draw_loops(svg, "sensitivity.gp", loops, names, n, peak_sensitivity, err);
}

/* ---- jitter ----------------------------------------------------------------------------------*/

enum tune_status picture_jitter(struct buffer *svg, const struct table *jitter,
                                double required_arcsec, struct tune_error *err)
{
    struct plot_file files[] = {named("jitter.csv"), named("limits.csv")};
    enum tune_status status;
    if (!jitter->rows) return tune_error_set(err, TUNE_EINVAL, "no jitter spectrum to draw");
    table_write(&files[0].text, jitter, picture_jitter_header);
    write_limits(&files[1].text, (double)NAN, required_arcsec);
    status = plot_draw(svg, "jitter.gp", files, 2, patience_s, err);
    free_files(files, 2);
    return status;
}

/* ---- balance ---------------------------------------------------------------------------------*/

enum tune_status picture_balance(struct buffer *svg, const struct table *holding,
                                 const struct table *turns, double coulomb_nm, bool mends,
                                 struct tune_error *err)
{
    struct plot_file files[] = {named("balance.csv"), named("turns.csv"), named("friction.csv")};
    enum tune_status status;
    if (!holding->rows || !turns->rows)
        return tune_error_set(err, TUNE_EINVAL, "no slow turn to draw");
    table_write(&files[0].text, holding, picture_balance_header);
    table_write(&files[1].text, turns, picture_turns_header);
    buffer_format(&files[2].text, "coulomb_nm,mends\n%.6g,%d\n", coulomb_nm, mends ? 1 : 0);
    status = plot_draw(svg, "balance.gp", files, 3, patience_s, err);
    free_files(files, 3);
    return status;
}
