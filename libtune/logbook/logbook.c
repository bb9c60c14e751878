/* logbook.c - axis.ini: one axis in one mechanical configuration, and its logs.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "logbook/logbook.h"

#include <errno.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "logbook/log_keys_internal.h"
#include "logbook/sections_internal.h"
#include "logbook/weights_internal.h"

#define RATIO(field)  offsetof(struct tune_logbook, payload_ratio[0].field)
#define SENSOR(field) offsetof(struct tune_logbook, payload_sensors.field)
#define RATIOS        .stride = sizeof(struct tune_payload_ratio), .most = TUNE_RATIOS_MAX

static const struct key_spec payload_keys[] = {
    {.name = "ratio#_hz", .offset = RATIO(f_hz), KEY_POSITIVE, RATIOS},
    {.name = "ratio#", .offset = RATIO(ratio), KEY_ANY, RATIOS},
    {.name = "payload_accel_arm_m", .offset = SENSOR(accel_arm_m), KEY_ANY},
    {.name = "payload_accel_arm_std_m", .offset = SENSOR(accel_arm_std_m), KEY_NOT_NEGATIVE},
    {.name = "sky_exposure_s", .offset = SENSOR(sky_exposure_s), KEY_NOT_NEGATIVE},
};

static const struct section_spec sections[] = {
    SECTION_AXIS,
    SECTION_DRIVE,
    SECTION_CONTROLLER(false),
    SECTION_REQUIREMENT,
    SECTION_EXPECTED,
    {.kind = "payload", .key = payload_keys, .n_keys = sizeof payload_keys / sizeof *payload_keys},
    {.kind = "slide", .named = true, .key = slide_keys, .n_keys = SLIDE_KEYS},
    {.kind = "place", .named = true, .key = place_keys, .n_keys = PLACE_KEYS},
    {.kind = "log",
     .named = true,
     .required = true,
     .roles = true,
     .key = log_keys,
     .n_keys = LOG_KEYS},
};
enum { N_SECTIONS = sizeof sections / sizeof *sections };

void tune_logbook_free(struct tune_logbook *logbook)
{
    free(logbook->log);
    *logbook = (struct tune_logbook){0};
}

/* ---- [payload] -----------------------------------------------------------------------------------*/

static enum tune_status read_payload(struct tune_logbook *out, const struct ini_document *document,
                                     struct tune_error *err)
{
    static const char *const suffix[] = {"_hz", ""};
    const struct ini_section *section = keys_section(document, "payload");
    struct tune_payload_sensors *sensors = &out->payload_sensors;
    enum tune_status status;
    *sensors = (struct tune_payload_sensors){.accel_arm_m = NAN, .accel_arm_std_m = NAN};
    if (!section) return TUNE_OK;
    status = keys_read(document, section, sections, N_SECTIONS, out, NULL, err);
    if (status != TUNE_OK) return status;
    if (sensors->accel_arm_m == 0.0)
        return ini_refuse(err, section, ini_find(document, section, "payload_accel_arm_m"),
                          "a length other than 0",
                          "an accelerometer on the axis itself feels no "
                          "rotation: payload_accel_arm_m is not 0");
    if (isnan(sensors->accel_arm_std_m))
        sensors->accel_arm_std_m = 0.02 * fabs(sensors->accel_arm_m);
    return keys_count(&out->n_payload_ratios, document, section, "ratio", suffix, 2, err);
}

/* ---- [log NAME] ----------------------------------------------------------------------------------*/

/* A number the drive section does not give is 0 to the reader. */
static double known(double x)
{
    return isnan(x) ? 0.0 : x;
}

/* Logs that share a pointing are taken at the same angle. */
static enum tune_status check_angle(const struct tune_logbook *out,
                                    const struct tune_log_entry *entry,
                                    const struct ini_document *document,
                                    const struct ini_section *section, struct tune_error *err)
{
    for (size_t i = 0; i < out->n_logs; i++) {
        const struct tune_log_entry *other = &out->log[i];
        if (strcmp(other->pointing, entry->pointing) != 0) continue;
        if (isnan(other->angle_deg) || isnan(entry->angle_deg)) continue;
        if (other->angle_deg == entry->angle_deg) continue;
        return ini_refuse(err, section, ini_find(document, section, "angle_deg"),
                          "one angle for each pointing",
                          "the pointing %s is at %g degrees here and at %g in [log %s]: name two "
                          "pointings or correct the angle",
                          entry->pointing, entry->angle_deg, other->angle_deg, other->name);
    }
    return TUNE_OK;
}

static enum tune_status read_log(struct tune_logbook *out, const struct ini_document *document,
                                 const struct ini_section *section, struct tune_error *err)
{
    struct tune_log_entry *entry = &out->log[out->n_logs];
    enum tune_status status;
    *entry = log_keys_defaults();
    entry->line = section->line;
    entry->reading = tune_record_defaults();
    entry->reading.sample_rate_hz = out->drive.sample_rate_hz;
    entry->reading.torque_per_unit_nm = known(out->drive.torque_per_unit_nm);
    entry->reading.encoder_counts_per_turn = known(out->drive.encoder_counts_per_turn);
    (void)snprintf(entry->name, sizeof entry->name, "%s", section->name);
    (void)snprintf(entry->pointing, sizeof entry->pointing, "%s", section->name);
    status = keys_read(document, section, sections, N_SECTIONS, entry, &entry->reading, err);
    if (status == TUNE_OK) status = log_keys_check(entry, document, section, err);
    if (status != TUNE_OK) return status;
    status = check_angle(out, entry, document, section, err);
    out->n_logs++;
    return status;
}

