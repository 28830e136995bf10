/* Loops over lanes, for one width of points.
 *
 * Included three times by _kernel.c, with POINTS the type that holds points and NAME(x)
 * the name of a function for it; with CUT_OFF, points that it cannot hold are cut off. Every inner loop runs over LANES entries that do
 * not depend on each other, so that a compiler turns it into a few instructions
 * on whole registers. Arrays are of shape (rows, LANES), a row for each note of
 * the phrase; two rows of zeros on top stand for "before the phrase".
 *
 * POINTS never fall below 0: max(x, cost) - cost subtracts without running below.
 */

#define ROW(state, i) ((state) + ((ptrdiff_t)(i) + 2) * LANES)
#define LARGER(a, b) ((a) > (b) ? (a) : (b))
#ifdef CUT_OFF
/* Whatever is at least MOST_POINTS less the most that a pair brings may be more. */
#define MORE(value, gain) \
    ((POINTS)(((value) < ceiling ? (value) : ceiling) + (gain)))
#else
#define MORE(value, gain) ((POINTS)((value) + (gain)))
#endif
#define LESS(value, cost) ((POINTS)(LARGER((value), (cost)) - (cost)))

/* What pairing the tune notes of a row with one length class of the phrase brings,
 * and costs where pitches are near, far, or either; `found` has four rows. Lanes
 * that have ended bring nothing and cost everything. */
EVERY_PROCESSOR
static void NAME(relate)(const uint8_t *classes, uint8_t want, const Costs *costs,
                         int active, POINTS *restrict found)
{
    const uint8_t up = (uint8_t)(want + 1), down = (uint8_t)(want - 1);
    const int none = want == UNKNOWN_CLASS;
    POINTS v[3][RELATIONS];
    for (int r = 0; r < RELATIONS; r++) {
        v[0][r] = (POINTS)costs->same[none ? 3 : r];
        v[1][r] = (POINTS)costs->near[none ? 3 : r];
        v[2][r] = (POINTS)costs->far[none ? 3 : r];
    }
    INDEPENDENT
    for (int l = 0; l < LANES; l++) {
        const uint8_t class_ = classes[l];
        const int next = (class_ == up) | (class_ == down);
        const int equal = class_ == want, unknown = class_ == UNKNOWN_CLASS;
        POINTS g = next ? v[0][1] : v[0][2];
        POINTS n = next ? v[1][1] : v[1][2];
        POINTS f = next ? v[2][1] : v[2][2];
        g = equal ? v[0][0] : g;
        n = equal ? v[1][0] : n;
        f = equal ? v[2][0] : f;
        g = unknown ? v[0][3] : g;
        n = unknown ? v[1][3] : n;
        f = unknown ? v[2][3] : f;
        found[l] = g;
        found[LANES + l] = n;
        found[2 * LANES + l] = f;
        found[3 * LANES + l] = n < f ? n : f;
    }
    for (int l = active; l < LANES; l++) {
        found[l] = 0;
        found[LANES + l] = found[2 * LANES + l] = found[3 * LANES + l] = MOST_POINTS;
    }
}

/* Keep the highest points of each phrase note, and see which lanes reach the floor. */
EVERY_PROCESSOR
static void NAME(reach_column)(const POINTS *matched, int rows, uint32_t note, int active,
                               POINTS *restrict highest, Reach *reach)
{
    POINTS top[LANES] = {0};
    for (int i = 0; i < rows; i++) {
        const POINTS *restrict here = ROW(matched, i);
        POINTS *restrict most = ROW(highest, i);
        INDEPENDENT
        for (int l = 0; l < LANES; l++) {
            const POINTS a = here[l];
            most[l] = LARGER(most[l], a);
            top[l] = LARGER(top[l], a);
        }
    }
    /* A lane that has ended still holds what it had. */
    for (int l = 0; l < active; l++)
        if (top[l] >= reach->floor)
            reach->notes[l] = note + 1;
}

