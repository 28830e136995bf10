/* The compiled engine: bounds, exact points, alignments, figures and contours.
 *
 * The method is described in matching/engine/lanes.py, the layout of the notes in
 * corpus/chunks.py; this file does the same work, tune by tune in lanes of bytes.
 * Plain C11 and CPython's stable ABI from 3.11 on: no numpy, no intrinsics.
 *
 * Nothing that comes in is trusted: sizes and lengths are checked against the
 * buffers before a byte is read, and every allocation is checked. All work on
 * notes is done without holding the interpreter, so that threads run side by side.
 */

#ifndef Py_LIMITED_API
#define Py_LIMITED_API 0x030b0000
#endif
#define PY_SSIZE_T_CLEAN
#include <Python.h>

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define LANES 32
#define RELATIONS 4
#define NEAR 2
#define NEVER 128
#define UNKNOWN_CLASS 128
/* Transpositions side by side: two registers full, so that one is worked on while the
 * other waits for the note before; most tunes need no more. */
#define MOVES 64
#define MIDDLE (MOVES + NEAR)
#define PROFILE (2 * MOVES + 2 * NEAR + 2)
#define MOST_QUERY_NOTES 4096
#define MOST_FIGURE_NOTES 64
#define MOST_TOTAL 32767
#define MOST_CELLS ((uint64_t)1 << 28)

enum { SIGN_DOWN = 0, SIGN_LEVEL = 1, SIGN_UP = 2 };
enum { TO_PAIR = 1, TO_SKIP_TUNE = 2, TO_SKIP_QUERY = 3 };

/* One binary serves old and new processors: the loader picks the wider code. */
#if defined(EVERY_PROCESSOR)
/* Given by whoever compiles, such as empty for a sanitizer. */
#elif defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__)
#define EVERY_PROCESSOR __attribute__((target_clones("avx2", "default")))
#else
#define EVERY_PROCESSOR
#endif

/* Rows of different states never overlap, which a compiler cannot see. */
#if defined(__clang__)
#define INDEPENDENT _Pragma("clang loop vectorize(assume_safety)")
#elif defined(__GNUC__)
#define INDEPENDENT _Pragma("GCC ivdep")
#else
#define INDEPENDENT
#endif

#define SWAP(a, b)          \
    do {                    \
        POINTS *held = (a); \
        (a) = (b);          \
        (b) = held;         \
    } while (0)

typedef struct {
    int same[RELATIONS], near[RELATIONS], far[RELATIONS];
    int gap, top;
} Costs;

typedef struct {
    int count, kinds;
    const uint8_t *pitch, *classes;
    uint8_t one[MOST_QUERY_NOTES], two[MOST_QUERY_NOTES];
    uint8_t kind_of[MOST_QUERY_NOTES], kind_class[256];
    int wide;
} Query;

/* Some notes of a phrase, one after the other. */
typedef struct {
    const uint8_t *pitch, *classes;
    int count;
} Span;

typedef struct {
    const uint8_t *pitch, *classes;
    const uint32_t *lengths;
    int lanes;
} Block;

/* Where in the tunes of a block bounds come to a floor: the last note of the phrase and
 * of the tune, from 1; 0 where none does. */
typedef struct {
    int floor;
    int rows[LANES];
    uint32_t notes[LANES];
} Reach;

static inline void take_row(uint8_t *row, const uint8_t *from, int active)
{
    if (active == LANES)
        memcpy(row, from, LANES);
    else
        memcpy(row, from, (size_t)active);
}

static inline int relation(uint8_t first, uint8_t second)
{
    if (first == UNKNOWN_CLASS || second == UNKNOWN_CLASS)
        return 3;
    const int apart = abs((int)(int8_t)first - (int)(int8_t)second);
    return apart > 2 ? 2 : apart;
}

#define POINTS uint8_t
#define MOST_POINTS 255
#define NAME(function) function##_narrow
#include "_lanes.h"
#undef NAME

/* As many lanes for phrases that could reach more points than a byte holds: what does
 * is cut off there, is seen to be, and is worked out again in wide lanes. Most tunes have
 * no more than a few agreeing notes in a row, however long the phrase is. */
#define CUT_OFF
#define NAME(function) function##_cut
#include "_lanes.h"
#undef CUT_OFF
#undef POINTS
#undef MOST_POINTS
#undef NAME

/* Signed, since the oldest processors compare only those 16 bits wide. */
#define POINTS int16_t
#define MOST_POINTS MOST_TOTAL
#define NAME(function) function##_wide
#include "_lanes.h"
#undef MOST_POINTS
#undef NAME

/* ---- what comes in ------------------------------------------------------- */

static int read_costs(PyObject *given, Costs *costs)
{
    int v[3 * RELATIONS + 1];
    if (!PyTuple_Check(given) || PyTuple_Size(given) != 3 * RELATIONS + 1) {
        PyErr_SetString(PyExc_ValueError, "costs are thirteen whole numbers");
        return -1;
    }
    for (int k = 0; k < 3 * RELATIONS + 1; k++) {
        const long value = PyLong_AsLong(PyTuple_GetItem(given, k));
        if (value == -1 && PyErr_Occurred())
            return -1;
        if (value < -255 || value > 255 || (k < RELATIONS ? value < 0 : value > 0)) {
            PyErr_SetString(PyExc_ValueError, "costs are out of range");
            return -1;
        }
        v[k] = (int)value;
    }
    costs->top = 0;
    for (int r = 0; r < RELATIONS; r++) {
        costs->same[r] = v[r];
        costs->near[r] = -v[RELATIONS + r];
        costs->far[r] = -v[2 * RELATIONS + r];
        costs->top = v[r] > costs->top ? v[r] : costs->top;
    }
    costs->gap = -v[3 * RELATIONS];
    if (costs->gap < 1 || costs->top < 1) {
        PyErr_SetString(PyExc_ValueError, "costs are out of range");
        return -1;
    }
    return 0;
}

