/* A rectifier's mains cycle for many samples: what ``solver/averaged.py``, ``cycle.py`` and ``cells.py`` do with numpy,
 * the same equations in the same order of thought. LANES samples at a time stand beside each other, so that what one block
 * needs stays in the processor's own memory, and the compiler puts a row of lanes into its wide registers.
 *
 * Laws in laws.h, cells in cells.h. tests/solver/test_compiled.py holds every result against the numpy one.
 */
#include "cells.h"

#define SETTLED 1e-11
#define NEAR_SETTLED 1e-4
#define FREE_PASSES 12

/* The rows of the capacitor's volts as the cycle goes by, of periodicity and of the mean volts. */
static INLINE void walk(const Cycle *p, Block *k, int full) {
    const int cells = (int)p->cells, stride = FIRST + (int)p->ways, wide = FIRST + (full ? (int)p->ways : 0);
    lane lose, gain, sum, last;
    EACH(b) {
        lose[b] = k->back[b] * (1.0 - k->keep[b]);
        gain[b] = k->back[b] * k->beta[b];
        k->load[b] = k->beta[b] * (k->drain[b] * k->volts[b] - k->state[cells][b]);
        sum[b] = 0.5 * k->state[0][b];
    }
    for (int way = 0; way < wide; way++)
        EACH(b) {
            k->rows[way][b] = way == START ? 1.0 : 0.0;
            k->mean[way][b] = 0.5 * k->rows[way][b];
        }
    for (int cell = 0; cell < cells; cell++) {
        const lane *from = k->rows + (size_t)cell * stride;
        lane *to = k->rows + (size_t)(cell + 1) * stride;
        lane factor, took, target;
        EACH(b) {
            double free = 1.0 - k->beta[b] * k->all_by[cell][b];
            factor[b] = k->back[b] * k->keep[b] * free + (1.0 - k->back[b]);
            took[b] = gain[b] * free;
            target[b] = k->state[cell][b] * (1.0 - lose[b]) + k->back[b] * k->load[b] + gain[b] * k->all_amps[cell][b];
            double after = cell + 1 < cells ? k->state[cell + 1][b] : target[b];
            to[MISS][b] = factor[b] * from[MISS][b] + (target[b] - after);
            to[START][b] = factor[b] * from[START][b];
            to[MEAN][b] = factor[b] * from[MEAN][b] - took[b];
            sum[b] += after;
            last[b] = after;
        }
        for (int way = FIRST; way < wide; way++)
            if (k->any[cell]) {
                const double *source = k->all_source[cell * p->ways + way - FIRST];
                EACH(b)
                    to[way][b] = factor[b] * from[way][b] + gain[b] * source[b];
            } else
                EACH(b)
                    to[way][b] = factor[b] * from[way][b];
        for (int way = 0; way < wide; way++)
            EACH(b)
                k->mean[way][b] += to[way][b];
    }
    const double share = 1.0 / cells;
    const lane *at_end = k->rows + (size_t)cells * stride;
    for (int way = 0; way < wide; way++)
        EACH(b) {
            k->end[way][b] = at_end[way][b];
            k->mean[way][b] = share * (k->mean[way][b] - 0.5 * at_end[way][b]);
        }
    EACH(b) {
        k->end[START][b] -= 1.0;
        k->end[MISS][b] += last[b] - k->state[0][b];
        k->mean[MISS][b] += share * (sum[b] - 0.5 * last[b]) - k->volts[b];
        if (p->esr) {
            k->mean[MISS][b] += k->esr[b] * k->state[cells][b];
            k->mean[MEAN][b] += k->esr[b];
        }
    }
}

/* What start volts and mean current move by to make up for (end, mean). */
static INLINE void solve(const Block *k, const double *end, const double *mean, double *start, double *amps) {
    EACH(b) {
        double a = k->end[START][b], c = k->end[MEAN][b], d = k->mean[START][b], e = k->mean[MEAN][b];
        double det = a * e - c * d, inverse = -1.0 / (fabs(det) > TINY ? det : TINY);
        start[b] = (e * end[b] - c * mean[b]) * inverse;
        amps[b] = (a * mean[b] - d * end[b]) * inverse;
    }
}

