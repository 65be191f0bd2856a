// Preloaded into the program under test (LD_PRELOAD): lets one call fail that reads or writes a
// file of the test, or one allocation, and counts such calls.
//   FAIL_UNDER   the test's folder: only files in it count, and only from the first of them on
//   FAIL_WHAT    files: open, read, write, sync and rename; memory: allocations
//   FAIL_AT      the call that fails, from 1; 0: none
//   FAIL_TOLD    a file outside that folder: how many calls there were, and what the failed one was
//
// The C library's stdio and libstdc++'s streams are covered where they are called: fopen, fread,
// fwrite, fflush, fclose; streams read and write through read, write and writev. What stdio itself
// writes is no call that can be caught: tests give it /dev/full.
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

#include <atomic>

extern "C" {
void* __libc_malloc(size_t);
void* __libc_calloc(size_t, size_t);
void* __libc_realloc(void*, size_t);
void* __libc_memalign(size_t, size_t);
}

namespace {

constexpr int kMostFiles = 4096;
enum class What { nothing, files, memory };

char under[PATH_MAX];
size_t under_size = 0;
What what = What::nothing;
long fail_at = 0;
std::atomic<bool> begun{false};
std::atomic<long> calls{0};
std::atomic<const char*> failed{"none"};
std::atomic<bool> ours[kMostFiles];

__attribute__((constructor)) void begin() {
    const char* folder = getenv("FAIL_UNDER");
    const char* kind = getenv("FAIL_WHAT");
    const char* at = getenv("FAIL_AT");
    if (!folder || !kind || !at || strlen(folder) >= sizeof under) return;
    strcpy(under, folder);
    under_size = strlen(folder);
    fail_at = atol(at);
    what = strcmp(kind, "memory") == 0 ? What::memory : What::files;
}

__attribute__((destructor)) void tell() {
    const char* told = getenv("FAIL_TOLD");
    if (!told || what == What::nothing) return;
    char text[96];
    const int size = snprintf(text, sizeof text, "%ld %s\n", calls.load(), failed.load());
    const long file = syscall(SYS_openat, AT_FDCWD, told, O_CREAT | O_TRUNC | O_WRONLY, 0644);
    if (file < 0) return;
    syscall(SYS_write, file, text, size_t(size));
    syscall(SYS_close, file);
}

bool isOurs(int file) {
    return file >= 0 && file < kMostFiles && ours[file];
}

bool isUnder(const char* path) {
    if (under_size == 0 || !path) return false;
    char whole[2 * PATH_MAX];
    if (path[0] != '/') {
        if (syscall(SYS_getcwd, whole, size_t(PATH_MAX)) < 0) return false;
        strcat(whole, "/");
        strncat(whole, path, PATH_MAX - 1);
        path = whole;
    }
    if (strncmp(path, under, under_size) != 0) return false;
    return path[under_size] == '/' || path[under_size] == '\0';
}

// Whether this call is the one that fails.
bool fails(What kind, const char* name, int error) {
    if (kind != what || (kind == What::memory && !begun)) return false;
    if (++calls != fail_at) return false;
    failed = name;
    errno = error;
    return true;
}

int opened(int file, bool is_ours) {
    if (file >= 0 && file < kMostFiles) ours[file] = is_ours;
    return file;
}

template <class Function>
Function next(const char* name) {
    return reinterpret_cast<Function>(dlsym(RTLD_NEXT, name));
}

// The names stay constant: the caller may be inside an allocation.
bool failsToOpen(const char* path, int flags) {
    if (!isUnder(path)) return false;
    begun = true;
    const bool writes = (flags & O_ACCMODE) != O_RDONLY;
    return fails(What::files, writes ? "open-to-write" : "open-to-read", writes ? ENOSPC : EIO);
}

int openAt(int folder, const char* path, int flags, mode_t mode) {
    if (failsToOpen(path, flags)) return -1;
    return opened(int(syscall(SYS_openat, folder, path, flags, mode)), isUnder(path));
}

FILE* openStream(const char* name, const char* path, const char* mode) {
    if (failsToOpen(path, strpbrk(mode, "wa+") ? O_WRONLY : O_RDONLY)) return nullptr;
    FILE* stream = next<FILE* (*)(const char*, const char*)>(name)(path, mode);
    if (stream) opened(fileno(stream), isUnder(path));
    return stream;
}

bool failsToWrite(int file) {
    return isOurs(file) && fails(What::files, "write", ENOSPC);
}
bool failsToRead(int file) {
    return isOurs(file) && fails(What::files, "read", EIO);
}

}  // namespace