static Query *make_query(const uint8_t *pitch, const uint8_t *classes, int count,
                         const Costs *costs)
{
    Query *query = calloc(1, sizeof(Query));
    if (query == NULL) {
        PyErr_NoMemory();
        return NULL;
    }
    int kinds[256];
    for (int k = 0; k < 256; k++)
        kinds[k] = -1;
    query->count = count;
    query->pitch = pitch;
    query->classes = classes;
    for (int i = 0; i < query->count; i++) {
        const uint8_t here = query->pitch[i], class_ = query->classes[i];
        query->one[i] = i >= 1 ? (uint8_t)(here - query->pitch[i - 1]) : NEVER;
        query->two[i] = i >= 2 ? (uint8_t)(here - query->pitch[i - 2]) : NEVER;
        if (kinds[class_] < 0) {
            query->kind_class[query->kinds] = class_;
            kinds[class_] = query->kinds++;
        }
        query->kind_of[i] = (uint8_t)kinds[class_];
    }
    query->wide = query->count * costs->top > 255;
    return query;
}

static Query *read_query(const Py_buffer *pitch, const Py_buffer *classes,
                         const Costs *costs)
{
    if (pitch->len < 1 || pitch->len > MOST_QUERY_NOTES || classes->len != pitch->len ||
        pitch->len * costs->top > MOST_TOTAL) {
        PyErr_SetString(PyExc_ValueError, "the phrase is too short or too long");
        return NULL;
    }
    return make_query(pitch->buf, classes->buf, (int)pitch->len, costs);
}

