/* plot.c - gnuplot in a private folder.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "plot.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "plots_embedded.h"

enum { FOLDER_LENGTH = 512, PATH_ROOM = FOLDER_LENGTH + 32, SVG_MOST = 32 << 20 };

static const char common_file[] = "common.gp", script_file[] = "script.gp";
static const char picture_file[] = "plot.svg", words_file[] = "words.txt";

const char *plot_embedded(const char *name)
{
    for (const struct embedded_plot *plot = embedded_plots; plot->name; plot++)
        if (strcmp(plot->name, name) == 0) return plot->text;
    return NULL;
}

static void join(char path[PATH_ROOM], const char *folder, const char *name)
{
    (void)snprintf(path, PATH_ROOM, "%s/%s", folder, name);
}

static enum tune_status make_folder(char folder[FOLDER_LENGTH], struct tune_error *err)
{
    /* only an absolute name: gnuplot gives a leading '<' or '~' a meaning of its own */
    const char *parent = getenv("TMPDIR");
    int length;
    if (!parent || parent[0] != '/') parent = "/tmp";
    length = snprintf(folder, FOLDER_LENGTH, "%s/quietaxis-XXXXXX", parent);
    if (length < 0 || length >= FOLDER_LENGTH)
        return tune_error_set(err, TUNE_EIO, "the name in TMPDIR is too long for a folder");
    if (mkdtemp(folder)) return TUNE_OK;
    return tune_error_set(err, TUNE_EIO, "cannot make a folder in %s for the plots: %s", parent,
                          strerror(errno));
}

static enum tune_status write_file(const char *folder, const char *name, const char *bytes,
                                   size_t size, struct tune_error *err)
{
    char path[PATH_ROOM];
    FILE *file;
    bool bad;
    join(path, folder, name);
    file = fopen(path, "wbx");
    bad = !file || fwrite(bytes, 1, size, file) != size;
    if (file && fclose(file) != 0) bad = true;
    if (!bad) return TUNE_OK;
    return tune_error_set(err, TUNE_EIO, "cannot write %s: %s", path, strerror(errno));
}

static enum tune_status lay_out(const char *folder, const char *script,
                                const struct plot_file *files, size_t n_files,
                                struct tune_error *err)
{
    const char *common = plot_embedded(common_file), *text = plot_embedded(script);
    enum tune_status status;
    if (!common || !text)
        return tune_error_set(err, TUNE_EINVAL, "no plot script %s in this program", script);
    status = write_file(folder, common_file, common, strlen(common), err);
    if (!status) status = write_file(folder, script_file, text, strlen(text), err);
    for (size_t i = 0; !status && i < n_files; i++) {
        if (files[i].text.failed) return tune_error_memory(err, "preparing a plot");
        status = write_file(folder, files[i].name, files[i].text.bytes ? files[i].text.bytes : "",
                            files[i].text.size, err);
    }
    return status;
}

static void clear_away(const char *folder, const struct plot_file *files, size_t n_files)
{
    const char *const own[] = {common_file, script_file, picture_file, words_file};
    char path[PATH_ROOM];
    for (size_t i = 0; i < n_files; i++) {
        join(path, folder, files[i].name);
        (void)unlink(path);
    }
    for (size_t i = 0; i < sizeof own / sizeof *own; i++) {
        join(path, folder, own[i]);
        (void)unlink(path);
    }
    (void)rmdir(folder);
}

static enum tune_status not_installed(struct tune_error *err)
{
    return tune_error_set(err, TUNE_EIO,
                          "gnuplot was not found, and the report draws its plots with it: install "
                          "it (Debian: apt-get install gnuplot-nox) and run report again");
}

/* Its words go to a file of the folder; no input, no other output. */
static int spawn(pid_t *child, const char *words, char *const *argument, char *const *environment)
{
    posix_spawn_file_actions_t actions;
    int failure = posix_spawn_file_actions_init(&actions);
    if (failure) return failure;
    failure = posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
    if (!failure) failure = posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
    if (!failure)
        failure = posix_spawn_file_actions_addopen(&actions, 2, words, O_WRONLY | O_CREAT | O_TRUNC,
                                                   0600);
    if (!failure) failure = posix_spawnp(child, argument[0], &actions, NULL, argument, environment);
    (void)posix_spawn_file_actions_destroy(&actions);
    return failure;
}

static enum tune_status start(pid_t *child, char *folder, struct tune_error *err)
{
    char script[PATH_ROOM], words[PATH_ROOM], home[PATH_ROOM + 8];
    char program[] = "gnuplot", quiet[] = "-d", call[] = "-c", locale[] = "LC_ALL=C.UTF-8";
    char *const argument[] = {program, quiet, call, script, folder, NULL};
    const char *found = getenv("PATH");
    struct buffer path = {0};
    int failure = ENOMEM;
    join(script, folder, script_file);
    join(words, folder, words_file);
    (void)snprintf(home, sizeof home, "HOME=%s", folder);
    buffer_format(&path, "PATH=%s", found ? found : "/usr/local/bin:/usr/bin:/bin");
    if (!path.failed) {
        char *const environment[] = {path.bytes, home, locale, NULL};
        failure = spawn(child, words, argument, environment);
    }
    buffer_free(&path);
    if (failure == ENOENT) return not_installed(err);
    if (failure == ENOMEM) return tune_error_memory(err, "starting gnuplot");
    if (failure)
        return tune_error_set(err, TUNE_EIO, "cannot start gnuplot: %s", strerror(failure));
    return TUNE_OK;
}

