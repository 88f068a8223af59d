/* Valve and junction in series with ohms, all lanes at once: devices/rectifier.py (limited_series) and devices/semiconductor.py
 * (junction_series), where their sources are named.
 */
#ifndef LAWS_H
#define LAWS_H
#include <math.h>

#include "lanes.h"

#define TINY 1e-300

enum { EMF, OHMS, SCALE, LIMIT, MOVES };

static INLINE void space_charge(double volts, double ohms, double perveance, double inverse, double *amps, double *space,
                                double *ratio, double *bend, double *slope, double *left) {
    double s = sqrt(volts) * perveance;
    *space = s * volts;
    *ratio = *space * inverse;
    double cube = *ratio * *ratio * *ratio + 1.0;
    double share = 1.0 / cube_root(cube);
    *bend = share / cube;
    *slope = s * *bend * 1.5;
    *left = 1.0 / (ohms * *slope + 1.0);
    *amps = share * *space;
}

static INLINE double nearer(double volts, double drive, double ohms, double perveance, double inverse, double least) {
    double amps, space, ratio, bend, slope, left;
    space_charge(volts, ohms, perveance, inverse, &amps, &space, &ratio, &bend, &slope, &left);
    volts -= (amps * ohms + volts - drive) * left;
    return volts < least ? least : volts;
}

/* Current, slope by the drive, and by ohms, perveance and limit, of a plate in series with ohms. */
static INLINE void valve(const double *drive, const double *series, const double *perveance, const double *limit, double *i,
                         double *m, lane *by) {
    lane volts, most, least, inverse;
    double highest = 0.0;
    EACH(b) {
        double k = perveance[b], ohms = series[b], rk = ohms * k, u = drive[b] > 0.0 ? drive[b] : 0.0;
        double z = u * (rk * rk), y = sqrt(z), t = cube_root(y);
        double top = (1.58302787 * t + 0.25332119) * t + 1.0;
        t = (-1.32335179 / (t + 1.0) + 1.58302787) * y + top;
        y = y * top / t;
        double f = (y + 1.0) * y * y - z, f1 = (3.0 * y + 2.0) * y + TINY;
        y -= f * f1 / (f1 * f1 - (3.0 * y + 1.0) * f + TINY);
        y /= rk;
        double space = y * y * y * k;
        inverse[b] = 1.0 / (limit[b] + TINY);
        double ratio = space * inverse[b], cube = ratio * ratio * ratio;
        least[b] = y * y;
        cube = cube / (3.0 + 2.0 * cube) * space / (1.5 * rk * y + 1.0) * ohms;
        volts[b] = nearer(least[b] + cube, u, ohms, k, inverse[b], least[b]);
        most[b] = ratio;
    }
    for (int b = 0; b < LANES; b++)
        highest = most[b] > highest ? most[b] : highest;
    if (highest > 0.5)
        EACH(b) {
            double part = (most[b] - 0.5) * 5.0, more = volts[b], u = drive[b] > 0.0 ? drive[b] : 0.0;
            part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
            for (int n = 0; n < 3; n++)
                more = nearer(more, u, series[b], perveance[b], inverse[b], least[b]);
            volts[b] += part * (more - volts[b]);
        }
    EACH(b) {
        double amps, space, ratio, bend, slope, left;
        space_charge(volts[b], series[b], perveance[b], inverse[b], &amps, &space, &ratio, &bend, &slope, &left);
        i[b] = amps;
        m[b] = slope * left;
        by[OHMS][b] = -m[b] * amps;
        by[SCALE][b] = bend * left * space / perveance[b];
        by[LIMIT][b] = bend * left * (ratio * ratio) * (ratio * ratio);
    }
}

/* Current and slopes of a junction in series with ohms: zero for a negative drive. ``rest`` is what z has without the drive. */
static INLINE void junction(const double *drive, const double *series, const double *slope, const double *first,
                            const double *rest, double *i, double *m, lane *by) {
    EACH(b) {
        double z = drive[b] / slope[b] + rest[b];
        z = z < -600.0 ? -600.0 : z > 1e100 ? 1e100 : z;
        /* a start for w + ln w = z: ln(1 + e) of a small e is e - e^2/2 */
        double e = exp(z < 0.0 ? z : -z), p = z < -2.0 ? e - 0.5 * e * e : log(1.0 + e) + (z > 0.0 ? z : 0.0);
        double w = p * (1.0 - log(1.0 + p) / (2.0 + p));
        double r = z - w - log(w), one = 1.0 + w, q = 2.0 * one * (one + (2.0 / 3.0) * r);
        w *= 1.0 + r / one * (q - r) / (q - 2.0 * r);
        w *= 1.0 + (z - w - log(w)) / (1.0 + w);
        double ohms = series[b], amps = slope[b] / ohms * w - first[b], u = drive[b] > 0.0 ? drive[b] : 0.0;
        i[b] = amps < 0.0 || drive[b] <= 0.0 ? 0.0 : amps;
        m[b] = drive[b] <= 0.0 ? 0.0 : w / (ohms * (1.0 + w));
        by[OHMS][b] = -m[b] * i[b];
        by[SCALE][b] = (ohms * i[b] - u) * (m[b] / slope[b]);
        by[LIMIT][b] = (1.0 - ohms * m[b]) * i[b] / first[b];
    }
}
#endif
