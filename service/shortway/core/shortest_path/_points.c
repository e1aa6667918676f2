/* The best paths through layers of points, open or as loops: arrays in, indices out.
 *
 * `best_paths` is documented in points.py. Every cost is an exact int32 no greater than NEVER, every
 * rank six exact int64, so the answer is the same on every machine. The loop that takes the time is
 * plain C that compilers vectorise; where the loader can choose, it is compiled for AVX2 as well.
 *
 * First comes the least cost from every node to the end and, where more than one open path is
 * requested, to every node from the beginning. The sum bounds every path through a node, so all
 * paths of at most a cost are among the nodes of a small problem; there, those that differ enough
 * from the paths found so far are compared by rank. If there is none, the cost is raised. */
#define PY_SSIZE_T_CLEAN
#define Py_LIMITED_API 0x030B0000
#include <Python.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define NEVER (1 << 28)
#define MOST 16       /* coordinates */
#define HIGH 1023     /* coordinate: MOST times as much and two prices are an int16 */
#define CHEAP 8191    /* price of an edge up to which it is an int16 */
#define LANES 16      /* layers are padded to a multiple of so many nodes */
#define BIG 1000000   /* transitions from which on other threads run meanwhile */
#define OFTEN 4000000 /* transitions after which the caller's check is called */
#define CHUNK 65536   /* bytes */
#define FAR 512       /* nodes of two layers from which on boxes round them are compared first */

#if defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(ONE_CLONE)
#define CLONES __attribute__((target_clones("avx2", "default")))
#else
#define CLONES
#endif
#if defined(__GNUC__)
#define INLINE static inline __attribute__((always_inline))
#else
#define INLINE static inline
#endif

enum { MOTION, EARLY, APART, SQUARES, LAST, LATE, FIELDS }; /* what decides after cost */
enum { PARTS = 4 };
static const int PART[PARTS] = {MOTION, APART, SQUARES, LAST}; /* of edges */
typedef struct { int64_t field[FIELDS]; } Rank;

typedef struct { /* the points by coordinate: x[coordinate * stride + node] */
    int n, stride;
    const int *row; /* which of the caller's nodes each is; NULL: itself */
    const int16_t *x;
    const int32_t *cost, *early;
    const int64_t *late;
    int weight;
} Layer;

typedef struct { /* what an edge costs beside its distance, or `all` that it costs */
    int32_t equal, last, up, down;
    const int32_t *all, *part[PARTS]; /* part: of its rank, all or none of them but APART */
    int columns;
} Seam;

typedef struct { /* round every LANES nodes of a layer: the lowest and highest coordinates */
    int16_t *low, *high, *point; /* point: all coordinates of a node in a row */
    int32_t *least, *bound; /* what comes after its nodes at least; with the way there */
} Boxes;

typedef struct Chunk { /* memory that is freed together */
    struct Chunk *next;
    size_t used, size;
} Chunk;
typedef struct { Chunk *first; } Arena;

typedef struct { /* in a loop the first layer is the last one, too: the level after all layers */
    int layers, closed, voices, apart;
    Layer *layer, before; /* before: a point that leads into the first layer, if n is not 0 */
    Seam *seam, entry;
    int32_t **rest, **paid, *into, *out; /* costs by level and node, into the first layer, of a row */
    int **head;                          /* the first entry of a node, by level */
    Boxes boxes;
} Problem;

/* The caller's check, called with the interpreter's lock now and then. */
typedef struct { PyObject *check; PyThreadState *others; double work; } Watch;

static int levels(const Problem *p) { return p->layers + p->closed; }
static const Layer *at(const Problem *p, int level) { return p->layer + (level < p->layers ? level : 0); }
static int row_of(const Layer *of, int i) { return of->row ? of->row[i] : i; }

static void *take(Arena *arena, size_t bytes) {
    bytes = (bytes + 15) / 16 * 16;
    if (!arena->first || arena->first->used + bytes > arena->first->size) {
        size_t size = bytes > CHUNK ? bytes : CHUNK;
        Chunk *fresh = malloc(sizeof *fresh + size);
        if (!fresh) return NULL;
        *fresh = (Chunk){arena->first, 0, size};
        arena->first = fresh;
    }
    void *piece = (char *)(arena->first + 1) + arena->first->used;
    arena->first->used += bytes;
    return piece;
}

static void release(Arena *arena) {
    for (Chunk *next; arena->first; arena->first = next) next = arena->first->next, free(arena->first);
}

/* 0 with an exception if the caller wants to stop; `work` are the transitions since the last call. */
static int go_on(Watch *watch, double work) {
    if ((watch->work += work) < OFTEN) return 1;
    watch->work = 0;
    if (watch->others) PyEval_RestoreThread(watch->others);
    PyObject *answer = PyObject_CallNoArgs(watch->check);
    Py_XDECREF(answer);
    if (watch->others) watch->others = PyEval_SaveThread();
    return !!answer;
}

/* --- costs ------------------------------------------------------------------------------------ */

INLINE int16_t magnitude(int16_t d) { return d < 0 ? -d : d; }