/* Lengths of one block, copied so that they are aligned; -1 if they make no sense. */
static int read_block(const Py_buffer *notes, const Py_buffer *lengths, Py_ssize_t first,
                      Py_ssize_t *place, uint32_t *copy, Block *block)
{
    const Py_ssize_t tunes = lengths->len / 4;
    const uint8_t *raw = (const uint8_t *)lengths->buf + 4 * first;
    uint64_t size = 0;
    block->lanes = (int)(tunes - first < LANES ? tunes - first : LANES);
    for (int l = 0; l < block->lanes; l++) {
        const uint8_t *b = raw + 4 * l;
        copy[l] = (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 |
                  (uint32_t)b[3] << 24;
        if (l > 0 && copy[l] > copy[l - 1])
            return -1;
        size += copy[l];
    }
    if (2 * size > (uint64_t)(notes->len - *place))
        return -1;
    block->pitch = (const uint8_t *)notes->buf + *place;
    block->classes = block->pitch + size;
    block->lengths = copy;
    *place += (Py_ssize_t)(2 * size);
    return 0;
}

static PyObject *damaged(void)
{
    PyErr_SetString(PyExc_ValueError, "lengths and notes do not fit together");
    return NULL;
}

/* Room for states of all widths, on a boundary that suits whole registers. */
static void *room(size_t points, void **owned)
{
    *owned = malloc(points * sizeof(int16_t) + 64);
    if (*owned == NULL)
        return NULL;
    return (void *)(((uintptr_t)*owned + 63) & ~(uintptr_t)63);
}

/* ---- bounds --------------------------------------------------------------- */

/* Points that the states of a bound take: thirteen, the highest of each phrase note, and
 * a table for each kind of length. */
static size_t bound_room(const Query *query)
{
    return ((size_t)query->count + 2) * LANES * 14 + 4 * (size_t)query->kinds * LANES;
}

/* With more points for a pair, cutting off would happen everywhere. */
#define MOST_TO_CUT 64

/* Whether points so high may have been cut off. */
static inline int was_cut(int points, const Costs *costs)
{
    return points >= 255 - costs->top;
}

static void bound_block(const Query *query, const Costs *costs, Block block, void *space,
                        uint16_t *out, Reach *reach)
{
    if (!query->wide) {
        bound_block_narrow(query, costs, block, space, out, reach);
        return;
    }
    if (costs->top < MOST_TO_CUT) {
        int whole = 1;
        bound_block_cut(query, costs, block, space, out, reach);
        for (int l = 0; l < block.lanes; l++)
            whole &= !was_cut(out[l], costs);
        if (whole)
            return;
    }
    bound_block_wide(query, costs, block, space, out, reach);
}

static int bound_tunes(const Query *query, const Costs *costs, const Py_buffer *notes,
                       const Py_buffer *lengths, void *space, uint16_t *out)
{
    Py_ssize_t place = 0;
    for (Py_ssize_t first = 0; first < lengths->len / 4; first += LANES) {
        uint32_t copy[LANES];
        Block block;
        if (read_block(notes, lengths, first, &place, copy, &block) < 0)
            return -1;
        bound_block(query, costs, block, space, out + first, NULL);
    }
    return 0;
}

PyDoc_STRVAR(bounds_doc, "bounds(notes, lengths, pitch, classes, costs) -> bytes\n\n"
                         "Upper bounds of all tunes of a chunk, 16 bits each.");

static PyObject *kernel_bounds(PyObject *module, PyObject *args)
{
    Py_buffer notes, lengths, pitch, classes;
    PyObject *given, *found = NULL;
    Costs costs;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*y*O", &notes, &lengths, &pitch, &classes, &given))
        return NULL;
    Query *query = NULL;
    void *owned = NULL;
    if (read_costs(given, &costs) < 0 ||
        (query = read_query(&pitch, &classes, &costs)) == NULL)
        goto done;
    if (lengths.len % 4) {
        damaged();
        goto done;
    }
    void *space = room(bound_room(query), &owned);
    uint16_t *out = malloc((size_t)(lengths.len / 2) + 1);
    if (space == NULL || out == NULL) {
        PyErr_NoMemory();
    } else {
        int fault;
        Py_BEGIN_ALLOW_THREADS
        fault = bound_tunes(query, &costs, &notes, &lengths, space, out);
        Py_END_ALLOW_THREADS
        found = fault ? damaged()
                      : PyBytes_FromStringAndSize((char *)out, lengths.len / 2);
    }
    free(out);
done:
    free(owned);
    free(query);
    PyBuffer_Release(&notes);
    PyBuffer_Release(&lengths);
    PyBuffer_Release(&pitch);
    PyBuffer_Release(&classes);
    return found;
}

PyDoc_STRVAR(histogram_doc, "histogram(bounds, size) -> list\n\n"
                            "How often each 16-bit value below size occurs in a "
                            "list of buffers.");

static int count_values(PyObject *part, size_t size, uint64_t *counts)
{
    Py_buffer view;
    if (PyObject_GetBuffer(part, &view, PyBUF_SIMPLE) < 0)
        return -1;
    for (Py_ssize_t k = 0; k + 1 < view.len; k += 2) {
        uint16_t value;
        memcpy(&value, (const char *)view.buf + k, 2);
        if (value < size)
            counts[value]++;
    }
    PyBuffer_Release(&view);
    return 0;
}

static PyObject *kernel_histogram(PyObject *module, PyObject *args)
{
    PyObject *parts;
    Py_ssize_t size;
    (void)module;
    if (!PyArg_ParseTuple(args, "On", &parts, &size))
        return NULL;
    if (!PyList_Check(parts) || size < 0 || size > 65536) {
        PyErr_SetString(PyExc_ValueError, "a list, and a size up to 65536");
        return NULL;
    }
    uint64_t *counts = calloc((size_t)size + 1, sizeof(uint64_t));
    if (counts == NULL)
        return PyErr_NoMemory();
    PyObject *found = NULL;
    for (Py_ssize_t k = 0; k < PyList_Size(parts); k++)
        if (count_values(PyList_GetItem(parts, k), (size_t)size, counts) < 0)
            goto done;
    found = PyList_New(size);
    for (Py_ssize_t k = 0; found != NULL && k < size; k++) {
        PyObject *count = PyLong_FromUnsignedLongLong(counts[k]);
        if (count == NULL || PyList_SetItem(found, k, count) < 0)
            Py_CLEAR(found);
    }
done:
    free(counts);
    return found;
}

PyDoc_STRVAR(select_doc, "select(bounds, low, high) -> list\n\n"
                         "(value, index) of the 16-bit values in a range.");

static PyObject *kernel_select(PyObject *module, PyObject *args)
{
    Py_buffer view;
    long low, high;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*ll", &view, &low, &high))
        return NULL;
    PyObject *found = PyList_New(0);
    for (Py_ssize_t k = 0; found != NULL && k < view.len / 2; k++) {
        uint16_t value;
        memcpy(&value, (const char *)view.buf + 2 * k, 2);
        if (value < low || value > high)
            continue;
        PyObject *entry = Py_BuildValue("(in)", (int)value, k);
        if (entry == NULL || PyList_Append(found, entry) < 0)
            Py_CLEAR(found);
        Py_XDECREF(entry);
    }
    PyBuffer_Release(&view);
    return found;
}

/* ---- exact points --------------------------------------------------------- */

typedef struct {
    Py_buffer pitch, classes;
    int points, move;
} Tune;

static int preferred(int points, int move, const Tune *tune)
{
    if (points != tune->points)
        return points > tune->points;
    if (abs(move) != abs(tune->move))
        return abs(move) < abs(tune->move);
    return move > tune->move;
}

/* The most that a transposition could bring: every phrase note whose pitch is
 * anywhere in the tune, as the best of pairs. */
static int most_points(Span phrase, const Costs *costs, const uint8_t *there, int move)
{
    int agreeing = 0;
    for (int i = 0; i < phrase.count; i++)
        agreeing += there[256 + phrase.pitch[i] + move];
    return agreeing * costs->top;
}

/* Exact points of notes of a tune under MOVES transpositions from one on. */
static void points_of_moves(Span phrase, const Costs *costs, const uint8_t *pitch,
                            const uint8_t *classes, size_t notes, int move, void *space,
                            int *points)
{
    int16_t wide[MOVES];
    uint8_t narrow[MOVES];
    int whole = phrase.count * costs->top <= 255;
    if (whole)
        exact_narrow(phrase, costs, pitch, classes, notes, move, space, narrow);
    else if (costs->top < MOST_TO_CUT) {
        exact_cut(phrase, costs, pitch, classes, notes, move, space, narrow);
        whole = 1;
        for (int l = 0; l < MOVES; l++)
            whole &= !was_cut(narrow[l], costs);
    }
    if (!whole)
        exact_wide(phrase, costs, pitch, classes, notes, move, space, wide);
    for (int l = 0; l < MOVES; l++)
        points[l] = whole ? narrow[l] : wide[l];
}

/* Exact points of a stretch of a tune over all transpositions; of those that cannot
 * reach the floor, none need be right. */
static void best_of_stretch(Span phrase, const Costs *costs, void *space, int floor,
                            size_t first, size_t notes, Tune *tune)
{
    const uint8_t *pitch = (const uint8_t *)tune->pitch.buf + first;
    const uint8_t *classes = (const uint8_t *)tune->classes.buf + first;
    uint8_t there[768] = {0};
    int lowest = 255, highest = 0, low = 255, high = 0;
    for (size_t j = 0; j < notes; j++) {
        there[256 + pitch[j]] = 1;
        lowest = pitch[j] < lowest ? pitch[j] : lowest;
        highest = pitch[j] > highest ? pitch[j] : highest;
    }
    for (int i = 0; i < phrase.count; i++) {
        low = phrase.pitch[i] < low ? phrase.pitch[i] : low;
        high = phrase.pitch[i] > high ? phrase.pitch[i] : high;
    }
    int move = lowest - high;
    while (notes > 0 && phrase.count > 0 && move <= highest - low) {
        int points[MOVES];
        if (most_points(phrase, costs, there, move) < floor) {
            move++;
            continue;
        }
        points_of_moves(phrase, costs, pitch, classes, notes, move, space, points);
        for (int l = 0; l < MOVES && move + l <= highest - low; l++)
            if (preferred(points[l], move + l, tune)) {
                tune->points = points[l];
                tune->move = move + l;
            }
        move += MOVES;
    }
}

/* ---- where an alignment can lie -------------------------------------------- */

/* Tunes beside each other, the longest first, from their first notes or their last. */
static void set_beside(Tune *const *tunes, int lanes, int backwards, uint8_t *to)
{
    for (int column = 0; column < 2; column++)
        for (Py_ssize_t j = 0; j < tunes[0]->pitch.len; j++)
            for (int l = 0; l < lanes && j < tunes[l]->pitch.len; l++) {
                const uint8_t *from =
                    column ? tunes[l]->classes.buf : tunes[l]->pitch.buf;
                *to++ = from[backwards ? tunes[l]->pitch.len - 1 - j : j];
            }
}

static int longer_first(const void *one, const void *other)
{
    const Tune *a = *(Tune *const *)one, *b = *(Tune *const *)other;
    return (a->pitch.len < b->pitch.len) - (a->pitch.len > b->pitch.len);
}

static size_t sum_of(const uint32_t *lengths, int lanes)
{
    size_t sum = 0;
    for (int l = 0; l < lanes; l++)
        sum += lengths[l];
    return sum;
}

/* Tunes in order of length, so that those beside each other are about as long; NULL
 * where there is no memory. */
static Tune **by_length(Tune *tunes, Py_ssize_t count)
{
    Tune **order = malloc(((size_t)count + 1) * sizeof(Tune *));
    if (order == NULL)
        return NULL;
    for (Py_ssize_t k = 0; k < count; k++)
        order[k] = tunes + k;
    qsort(order, (size_t)count, sizeof(Tune *), longer_first);
    return order;
}

/* Lengths of the tunes of a block, and room for their notes. */
static uint8_t *beside(Tune *const *tunes, int lanes, uint32_t *lengths)
{
    for (int l = 0; l < lanes; l++)
        lengths[l] = (uint32_t)tunes[l]->pitch.len;
    return malloc(2 * sum_of(lengths, lanes) + 1);
}

/* Exact points of up to LANES tunes that reach the floor. An alignment that does ends
 * where its bound does, and begins where the bound of both read backwards does: only what
 * lies between is worked out. 0 done, -1 no memory. */
static int best_of_block(const Query *query, const Query *turned, const Costs *costs,
                         void *space, int floor, Tune **tunes, int lanes)
{
    uint32_t lengths[LANES];
    uint16_t bounds[LANES];
    Reach ends, starts;
    uint8_t *notes = beside(tunes, lanes, lengths);
    if (notes == NULL)
        return -1;
    const Block block = {notes, notes + sum_of(lengths, lanes), lengths, lanes};
    ends.floor = starts.floor = floor;
    set_beside(tunes, lanes, 0, notes);
    bound_block(query, costs, block, space, bounds, &ends);
    set_beside(tunes, lanes, 1, notes);
    bound_block(turned, costs, block, space, bounds, &starts);
    free(notes);
    for (int l = 0; l < lanes; l++) {
        const int first = query->count - starts.rows[l];
        const uint32_t from = lengths[l] - starts.notes[l];
        if (!ends.rows[l] || !starts.rows[l] || first >= ends.rows[l] ||
            from >= ends.notes[l])
            continue;
        const Span phrase = {query->pitch + first, query->classes + first,
                             ends.rows[l] - first};
        best_of_stretch(phrase, costs, space, floor, from, ends.notes[l] - from, tunes[l]);
    }
    return 0;
}

/* Exact points of all tunes: whole where there is no floor. */
static int best_of_tunes(const Query *query, const Query *turned, const Costs *costs,
                         void *space, int floor, Tune *tunes, Py_ssize_t count)
{
    const Span whole = {query->pitch, query->classes, query->count};
    for (Py_ssize_t k = 0; floor <= 0 && k < count; k++)
        best_of_stretch(whole, costs, space, floor, 0, (size_t)tunes[k].pitch.len,
                        tunes + k);
    if (floor <= 0)
        return 0;
    Tune **order = by_length(tunes, count);
    int fault = order == NULL ? -1 : 0;
    for (Py_ssize_t k = 0; k < count && !fault; k += LANES)
        fault = best_of_block(query, turned, costs, space, floor, order + k,
                              count - k < LANES ? (int)(count - k) : LANES);
    free(order);
    return fault;
}

static Tune *read_tunes(PyObject *list, Py_ssize_t *count)
{
    if (!PyList_Check(list)) {
        PyErr_SetString(PyExc_TypeError, "a list of (pitches, length classes)");
        return NULL;
    }
    const Py_ssize_t wanted = PyList_Size(list);
    Tune *tunes = calloc((size_t)wanted + 1, sizeof(Tune));
    if (tunes == NULL) {
        PyErr_NoMemory();
        return NULL;
    }
    for (*count = 0; *count < wanted; (*count)++) {
        Tune *tune = tunes + *count;
        PyObject *entry = PyList_GetItem(list, *count);
        if (entry == NULL || !PyTuple_Check(entry) ||
            !PyArg_ParseTuple(entry, "y*y*", &tune->pitch, &tune->classes)) {
            if (!PyErr_Occurred())
                PyErr_SetString(PyExc_TypeError, "a list of (pitches, length classes)");
            return tunes;
        }
        if (tune->pitch.len != tune->classes.len || tune->pitch.len > INT32_MAX) {
            (*count)++;
            damaged();
            return tunes;
        }
    }
    return tunes;
}

static void release_tunes(Tune *tunes, Py_ssize_t count)
{
    for (Py_ssize_t k = 0; tunes != NULL && k < count; k++) {
        PyBuffer_Release(&tunes[k].pitch);
        PyBuffer_Release(&tunes[k].classes);
    }
    free(tunes);
}

/* The same phrase from its last note to its first. */
static Query *turn(const Query *query, const Costs *costs, uint8_t **owned)
{
    const int count = query->count;
    uint8_t *notes = *owned = malloc(2 * (size_t)count);
    if (notes == NULL) {
        PyErr_NoMemory();
        return NULL;
    }
    for (int i = 0; i < count; i++) {
        notes[i] = query->pitch[count - 1 - i];
        notes[count + i] = query->classes[count - 1 - i];
    }
    return make_query(notes, notes + count, count, costs);
}

PyDoc_STRVAR(best_doc, "best(tunes, pitch, classes, costs, floor) -> list\n\n"
                       "(points, transposition) of each (pitches, length classes); "
                       "exact where they reach the floor.");

static PyObject *kernel_best(PyObject *module, PyObject *args)
{
    Py_buffer pitch, classes;
    PyObject *list, *given, *found = NULL;
    Costs costs;
    (void)module;
    int floor;
    if (!PyArg_ParseTuple(args, "Oy*y*Oi", &list, &pitch, &classes, &given, &floor))
        return NULL;
    Query *query = NULL, *turned = NULL;
    uint8_t *backwards = NULL;
    void *owned = NULL;
    Py_ssize_t count = 0;
    Tune *tunes = read_tunes(list, &count);
    if (tunes == NULL || PyErr_Occurred() || read_costs(given, &costs) < 0 ||
        (query = read_query(&pitch, &classes, &costs)) == NULL ||
        (turned = turn(query, &costs, &backwards)) == NULL)
        goto done;
    void *space = room(bound_room(query), &owned);
    int fault = space == NULL ? -1 : 0;
    Py_BEGIN_ALLOW_THREADS
    if (!fault)
        fault = best_of_tunes(query, turned, &costs, space, floor, tunes, count);
    Py_END_ALLOW_THREADS
    if (fault) {
        PyErr_NoMemory();
        goto done;
    }
    found = PyList_New(count);
    for (Py_ssize_t k = 0; found != NULL && k < count; k++) {
        PyObject *entry = Py_BuildValue("(ii)", tunes[k].points, tunes[k].move);
        if (entry == NULL || PyList_SetItem(found, k, entry) < 0)
            Py_CLEAR(found);
    }
done:
    free(owned);
    free(query);
    free(turned);
    free(backwards);
    release_tunes(tunes, count);
    PyBuffer_Release(&pitch);
    PyBuffer_Release(&classes);
    return found;
}

/* ---- what is reached at least ----------------------------------------------- */

/* Points that each of up to LANES tunes reaches at least. 0 done, -1 no memory. */
static int reach_block(const Query *query, const Costs *costs, void *space, Tune **tunes,
                       int lanes)
{
    uint32_t lengths[LANES];
    uint16_t points[LANES];
    uint8_t *notes = beside(tunes, lanes, lengths);
    if (notes == NULL)
        return -1;
    const Block block = {notes, notes + sum_of(lengths, lanes), lengths, lanes};
    set_beside(tunes, lanes, 0, notes);
    if (!query->wide)
        reached_narrow(query, costs, block, space, points);
    else if (costs->top < MOST_TO_CUT)
        reached_cut(query, costs, block, space, points);
    else
        reached_wide(query, costs, block, space, points);
    free(notes);
    for (int l = 0; l < lanes; l++)
        tunes[l]->points = points[l];
    return 0;
}

static int reach_tunes(const Query *query, const Costs *costs, void *space, Tune *tunes,
                       Py_ssize_t count)
{
    Tune **order = by_length(tunes, count);
    int fault = order == NULL ? -1 : 0;
    for (Py_ssize_t k = 0; k < count && !fault; k += LANES)
        fault = reach_block(query, costs, space, order + k,
                            count - k < LANES ? (int)(count - k) : LANES);
    free(order);
    return fault;
}

PyDoc_STRVAR(reached_doc, "reached(tunes, pitch, classes, costs) -> list\n\n"
                          "Points that each (pitches, length classes) reaches at least.");

static PyObject *kernel_reached(PyObject *module, PyObject *args)
{
    Py_buffer pitch, classes;
    PyObject *list, *given, *found = NULL;
    Costs costs;
    (void)module;
    if (!PyArg_ParseTuple(args, "Oy*y*O", &list, &pitch, &classes, &given))
        return NULL;
    Query *query = NULL;
    void *owned = NULL;
    Py_ssize_t count = 0;
    Tune *tunes = read_tunes(list, &count);
    if (tunes == NULL || PyErr_Occurred() || read_costs(given, &costs) < 0 ||
        (query = read_query(&pitch, &classes, &costs)) == NULL)
        goto done;
    void *space = room(bound_room(query), &owned);
    int fault = space == NULL ? -1 : 0;
    Py_BEGIN_ALLOW_THREADS
    if (!fault)
        fault = reach_tunes(query, &costs, space, tunes, count);
    Py_END_ALLOW_THREADS
    if (fault) {
        PyErr_NoMemory();
        goto done;
    }
    found = PyList_New(count);
    for (Py_ssize_t k = 0; found != NULL && k < count; k++) {
        PyObject *entry = PyLong_FromLong(tunes[k].points);
        if (entry == NULL || PyList_SetItem(found, k, entry) < 0)
            Py_CLEAR(found);
    }
done:
    free(owned);
    free(query);
    release_tunes(tunes, count);
    PyBuffer_Release(&pitch);
    PyBuffer_Release(&classes);
    return found;
}

/* ---- alignment with pairs -------------------------------------------------- */

typedef struct {
    int points, end;
    size_t tune_end, first;
    uint8_t *steps;
} Trace;

static int pair_points(const Query *query, const Costs *costs, int i, uint8_t pitch,
                       uint8_t class_, int move)
{
    const int apart = abs(pitch - query->pitch[i] - move);
    const int r = relation(query->classes[i], class_);
    return apart == 0 ? costs->same[r] : apart <= NEAR ? -costs->near[r] : -costs->far[r];
}

/* One more tune note: points of each phrase note, and how each was reached. */
static void next_column(const Query *query, const Costs *costs, uint8_t pitch,
                        uint8_t class_, int move, int32_t *column, uint8_t *steps)
{
    int32_t diagonal = 0, left = 0;
    for (int i = 0; i < query->count; i++) {
        const int32_t pair = diagonal + pair_points(query, costs, i, pitch, class_, move);
        const int32_t skip_tune = column[i] - costs->gap, skip_query = left - costs->gap;
        int32_t here = 0;
        uint8_t step = 0;
        if (pair > here) {
            here = pair;
            step = TO_PAIR;
        }
        if (skip_tune > here) {
            here = skip_tune;
            step = TO_SKIP_TUNE;
        }
        if (skip_query > here) {
            here = skip_query;
            step = TO_SKIP_QUERY;
        }
        diagonal = column[i];
        column[i] = left = here;
        if (steps != NULL)
            steps[i] = step;
    }
}

static void find_end(const Query *query, const Costs *costs, const Tune *tune, int move,
                     int32_t *column, Trace *trace)
{
    const uint8_t *pitch = tune->pitch.buf, *classes = tune->classes.buf;
    for (size_t j = 0; j < (size_t)tune->pitch.len; j++) {
        next_column(query, costs, pitch[j], classes[j], move, column, NULL);
        for (int i = 0; i < query->count; i++)
            if (column[i] > trace->points) {
                trace->points = column[i];
                trace->end = i;
                trace->tune_end = j;
            }
    }
}

/* 0 done, -1 no memory, -2 too large. */
static int find_trace(const Query *query, const Costs *costs, const Tune *tune, int move,
                      Trace *trace)
{
    const uint8_t *pitch = tune->pitch.buf, *classes = tune->classes.buf;
    int32_t *column = calloc((size_t)query->count, sizeof(int32_t));
    if (column == NULL)
        return -1;
    find_end(query, costs, tune, move, column, trace);
    /* No alignment that still has points left can have skipped more tune notes. */
    const size_t reach = (size_t)query->count * (size_t)costs->top / (size_t)costs->gap +
                         (size_t)query->count;
    trace->first = trace->tune_end + 1 > reach ? trace->tune_end + 1 - reach : 0;
    const uint64_t cells =
        (uint64_t)(trace->tune_end + 1 - trace->first) * (uint64_t)query->count;
    int fault = 0;
    if (trace->points > 0 && cells > MOST_CELLS) {
        fault = -2;
    } else if (trace->points > 0) {
        trace->steps = malloc((size_t)cells);
        fault = trace->steps == NULL ? -1 : 0;
        memset(column, 0, (size_t)query->count * sizeof(int32_t));
        for (size_t j = trace->first; fault == 0 && j <= trace->tune_end; j++)
            next_column(query, costs, pitch[j], classes[j], move, column,
                        trace->steps + (j - trace->first) * (size_t)query->count);
    }
    free(column);
    return fault;
}

static PyObject *pairs_of(const Query *query, const Trace *trace)
{
    PyObject *found = PyList_New(0);
    Py_ssize_t i = trace->end, j = (Py_ssize_t)(trace->tune_end - trace->first);
    while (found != NULL && i >= 0 && j >= 0) {
        const uint8_t step = trace->steps[j * query->count + i];
        if (step == 0)
            break;
        PyObject *pair = Py_BuildValue(
            "(nn)", step == TO_SKIP_TUNE ? (Py_ssize_t)-1 : i,
            step == TO_SKIP_QUERY ? (Py_ssize_t)-1 : j + (Py_ssize_t)trace->first);
        if (pair == NULL || PyList_Append(found, pair) < 0)
            Py_CLEAR(found);
        Py_XDECREF(pair);
        i -= step != TO_SKIP_TUNE;
        j -= step != TO_SKIP_QUERY;
    }
    if (found != NULL && PyList_Reverse(found) < 0)
        Py_CLEAR(found);
    return found;
}

PyDoc_STRVAR(trace_doc,
             "trace(pitch, classes, tune pitch, tune classes, transposition, costs)\n\n"
             "(points, pairs) of the best alignment under one transposition; -1 stands "
             "for a missing partner.");

static PyObject *kernel_trace(PyObject *module, PyObject *args)
{
    Py_buffer pitch, classes;
    Tune tune;
    PyObject *given, *found = NULL;
    Costs costs;
    int move;
    (void)module;
    memset(&tune, 0, sizeof tune);
    if (!PyArg_ParseTuple(args, "y*y*y*y*iO", &pitch, &classes, &tune.pitch, &tune.classes,
                          &move, &given))
        return NULL;
    Query *query = NULL;
    Trace trace = {0, 0, 0, 0, NULL};
    if (read_costs(given, &costs) < 0 ||
        (query = read_query(&pitch, &classes, &costs)) == NULL)
        goto done;
    /* The smallest int has no opposite: abs() of it is undefined. */
    if (move < -1024 || move > 1024) {
        PyErr_SetString(PyExc_ValueError, "a transposition of at most 1024 semitones");
        goto done;
    }
    if (tune.pitch.len != tune.classes.len) {
        damaged();
        goto done;
    }
    int fault;
    Py_BEGIN_ALLOW_THREADS
    fault = find_trace(query, &costs, &tune, move, &trace);
    Py_END_ALLOW_THREADS
    if (fault == -2)
        PyErr_SetString(PyExc_OverflowError, "the alignment is too large");
    else if (fault == -1)
        PyErr_NoMemory();
    else if (trace.points == 0)
        found = Py_BuildValue("(i[])", 0);
    else {
        PyObject *pairs = pairs_of(query, &trace);
        found = pairs == NULL ? NULL : Py_BuildValue("(iN)", trace.points, pairs);
    }
done:
    free(trace.steps);
    free(query);
    PyBuffer_Release(&pitch);
    PyBuffer_Release(&classes);
    PyBuffer_Release(&tune.pitch);
    PyBuffer_Release(&tune.classes);
    return found;
}

/* ---- one tune of a chunk --------------------------------------------------- */

static void take_lane(const uint8_t *from, const uint32_t *lengths, int lanes, int lane,
                      char *to)
{
    const uint32_t count = lengths[lane];
    int active = lanes;
    from += lane;
    for (uint32_t j = 0; j < count;) {
        while (lengths[active - 1] <= j)
            active--;
        /* As many tunes go on side by side until the shortest of them ends. */
        for (const uint32_t end = lengths[active - 1]; j < end; j++, from += active)
            to[j] = (char)*from;
    }
}

PyDoc_STRVAR(notes_at_doc, "notes_at(notes, lengths, index) -> (bytes, bytes)\n\n"
                           "Pitches and length classes of one tune of a chunk.");

static PyObject *kernel_notes_at(PyObject *module, PyObject *args)
{
    Py_buffer notes, lengths;
    Py_ssize_t index;
    PyObject *pitch = NULL, *classes = NULL, *found = NULL;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*n", &notes, &lengths, &index))
        return NULL;
    if (lengths.len % 4 || index < 0 || index >= lengths.len / 4) {
        PyErr_SetString(PyExc_IndexError, "no such tune");
        goto done;
    }
    Py_ssize_t place = 0;
    uint32_t copy[LANES];
    Block block;
    for (Py_ssize_t first = 0; first <= index; first += LANES)
        if (read_block(&notes, &lengths, first, &place, copy, &block) < 0) {
            damaged();
            goto done;
        }
    const int lane = (int)(index % LANES);
    const Py_ssize_t count = copy[lane];
    char *held = malloc(2 * (size_t)count + 1);
    if (held == NULL) {
        PyErr_NoMemory();
        goto done;
    }
    take_lane(block.pitch, copy, block.lanes, lane, held);
    take_lane(block.classes, copy, block.lanes, lane, held + count);
    pitch = PyBytes_FromStringAndSize(held, count);
    classes = PyBytes_FromStringAndSize(held + count, count);
    free(held);
    if (pitch != NULL && classes != NULL)
        found = PyTuple_Pack(2, pitch, classes);
done:
    Py_XDECREF(pitch);
    Py_XDECREF(classes);
    PyBuffer_Release(&notes);
    PyBuffer_Release(&lengths);
    return found;
}

/* ---- tunes drawn and put together anew --------------------------------------- */

#include "_drawing.h"

/* ---- figures ---------------------------------------------------------------- */

/* How many steps of a figure agree with a tune that far, for each step and each lane.
 *
 * ``exact``: the longest row of steps that all agree and end here, for this note of
 * the tune and the two before it. ``mended``: the longest that ends in a note that
 * agrees, with at most one note before it changed. ``most`` and ``nearly`` keep the
 * longest of a whole tune, the latter also where the last note is the changed one.
 * Whatever ends a row of so many steps also ends all shorter ones, so that one pass
 * answers for every part of a figure. */
typedef struct {
    uint8_t exact[3][MOST_FIGURE_NOTES][LANES];
    uint8_t mended[2][MOST_FIGURE_NOTES][LANES];
    uint8_t most[MOST_FIGURE_NOTES][LANES], nearly[MOST_FIGURE_NOTES][LANES];
} Runs;

static inline uint8_t larger(uint8_t a, uint8_t b)
{
    return a > b ? a : b;
}

static inline uint8_t smaller(uint8_t a, uint8_t b)
{
    return a < b ? a : b;
}

static void clear_runs(Runs *runs, int size)
{
    for (int row = 0; row < 3; row++)
        memset(runs->exact[row], 0, (size_t)size * LANES);
    for (int row = 0; row < 2; row++)
        memset(runs->mended[row], 0, (size_t)size * LANES);
    memset(runs->most, 0, (size_t)size * LANES);
    memset(runs->nearly, 0, (size_t)size * LANES);
}

/* A note is changed when the steps to it and from it differ but their sum agrees; the
 * first note of a row when all that follows agrees; the last when all before does. */
EVERY_PROCESSOR
static void figure_block(const uint8_t *figure, int size, Block block, Runs *runs)
{
    uint8_t row[3][LANES] = {{0}}, step[LANES], two[LANES], live[LANES];
    int active = block.lanes;
    clear_runs(runs, size);
    for (uint32_t j = 0; j < block.lengths[0]; j++) {
        while (block.lengths[active - 1] <= j)
            active--;
        uint8_t *note = row[j % 3];
        const uint8_t *before = row[(j + 2) % 3], *first = row[(j + 1) % 3];
        take_row(note, block.pitch, active);
        block.pitch += active;
        if (j == 0)
            continue;
        for (int l = 0; l < LANES; l++) {
            step[l] = (uint8_t)(note[l] - before[l]);
            two[l] = (uint8_t)(note[l] - first[l]);
            live[l] = l < active ? 255 : 0;
        }
        for (int k = 1; k < size; k++) {
            const uint8_t wanted = (uint8_t)(figure[k] - figure[k - 1]);
            const uint8_t room = (uint8_t)(j < (uint32_t)k ? j : (uint32_t)k);
            const uint8_t *was = runs->exact[(j + 2) % 3][k - 1];
            const uint8_t *mended = runs->mended[(j + 1) % 2][k - 1];
            uint8_t *now = runs->exact[j % 3][k], *whole = runs->mended[j % 2][k];
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                const uint8_t same = step[l] == wanted ? 255 : 0;
                now[l] = (uint8_t)(was[l] + 1) & same;
                whole[l] = larger((uint8_t)(mended[l] + 1) & same,
                                  smaller((uint8_t)(now[l] + 1), room));
            }
            if (k > 1 && j > 1) {
                const uint8_t sum = (uint8_t)(figure[k] - figure[k - 2]);
                const uint8_t *long_ago = runs->exact[(j + 1) % 3][k - 2];
                INDEPENDENT
                for (int l = 0; l < LANES; l++) {
                    const uint8_t same = two[l] == sum ? 255 : 0;
                    whole[l] = larger(whole[l], (uint8_t)(long_ago[l] + 2) & same);
                }
            }
            uint8_t *most = runs->most[k], *nearly = runs->nearly[k];
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                most[l] = larger(most[l], now[l] & live[l]);
                nearly[l] = larger(nearly[l],
                                   larger(whole[l], (uint8_t)(was[l] + 1)) & live[l]);
            }
        }
    }
}

