/* Straight-line elimination of many matrices of one pattern: what ``solver/elimination.py`` does with one numpy call an
 * operation. GROUP samples at a time are copied beside each other, so that the whole program runs in the processor's own memory.
 *
 * The program, of 32-bit numbers: pivots, then of each pivot row, diagonal slot, how many below, (row, slot) of each, how many right,
 * (column, slot) of each, how many updates, (target, multiplier, factor) of each.
 */
#include <float.h>
#include <math.h>

#include "lanes.h"

#define GROUP 32

typedef double group[GROUP];
/* one number of each sample; of complex ones all real parts, then all imaginary ones */
typedef struct {
    group *re, *im;
} Numbers;

#define EACH_OF_GROUP(b) _Pragma("omp simd simdlen(8)") for (int b = 0; b < GROUP; b++)

static INLINE void reciprocal(Numbers a, int64_t k, int complex) {
    double *re = a.re[k];
    if (!complex) {
        EACH_OF_GROUP(b)
            re[b] = 1.0 / re[b];
        return;
    }
    double *im = a.im[k];
    EACH_OF_GROUP(b) {
        double square = re[b] * re[b] + im[b] * im[b];
        re[b] /= square;
        im[b] = -im[b] / square;
    }
}

/* x = x * y */
static INLINE void multiply(Numbers a, int64_t x, Numbers c, int64_t y, int complex) {
    double *re = a.re[x];
    const double *by = c.re[y];
    if (!complex) {
        EACH_OF_GROUP(b)
            re[b] *= by[b];
        return;
    }
    double *im = a.im[x];
    const double *turn = c.im[y];
    EACH_OF_GROUP(b) {
        double real = re[b] * by[b] - im[b] * turn[b];
        im[b] = re[b] * turn[b] + im[b] * by[b];
        re[b] = real;
    }
}

/* t = t - l * u */
static INLINE void subtract(Numbers a, int64_t t, Numbers c, int64_t l, Numbers d, int64_t u, int complex) {
    double *re = a.re[t];
    const double *x = c.re[l], *y = d.re[u];
    if (!complex) {
        EACH_OF_GROUP(b)
            re[b] -= x[b] * y[b];
        return;
    }
    double *im = a.im[t];
    const double *p = c.im[l], *q = d.im[u];
    EACH_OF_GROUP(b) {
        re[b] -= x[b] * y[b] - p[b] * q[b];
        im[b] -= x[b] * q[b] + p[b] * y[b];
    }
}

static INLINE void factor_group(const int32_t *program, Numbers a, int complex) {
    int32_t pivots = *program++;
    for (; pivots > 0; pivots--) {
        int32_t diagonal = program[1], count = program[2];
        program += 3;
        reciprocal(a, diagonal, complex);
        for (; count > 0; count--, program += 2)
            multiply(a, program[1], a, diagonal, complex);
        count = *program++;
        program += 2 * count;
        count = *program++;
        for (; count > 0; count--, program += 3)
            subtract(a, program[0], a, program[1], a, program[2], complex);
    }
}

/* starts: where each pivot's part of the program begins. */
static INLINE void solve_group(const int32_t *program, const int32_t *starts, Numbers a, Numbers x, int transposed, int complex) {
    const int32_t pivots = *program;
    for (int32_t n = 0; n < pivots; n++) {
        const int32_t *p = program + starts[n], row = p[0], diagonal = p[1];
        int32_t count = p[2];
        const int32_t *below = p + 3, *right = below + 2 * count + 1;
        if (transposed) {
            multiply(x, row, a, diagonal, complex);
            for (count = right[-1]; count > 0; count--, right += 2)
                subtract(x, right[0], x, row, a, right[1], complex);
        } else
            for (; count > 0; count--, below += 2)
                subtract(x, below[0], x, row, a, below[1], complex);
    }
    for (int32_t n = pivots - 1; n >= 0; n--) {
        const int32_t *p = program + starts[n], row = p[0], diagonal = p[1];
        int32_t count = p[2];
        const int32_t *below = p + 3, *right = below + 2 * count + 1;
        if (transposed)
            for (; count > 0; count--, below += 2)
                subtract(x, row, x, below[0], a, below[1], complex);
        else {
            for (count = right[-1]; count > 0; count--, right += 2)
                subtract(x, row, x, right[0], a, right[1], complex);
            multiply(x, row, a, diagonal, complex);
        }
    }
}