/* best[i] = least over j of what the edge between points i and j costs, and ahead[j]. */
INLINE void relax_by(int32_t *restrict best, const int16_t *restrict x, int stride, int blocks, const int16_t *y,
                     int next, const int32_t *ahead, int m, int voices, int apart, Seam s) {
    int16_t equal = s.equal, last = s.last;
    for (int j = 0; j < m; j++) {
        int32_t own = ahead[j];
        if (own >= NEVER) continue;
        for (int i = 0; i < blocks * LANES; i++) {
            int16_t sum = 0, way = 0;
            for (int v = apart; v < voices; v++) sum += way = magnitude(x[v * stride + i] - y[v * next + j]);
            int16_t moved = apart ? sum + magnitude(x[i] - y[j]) : sum;
            sum += (moved ? 0 : equal) + (way ? 0 : last);
            best[i] = own + sum < best[i] ? own + sum : best[i];
        }
    }
}

INLINE int16_t gap(int16_t low, int16_t high, int16_t of, int16_t to) {
    int16_t above = of - high, below = low - to, most = above > below ? above : below;
    return most > 0 ? most : 0;
}

/* The same for many nodes: those are left out that are too far from the box round a block of i. */
INLINE void relax_far(int32_t *restrict best, const int16_t *restrict x, int blocks, const int16_t *y, int next,
                      const int32_t *ahead, int m, int voices, int apart, Seam s, Boxes box) {
    int stride = blocks * LANES, count = (m + LANES - 1) / LANES, room = (count + LANES - 1) / LANES * LANES;
    for (int c = 0; c < room; c++) box.least[c] = 2 * NEVER;
    for (int j = 0; j < m; j++) {
        int c = j / LANES;
        if (ahead[j] < box.least[c]) box.least[c] = ahead[j];
        for (int v = 0; v < voices; v++) {
            int16_t at = box.point[j * voices + v] = y[v * next + j];
            int16_t *low = box.low + v * room + c, *high = box.high + v * room + c;
            if (j % LANES == 0 || at < *low) *low = at;
            if (j % LANES == 0 || at > *high) *high = at;
        }
    }
    for (int b = 0; b < blocks; b++) {
        int16_t low[MOST], high[MOST];
        int32_t *to = best + b * LANES, worst = 4 * (NEVER - 1);
        const int16_t *own = x + b * LANES;
        for (int v = apart; v < voices; v++) {
            low[v] = high[v] = own[v * stride];
            for (int i = 1; i < LANES; i++) {
                int16_t at = own[v * stride + i];
                low[v] = at < low[v] ? at : low[v], high[v] = at > high[v] ? at : high[v];
            }
        }
        for (int c = 0; c < room; c++) {
            int16_t way = 0;
            for (int v = apart; v < voices; v++) way += gap(low[v], high[v], box.low[v * room + c], box.high[v * room + c]);
            box.bound[c] = box.least[c] + way;
        }
        int nearest = 0;
        for (int c = 1; c < count; c++) nearest = box.bound[c] < box.bound[nearest] ? c : nearest;
        for (int t = -1; t < count; t++) {
            int c = t < 0 ? nearest : t, first = c * LANES, size = m - first < LANES ? m - first : LANES, some = 0, near[LANES];
            if (t == nearest || box.bound[c] >= worst) continue;
            int16_t way[LANES];
            for (int j = 0; j < LANES; j++) {
                way[j] = 0;
                for (int v = apart; v < voices; v++)
                    way[j] += gap(low[v], high[v], y[v * next + first + j], y[v * next + first + j]);
            }
            for (int j = 0; j < size; j++) near[some] = first + j, some += ahead[first + j] + way[j] < worst;
            for (int k = 0; k < some; k++) {
                const int16_t *point = box.point + near[k] * voices;
                if (s.equal || s.last) relax_by(to, own, stride, 1, point, 1, ahead + near[k], 1, voices, apart, s);
                else relax_by(to, own, stride, 1, point, 1, ahead + near[k], 1, voices, apart, (Seam){0});
            }
            worst = to[0];
            for (int i = 1; i < LANES; i++) worst = to[i] > worst ? to[i] : worst;
        }
    }
}

/* The same for prices of any size, and of each semitone that the last coordinate of i is higher
 * (s.up) or lower (s.down) than that of j. */
INLINE void relax_dear(int32_t *restrict best, const int16_t *restrict x, int blocks, const int16_t *y,
                       int next, const int32_t *ahead, int m, int voices, int apart, Seam s) {
    int stride = blocks * LANES;
    for (int j = 0; j < m; j++) {
        if (ahead[j] >= NEVER) continue;
        for (int i = 0; i < blocks * LANES; i++) {
            int32_t sum = 0, way = 0;
            for (int v = apart; v < voices; v++) {
                way = x[v * stride + i] - y[v * next + j];
                sum += way < 0 ? -way : way;
            }
            int32_t moved = apart ? sum + magnitude(x[i] - y[j]) : sum;
            sum += (moved ? 0 : s.equal) + (way ? 0 : s.last) + (way < 0 ? -way * s.down : way * s.up);
            sum += ahead[j];
            best[i] = sum < best[i] ? sum : best[i];
        }
    }
}