/* For each part, given by its last note and its number of notes: 2 for a tune that
 * holds it, 1 with one note changed, else 0; the tunes of one part side by side. */
static void judge_parts(const Runs *runs, const uint8_t *parts, Py_ssize_t count,
                        int lanes, Py_ssize_t tunes, uint8_t *out)
{
    for (Py_ssize_t p = 0; p < count; p++) {
        const int last = parts[2 * p], steps = parts[2 * p + 1] - 1;
        for (int l = 0; l < lanes; l++)
            out[p * tunes + l] = runs->most[last][l] >= steps     ? 2
                                 : runs->nearly[last][l] >= steps ? 1
                                                                  : 0;
    }
}

static int figure_is_sound(const Py_buffer *figure, const uint8_t *parts, Py_ssize_t size)
{
    int sound = figure->len >= 2 && figure->len <= MOST_FIGURE_NOTES && size % 2 == 0;
    for (Py_ssize_t p = 0; sound && p < size; p += 2)
        sound = parts[p] < figure->len && parts[p + 1] >= 2 && parts[p + 1] <= parts[p] + 1;
    return sound;
}

PyDoc_STRVAR(holding_doc,
             "holding(notes, lengths, figure, parts) -> bytes\n\n"
             "For each part of a figure and each tune of a chunk: 2 where the part stands "
             "in it, 1 where it does with one note changed, else 0. A part is two bytes: "
             "the index of its last note and how many notes it has.");