/* Values and rows of one result of one leg: 0 mean amps, 1 their part in phase with the emf, 2 their mean square. */
static INLINE void close_result(const Cycle *p, Block *k, int result, int leg, const lane *step, int64_t first, int64_t count) {
    const int cells = (int)p->cells, stride = FIRST + (int)p->ways;
    const double share = 1.0 / CELLS;
    lane value = {0}, through_sum = {0}, rows[stride];
    memset(rows, 0, sizeof rows);
    for (int cell = 0; cell < cells; cell++) {
        const int at = leg * cells + cell;
        if (!k->busy[at])
            continue;
        const double wave = (double)p->phase[leg] * p->wave[cell];
        lane weight, through;
        EACH(b) {
            double i = k->amps[at][b], w = result == 0 ? share : result == 1 ? share * wave : share * i;
            value[b] += w * i;
            weight[b] = result == 2 ? 2.0 * w : w;
            through[b] = weight[b] * k->by_drive[at][b];
            through_sum[b] += through[b];
        }
        const lane *dv = k->rows + (size_t)cell * stride;
        for (int way = 0; way < FIRST; way++)
            EACH(b)
                rows[way][b] -= k->keep[b] * through[b] * dv[way][b];
        for (int way = FIRST; way < stride; way++) {
            const double *source = k->source[(size_t)at * p->ways + way - FIRST];
            EACH(b)
                rows[way][b] += weight[b] * source[b] - k->keep[b] * through[b] * dv[way][b];
        }
    }
    EACH(b) {
        rows[MEAN][b] += k->beta[b] * through_sum[b];
        value[b] += rows[MISS][b] + rows[START][b] * step[0][b] + rows[MEAN][b] * step[1][b];
    }
    const int64_t n = p->samples, causes = 1 + p->ways, row = result * p->legs + leg;
    for (int64_t b = 0; b < count; b++)
        p->values[row * n + first + b] = value[b];
    for (int cause = 0; cause < causes; cause++) {
        double *out = p->slopes + (row * causes + cause) * n + first;
        const lane *start = k->move + cause, *amps = k->move + causes + cause;
        for (int64_t b = 0; b < count; b++) {
            double own = cause ? rows[FIRST + cause - 1][b] : -k->drain[b] * rows[MEAN][b];
            out[b] = own + rows[START][b] * (*start)[b] + rows[MEAN][b] * (*amps)[b];
        }
    }
}

/* Implicit function theorem: slopes at fixed inner unknowns plus what these move. */
static INLINE void finish(const Cycle *p, Block *k, const lane *step, int64_t first, int64_t count) {
    const int cells = (int)p->cells, stride = FIRST + (int)p->ways;
    const int64_t causes = 1 + p->ways;
    lane end, mean;
    EACH(b) {
        /* mean volts act on the cycle as -drain amperes of mean current, and on their own residual */
        end[b] = -k->drain[b] * k->end[MEAN][b];
        mean[b] = -k->drain[b] * (k->mean[MEAN][b] - (p->esr ? k->esr[b] : 0.0)) - 1.0;
    }
    solve(k, end, mean, k->move[0], k->move[causes]);
    for (int way = 0; way < p->ways; way++)
        solve(k, k->end[FIRST + way], k->mean[FIRST + way], k->move[1 + way], k->move[causes + 1 + way]);
    for (int result = 0; result < (p->heat ? 3 : 2); result++)
        for (int leg = 0; leg < p->legs; leg++)
            close_result(p, k, result, leg, step, first, count);
    lane *out = (lane *)p->carry + first / LANES * (cells + 1) * causes;
    for (int cell = 0; cell <= cells; cell++)
        for (int cause = 0; cause < causes; cause++, out++) {
            const lane *rows = k->rows + (size_t)cell * stride;
            const double *start = k->move[cause], *amps = k->move[causes + cause];
            if (cell == cells)
                memcpy(*out, amps, sizeof *out);
            else if (cause)
                EACH(b)
                    (*out)[b] = rows[START][b] * start[b] + rows[MEAN][b] * amps[b] + rows[FIRST + cause - 1][b];
            else
                EACH(b)
                    (*out)[b] = rows[START][b] * start[b] + rows[MEAN][b] * (amps[b] - k->drain[b]);
        }
}