/* Rows of ``from`` (row, sample), ``apart`` samples from one to the next; spare places repeat the last sample. */
static INLINE void take(Numbers to, const double *from, int64_t rows, int64_t apart, int64_t first, int64_t count, int complex) {
    for (int64_t row = 0; row < rows; row++) {
        const double *own = from + (row * apart + first) * (complex ? 2 : 1);
        for (int64_t b = 0; b < count; b++) {
            to.re[row][b] = own[complex ? 2 * b : b];
            if (complex)
                to.im[row][b] = own[2 * b + 1];
        }
        for (int64_t b = count; b < GROUP; b++) {
            to.re[row][b] = to.re[row][count - 1];
            if (complex)
                to.im[row][b] = to.im[row][count - 1];
        }
    }
}

static INLINE void give(Numbers from, double *to, int64_t rows, int64_t apart, int64_t first, int64_t count, int complex) {
    for (int64_t row = 0; row < rows; row++) {
        double *own = to + (row * apart + first) * (complex ? 2 : 1);
        for (int64_t b = 0; b < count; b++) {
            own[complex ? 2 * b : b] = from.re[row][b];
            if (complex)
                own[2 * b + 1] = from.im[row][b];
        }
    }
}

static Numbers numbers(lane *memory, int64_t rows) {
    group *found = (group *)memory;
    Numbers out = {found, found + rows};
    return out;
}

static INLINE int solve_all(int64_t samples, int64_t slots, int64_t size, int64_t sides, const int32_t *program,
                            const int32_t *starts, const double *a, double *x, int transposed, int complex) {
    lane *memory = lanes((slots + size) * (GROUP / LANES) * (complex ? 2 : 1));
    if (!memory)
        return 1;
    Numbers own = numbers(memory, slots), side = numbers(memory + slots * (GROUP / LANES) * (complex ? 2 : 1), size);
    for (int64_t first = 0; first < samples; first += GROUP) {
        const int64_t count = samples - first < GROUP ? samples - first : GROUP;
        take(own, a, slots, samples, first, count, complex);
        factor_group(program, own, complex);
        for (int64_t n = 0; n < sides; n++) {
            double *here = x + n * samples * (complex ? 2 : 1);
            take(side, here, size, sides * samples, first, count, complex);
            solve_group(program, starts, own, side, transposed, complex);
            give(side, here, size, sides * samples, first, count, complex);
        }
    }
    free(memory);
    return 0;
}

/* Replace ``x`` (unknown, side, sample) by the solution for the matrices ``a`` (slot, sample); ``transposed``: of the transposed
 * system. 1 where there is no memory. */
CLONES int solve(int64_t samples, int64_t slots, int64_t size, int64_t sides, const int32_t *program, const int32_t *starts,
                 const double *a, double *x, int transposed, int complex) {
    if (complex)
        return solve_all(samples, slots, size, sides, program, starts, a, x, transposed, 1);
    return solve_all(samples, slots, size, sides, program, starts, a, x, transposed, 0);
}

/* Which samples' ``x`` (unknown, side, sample) does not bear out entries ``a`` (entry, sample) times x = ``b``: in some row more is
 * missing than ``share`` of what flows there, or of a billionth of the most that flows anywhere. Entries stand row by row;
 * begins: where each row's first is. diagonal: the entry of each row on it. */
