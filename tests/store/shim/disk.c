/* A disk that fails at a given moment, for one program: loaded before the C library (LD_PRELOAD).
 *
 * DISK_FILE   only files whose path holds this (the path of DISK_LOG must not)
 * DISK_CALL   sync (of a file), folder (sync of a folder), or write: which calls are counted
 * DISK_NTH    which of them fails, counted from 1
 * DISK_TIMES  how many of them fail from there on, 1 if not set
 * DISK_HOW    eio     it fails with EIO
 *             enospc  it fails with ENOSPC
 *             short   half of it is written, the next one fails with ENOSPC
 *             slow    every one takes DISK_MS longer, none fails
 * DISK_LOG    a file to which one letter is written for each counted call: `.`, or `!` for one that fails
 */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static atomic_int calls;
static atomic_int full;

static const char *setting(const char *name) {
    const char *value = getenv(name);
    return value ? value : "";
}

static int counts(int fd, const char *call) {
    char link[64], path[4096];
    if (strcmp(setting("DISK_CALL"), call) != 0) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return strstr(path, setting("DISK_FILE")) != NULL;
}

static void note(const char *letter) {
    int log = open(setting("DISK_LOG"), O_WRONLY | O_APPEND);
    if (log < 0) return;
    if (write(log, letter, 1) < 0) abort();
    close(log);
}

/* Whether this call, the next one that is counted, is to fail. */
static int fails(void) {
    int nth = atoi(setting("DISK_NTH")), times = atoi(setting("DISK_TIMES")), now = atomic_fetch_add(&calls, 1) + 1;
    int failing = nth > 0 && now >= nth && now < nth + (times > 0 ? times : 1);
    if (strcmp(setting("DISK_HOW"), "slow") == 0) {
        long ms = atol(setting("DISK_MS"));
        struct timespec wait = {ms / 1000, ms % 1000 * 1000000};
        nanosleep(&wait, NULL);
        note(".");
        return 0;
    }
    note(failing ? "!" : ".");
    return failing;
}

static int error(void) {
    return strcmp(setting("DISK_HOW"), "eio") == 0 ? EIO : ENOSPC;
}

static int sync_file(int fd, const char *name) {
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, name);
    struct stat file;
    int folder = fstat(fd, &file) == 0 && S_ISDIR(file.st_mode);
    if (counts(fd, folder ? "folder" : "sync") && fails()) {
        errno = error();
        return -1;
    }
    return real(fd);
}

int fsync(int fd) { return sync_file(fd, "fsync"); }
int fdatasync(int fd) { return sync_file(fd, "fdatasync"); }

/* How many bytes may be written; negative if none and errno is set. */
static ssize_t allowed(int fd, size_t length) {
    if (!counts(fd, "write")) return (ssize_t)length;
    if (atomic_exchange(&full, 0)) {
        errno = ENOSPC;
        return -1;
    }
    if (!fails()) return (ssize_t)length;
    if (strcmp(setting("DISK_HOW"), "short") == 0 && length > 1) {
        atomic_store(&full, 1);
        return (ssize_t)(length / 2);
    }
    errno = error();
    return -1;
}

ssize_t write(int fd, const void *bytes, size_t length) {
    ssize_t (*real)(int, const void *, size_t) = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    ssize_t may = allowed(fd, length);
    return may < 0 ? may : real(fd, bytes, (size_t)may);
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t at) {
    ssize_t (*real)(int, const void *, size_t, off64_t) =
        (ssize_t(*)(int, const void *, size_t, off64_t))dlsym(RTLD_NEXT, "pwrite64");
    ssize_t may = allowed(fd, length);
    return may < 0 ? may : real(fd, bytes, (size_t)may, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t at) { return pwrite64(fd, bytes, length, at); }
