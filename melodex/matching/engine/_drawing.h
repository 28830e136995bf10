/* Tunes drawn by their ids, and tunes put together anew out of several chunks.
 *
 * Part of _kernel.c. What is drawn depends on the ids and a seed alone, never on where
 * a tune stands: those are drawn whose scattered ids are lowest, so that a tune more or
 * less changes one that is drawn at most. */

#define ID_BYTES 8
/* Those that tunes are drawn by; the rest decides between ids that agree in them. */
#define LEADING_BYTES 6

/* The last step of SplitMix64 (Steele, Lea and Flood 2014, Proc. OOPSLA, 453-472): a
 * permutation of the numbers of 64 bits, so that different ids never meet. */
static uint64_t scattered(uint64_t value)
{
    value = (value ^ value >> 30) * 0xBF58476D1CE4E5B9u;
    value = (value ^ value >> 27) * 0x94D049BB133111EBu;
    return value ^ value >> 31;
}

static uint64_t order_of(const uint8_t *id, uint64_t seed)
{
    uint64_t number = 0;
    for (int k = 0; k < LEADING_BYTES; k++)
        number = number << 8 | id[k];
    return scattered(number ^ seed);
}

static uint64_t rest_of(const uint8_t *id)
{
    uint64_t number = 0;
    for (int k = LEADING_BYTES; k < ID_BYTES; k++)
        number = number << 8 | id[k];
    return number;
}

/* The last that is drawn: its order, and the rest of its id. */
typedef struct {
    uint64_t order, rest;
} Limit;

static int is_drawn(const uint8_t *id, uint64_t seed, Limit limit)
{
    const uint64_t order = order_of(id, seed);
    return order < limit.order || (order == limit.order && rest_of(id) <= limit.rest);
}

/* The value that would stand at a place if all were sorted; they are moved about. */
static uint64_t sorted_at(uint64_t *values, size_t count, size_t place)
{
    size_t low = 0, high = count - 1;
    while (low < high) {
        const uint64_t pivot = values[low + (high - low) / 2];
        size_t a = low, b = high;
        for (;;) {
            while (values[a] < pivot)
                a++;
            while (values[b] > pivot)
                b--;
            if (a >= b)
                break;
            const uint64_t held = values[a];
            values[a++] = values[b];
            values[b--] = held;
        }
        if (place <= b)
            high = b;
        else
            low = b + 1;
    }
    return values[low];
}

static void release_views(Py_buffer *views, Py_ssize_t count)
{
    for (Py_ssize_t k = 0; k < count; k++)
        PyBuffer_Release(&views[k]);
    free(views);
}

/* Views of the ids of some chunks; NULL and an error if something is amiss. */
static Py_buffer *views_of_ids(PyObject *list, Py_ssize_t parts, size_t *total)
{
    Py_buffer *views = calloc((size_t)parts + 1, sizeof(Py_buffer));
    if (views == NULL) {
        PyErr_NoMemory();
        return NULL;
    }
    *total = 0;
    for (Py_ssize_t k = 0; k < parts; k++) {
        PyObject *ids = PyList_GetItem(list, k);
        if (ids == NULL || PyObject_GetBuffer(ids, &views[k], PyBUF_SIMPLE) < 0) {
            release_views(views, k);
            return NULL;
        }
        *total += (size_t)(views[k].len / ID_BYTES);
    }
    return views;
}

/* The places, in one chunk, of ids that are within a limit, 32 bits each. */
static PyObject *places_within(const Py_buffer *ids, uint64_t seed, Limit limit)
{
    const size_t tunes = (size_t)(ids->len / ID_BYTES);
    uint32_t *places = malloc(tunes * sizeof(uint32_t) + 1);
    if (places == NULL)
        return PyErr_NoMemory();
    size_t found = 0;
    for (size_t k = 0; k < tunes; k++)
        if (is_drawn((const uint8_t *)ids->buf + ID_BYTES * k, seed, limit))
            places[found++] = (uint32_t)k;
    PyObject *made =
        PyBytes_FromStringAndSize((char *)places, (Py_ssize_t)(found * sizeof(uint32_t)));
    free(places);
    return made;
}

