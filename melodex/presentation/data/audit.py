"""Data of an audit.

Contents: audit_data, finding_data, finding_rows, many_audits_json, many_audits_rows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from melodex.presentation.data.resemble import in_piece_data, pairs_data
from melodex.presentation.data.values import json_text, passage_data, rounded
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.findings import Finding

if TYPE_CHECKING:
    from melodex.tasks.audit.many import ManyAudits

__all__ = [
    "FINDING_COLUMNS",
    "MANY_COLUMNS",
    "audit_data",
    "finding_data",
    "finding_rows",
    "many_audits_json",
    "many_audits_rows",
]


def finding_data(finding: Finding) -> dict[str, Any]:
    """One finding of an audit."""
    found, common = finding.likeness, finding.commonness
    return {
        "rank": finding.rank,
        "own": passage_data(finding.own) | {"first_note": finding.own.first_note},
        "tune": passage_data(finding.tune) | {"first_note": finding.tune.first_note},
        "expected_by_chance": rounded(finding.expected_by_chance),
        "points": found.points,
        "transposition_semitones": found.transposition_semitones,
        "same_function": found.same_function,
        "notes_by_degree": found.by_degree,
        "same_rhythm_notes": found.in_time,
        "exact_run_notes": found.exact_run[2],
        "commonness": {
            "verdict": common.verdict,
            "notes": common.notes,
            "other_tunes_exact": common.exact,
            "other_tunes_near": common.near,
            "tunes": common.tunes,
        },
        "information_bits": rounded(finding.bits),
        "earlier": finding.earlier,
        "pairs": pairs_data(found),
        **in_piece_data(finding.tune, finding.also),
    }


FINDING_COLUMNS = (
    "rank",
    "own_first_bar",
    "own_last_bar",
    "tune_id",
    "title",
    "composer",
    "year",
    "collection",
    "source",
    "number",
    "rights",
    "first_bar",
    "last_bar",
    "expected_by_chance",
    "points",
    "transposition_semitones",
    "same_function",
    "same_rhythm_notes",
    "exact_run_notes",
    "verdict",
    "information_bits",
    "earlier",
)


def finding_rows(found: Audit) -> list[dict[str, Any]]:
    """The findings, a flat row each."""
    rows = []
    for finding in found.findings:
        data = finding_data(finding)
        data |= data["tune"] | {
            "own_first_bar": data["own"]["first_bar"],
            "own_last_bar": data["own"]["last_bar"],
            "verdict": data["commonness"]["verdict"],
        }
        rows.append({name: data[name] for name in FINDING_COLUMNS})
    return rows


def audit_data(found: Audit) -> dict[str, Any]:
    """An audit as plain data, with all that is needed to repeat it."""
    return {
        "own": passage_data(found.own),
        "findings": [finding_data(finding) for finding in found.findings],
        "findings_in_all": found.findings_in_all,
        "coverage": [
            {
                "bar": cover.bar,
                "findings": list(cover.findings),
                "expected_by_chance": rounded(cover.expected_by_chance),
            }
            for cover in found.coverage
        ],
        "compared_with": {
            "tunes": found.corpus_tunes,
            "notes": found.corpus_notes,
            "corpus_digest": found.corpus_digest,
            "windows": found.windows,
            "threshold": found.threshold,
            "excluded": list(found.excluded),
            "costs": {
                "same_pitch": list(found.costs.same_pitch),
                "near_pitch": list(found.costs.near_pitch),
                "far_pitch": list(found.costs.far_pitch),
                "gap": found.costs.gap,
            },
            "melodex": found.version,
        },
        "remarks": list(found.remarks),
        "cautions": list(found.cautions),
    }


OWN_COLUMNS = ("tune_id", "title", "source", "number")
MANY_COLUMNS = (*(f"own_{name}" for name in OWN_COLUMNS), *FINDING_COLUMNS)


def many_audits_rows(found: ManyAudits) -> list[dict[str, Any]]:
    """The findings of many audits, a flat row each, which says of which own tune."""
    rows = []
    for audit in found.audits:
        data = passage_data(audit.own)
        own = {f"own_{name}": data[name] for name in OWN_COLUMNS}
        rows += [own | row for row in finding_rows(audit)]
    return rows


def many_audits_json(found: ManyAudits) -> str:
    """Many audits as JSON, each under its name as it is alone, and what was refused."""
    return json_text(
        {
            "audits": [
                {"name": name} | audit_data(audit)
                for name, audit in zip(found.names, found.audits, strict=True)
            ],
            "refused": [
                {"name": each.name, "reason": each.reason} for each in found.refusals
            ],
        }
    )