/* Upper bounds of the tunes of one block; see matching/engine/lanes.py. */
EVERY_PROCESSOR
static void NAME(bound_block)(const Query *query, const Costs *costs, Block block,
                              POINTS *restrict space, uint16_t *out, Reach *reach)
{
    const int rows = query->count;
#ifdef CUT_OFF
    const POINTS ceiling = (POINTS)(MOST_POINTS - costs->top);
#endif
    const ptrdiff_t state = ((ptrdiff_t)rows + 2) * LANES;
    const POINTS gap = (POINTS)costs->gap;
    POINTS *matched = space, *matched_old = space + state;
    POINTS *missed = space + 2 * state, *missed_old = space + 3 * state;
    POINTS *free_ = space + 4 * state, *free_old = space + 5 * state;
    POINTS *erring = space + 6 * state, *erring_old = space + 7 * state;
    POINTS *gapped = space + 8 * state, *gapped_old = space + 9 * state;
    POINTS *gapped_older = space + 10 * state;
    POINTS *loose = space + 11 * state, *loose_old = space + 12 * state;
    POINTS *highest = space + 13 * state;
    POINTS *tables = space + 14 * state;
    uint8_t pitch[LANES] = {0}, before[LANES] = {0}, earlier[LANES] = {0};
    uint8_t classes[LANES] = {0};
    POINTS one[LANES], two[LANES], best[LANES] = {0};
    int active = block.lanes;

    memset(space, 0, (size_t)(14 * state) * sizeof(POINTS));
    if (reach != NULL)
        memset(reach->notes, 0, sizeof reach->notes);
    for (uint32_t j = 0; j < block.lengths[0]; j++) {
        while (block.lengths[active - 1] <= j)
            active--;
        memcpy(earlier, before, LANES);
        memcpy(before, pitch, LANES);
        take_row(pitch, block.pitch, active);
        take_row(classes, block.classes, active);
        block.pitch += active;
        block.classes += active;
        for (int l = 0; l < LANES; l++) {
            one[l] = (uint8_t)(pitch[l] - before[l]);
            two[l] = (uint8_t)(pitch[l] - earlier[l]);
        }
        for (int l = j < 1 ? 0 : active; l < LANES; l++)
            one[l] = NEVER;
        for (int l = j < 2 ? 0 : active; l < LANES; l++)
            two[l] = NEVER;
        for (int k = 0; k < query->kinds; k++)
            NAME(relate)(classes, query->kind_class[k], costs, active,
                         tables + 4 * k * LANES);
        for (int i = 0; i < rows; i++) {
            const POINTS q1 = query->one[i], q2 = query->two[i];
            const POINTS *restrict gain = tables + 4 * query->kind_of[i] * LANES;
            const POINTS *restrict near = gain + LANES, *restrict far = near + LANES;
            const POINTS *restrict mild = far + LANES;
            const uint8_t under1 = (uint8_t)(q1 - NEAR), under2 = (uint8_t)(q2 - NEAR);
            const POINTS *restrict m11 = ROW(matched_old, i - 1);
            const POINTS *restrict x11 = ROW(missed_old, i - 1);
            const POINTS *restrict g12 = ROW(gapped_older, i - 1);
            const POINTS *restrict g21 = ROW(gapped_old, i - 2);
            const POINTS *restrict f11 = ROW(free_old, i - 1);
            const POINTS *restrict l11 = ROW(loose_old, i - 1);
            const POINTS *restrict e10 = ROW(erring, i - 1);
            const POINTS *restrict e01 = ROW(erring_old, i);
            const POINTS *restrict g10 = ROW(gapped, i - 1);
            const POINTS *restrict g01 = ROW(gapped_old, i);
            POINTS *restrict m = ROW(matched, i), *restrict x = ROW(missed, i);
            POINTS *restrict f = ROW(free_, i), *restrict e = ROW(erring, i);
            POINTS *restrict g = ROW(gapped, i), *restrict o = ROW(loose, i);
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                /* Loaded before they are chosen from: a load that depends on a
                   condition would keep the loop from being vectorised. */
                POINTS a = m11[l], b = x11[l], c = g12[l], d = g21[l];
                a = one[l] == q1 ? a : 0;
                c = two[l] == q1 ? c : 0;
                d = one[l] == q2 ? d : 0;
                c = LARGER(c, d);
                d = two[l] == q2 ? b : 0;
                c = LARGER(c, d);
                a = LARGER(a, c);
                a = LARGER(a, f11[l]);
                a = MORE(a, gain[l]);
                m[l] = a;
                best[l] = LARGER(best[l], a);
                g[l] = LESS(a, gap);
                /* How far apart a mismatched pair is follows from the interval to
                   the last match, one step back or two. */
                const POINTS close = near[l], wide = far[l];
                d = (POINTS)(uint8_t)(one[l] - under1) <= 2 * NEAR ? close : wide;
                c = (POINTS)(uint8_t)(two[l] - under2) <= 2 * NEAR ? close : wide;
                c = LESS(b, c);
                b = LESS(m11[l], d);
                x[l] = b;
                d = LESS(l11[l], mild[l]);
                c = LARGER(c, d);
                d = LARGER(e10[l], e01[l]);
                d = LESS(d, gap);
                c = LARGER(c, d);
                f[l] = c;
                d = LARGER(g10[l], g01[l]);
                d = LARGER(d, c);
                o[l] = d;
                e[l] = LARGER(d, b);
            }
        }
        if (reach != NULL)
            NAME(reach_column)(matched, rows, j, active, highest, reach);
        SWAP(matched, matched_old);
        SWAP(missed, missed_old);
        SWAP(free_, free_old);
        SWAP(erring, erring_old);
        SWAP(loose, loose_old);
        POINTS *spare = gapped_older;
        gapped_older = gapped_old;
        gapped_old = gapped;
        gapped = spare;
    }
    for (int l = 0; l < block.lanes; l++)
        out[l] = (uint16_t)best[l];
    for (int l = 0; reach != NULL && l < block.lanes; l++) {
        reach->rows[l] = rows;
        while (reach->rows[l] > 0 && *(ROW(highest, reach->rows[l] - 1) + l) < reach->floor)
            reach->rows[l]--;
    }
}

