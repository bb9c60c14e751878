/* file.c - files written whole or not at all.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "results/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { PATH_ROOM = 2048 };

static enum tune_status refuse(struct tune_error *err, const char *path, const char *what)
{
    tune_error_set(err, TUNE_EIO, "%s: %s", what, strerror(errno));
    tune_error_place(err, path, 0, 0);
    return TUNE_EIO;
}

/* The folder part of path with its slash: "" for a bare name. */
static size_t folder_length(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? (size_t)(slash - path) + 1 : 0;
}

/* A new file nobody else has, in the folder of path: rename() works within one file system only. */
static int open_part(char part[PATH_ROOM], const char *path)
{
    const size_t folder = folder_length(path);
    for (unsigned k = 0; k < 1000; k++) {
        const int length = snprintf(part, PATH_ROOM, "%.*s.%s.%ld-%u.part", (int)folder, path,
                                    path + folder, (long)getpid(), k);
        int file;
        if (length < 0 || length >= PATH_ROOM) {
            errno = ENAMETOOLONG;
            return -1;
        }
        file = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (file >= 0 || errno != EEXIST) return file;
    }
    return -1;
}

static bool write_all(int file, const char *bytes, size_t size)
{
    while (size > 0) {
        const ssize_t written = write(file, bytes, size);
        if (written < 0 && errno == EINTR) continue;
        if (written <= 0) return false;
        bytes += written;
        size -= (size_t)written;
    }
    return true;
}

/* The move itself is kept by the folder: without this a crash may bring the old file back. Some file
 * systems refuse to sync a folder; the file is whole all the same. */
static void sync_folder(const char *path)
{
    char folder[PATH_ROOM];
    const size_t length = folder_length(path);
    int handle;
    if (length >= sizeof folder) return;
    (void)snprintf(folder, sizeof folder, "%.*s", length ? (int)length : 1, length ? path : ".");
    handle = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (handle < 0) return;
    (void)fsync(handle);
    (void)close(handle);
}

enum tune_status tune_file_write(const char *path, const void *bytes, size_t size,
                                 struct tune_error *err)
{
    char part[PATH_ROOM];
    const int file = open_part(part, path);
    bool good;
    int cause;

    if (file < 0) return refuse(err, path, "cannot write");
    good = write_all(file, bytes, size) && fsync(file) == 0;
    cause = errno;
    if (close(file) != 0 && good) {
        good = false;
        cause = errno;
    }
    if (good && rename(part, path) != 0) {
        good = false;
        cause = errno;
    }
    if (!good) {
        (void)unlink(part);
        errno = cause;
        return refuse(err, path, "cannot write");
    }
    sync_folder(path);
    return TUNE_OK;
}

/* Grows as it reads: the size of what is no plain file is not known beforehand. */
static enum tune_status read_all(char **bytes, size_t *size, FILE *file, const char *path,
                                 struct tune_error *err)
{
    size_t room = 1 << 16, got;
    char *buffer = malloc(room);
    *size = 0;
    while (buffer && (got = fread(buffer + *size, 1, room - *size - 1, file)) > 0) {
        char *larger = buffer;
        *size += got;
        if (room - *size - 1 == 0) larger = realloc(buffer, room *= 2);
        if (!larger) free(buffer);
        buffer = larger;
    }
    if (!buffer) return tune_error_memory(err, "reading a file");
    if (ferror(file)) {
        free(buffer);
        return refuse(err, path, "cannot read");
    }
    buffer[*size] = '\0';
    *bytes = buffer;
    return TUNE_OK;
}

enum tune_status tune_file_read(char **bytes, size_t *size, const char *path,
                                struct tune_error *err)
{
    FILE *file = fopen(path, "rb");
    enum tune_status status;
    *bytes = NULL;
    *size = 0;
    if (!file) return refuse(err, path, "cannot open");
    status = read_all(bytes, size, file, path, err);
    (void)fclose(file);
    if (status) *size = 0;
    return status;
}

/* ---- folders ------------------------------------------------------------------------------------*/

enum tune_status tune_folder_make(const char *path, struct tune_error *err)
{
    char part[PATH_ROOM];
    struct stat info;
    const size_t length = strlen(path);

    if (length == 0 || length >= sizeof part)
        return tune_error_set(err, TUNE_EINVAL, "the name of the folder is %s",
                              length ? "too long" : "empty");
    memcpy(part, path, length + 1);
    for (size_t i = 1; i <= length; i++) {
        if (part[i] != '/' && part[i] != '\0') continue;
        const char kept = part[i];
        part[i] = '\0';
        const int cause = mkdir(part, 0777) != 0 ? errno : 0;
        if (cause && cause != EEXIST && stat(part, &info) != 0) {
            errno = cause; /* not what stat() says of a folder that could not be made */
            return refuse(err, part, "cannot make the folder");
        }
        part[i] = kept;
    }
    if (stat(path, &info) != 0) return refuse(err, path, "cannot make the folder");
    if (S_ISDIR(info.st_mode)) return TUNE_OK;
    errno = ENOTDIR;
    return refuse(err, path, "cannot make the folder");
}

enum tune_status tune_folder_check(const char *path, struct tune_error *err)
{
    char part[PATH_ROOM];
    struct stat info;
    size_t length = strlen(path);
    if (length == 0 || length >= sizeof part)
        return tune_error_set(err, TUNE_EINVAL, "the name of the folder is %s",
                              length ? "too long" : "empty");
    memcpy(part, path, length + 1);
    while (stat(part, &info) != 0) {
        if (errno != ENOENT) return refuse(err, part, "cannot make the folder");
        char *slash = strrchr(part, '/');
        if (!slash)
            (void)strcpy(part, ".");
        else if (slash == part)
            part[1] = '\0';
        else
            *slash = '\0';
    }
    errno = ENOTDIR;
    if (S_ISDIR(info.st_mode) && access(part, W_OK | X_OK) == 0) return TUNE_OK;
    return refuse(err, part, "cannot write into the folder");
}

static void nap(void)
{
    const struct timespec tenth = {.tv_sec = 0, .tv_nsec = 100000000};
    (void)nanosleep(&tenth, NULL);
}

/* The folder itself is locked, so that no lock file is left behind; the system drops the lock with the
 * program, however it ends. */
enum tune_status tune_folder_lock(int *lock, const char *folder, double wait_s,
                                  struct tune_error *err)
{
    *lock = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (*lock < 0) return refuse(err, folder, "cannot open the folder");
    for (double waited_s = 0.0; flock(*lock, LOCK_EX | LOCK_NB) != 0; waited_s += 0.1) {
        if (errno == EINTR) continue;
        if (errno != EWOULDBLOCK) return TUNE_OK; /* a file system without locks */
        if (waited_s >= wait_s) {
            (void)close(*lock);
            *lock = -1;
            tune_error_set(err, TUNE_EIO,
                           "another program is writing into this folder; let it end and try again");
            tune_error_place(err, folder, 0, 0);
            return TUNE_EIO;
        }
        nap();
    }
    return TUNE_OK;
}

void tune_folder_release(int lock)
{
    if (lock >= 0) (void)close(lock);
}