static PyObject *kernel_holding(PyObject *module, PyObject *args)
{
    Py_buffer notes, lengths, figure, parts;
    PyObject *found = NULL;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*y*", &notes, &lengths, &figure, &parts))
        return NULL;
    uint8_t *out = NULL;
    Runs *runs = NULL;
    if (!figure_is_sound(&figure, parts.buf, parts.len)) {
        PyErr_SetString(PyExc_ValueError, "a figure has 2 to 64 notes, and so its parts");
        goto done;
    }
    const Py_ssize_t tunes = lengths.len / 4, count = parts.len / 2;
    if (lengths.len % 4) {
        damaged();
        goto done;
    }
    if (count > 0 && tunes > PY_SSIZE_T_MAX / count - 1) {
        PyErr_NoMemory();
        goto done;
    }
    out = malloc((size_t)(tunes * count) + 1);
    runs = malloc(sizeof(Runs));
    if (out == NULL || runs == NULL) {
        PyErr_NoMemory();
        goto done;
    }
    int fault = 0;
    Py_BEGIN_ALLOW_THREADS
    Py_ssize_t place = 0;
    for (Py_ssize_t first = 0; first < tunes && !fault; first += LANES) {
        uint32_t copy[LANES];
        Block block;
        fault = read_block(&notes, &lengths, first, &place, copy, &block);
        if (!fault) {
            figure_block(figure.buf, (int)figure.len, block, runs);
            judge_parts(runs, parts.buf, count, block.lanes, tunes, out + first);
        }
    }
    Py_END_ALLOW_THREADS
    found = fault ? damaged() : PyBytes_FromStringAndSize((char *)out, tunes * count);
done:
    free(out);
    free(runs);
    PyBuffer_Release(&notes);
    PyBuffer_Release(&lengths);
    PyBuffer_Release(&figure);
    PyBuffer_Release(&parts);
    return found;
}