INLINE void relax_cheap(int32_t *best, const Layer *of, const int16_t *y, int next, const int32_t *ahead, int m,
                        int voices, int apart, Seam s, Boxes boxes) {
    int blocks = of->stride / LANES;
    if (m < FAR || of->n < FAR) relax_by(best, of->x, of->stride, blocks, y, next, ahead, m, voices, apart, s);
    else relax_far(best, of->x, blocks, y, next, ahead, m, voices, apart, s, boxes);
}

#define ARGUMENTS best, of, y, next, ahead, m
#define USUAL(V, A) else if (voices == V && apart == A) relax_cheap(ARGUMENTS, V, A, s, boxes);
CLONES static void relax_points(int32_t *best, const Layer *of, const int16_t *y, int next, const int32_t *ahead,
                                int m, int voices, int apart, Seam s, Boxes boxes) {
    if (s.equal > CHEAP || s.last > CHEAP || s.up || s.down)
        relax_dear(best, of->x, of->stride / LANES, y, next, ahead, m, voices, apart, s);
    USUAL(3, 0) USUAL(4, 0) USUAL(5, 0) USUAL(5, 1) USUAL(6, 0) USUAL(6, 1) USUAL(7, 0) USUAL(7, 1)
    else relax_cheap(ARGUMENTS, voices, apart, s, boxes);
}

/* Least cost to each node of one layer over a seam from nodes `first` to `last` - 1 of the other,
 * which cost `ahead`; `forward`: the one is the later layer. Where there is no edge, NEVER or more. */
static void relax(const Problem *p, int32_t *best, const Layer *to, const Layer *from, int first, int last,
                  const int32_t *ahead, Seam s, int forward) {
    for (int i = 0; i < to->stride; i++) best[i] = 4 * (NEVER - 1);
    if (!s.all) {
        if (!forward) s = (Seam){s.equal, s.last, s.down, s.up, NULL, {NULL}, 0};
        relax_points(best, to, from->x + first, from->stride, ahead, last - first, p->voices, p->apart, s, p->boxes);
        return;
    }
    const Layer *a = forward ? from : to, *b = forward ? to : from;
    for (int i = forward ? first : 0; i < (forward ? last : a->n); i++) {
        const int32_t *all = s.all + (size_t)row_of(a, i) * s.columns;
        for (int j = forward ? 0 : first; j < (forward ? b->n : last); j++) {
            int32_t sum = all[row_of(b, j)] + ahead[(forward ? i : j) - first], *least = best + (forward ? j : i);
            *least = sum < *least ? sum : *least;
        }
    }
}

/* What the edges from node `i` of a level to all nodes of the next cost. */
static void edges(const Problem *p, int level, int i) {
    static const int32_t nothing = 0;
    relax(p, p->out, at(p, level + 1), at(p, level), i, i + 1, &nothing, p->seam[level], 1);
}

static double transitions(const Problem *p, int level) {
    return (double)at(p, level)->n * at(p, level + 1)->n;
}

/* Least cost from every node to the end; a loop ends at node `end`, or with -1 at any. */
static int costs_to_go(const Problem *p, int end, Watch *watch) {
    int last = levels(p) - 1;
    for (int i = 0; i < at(p, last)->stride; i++)
        p->rest[last][i] = !p->closed ? at(p, last)->cost[i]
                         : i < at(p, last)->n && (end < 0 || i == end) ? 0 : NEVER;
    for (int k = last - 1; k >= 0; k--) {
        const Layer *of = at(p, k), *next = at(p, k + 1);
        int32_t *rest = p->rest[k];
        if (!go_on(watch, transitions(p, k))) return 0;
        relax(p, rest, of, next, 0, next->n, p->rest[k + 1], p->seam[k], 0);
        for (int i = 0; i < of->stride; i++) {
            int32_t sum = rest[i] < NEVER ? rest[i] + of->cost[i] : NEVER;
            rest[i] = sum < NEVER ? sum : NEVER;
        }
    }
    return 1;
}

/* Least cost up to every node, its own excluded; in a loop from any first node. */
static int costs_so_far(const Problem *p, Watch *watch) {
    memcpy(p->paid[0], p->into, p->layer[0].stride * sizeof **p->paid);
    for (int k = 0; k + 1 < levels(p); k++) {
        const Layer *of = at(p, k), *next = at(p, k + 1);
        if (!go_on(watch, transitions(p, k))) return 0;
        for (int i = 0; i < of->n; i++) p->out[i] = p->paid[k][i] + of->cost[i];
        relax(p, p->paid[k + 1], next, of, 0, of->n, p->out, p->seam[k], 1);
        for (int i = 0; i < next->stride; i++)
            if (p->paid[k + 1][i] > NEVER) p->paid[k + 1][i] = NEVER;
    }
    return 1;
}

/* --- ranks ------------------------------------------------------------------------------------ */

static int before(const Rank *a, const Rank *b) {
    for (int f = 0; f < FIELDS; f++)
        if (a->field[f] != b->field[f]) return a->field[f] < b->field[f];
    return 0;
}

static void add_move(Rank *rank, const Problem *p, const Seam *seam, const Layer *from, int i, const Layer *to, int j) {
    int64_t move = 0;
    if (seam->part[0]) {
        size_t edge = (size_t)row_of(from, i) * seam->columns + row_of(to, j);
        for (int f = 0; f < PARTS; f++)
            if (seam->part[f]) rank->field[PART[f]] += seam->part[f][edge];
        return;
    }
    for (int v = 0; v < p->voices; v++) {
        move = abs(from->x[v * from->stride + i] - to->x[v * to->stride + j]);
        rank->field[v < p->apart ? APART : MOTION] += move;
        if (v >= p->apart) rank->field[SQUARES] += move * move;
    }
    rank->field[LAST] += move;
}

