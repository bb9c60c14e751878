/* job.c - what is asked of the chain.  SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/job.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

struct tune_job tune_job_defaults(const char *logbook)
{
    const struct tune_job job = {.logbook = logbook};
    return job;
}

/* Length of the folder part when the job names the axis.ini itself. */
static size_t logbook_folder_length(const char *path)
{
    struct stat info;
    const char *slash = strrchr(path, '/');
    if (stat(path, &info) != 0 || S_ISDIR(info.st_mode)) return strlen(path);
    return slash ? (size_t)(slash - path) : 0;
}

enum tune_status tune_job_folder(char out[TUNE_PATH_LENGTH], const struct tune_job *job,
                                 struct tune_error *err)
{
    size_t length;
    int written;
    if (job->out) {
        written = snprintf(out, TUNE_PATH_LENGTH, "%s", job->out);
    } else {
        length = logbook_folder_length(job->logbook);
        while (length > 1 && job->logbook[length - 1] == '/')
            length--;
        written = snprintf(out, TUNE_PATH_LENGTH, "%.*s%sresults", (int)length, job->logbook,
                           length ? "/" : "");
    }
    if (written < 0 || written >= TUNE_PATH_LENGTH || !*out)
        return tune_error_set(err, TUNE_EINVAL, "the name of the output folder is %s",
                              *out ? "too long" : "empty");
    return TUNE_OK;
}
