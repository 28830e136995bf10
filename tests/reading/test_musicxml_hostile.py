"""MusicXML files that mean harm, or were cut short: refused, clearly and soon."""

import io
import tracemalloc
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.reading import read_bytes

LONG_ENOUGH_SECONDS = 20
"""Far above what a refusal takes, far below what these files do to an open reader."""

pytestmark = pytest.mark.timeout(LONG_ENOUGH_SECONDS)

ATTRIBUTES = (
    "<attributes><divisions>{divisions}</divisions><time><beats>{beats}</beats>"
    "<beat-type>4</beat-type></time></attributes>"
)
NOTE = (
    "<note><pitch><step>C</step><octave>{octave}</octave></pitch>"
    "<duration>{duration}</duration></note>"
)


def sheet(divisions="1", beats="4", octave="4", duration="4", more=""):
    body = ATTRIBUTES.format(divisions=divisions, beats=beats) + NOTE.format(
        octave=octave, duration=duration
    )
    return (
        "<score-partwise><part-list><score-part id='P1'/></part-list><part id='P1'>"
        f"<measure number='1'>{body}{more}</measure></part></score-partwise>"
    ).encode()


def packed(files, compression=zipfile.ZIP_DEFLATED):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", compression) as package:
        for name, data in files.items():
            package.writestr(name, data)
    return buffer.getvalue()


def refusal_of(data, kind="musicxml"):
    reading = read_bytes(data, kind, "sheet")
    assert not reading.tunes
    (refusal,) = reading.refusals
    assert refusal.source == "sheet"
    return refusal.reason


def test_the_harmless_sheet_of_these_tests_is_read():
    assert read_bytes(sheet(), "musicxml", "sheet").tunes[0].melody.midi == (60,)


def test_entities_that_multiply_are_refused():
    lines = ["<!ENTITY a0 'ha'>"]
    lines += [f"<!ENTITY a{i} '{f'&a{i - 1};' * 10}'>" for i in range(1, 12)]
    declared = f"<!DOCTYPE score-partwise [{''.join(lines)}]>"
    bomb = f"{declared}<score-partwise>&a11;</score-partwise>"
    assert "declarations" in refusal_of(bomb.encode())