static void add_node(Rank *rank, const Layer *of, int i) {
    rank->field[EARLY] += of->early[i];
    rank->field[LATE] += of->late[i] * of->weight;
}

/* --- paths that differ ------------------------------------------------------------------------ */

/* The paths found so far. A prefix of another path has a code: the differences from each of them in
 * base enough + 1; or, where one is enough, the first of them that begins so, `count` if none does. */
typedef struct {
    int count, want, enough, layers;
    int *path, *split; /* split: the first layer at which two of them differ */
} Found;

static int last_code(const Found *f) {
    int codes = 1;
    if (f->enough == 1) return f->count;
    for (int q = 0; q < f->count; q++) codes *= f->enough + 1;
    return codes - 1;
}

/* The code of a prefix with one more node, the caller's `row` of a layer. */
static int advance(const Found *f, int code, int layer, int weight, int row) {
    if (f->enough > 1) {
        int next = 0, unit = 1;
        for (int q = 0; q < f->count; q++, unit *= f->enough + 1) {
            int digit = code / unit % (f->enough + 1);
            if (f->path[q * f->layers + layer] != row) digit += weight;
            next += (digit < f->enough ? digit : f->enough) * unit;
        }
        return next;
    }
    for (int q = code; q < f->count; q++)
        if (f->split[q * f->want + code] >= layer && f->path[q * f->layers + layer] == row) return q;
    return f->count;
}

static void add_path(Found *f, const int *nodes) {
    int *own = f->path + f->count * f->layers;
    memcpy(own, nodes, f->layers * sizeof *own);
    for (int q = 0; q < f->count; q++) {
        int k = 0;
        while (k < f->layers && f->path[q * f->layers + k] == own[k]) k++;
        f->split[f->count * f->want + q] = k;
    }
    f->split[f->count * f->want + f->count] = f->layers;
    f->count++;
}

/* Least cost up to a node by a prefix of this code, and the best way on. */
typedef struct { int node, code, next, onward; int32_t paid; Rank rank; } Entry;
typedef struct {
    Entry *entry;
    int count, size, *begin, codes;
    int *slot; /* of one level by node and code: an entry, NOWHERE without one; used from MANY codes on */
} Entries;
enum { NOWHERE = -1, ARRIVED = -2, MANY = 16 };

static int *slot(const Entries *all, int node, int code) { return all->slot + (size_t)node * all->codes + code; }

static int find(const Problem *p, const Entries *all, int level, int node, int code) {
    if (all->codes >= MANY) return *slot(all, node, code);
    int e = p->head[level][node];
    while (e >= 0 && all->entry[e].code != code) e = all->entry[e].next;
    return e;
}

/* Fill the slots of a level's entries, or empty them. */
static void set_slots(const Problem *p, const Entries *all, int level, int filled) {
    int end = level + 1 < levels(p) ? all->begin[level + 1] : all->count;
    for (int e = all->begin[level]; e < end && all->codes >= MANY; e++)
        *slot(all, all->entry[e].node, all->entry[e].code) = filled ? e : NOWHERE;
}

/* Empty slots for every node and code. */
static int make_slots(const Problem *p, Entries *all, int codes) {
    size_t most = 0;
    all->codes = codes;
    if (codes < MANY) return 1;
    for (int k = 0; k < p->layers; k++) most = (size_t)p->layer[k].n > most ? (size_t)p->layer[k].n : most;
    int *more = realloc(all->slot, most * codes * sizeof *more);
    if (!more) return 0;
    all->slot = more;
    for (size_t i = 0; i < most * codes; i++) more[i] = NOWHERE;
    return 1;
}

/* Note that a node is reached at this cost. */
static int reach(const Problem *p, Entries *all, int level, int node, int code, int32_t paid) {
    int known = find(p, all, level, node, code);
    if (known >= 0) {
        if (paid < all->entry[known].paid) all->entry[known].paid = paid;
        return 1;
    }
    if (all->count == all->size) {
        int size = all->size ? 2 * all->size : 256;
        Entry *more = realloc(all->entry, size * sizeof *more);
        if (!more) return 0;
        all->entry = more, all->size = size;
    }
    all->entry[all->count] = (Entry){node, code, p->head[level][node], NOWHERE, paid, {{0}}};
    if (all->codes >= MANY) *slot(all, node, code) = all->count;
    p->head[level][node] = all->count++;
    return 1;
}

