/* new.c - a commented logbook to fill in.
 *
 * Nothing in it is a number somebody could forget to change: what must be known stands without a value,
 * and reading the logbook names its line.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/new.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "logbook/logbook.h"
#include "results/file.h"

static const char template_text[] =
    "; A logbook: one axis in one mechanical configuration. Fill in what you know; a line that "
    "starts\n"
    "; with a semicolon is a remark. Only the loop rate and one log are required, but signs and "
    "scales\n"
    "; decide whether gains hold an axis or drive it into its stop: check each with the smallest "
    "motion.\n"
    "\n"
    "[axis]\n"
    "; site        =                  ; observatory and telescope\n"
    "name          = other            ; hour-angle | declination | azimuth | altitude | rotator | "
    "other\n"
    "; configuration =                ; instruments and covers fitted\n"
    "; date         = 2026-05-14\n"
    "; latitude_deg = -31.2\n"
    "\n"
    "[drive]\n"
    "loop_rate_hz            =        ; of the position loop; required\n"
    "; sample_rate_hz        =        ; of the logs, where it is another\n"
    "; torque_per_unit_nm    =        ; N m per ampere (rms or peak?), per volt, or at full scale\n"
    "; torque_limit_nm       =        ; the drive's peak limit\n"
    "; torque_continuous_nm  =\n"
    "; encoder_counts_per_turn =\n"
    "; encoder_lines_per_turn  =\n"
    "; travel_limit_deg      = -95 95 ; soft limits\n"
    "; rate_limit_deg_per_s  =\n"
    "; max_biquads           = 3      ; filter sections the drive has\n"
    "; coefficient_format    = float32\n"
    "\n"
    "; The gains that were active while the logs were taken, on the error target - position:\n"
    ";   torque = C (target - position) + excitation; positive torque raises the position.\n"
    "; [controller]\n"
    "; kp_nm_per_rad        =\n"
    "; ki_nm_per_rad_s      =\n"
    "; kd_nm_s_per_rad      =\n"
    "; derivative_filter_hz =\n"
    "; lowpass_hz           =          ; lowpass_order = 1 or 2, lowpass_zeta\n"
    "; biquad1_zero_hz      =          ; and biquad1_zero_zeta, biquad1_pole_hz, "
    "biquad1_pole_zeta\n"
    "\n"
    "; What the axis must reach.\n"
    "; [requirement]\n"
    "; jitter_rms_arcsec          = 0.10   ; rms about a straight line, whole log\n"
    "; jitter_of                  = encoder ; or sky\n"
    "; phase_margin_deg           = 40\n"
    "; gain_margin_db             = 6      ; upward\n"
    "; gain_reduction_margin_db   = 8      ; downward\n"
    "; peak_sensitivity           = 1.7\n"
    "; noise_torque_rms_nm        =        ; absent: 2 % of the continuous torque\n"
    "; tracking_rate_arcsec_per_s = 15.041\n"
    "; settle_arcsec              = 0.5\n"
    "; settle_s                   = 3\n"
    "\n"
    "; One section for each log. Sweeps: injected torque on a steady ramp, at each pointing that "
    "matters.\n"
    "; Columns understood: time_s, excitation_nm, torque_nm, position_arcsec, target_arcsec, ...; "
    "others\n"
    "; are named here: torque = \"Iq act\", torque_unit = a, torque_sign = -1, ...\n"
    "[log east-45]\n"
    "kind      = sweep                ; sweep | hold | track | step | turn | response\n"
    "file      = logs/east-45.csv.gz\n"
    "pointing  = east-45              ; logs that share one are estimated together\n"
    "angle_deg = -45\n"
    "\n"
    "; [log quiet]                    ; nothing injected, a minute or two: what disturbs the axis\n"
    "; kind = hold\n"
    "; file = logs/quiet.csv.gz\n"
    "; pointing = east-45\n"
    "; angle_deg = -45\n"
    "\n"
    "; [log tracking]                 ; under new gains\n"
    "; kind = track\n"
    "; file = logs/tracking.csv.gz\n"
    "; pointing = east-45\n"
    "; controller = results/controller.ini\n";

enum tune_status tune_chain_new(const char *folder, struct tune_error *err)
{
    char path[TUNE_PATH_LENGTH];
    struct stat info;
    enum tune_status status;
    if (strlen(folder) > TUNE_PATH_LENGTH - 16)
        return tune_error_set(err, TUNE_EINVAL, "the name of the folder is too long");
    (void)snprintf(path, sizeof path, "%s/axis.ini", folder);
    if (stat(path, &info) == 0) {
        tune_error_set(err, TUNE_EINVAL, "there is a logbook already; it is left as it is");
        tune_error_place(err, path, 0, 0);
        return TUNE_EINVAL;
    }
    (void)snprintf(path, sizeof path, "%s/logs", folder);
    status = tune_folder_make(path, err);
    (void)snprintf(path, sizeof path, "%s/axis.ini", folder);
    if (!status) status = tune_file_write(path, template_text, sizeof template_text - 1, err);
    return status;
}
