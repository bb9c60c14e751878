/* bench_read.c - how fast a log is read, against numpy.loadtxt of the same file in the same run, and
 * how much memory either takes.
 *
 * Throughput is bytes of the file over processor time of one thread, best of seven runs; each run is
 * a process of its own, so that its peak memory (ru_maxrss of wait4) is its own. The digits are those
 * of `quietaxis simulate`.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#define _DEFAULT_SOURCE /* wait4, mkdtemp */
#include <inttypes.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#include <zlib.h>

#include "bench.h"
#include "core/random.h"
#include "core/units.h"
#include "record/record.h"

enum { LOG_BYTES = 200000000, RUNS = 7, RATE = 4000, COLUMNS = 5, LINE = 256 };

/* What one process said of its work, and what it took. */
struct outcome {
    double seconds;
    double rows, bytes; /* bytes: what came out of the unpacker */
    uint64_t bits;      /* exclusive or of the bits of every excitation and torque */
    double peak;        /* bytes */
};

static _Noreturn void give_up(const char *what)
{
    (void)fprintf(stderr, "bench_read: %s\n", what);
    exit(2);
}

/* ---- the log -------------------------------------------------------------------------------------*/

static void write_log(const char *path, const char *packed_path)
{
    FILE *file = fopen(path, "w");
    gzFile packed = gzopen(packed_path, "wb6");
    struct tune_random rng;
    char line[LINE];
    int length = snprintf(line, sizeof line,
                          "time_s,excitation_nm,torque_nm,position_arcsec,target_arcsec\n");
    long written = 0;
    if (!file || !packed) give_up("cannot write a log into TMPDIR");
    tune_random_init(&rng, 1, 0);
    for (long i = 0; written < LOG_BYTES; i++) {
        const double t = (double)i / RATE, target = -75749.85 + 15.0 * t;
        const double excitation = i < 5L * RATE ? 0.0 : 60.0 * sin(0.3 * t * t);
        if (fwrite(line, 1, (size_t)length, file) != (size_t)length) give_up("the disk is full");
        (void)gzwrite(packed, line, (unsigned)length);
        written += length;
        length = snprintf(line, sizeof line, "%.9f,%.9g,%.9g,%.6f,%.6f\n", t, excitation,
                          excitation + 12.0 * tune_random_normal(&rng),
                          target + 2.0 * tune_random_normal(&rng), target);
    }
    if (fclose(file) != 0 || gzclose(packed) != Z_OK) give_up("the disk is full");
}

/* ---- what is timed, each in a process of its own -------------------------------------------------*/

static void fold(uint64_t *bits, const double *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        uint64_t word;
        memcpy(&word, &x[i], sizeof word);
        *bits ^= word;
    }
}

static void read_log(const char *path)
{
    const struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err;
    uint64_t bits = 0;
    const double start = seconds();
    if (tune_record_read(&rec, path, &opts, &err)) give_up(err.text);
    const double time = seconds() - start;
    fold(&bits, rec.channel[TUNE_ROLE_EXCITATION], rec.n);
    fold(&bits, rec.channel[TUNE_ROLE_TORQUE], rec.n);
    printf("%.9f %zu 0 %" PRIu64 "\n", time, rec.n, bits);
    tune_record_free(&rec);
}

static void unpack_log(const char *path)
{
    static unsigned char in[1 << 16], out[1 << 18];
    FILE *file = fopen(path, "rb");
    z_stream z = {0};
    double bytes = 0.0;
    int code = Z_OK;
    const double start = seconds();
    if (!file || inflateInit2(&z, 15 + 16) != Z_OK) give_up("cannot unpack");
    while (code == Z_OK) {
        if (!z.avail_in) {
            z.avail_in = (unsigned)fread(in, 1, sizeof in, file);
            z.next_in = in;
        }
        z.next_out = out;
        z.avail_out = sizeof out;
        code = inflate(&z, Z_NO_FLUSH);
        bytes += (double)(sizeof out - z.avail_out);
    }
    printf("%.9f 0 %.0f 0\n", seconds() - start, bytes);
    (void)inflateEnd(&z);
    (void)fclose(file);
}

/* ---- running them --------------------------------------------------------------------------------*/

static const char loadtxt[] =
    "import numpy, sys, time\n"
    "start = time.process_time()\n"
    "a = numpy.loadtxt(sys.argv[1], delimiter=',', skiprows=1)\n"
    "took = time.process_time() - start\n"
    "print(took, len(a), 0, numpy.bitwise_xor.reduce(numpy.bitwise_xor.reduce(\n"
    "    a.view('u8')[:, 1:3])))\n";

static const char itself[] = "/proc/self/exe";

