"""The loudness of a recording under a tune, and its reduction, asked of the page."""

from __future__ import annotations

from urllib.parse import quote

from tests.reading.sounding import tones, wav

TUNE = "Motto of the Fen School"
EDGE = "edge-of-a-part"


def measured(workbench, at: str, sound: bytes) -> tuple[int, str]:
    fields = {"tune": TUNE, "at": at}
    head = f"--{EDGE}\r\nContent-Disposition: form-data"
    body = b"".join(
        f'{head}; name="{name}"\r\n\r\n{text}\r\n'.encode() for name, text in fields.items()
    )
    body += (
        f'--{EDGE}\r\nContent-Disposition: form-data; name="sound"; filename="song.wav"\r\n'
        "Content-Type: audio/wav\r\n\r\n"
    ).encode() + sound
    status, _, answer = workbench.ask(
        "/inside/loudness",
        method="POST",
        body=body + f"\r\n--{EDGE}--\r\n".encode(),
        Origin=workbench.base,
        Sec_Fetch_Site="same-origin",
        Content_Type=f"multipart/form-data; boundary={EDGE}",
        Accept="text/html",
    )
    return status, answer if isinstance(answer, str) else answer.decode()


def test_a_recording_is_laid_under_the_bars_of_a_tune(workbench):
    status, page = measured(workbench, "1=0:00, 5=0:02", wav(tones([60] * 8)))
    assert status == 200
    assert "Recording song.wav" in page
    assert "4 of 8 bars lie between the points that were given." in page
    assert 'value="1=0:00, 5=0:02"' in page


def test_points_that_say_nothing_are_refused_in_words(workbench):
    status, page = measured(workbench, "1=0:00", wav(tones([60] * 8)))
    assert status == 422
    assert "points at least" in page


def test_two_staves_can_be_downloaded(workbench):
    status, headers, answer = workbench.ask(
        f"/inside?tune={quote(TUNE)}&reduced=yes&form=musicxml", Accept="text/html"
    )
    assert status == 200
    assert "reduced" in headers["content-disposition"]
    text = answer if isinstance(answer, str) else answer.decode()
    assert "<part-name>Bass</part-name>" in text