/* ---- stretches ------------------------------------------------------------- */

#include "_stretches.h"

/* ---- pieces ------------------------------------------------------------------ */

PyDoc_STRVAR(leading_doc,
             "leading(levels, pieces) -> bytes\n\n"
             "The highest level among the lines of each piece of a chunk, in the order of "
             "the first of them; pieces has 16 bits for each tune, the place of that one.");

static PyObject *kernel_leading(PyObject *module, PyObject *args)
{
    Py_buffer levels, pieces;
    PyObject *found = NULL;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*", &levels, &pieces))
        return NULL;
    const uint8_t *given = levels.buf, *raw = pieces.buf;
    const Py_ssize_t tunes = levels.len;
    uint8_t *out = malloc((size_t)tunes + 1);
    if (out == NULL) {
        PyErr_NoMemory();
        goto done;
    }
    int sound = pieces.len == 2 * tunes;
    for (Py_ssize_t i = 0; sound && i < tunes; i++) {
        const Py_ssize_t first = raw[2 * i] | raw[2 * i + 1] << 8;
        /* The first line of a piece comes before its others. */
        sound = first == i || (first < i && (raw[2 * first] | raw[2 * first + 1] << 8) == first);
        if (sound && first == i)
            out[i] = given[i];
        else if (sound && given[i] > out[first])
            out[first] = given[i];
    }
    if (!sound) {
        damaged();
        goto done;
    }
    Py_ssize_t kept = 0;
    for (Py_ssize_t i = 0; i < tunes; i++)
        if ((raw[2 * i] | raw[2 * i + 1] << 8) == i)
            out[kept++] = out[i];
    found = PyBytes_FromStringAndSize((char *)out, kept);
done:
    free(out);
    PyBuffer_Release(&levels);
    PyBuffer_Release(&pieces);
    return found;
}

