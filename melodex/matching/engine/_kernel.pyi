from array import array

ID_BYTES: int

def bounds(
    notes: bytes,
    lengths: bytes,
    pitch: bytes,
    classes: bytes,
    costs: tuple[int, ...],
    /,
) -> bytes: ...
def histogram(bounds: list[bytes], size: int, /) -> list[int]: ...
def select(bounds: bytes, low: int, high: int, /) -> list[tuple[int, int]]: ...
def best(
    tunes: list[tuple[bytes, bytes]],
    pitch: bytes,
    classes: bytes,
    costs: tuple[int, ...],
    floor: int,
    /,
) -> list[tuple[int, int]]: ...
def reached(
    tunes: list[tuple[bytes, bytes]],
    pitch: bytes,
    classes: bytes,
    costs: tuple[int, ...],
    /,
) -> list[int]: ...
def trace(
    pitch: bytes,
    classes: bytes,
    tune_pitch: bytes,
    tune_classes: bytes,
    transposition: int,
    costs: tuple[int, ...],
    /,
) -> tuple[int, list[tuple[int, int]]]: ...
def notes_at(notes: bytes, lengths: bytes, index: int, /) -> tuple[bytes, bytes]: ...
def drawn(ids: list[bytes], seed: int, count: int, /) -> list[bytes]: ...
def gathered(
    parts: list[tuple[bytes, bytes, bytes, array[int]]], /
) -> tuple[bytes, bytes, bytes]: ...
def holding(notes: bytes, lengths: bytes, figure: bytes, parts: bytes, /) -> bytes: ...
def stretches(
    notes: bytes, lengths: bytes, own: bytes, worth: bytes, loss: int, /
) -> bytes: ...
def leading(levels: bytes, pieces: bytes) -> bytes: ...
def contours(
    notes: bytes,
    lengths: bytes,
    signs: bytes,
    same: int,
    other: int,
    gap: int,
    /,
) -> bytes: ...
