/* The best path through layers of points, open or as a loop: arrays in, indices out.
 *
 * `best_path(layers, seams, apart, closed)` is documented in points.py. Every cost is an exact
 * int32 no greater than NEVER, every rank six exact int64, so the answer is the same on every
 * machine. The two loops that take the time are plain C that compilers vectorise; where the loader
 * can choose, they are compiled for AVX2 as well. */
#define PY_SSIZE_T_CLEAN
#define Py_LIMITED_API 0x030B0000
#include <Python.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define NEVER (1 << 28)
#define MOST 16      /* coordinates */
#define HIGH 2047    /* coordinate: MOST times as much is an int16 */
#define BIG 1000000  /* transitions from which on other threads run meanwhile */
#define CHUNK 65536  /* bytes */

#if defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(ONE_CLONE)
#define CLONES __attribute__((target_clones("avx2", "default")))
#else
#define CLONES
#endif

enum { MOTION, EARLY, APART, SQUARES, LAST, LATE, FIELDS }; /* what decides after cost */
typedef struct { int64_t field[FIELDS]; } Rank;

typedef struct { /* the points by coordinate: x[coordinate * n + node] */
    int n, *row; /* row: which of the caller's nodes each is */
    int16_t *x;
    int32_t *cost, *early;
    int64_t *late;
} Layer;

typedef struct { /* what an edge costs beside its distance, or `all` that it costs */
    int32_t equal, last;
    int32_t *all;
    int columns;
} Seam;

typedef struct { /* in a loop the first layer is the last one, too: the level after all layers */
    int layers, closed, voices, apart;
    Layer *layer;
    Seam *seam;
} Problem;

static int levels(const Problem *p) { return p->layers + p->closed; }
static const Layer *at(const Problem *p, int level) { return p->layer + level % p->layers; }

/* --- costs ------------------------------------------------------------------------------------ */

#define SUM(count)                                                      \
    for (int j = 0; j < n; j++) {                                       \
        int16_t sum = 0;                                                \
        for (int v = 0; v < count; v++) {                               \
            int16_t way = x[v * n + j] - y[v];                          \
            sum += way < 0 ? -way : way;                                \
        }                                                               \
        out[j] = sum;                                                   \
    }

/* Distance and prices from point `y` to the `n` points `x`. */
CLONES static void distances(int32_t *restrict out, const int16_t *restrict x, int n,
                             const int16_t *restrict y, int apart, int voices, Seam seam) {
    const int16_t *first = x, *final = x + (voices - 1) * n;
    int16_t y_first = y[0], y_final = y[voices - 1];
    x += apart * n, y += apart;
    switch (voices - apart) {
        case 3: SUM(3) break;
        case 4: SUM(4) break;
        case 5: SUM(5) break;
        case 6: SUM(6) break;
        default: SUM(voices - apart)
    }
    if (seam.equal || seam.last)
        for (int j = 0; j < n; j++) {
            int equal = (out[j] == 0) & (first[j] == y_first);
            out[j] += (equal ? seam.equal : 0) + (final[j] == y_final ? seam.last : 0);
        }
}

CLONES static int32_t least_sum(const int32_t *restrict a, const int32_t *restrict b, int n) {
    int32_t least = 2 * NEVER;
    for (int j = 0; j < n; j++) {
        int32_t sum = a[j] + b[j];
        least = sum < least ? sum : least;
    }
    return least;
}

/* What the edges from node `i` of a level to all nodes of the next cost. */
static void edges(const Problem *p, int level, int i, int32_t *out) {
    const Layer *from = at(p, level), *to = at(p, level + 1);
    const Seam *seam = p->seam + level;
    int16_t y[MOST];
    if (seam->all) {
        const int32_t *all = seam->all + (size_t)from->row[i] * seam->columns;
        for (int j = 0; j < to->n; j++) out[j] = all[to->row[j]];
        return;
    }
    for (int v = 0; v < p->voices; v++) y[v] = from->x[v * from->n + i];
    distances(out, to->x, to->n, y, p->apart, p->voices, *seam);
}

/* Least cost from every node to the end; a loop ends at node `end`, or with -1 at any. */
static void costs_to_go(const Problem *p, int32_t **rest, int32_t *out, int end) {
    int last = levels(p) - 1;
    for (int i = 0; i < at(p, last)->n; i++)
        rest[last][i] = !p->closed ? at(p, last)->cost[i] : end < 0 || i == end ? 0 : NEVER;
    for (int k = last - 1; k >= 0; k--)
        for (int i = 0; i < at(p, k)->n; i++) {
            edges(p, k, i, out);
            int32_t least = at(p, k)->cost[i] + least_sum(out, rest[k + 1], at(p, k + 1)->n);
            rest[k][i] = least < NEVER ? least : NEVER;
        }
}

