"""The map of a corpus: what it holds as bars, and its tunes as points that lie by likeness.

Conventions: as in the room. A cluster has a shape of its own besides its name; a point is
a link, and carries its number where there is room for numbers.

Contents: counts_svg, likeness_svg, cluster_sign.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations
from statistics import median
from xml.etree.ElementTree import Element

from melodex.presentation.map.pens import SMALL, put, signed, write
from melodex.presentation.map.strips import WIDTH, text_width
from melodex.presentation.report.charts import chart
from melodex.presentation.xml_text import xml_text
from melodex.tasks.collection.holdings import Count
from melodex.tasks.collection.likeness import LikenessMap

__all__ = ["counts_svg", "likeness_svg"]

PAGE_WIDTH = 986
COLUMNS, ROW, MOST_ROWS = 2, 15.0, 12
NAMES_WIDTH, BAR_WIDTH, COLUMN_WIDTH = 150.0, 200.0, 420.0
TALL, EDGE, REACH = 560.0, 26.0, 6.5
AROUND = 70.0
"""Tunes so near the middle of a cluster stand below its name."""
NAME_ABOVE, NAME_BELOW = 12.0, 3.0
"""How far a name reaches above and below the line that it is written on."""
NAME_STEP, NAME_MOVES = 4.0, 20
"""How far a name is moved at once, and how often at most, so that it covers no point."""
NUMBERED = 120
"""Points that can have their numbers beside them."""
PUSHES = 60
PATHS = ("circle", "square", "diamond", "triangle", "cross", "bar", "drop", "star",
         "ring", "frame")  # fmt: skip
"""Shapes of the clusters, the largest first."""


def framed(prefix: str, title: str, told: str, tall: float, role: str) -> Element:
    """An empty picture as wide as a page."""
    root = chart(WIDTH, tall, prefix, title, told)
    root.set("class", "chart map")
    root.set("role", role)
    root.set("width", f"{PAGE_WIDTH}")
    root.set("height", f"{tall * PAGE_WIDTH / WIDTH:.1f}")
    return root


# Counts


def counts_svg(
    panels: Sequence[tuple[str, Sequence[Count]]], prefix: str = "counts"
) -> str:
    """Draw counts as bars, two panels beside one another.

    Parameters
    ----------
    panels : sequence of (str, sequence of Count)
        What is counted, and how often each value stands; of long rows the first.
    prefix : str
        Put before ids.
    """
    told = "; ".join(
        f"{name}: {', '.join(f'{c.value} {c.tune_count:,}' for c in counts[:MOST_ROWS])}"
        for name, counts in panels
    )
    rows = [panels[at : at + COLUMNS] for at in range(0, len(panels), COLUMNS)]
    heights = [34 + ROW * max(lines_of(counts) for _, counts in row) for row in rows]
    total = sum(heights)
    root = framed(prefix, "What the corpus holds", f"{told}.", total, "img")
    top = 0.0
    for row, tall in zip(rows, heights, strict=True):
        home = put(root, "g", class_="system", data_top=str(int(top)))
        home.set("data-bottom", str(int(top + tall)))
        for column, (name, counts) in enumerate(row):
            draw_panel(home, name, counts, column * COLUMN_WIDTH, top)
        top += tall
    return xml_text(root)


def lines_of(counts: Sequence[Count]) -> int:
    """Lines that a panel takes."""
    return min(len(counts), MOST_ROWS) + (len(counts) > MOST_ROWS)


def draw_panel(
    home: Element, name: str, counts: Sequence[Count], left: float, top: float
) -> None:
    """One panel: values, bars and numbers."""
    write(home, left + 4, top + 14, name, size=11.5, bold=True)
    most = max(count.tune_count for count in counts)
    for place, count in enumerate(counts[:MOST_ROWS]):
        y = top + 22 + ROW * place
        value = signed(count.value or "none")
        size = min(10.0, 10.0 * (NAMES_WIDTH - 8) / text_width(value, 10))
        write(home, left + NAMES_WIDTH - 6, y + 9.5, value, size=size, anchor="end")
        wide = max(BAR_WIDTH * count.tune_count / most, 1.0)
        put(
            home, "rect", class_="key-0", x=left + NAMES_WIDTH, y=y + 1, width=wide,
            height=ROW - 4, fill="#dfe9f7", stroke="currentColor", stroke_width=0.7,
        )  # fmt: skip
        number = f"{count.tune_count:,}"
        write(home, left + NAMES_WIDTH + wide + 5, y + 9.5, number, size=SMALL)
    more = len(counts) - MOST_ROWS
    if more > 0:
        y = top + 22 + ROW * MOST_ROWS
        write(
            home, left + NAMES_WIDTH, y + 9.5, f"and {more:,} more", size=SMALL, quiet=True
        )


# Likeness


def likeness_svg(
    found: LikenessMap, address: Callable[[str], str], prefix: str = "likeness"
) -> str:
    """Draw the tunes of a corpus by likeness.

    Parameters
    ----------
    found : LikenessMap
        At least one point.
    address : callable
        Where the point of a tune leads, by its id.
    prefix : str
        Put before ids.
    """
    told = "; ".join(f"{cluster.name}: {cluster.tunes} tunes" for cluster in found.clusters)
    root = framed(prefix, "Tunes by likeness", f"Clusters: {told}.", TALL, "group")
    places = pushed_apart([(point.x, point.y) for point in found.points])
    numbered = len(found.points) <= NUMBERED
    for number, (point, (x, y)) in enumerate(zip(found.points, places, strict=True), 1):
        link = put(root, "a", href=address(point.row.tune_id), class_="mark")
        title = point.row.name
        link.set("aria-label", f"{title}, {found.clusters[point.cluster].name}")
        put(link, "title").text = title
        draw_sign(link, point.cluster, x, y)
        if numbered:
            write(link, x, y + 2.8, str(number), size=7.5, anchor="middle")
    names = put(root, "g", aria_hidden="true")
    for (x, y), words in name_places(found, places):
        drawn = write(names, x, y, words, size=11, anchor="middle", bold=True)
        drawn.set("class", "over")
    return xml_text(root)


def pushed_apart(shares: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Places on the picture, moved until no two points lie on one another."""
    import numpy as np

    wide, tall = WIDTH - 2 * EDGE, TALL - 2 * EDGE - 20
    places = np.array(shares) * (wide, tall) + (EDGE, EDGE + 20)
    # Points at one place part along a spiral, the same each time.
    turns = np.arange(len(places)) * 2.4
    places = places + 0.05 * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    for _ in range(PUSHES):
        apart = places[:, None] - places[None, :]
        far = np.sqrt((apart**2).sum(axis=2))
        np.fill_diagonal(far, np.inf)
        needed = np.clip(2.5 * REACH - far, 0, None) / 2
        if not needed.any():
            break
        places = places + (apart / far[:, :, None] * needed[:, :, None]).sum(axis=1) * 0.7
        places = np.clip(places, (EDGE, EDGE + 14), (WIDTH - EDGE, TALL - EDGE))
    return [(round(float(x), 1), round(float(y), 1)) for x, y in places]


