"""Finds: what of a piece is worth telling, and how many tunes of a corpus show the same.

Conventions: finds are sorted by how few tunes of the corpus show the same kind, so that
what is worth telling comes first; without a corpus they stand in the order of the piece.

Contents: Find, finds_of, texture_finds, in_order, counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.differences import Difference
from melodex.analysis.piece import Analysis, sure_devices
from melodex.analysis.texture import LINE_KINDS, LineFind
from melodex.analysis.texture.words import bars_at, joint_sentence, line_sentence
from melodex.corpus.shards.merging import summed
from melodex.melody import Melody, pitch_class_name
from melodex.tasks.describe.sentences import bar_count, figure_sentence, odd_sections
from melodex.tasks.describe.thickness import Thickness, link_sentence

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Find", "counted", "finds_of", "in_order", "texture_finds"]


@dataclass(frozen=True, slots=True)
class Find:
    """Something worth telling: kind, bars, one sentence, and how many tunes show it.

    ``tunes`` is None without a corpus to compare with. ``statements`` are the bars of
    each statement of a figure that returns; of other finds the bars are one stretch.
    """

    kind: str
    first_bar: int
    last_bar: int
    sentence: str
    tunes: int | None = None
    statements: tuple[tuple[int, int], ...] = ()

    @property
    def passages(self) -> tuple[tuple[int, int], ...]:
        """First and last bar of each place that it is told of."""
        return self.statements or ((self.first_bar, self.last_bar),)


def finds_of(melody: Melody, found: Analysis, lines: Iterable[LineFind] = ()) -> list[Find]:
    """Everything worth telling, in the order of the bars."""
    finds = [
        Find(device.kind, device.first_bar, device.last_bar, device.reason)
        for device in sure_devices(melody, found)
    ]
    finds += [
        Find(
            "modal passage",
            passage.first_bar,
            passage.last_bar,
            f"{passage.mode} colour in {passage.home_mode}, told by "
            f"{'the natural ' if passage.telling_degree.isdigit() else ''}"
            f"{passage.telling_degree}",
        )
        for passage in found.modal
    ]
    finds += [
        Find("change of key", span.first_bar, span.last_bar, f"{span.key}, {span.how}")
        for span in found.spans[1:]
    ]
    finds += [
        Find(
            "odd section",
            section.first_bar,
            section.last_bar,
            f"section {section.label} has {bar_count(section.bars)}",
        )
        for section in odd_sections(found)
    ]
    finds += [
        Find(
            figure.kind,
            figure.bars[0][0],
            figure.bars[-1][1],
            figure_sentence(figure),
            statements=figure.bars,
        )
        for figure in found.figures
    ]
    for each in lines:
        where = bars_at(melody, each)
        if each.kind == "pedal":
            if is_told(finds, each, where):
                continue
            # One note that stays is told once, by the line that has it.
            finds = [find for find in finds if not is_part(find, each, where)]
        finds.append(Find(each.kind, *where, line_sentence(each, melody)))
    return in_order(finds)


def in_order(finds: Iterable[Find]) -> list[Find]:
    """Finds in the order of the bars."""
    return sorted(finds, key=lambda find: (find.first_bar, find.last_bar, find.kind))


def texture_finds(thickness: Thickness, against: Iterable[Difference]) -> Iterable[Find]:
    """Lines that join, what goes together, and symbols that the notes speak against."""
    for joint in thickness.joints:
        yield Find("a voice joins", joint.bar, joint.bar, joint_sentence(joint))
    for link in thickness.links:
        yield Find(
            "going together",
            link.bars[0][0],
            link.bars[-1][1],
            link_sentence(link),
            statements=link.bars,
        )
    for each in against:
        yield Find("symbol and notes", each.bar, each.bar, difference_sentence(each))


def difference_sentence(difference: Difference) -> str:
    """What is printed, and what sounds."""
    return (
        f"{difference.printed} is printed; the notes make {difference.sounding} "
        f"({difference.certainty:.0%} sure)"
    )


def is_told(finds: list[Find], pedal: LineFind, where: tuple[int, int]) -> bool:
    """Whether a pedal is told already, from the chords over it, in all of its bars."""
    first_bar, last_bar = where
    return any(
        find.first_bar <= first_bar and find.last_bar >= last_bar
        for find in finds
        if is_same_pedal(find, pedal)
    )


def is_part(find: Find, pedal: LineFind, where: tuple[int, int]) -> bool:
    """Whether a find is the same pedal, told from the chords in some of its bars."""
    first_bar, last_bar = where
    inside = first_bar <= find.first_bar and find.last_bar <= last_bar
    return inside and is_same_pedal(find, pedal)


def is_same_pedal(find: Find, pedal: LineFind) -> bool:
    """Whether a find is a pedal in the bass on the note of a line."""
    note = pitch_class_name(pedal.notes[0])
    return find.kind == "pedal bass" and find.sentence.startswith(
        f"the bass stays on {note} "
    )


UNCOUNTED = {"going together", "symbol and notes"}
"""Kinds that no table counts."""
OF_LINES = {*LINE_KINDS, "a voice joins"}
"""Kinds that are counted only where scores were read since they are kept."""


def counted(finds: list[Find], corpus: Corpus) -> list[Find]:
    """Finds with the number of tunes that show their kind, the rarest first."""
    shown = dict(
        corpus.query(
            """
            SELECT kind, count(DISTINCT tune) FROM device GROUP BY kind
            UNION ALL SELECT kind, count(DISTINCT tune) FROM returning_figure GROUP BY kind
            UNION ALL SELECT 'modal passage', count(DISTINCT tune) FROM modal_passage
            UNION ALL SELECT 'change of key', count(DISTINCT tune) FROM key_span
              WHERE place > 0
            UNION ALL SELECT 'odd section', count(DISTINCT tune) FROM section WHERE odd
            """,
            merge=summed,
        )
    )
    told = [
        f
        if f.kind in UNCOUNTED or (f.kind in OF_LINES and f.kind not in shown)
        else replace(f, tunes=int(shown.get(f.kind, 0)))
        for f in finds
    ]
    # What no table counts stands last.
    uncounted = corpus.tune_count + 1
    return sorted(
        told,
        key=lambda find: (
            uncounted if find.tunes is None else find.tunes,
            find.first_bar,
            find.last_bar,
        ),
    )