static int limit_of(const Py_buffer *views, Py_ssize_t parts, size_t total, size_t count,
                    uint64_t seed, Limit *limit)
{
    limit->order = limit->rest = UINT64_MAX;
    if (count >= total)
        return 0;
    uint64_t *orders = malloc(total * sizeof(uint64_t) + 1);
    if (orders == NULL)
        return -1;
    size_t filled = 0;
    for (Py_ssize_t k = 0; k < parts; k++)
        for (Py_ssize_t at = 0; at + ID_BYTES <= views[k].len; at += ID_BYTES)
            orders[filled++] = order_of((const uint8_t *)views[k].buf + at, seed);
    limit->order = sorted_at(orders, total, count - 1);
    size_t below = 0;
    for (size_t k = 0; k < total; k++)
        below += orders[k] < limit->order;
    filled = 0;
    for (Py_ssize_t k = 0; k < parts; k++)
        for (Py_ssize_t at = 0; at + ID_BYTES <= views[k].len; at += ID_BYTES)
            if (order_of((const uint8_t *)views[k].buf + at, seed) == limit->order)
                orders[filled++] = rest_of((const uint8_t *)views[k].buf + at);
    limit->rest = sorted_at(orders, filled, count - 1 - below);
    free(orders);
    return 0;
}

PyDoc_STRVAR(drawn_doc, "drawn(ids, seed, count) -> list of bytes\n\n"
                        "Places of the tunes drawn from each chunk, 32 bits each, given "
                        "the ids of each chunk.");

static PyObject *kernel_drawn(PyObject *module, PyObject *args)
{
    PyObject *list;
    unsigned long long given;
    Py_ssize_t count;
    (void)module;
    if (!PyArg_ParseTuple(args, "OKn", &list, &given, &count))
        return NULL;
    if (!PyList_Check(list) || count < 1) {
        PyErr_SetString(PyExc_ValueError, "a list of ids, and at least one tune");
        return NULL;
    }
    const Py_ssize_t parts = PyList_Size(list);
    size_t total;
    Py_buffer *views = views_of_ids(list, parts, &total);
    if (views == NULL)
        return NULL;
    const uint64_t seed = scattered(given);
    Limit limit;
    PyObject *found = NULL;
    if (limit_of(views, parts, total, (size_t)count, seed, &limit) < 0)
        PyErr_NoMemory();
    else
        found = PyList_New(parts);
    for (Py_ssize_t k = 0; found != NULL && k < parts; k++) {
        PyObject *places = places_within(&views[k], seed, limit);
        if (places == NULL || PyList_SetItem(found, k, places) < 0)
            Py_CLEAR(found);
    }
    release_views(views, parts);
    return found;
}

/* ---- tunes out of several chunks, put together anew ----------------------- */

typedef struct {
    const uint8_t *id;
    uint8_t *pitch;
    uint32_t count;
} Taken;

typedef struct {
    Py_buffer notes, lengths, ids, places;
} Source;

static int longest_first(const void *one, const void *other)
{
    const Taken *a = one, *b = other;
    if (a->count != b->count)
        return a->count < b->count ? 1 : -1;
    return memcmp(a->id, b->id, ID_BYTES);
}

static int take_source(PyObject *given, Source *source)
{
    if (given == NULL || !PyTuple_Check(given)) {
        PyErr_SetString(PyExc_TypeError, "notes, lengths, ids and places of each chunk");
        return -1;
    }
    return PyArg_ParseTuple(given, "y*y*y*y*", &source->notes, &source->lengths,
                            &source->ids, &source->places)
               ? 0
               : -1;
}

static void release_sources(Source *sources, Py_ssize_t count)
{
    for (Py_ssize_t k = 0; k < count; k++) {
        PyBuffer_Release(&sources[k].notes);
        PyBuffer_Release(&sources[k].lengths);
        PyBuffer_Release(&sources[k].ids);
        PyBuffer_Release(&sources[k].places);
    }
    free(sources);
}

static uint32_t place_at(const Source *source, size_t k)
{
    uint32_t place;
    memcpy(&place, (const char *)source->places.buf + 4 * k, 4);
    return place;
}

/* Take the tunes of one chunk whose places are given in rising order. Without room to
 * put them, only count: -1 where something does not fit together. */
static int take_tunes(const Source *source, Taken *taken, size_t *tunes, uint8_t *room_for,
                      size_t *notes)
{
    const Py_ssize_t held = source->lengths.len / 4;
    const size_t wanted = (size_t)(source->places.len / 4);
    if (source->lengths.len % 4 || source->places.len % 4 ||
        source->ids.len != held * ID_BYTES)
        return -1;
    Py_ssize_t place = 0, first = -LANES;
    uint32_t copy[LANES];
    Block block;
    for (size_t k = 0; k < wanted; k++) {
        const Py_ssize_t index = (Py_ssize_t)place_at(source, k);
        if (index >= held || (k > 0 && index <= (Py_ssize_t)place_at(source, k - 1)))
            return -1;
        while (index >= first + LANES) {
            first += LANES;
            if (read_block(&source->notes, &source->lengths, first, &place, copy,
                           &block) < 0)
                return -1;
        }
        const int lane = (int)(index - first);
        if (taken != NULL) {
            Taken *tune = &taken[*tunes];
            tune->id = (const uint8_t *)source->ids.buf + ID_BYTES * index;
            tune->pitch = room_for + *notes * 2;
            tune->count = copy[lane];
            take_lane(block.pitch, copy, block.lanes, lane, (char *)tune->pitch);
            take_lane(block.classes, copy, block.lanes, lane,
                      (char *)tune->pitch + tune->count);
        }
        (*tunes)++;
        *notes += copy[lane];
    }
    return 0;
}