static _Noreturn void become(const char *what, const char *path)
{
    /* settings that choose kernels of a library would not be those of a plain user */
    (void)unsetenv("OPENBLAS_CORETYPE");
    (void)unsetenv("OPENBLAS_L2_SIZE");
    if (strcmp(what, "numpy") == 0)
        (void)execl("/usr/bin/python3", "python3", "-c", loadtxt, path, (char *)NULL);
    else
        (void)execl(itself, "bench_read", what, path, (char *)NULL);
    _exit(2);
}

static struct outcome run(const char *what, const char *path)
{
    struct outcome outcome = {0};
    struct rusage usage;
    char said[LINE];
    int ends[2], code = 0;
    if (pipe(ends) != 0) give_up("no pipe");
    (void)fflush(stdout);
    const pid_t child = fork();
    if (child < 0) give_up("no process");
    if (child == 0) {
        (void)dup2(ends[1], STDOUT_FILENO);
        (void)close(ends[0]);
        become(what, path);
    }
    (void)close(ends[1]);
    FILE *answer = fdopen(ends[0], "r");
    if (!answer || !fgets(said, sizeof said, answer)) give_up(what);
    (void)fclose(answer);
    if (sscanf(said, "%lf %lf %lf %" SCNu64, &outcome.seconds, &outcome.rows, &outcome.bytes,
               &outcome.bits) != 4 ||
        wait4(child, &code, 0, &usage) != child || code != 0)
        give_up(what);
    outcome.peak = 1024.0 * (double)usage.ru_maxrss;
    return outcome;
}

/* The faster one of two, with the larger peak. */
static struct outcome better(struct outcome a, struct outcome b)
{
    if (b.seconds < a.seconds) a.seconds = b.seconds;
    if (b.peak > a.peak) a.peak = b.peak;
    return a;
}

/* arrays: bytes of all numbers of the file, or of those that the record keeps */
static void tell(const char *what, const struct outcome *o, double bytes, double rows)
{
    const double all = 8.0 * COLUMNS * rows, kept = 8.0 * (COLUMNS - 1) * rows;
    printf("%-34s %8.1f MB/s  %7.3f s", what, bytes / o->seconds / 1e6, o->seconds);
    if (rows > 0.0)
        printf("  peak %6.1f MB = %.3f of the numbers in the file, %.3f of those kept",
               o->peak / 1e6, o->peak / all, o->peak / kept);
    printf("\n");
}

/* All take turns, so that what else the machine does falls on each alike. */
static void compare(const char *path, const char *packed_path)
{
    struct outcome ours = run("read", path), numpy = run("numpy", path);
    struct outcome packed = run("read", packed_path), inflated = run("inflate", packed_path);
    for (int i = 1; i < RUNS; i++) {
        ours = better(ours, run("read", path));
        numpy = better(numpy, run("numpy", path));
        packed = better(packed, run("read", packed_path));
        inflated = better(inflated, run("inflate", packed_path));
    }
    printf("%d MB, %.0f rows of %d columns; best of %d, processor time of one thread\n",
           LOG_BYTES / 1000000, ours.rows, COLUMNS, RUNS);
    tell("tune_record_read", &ours, LOG_BYTES, ours.rows);
    tell("numpy.loadtxt", &numpy, LOG_BYTES, numpy.rows);
    printf("%-34s %8.2f times numpy.loadtxt; %s\n", "ratio", numpy.seconds / ours.seconds,
           ours.bits == numpy.bits && ours.rows == numpy.rows
               ? "the same rows and the same bits of excitation and torque"
               : "THE NUMBERS DIFFER");
    tell("tune_record_read, gzip", &packed, inflated.bytes, packed.rows);
    tell("zlib inflate alone", &inflated, inflated.bytes, 0.0);
    if (ours.bits != numpy.bits || ours.bits != packed.bits) give_up("the numbers differ");
}

int main(int argc, char **argv)
{
    const char *parent = getenv("TMPDIR");
    char folder[LINE], path[LINE + 16], packed_path[LINE + 16];
    if (argc == 3 && strcmp(argv[1], "read") == 0) return read_log(argv[2]), 0;
    if (argc == 3 && strcmp(argv[1], "inflate") == 0) return unpack_log(argv[2]), 0;
    (void)snprintf(folder, sizeof folder, "%s/bench-read-XXXXXX", parent ? parent : "/tmp");
    if (!mkdtemp(folder)) give_up("cannot make a folder in TMPDIR");
    (void)snprintf(path, sizeof path, "%s/log.csv", folder);
    (void)snprintf(packed_path, sizeof packed_path, "%s/log.csv.gz", folder);
    write_log(path, packed_path);
    compare(path, packed_path);
    (void)unlink(path);
    (void)unlink(packed_path);
    (void)rmdir(folder);
    return 0;
}
