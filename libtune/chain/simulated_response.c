/* simulated_response.c - a table of responses as an analyser would give it, of the model itself.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "chain/log_writer_internal.h"
#include "chain/simulate_internal.h"
#include "chain/simulated_columns_internal.h"
#include "core/random.h"
#include "core/units.h"

/* Averages behind a simulated coherence. */
static const double averages = 16.0;

enum { FREQUENCY, GAIN, PHASE, QUALITY, COLUMNS };

static double frequency(const struct tune_simulated_response *r, size_t i)
{
    return r->from_hz * pow(r->to_hz / r->from_hz, (double)i / (double)(r->points - 1));
}

static void fill(double *const column[COLUMNS], const struct tune_simulated_response *r,
                 const double complex *g, struct tune_random *rng)
{
    for (size_t i = 0; i < r->points; i++) {
        const double std = r->noise * cabs(g[i]), part = std * sqrt(0.5);
        const double complex seen =
            g[i] + CMPLX(part * tune_random_normal(rng), part * tune_random_normal(rng));
        column[GAIN][i] = tune_db_from_ratio(cabs(seen));
        column[PHASE][i] = tune_deg_from_rad(carg(seen));
        column[QUALITY][i] =
            r->tell == TUNE_TELL_STD ? std : 1.0 / (1.0 + r->noise * r->noise * (averages - 1.0));
    }
}

static enum tune_status write_table(const struct simulation_work *work,
                                    const struct tune_simulated_log *entry,
                                    double *const column[COLUMNS], struct tune_error *err)
{
    const struct tune_simulated_response *r = &entry->response;
    const struct log_column columns[COLUMNS] = {
        {"frequency_hz", NULL, column[FREQUENCY], 1.0, 0.0, LOG_SIGNIFICANT, 12},
        {r->of_loop ? "gain_db" : "gain_db_rad_per_nm", NULL, column[GAIN], 1.0, 0.0,
         LOG_AFTER_POINT, 6},
        {"phase_deg", NULL, column[PHASE], 1.0, 0.0, LOG_AFTER_POINT, 5},
        {r->tell == TUNE_TELL_COHERENCE ? "coherence"
         : r->of_loop                   ? "std"
                                        : "std_rad_per_nm",
         NULL, column[QUALITY], 1.0, 0.0, LOG_SIGNIFICANT, 6},
    };
    const struct log_table table =
        chain_log_table(columns, r->tell == TUNE_TELL_NOTHING ? COLUMNS - 1 : COLUMNS, r->points);
    char path[TUNE_PATH_LENGTH];
    const enum tune_status status = chain_simulated_path(path, work, "logs", entry->name,
                                                         chain_columns_ending(&entry->format), err);
    return status ? status : chain_write_log(path, &table, err);
}

enum tune_status chain_simulate_response(struct simulation_work *work, size_t log,
                                         struct tune_truth_log *truth, struct tune_error *err)
{
    const struct tune_simulated_log *entry = &work->description.log[log];
    const struct tune_simulated_response *r = &entry->response;
    const struct tune_axis axis = tune_description_axis(&work->description, entry->pointing);
    const size_t n = r->points;
    double *numbers = malloc(COLUMNS * n * sizeof *numbers);
    double complex *g = malloc(2 * n * sizeof *g);
    double *const column[COLUMNS] = {numbers, numbers + n, numbers + 2 * n, numbers + 3 * n};
    struct tune_random rng;
    enum tune_status status =
        numbers && g ? TUNE_OK : tune_error_memory(err, "simulating a table of responses");
    tune_random_init(&rng, work->seed, 4 * log + 2);
    if (!status) {
        for (size_t i = 0; i < n; i++)
            column[FREQUENCY][i] = frequency(r, i);
        tune_plant_eval(g, &axis.plant, TUNE_PATH_MOTOR_ENCODER, column[FREQUENCY], n);
        if (r->of_loop) tune_controller_eval(g + n, &work->controller, column[FREQUENCY], n);
        for (size_t i = 0; r->of_loop && i < n; i++)
            g[i] *= g[n + i];
        fill(column, r, g, &rng);
        status = write_table(work, entry, column, err);
    }
    truth->rows = n;
    truth->duration_s = truth->true_rms_arcsec = truth->measured_rms_arcsec =
        truth->sky_rms_arcsec = truth->torque_rms_nm = truth->saturated_fraction = (double)NAN;
    free(numbers);
    free(g);
    return status;
}
