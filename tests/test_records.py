"""Records against the dataclasses of the standard library, of which they are a kind."""

from __future__ import annotations

import copy
import dataclasses
import importlib
import inspect
import pickle
import pkgutil
import subprocess
import sys
from dataclasses import FrozenInstanceError, asdict, astuple, field, fields, replace
from typing import Any, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

import melodex
from melodex import records


def written(decorator: Any, *, frozen: bool) -> type:
    """One class, decorated in one way or the other."""

    @decorator(frozen=frozen, slots=True)
    class Note:
        """A note."""

        midi: int
        name: str = "c"
        ties: list[int] = field(default_factory=list)
        seen: int = field(default=3, init=False, compare=False, repr=False)
        kept: tuple[int, ...] | None = field(default=None, compare=False)

        def __post_init__(self) -> None:
            if self.midi < 0:
                raise ValueError("below MIDI")

        @property
        def octave(self) -> int:
            """From its number."""
            return self.midi // 12 - 1

        def __len__(self) -> int:
            return len(self.ties)

    return Note


LATE = written(records.dataclass, frozen=True)
STANDARD = written(dataclasses.dataclass, frozen=True)
LATE_OPEN = written(records.dataclass, frozen=False)
STANDARD_OPEN = written(dataclasses.dataclass, frozen=False)


@records.dataclass(frozen=True, slots=True)
class Place:
    """At the top of the module, where pickle can find it."""

    bar: int
    beat: float = 1.0


notes = st.fixed_dictionaries(
    {"midi": st.integers(0, 2)},
    optional={
        "name": st.sampled_from("cd"),
        "ties": st.lists(st.integers(0, 1), max_size=1),
        "kept": st.none() | st.tuples(st.integers()),
    },
)


@pytest.mark.parametrize(
    ("late", "standard"), [(LATE, STANDARD), (LATE_OPEN, STANDARD_OPEN)]
)
@given(first=notes, second=notes)
def test_records_are_equal_shown_and_taken_apart_as_standard_ones(
    late: Any, standard: Any, first: dict[str, Any], second: dict[str, Any]
) -> None:
    a, b = late(**first), late(**second)
    c, d = standard(**first), standard(**second)
    assert (a == b) == (c == d)
    assert (a == a, a != b, a == c) == (c == c, c != d, False)
    assert repr(a) == repr(c)
    assert (asdict(a), astuple(a), len(a)) == (asdict(c), astuple(c), len(c))
    assert asdict(replace(a, name="e")) == asdict(replace(c, name="e"))
    assert (a.octave, a.seen) == (c.octave, c.seen)
    assert asdict(copy.deepcopy(a)) == asdict(copy.copy(a)) == asdict(c)


def test_hashes_agree_with_equality() -> None:
    assert hash(Place(1)) == hash(Place(1, 1.0)) == hash((1, 1.0))
    assert {Place(1), Place(1), Place(2)} == {Place(2), Place(1)}
    assert LATE_OPEN.__hash__ is None


@pytest.mark.parametrize(
    ("late", "standard"), [(LATE, STANDARD), (LATE_OPEN, STANDARD_OPEN)]
)
def test_a_record_has_the_description_of_a_standard_one(late: Any, standard: Any) -> None:
    def described(kind: Any) -> list[tuple[Any, ...]]:
        return [
            (f.name, f.type, f.default, f.default_factory, f.init, f.compare, f.repr)
            for f in fields(kind)
        ]

    assert all(dataclasses.is_dataclass(kind) for kind in (late, standard))
    assert described(late) == described(standard)
    assert repr(late.__dataclass_params__).replace("slots=False", "slots=True") == repr(
        standard.__dataclass_params__
    ).replace("slots=False", "slots=True")
    assert late.__match_args__ == standard.__match_args__
    assert late.__slots__ == standard.__slots__
    assert (late.__doc__, late.__qualname__, late.__module__) == (
        standard.__doc__,
        standard.__qualname__,
        standard.__module__,
    )
    ours, theirs = inspect.signature(late), inspect.signature(standard)
    assert list(ours.parameters) == list(theirs.parameters)
    for name, parameter in ours.parameters.items():
        assert parameter.kind == theirs.parameters[name].kind
        assert parameter.annotation == theirs.parameters[name].annotation
    assert get_type_hints(late.__init__) == get_type_hints(standard.__init__)
    assert not hasattr(late(1), "__dict__")


@pytest.mark.parametrize("kind", [LATE, STANDARD])
def test_a_frozen_record_stays_as_it_was_made(kind: Any) -> None:
    note = kind(60)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'midi'"):
        note.midi = 61
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'midi'"):
        del note.midi
    assert note.midi == 60


def test_another_record_may_change() -> None:
    note = LATE_OPEN(60)
    note.midi = 61
    assert note == LATE_OPEN(61)
    assert note.ties is not LATE_OPEN(61).ties


@pytest.mark.parametrize("kind", [LATE, STANDARD])
def test_what_is_wrong_with_the_arguments_is_said_alike(kind: Any) -> None:
    with pytest.raises(TypeError, match=r"missing 1 required positional argument: 'midi'"):
        kind()
    with pytest.raises(TypeError, match="unexpected keyword argument 'seen'"):
        kind(1, seen=2)
    with pytest.raises(ValueError, match="below MIDI"):
        kind(-1)


def test_a_record_travels_to_another_process_and_back() -> None:
    assert pickle.loads(pickle.dumps(Place(3, 2.5))) == Place(3, 2.5)


def test_a_record_matches_by_position() -> None:
    match Place(3, 2.5):
        case Place(bar, beat):
            assert (bar, beat) == (3, 2.5)
        case _:
            pytest.fail("no match")


def test_a_class_that_records_cannot_serve_is_refused() -> None:
    with pytest.raises(TypeError, match="has bases"):

        @records.dataclass(frozen=True, slots=True)
        class Sequence(list[int]):
            text: str

    with pytest.raises(TypeError, match="class variables"):

        @records.dataclass(frozen=True, slots=True)
        class Kinded:
            kind: ClassVar[str] = "x"  # type: ignore[name-defined] # noqa: F821

    with pytest.raises(TypeError, match="has slots"):
        records.dataclass(frozen=True, slots=False)


def all_records() -> list[Any]:
    found: dict[str, Any] = {}
    for module in pkgutil.walk_packages(melodex.__path__, "melodex."):
        if not module.name.endswith(("__main__", "_kernel")):
            for kind in vars(importlib.import_module(module.name)).values():
                if isinstance(kind, type) and kind.__module__.startswith("melodex."):
                    found[f"{kind.__module__}.{kind.__qualname__}"] = kind
    return [kind for _, kind in sorted(found.items()) if dataclasses.is_dataclass(kind)]


def test_every_record_of_the_package_can_be_made_whole() -> None:
    kinds = all_records()
    assert len(kinds) > 100
    for kind in kinds:
        assert callable(kind.__init__)
        assert callable(kind.__repr__)
        names = [f.name for f in fields(kind) if f.init]
        assert list(inspect.signature(kind).parameters) == names, kind


def test_importing_a_record_compiles_nothing() -> None:
    counted = (
        "from melodex import records\n"
        "made = []\n"
        "real = records.written_init\n"
        "records.written_init = lambda plan: made.append(plan) or real(plan)\n"
        "from melodex.melody import Key\n"
        "assert not made\n"
        "Key(0, 'major'), Key(1, 'minor')\n"
        "assert len(made) == 1\n"
    )
    subprocess.run([sys.executable, "-c", counted], check=True)