def draw_sign(home: Element, cluster: int, x: float, y: float) -> None:
    """The shape of a cluster."""
    name = PATHS[cluster % len(PATHS)]
    common: dict[str, str | float] = {
        "class_": f"point key-{cluster % 6}",
        "fill": "#ffffff",
        "stroke": "currentColor",
        "stroke_width": 1.0,
    }
    if name in {"circle", "ring"}:
        put(home, "circle", cx=x, cy=y, r=REACH, **common)
        if name == "ring":
            put(home, "circle", cx=x, cy=y, r=REACH - 2, **common)
        return
    put(home, "path", d=outline(name, x, y), **common)


def outline(name: str, x: float, y: float) -> str:
    """The outline of a shape around a place."""
    corners = {
        "square": polygon(4, 45, 1.3),
        "frame": polygon(4, 22, 1.3),
        "diamond": polygon(4, 0, 1.35),
        "triangle": polygon(3, -90, 1.5),
        "drop": polygon(3, 90, 1.5),
        "bar": polygon(6, 0, 1.2),
        "cross": polygon(5, -90, 1.3),
        "star": polygon(8, 22.5, 1.2),
    }[name]
    points = [f"{x + dx:.1f} {y + dy:.1f}" for dx, dy in corners]
    return f"M{'L'.join(points)}z"


def polygon(corners: int, turn: float, size: float) -> list[tuple[float, float]]:
    """A regular polygon around the origin, ``turn`` in degrees."""
    angles = [math.radians(turn + 360 * k / corners) for k in range(corners)]
    return [(REACH * size * math.cos(a), REACH * size * math.sin(a)) for a in angles]


def name_places(
    found: LikenessMap, places: Sequence[tuple[float, float]]
) -> list[tuple[tuple[float, float], str]]:
    """Where the clusters' names stand: above the middle of their tunes, none on another."""
    laid: list[tuple[tuple[float, float], str]] = []
    for number, cluster in enumerate(found.clusters):
        own = [
            place
            for place, p in zip(places, found.points, strict=True)
            if p.cluster == number
        ]
        words = f"{signed(cluster.name)} ({cluster.tunes})"
        half = text_width(words, 11, bold=True) / 2
        middle = (median(px for px, _ in own), median(py for _, py in own))
        near_by = [y for x, y in own if math.dist((x, y), middle) <= AROUND]
        above = min(near_by, default=middle[1])
        x = min(max(middle[0], half + 2), WIDTH - half - 2)
        top = max(above - REACH - 4, NAME_ABOVE)
        laid.append(((x, clear_of(places, x, half, top)), words))
    return parted(laid)


def clear_of(
    places: Sequence[tuple[float, float]], x: float, half: float, wanted: float
) -> float:
    """The height nearest to a wanted one at which a name lies on the fewest points."""

    def covered(y: float) -> int:
        middle = y - NAME_ABOVE / 2 + NAME_BELOW / 2
        tall = (NAME_ABOVE + NAME_BELOW) / 2 + REACH
        return sum(
            abs(px - x) < half + REACH and abs(py - middle) < tall for px, py in places
        )

    steps = range(-NAME_MOVES, NAME_MOVES + 1)
    heights = [
        wanted + move * NAME_STEP for move in sorted(steps, key=lambda n: (abs(n), n))
    ]
    allowed = [y for y in heights if NAME_ABOVE <= y <= TALL - NAME_BELOW]
    return min(allowed, key=covered)


def parted(
    laid: list[tuple[tuple[float, float], str]],
) -> list[tuple[tuple[float, float], str]]:
    """Names moved down until none lies on another."""
    laid = sorted(laid, key=lambda item: (item[0][1], item[0][0]))
    for _ in range(len(laid) * 4):
        clash = next(
            (
                later
                for (one, later) in combinations(range(len(laid)), 2)
                if near(laid[one], laid[later])
            ),
            None,
        )
        if clash is None:
            break
        (x, y), words = laid[clash]
        laid[clash] = ((x, y + 13), words)
    return laid


def near(
    one: tuple[tuple[float, float], str], other: tuple[tuple[float, float], str]
) -> bool:
    """Whether two names would touch."""
    (x, y), words = one
    (u, v), others = other
    wide = text_width(words, 11, bold=True) + text_width(others, 11, bold=True)
    return abs(y - v) < 12.5 and abs(x - u) < wide / 2 + 6