/* Points that the tunes of one block reach at least: of the alignments that end at a
 * pair only the best is kept, and the transposition that it is under. */
EVERY_PROCESSOR
static void NAME(reached)(const Query *query, const Costs *costs, Block block,
                          POINTS *restrict space, uint16_t *out)
{
    const int rows = query->count;
    const ptrdiff_t state = ((ptrdiff_t)rows + 2) * LANES;
    const POINTS gap = (POINTS)costs->gap;
#ifdef CUT_OFF
    const POINTS ceiling = (POINTS)(MOST_POINTS - costs->top);
#endif
    POINTS *most = space, *most_old = space + state;
    POINTS *move = space + 2 * state, *move_old = space + 3 * state;
    POINTS *tables = space + 14 * state;
    uint8_t pitch[LANES] = {0}, classes[LANES] = {0};
    POINTS best[LANES] = {0};
    int active = block.lanes;

    memset(space, 0, (size_t)(4 * state) * sizeof(POINTS));
    for (uint32_t j = 0; j < block.lengths[0]; j++) {
        while (block.lengths[active - 1] <= j)
            active--;
        take_row(pitch, block.pitch, active);
        take_row(classes, block.classes, active);
        block.pitch += active;
        block.classes += active;
        for (int k = 0; k < query->kinds; k++)
            NAME(relate)(classes, query->kind_class[k], costs, active,
                         tables + 4 * k * LANES);
        for (int i = 0; i < rows; i++) {
            const uint8_t wanted = query->pitch[i];
            const POINTS *restrict gain = tables + 4 * query->kind_of[i] * LANES;
            const POINTS *restrict near = gain + LANES, *restrict far = near + LANES;
            const POINTS *restrict v11 = ROW(most_old, i - 1);
            const POINTS *restrict v10 = ROW(most, i - 1);
            const POINTS *restrict v01 = ROW(most_old, i);
            const POINTS *restrict t11 = ROW(move_old, i - 1);
            const POINTS *restrict t10 = ROW(move, i - 1);
            const POINTS *restrict t01 = ROW(move_old, i);
            POINTS *restrict vs = ROW(most, i), *restrict ts = ROW(move, i);
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                const POINTS here = (uint8_t)(pitch[l] - wanted), t = t11[l], v = v11[l];
                const POINTS t_up = t10[l], t_left = t01[l], up = v10[l], left = v01[l];
                const POINTS close = near[l], wide = far[l];
                POINTS mask = (POINTS) - (t == here);
                POINTS a = v & mask;
                a = MORE(a, gain[l]);
                best[l] = LARGER(best[l], a);
                const uint8_t apart = (uint8_t)((uint8_t)(here - t) + NEAR);
                mask = (POINTS) - (apart <= 2 * NEAR);
                POINTS b = (POINTS)((close & mask) | (wide & (POINTS)~mask));
                b = LESS(v, b);
                POINTS c = LARGER(up, left);
                /* Chosen by masks: conditions would keep it from being vectorised. */
                mask = (POINTS) - (up < left);
                POINTS s = (POINTS)((t_up & (POINTS)~mask) | (t_left & mask));
                c = LESS(c, gap);
                mask = (POINTS) - (c < b);
                s = (POINTS)((s & (POINTS)~mask) | (t & mask));
                c = LARGER(c, b);
                mask = (POINTS) - (a >= c);
                s = (POINTS)((s & (POINTS)~mask) | (here & mask));
                vs[l] = LARGER(a, c);
                ts[l] = s;
            }
        }
        SWAP(most, most_old);
        SWAP(move, move_old);
    }
    for (int l = 0; l < block.lanes; l++)
        out[l] = (uint16_t)best[l];
}

#define LINE(state, i) ((state) + ((ptrdiff_t)(i) + 2) * MOVES)

/* Exact points of one tune under MOVES transpositions, the lowest of them first.
 * For a pair (i, j) the points of all lanes are a stretch of a row that is far on
 * both sides and near, then same, in its middle; where it is read says how high
 * the tune note lies over the phrase note. */
