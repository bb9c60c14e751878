/* ini_writer.c - axis.ini of a simulated logbook. What is copied is copied word for word: comments and
 * digits of the description stay as they were written.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/ini_writer_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chain/simulated_columns_internal.h"
#include "logbook/logbook.h"

static bool belongs_to_logbook(const char *line, size_t length)
{
    static const char *const section[] = {"[axis]", "[drive]", "[controller]", "[requirement]",
                                          "[expected]"};
    for (size_t i = 0; i < sizeof section / sizeof *section; i++)
        if (length >= strlen(section[i]) && !strncmp(line, section[i], strlen(section[i])))
            return true;
    return false;
}

static bool blank_or_comment(const char *line)
{
    line += strspn(line, " \t\r");
    return *line == '\n' || *line == '\0' || *line == ';' || *line == '#';
}

enum tune_status chain_logbook_head(char **out, const char *description, struct tune_error *err)
{
    static const char opening[] =
        "; Made by simulate: nothing here was measured. The truth stands in truth.json.\n\n";
    const char *line = description;
    size_t used, kept; /* kept: up to the last line that is more than a remark */
    bool copying = false;
    char *text = malloc(strlen(description) + sizeof opening + 2);

    *out = text;
    if (!text) return tune_error_memory(err, "writing axis.ini");
    memcpy(text, opening, sizeof opening);
    used = kept = sizeof opening - 1;
    while (*line) {
        const size_t length = strcspn(line, "\n") + (strchr(line, '\n') ? 1 : 0);
        const char *start = line + strspn(line, " \t");
        if (*start == '[') {
            /* remarks that end a section speak of the next one, which may be left out */
            used = kept;
            copying = belongs_to_logbook(start, length);
            if (copying && used > sizeof opening - 1) text[used++] = '\n';
        }
        if (copying) {
            memcpy(text + used, line, length);
            used += length;
            if (!blank_or_comment(line)) kept = used;
        }
        line += length;
    }
    if (kept > 0 && text[kept - 1] != '\n') text[kept++] = '\n';
    text[kept] = '\0';
    return TUNE_OK;
}

static enum tune_status append(char **text, const char *section, size_t length,
                               struct tune_error *err)
{
    const size_t before = strlen(*text);
    char *larger = realloc(*text, before + length + 1);
    if (!larger) return tune_error_memory(err, "writing axis.ini");
    memcpy(larger + before, section, length + 1);
    *text = larger;
    return TUNE_OK;
}

enum tune_status chain_append_payload(char **text, const struct tune_simulated_sensors *sensors,
                                      struct tune_error *err)
{
    char section[96];
    int length;
    if (!sensors->accelerometer) return TUNE_OK;
    length = snprintf(section, sizeof section, "\n[payload]\npayload_accel_arm_m = %.15g\n",
                      sensors->accel_arm_m);
    return append(text, section, (size_t)length, err);
}

/* What an engineer notes beside the drive. */
static void add_motion(char *section, size_t size, const struct tune_simulated_log *log,
                       const struct tune_truth_log *truth)
{
    const struct tune_simulated_motion *motion = &log->motion;
    char tilt[64] = "";
    if (log->kind == TUNE_LOG_MOVE)
        (void)snprintf(section, size, "known_angle_deg = %.6f\nknown_angle_std_deg = %.15g\n",
                       truth->known_angle_deg, motion->known_angle_std_deg);
    if (log->kind == TUNE_LOG_RESPONSE && log->response.of_loop)
        (void)snprintf(section, size, "of = loop\n");
    if (log->kind == TUNE_LOG_LIMIT)
        (void)snprintf(section, size, "limit_side = %s\n",
                       motion->limit_side == TUNE_LIMIT_HIGH ? "high" : "low");
    if (log->kind != TUNE_LOG_LOAD) return;
    if (!isnan(motion->load_axis_tilt_deg))
        (void)snprintf(tilt, sizeof tilt, "load_axis_tilt_deg = %.15g\n",
                       motion->load_axis_tilt_deg);
    (void)snprintf(section, size,
                   "load_kg = %.15g\nload_std_kg = %.15g\nload_arm_m = %.15g\n"
                   "load_arm_std_m = %.15g\nload_arm_angle_deg = %.15g\n%s",
                   motion->load_kg, motion->load_std_kg, motion->load_arm_m, motion->load_arm_std_m,
                   motion->load_arm_angle_deg, tilt);
}

enum tune_status chain_append_log(char **text, const struct tune_simulated_log *log,
                                  const struct tune_pointing_entry *pointing,
                                  const struct tune_truth_log *truth, bool own_controller,
                                  struct tune_error *err)
{
    char section[2048], motion[512] = "";
    const size_t before = strlen(*text);
    size_t used;
    add_motion(motion, sizeof motion, log, truth);
    used = (size_t)snprintf(
        section, sizeof section,
        "%s\n[log %s]\nkind = %s\nfile = logs/%s%s\npointing = "
        "%s\nangle_deg = %.15g\n%s",
        before && (*text)[before - 1] != '\n' ? "\n" : "", log->name, tune_log_kind_name(log->kind),
        log->name, chain_columns_ending(&log->format), pointing->name, pointing->angle_deg, motion);
    if (own_controller)
        used += (size_t)snprintf(section + used, sizeof section - used,
                                 "controller = controllers/%s.ini\n", log->name);
    used += chain_columns_mapping(section + used, sizeof section - used, log);
    return append(text, section, used, err);
}
