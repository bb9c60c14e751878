/* sky.c - the line of sight beside what the encoder shows.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "html.h"
#include "sections.h"

/* The jitter the logbook allows, where it speaks of the encoder; NAN: it does not. */
static double encoder_limit_arcsec(const struct report *report)
{
    const struct tune_requirement *requirement = &report->logbook->requirement;
    if (requirement->jitter_of_sky || (report->forecast && report->forecast->jitter_of_sky))
        return (double)NAN;
    return requirement->jitter_rms_arcsec > 0.0 ? requirement->jitter_rms_arcsec : (double)NAN;
}

/* The log in which the line of sight moved most, or NULL. */
static const struct tune_verified_log *worst_measured(const struct report *report)
{
    const struct tune_verified_log *worst = NULL;
    for (size_t i = 0; report->verification && i < report->verification->n_logs; i++) {
        const struct tune_verified_log *log = &report->verification->log[i];
        if (isfinite(log->sky_rms_arcsec) &&
            (!worst || log->sky_rms_arcsec > worst->sky_rms_arcsec))
            worst = log;
    }
    return worst;
}

bool report_only_at_encoder(const struct report *report)
{
    const double limit = encoder_limit_arcsec(report);
    const struct tune_verified_log *worst = worst_measured(report);
    if (worst && worst->sky_rms_arcsec > limit) return true;
    for (size_t k = 0; report->forecast && k < report->forecast->n_pointings; k++)
        if (report->forecast->pointing[k].sky_rms_arcsec > limit) return true;
    return false;
}

void part_measured_sky(struct buffer *html, const struct report *report)
{
    const struct tune_verified_log *worst = worst_measured(report);
    if (!worst) return;
    buffer_format(html,
                  "<p>Measured, the line of sight moved by <strong>%.3g arcsec rms</strong> in the "
                  "log ",
                  worst->sky_rms_arcsec);
    buffer_escape(html, worst->name);
    buffer_format(html, ", the encoder by %.3g", worst->measured_rms_arcsec);
    if (worst->sky_rms_arcsec > encoder_limit_arcsec(report))
        buffer_format(html, "; the limit of %.4g is stated for the encoder",
                      encoder_limit_arcsec(report));
    buffer_add(html, ".</p>\n");
}
