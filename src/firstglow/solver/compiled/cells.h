/* What a problem is, what a block of lanes works in, and what the legs conduct in each cell: solver/cells.py. */
#ifndef CELLS_H
#define CELLS_H
#include "laws.h"

#define CELLS 48
#define SMALLEST_PERVEANCE 1e-15

enum { MISS, START, MEAN, FIRST };

/* Everything is (row, sample), samples side by side; a pointer that is NULL stands for what the problem does not have. */
typedef struct {
    int64_t samples, cells, legs, ways, passes, heat;
    const int64_t *phase, *junction;
    const double *wave; /* emf over its rms of a leg of phase +1 in each cell */
    const double *volts, *emf, *ohms, *scale, *limit, *leak, *sense, *esr, *drain, *keep, *beta, *back;
    const double *const *moves; /* (way, input): how fast each leg's emf, ohms, scale, limit moves */
    const double *start;        /* (cell + 1, sample) */
    double *state, *unsettled;  /* (cell + 1, sample), (sample,) */
    double *values, *slopes;    /* (result, leg, sample), (result, leg, cause, sample): cause 0 is volts */
    double *carry;              /* (block, cell + 1, cause, lane): how the settled state moves; block by block, as a write to
                                   hundreds of places far apart costs more than all the arithmetic */
} Cycle;

/* One block's own rows; what belongs to a leg is laid out (leg, cell, ...). */
typedef struct {
    lane volts, drain, keep, beta, back, esr, size, load;
    lane *emf, *ohms, *scale, *limit, *leak, *sense, *rest; /* (leg) */
    lane *moves;                                      /* (way, input, leg) */
    lane *state, *fresh;                              /* (cell + 1) */
    lane *against;                                    /* (cell) */
    lane *amps, *by_drive, *by;                       /* (leg, cell), (leg, cell), (leg, cell, 4) */
    lane *source;                                     /* (leg, cell, way) */
    lane *rows;                                       /* (cell + 1, FIRST + way) */
    lane *all_amps, *all_by, *all_source;             /* (cell), (cell), (cell, way) */
    lane *end, *mean, *move;                          /* (FIRST + way), (2, 1 + way) */
    int *busy, *any;                                  /* (leg, cell), (cell) */
} Block;

/* One leg in one cell, against what the legs before it have charged there; 0 where nothing flows. */
static INLINE int leg_flow(const Cycle *p, Block *k, int leg, int cell, int full) {
    const int cells = (int)p->cells, ways = full ? (int)p->ways : 0, at = leg * cells + cell;
    const double wave = (double)p->phase[leg] * p->wave[cell];
    lane drive, series, *amps = k->amps + at, *slope = k->by_drive + at, *by = k->by + 4 * at;
    int conducts = 0;
    EACH(b)
        drive[b] = wave * k->emf[leg][b] - k->against[cell][b];
    for (int other = 0; other < p->legs; other++)
        if (other != leg && k->busy[other * cells + cell])
            EACH(b)
                drive[b] -= k->beta[b] * k->amps[other * cells + cell][b];
    if (p->sense)
        EACH(b)
            drive[b] *= k->sense[leg][b];
    for (int b = 0; b < LANES; b++)
        conducts |= !(drive[b] <= 0.0);
    if (!conducts && !p->leak)
        return 0;
    EACH(b)
        series[b] = k->ohms[leg][b] + k->beta[b];
    if (p->junction[leg])
        junction(drive, series, k->scale[leg], k->limit[leg], k->rest[leg], *amps, *slope, by);
    else
        valve(drive, series, k->scale[leg], k->limit[leg], *amps, *slope, by);
    if (p->leak)
        EACH(b) {
            double back = 1.0 / (series[b] + k->leak[leg][b]), reverse = drive[b] < 0.0 ? drive[b] * back : 0.0;
            (*amps)[b] += reverse;
            (*slope)[b] += drive[b] < 0.0 ? back : 0.0;
            by[OHMS][b] -= reverse * back;
        }
    if (p->sense)
        EACH(b) {
            double s = k->sense[leg][b];
            (*amps)[b] *= s;
            by[OHMS][b] *= s;
            by[SCALE][b] *= s;
            by[LIMIT][b] *= s;
        }
    EACH(b)
        by[EMF][b] = (*slope)[b] * wave;
    lane *source = k->source + (size_t)at * p->ways;
    for (int way = 0; way < ways; way++) {
        double *s = source[way];
        EACH(b)
            s[b] = 0.0;
        for (int input = 0; input < MOVES; input++)
            if (p->moves[way * MOVES + input]) {
                const double *move = k->moves[(way * MOVES + input) * p->legs + leg];
                EACH(b)
                    s[b] += by[input][b] * move[b];
            }
    }
    /* what it works against has slopes of its own */
    lane own;
    memcpy(own, *slope, sizeof own);
    for (int other = 0; other < p->legs; other++) {
        const int there = other * cells + cell;
        if (other == leg || !k->busy[there])
            continue;
        for (int way = 0; way < ways; way++)
            EACH(b)
                source[way][b] -= k->beta[b] * own[b] * k->source[(size_t)there * p->ways + way][b];
        EACH(b)
            (*slope)[b] -= k->beta[b] * own[b] * k->by_drive[there][b];
    }
    return 1;
}

/* The legs in the order in which they are let at the reservoir: each in its own half cycle first. */
static INLINE void flows(const Cycle *p, Block *k, int full) {
    const int cells = (int)p->cells, ways = full ? (int)p->ways : 0;
    memset(k->busy, 0, sizeof(int) * (size_t)(p->legs * cells));
    for (int turn = 0; turn < 2; turn++)
        for (int leg = 0; leg < p->legs; leg++) {
            if (!p->leak && !p->junction[leg]) {
                int there = 0;
                for (int b = 0; b < LANES; b++)
                    there |= !(k->scale[leg][b] <= 2.0 * SMALLEST_PERVEANCE);
                if (!there)
                    continue;
            }
            const int late = (p->phase[leg] < 0) != turn;
            const int first = late ? CELLS / 2 : 0, last = late ? cells : CELLS / 2;
            for (int cell = first; cell < last && cell < cells; cell++)
                k->busy[leg * cells + cell] = leg_flow(p, k, leg, cell, full);
        }
    for (int cell = 0; cell < cells; cell++) {
        k->any[cell] = 0;
        EACH(b)
            k->all_amps[cell][b] = k->all_by[cell][b] = 0.0;
        for (int leg = 0; leg < p->legs; leg++) {
            const int at = leg * cells + cell;
            if (!k->busy[at])
                continue;
            EACH(b) {
                k->all_amps[cell][b] += k->amps[at][b];
                k->all_by[cell][b] += k->by_drive[at][b];
            }
            for (int way = 0; way < ways; way++) {
                double *all = k->all_source[cell * p->ways + way], *s = k->source[(size_t)at * p->ways + way];
                EACH(b)
                    all[b] = s[b] + (k->any[cell] ? all[b] : 0.0);
            }
            k->any[cell] = 1;
        }
    }
}
#endif
