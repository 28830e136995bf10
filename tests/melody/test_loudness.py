"""Printed loudness: read from ABC and MusicXML, kept with the tune, drawn as a curve."""

from melodex.melody import TICKS_PER_QUARTER, Dynamic, Melody
from melodex.melody.loudness import LEVELS, bar_levels, level_points
from melodex.melody.tune_id import content_id_of
from melodex.reading.abc.reader import read_abc
from melodex.reading.musicxml.reader import read_musicxml
from melodex.reading.result import Choice

Q = TICKS_PER_QUARTER
BAR = 4 * Q
TUNE = (
    "X:1\nT:Loud\nL:1/4\nM:4/4\nK:C\n"
    "!p!CDEF|!crescendo(!GABc!crescendo)!|!f!cBAG|!diminuendo(!FEDC!diminuendo)!|CDEF|\n"
)


def melody(text: str = TUNE) -> Melody:
    """The tune of an ABC text."""
    return read_abc(text, "loud.abc", Choice()).tunes[0].melody


def test_marks_and_hairpins_of_abc_are_read() -> None:
    # ABC 2.1, 4.14: !p! ... !ffff!, !crescendo(! or !<(!, !diminuendo(! or !>(!.
    found = melody().dynamics
    assert [(d.sign, d.onset_ticks // BAR, d.end_ticks // BAR) for d in found] == [
        ("p", 0, 0),
        ("crescendo", 1, 2),
        ("f", 2, 2),
        ("diminuendo", 3, 4),
    ]
    short = melody(TUNE.replace("crescendo", "<").replace("diminuendo", ">"))
    assert short.dynamics == found


def test_the_curve_goes_from_mark_to_mark() -> None:
    tune = melody()
    levels = bar_levels(tune.dynamics, tune.bars, tune.end_ticks)
    soft, loud = LEVELS["p"], LEVELS["f"]
    assert levels == [soft, (soft + loud) / 2, loud, loud - 0.5, loud - 1]


def test_before_the_first_mark_nothing_is_known() -> None:
    tune = melody(
        TUNE.replace("!p!", "").replace("!crescendo(!", "").replace("!f!", "!pp!")
    )
    levels = bar_levels(tune.dynamics, tune.bars, tune.end_ticks)
    assert levels[:3] == [None, None, LEVELS["pp"]]
    assert not level_points([], 100)
    assert not level_points([Dynamic("crescendo", 0, BAR), Dynamic("sfz", 9, 9)], BAR)


def test_dynamics_change_no_id_and_come_back() -> None:
    tune, plain = melody(), melody(TUNE.replace("!p!", "").replace("!f!", ""))
    assert tune.content_id() == plain.content_id()
    assert content_id_of(tune.content_text()) == content_id_of(plain.content_text())
    assert Melody.from_dict(tune.to_dict()).dynamics == tune.dynamics
    assert len(tune.excerpt(8, 11).dynamics) == 2


SHEET = """<score-partwise version="4.0"><part-list>
<score-part id="P1"><part-name>Voice</part-name></score-part>
<score-part id="P2"><part-name>Piano</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>
<beat-type>4</beat-type></time></attributes><note><pitch><step>C</step><octave>5</octave>
</pitch><duration>4</duration></note></measure></part>
<part id="P2"><measure number="1"><attributes><divisions>1</divisions></attributes>
<direction><direction-type><dynamics><mf/></dynamics></direction-type></direction>
<direction><direction-type><wedge type="crescendo"/></direction-type></direction>
<note><pitch><step>C</step><octave>3</octave></pitch><duration>2</duration></note>
<direction><direction-type><wedge type="stop"/></direction-type></direction>
<note><pitch><step>G</step><octave>3</octave></pitch><duration>2</duration></note>
</measure></part></score-partwise>"""


def test_a_voice_without_marks_takes_those_of_another_part() -> None:
    # MusicXML 4.0: dynamics and wedge elements of a direction.
    tune = read_musicxml(SHEET.encode(), "song.musicxml", Choice()).tunes[0].melody
    assert tune.dynamics == (Dynamic("mf", 0, 0), Dynamic("crescendo", 0, 2 * Q))
