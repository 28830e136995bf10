"""Data for other programs: JSON and CSV of what is in a corpus.

Conventions: those of :mod:`melodex.presentation.data.forms`.

Contents: listing_json, listing_rows, listing_csv, detail_json, adding_json, check_json,
shards_json, refresh_json, holdings_json, done_json, undone_json, duplicates_json,
families_json, families_csv, family_rows, whole_audit_json, close_pair_rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.presentation.data.values import (
    csv_text,
    json_text,
    melody_data,
    passage_data,
    rounded,
)

if TYPE_CHECKING:
    from melodex.tasks.adding.add import AddResult
    from melodex.tasks.adding.refresh import Differences, Refreshed
    from melodex.tasks.audit.whole import ClosePair, WholeAudit
    from melodex.tasks.collection.duplicates import Duplicates
    from melodex.tasks.collection.families import Families
    from melodex.tasks.collection.holdings import Holdings, Listing, TuneDetail, Warned
    from melodex.tasks.collection.shards import ShardList
    from melodex.tasks.collection.undo import Done, Undone
    from melodex.tasks.collection.upkeep import CheckResult

__all__ = [
    "CLOSE_PAIR_COLUMNS",
    "adding_json",
    "check_json",
    "close_pair_rows",
    "detail_json",
    "done_json",
    "duplicates_json",
    "families_csv",
    "families_json",
    "family_rows",
    "holdings_json",
    "listing_csv",
    "listing_json",
    "listing_rows",
    "refresh_json",
    "shards_json",
    "undone_json",
    "whole_audit_json",
]


def listing_json(listing: Listing) -> str:
    """Tunes of a corpus as JSON."""
    return json_text(
        {
            "corpus": {"tunes": listing.corpus_tunes},
            "matching": listing.matching,
            "tunes": [asdict(row) for row in listing.tunes],
        }
    )


def listing_csv(listing: Listing) -> str:
    """Tunes of a corpus as CSV, a line each."""
    return csv_text(listing_rows(listing), TuneRow.__slots__)


def listing_rows(listing: Listing) -> list[dict[str, Any]]:
    """Tunes of a corpus, a flat row each."""
    return [{**asdict(row), "tags": ", ".join(row.tags)} for row in listing.tunes]


def detail_json(detail: TuneDetail) -> str:
    """One tune as JSON, with places, warnings and notes."""
    return json_text(
        {
            **asdict(detail.row),
            "places": [asdict(place) for place in detail.places],
            "warnings": [asdict(warning) for warning in detail.warnings],
            "remarks": [asdict(remark) for remark in detail.remarks],
            "notes": melody_data(detail.melody),
        }
    )


def adding_json(result: AddResult) -> str:
    """What became of files as JSON."""
    return json_text(
        {
            "files": result.files_done,
            "files_total": result.files_total,
            "files_from_before": result.gone_on,
            "interrupted": result.interrupted,
            "added": result.added,
            "unchanged": result.unchanged,
            "replaced": result.replaced,
            "further_lines": result.further,
            "refused": [asdict(refusal) for refusal in result.refusals],
            "warnings": result.warnings,
        }
    )


def refresh_json(found: Differences, done: Refreshed | None) -> str:
    """What has changed in the folders of a corpus, and what was done, as JSON."""
    told: dict[str, Any] = {
        "folders": list(found.folders),
        "missing": list(found.missing),
        "unchanged": found.unchanged,
        "new": found.new,
        "changed": found.changed,
        "moved": [{"from": old, "to": new} for old, new in found.moved],
        "gone": found.gone,
        "gone_tunes": found.gone_tunes,
        "refused": [asdict(refusal) for refusal in found.refusals],
        "done": None,
    }
    if done is not None:
        told["done"] = {
            "added": sum(result.added for result in done.added),
            "replaced": sum(result.replaced for result in done.added),
            "removed": done.removed,
            "refused": [asdict(each) for result in done.added for each in result.refusals],
            "interrupted": any(result.interrupted for result in done.added),
        }
    return json_text(told)


def check_json(result: CheckResult) -> str:
    """What a check found as JSON."""
    report = asdict(result.report)
    return json_text(
        {
            "corpus": str(result.path),
            "engine": result.engine,
            **report,
            "repair": None
            if result.repair is None
            else {**asdict(result.repair), "damaged": str(result.repair.damaged)},
            "touched": [
                {"tune_id": tune_id, "title": result.titles.get(tune_id)}
                for tune_id in result.report.touched
            ],
        }
    )


def shards_json(found: ShardList) -> str:
    """The shards of a corpus, each with what is wrong with it."""
    return json_text(
        {
            "corpus": str(found.path),
            "set": found.shard_set,
            "shards": [
                {"number": state.number, **asdict(state.shard), "fault": state.fault}
                for state in found.states
            ],
        }
    )


def done_json(found: Sequence[Done]) -> str:
    """What was done and can be undone as JSON."""
    return json_text({"done": [asdict(done) for done in found]})


def undone_json(done: Undone) -> str:
    """What undoing brought back as JSON."""
    return json_text(asdict(done))


def holdings_json(holdings: Holdings) -> str:
    """What a corpus holds as JSON."""
    return json_text(asdict(holdings))


def duplicates_json(duplicates: Duplicates) -> str:
    """Groups of tunes that are alike as JSON."""
    return json_text(
        {
            "corpus": {"tunes": duplicates.corpus_tunes},
            "least": duplicates.least,
            "groups": groups_data(duplicates),
        }
    )


def families_json(found: Families) -> str:
    """Tune families as JSON."""
    return json_text(
        {
            "corpus": {"tunes": found.corpus_tunes},
            "least": found.least,
            "families_in_all": found.families_in_all,
            "tunes_in_families": found.tunes_in_families,
            "left_out": found.left_out,
            "families": [
                {
                    "likeness": rounded(family.likeness),
                    "sureness": rounded(family.sureness),
                    "members": [
                        {
                            "tune": asdict(member.row),
                            "likeness": rounded(member.likeness),
                            "sureness": rounded(member.sureness),
                            "expected_by_chance": rounded(member.expected_by_chance),
                            "differences": list(member.differences),
                        }
                        for member in family.members
                    ],
                }
                for family in found.families
            ],
        }
    )


FAMILY_COLUMNS = (
    "family",
    "likeness",
    "sureness",
    "expected_by_chance",
    "tune_id",
    "title",
    "key",
    "metre",
    "source",
    "number",
    "differences",
)


def families_csv(found: Families) -> str:
    """Tune families as CSV, a row for each tune; families count from 1."""
    return csv_text(family_rows(found), FAMILY_COLUMNS)


def family_rows(found: Families) -> list[dict[str, Any]]:
    """A row for each tune of a family."""
    return [
        {
            "family": number,
            "likeness": rounded(member.likeness),
            "sureness": rounded(member.sureness),
            "expected_by_chance": rounded(member.expected_by_chance),
            "differences": "; ".join(member.differences),
            **{
                name: getattr(member.row, name)
                for name in ("tune_id", "title", "key", "metre", "source", "number")
            },
        }
        for number, family in enumerate(found.families, start=1)
        for member in family.members
    ]


def groups_data(duplicates: Duplicates) -> list[dict[str, Any]]:
    """Groups of tunes that are alike as plain data."""
    return [
        {
            "likeness": rounded(group.likeness),
            "tunes": [asdict(row) for row in group.tunes],
        }
        for group in duplicates.groups
    ]


def whole_audit_json(found: WholeAudit) -> str:
    """An audit of a whole corpus as JSON."""
    return json_text(
        {
            "near_duplicates": groups_data(found.duplicates),
            "near_duplicates_in_all": found.groups_in_all,
            "close_pairs": [close_pair_data(pair) for pair in found.pairs],
            "close_pairs_in_all": found.pairs_in_all,
            "compared": {
                "tunes": found.corpus_tunes,
                "notes": found.corpus_notes,
                "corpus_digest": found.corpus_digest,
                "least": found.duplicates.least,
                "excluded": list(found.excluded),
                "melodex": found.version,
            },
            "cautions": list(found.cautions),
        }
    )


def warned_json(warned: Sequence[Warned]) -> str:
    """What was not understood, tune by tune, as JSON."""
    return json_text(
        [
            {
                "tune_id": tune.tune_id,
                "name": tune.name,
                "source": tune.source,
                "number": tune.number,
                "warnings": [
                    {"line": w.line or None, "column": w.column or None, "text": w.text}
                    for w in tune.warnings
                ],
            }
            for tune in warned
        ]
    )


def close_pair_data(pair: ClosePair) -> dict[str, Any]:
    """Two tunes that share a passage."""
    return {
        "one": passage_data(pair.one) | {"first_note": pair.one.first_note},
        "other": passage_data(pair.other) | {"first_note": pair.other.first_note},
        "notes": pair.notes,
        "transposition_semitones": pair.transposition_semitones,
        "information_bits": rounded(pair.bits),
        "shared_figures": pair.shared_figures,
    }


SIDE_COLUMNS = ("tune_id", "title", "composer", "year", "source", "first_bar", "last_bar")
PAIR_COLUMNS = ("notes", "transposition_semitones", "information_bits", "shared_figures")
CLOSE_PAIR_COLUMNS = (
    *(f"{side}_{name}" for side in ("one", "other") for name in SIDE_COLUMNS),
    *PAIR_COLUMNS,
)


def close_pair_rows(found: WholeAudit) -> list[dict[str, Any]]:
    """Pairs of tunes that share a passage, a flat row each."""
    rows = []
    for pair in found.pairs:
        data = close_pair_data(pair)
        row = {f"{s}_{n}": data[s][n] for s in ("one", "other") for n in SIDE_COLUMNS}
        rows.append(row | {name: data[name] for name in PAIR_COLUMNS})
    return rows
