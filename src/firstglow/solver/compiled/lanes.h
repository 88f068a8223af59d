/* LANES samples side by side, and what both kernels do with them. */
#ifndef LANES_H
#define LANES_H
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define LANES 8
typedef double lane[LANES];

/* lanes never depend on each other */
#define EACH(b) _Pragma("omp simd simdlen(8)") for (int b = 0; b < LANES; b++)
#define INLINE inline __attribute__((always_inline))
#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__)
/* once for each kind of processor; the machine that runs it chooses */
#define CLONES __attribute__((target_clones("avx512f", "avx2", "default")))
#else
#define CLONES
#endif

#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__)
/* glibc has these for all lanes at once (libmvec), right to 4 units of the last digit */
extern double exp(double) __attribute__((simd("notinbranch")));
extern double log(double) __attribute__((simd("notinbranch")));
#endif

static inline lane *lanes(int64_t rows) {
    void *memory = NULL;
    return posix_memalign(&memory, 64, sizeof(lane) * (size_t)(rows > 0 ? rows : 1)) ? NULL : memory;
}

/* Cube root of a number that is not negative, without a branch, so that it goes on all lanes at once: a third of the
 * exponent (within 3 %, the constant of FreeBSD's cbrt), then Halley's step twice: 6e-6, then the last digit. */
static INLINE double cube_root(double x) {
    union { double d; uint64_t i; } u = {x}, t;
    t.i = (((u.i >> 32) * 0xAAAAAAABull >> 33) + 715094163u) << 32; /* that product shifted is a third */
    double y = t.d;
    for (int n = 0; n < 2; n++) {
        double cube = y * y * y;
        y *= (cube + 2.0 * x) / (2.0 * cube + x);
    }
    return x > 0.0 ? y : x;
}
#endif
