/* probe_report.c - the page of the hand-made results on standard output, for report_test.py.
 * Arguments: a folder for the files, and a text that replaces every user text (none: decent ones).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/sample.h"

int main(int argc, char **argv)
{
    struct sample *sample = calloc(1, sizeof *sample);
    struct buffer html = {0};
    struct tune_error err;
    int code = 0;
    if (argc < 2 || !sample) return 2;
    sample_fill(sample, argv[1], argc > 2 ? argv[2] : NULL);
    if (report_build(&html, &sample->report, NULL, &err)) {
        (void)fprintf(stderr, "%s: %s\n", err.file, err.text);
        code = 1;
    } else if (fwrite(html.bytes, 1, html.size, stdout) != html.size) {
        code = 2;
    }
    buffer_free(&html);
    free(sample);
    return code;
}