/* Enter all nodes of the next level that a path of at most `most` leads to. */
static int enter(const Problem *p, Entries *all, const Found *found, int level, int32_t most) {
    const Layer *of = at(p, level), *to = at(p, level + 1);
    int reads = level + 1 < p->layers;
    for (int j = 0; j < to->n; j++) p->head[level + 1][j] = NOWHERE;
    for (int i = 0; i < of->n; i++) {
        if (p->head[level][i] < 0) continue;
        edges(p, level, i);
        int32_t least = NEVER;
        for (int e = p->head[level][i]; e >= 0; e = all->entry[e].next)
            if (all->entry[e].paid < least) least = all->entry[e].paid;
        for (int j = 0; j < to->n; j++) {
            int32_t on = of->cost[i] + p->out[j], due = most - on - p->rest[level + 1][j];
            if (due < least) continue;
            for (int e = p->head[level][i]; e >= 0; e = all->entry[e].next) {
                Entry own = all->entry[e];
                if (own.paid > due) continue;
                int code = reads ? advance(found, own.code, level + 1, to->weight, row_of(to, j)) : own.code;
                if (!reach(p, all, level + 1, j, code, own.paid + on)) return 0;
            }
        }
    }
    return 1;
}

/* Rank the entries of a level from which a best path goes on, by the ranks of the next level. */
static void rank_level(const Problem *p, Entries *all, const Found *found, int level) {
    const Layer *of = at(p, level), *to = at(p, level + 1);
    int reads = level + 1 < p->layers;
    set_slots(p, all, level + 1, 1);
    for (int i = 0; i < of->n; i++) {
        if (p->head[level][i] < 0) continue;
        edges(p, level, i);
        for (int j = 0; j < to->n; j++) {
            if (p->head[level + 1][j] < 0) continue;
            for (int e = p->head[level][i]; e >= 0; e = all->entry[e].next) {
                Entry *own = all->entry + e;
                int code = reads ? advance(found, own->code, level + 1, to->weight, row_of(to, j)) : own->code;
                int on = find(p, all, level + 1, j, code);
                if (on < 0 || all->entry[on].onward == NOWHERE) continue;
                if (own->paid + of->cost[i] + p->out[j] != all->entry[on].paid) continue;
                Rank rank = all->entry[on].rank;
                add_move(&rank, p, p->seam + level, of, i, to, j);
                add_node(&rank, of, i);
                if (own->onward == NOWHERE || before(&rank, &own->rank)) own->rank = rank, own->onward = on;
            }
        }
    }
    set_slots(p, all, level + 1, 0);
}

/* A path, its cost and its rank. */
typedef struct { int32_t cost; Rank rank; int *nodes; } Best;

/* The first entry of the best path that differs enough, of those that cost at most `most`. */
static int first_of_best(const Problem *p, Entries *all, const Found *found, int32_t most, Best *best) {
    int last = levels(p) - 1, code = last_code(found), first = NOWHERE;
    best->cost = NEVER;
    for (int e = all->begin[last]; e < all->count; e++) {
        Entry *end = all->entry + e;
        int32_t cost = end->paid + p->rest[last][end->node];
        if (end->code == code && cost <= most && cost < best->cost) best->cost = cost;
    }
    if (best->cost == NEVER) return NOWHERE;
    for (int e = all->begin[last]; e < all->count; e++) {
        Entry *end = all->entry + e;
        if (end->code != code || end->paid + p->rest[last][end->node] != best->cost) continue;
        end->onward = ARRIVED;
        if (!p->closed) add_node(&end->rank, at(p, last), end->node);
    }
    for (int k = last - 1; k >= 0; k--) rank_level(p, all, found, k);
    for (int e = 0; e < (last ? all->begin[1] : all->count); e++) {
        Entry *own = all->entry + e;
        if (own->onward == NOWHERE) continue;
        if (p->before.n) add_move(&own->rank, p, &p->entry, &p->before, 0, p->layer, own->node);
        if (first < 0 || before(&own->rank, &all->entry[first].rank)) first = e;
    }
    best->rank = all->entry[first].rank;
    return first;
}

/* Of the paths from node `start`, or with -1 from any, that cost at most `most`, the best that
 * differs enough from those found. -1 without memory, else whether there is one. */
static int best_within(const Problem *p, Entries *all, const Found *found, int start, int32_t most,
                       Best *best, Watch *watch) {
    const Layer *first = p->layer;
    all->count = all->begin[0] = 0;
    if (!make_slots(p, all, last_code(found) + 1)) return -1;
    for (int i = 0; i < first->n; i++) {
        p->head[0][i] = NOWHERE;
        if ((start >= 0 && i != start) || p->into[i] + p->rest[0][i] > most) continue;
        int code = advance(found, 0, 0, first->weight, row_of(first, i));
        if (!reach(p, all, 0, i, code, p->into[i])) return -1;
    }
    for (int k = 0; k + 1 < levels(p); k++) {
        all->begin[k + 1] = all->count;
        set_slots(p, all, k, 0);
        if (!enter(p, all, found, k, most)) return -1;
        if (!go_on(watch, (double)(all->count - all->begin[k + 1]) * at(p, k + 1)->n)) return -1;
    }
    set_slots(p, all, levels(p) - 1, 0);
    int e = first_of_best(p, all, found, most, best);
    if (e == NOWHERE) return 0;
    for (int k = 0; k < p->layers; k++, e = all->entry[e].onward) best->nodes[k] = row_of(at(p, k), all->entry[e].node);
    return 1;
}

