"""Words from pages that are older than the set: written, joined, never written over."""

from __future__ import annotations

import pytest

from melodex.tasks.lesson.words import joined_text, mark_of_text


@pytest.mark.parametrize(
    ("theirs", "mine", "seen", "both"),
    [
        ("Theirs.", "Mine.", "", "Theirs.\n\nMine."),
        # What this page wrote before is in it already, and is replaced.
        ("Theirs.\n\nMine.", "Mine, longer.", "Mine.", "Theirs.\n\nMine, longer."),
        ("Theirs.\n\nMine.", "", "Mine.", "Theirs."),
        ("A.\n\nB.\n\nC.", "D.", "A.\n\nB.", "D.\n\nC."),
        ("", "Mine.", "Gone.", "Mine."),
        # One holds the other, word by word: a version that comes late.
        ("One two three.", "One two", "", "One two three."),
        ("One", "One two", "", "One two"),
    ],
)
def test_two_versions_are_joined_and_nothing_is_said_twice(theirs, mine, seen, both):
    assert joined_text(theirs, mine, mark_of_text(seen), "\n\n") == both