/* One column of a block: first bytes of all its tunes, then second bytes ... */
static char *lay_out(const Taken *block, int lanes, int classes, char *to)
{
    int active = lanes;
    for (uint32_t j = 0; j < block[0].count;) {
        while (block[active - 1].count <= j)
            active--;
        const uint32_t notes = block[active - 1].count - j;
        for (int l = 0; l < active; l++) {
            const uint8_t *from = block[l].pitch + (classes ? block[l].count : 0) + j;
            char *next = to + l;
            for (uint32_t k = 0; k < notes; k++, next += active)
                *next = (char)from[k];
        }
        to += (size_t)active * notes;
        j += notes;
    }
    return to;
}

static void lay_out_all(const Taken *taken, size_t tunes, char *ids, char *lengths,
                        char *notes)
{
    for (size_t k = 0; k < tunes; k++) {
        memcpy(ids + ID_BYTES * k, taken[k].id, ID_BYTES);
        for (int b = 0; b < 4; b++)
            lengths[4 * k + (size_t)b] = (char)(taken[k].count >> 8 * b);
    }
    for (size_t first = 0; first < tunes; first += LANES) {
        const int lanes = (int)(tunes - first < LANES ? tunes - first : LANES);
        notes = lay_out(taken + first, lanes, 0, notes);
        notes = lay_out(taken + first, lanes, 1, notes);
    }
}

/* Ids, lengths and notes of a chunk made of tunes of others; NULL and an error. */
static PyObject *gathered_from(const Source *sources, Py_ssize_t parts)
{
    size_t tunes = 0, notes = 0;
    for (Py_ssize_t k = 0; k < parts; k++)
        if (take_tunes(&sources[k], NULL, &tunes, NULL, &notes) < 0)
            return damaged();
    Taken *taken = malloc(tunes * sizeof(Taken) + 1);
    uint8_t *held = malloc(2 * notes + 1);
    char *columns = malloc((ID_BYTES + 4) * tunes + 2 * notes + 1);
    PyObject *found = NULL;
    if (taken == NULL || held == NULL || columns == NULL) {
        PyErr_NoMemory();
    } else {
        char *lengths = columns + ID_BYTES * tunes, *packed = lengths + 4 * tunes;
        Py_BEGIN_ALLOW_THREADS
        tunes = notes = 0;
        for (Py_ssize_t k = 0; k < parts; k++)
            take_tunes(&sources[k], taken, &tunes, held, &notes);
        qsort(taken, tunes, sizeof(Taken), longest_first);
        lay_out_all(taken, tunes, columns, lengths, packed);
        Py_END_ALLOW_THREADS
        found = Py_BuildValue("(y#y#y#)", columns, (Py_ssize_t)(ID_BYTES * tunes), lengths,
                              (Py_ssize_t)(4 * tunes), packed, (Py_ssize_t)(2 * notes));
    }
    free(taken);
    free(held);
    free(columns);
    return found;
}

PyDoc_STRVAR(gathered_doc, "gathered(parts) -> (ids, lengths, notes)\n\n"
                           "A chunk of some tunes of others: of each part its notes, "
                           "lengths, ids, and the places wanted, in rising order.");

static PyObject *kernel_gathered(PyObject *module, PyObject *args)
{
    PyObject *list;
    (void)module;
    if (!PyArg_ParseTuple(args, "O", &list))
        return NULL;
    if (!PyList_Check(list)) {
        PyErr_SetString(PyExc_TypeError, "a list of parts");
        return NULL;
    }
    const Py_ssize_t parts = PyList_Size(list);
    Source *sources = calloc((size_t)parts + 1, sizeof(Source));
    if (sources == NULL)
        return PyErr_NoMemory();
    PyObject *found = NULL;
    Py_ssize_t taken = 0;
    while (taken < parts && take_source(PyList_GetItem(list, taken), &sources[taken]) == 0)
        taken++;
    if (taken == parts)
        found = gathered_from(sources, parts);
    release_sources(sources, taken);
    return found;
}
