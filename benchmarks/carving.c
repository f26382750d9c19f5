/* Level cuts of a revolving cutter over a face, by hand in C: what the compiled kernels are measured beside.

   The same way of working: samples in one line joined, segments binned to tiles of 128 x 128 cells, the least square of the
   distance kept in 4 x 4 patches over the slab across each segment (short ones two at a time), and the edge, one ball or one
   vee, applied once. Millimetres throughout. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define SIDE 128
#define PATCH 4
#define PATCHES 32
#define LANES 16
#define SLACK 0.01
#define TINY 1e-9
#define FAR 1e30f
#define RIM 2e-6
#define GENTLE 0.1
#define SHORT 8

typedef struct { double x, y, ux, uy, length, turn0, turn1; } Segment;
typedef struct { double x, y, sx, sy; } Grid;
typedef struct { double ax, ay, low, high, ux, uy; } Placed;
typedef struct { double side0, side1, side_moved, end0, end1, end_moved; int line, patch; } Walk;
typedef struct { float u[LANES], v[LANES], lower, upper, step_u, step_v; } Lanes;

static inline double least(double a, double b) { return a < b ? a : b; }
static inline double most(double a, double b) { return a > b ? a : b; }

static int may_join(const double *tip, int64_t k, double aside) {
    const double *p = tip + 3 * k;
    double dx = p[3] - p[0], dy = p[4] - p[1], ex = p[6] - p[0], ey = p[7] - p[1], apart = dx * ey - dy * ex;
    return apart * apart <= 1.001 * aside * aside * (ex * ex + ey * ey);
}

static int64_t last_in_line(const double *tip, int64_t anchor, int64_t end, double aside) {
    const double *p = tip + 3 * anchor;
    double x = p[0], y = p[1], dx = p[3] - x, dy = p[4] - y, length = sqrt(dx * dx + dy * dy);
    dx /= length; dy /= length;
    double left = aside / length, right = -left, gone = length;
    int64_t last = anchor + 1;
    for (int64_t k = anchor + 2; k < end; k++) {
        double px = tip[3 * k] - x, py = tip[3 * k + 1] - y, along = px * dx + py * dy;
        if (along <= gone) break;
        double per = 1 / along, turn = (py * dx - px * dy) * per;
        if (turn > left || turn < right) break;
        left = least(left, turn + aside * per); right = most(right, turn - aside * per);
        gone = along; last = k;
    }
    return last;
}

static int64_t lay(const double *tip, const int64_t *offsets, int64_t grooves, double aside, Segment *out) {
    int64_t at = 0;
    for (int64_t g = 0; g < grooves; g++) {
        int64_t begin = at, end = offsets[g + 1];
        for (int64_t k = offsets[g]; k < end - 1;) {
            int64_t last = k + 2 < end && may_join(tip, k, aside) ? last_in_line(tip, k, end, aside) : k + 1;
            double x = tip[3 * k], y = tip[3 * k + 1], dx = tip[3 * last] - x, dy = tip[3 * last + 1] - y;
            double length = sqrt(dx * dx + dy * dy), per = 1 / length;
            out[at] = (Segment){x, y, dx * per, dy * per, length, 1, 1};
            if (at > begin) {
                double a = out[at].ux - out[at - 1].ux, b = out[at].uy - out[at - 1].uy;
                out[at].turn0 = out[at - 1].turn1 = 0.5 * sqrt(a * a + b * b);
            }
            at++; k = last;
        }
    }
    return at;
}

static void bounds_of(const Segment *s, double r, const Grid *g, int rows, int columns, int32_t *out) {
    double low = -r * s->turn0, high = s->length + r * s->turn1, per_x = 1 / g->sx, per_y = 1 / g->sy;
    double x = s->x - g->x, y = s->y - g->y, aside_x = r * fabs(s->uy), aside_y = r * fabs(s->ux);
    out[0] = most(ceil((y + least(s->uy * low, s->uy * high) - aside_y) * per_y - SLACK), 0);
    out[1] = least(floor((y + most(s->uy * low, s->uy * high) + aside_y) * per_y + SLACK), rows - 1);
    out[2] = most(ceil((x + least(s->ux * low, s->ux * high) - aside_x) * per_x - SLACK), 0);
    out[3] = least(floor((x + most(s->ux * low, s->ux * high) + aside_x) * per_x + SLACK), columns - 1);
}

static inline Placed placed_in(const Segment *s, const Grid *g, int row, int column) {
    double dx = g->x + column * g->sx - s->x, dy = g->y + row * g->sy - s->y;
    double t = (dx + SIDE / 2 * g->sx) * s->ux + (dy + SIDE / 2 * g->sy) * s->uy;
    t = least(most(t, 0), s->length);
    return (Placed){s->ux * t - dx, s->uy * t - dy, -t, s->length - t, s->ux, s->uy};
}

static inline Walk walk_over(const Placed *p, double low, double high, double r, const Grid *g) {
    int by_rows = fabs(p->uy) >= fabs(p->ux);
    double a = by_rows ? p->ax : p->ay, b = by_rows ? p->ay : p->ax, ua = by_rows ? p->ux : p->uy, ub = by_rows ? p->uy : p->ux;
    double sa = by_rows ? g->sx : g->sy, sb = by_rows ? g->sy : g->sx;
    double per_a = 1 / (sa * PATCH), per_ub = 1 / ub, per_ua = 1 / (fabs(ua) > TINY ? ua : TINY);
    double middle = (PATCH - 1) / 2.0 * sb, line = sb * PATCH;
    double side = a + ua * per_ub * (middle - b), side_half = (r + fabs(ua) * middle) * fabs(per_ub);
    double end = a + ((low + high) * 0.5 - ub * (middle - b)) * per_ua;
    double end_half = ((high - low) * 0.5 + fabs(ub) * middle) * fabs(per_ua);
    double first = (1 - SLACK) / PATCH, last = 1 + SLACK / PATCH;
    return (Walk){(side - side_half) * per_a + first, (side + side_half) * per_a + last, ua * per_ub * line * per_a,
                  (end - end_half) * per_a + first, (end + end_half) * per_a + last, -ub * per_ua * line * per_a,
                  by_rows ? PATCHES : 1, by_rows ? 1 : PATCHES};
}

static inline void run_of(const Walk *w, int line, int *first, int *last) {
    double low = most(most(w->side0 + w->side_moved * line, w->end0 + w->end_moved * line), 0);
    double high = least(least(w->side1 + w->side_moved * line, w->end1 + w->end_moved * line), PATCHES);
    *first = low < high ? (int)low : 0;
    *last = low < high ? (int)high : 0;
}

static inline Lanes lanes_of(const Placed *p, const Walk *w, const Grid *g) {
    Lanes l = {.lower = p->low, .upper = p->high};
    float ux = p->ux * g->sx, uy = p->uy * g->sy, vx = p->uy * g->sx, vy = p->ux * g->sy;
    for (int k = 0; k < LANES; k++) {
        l.u[k] = k % PATCH * ux + k / PATCH * uy;
        l.v[k] = k / PATCH * vy - k % PATCH * vx;
    }
    l.step_u = w->patch == 1 ? p->ux * g->sx * PATCH : p->uy * g->sy * PATCH;
    l.step_v = w->patch == 1 ? -p->uy * g->sx * PATCH : p->ux * g->sy * PATCH;
    return l;
}

static inline void first_cell(const Placed *p, const Walk *w, int line, int patch, const Grid *g, float *u, float *v) {
    double dx = (w->patch == 1 ? patch : line) * PATCH * g->sx - p->ax, dy = (w->patch == 1 ? line : patch) * PATCH * g->sy - p->ay;
    *u = p->ux * dx + p->uy * dy;
    *v = p->ux * dy - p->uy * dx;
}

static inline float apart(const Lanes *l, int k, float u, float v) {
    float along = u + l->u[k], across = v + l->v[k], t = along > l->lower ? along : l->lower;
    t = t < l->upper ? t : l->upper;
    return (along - t) * (along - t) + across * across;
}

static void nearest(float *restrict off, const Placed *p, const Walk *w, int begin, int end, const Grid *g) {
    Lanes l = lanes_of(p, w, g);
    for (int line = begin; line < end; line++) {
        int first, last;
        float u, v;
        run_of(w, line, &first, &last);
        first_cell(p, w, line, first, g, &u, &v);
        float *o = off + (line * w->line + first * w->patch) * LANES;
        for (int patch = first; patch < last; patch++, o += w->patch * LANES, u += l.step_u, v += l.step_v)
            for (int k = 0; k < LANES; k++) {
                float square = apart(&l, k, u, v);
                o[k] = square < o[k] ? square : o[k];
            }
    }
}

static void nearest_of_two(float *restrict off, const Placed *p, const Placed *q, const Walk *w, int begin, int end, const Grid *g) {
    Lanes l = lanes_of(p, w, g), m = lanes_of(q, w, g);
    for (int line = begin; line < end; line++) {
        int first, last;
        float u, v, s, t;
        run_of(w, line, &first, &last);
        first_cell(p, w, line, first, g, &u, &v);
        first_cell(q, w, line, first, g, &s, &t);
        float *o = off + (line * w->line + first * w->patch) * LANES;
        for (int patch = first; patch < last; patch++, o += w->patch * LANES) {
            for (int k = 0; k < LANES; k++) {
                float one = apart(&l, k, u, v), two = apart(&m, k, s, t);
                one = one < two ? one : two;
                o[k] = one < o[k] ? one : o[k];
            }
            u += l.step_u; v += l.step_v; s += m.step_u; t += m.step_v;
        }
    }
}

static Walk around_two(const Segment *one, const Segment *two, const Placed *p, double r, const Grid *g) {
    double dx = two->x + two->length * two->ux - one->x, dy = two->y + two->length * two->uy - one->y;
    double length = sqrt(dx * dx + dy * dy), per = 1 / length, turn = one->turn1, askew = 2 * turn;
    double widest = most(one->turn0, most(turn, two->turn1));
    Placed both = {p->ax + p->low * p->ux, p->ay + p->low * p->uy, 0, length, dx * per, dy * per};
    double low = -r * (most(one->turn0, turn) + askew), high = length + r * (most(turn, two->turn1) + askew);
    return walk_over(&both, low, high, r + (least(one->length, two->length) + r * widest) * askew, g);
}

static void lines_of(const int32_t *bounds, int row, int column, int *box) {
    box[0] = bounds[0] > row ? (bounds[0] - row) / PATCH : 0;
    box[1] = least(bounds[1] - row, SIDE - 1) / PATCH + 1;
    box[2] = bounds[2] > column ? (bounds[2] - column) / PATCH : 0;
    box[3] = least(bounds[3] - column, SIDE - 1) / PATCH + 1;
}

static void widen(int *box, const int *by) {
    for (int k = 0; k < 4; k += 2) {
        if (by[k] < box[k]) box[k] = by[k];
        if (by[k + 1] > box[k + 1]) box[k + 1] = by[k + 1];
    }
}

typedef struct { double depth, radius, rise, half; } Cutter;

static void cut(float *restrict off, const Cutter *c, const int *box, int row, int column, int rows, int columns, float *restrict face) {
    float rim = (c->half + RIM) * (c->half + RIM), ball = c->radius * c->radius, centre = c->radius, deep = c->depth, slope = c->rise;
    for (int line = box[0]; line < box[1]; line++)
        for (int patch = box[2]; patch < box[3]; patch++) {
            float *o = off + (line * PATCHES + patch) * LANES, into[LANES];
            int reached = 0, down = row + line * PATCH, across = column + patch * PATCH;
            for (int k = 0; k < LANES; k++) reached |= o[k] <= rim;
            if (!reached) continue;
            for (int k = 0; k < LANES; k++) {
                float left = ball - o[k] > 0 ? ball - o[k] : 0;
                float height = centre > 0 ? centre - sqrtf(left) : sqrtf(o[k]) * slope;
                into[k] = o[k] <= rim ? deep - height : 0;
                o[k] = FAR;
            }
            float *corner = face + (int64_t)down * columns + across;
            if (down + PATCH <= rows && across + PATCH <= columns)
                for (int i = 0; i < PATCH; i++)
                    for (int j = 0; j < PATCH; j++) {
                        float *at = corner + (int64_t)i * columns + j;
                        *at = into[i * PATCH + j] > *at ? into[i * PATCH + j] : *at;
                    }
            else
                for (int k = 0; k < LANES; k++)
                    if (down + k / PATCH < rows && across + k % PATCH < columns) {
                        float *at = corner + (int64_t)(k / PATCH) * columns + k % PATCH;
                        *at = into[k] > *at ? into[k] : *at;
                    }
        }
}

/* Grooves of one depth: offsets[g] to offsets[g + 1] are the samples of groove g. A ball of some radius, or where that is 0 a
   vee that rises so much a mm; half its width; returns how many segments the samples came to. */
