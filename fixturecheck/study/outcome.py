"""What a variant comes to: its verdict, the finding that decides, and its margins."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

from fixturecheck.result import Result, Source
from fixturecheck.result.finding import BADNESS, Finding, Verdict
from fixturecheck.result.finding_id import question_of
from fixturecheck.study.model import Variant, VariantRow


def outcome_row(key: str, variant: Variant, result: Result) -> VariantRow:
    """Return the row of a variant that was checked."""
    findings = result.findings
    shares = [s for f in findings if (s := margin_share(f)) is not None]
    driver = min(findings, key=_decides, default=None)
    driven = {} if driver is None else {
        "driver": driver.id, "says": driver.says, "value": driver.value, "unit": driver.unit,
        "limit": driver.limit, "margin": driver.margin,
    }  # fmt: skip
    return VariantRow(
        key=key,
        variant=variant,
        verdict=result.verdict,
        sources=result.sources,
        least_share=min(shares, default=None),
        margins=_margins(findings),
        **driven,  # type: ignore[arg-type]  # each field by its name
    )


def unknown_row(key: str, variant: Variant, why: str) -> VariantRow:
    """Return the row of a variant that could not be checked; it stands while the set-up's file does."""
    file = Path(variant.setup)
    digest = hashlib.sha256(file.read_bytes()).hexdigest() if file.is_file() else ""
    source = Source(path=file.name, sha256=digest)
    return VariantRow(key=key, variant=variant, verdict=Verdict.UNKNOWN, says=why, sources=(source,))


def margin_share(finding: Finding) -> float | None:
    """Return how far a finding is on the good side of its limit, as a share of it; None without a limit."""
    if finding.margin is None or not finding.limit:
        return None
    return finding.margin / abs(finding.limit)


def _decides(finding: Finding) -> tuple[int, float, str]:
    share = margin_share(finding)
    return -BADNESS.index(finding.verdict), float("inf") if share is None else share, finding.id


def _margins(findings: Sequence[Finding]) -> Mapping[str, float]:
    least: dict[str, float] = {}
    for finding in findings:
        if finding.margin is not None:
            name = f"{finding.check}/{question_of(finding)} {finding.unit}".rstrip()
            least[name] = min(least.get(name, finding.margin), finding.margin)
    return dict(sorted(least.items()))
