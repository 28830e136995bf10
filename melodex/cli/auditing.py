"""``melodex audit --each``: many own tunes, a file of results for each.

Contents: audit_each.
"""

from __future__ import annotations

import json
from pathlib import Path

import click

from melodex import __version__
from melodex.cli.progress import progress_bar
from melodex.cli.saving import save
from melodex.cli.workers import Hands

__all__ = ["audit_each"]


def audit_each(
    corpus_path: Path,
    own: Path,
    results: Path,
    among: tuple[tuple[str, ...], str, str],
    told: tuple[float, int],
    hands: Hands,
) -> bool:
    """Audit every tune of a file or folder; whether all of them could be audited.

    What stands in the folder of results from before, of the same corpus and settings, is
    not done again.
    """
    from melodex.cli.among import left_out
    from melodex.corpus.reader import Corpus
    from melodex.matching.dealing.dealer import dealt_by
    from melodex.matching.dealing.held import whole_of
    from melodex.presentation.data.forms import as_json
    from melodex.presentation.text.audit import each_text
    from melodex.tasks.audit.audit import Audit, digest_of
    from melodex.tasks.audit.many import AuditJob, OwnTune, Refused, audit_many, own_tunes

    tunes, refused = own_tunes([own])
    exclude, within, without = among
    with Corpus.open(corpus_path) as corpus:
        job = AuditJob(
            whole=whole_of(corpus),
            exclude=tuple(corpus.resolve(name) for name in exclude),
            outside=left_out(corpus, within, without),
            threshold=told[0],
            limit=told[1],
        )
        corpus_digest = digest_of(corpus)
    results.mkdir(parents=True, exist_ok=True)
    settings = {
        "melodex": __version__,
        "corpus_digest": corpus_digest,
        "threshold": job.threshold,
        "limit": job.limit,
        "excluded": sorted(set(job.exclude)),
        "outside": sorted(job.outside),
    }
    left = [tune for tune in tunes if not is_kept(results, tune.passage.tune_id, settings)]

    lines: dict[str, str] = {}

    def done(tune: OwnTune, found: Audit | Refused) -> None:
        if isinstance(found, Refused):
            refused.append(found)
            return
        file = place_of(results, tune.passage.tune_id)
        save(as_json(found), file, force=True)
        save(json.dumps(settings), file.with_suffix(".asked"), force=True)
        lines[tune.name] = each_text(tune.name, found)

    with (
        progress_bar("auditing") as bar,
        dealt_by(hands.workers, hands.scheduler) as dealer,
    ):
        audit_many(job, left, dealer, done, progress=bar)
    for tune in left:
        click.echo(lines.get(tune.name, ""), nl=False)
    for each in refused:
        click.echo(f"melodex: {each.name}: {each.reason}", err=True)
    before = len(tunes) - len(left)
    kept = f", {before:,} done before" if before else ""
    click.echo(f"{len(tunes):,} own tunes{kept}, {len(refused):,} refused", err=True)
    return not refused


def place_of(results: Path, tune_id: str) -> Path:
    """Where the result of a tune goes."""
    return results / f"{tune_id}.json"


def is_kept(results: Path, tune_id: str, settings: dict[str, object]) -> bool:
    """Whether a tune was audited before in the same way, and the result is there."""
    file = place_of(results, tune_id)
    try:
        asked = json.loads(file.with_suffix(".asked").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return bool(asked == settings and file.is_file())