/* The same for loops through any first node. `least`: what one costs that need not differ. */
static int best_loop(const Problem *p, Entries *all, const Found *found, int32_t most, Best *best,
                     Best *spare, int32_t *least, Watch *watch) {
    int any = 0;
    for (int start = 0; start < p->layer[0].n; start++) {
        if (!costs_to_go(p, start, watch)) return -1;
        int32_t cost = p->into[start] + p->rest[0][start];
        if (cost < *least) *least = cost;
        if (cost > most) continue;
        int one = best_within(p, all, found, start, most, spare, watch);
        if (one < 0) return -1;
        if (!one || (any && (spare->cost > best->cost || (spare->cost == best->cost && !before(&spare->rank, &best->rank)))))
            continue;
        any = 1, most = spare->cost;
        int *nodes = best->nodes;
        *best = *spare, spare->nodes = nodes;
    }
    return any;
}

/* --- problems --------------------------------------------------------------------------------- */

/* Room for one value a node of every level. */
static void *by_level(const Problem *p, Arena *arena, size_t size) {
    char **rows = take(arena, levels(p) * sizeof *rows);
    for (int k = 0; rows && k < levels(p); k++)
        if (!(rows[k] = take(arena, at(p, k)->stride * size))) return NULL;
    return rows;
}

static int make_room(Problem *p, Arena *arena) {
    int most = 0;
    for (int k = 0; k < p->layers; k++) most = p->layer[k].stride > most ? p->layer[k].stride : most;
    if (!(p->rest = by_level(p, arena, sizeof **p->rest)) || !(p->head = by_level(p, arena, sizeof **p->head))) return 0;
    if (!(p->into = take(arena, p->layer[0].stride * sizeof *p->into))) return 0;
    if (!(p->out = take(arena, most * sizeof *p->out))) return 0;
    memset(p->into, 0, p->layer[0].stride * sizeof *p->into);
    size_t room = (most / LANES + LANES - 1) / LANES * LANES;
    if (most >= FAR) {
        p->boxes.low = take(arena, 2 * p->voices * room * sizeof(int16_t));
        p->boxes.point = take(arena, p->voices * most * sizeof(int16_t));
        p->boxes.least = take(arena, 2 * room * sizeof(int32_t));
        if (!p->boxes.low || !p->boxes.point || !p->boxes.least) return 0;
        memset(p->boxes.low, 0, 2 * p->voices * room * sizeof(int16_t));
        p->boxes.high = p->boxes.low + p->voices * room, p->boxes.bound = p->boxes.least + room;
    }
    static const int32_t nothing = 0;
    if (p->before.n) relax(p, p->into, p->layer, &p->before, 0, 1, &nothing, p->entry, 1);
    return 1;
}

/* The nodes of a layer through which a path costs at most `most`. */
static int keep(Layer *to, const Layer *of, int voices, const int32_t *through, int32_t most, Arena *arena) {
    int n = 0, *row;
    for (int i = 0; i < of->n; i++) n += through[i] <= most;
    int stride = (n + LANES - 1) / LANES * LANES;
    int16_t *x = take(arena, (size_t)voices * stride * sizeof *x);
    int32_t *cost = take(arena, stride * sizeof *cost), *early = take(arena, stride * sizeof *early);
    int64_t *late = take(arena, stride * sizeof *late);
    if (!x || !cost || !early || !late || !(row = take(arena, stride * sizeof *row))) return 0;
    memset(x, 0, (size_t)voices * stride * sizeof *x);
    *to = (Layer){n, stride, row, x, cost, early, late, of->weight};
    for (int i = 0, k = 0; i < of->n; i++) {
        if (through[i] > most) continue;
        for (int v = 0; v < voices; v++) x[v * stride + k] = of->x[v * of->stride + i];
        row[k] = i, cost[k] = of->cost[i], early[k] = of->early[i], late[k++] = of->late[i];
    }
    for (int k = n; k < stride; k++) cost[k] = NEVER, row[k] = 0;
    return 1;
}

/* The problem of all paths of at most `most`; `through` bounds them by node. */
static int reduce(Problem *q, const Problem *p, int32_t **through, int32_t most, Arena *arena) {
    *q = *p;
    if (!(q->layer = take(arena, p->layers * sizeof *q->layer))) return 0;
    for (int k = 0; k < p->layers; k++)
        if (!keep(q->layer + k, p->layer + k, p->voices, through[k], most, arena)) return 0;
    return make_room(q, arena);
}

/* What every path through a node costs at least, in `paid`; returns the least of all. A loop through
 * a first node costs at least what an open path from or to that node does. */
static int32_t bounds(const Problem *p) {
    int32_t least = NEVER;
    for (int k = p->layers - 1; k >= 0; k--)
        for (int i = 0; i < p->layer[k].n; i++) {
            int32_t sum = p->paid[k][i] + p->rest[k][i];
            if (p->closed && !k && p->paid[p->layers][i] > sum) sum = p->paid[p->layers][i];
            p->paid[k][i] = sum < NEVER ? sum : NEVER;
            if (!k && sum < least) least = sum;
        }
    return least;
}

/* The least bound above `most`, NEVER - 1 without one. */
static int32_t least_above(const Problem *p, int32_t most) {
    int32_t least = NEVER - 1;
    for (int k = 0; k < p->layers; k++)
        for (int i = 0; i < p->layer[k].n; i++)
            if (p->paid[k][i] > most && p->paid[k][i] < least) least = p->paid[k][i];
    return least;
}