static INLINE int check_all(int64_t samples, int64_t size, int64_t sides, const int32_t *begins, const int32_t *columns,
                            const int32_t *diagonal, const double *a, const double *x, const double *b, double share,
                            uint8_t *wrong, int complex) {
    const int64_t apart = sides * samples, entries = begins[size], kinds = complex ? 2 : 1;
    lane *memory = lanes((entries + 4 * size) * (GROUP / LANES) * kinds);
    if (!memory)
        return 1;
    const int64_t each = (GROUP / LANES) * kinds;
    Numbers own = numbers(memory, entries), side = numbers(memory + entries * each, size);
    Numbers right = numbers(memory + (entries + size) * each, size);
    group *off = (group *)(memory + (entries + 2 * size) * each), *flows = off + size;
    for (int64_t first = 0; first < samples; first += GROUP) {
        const int64_t count = samples - first < GROUP ? samples - first : GROUP;
        group bad = {0};
        take(own, a, entries, samples, first, count, complex);
        for (int64_t n = 0; n < sides; n++) {
            take(side, x + n * samples * kinds, size, apart, first, count, complex);
            take(right, b + n * samples * kinds, size, apart, first, count, complex);
            group most = {0};
            for (int64_t row = 0; row < size; row++) {
                group re, im;
                EACH_OF_GROUP(k) {
                    re[k] = -right.re[row][k];
                    im[k] = complex ? -right.im[row][k] : 0.0;
                }
                for (int32_t e = begins[row]; e < begins[row + 1]; e++) {
                    const double *v = own.re[e], *y = side.re[columns[e]];
                    if (!complex) {
                        EACH_OF_GROUP(k)
                            re[k] += v[k] * y[k];
                        continue;
                    }
                    const double *w = own.im[e], *z = side.im[columns[e]];
                    EACH_OF_GROUP(k) {
                        re[k] += v[k] * y[k] - w[k] * z[k];
                        im[k] += v[k] * z[k] + w[k] * y[k];
                    }
                }
                const int32_t d = diagonal[row];
                EACH_OF_GROUP(k) {
                    double given = right.re[row][k] * right.re[row][k], v = own.re[d][k] * own.re[d][k];
                    double y = side.re[row][k] * side.re[row][k];
                    if (complex) {
                        given += right.im[row][k] * right.im[row][k];
                        v += own.im[d][k] * own.im[d][k];
                        y += side.im[row][k] * side.im[row][k];
                    }
                    off[row][k] = re[k] * re[k] + im[k] * im[k];
                    double driven = v * y;
                    flows[row][k] = given > driven ? given : driven;
                    most[k] = flows[row][k] > most[k] ? flows[row][k] : most[k];
                    bad[k] = y <= DBL_MAX ? bad[k] : 1.0; /* no number, or one without an end */
                }
            }
            EACH_OF_GROUP(k)
                most[k] = 1e-9 * sqrt(most[k]);
            for (int64_t row = 0; row < size; row++)
                EACH_OF_GROUP(k) {
                    double room = share * (sqrt(flows[row][k]) + most[k]);
                    bad[k] = off[row][k] <= room * room ? bad[k] : 1.0;
                }
        }
        for (int64_t k = 0; k < count; k++)
            wrong[first + k] = bad[k] != 0.0;
    }
    free(memory);
    return 0;
}

CLONES int check(int64_t samples, int64_t size, int64_t sides, const int32_t *begins, const int32_t *columns,
                 const int32_t *diagonal, const double *a, const double *x, const double *b, double share, uint8_t *wrong,
                 int complex) {
    if (complex)
        return check_all(samples, size, sides, begins, columns, diagonal, a, x, b, share, wrong, 1);
    return check_all(samples, size, sides, begins, columns, diagonal, a, x, b, share, wrong, 0);
}

/* ``out`` (row, sample) = ``base`` (none: 0) + a sparse table (row, column) times ``x`` (column, sample). */
CLONES void product(int64_t samples, int64_t rows, const int32_t *begins, const int32_t *columns, const double *values,
                    const double *x, const double *base, double *out) {
    for (int64_t row = 0; row < rows; row++) {
        double *own = out + row * samples;
        if (base)
            memcpy(own, base + row * samples, sizeof(double) * (size_t)samples);
        else
            memset(own, 0, sizeof(double) * (size_t)samples);
        for (int32_t e = begins[row]; e < begins[row + 1]; e++) {
            const double *from = x + columns[e] * samples, by = values[e];
#pragma omp simd
            for (int64_t k = 0; k < samples; k++)
                own[k] += by * from[k];
        }
    }
}

/* Which source this library was made from. */
const char *source(void) { return SOURCE; }