/* Least cost from any first node up to every node, its own excluded. */
static void costs_so_far(const Problem *p, int32_t **paid, int32_t *out) {
    memset(paid[0], 0, at(p, 0)->n * sizeof **paid);
    for (int k = 0; k + 1 < levels(p); k++) {
        int n = at(p, k + 1)->n;
        for (int j = 0; j < n; j++) paid[k + 1][j] = NEVER;
        for (int i = 0; i < at(p, k)->n; i++) {
            int32_t own = paid[k][i] + at(p, k)->cost[i], *next = paid[k + 1];
            edges(p, k, i, out);
            for (int j = 0; j < n; j++) next[j] = own + out[j] < next[j] ? own + out[j] : next[j];
        }
    }
}

/* --- ranks ------------------------------------------------------------------------------------ */

static int before(const Rank *a, const Rank *b) {
    for (int f = 0; f < FIELDS; f++)
        if (a->field[f] != b->field[f]) return a->field[f] < b->field[f];
    return 0;
}

static void add_move(Rank *rank, const Problem *p, int level, int i, int j) {
    const Layer *from = at(p, level), *to = at(p, level + 1);
    int64_t move = 0;
    for (int v = 0; v < p->voices; v++) {
        move = abs(from->x[v * from->n + i] - to->x[v * to->n + j]);
        rank->field[v < p->apart ? APART : MOTION] += move;
        if (v >= p->apart) rank->field[SQUARES] += move * move;
    }
    rank->field[LAST] += move;
}

static void add_node(Rank *rank, const Layer *of, int i) {
    rank->field[EARLY] += of->early[i];
    rank->field[LATE] += of->late[i];
}

/* Room for one value a node of every level, by level, and for a level's ranks and edges. */
typedef struct {
    int32_t **rest, **paid, **onward, *out;
    uint8_t **alive;
    Rank *ranks[2];
} Room;

/* The best of the paths of least cost from the first nodes marked `alive`, and its rank. */
static Rank follow(const Problem *p, Room *room, int32_t *path) {
    int32_t **rest = room->rest, **onward = room->onward, *out = room->out;
    uint8_t **alive = room->alive;
    Rank **ranks = room->ranks;
    int last = levels(p) - 1, best = -1;
    for (int k = 0; k < last; k++) {
        memset(alive[k + 1], 0, at(p, k + 1)->n);
        for (int i = 0; i < at(p, k)->n; i++) {
            if (!alive[k][i]) continue;
            edges(p, k, i, out);
            int32_t due = rest[k][i] - at(p, k)->cost[i];
            for (int j = 0; j < at(p, k + 1)->n; j++) alive[k + 1][j] |= out[j] + rest[k + 1][j] == due;
        }
    }
    memset(ranks[last % 2], 0, at(p, last)->n * sizeof(Rank));
    for (int i = 0; i < at(p, last)->n && !p->closed; i++) add_node(ranks[last % 2] + i, at(p, last), i);
    for (int k = last - 1; k >= 0; k--)
        for (int i = 0; i < at(p, k)->n; i++) {
            if (!alive[k][i]) continue;
            edges(p, k, i, out);
            int32_t due = rest[k][i] - at(p, k)->cost[i];
            Rank *own = ranks[k % 2] + i;
            onward[k][i] = -1;
            for (int j = 0; j < at(p, k + 1)->n; j++) {
                if (out[j] + rest[k + 1][j] != due) continue;
                Rank rank = ranks[(k + 1) % 2][j];
                add_move(&rank, p, k, i, j);
                if (onward[k][i] < 0 || before(&rank, own)) *own = rank, onward[k][i] = j;
            }
            add_node(own, at(p, k), i);
        }
    for (int i = 0; i < at(p, 0)->n; i++)
        if (alive[0][i] && (best < 0 || before(ranks[0] + i, ranks[0] + best))) best = i;
    Rank found = ranks[0][best];
    for (int k = 0; k < p->layers; k++) {
        path[k] = at(p, k)->row[best];
        if (k < last) best = onward[k][best];
    }
    return found;
}

static int open_path(const Problem *p, Room *room, int32_t *path) {
    costs_to_go(p, room->rest, room->out, -1);
    int n = p->layer[0].n;
    int32_t least = NEVER;
    for (int i = 0; i < n; i++) least = room->rest[0][i] < least ? room->rest[0][i] : least;
    for (int i = 0; i < n; i++) room->alive[0][i] = room->rest[0][i] == least;
    if (least < NEVER) follow(p, room, path);
    return least < NEVER;
}