/* ---- contours ---------------------------------------------------------------- */

PyDoc_STRVAR(contours_doc,
             "contours(notes, lengths, signs, same, other, gap) -> bytes\n\n"
             "Points of a row of signs (0 down, 1 level, 2 up) against the steps of all "
             "tunes of a chunk, 16 bits each; costs as positive numbers.");

static PyObject *kernel_contours(PyObject *module, PyObject *args)
{
    Py_buffer notes, lengths, signs;
    int same, other, gap;
    PyObject *found = NULL;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*iii", &notes, &lengths, &signs, &same, &other, &gap))
        return NULL;
    void *owned = NULL;
    uint16_t *out = NULL;
    if (signs.len < 1 || signs.len > MOST_QUERY_NOTES || same < 1 || other < 0 ||
        gap < 1 || same > 255 || other > 255 || gap > 255 ||
        signs.len * same > MOST_TOTAL) {
        PyErr_SetString(PyExc_ValueError, "signs or costs are out of range");
        goto done;
    }
    if (lengths.len % 4) {
        damaged();
        goto done;
    }
    void *space = room(((size_t)signs.len + 2) * LANES * 2, &owned);
    out = malloc((size_t)(lengths.len / 2) + 1);
    if (space == NULL || out == NULL) {
        PyErr_NoMemory();
        goto done;
    }
    int fault = 0;
    Py_BEGIN_ALLOW_THREADS
    Py_ssize_t place = 0;
    const int rows = (int)signs.len, wide = rows * same > 255;
    for (Py_ssize_t first = 0; first < lengths.len / 4 && !fault; first += LANES) {
        uint32_t copy[LANES];
        Block block;
        fault = read_block(&notes, &lengths, first, &place, copy, &block);
        if (!fault && wide)
            contour_block_wide(signs.buf, rows, same, other, gap, block, space,
                               out + first);
        else if (!fault)
            contour_block_narrow(signs.buf, rows, same, other, gap, block, space,
                                 out + first);
    }
    Py_END_ALLOW_THREADS
    found = fault ? damaged() : PyBytes_FromStringAndSize((char *)out, lengths.len / 2);
done:
    free(out);
    free(owned);
    PyBuffer_Release(&notes);
    PyBuffer_Release(&lengths);
    PyBuffer_Release(&signs);
    return found;
}

