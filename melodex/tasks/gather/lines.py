"""Wishes about one line of a piece: its part, what plays it, whether it is sung.

Conventions: a line is known by any place where it was read. A part goes by the words of
its name in any order, without case and accents; words that mean the same part in other
languages, and numbers written as ``2``, ``II`` or ``2nd``, are one. ``top``, ``bottom``
and ``main`` are places in the score; ``left hand`` and ``right hand`` are the lines of a
keyboard in a bass clef and in another. All synonyms are common practice, no source.

Contents: LINE_WISHES, asks_of_lines, lines_meeting, pieces_with, lines_within,
words_of_part.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from melodex.corpus.rows import folded
from melodex.corpus.tunes.tune_rows import with_their_lines
from melodex.errors import AnalysisError
from melodex.tasks.gather.wish import Wish

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "LINE_WISHES",
    "asks_of_lines",
    "lines_meeting",
    "lines_within",
    "pieces_with",
    "words_of_part",
]

LINE_WISHES = ("part", "instrument", "sung")

SAME_PARTS = {
    word: names.split()[0]
    for names in (
        "soprano sopran soprani sopr canto cantus superius discant discantus treble",
        "alto alt alti altus contralto",
        "tenor tenore tenori",
        "bass basso bassi bassus basse",
        "baritone bariton baritono",
        "voice vocal vocals voce singstimme gesang stimme",
        "violin violins violino violini violine violinen violon violons vln vl geige",
        "viola violas viole bratsche bratschen vla",
        "cello cellos violoncello violoncelli violoncelle vc vcl",
        "flute flutes flauto flauti flote floten fl",
        "oboe oboes oboi hautbois oboen ob",
        "clarinet clarinets clarinetto clarinetti klarinette klarinetten clarinette cl",
        "bassoon bassoons fagotto fagotti fagott fagotte basson bn",
        "horn horns corno corni horner cor cors hn",
        "trumpet trumpets tromba trombe trompete trompeten trompette tpt",
        "trombone trombones tromboni posaune posaunen",
        "recorder recorders blockflote",
        "timpani pauken timbales",
        "piano pianoforte klavier pf",
        "organ organo orgel orgue",
        "harpsichord cembalo clavecin",
        "guitar guitars gitarre chitarra guitare",
        "1 i 1st first",
        "2 ii 2nd second",
        "3 iii 3rd third",
        "4 iv 4th fourth",
    )
    for word in names.split()
}
"""Words of names of parts, and the one that stands for each."""

LETTERS = {"s": "soprano", "a": "alto", "t": "tenor", "b": "bass"}
"""Letters that are the whole name of a part; in ``Clarinet in A`` one is none."""

KEYBOARDS = frozenset({"piano", "organ", "harpsichord", "keyboard", "celesta"})

PLACES = {
    "top": "line = 1",
    "highest": "line = 1",
    "bottom": "line = line_count AND line_count > 1",
    "lowest": "line = line_count AND line_count > 1",
    "main": "piece IN ('', (SELECT tune_id FROM tune WHERE tune.id = place.tune))",
}
"""Places in the score, and how a row of ``place`` tells them."""

HANDS = {"left hand": "clef LIKE 'F%'", "right hand": "clef NOT LIKE 'F%'"}


def asks_of_lines(wish: Wish) -> bool:
    """Whether anything is asked about a line rather than about its piece.

    Examples
    --------
    >>> asks_of_lines(Wish(part="bass")), asks_of_lines(Wish(key="G"))
    (True, False)
    """
    return bool(wish.part or wish.instrument or wish.sung)


def words_of_part(name: str) -> frozenset[str]:
    """The words of a part's name, each by the one that stands for its kind.

    Examples
    --------
    >>> sorted(words_of_part("Violino II.")), sorted(words_of_part("2nd Violin"))
    (['2', 'violin'], ['2', 'violin'])
    """
    words = re.findall(r"\d+(?:st|nd|rd|th)?|[^\W\d_]+", folded(name))
    known = LETTERS if len(words) == 1 else SAME_PARTS
    return frozenset(known.get(word, SAME_PARTS.get(word, word)) for word in words)


def lines_meeting(corpus: Corpus, wish: Wish) -> dict[int, int]:
    """The lines that meet the wishes about a line.

    Returns
    -------
    dict of int to int
        Row number of each line to that of the main line of its piece.
    """
    conditions, values = [], list[Any]()
    for condition, given in conditions_of(corpus, wish):
        conditions.append(f"({condition})")
        values += given
    rows = corpus.query(
        "SELECT place.tune, coalesce(main.id, place.tune) FROM place "
        "LEFT JOIN tune AS main ON main.tune_id = place.piece "
        f"WHERE {' AND '.join(conditions) or '1'}",
        values,
    )
    return dict(rows)


def pieces_with(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the main lines of the pieces that have such a line."""
    return set(lines_meeting(corpus, wish).values())