/* The best loop through each first node in turn, as long as its lower bound allows a better one. */
static int try_starts(const Problem *p, Room *room, const int32_t *bound, int32_t most, int32_t *path,
                      int32_t *spare) {
    Rank best = {{0}};
    int n = p->layer[0].n, found = 0;
    for (int start = 0; start < n; start++) {
        if (bound[p->layer[0].row[start]] > most) continue;
        costs_to_go(p, room->rest, room->out, start);
        int32_t cost = room->rest[0][start];
        if (cost > most || cost >= NEVER) continue;
        memset(room->alive[0], 0, n);
        room->alive[0][start] = 1;
        Rank rank = follow(p, room, spare);
        if (!found || cost < most || before(&rank, &best)) {
            best = rank, most = cost, found = 1;
            memcpy(path, spare, p->layers * sizeof *path);
        }
    }
    return found;
}

/* Drop the nodes of a layer through which every path costs more than `most`. */
static void keep(Layer *of, int voices, const int32_t *through, int32_t most) {
    int kept = 0;
    for (int i = 0; i < of->n; i++) {
        if (through[i] > most) continue;
        of->row[kept] = of->row[i], of->cost[kept] = of->cost[i];
        of->early[kept] = of->early[i], of->late[kept++] = of->late[i];
    }
    for (int v = 0, to = 0; v < voices; v++)
        for (int i = 0; i < of->n; i++)
            if (through[i] <= most) of->x[to++] = of->x[v * of->n + i];
    of->n = kept;
}

/* A loop through any first node costs at least what an open path from or to that node does. The
 * loop through the node of the lowest bound costs `most`; nodes on no path as cheap are dropped. */
static int loop(Problem *p, Room *room, int32_t *path, int32_t *bound, int32_t *spare) {
    int n = p->layer[0].n, start = 0, end = p->layers;
    costs_to_go(p, room->rest, room->out, -1);
    costs_so_far(p, room->paid, room->out);
    for (int i = 0; i < n; i++) {
        bound[i] = room->rest[0][i] > room->paid[end][i] ? room->rest[0][i] : room->paid[end][i];
        if (bound[i] < bound[start]) start = i;
    }
    for (int k = 0; k < end; k++)
        for (int i = 0; i < p->layer[k].n; i++)
            room->paid[k][i] = k ? room->paid[k][i] + room->rest[k][i] : bound[i];
    costs_to_go(p, room->rest, room->out, start);
    int32_t most = room->rest[0][start] < NEVER ? room->rest[0][start] : NEVER - 1;
    for (int k = 0; k < end; k++) keep(p->layer + k, p->voices, room->paid[k], most);
    return try_starts(p, room, bound, most, path, spare);
}

/* --- from and to Python ----------------------------------------------------------------------- */

/* Memory of one call: chunks that are freed together. */
typedef struct Chunk {
    struct Chunk *next;
    size_t used, size;
} Chunk;
typedef struct { Chunk *first; } Arena;