/* ---- the module -------------------------------------------------------------- */

static PyMethodDef methods[] = {
    {"bounds", kernel_bounds, METH_VARARGS, bounds_doc},
    {"histogram", kernel_histogram, METH_VARARGS, histogram_doc},
    {"select", kernel_select, METH_VARARGS, select_doc},
    {"best", kernel_best, METH_VARARGS, best_doc},
    {"reached", kernel_reached, METH_VARARGS, reached_doc},
    {"trace", kernel_trace, METH_VARARGS, trace_doc},
    {"notes_at", kernel_notes_at, METH_VARARGS, notes_at_doc},
    {"drawn", kernel_drawn, METH_VARARGS, drawn_doc},
    {"gathered", kernel_gathered, METH_VARARGS, gathered_doc},
    {"holding", kernel_holding, METH_VARARGS, holding_doc},
    {"stretches", kernel_stretches, METH_VARARGS, stretches_doc},
    {"leading", kernel_leading, METH_VARARGS, leading_doc},
    {"contours", kernel_contours, METH_VARARGS, contours_doc},
    {NULL, NULL, 0, NULL},
};

/* Who calls refuses a kernel that was built for ids of another length. */
static int kernel_exec(PyObject *module)
{
    return PyModule_AddIntConstant(module, "ID_BYTES", ID_BYTES);
}

static struct PyModuleDef_Slot slots[] = {{Py_mod_exec, (void *)kernel_exec}, {0, NULL}};

static struct PyModuleDef definition = {
    PyModuleDef_HEAD_INIT,
    .m_name = "_kernel",
    .m_doc = "The compiled engine; used through melodex.matching.engine.compiled.",
    .m_size = 0,
    .m_methods = methods,
    .m_slots = slots,
};

PyMODINIT_FUNC PyInit__kernel(void)
{
    return PyModuleDef_Init(&definition);
}