/* Add the paths one after the other, up to `want`; 0 without memory or if the caller stops. */
static int next_paths(const Problem *p, Found *found, Entries *all, Best *best, Best *spare, Watch *watch) {
    Problem q;
    Arena arena = {NULL};
    int32_t most = bounds(p), more = 2, reduced = -1;
    int going = 1;
    while (going && found->count < found->want && most < NEVER) {
        int32_t least = NEVER;
        if (reduced != most) {
            release(&arena);
            if (!(going = reduce(&q, p, p->paid, most, &arena) && (q.closed || costs_to_go(&q, -1, watch)))) break;
            reduced = most;
        }
        int one = q.closed ? best_loop(&q, all, found, most, best, spare, &least, watch)
                           : best_within(&q, all, found, -1, most, best, watch);
        if (one > 0) {
            add_path(found, best->nodes);
            more = 2;
        } else if (one < 0) going = 0;
        else if (most == NEVER - 1) break;
        else {
            int32_t above = least_above(p, most);
            most = most + more > above ? most + more : above;
            if (!found->count && least < most) most = least;
            if (most > NEVER - 1) most = NEVER - 1;
            more = more < NEVER / 4 ? 2 * more : more;
        }
    }
    release(&arena);
    return going;
}

static int search(Problem *p, Found *found, Arena *arena, Entries *all, Watch *watch) {
    Best best, spare;
    if (!make_room(p, arena) || !(all->begin = take(arena, (levels(p) + 1) * sizeof *all->begin))) return 0;
    if (!(best.nodes = take(arena, p->layers * sizeof(int))) || !(spare.nodes = take(arena, p->layers * sizeof(int)))) return 0;
    if (!(found->path = take(arena, (size_t)found->want * p->layers * sizeof(int)))) return 0;
    if (!(found->split = take(arena, (size_t)found->want * found->want * sizeof(int)))) return 0;
    if (!costs_to_go(p, -1, watch)) return 0;
    if (p->closed || found->want > 1) {
        if (!(p->paid = by_level(p, arena, sizeof **p->paid)) || !costs_so_far(p, watch)) return 0;
        return next_paths(p, found, all, &best, &spare, watch);
    }
    int32_t least = NEVER - 1;
    for (int i = 0; i < p->layer[0].n; i++)
        if (p->into[i] + p->rest[0][i] < least) least = p->into[i] + p->rest[0][i];
    int one = best_within(p, all, found, -1, least, &best, watch);
    if (one > 0) add_path(found, best.nodes);
    return one >= 0;
}

/* --- from and to Python ----------------------------------------------------------------------- */

static int refuse(const char *why) {
    PyErr_SetString(PyExc_ValueError, why);
    return 0;
}

/* A layer from the bytes that points.py packs: nodes and coordinates as int32, two of padding, and
 * then by padded node x of each coordinate, `late`, `cost`, `early`. */
static int read_layer(Layer *of, int voices, PyObject *given) {
    char *bytes;
    Py_ssize_t size;
    int32_t head[4];
    if (!given || PyBytes_AsStringAndSize(given, &bytes, &size) < 0) return 0;
    if (size < (Py_ssize_t)sizeof head) return refuse("a layer is too short");
    memcpy(head, bytes, sizeof head);
    if (head[0] < 1) return refuse("a layer has no nodes");
    if (head[1] != voices) return refuse("layers differ in their coordinates");
    Py_ssize_t stride = ((Py_ssize_t)head[0] + LANES - 1) / LANES * LANES;
    if (size != (Py_ssize_t)sizeof head + stride * (2 * voices + 16)) return refuse("a layer has a wrong size");
    *of = (Layer){head[0], (int)stride, NULL, (int16_t *)(bytes + sizeof head), NULL, NULL, NULL, 0};
    of->late = (int64_t *)(of->x + voices * stride);
    of->cost = (int32_t *)(of->late + stride), of->early = of->cost + stride;
    uint16_t wrong = 0;
    for (Py_ssize_t i = 0; i < voices * stride; i++) wrong |= (uint16_t)of->x[i] & ~HIGH;
    if (wrong) return refuse("a coordinate is not 0 to 1023");
    for (Py_ssize_t i = 0; i < stride; i++) wrong |= of->cost[i] < 0 || of->cost[i] > NEVER;
    return !wrong || refuse("a cost is not 0 to 1 << 28");
}

/* Arrays of the caller that are in use. */
typedef struct View {
    struct View *next;
    Py_buffer view;
} View;

/* The figures of all edges of a seam, NULL for None. */
static int read_edges(const int32_t **to, size_t count, PyObject *given, Arena *arena, View **views) {
    *to = NULL;
    if (given == Py_None) return 1;
    View *of = take(arena, sizeof *of);
    if (!of) return PyErr_NoMemory(), 0;
    if (PyObject_GetBuffer(given, &of->view, PyBUF_SIMPLE) < 0) return 0;
    of->next = *views, *views = of;
    int fits = (size_t)of->view.len == count * sizeof **to;
    if (!fits) return refuse("figures of edges have a wrong size");
    *to = of->view.buf;
    for (size_t i = 0; i < count; i++) fits &= (*to)[i] >= 0 && (*to)[i] <= NEVER;
    return fits || refuse("a figure of an edge is not 0 to 1 << 28");
}

