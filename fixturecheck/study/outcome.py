"""What a variant comes to: its verdict, the finding that decides, and its margins."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fixturecheck.result import Source
from fixturecheck.result.finding import BADNESS, Finding, Verdict
from fixturecheck.result.grouping import question_of
from fixturecheck.study.model import QuestionMargin, Variant, VariantRow

SHARE = "share"
"""The unit of a part of a whole."""


def outcome_row(
    key: str,
    variant: Variant,
    verdict: Verdict,
    findings: Sequence[Finding],
    *,
    sources: tuple[Source, ...] = (),
    operations: Mapping[str, str] | None = None,
    units: str = "mm",
) -> VariantRow:
    """Return the row of a variant that was checked.

    Parameters
    ----------
    sources : tuple of Source
        The files that it was read from.
    operations : mapping of str to str, optional
        Of a job, by the id of a finding: the title of the operation that it is about.
    units : str
        What the set-up is shown in: `mm`, `inch` or `thou`.
    """
    of_operation = operations or {}
    driver = min(findings, key=_decides, default=None)
    driven = {} if driver is None else {
        "driver": driver.id, "says": driver.says, "value": driver.value, "unit": driver.unit,
        "limit": driver.limit, "margin": driver.margin, "operation": of_operation.get(driver.id, ""),
    }  # fmt: skip
    shares = _least(findings, margin_share, of_operation)
    return VariantRow(
        key=key,
        variant=variant,
        verdict=verdict,
        sources=sources,
        margins=tuple(
            QuestionMargin(question=question, least=least, unit=unit, share=shares.get((question, unit)))
            for (question, unit), least in _least(findings, lambda f: f.margin, of_operation).items()
        ),
        units=units,
        **driven,  # type: ignore[arg-type]  # each field by its name
    )


def unknown_row(key: str, variant: Variant, why: str) -> VariantRow:
    """Return the row of a variant that could not be checked; which files that depends on is not known."""
    return VariantRow(key=key, variant=variant, verdict=Verdict.UNKNOWN, says=why)


def margin_share(finding: Finding) -> float | None:
    """Return how far a finding is on the good side of its limit, as a share of it; None without a limit.

    What is at most a whole cannot go further than that: 100 % where 99.9 % are asked is all that there is to
    spare, and a share of 1.
    """
    margin, limit, value = finding.margin, finding.limit, finding.value
    if margin is None or not limit:
        return None
    if finding.unit == SHARE and margin > 0.0 and value is not None and limit < value <= 1.0:
        return margin / (1.0 - limit)
    return margin / abs(limit)


def _decides(finding: Finding) -> tuple[int, float, str]:
    share = margin_share(finding)
    return -BADNESS.index(finding.verdict), float("inf") if share is None else share, finding.id


def _least(
    findings: Sequence[Finding], of: Callable[[Finding], float | None], operations: Mapping[str, str]
) -> Mapping[tuple[str, str], float]:
    """Return the least number of each question of a check, by what it is called in the table and its unit."""
    least: dict[tuple[str, str], float] = {}
    for finding in findings:
        number = of(finding)
        if number is not None:
            title = operations.get(finding.id)
            question = f"{finding.check}/{question_of(finding)}"
            name = f"{title}: {question}" if title else question, finding.unit
            least[name] = min(least.get(name, number), number)
    return dict(sorted(least.items()))