@pytest.mark.parametrize(
    "declaration",
    [
        "<!ENTITY x SYSTEM 'file:///etc/hostname'>",
        "<!ENTITY % x SYSTEM 'http://127.0.0.1:9/x.dtd'> %x;",
        "<!ENTITY x 'harmless'>",
        "<!ATTLIST note a CDATA 'yyyyyyyy'>",
        "<!ATTLIST note a CDATA #FIXED 'y' b CDATA 'z'>",
        "<!ELEMENT note ANY>",
        "<!NOTATION gif SYSTEM 'viewer'>",
        "<!ENTITY picture SYSTEM 'a.gif' NDATA gif>",
        f"<!ELEMENT note {'(' * 20_000}a{')' * 20_000}>",
        "<!-- nothing -->",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_that_declares_anything_is_refused(declaration, encoding):
    text = f"<!DOCTYPE score-partwise [{declaration}]><score-partwise/>"
    assert "declarations" in refusal_of(text.encode(encoding))


def test_an_entity_that_nobody_declared_is_refused():
    assert "entit" in refusal_of(b"<score-partwise>&x;</score-partwise>")


def test_an_attribute_by_default_is_not_written_into_every_note():
    # 2 kB as .mxl; read with the attribute, the sheet would take gigabytes.
    declared = f"<!DOCTYPE score-partwise [<!ATTLIST note a CDATA '{'y' * 100_000}'>]>"
    text = f"{declared}<score-partwise>{'<note/>' * 20_000}</score-partwise>"
    container = b"<container><rootfile full-path='a.xml'/></container>"
    data = packed({"META-INF/container.xml": container, "a.xml": text.encode()})
    assert len(data) < 3000
    tracemalloc.start()
    assert "declarations" in refusal_of(data, "mxl")
    held = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held < 20_000_000


def test_a_document_type_is_never_fetched():
    plain = sheet()
    doctype = b"<!DOCTYPE score-partwise SYSTEM 'http://127.0.0.1:9/partwise.dtd'>"
    assert read_bytes(doctype + plain, "musicxml", "sheet").tunes[0].melody.midi == (60,)


def test_elements_that_nest_without_end_are_refused():
    deep = b"<a>" * 400_000 + b"</a>" * 400_000
    assert "nest more than" in refusal_of(b"<score-partwise>" + deep + b"</score-partwise>")


def test_more_tags_than_any_sheet_needs_are_refused():
    assert "tags" in refusal_of(b"<score-partwise>" + b"<a/>" * 1_000_001)


def test_a_file_larger_than_the_limit_is_refused():
    assert "larger than 8 MB" in refusal_of(sheet() + b" " * (8 << 20))


def test_a_small_package_that_unpacks_large_is_refused():
    bomb = b"<score-partwise><!--" + b" " * (40 << 20) + b"--></score-partwise>"
    data = packed({"sheet.xml": bomb})
    assert len(data) < 1 << 20
    assert "larger than 8 MB unpacked" in refusal_of(data, "mxl")


def test_a_package_that_lies_about_its_size_is_refused():
    data = bytearray(packed({"sheet.xml": b"<a>" + b" " * (20 << 20)}))
    place = data.rindex(b"PK\x01\x02")
    data[place + 24 : place + 28] = (1000).to_bytes(4, "little")
    assert refusal_of(bytes(data), "mxl")


def test_a_container_that_unpacks_large_is_refused():
    data = packed({"META-INF/container.xml": b"<a>" + b" " * (1 << 20), "s.xml": sheet()})
    assert "'META-INF/container.xml' in it is larger" in refusal_of(data, "mxl")


def test_a_package_of_very_many_files_is_refused():
    data = packed({f"{i}.xml": b"" for i in range(300)})
    assert "more than 256 files" in refusal_of(data, "mxl")


@pytest.mark.parametrize(
    "path", ["../sheet.xml", "/etc/hostname", "a/../../sheet.xml", "a\\..\\sheet.xml"]
)
def test_a_container_that_points_outside_is_refused(path):
    container = (
        f"<container><rootfiles><rootfile full-path='{path}'/></rootfiles></container>"
    )
    data = packed({"META-INF/container.xml": container.encode(), path: sheet()})
    assert "points outside" in refusal_of(data, "mxl")


def test_a_container_that_names_nothing_there_is_refused():
    container = (
        b"<container><rootfiles><rootfile full-path='lost.xml'/></rootfiles></container>"
    )
    data = packed({"META-INF/container.xml": container})
    assert "names 'lost.xml', which is not in it" in refusal_of(data, "mxl")


def test_a_package_within_a_package_is_not_opened():
    assert "broken XML" in refusal_of(
        packed({"sheet.xml": packed({"sheet.xml": sheet()})}), "mxl"
    )


def test_a_package_packed_in_an_unusual_way_is_refused():
    data = packed({"sheet.xml": sheet()}, zipfile.ZIP_LZMA)
    assert "packed in a way" in refusal_of(data, "mxl")


def test_a_package_without_a_sheet_is_refused():
    assert "no MusicXML is packed" in refusal_of(packed({"readme.txt": b"hello"}), "mxl")


HUGE = [
    ({"duration": "9" * 9}, "a length of more than"),
    ({"duration": "1e9999999"}, "no notes"),
    ({"divisions": "99999999"}, "no number of divisions"),
    ({"divisions": "0"}, "no number of divisions"),
    ({"divisions": "-4"}, "no number of divisions"),
    ({"divisions": "1e99"}, "no number of divisions"),
    ({"octave": "99"}, "outside the range"),
    ({"octave": "9" * 5000}, "a pitch that cannot be read"),
    ({"more": "<forward><duration>1000</duration></forward>" * 9}, "bar 1 is longer than"),
    (
        {
            "more": "<attributes><transpose><chromatic>900</chromatic>"
            "</transpose></attributes>"
        },
        "transposition",
    ),
]


@pytest.mark.parametrize(("values", "reason"), HUGE)
def test_numbers_beyond_all_music_are_refused(values, reason):
    assert reason in refusal_of(sheet(**values))


@pytest.mark.parametrize("beats", ["10000000", "9" * 400, "1+" * 400 + "1", "0", "-3", "x"])
def test_beats_beyond_all_music_are_read_as_no_metre(beats):
    (tune,) = read_bytes(sheet(beats=beats), "musicxml", "sheet").tunes
    assert tune.melody.metre is None
    assert "a time signature is read as no metre (bar 1)" in [w.text for w in tune.warnings]


def test_more_notes_than_any_part_has_are_refused():
    tiny = "<note><duration>0</duration></note>"
    assert "more than 100000 notes" in refusal_of(sheet(more=tiny * 100_001))


def test_more_changes_of_key_than_any_piece_has_are_refused():
    change = (
        "<attributes><key><fifths>1</fifths></key></attributes>"
        "<forward><duration>1</duration></forward><backup><duration>0</duration></backup>"
    )
    bars = "".join(f"</measure><measure number='{n}'>{change * 100}" for n in range(30))
    assert "changes of key or metre" in refusal_of(sheet(more=bars))


def test_other_xml_is_named_for_what_it_is():
    assert "its root is <html>" in refusal_of(b"<html><body/></html>")
    assert "list of other files" in refusal_of(b"<opus/>")
    assert "no parts" in refusal_of(b"<score-partwise/>")


@pytest.mark.parametrize("encoding", ["klingon", "utf-32", "utf-7", "idna"])
def test_encodings_that_expat_cannot_read_are_refused(encoding):
    assert refusal_of(f"<?xml version='1.0' encoding='{encoding}'?><a/>".encode())


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_file_cut_short_is_refused(share):
    plain = sheet()
    assert "broken XML" in refusal_of(plain[: int(len(plain) * share)])
    package = packed({"sheet.xml": plain})
    assert "damaged" in refusal_of(package[: int(len(package) * share)], "mxl")


TAGS = (  # noqa: SIM905
    """
    note chord grace cue rest pitch step octave alter duration backup forward attributes
    divisions key fifths mode time beats beat-type transpose harmony root root-step kind
    degree barline repeat ending measure"""
).split()


def always_answers(data, kind):
    reading = read_bytes(data, kind, "noise")
    assert len(reading.tunes) + len(reading.refusals) == 1


@given(st.binary(max_size=400), st.sampled_from(["musicxml", "mxl"]))
def test_noise_is_answered(data, kind):
    always_answers(data, kind)
    always_answers(b"PK\x03\x04" + data, kind)


@given(st.data())
def test_a_sheet_with_a_few_bytes_changed_is_answered(data):
    plain = bytearray(data.draw(st.sampled_from([sheet(), packed({"s.xml": sheet()})])))
    for _ in range(data.draw(st.integers(1, 4))):
        plain[data.draw(st.integers(0, len(plain) - 1))] = data.draw(st.integers(0, 255))
    always_answers(bytes(plain), "mxl" if plain[:2] == b"PK" else "musicxml")


@given(
    st.lists(
        st.tuples(
            st.sampled_from(TAGS),
            st.sampled_from(["", "1", "-2", "4", "C", "0.5", "start", "x", "99999999999"]),
        ),
        max_size=20,
    )
)
def test_elements_in_any_order_are_answered(elements):
    inside = "".join(f"<{tag}>{text}</{tag}>" for tag, text in elements)
    nested = "".join(f"<{tag}>" for tag, _ in elements) + "".join(
        f"</{tag}>" for tag, _ in reversed(elements)
    )
    always_answers(sheet(more=inside + nested), "musicxml")


def test_more_attributes_than_any_sheet_needs_are_refused():
    assert "attributes" in refusal_of(b"<score-partwise>" + b'<a b=""/>' * 333_334)
