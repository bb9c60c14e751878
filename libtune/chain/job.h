/* job.h - what is asked of the chain: which logbook, which logs, whose gains, where the answers go.
 *
 * Every command is one function tune_chain_COMMAND(): logs in, a result struct out, its files written.
 * A command does the earlier steps it needs itself. An earlier result is taken again only when
 * schema, version, options and the hashes of its inputs agree; else it is made anew, and the note
 * callback is told so.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef TUNE_JOB_H
#define TUNE_JOB_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"
#include "core/watch.h"
#include "logbook/logbook.h"

/* Start from tune_job_defaults(); only logbook is required. Strings are read, never kept. */
struct tune_job {
    const char *logbook;    /* folder or its axis.ini */
    const char *out;        /* output folder; NULL: results/ in the logbook */
    const char *controller; /* file of gains; NULL: the usual order */
    const char *const *log; /* [n_logs] only these logs; none: all */
    size_t n_logs;
    const char *const *pointing; /* [n_pointings] only these pointings; none: all */
    size_t n_pointings;
    const char *const
        *accept; /* [n_accepts] findings (tune_finding_name) that shall not stop the work */
    size_t n_accepts;
    const char *evaluate; /* design: judge the gains of this file, propose nothing; NULL: propose */
    bool bold;      /* design: recommend the least jitter, not the calmest gains that keep it */
    bool bound;     /* design: also the least jitter of any linear controller, slow */
    bool as_before; /* design: bold and bound as of the design that is there already, too */
    size_t modes;   /* resonances within the band at every pointing; 0: as many as the data show */
    size_t threads; /* 0: as many as there are processors */
    const struct tune_watch *watch;
    /* one sentence for the person waiting, from the calling thread; may be NULL */
    void (*note)(void *user, const char *text);
    void *note_user;
};

TUNE_API struct tune_job tune_job_defaults(const char *logbook);

/* Where the answers go. TUNE_EINVAL when the name is too long. */
TUNE_API enum tune_status tune_job_folder(char out[TUNE_PATH_LENGTH], const struct tune_job *job,
                                          struct tune_error *err);

#endif
