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
    "; A logbook: one axis in one mechanical configuration. Fill in what you know; a line that\n"
    "; starts with a semicolon is a remark. Only the loop rate and one log are required, but "
    "signs\n"
    "; and scales decide whether gains hold an axis or drive it into its stop: check each with "
    "the\n"
    "; smallest motion.\n"
    "\n"
    "[axis]\n"
    "; site         =                  ; observatory and telescope\n"
    "name           = other            ; hour-angle, declination, azimuth, altitude, rotator, "
    "other\n"
    "; configuration =                 ; instruments and covers fitted\n"
    "; date         = 2026-05-14       ; of the logs\n"
    "; latitude_deg = -31.2            ; of the site, north positive\n"
    "\n"
    "[drive]\n"
    "loop_rate_hz              =       ; of the position loop; required\n"
    "; sample_rate_hz          =       ; of the logs, where it is another\n"
    "; torque_per_unit_nm      =       ; N m per ampere (rms or peak?), per volt, or at full "
    "scale\n"
    "; torque_limit_nm         =       ; the drive's peak limit\n"
    "; torque_continuous_nm    =       ; continuous rating\n"
    "; encoder_counts_per_turn =       ; counts for one turn of the axis\n"
    "; encoder_lines_per_turn  =       ; signal periods for one turn of the axis\n"
    "; travel_limit_deg        = -95 95 ; the two soft limits\n"
    "; rate_limit_deg_per_s    =       ; fastest motion allowed\n"
    "; max_biquads             = 3     ; filter sections the drive has\n"
    "; coefficient_format      = float32 ; float64, float32, Q2.30, ...\n"
    "\n"
    "; The gains that were active while the logs were taken, on the error target - position:\n"
    ";   torque = C (target - position) + excitation; positive torque raises the position.\n"
    "; [controller]\n"
    "; kp_nm_per_rad        =          ; proportional\n"
    "; ki_nm_per_rad_s      =          ; integral\n"
    "; kd_nm_s_per_rad      =          ; derivative\n"
    "; derivative_filter_hz =          ; first-order filter of the derivative; absent: none\n"
    "; lowpass_hz           =          ; absent: none\n"
    "; lowpass_order        = 2        ; 1 or 2\n"
    "; lowpass_zeta         = 0.7071   ; damping ratio, of order 2\n"
    "; biquad1_zero_hz      =          ; biquads 1, 2, ... without a gap: what is cut out\n"
    "; biquad1_zero_zeta    =          ; damping ratio there; small: a deep notch\n"
    "; biquad1_pole_hz      =          ; what is put in its place\n"
    "; biquad1_pole_zeta    =          ; damping ratio there; large: a wide notch\n"
    "\n"
    "; What the axis must reach; what is not stated is not judged.\n"
    "; [requirement]\n"
    "; jitter_rms_arcsec          = 0.10    ; rms about a straight line, whole log\n"
    "; jitter_of                  = encoder ; of which signal: encoder or sky\n"
    "; phase_margin_deg           = 40\n"
    "; gain_margin_db             = 6       ; upward\n"
    "; gain_reduction_margin_db   = 8       ; downward\n"
    "; peak_sensitivity           = 1.7     ; at most, a ratio\n"
    "; noise_torque_rms_nm        =         ; torque the loop makes of sensor noise; absent: 2 % "
    "of\n"
    ";                                      ; torque_continuous_nm\n"
    "; tracking_rate_arcsec_per_s = 15.041  ; at which the axis follows the sky\n"
    "; settle_arcsec              = 0.5     ; band of a step: settled from the last entry into it\n"
    "; settle_s                   = 3       ; after the target reached its final value\n"
    "\n"
    "; How far the payload moves against the encoder in a mode, where that is known "
    "(accelerometer,\n"
    "; model of the structure): numbers 1, 2, ... without a gap. Absent: assumed, and said.\n"
    "; [payload]\n"
    "; ratio1_hz = 14.8                ; the mode at this frequency\n"
    "; ratio1    = -3.3                ; moves the payload so many times as far; negative: against "
    "it\n"
    "\n"
    "; One section for each log. Sweeps: injected torque on a steady ramp, at each pointing that\n"
    "; matters.\n"
    "[log east-45]\n"
    "kind      = sweep                 ; sweep, hold, track, step, turn, response\n"
    "file      = logs/east-45.csv.gz   ; relative to this folder; CSV, plain or gzip\n"
    "pointing  = east-45               ; logs that share one are estimated together\n"
    "angle_deg = -45                   ; of this axis\n"
    "; other_axis_deg   =              ; angle of the other axis\n"
    "; other_axis_state =              ; holding, braked, free\n"
    "; controller       =              ; file with the gains active here, where not those above\n"
    "; sample_rate_hz   =              ; of this log, where it has no time column and another "
    "rate\n"
    "; of               = plant        ; of a response: plant, or loop for the open loop's\n"
    ";\n"
    "; Columns with names of their own are found: time_s, excitation_nm, torque_nm,\n"
    "; position_arcsec, load_position_arcsec, target_arcsec, sky_arcsec, payload_accel_m_per_s2,\n"
    "; with any unit of their list as ending. Others are mapped here, for each ROLE of\n"
    ";   time            when: s, ms, us\n"
    ";   excitation      the injected signal: nm, a, v, permille, fraction\n"
    ";   torque          the drive command that reached the motor: the same\n"
    ";   position        measured angle: arcsec, mas, deg, rad, counts, m\n"
    ";   load_position   second angle of the same axis: the same\n"
    ";   target          commanded angle: the same\n"
    ";   sky             image position, line of sight: the same\n"
    ";   payload_accel   tangential acceleration on the payload: m_per_s2, g\n"
    "; SI = sign (scale raw + offset) unit. With torque for ROLE:\n"
    "; torque               = \"Iq act\" ; header text of the column\n"
    "; torque_unit          = a        ; one of the list above\n"
    "; torque_scale         = 1\n"
    "; torque_offset        = 0        ; in the unit of the column\n"
    "; torque_sign          = -1       ; 1 or -1\n"
    "; torque_delay_samples = 0        ; the column is late by so many samples\n"
    "\n"
    "; [log quiet]                     ; nothing injected, a minute or two: what disturbs the "
    "axis\n"
    "; kind      = hold\n"
    "; file      = logs/quiet.csv.gz\n"
    "; pointing  = east-45\n"
    "; angle_deg = -45\n"
    "\n"
    "; [log tracking]                  ; under new gains\n"
    "; kind       = track\n"
    "; file       = logs/tracking.csv.gz\n"
    "; pointing   = east-45\n"
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