EVERY_PROCESSOR
static void NAME(exact)(Span phrase, const Costs *costs, const uint8_t *pitch,
                        const uint8_t *classes, size_t notes, int lowest,
                        POINTS *restrict space, POINTS *best)
{
    const int rows = phrase.count;
#ifdef CUT_OFF
    const POINTS ceiling = (POINTS)(MOST_POINTS - costs->top);
#endif
    const ptrdiff_t state = ((ptrdiff_t)rows + 2) * MOVES;
    const POINTS gap = (POINTS)costs->gap;
    POINTS *now = space, *old = space + state;
    POINTS gains[RELATIONS][PROFILE], losses[RELATIONS][PROFILE];

    for (int r = 0; r < RELATIONS; r++)
        for (int k = 0; k < PROFILE; k++) {
            const int apart = abs(k - MIDDLE);
            gains[r][k] = (POINTS)(apart == 0 ? costs->same[r] : 0);
            losses[r][k] = (POINTS)(apart == 0      ? 0
                                    : apart <= NEAR ? costs->near[r]
                                                    : costs->far[r]);
        }
    memset(space, 0, (size_t)(2 * state) * sizeof(POINTS));
    memset(best, 0, MOVES * sizeof(POINTS));
    for (size_t j = 0; j < notes; j++) {
        for (int i = 0; i < rows; i++) {
            int place = pitch[j] - phrase.pitch[i] - lowest;
            place = place < -NEAR - 1 ? -NEAR - 1 : place;
            place = place > MOVES + NEAR ? MOVES + NEAR : place;
            const int r = relation(phrase.classes[i], classes[j]);
            const POINTS *restrict gain = gains[r] + MIDDLE - place;
            const POINTS *restrict loss = losses[r] + MIDDLE - place;
            const POINTS *restrict diagonal = LINE(old, i - 1);
            const POINTS *restrict left = LINE(old, i);
            const POINTS *restrict up = LINE(now, i - 1);
            POINTS *restrict here = LINE(now, i);
            INDEPENDENT
            for (int l = 0; l < MOVES; l++) {
                POINTS a = LESS(diagonal[l], loss[l]);
                a = MORE(a, gain[l]);
                POINTS b = LARGER(left[l], up[l]);
                b = LESS(b, gap);
                a = LARGER(a, b);
                here[l] = a;
                best[l] = LARGER(best[l], a);
            }
        }
        SWAP(now, old);
    }
}

#ifndef CUT_OFF
/* Exact points of a row of signs against the signs of the steps of each tune. */
EVERY_PROCESSOR
static void NAME(contour_block)(const uint8_t *signs, int rows, int same, int other,
                                int skip, Block block, POINTS *restrict space,
                                uint16_t *out)
{
    const ptrdiff_t state = ((ptrdiff_t)rows + 2) * LANES;
    const POINTS gain = (POINTS)same, loss = (POINTS)other, gap = (POINTS)skip;
    POINTS *now = space, *old = space + state;
    uint8_t pitch[LANES] = {0}, before[LANES] = {0};
    POINTS step[LANES], best[LANES] = {0};
    int active = block.lanes;

    memset(space, 0, (size_t)(2 * state) * sizeof(POINTS));
    for (uint32_t j = 0; j < block.lengths[0]; j++) {
        while (block.lengths[active - 1] <= j)
            active--;
        memcpy(before, pitch, LANES);
        take_row(pitch, block.pitch, active);
        block.pitch += active;
        if (j == 0)
            continue;
        for (int l = 0; l < LANES; l++)
            step[l] = pitch[l] > before[l] ? SIGN_UP : pitch[l] < before[l] ? SIGN_DOWN
                                                                            : SIGN_LEVEL;
        for (int l = active; l < LANES; l++)
            step[l] = NEVER;
        for (int i = 0; i < rows; i++) {
            const POINTS sign = signs[i];
            const POINTS *restrict diagonal = ROW(old, i - 1);
            const POINTS *restrict left = ROW(old, i);
            const POINTS *restrict up = ROW(now, i - 1);
            POINTS *restrict here = ROW(now, i);
            INDEPENDENT
            for (int l = 0; l < LANES; l++) {
                POINTS a = (POINTS)(diagonal[l] + gain);
                POINTS c = LESS(diagonal[l], loss);
                a = step[l] == sign ? a : c;
                POINTS b = LARGER(left[l], up[l]);
                b = LESS(b, gap);
                a = LARGER(a, b);
                here[l] = a;
                best[l] = LARGER(best[l], a);
            }
        }
        SWAP(now, old);
    }
    for (int l = 0; l < block.lanes; l++)
        out[l] = (uint16_t)best[l];
}
#endif

#undef ROW
#undef LINE
#undef MORE
#undef LARGER
#undef LESS