int64_t carve(const double *tip, const int64_t *offsets, int64_t grooves, double aside, double depth, double radius, double rise,
              double half, double x, double y, double sx, double sy, int rows, int columns, float *face) {
    Grid grid = {x, y, sx, sy};
    Cutter cutter = {depth, radius, rise, half};
    Segment *segments = malloc(sizeof(Segment) * offsets[grooves]);
    int64_t n = lay(tip, offsets, grooves, aside, segments);
    double r = radius > 0 ? (depth < radius ? sqrt(radius * radius - (radius - depth) * (radius - depth)) : radius) : depth / rise;
    r = least(r, half);
    int across = (columns + SIDE - 1) / SIDE, tiles = (rows + SIDE - 1) / SIDE * across;
    int64_t *starts = calloc(tiles + 1, sizeof(int64_t)), *filled = malloc(sizeof(int64_t) * tiles);
    int32_t *bounds = malloc(sizeof(int32_t) * 4 * n);
#pragma omp parallel for schedule(static)
    for (int64_t k = 0; k < n; k++) bounds_of(segments + k, r, &grid, rows, columns, bounds + 4 * k);
    for (int64_t k = 0; k < n; k++) {
        int32_t *b = bounds + 4 * k;
        if (b[0] > b[1] || b[2] > b[3]) continue;
        for (int i = b[0] / SIDE; i <= b[1] / SIDE; i++)
            for (int j = b[2] / SIDE; j <= b[3] / SIDE; j++) starts[i * across + j + 1]++;
    }
    for (int k = 0; k < tiles; k++) starts[k + 1] += starts[k];
    memcpy(filled, starts, sizeof(int64_t) * tiles);
    int32_t *order = malloc(sizeof(int32_t) * (starts[tiles] + 1));
    for (int64_t k = 0; k < n; k++) {
        int32_t *b = bounds + 4 * k;
        if (b[0] > b[1] || b[2] > b[3]) continue;
        for (int i = b[0] / SIDE; i <= b[1] / SIDE; i++)
            for (int j = b[2] / SIDE; j <= b[3] / SIDE; j++) order[filled[i * across + j]++] = k;
    }
#pragma omp parallel
    {
        size_t room = sizeof(float) * SIDE * SIDE;
        float *off = aligned_alloc(64, room);
        for (int k = 0; k < SIDE * SIDE; k++) off[k] = FAR;
#pragma omp for schedule(dynamic, 1)
        for (int k = 0; k < tiles; k++) {
            if (starts[k] == starts[k + 1]) continue;
            int row = k / across * SIDE, column = k % across * SIDE, box[4] = {PATCHES, 0, PATCHES, 0};
            for (int64_t at = starts[k]; at < starts[k + 1]; at++) {
                const Segment *s = segments + order[at];
                int here[4], more[4];
                Placed p = placed_in(s, &grid, row, column);
                lines_of(bounds + 4 * order[at], row, column, here);
                int joined = at + 1 < starts[k + 1] && order[at + 1] == order[at] + 1 && s->turn1 < GENTLE;
                if (joined && s[0].length + s[1].length < SHORT * sx) {
                    lines_of(bounds + 4 * order[at + 1], row, column, more);
                    widen(here, more);
                    Placed q = placed_in(s + 1, &grid, row, column);
                    Walk w = around_two(s, s + 1, &p, r, &grid);
                    nearest_of_two(off, &p, &q, &w, w.patch == 1 ? here[0] : here[2], w.patch == 1 ? here[1] : here[3], &grid);
                    at++;
                } else {
                    Walk w = walk_over(&p, p.low - r * s->turn0, p.high + r * s->turn1, r, &grid);
                    nearest(off, &p, &w, w.patch == 1 ? here[0] : here[2], w.patch == 1 ? here[1] : here[3], &grid);
                }
                widen(box, here);
            }
            cut(off, &cutter, box, row, column, rows, columns, face);
        }
        free(off);
    }
    free(segments); free(starts); free(filled); free(bounds); free(order);
    return n;
}
