/* Stretches: rows of notes that a tune and an own tune have in common, in any key and
 * without gaps, but for notes changed. Included by _kernel.c.
 *
 * The worth of a step of the own tune is added where the tune steps alike; one note that
 * differs, or two in a row, cost a loss each, and the steps to and from them bring
 * nothing. Lanes of bytes, cut off at 255: the numpy twin is stretches_of_lanes. */

#define STRETCH_ROWS 4
#define MOST_CHANGED 2

/* Where an own tune steps, over one, two and three notes; NEVER where it has not so many
 * notes before. */
static void own_steps(const uint8_t *own, int size, uint8_t *steps)
{
    for (int apart = 1; apart < STRETCH_ROWS; apart++)
        for (int k = 0; k < size; k++)
            steps[(apart - 1) * size + k] =
                k < apart ? NEVER : (uint8_t)(own[k] - own[k - apart]);
}

/* ``space`` has STRETCH_ROWS rows of ``size`` times LANES. */
EVERY_PROCESSOR
static void stretch_block(const uint8_t *steps, const uint8_t *worth, int size, int loss,
                          Block block, uint8_t *space, uint8_t *best)
{
    uint8_t row[STRETCH_ROWS][LANES] = {{0}}, step[STRETCH_ROWS][LANES], most[LANES] = {0};
    const size_t width = (size_t)size * LANES;
    int active = block.lanes;
    memset(space, 0, STRETCH_ROWS * width);
    for (uint32_t j = 0; j < block.lengths[0]; j++) {
        while (block.lengths[active - 1] <= j)
            active--;
        uint8_t *note = row[j % STRETCH_ROWS];
        take_row(note, block.pitch, active);
        block.pitch += active;
        for (int apart = 1; apart < STRETCH_ROWS; apart++) {
            const uint8_t *before = row[(j + STRETCH_ROWS - (uint32_t)apart) % STRETCH_ROWS];
            for (int l = 0; l < LANES; l++)
                step[apart][l] = l < active && j >= (uint32_t)apart
                                     ? (uint8_t)(note[l] - before[l])
                                     : NEVER;
        }
        uint8_t *now = space + (j % STRETCH_ROWS) * width;
        for (int k = 1; k < size; k++) {
            const uint8_t *was = space + ((j + 3) % STRETCH_ROWS) * width + (k - 1) * LANES;
            const uint8_t gain = worth[k], room = (uint8_t)(255 - gain), wanted = steps[k];
            uint8_t *here = now + k * LANES;
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                const uint8_t same = step[1][l] == wanted ? 255 : 0;
                here[l] = (uint8_t)(smaller(was[l], room) + gain) & same;
            }
            for (int changed = 1; changed <= MOST_CHANGED && changed < k; changed++) {
                const int apart = changed + 1, lost = changed * loss;
                const uint8_t cost = (uint8_t)(lost > 255 ? 255 : lost);
                const uint8_t over = steps[changed * size + k], *step_over = step[apart];
                const uint8_t *ago =
                    space + ((j + STRETCH_ROWS - (uint32_t)apart) % STRETCH_ROWS) * width +
                    (k - apart) * LANES;
                INDEPENDENT
                for (int l = 0; l < LANES; l++) {
                    const uint8_t same = step_over[l] == over ? 255 : 0;
                    here[l] = larger(here[l], (uint8_t)(larger(ago[l], cost) - cost) & same);
                }
            }
            INDEPENDENT
            for (int l = 0; l < LANES; l++)
                most[l] = larger(most[l], here[l]);
        }
    }
    memcpy(best, most, (size_t)block.lanes);
}

PyDoc_STRVAR(stretches_doc,
             "stretches(notes, lengths, own, worth, loss) -> bytes\n\n"
             "Points of the best stretch that each tune of a chunk has in common with an "
             "own tune, at most 255. Each step of the own tune, by the index of the note "
             "it leads to, has a worth; a note changed costs a loss.");

static PyObject *kernel_stretches(PyObject *module, PyObject *args)
{
    Py_buffer notes, lengths, own, worth;
    int loss;
    PyObject *found = NULL;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*y*i", &notes, &lengths, &own, &worth, &loss))
        return NULL;
    uint8_t *out = NULL, *space = NULL, *steps = NULL;
    const Py_ssize_t tunes = lengths.len / 4;
    if (own.len < 1 || own.len > MOST_QUERY_NOTES || worth.len != own.len || loss < 0 ||
        loss > 255) {
        PyErr_SetString(PyExc_ValueError, "an own tune has 1 to 4096 notes, as many worths "
                                          "and a loss of 0 to 255");
        goto done;
    }
    if (lengths.len % 4) {
        damaged();
        goto done;
    }
    const int size = (int)own.len;
    out = malloc((size_t)tunes + 1);
    space = malloc((size_t)size * LANES * STRETCH_ROWS);
    steps = malloc((size_t)size * (STRETCH_ROWS - 1));
    if (out == NULL || space == NULL || steps == NULL) {
        PyErr_NoMemory();
        goto done;
    }
    int fault = 0;
    Py_BEGIN_ALLOW_THREADS
    Py_ssize_t place = 0;
    own_steps(own.buf, size, steps);
    for (Py_ssize_t first = 0; first < tunes && !fault; first += LANES) {
        uint32_t copy[LANES];
        Block block;
        fault = read_block(&notes, &lengths, first, &place, copy, &block);
        if (!fault)
            stretch_block(steps, worth.buf, size, loss, block, space, out + first);
    }
    Py_END_ALLOW_THREADS
    found = fault ? damaged() : PyBytes_FromStringAndSize((char *)out, tunes);
done:
    free(out);
    free(space);
    free(steps);
    PyBuffer_Release(&notes);
    PyBuffer_Release(&lengths);
    PyBuffer_Release(&own);
    PyBuffer_Release(&worth);
    return found;
}