extern "C" {

int open(const char* path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    const mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    return openAt(AT_FDCWD, path, flags, mode);
}
int open64(const char* path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    const mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    return openAt(AT_FDCWD, path, flags, mode);
}
FILE* fopen(const char* path, const char* mode) {
    return openStream("fopen", path, mode);
}
FILE* fopen64(const char* path, const char* mode) {
    return openStream("fopen64", path, mode);
}
DIR* opendir(const char* path) {
    if (isUnder(path) && fails(What::files, "open-to-read", EIO)) return nullptr;
    return next<DIR* (*)(const char*)>("opendir")(path);
}
int close(int file) {
    opened(file, false);
    return int(syscall(SYS_close, file));
}

ssize_t write(int file, const void* bytes, size_t size) {
    if (failsToWrite(file)) return -1;
    return syscall(SYS_write, file, bytes, size);
}
ssize_t pwrite(int file, const void* bytes, size_t size, off_t at) {
    if (failsToWrite(file)) return -1;
    return syscall(SYS_pwrite64, file, bytes, size, at);
}
ssize_t pwrite64(int file, const void* bytes, size_t size, off64_t at) {
    return pwrite(file, bytes, size, at);
}
ssize_t writev(int file, const iovec* parts, int count) {
    if (failsToWrite(file)) return -1;
    return syscall(SYS_writev, file, parts, count);
}
ssize_t read(int file, void* bytes, size_t size) {
    if (failsToRead(file)) return -1;
    return syscall(SYS_read, file, bytes, size);
}
ssize_t pread(int file, void* bytes, size_t size, off_t at) {
    if (failsToRead(file)) return -1;
    return syscall(SYS_pread64, file, bytes, size, at);
}
ssize_t pread64(int file, void* bytes, size_t size, off64_t at) {
    return pread(file, bytes, size, at);
}
ssize_t readv(int file, const iovec* parts, int count) {
    if (failsToRead(file)) return -1;
    return syscall(SYS_readv, file, parts, count);
}
int fsync(int file) {
    if (isOurs(file) && fails(What::files, "sync", EIO)) return -1;
    return int(syscall(SYS_fsync, file));
}
int fdatasync(int file) {
    if (isOurs(file) && fails(What::files, "sync", EIO)) return -1;
    return int(syscall(SYS_fdatasync, file));
}
int rename(const char* from, const char* to) {
    if (isUnder(to) && fails(What::files, "rename", EIO)) return -1;
    return int(syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, 0));
}

size_t fread(void* to, size_t size, size_t count, FILE* stream) {
    if (failsToRead(fileno(stream))) return 0;
    return next<size_t (*)(void*, size_t, size_t, FILE*)>("fread")(to, size, count, stream);
}
size_t fwrite(const void* from, size_t size, size_t count, FILE* stream) {
    if (failsToWrite(fileno(stream))) return 0;
    return next<size_t (*)(const void*, size_t, size_t, FILE*)>("fwrite")(from, size, count,
                                                                          stream);
}
int fflush(FILE* stream) {
    if (stream && failsToWrite(fileno(stream))) return EOF;
    return next<int (*)(FILE*)>("fflush")(stream);
}
int fclose(FILE* stream) {
    const int file = fileno(stream);
    const int status = next<int (*)(FILE*)>("fclose")(stream);
    opened(file, false);
    return status;
}

void* malloc(size_t size) {
    return fails(What::memory, "memory", ENOMEM) ? nullptr : __libc_malloc(size);
}
void* calloc(size_t count, size_t size) {
    return fails(What::memory, "memory", ENOMEM) ? nullptr : __libc_calloc(count, size);
}
void* realloc(void* old, size_t size) {
    return fails(What::memory, "memory", ENOMEM) ? nullptr : __libc_realloc(old, size);
}
void* memalign(size_t alignment, size_t size) {
    return fails(What::memory, "memory", ENOMEM) ? nullptr : __libc_memalign(alignment, size);
}
void* aligned_alloc(size_t alignment, size_t size) {
    return memalign(alignment, size);
}
int posix_memalign(void** to, size_t alignment, size_t size) {
    void* made = memalign(alignment, size);
    if (!made) return ENOMEM;
    *to = made;
    return 0;
}

}  // extern "C"