/* Wait, at most timeout_s; a child that takes longer is killed and reaped. */
static enum tune_status await(int *outcome, pid_t child, double timeout_s, struct tune_error *err)
{
    const struct timespec nap = {0, 5000000};
    struct timespec begin, now;
    (void)clock_gettime(CLOCK_MONOTONIC, &begin);
    for (;;) {
        const pid_t got = waitpid(child, outcome, WNOHANG);
        if (got == child) return TUNE_OK;
        if (got < 0 && errno != EINTR)
            return tune_error_set(err, TUNE_EIO, "cannot wait for gnuplot: %s", strerror(errno));
        (void)clock_gettime(CLOCK_MONOTONIC, &now);
        if ((double)(now.tv_sec - begin.tv_sec) + 1e-9 * (double)(now.tv_nsec - begin.tv_nsec) >
            timeout_s)
            break;
        (void)nanosleep(&nap, NULL);
    }
    (void)kill(child, SIGKILL);
    while (waitpid(child, outcome, 0) < 0 && errno == EINTR)
        continue;
    return tune_error_set(err, TUNE_EIO, "gnuplot took longer than %g s and was stopped",
                          timeout_s);
}

static enum tune_status read_file(struct buffer *out, const char *folder, const char *name,
                                  struct tune_error *err)
{
    char path[PATH_ROOM], block[16384];
    size_t got, total = 0;
    FILE *file;
    join(path, folder, name);
    file = fopen(path, "rb");
    if (!file) return tune_error_set(err, TUNE_EIO, "gnuplot left no %s", name);
    while (total <= SVG_MOST && (got = fread(block, 1, sizeof block, file)) > 0) {
        buffer_add_bytes(out, block, got);
        total += got;
    }
    (void)fclose(file);
    if (out->failed) return tune_error_memory(err, "reading a plot");
    if (total > SVG_MOST) return tune_error_set(err, TUNE_EIO, "gnuplot wrote over 32 MB");
    return TUNE_OK;
}

/* What gnuplot said on its error output, cut to one sentence's length. */
static enum tune_status said_no(const char *folder, int outcome, struct tune_error *err)
{
    struct buffer words = {0};
    enum tune_status status;
    /* what the person at the keyboard ends reaches gnuplot too */
    if (WIFSIGNALED(outcome) && (WTERMSIG(outcome) == SIGINT || WTERMSIG(outcome) == SIGTERM))
        return tune_error_set(err, TUNE_ECANCELLED, "cancelled while a plot was drawn");
    if (WIFSIGNALED(outcome))
        return tune_error_set(err, TUNE_EIO, "gnuplot was ended by signal %d", WTERMSIG(outcome));
    if (WEXITSTATUS(outcome) == 127) return not_installed(err);
    (void)read_file(&words, folder, words_file, NULL);
    for (size_t i = 0; i < words.size; i++)
        if ((unsigned char)words.bytes[i] < ' ') words.bytes[i] = ' ';
    status = tune_error_set(err, TUNE_EIO, "gnuplot ended with status %d and said: %.300s",
                            WEXITSTATUS(outcome), words.bytes ? words.bytes : "nothing");
    buffer_free(&words);
    return status;
}

/* A picture cut short (a full disk) must not reach the report. */
static enum tune_status check_whole(const struct buffer *svg, size_t from, struct tune_error *err)
{
    static const char head[] = "<?xml", tail[] = "</svg>";
    size_t end = svg->size;
    while (end > from && strchr(" \r\n\t", svg->bytes[end - 1]))
        end--;
    if (end - from > sizeof head + sizeof tail &&
        memcmp(svg->bytes + from, head, sizeof head - 1) == 0 &&
        memcmp(svg->bytes + end - (sizeof tail - 1), tail, sizeof tail - 1) == 0)
        return TUNE_OK;
    return tune_error_set(err, TUNE_EIO, "gnuplot did not finish its picture (is the disk full?)");
}

enum tune_status plot_draw(struct buffer *svg, const char *script, const struct plot_file *files,
                           size_t n_files, double timeout_s, struct tune_error *err)
{
    char folder[FOLDER_LENGTH];
    const size_t from = svg->size;
    int outcome = 0;
    pid_t child = 0;
    enum tune_status status = make_folder(folder, err);
    if (status) return status;
    status = lay_out(folder, script, files, n_files, err);
    if (!status) status = start(&child, folder, err);
    if (!status) status = await(&outcome, child, timeout_s, err);
    if (!status && (!WIFEXITED(outcome) || WEXITSTATUS(outcome)))
        status = said_no(folder, outcome, err);
    if (!status) status = read_file(svg, folder, picture_file, err);
    if (!status) status = check_whole(svg, from, err);
    clear_away(folder, files, n_files);
    return status;
}