static INLINE void passes(const Cycle *p, Block *k, int64_t first, int64_t count) {
    const int cells = (int)p->cells, stride = FIRST + (int)p->ways;
    lane step[2], unsettled;
    for (int b = 0; b < LANES; b++)
        unsettled[b] = INFINITY;
    for (int done = 1; done <= p->passes; done++) {
        double worst = 0.0;
        for (int b = 0; b < LANES; b++)
            worst = !(unsettled[b] <= worst) ? unsettled[b] : worst;
        /* only the last pass needs the caller's slopes; which one that is shows once the steps are small */
        const int last = done == p->passes || worst < NEAR_SETTLED;
        for (int cell = 0; cell < cells; cell++)
            EACH(b)
                k->against[cell][b] = k->keep[b] * k->state[cell][b] +
                                      k->beta[b] * (k->drain[b] * k->volts[b] - k->state[cells][b]);
        flows(p, k, last);
        walk(p, k, last);
        solve(k, k->end[MISS], k->mean[MISS], step[0], step[1]);
        lane far = {0};
        for (int cell = 0; cell < cells; cell++) {
            const lane *rows = k->rows + (size_t)cell * stride;
            EACH(b) {
                double by = rows[MISS][b] + rows[START][b] * step[0][b] + rows[MEAN][b] * step[1][b];
                k->fresh[cell][b] = k->state[cell][b] + by;
            }
        }
        EACH(b)
            k->fresh[cells][b] = k->state[cells][b] + step[1][b];
        if (done > FREE_PASSES) /* starved cathodes and missing reservoirs can make the steps alternate */
            for (int cell = 0; cell <= cells; cell++)
                EACH(b) {
                    double part = unsettled[b] > 0.01 ? 0.25 + 0.5 * (done % 2) : 1.0;
                    k->fresh[cell][b] = k->state[cell][b] + (k->fresh[cell][b] - k->state[cell][b]) * part;
                }
        for (int cell = 0; cell < cells; cell++)
            EACH(b) {
                double by = fabs(k->fresh[cell][b] - k->state[cell][b]);
                far[b] = !(by <= far[b]) ? by : far[b];
            }
        worst = 0.0;
        for (int b = 0; b < LANES; b++) {
            unsettled[b] = (far[b] + fabs(step[0][b]) + fabs(step[1][b]) * k->beta[b]) / k->size[b];
            worst = !(unsettled[b] <= worst) ? unsettled[b] : worst;
        }
        if (done == p->passes || (last && worst < SETTLED))
            finish(p, k, (const lane *)step, first, count);
        memcpy(k->state, k->fresh, sizeof(lane) * (size_t)(cells + 1));
        if (last && worst < SETTLED)
            break;
    }
    for (int64_t b = 0; b < count; b++) {
        p->unsettled[first + b] = unsettled[b];
        for (int cell = 0; cell <= cells; cell++)
            p->state[cell * p->samples + first + b] = k->state[cell][b];
    }
}

static INLINE void take(lane *to, const double *from, int64_t rows, int64_t samples, int64_t first, int64_t count) {
    for (int64_t row = 0; row < rows; row++)
        for (int64_t b = 0; b < LANES; b++) /* spare lanes repeat the last sample */
            to[row][b] = from[row * samples + first + (b < count ? b : count - 1)];
}

static lane *room(lane **free, int64_t rows) {
    lane *here = *free;
    *free += rows;
    return here;
}