static enum tune_status read_logs(struct tune_logbook *out, const struct ini_document *document,
                                  struct tune_error *err)
{
    enum tune_status status = TUNE_OK;
    size_t n = 0;
    for (size_t i = 0; i < document->n_sections; i++)
        n += document->section[i].name[0] != '\0';
    out->log = calloc(n, sizeof *out->log);
    if (!out->log) return tune_error_memory(err, "reading a logbook");
    for (size_t i = 0; i < document->n_sections && status == TUNE_OK; i++)
        if (strcmp(document->section[i].kind, "log") == 0)
            status = read_log(out, document, &document->section[i], err);
    return status;
}

/* ---- the whole -----------------------------------------------------------------------------------*/

static enum tune_status too_long(const char *path, struct tune_error *err)
{
    tune_error_set(err, TUNE_EINVAL, "a path is longer than %d bytes", TUNE_PATH_LENGTH - 1);
    tune_error_about(err, "path", path, NULL);
    return TUNE_EINVAL;
}

/* The folder of a file: what stands before its last slash. */
static enum tune_status set_paths(struct tune_logbook *out, const char *name,
                                  struct tune_error *err)
{
    const char *slash = strrchr(name, '/');
    if (strlen(name) >= sizeof out->ini_path) return too_long(name, err);
    (void)snprintf(out->ini_path, sizeof out->ini_path, "%s", name);
    if (!slash)
        (void)snprintf(out->folder, sizeof out->folder, ".");
    else
        (void)snprintf(out->folder, sizeof out->folder, "%.*s",
                       slash == name ? 1 : (int)(slash - name), name);
    return TUNE_OK;
}

/* from_file: the logs are where the book is, so that patterns can be looked up. */
static enum tune_status parse(struct tune_logbook *out, const char *name, const char *text,
                              size_t size, bool from_file, struct tune_error *err)
{
    struct ini_document document = {0};
    enum tune_status status;
    *out = (struct tune_logbook){0};
    status = set_paths(out, name, err);
    if (status == TUNE_OK) status = ini_parse_text(&document, text, size, err);
    if (status == TUNE_OK)
        status = keys_check_sections(&document, sections, N_SECTIONS, "a logbook", err);
    if (status == TUNE_OK) status = sections_read(out, &document, sections, N_SECTIONS, err);
    if (status == TUNE_OK) status = read_payload(out, &document, err);
    if (status == TUNE_OK) status = weights_read(out, &document, sections, N_SECTIONS, err);
    if (status == TUNE_OK) status = read_logs(out, &document, err);
    if (status == TUNE_OK && from_file) status = logbook_expand_patterns(out, &document, err);
    ini_free(&document);
    if (status == TUNE_OK) return TUNE_OK;
    tune_logbook_free(out);
    (void)tune_error_place(err, name, 0, 0);
    return status;
}

enum tune_status tune_logbook_parse(struct tune_logbook *out, const char *name, const char *text,
                                    size_t size, struct tune_error *err)
{
    return parse(out, name, text, size, false, err);
}

/* axis.ini itself, or the one in a folder. */
static enum tune_status find_ini(char ini[TUNE_PATH_LENGTH], const char *path,
                                 struct tune_error *err)
{
    struct stat info;
    size_t length = strlen(path);
    if (stat(path, &info) != 0) {
        tune_error_set(err, TUNE_EIO, "cannot open the logbook: %s", strerror(errno));
        (void)tune_error_place(err, path, 0, 0);
        return TUNE_EIO;
    }
    while (length > 1 && path[length - 1] == '/')
        length--;
    if (length + sizeof "/axis.ini" > TUNE_PATH_LENGTH) return too_long(path, err);
    if (S_ISDIR(info.st_mode))
        (void)snprintf(ini, TUNE_PATH_LENGTH, "%.*s%saxis.ini", (int)length, path,
                       path[length - 1] == '/' ? "" : "/");
    else
        (void)snprintf(ini, TUNE_PATH_LENGTH, "%s", path);
    return TUNE_OK;
}

enum tune_status tune_logbook_read(struct tune_logbook *out, const char *path,
                                   struct tune_error *err)
{
    char ini[TUNE_PATH_LENGTH], *text = NULL;
    size_t size = 0;
    enum tune_status status = find_ini(ini, path, err);
    *out = (struct tune_logbook){0};
    if (status == TUNE_OK) status = ini_read_file(&text, &size, ini, err);
    if (status == TUNE_OK) status = parse(out, ini, text, size, true, err);
    free(text);
    return status;
}

enum tune_status tune_logbook_join(char out[TUNE_PATH_LENGTH], const struct tune_logbook *logbook,
                                   const char *path, struct tune_error *err)
{
    const char *folder = path[0] == '/' || strcmp(logbook->folder, ".") == 0 ? "" : logbook->folder;
    const size_t width = strlen(folder);
    const char *slash = width && folder[width - 1] != '/' ? "/" : "";
    const int length = snprintf(out, TUNE_PATH_LENGTH, "%s%s%s", folder, slash, path);
    if (length >= 0 && length < TUNE_PATH_LENGTH) return TUNE_OK;
    out[0] = '\0';
    return too_long(path, err);
}