static int read_seam(Seam *of, int rows, int columns, PyObject *given, Arena *arena, View **views) {
    PyObject *all, *part[PARTS];
    size_t count = (size_t)rows * columns;
    if (!given || !PyArg_ParseTuple(given, "iiiiOOOOO", &of->equal, &of->last, &of->up, &of->down, &all, part,
                                    part + 1, part + 2, part + 3)) return 0;
    if (of->equal < 0 || of->last < 0 || of->equal > NEVER || of->last > NEVER) return refuse("a price is not 0 to 1 << 28");
    if (of->up < 0 || of->down < 0 || of->up > NEVER / HIGH || of->down > NEVER / HIGH) return refuse("too dear a semitone");
    of->columns = columns;
    for (int f = 0; f < PARTS; f++)
        if (!read_edges(of->part + f, count, part[f], arena, views)) return 0;
    return read_edges(&of->all, count, all, arena, views);
}

static int read_problem(Problem *p, PyObject *layers, PyObject *weights, PyObject *seams, Arena *arena, View **views) {
    int count = levels(p) - 1;
    if (!(p->layer = take(arena, p->layers * sizeof *p->layer)) || !(p->seam = take(arena, (count + 1) * sizeof *p->seam))) {
        PyErr_NoMemory();
        return 0;
    }
    for (int k = 0; k < p->layers; k++) {
        PyObject *weight = PyList_GetItem(weights, k);
        if (!read_layer(p->layer + k, p->voices, PyList_GetItem(layers, k)) || !weight) return 0;
        long steps = PyLong_AsLong(weight);
        if (steps < 1 || steps > 1 << 20) return PyErr_Occurred() ? 0 : refuse("a weight is not 1 to 1 << 20");
        p->layer[k].weight = (int)steps;
    }
    PyObject *last = NULL;
    for (int k = 0; k < count; k++) {
        PyObject *given = PyList_GetItem(seams, k);
        if (given && given == last && !p->seam[k - 1].all) p->seam[k] = p->seam[k - 1];
        else if (!read_seam(p->seam + k, at(p, k)->n, at(p, k + 1)->n, last = given, arena, views)) return 0;
    }
    return 1;
}

static PyObject *as_list(const Found *found) {
    PyObject *list = PyList_New(found->count);
    for (int q = 0; list && q < found->count; q++) {
        PyObject *path = PyTuple_New(found->layers);
        if (!path) return Py_DECREF(list), NULL;
        for (int k = 0; k < found->layers; k++)
            PyTuple_SetItem(path, k, PyLong_FromLong(found->path[q * found->layers + k]));
        PyList_SetItem(list, q, path);
    }
    return list;
}

static PyObject *solve(Problem *p, PyObject *args, Arena *arena, View **views) {
    PyObject *layers, *weights, *seams, *entry, *before, *check;
    int want, enough;
    if (!PyArg_ParseTuple(args, "O!O!O!OOiipiiO", &PyList_Type, &layers, &PyList_Type, &weights, &PyList_Type, &seams,
                          &before, &entry, &p->voices, &p->apart, &p->closed, &want, &enough, &check)) return NULL;
    p->layers = (int)PyList_Size(layers);
    if (!p->layers || p->voices < 1 || p->voices > MOST || p->apart < 0 || p->apart > 1 || p->apart >= p->voices)
        return refuse("one layer or more, of points of 1 to 16 coordinates"), NULL;
    if (want < 1 || want > 1000 || enough < 1 || enough > 1 << 20) return refuse("no such number of paths"), NULL;
    double codes = 1;
    for (int q = 1; q < want && enough > 1; q++) codes *= enough + 1;
    if (codes > 1 << 20) return refuse("too many differences are counted"), NULL;
    if (!read_problem(p, layers, weights, seams, arena, views)) return NULL;
    if (before != Py_None && (!read_layer(&p->before, p->voices, before) || !read_seam(&p->entry, 1, p->layer->n, entry, arena, views))) return NULL;
    Found found = {0, want, enough, p->layers, NULL, NULL};
    Entries all = {0};
    double work = 0;
    for (int k = 0; k + 1 < levels(p); k++) work += transitions(p, k);
    Watch watch = {check, NULL, 0};
    if (work >= BIG) watch.others = PyEval_SaveThread();
    int going = search(p, &found, arena, &all, &watch);
    if (watch.others) PyEval_RestoreThread(watch.others);
    free(all.entry);
    free(all.slot);
    if (going) return as_list(&found);
    return PyErr_Occurred() ? NULL : PyErr_NoMemory();
}

static PyObject *best_paths(PyObject *module, PyObject *args) {
    Problem p = {0};
    Arena arena = {NULL};
    View *views = NULL;
    (void)module;
    PyObject *found = solve(&p, args, &arena, &views);
    for (; views; views = views->next) PyBuffer_Release(&views->view);
    release(&arena);
    return found;
}

static PyMethodDef methods[] = {{"best_paths", best_paths, METH_VARARGS, NULL}, {NULL, NULL, 0, NULL}};
static struct PyModuleDef definition = {PyModuleDef_HEAD_INIT, "_points", NULL, 0, methods, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__points(void) { return PyModule_Create(&definition); }