/* 0, or 1 where there is no memory. */
CLONES int cycle(const Cycle *p) {
    const int64_t cells = p->cells, legs = p->legs, ways = p->ways, wide = FIRST + ways, n = p->samples;
    const int64_t rows = 7 * legs + ways * MOVES * legs + 2 * (cells + 1) + cells + legs * cells * (6 + ways) +
                         (cells + 1) * wide + cells * (2 + ways) + 2 * wide + 2 * (1 + ways);
    lane *memory = lanes(rows), *free_room = memory;
    int *flags = malloc(sizeof(int) * (size_t)(legs * cells + cells));
    if (!memory || !flags) {
        free(memory);
        free(flags);
        return 1;
    }
    Block k;
    memset(&k, 0, sizeof k);
    k.emf = room(&free_room, legs), k.ohms = room(&free_room, legs), k.scale = room(&free_room, legs);
    k.limit = room(&free_room, legs), k.leak = room(&free_room, legs), k.sense = room(&free_room, legs), k.rest = room(&free_room, legs);
    k.moves = room(&free_room, ways * MOVES * legs);
    k.state = room(&free_room, cells + 1), k.fresh = room(&free_room, cells + 1);
    k.against = room(&free_room, cells);
    k.amps = room(&free_room, legs * cells), k.by_drive = room(&free_room, legs * cells);
    k.by = room(&free_room, 4 * legs * cells), k.source = room(&free_room, legs * cells * ways);
    k.rows = room(&free_room, (cells + 1) * wide);
    k.all_amps = room(&free_room, cells), k.all_by = room(&free_room, cells), k.all_source = room(&free_room, cells * ways);
    k.end = room(&free_room, wide), k.mean = room(&free_room, wide), k.move = room(&free_room, 2 * (1 + ways));
    k.busy = flags, k.any = flags + legs * cells;
    for (int64_t first = 0; first < n; first += LANES) {
        const int64_t count = n - first < LANES ? n - first : LANES;
        take(&k.volts, p->volts, 1, n, first, count);
        take(&k.drain, p->drain, 1, n, first, count);
        take(&k.keep, p->keep, 1, n, first, count);
        take(&k.beta, p->beta, 1, n, first, count);
        take(&k.back, p->back, 1, n, first, count);
        if (p->esr)
            take(&k.esr, p->esr, 1, n, first, count);
        take(k.emf, p->emf, legs, n, first, count);
        take(k.ohms, p->ohms, legs, n, first, count);
        take(k.scale, p->scale, legs, n, first, count);
        take(k.limit, p->limit, legs, n, first, count);
        if (p->leak)
            take(k.leak, p->leak, legs, n, first, count);
        if (p->sense)
            take(k.sense, p->sense, legs, n, first, count);
        for (int64_t m = 0; m < ways * MOVES; m++)
            if (p->moves[m])
                take(k.moves + m * legs, p->moves[m], legs, n, first, count);
        take(k.state, p->start, cells + 1, n, first, count);
        for (int b = 0; b < LANES; b++) {
            double most = 0.0;
            for (int leg = 0; leg < legs; leg++)
                most = fabs(k.emf[leg][b]) > most ? fabs(k.emf[leg][b]) : most;
            k.size[b] = most * 1.4142135623730951 + fabs(k.volts[b]) + 1e-3;
        }
        for (int leg = 0; leg < legs; leg++)
            for (int b = 0; p->junction[leg] && b < LANES; b++) {
                double rs = (k.ohms[leg][b] + k.beta[b]) * k.limit[leg][b] / k.scale[leg][b];
                k.rest[leg][b] = rs + log(rs);
            }
        passes(p, &k, first, count);
    }
    free(memory);
    free(flags);
    return 0;
}

/* ``state`` (row, sample) moved by ``causes`` (cause, sample) as a run's ``carry`` has it. */
CLONES void carried(int64_t samples, int64_t rows, int64_t causes, const double *carry, const double *by, const double *state,
                    double *out) {
    for (int64_t first = 0; first < samples; first += LANES) {
        const int64_t count = samples - first < LANES ? samples - first : LANES;
        const lane *moves = (const lane *)carry + first / LANES * rows * causes;
        for (int64_t row = 0; row < rows; row++, moves += causes) {
            lane sum = {0};
            for (int64_t cause = 0; cause < causes; cause++)
                for (int64_t b = 0; b < count; b++)
                    sum[b] += moves[cause][b] * by[cause * samples + first + b];
            for (int64_t b = 0; b < count; b++)
                out[row * samples + first + b] = state[row * samples + first + b] + sum[b];
        }
    }
}