static void *take(Arena *arena, size_t bytes) {
    bytes = (bytes + 15) / 16 * 16;
    if (!arena->first || arena->first->used + bytes > arena->first->size) {
        size_t size = bytes > CHUNK ? bytes : CHUNK;
        Chunk *fresh = malloc(sizeof *fresh + size);
        if (!fresh) return PyErr_NoMemory();
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

/* A copy of a contiguous array of exactly so many bytes. */
static void *copy(Arena *arena, PyObject *from, size_t bytes) {
    Py_buffer view;
    void *to = NULL;
    if (PyObject_GetBuffer(from, &view, PyBUF_SIMPLE) < 0) return NULL;
    if ((size_t)view.len != bytes)
        PyErr_Format(PyExc_ValueError, "an array has %zd bytes, not %zd", view.len, (Py_ssize_t)bytes);
    else if ((to = take(arena, bytes)))
        memcpy(to, view.buf, bytes);
    PyBuffer_Release(&view);
    return to;
}

/* A copy of an array of so many coordinates. */
static int16_t *coordinates(Arena *arena, PyObject *from, size_t count) {
    int16_t *found = copy(arena, from, count * sizeof *found);
    int wrong = 0;
    for (size_t i = 0; found && i < count; i++) wrong |= found[i] < 0 || found[i] > HIGH;
    if (wrong) PyErr_Format(PyExc_ValueError, "a coordinate is not 0 to %d", HIGH);
    return wrong ? NULL : found;
}

static int read_layer(Layer *of, int voices, PyObject *given, Arena *arena) {
    PyObject *points, *cost, *early, *late;
    int weight;
    if (!given || !PyArg_ParseTuple(given, "OOOOi", &points, &cost, &early, &late, &weight)) return 0;
    Py_ssize_t n = PyObject_Size(cost);
    if (n < 0) return 0;
    if (n == 0) {
        PyErr_SetString(PyExc_ValueError, "a layer has no nodes");
        return 0;
    }
    of->n = (int)n;
    if (!(of->row = take(arena, n * sizeof *of->row))) return 0;
    if (!(of->x = coordinates(arena, points, n * voices))) return 0;
    if (!(of->cost = copy(arena, cost, n * sizeof *of->cost))) return 0;
    if (!(of->early = copy(arena, early, n * sizeof *of->early))) return 0;
    if (!(of->late = copy(arena, late, n * sizeof *of->late))) return 0;
    for (int i = 0; i < n; i++) of->row[i] = i, of->late[i] *= weight;
    return 1;
}

static int read_seam(Seam *of, size_t rows, int columns, PyObject *given, Arena *arena) {
    PyObject *all;
    if (!given || !PyArg_ParseTuple(given, "iiO", &of->equal, &of->last, &all)) return 0;
    of->columns = columns;
    of->all = NULL;
    return all == Py_None || (of->all = copy(arena, all, rows * columns * sizeof *of->all));
}

static int read_problem(Problem *p, PyObject *layers, PyObject *seams, Arena *arena) {
    int count = levels(p) - 1;
    if (!(p->layer = take(arena, p->layers * sizeof *p->layer))) return 0;
    if (!(p->seam = take(arena, (count + 1) * sizeof *p->seam))) return 0;
    for (int k = 0; k < p->layers; k++)
        if (!read_layer(p->layer + k, p->voices, PyList_GetItem(layers, k), arena)) return 0;
    for (int k = 0; k < count; k++)
        if (!read_seam(p->seam + k, at(p, k)->n, at(p, k + 1)->n, PyList_GetItem(seams, k), arena)) return 0;
    return 1;
}

static int make_room(Room *room, const Problem *p, Arena *arena) {
    int count = levels(p), most = 0;
    int32_t ***parts[] = {&room->rest, &room->paid, &room->onward};
    for (int f = 0; f < 3; f++)
        if (!(*parts[f] = take(arena, count * sizeof **parts[f]))) return 0;
    if (!(room->alive = take(arena, count * sizeof *room->alive))) return 0;
    for (int k = 0; k < count; k++) {
        int n = at(p, k)->n;
        most = n > most ? n : most;
        for (int f = 0; f < 3; f++)
            if (!((*parts[f])[k] = take(arena, n * sizeof ***parts[f]))) return 0;
        if (!(room->alive[k] = take(arena, n))) return 0;
    }
    for (int half = 0; half < 2; half++)
        if (!(room->ranks[half] = take(arena, most * sizeof(Rank)))) return 0;
    return !!(room->out = take(arena, most * sizeof *room->out));
}

static double transitions(const Problem *p) {
    double sum = 0;
    for (int k = 0; k + 1 < levels(p); k++) sum += (double)at(p, k)->n * at(p, k + 1)->n;
    return sum;
}

/* The path as a list, None without one, NULL with an exception. */
static PyObject *solve(Problem *p, PyObject *layers, PyObject *seams, Arena *arena) {
    Room room;
    int32_t *path, *spare, *bound;
    int found;
    if (!read_problem(p, layers, seams, arena) || !make_room(&room, p, arena)) return NULL;
    if (!(path = take(arena, p->layers * sizeof *path))) return NULL;
    if (!(spare = take(arena, p->layers * sizeof *spare))) return NULL;
    if (!(bound = take(arena, p->layer[0].n * sizeof *bound))) return NULL;
    PyThreadState *others = transitions(p) < BIG ? NULL : PyEval_SaveThread();
    found = p->closed ? loop(p, &room, path, bound, spare) : open_path(p, &room, path);
    if (others) PyEval_RestoreThread(others);
    if (!found) Py_RETURN_NONE;
    PyObject *list = PyList_New(p->layers);
    for (int k = 0; list && k < p->layers; k++) PyList_SetItem(list, k, PyLong_FromLong(path[k]));
    return list;
}

static PyObject *best_path(PyObject *module, PyObject *args) {
    PyObject *layers, *seams;
    Problem p;
    Arena arena = {NULL};
    (void)module;
    if (!PyArg_ParseTuple(args, "OOiip", &layers, &seams, &p.voices, &p.apart, &p.closed)) return NULL;
    if (!PyList_Check(layers) || !PyList_Size(layers) || p.voices < 1 || p.voices > MOST || p.apart >= p.voices) {
        PyErr_SetString(PyExc_ValueError, "one layer or more, of points of 1 to 16 coordinates");
        return NULL;
    }
    p.layers = (int)PyList_Size(layers);
    PyObject *found = solve(&p, layers, seams, &arena);
    release(&arena);
    return found;
}

static PyMethodDef methods[] = {{"best_path", best_path, METH_VARARGS, NULL}, {NULL, NULL, 0, NULL}};
static struct PyModuleDef definition = {PyModuleDef_HEAD_INIT, "_points", NULL, 0, methods, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__points(void) { return PyModule_Create(&definition); }