def lines_within(corpus: Corpus, wish: Wish, pieces: Iterable[int]) -> frozenset[str]:
    """Ids of the lines of some pieces; of those alone that a wish about lines means.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What was asked for.
    pieces : iterable of int
        Rows of the main lines of the pieces that meet it.
    """
    kept = set(pieces)
    if asks_of_lines(wish):
        meant = lines_meeting(corpus, wish)
        return ids_of(corpus, (line for line, piece in meant.items() if piece in kept))
    return with_their_lines(corpus, ids_of(corpus, kept))


def ids_of(corpus: Corpus, rows: Iterable[int]) -> frozenset[str]:
    """The ids of the tunes of some rows."""
    found = corpus.query(
        "SELECT tune_id FROM json_each(?) AS wanted "
        "CROSS JOIN tune ON tune.id = wanted.value",
        [json.dumps(sorted(rows))],
    )
    return frozenset(row[0] for row in found)


def conditions_of(corpus: Corpus, wish: Wish) -> Iterable[tuple[str, list[Any]]]:
    """What a row of ``place`` has to meet, with values."""
    if wish.part:
        yield part_condition(corpus, wish.part)
    if wish.instrument:
        yield named(corpus, wish.instrument, ("instrument", "part_name"))
    if wish.sung:
        yield "sung_syllables > 0", []


def part_condition(corpus: Corpus, text: str) -> tuple[str, list[Any]]:
    """A part by its place in the score, as a hand, or by its name."""
    plain = " ".join(folded(text).removesuffix(" lines").removesuffix(" line").split())
    if plain in PLACES:
        return PLACES[plain], []
    if plain in HANDS:
        columns = ("part_name", "instrument")
        played = [
            row
            for row in names_in(corpus, columns)
            if not KEYBOARDS.isdisjoint(words_of_part(" ".join(row)))
        ]
        condition, values = among(columns, played)
        return f"{condition} AND {HANDS[plain]}", values
    return named(corpus, plain, ("part_name", "voice_name"))


def named(corpus: Corpus, text: str, columns: tuple[str, ...]) -> tuple[str, list[Any]]:
    """Places whose columns together have every word of a name."""
    wanted = words_of_part(text)
    if not wanted:
        raise AnalysisError(f"{text!r} names no part", hint="write bass, or violin 2")
    names = names_in(corpus, columns)
    return among(columns, [row for row in names if wanted <= words_of_part(" ".join(row))])


def names_in(corpus: Corpus, columns: tuple[str, ...]) -> list[tuple[str, ...]]:
    """The names in two columns of all places; what is no text there names nothing."""
    rows = corpus.query(f"SELECT DISTINCT {', '.join(columns)} FROM place")
    return [row for row in rows if all(isinstance(name, str) for name in row)]


def among(columns: tuple[str, ...], rows: Iterable[Any]) -> tuple[str, list[Any]]:
    """That two columns of a place are those of one of some rows."""
    pairs = "SELECT json_extract(value, '$[0]'), json_extract(value, '$[1]')"
    condition = f"({', '.join(columns)}) IN ({pairs} FROM json_each(?))"
    return condition, [json.dumps([list(row) for row in rows])]
