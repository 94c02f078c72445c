"""What a study states and what it finds, as plain values: what each variant comes to, and what decides it."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

from fixturecheck.fields import allowed
from fixturecheck.result import Source
from fixturecheck.result.finding import BADNESS, Finding, Verdict
from fixturecheck.result.grouping import question_of

ParameterValue = float | int | str | bool
"""A value that a parameter is given."""
MOST_VARIANTS = 100_000
MOST_SEED = 2**63 - 1
_DECIMALS = 9
"""Decimals of a share: margins that agree in so many are rounding apart."""
SHARE = "share"
"""The unit of a part of a whole."""


class Take(StrEnum):
    """Which variants are taken: every combination, or as many as are asked, spread over the space."""

    ALL = "all"
    SOBOL = "sobol"
    LATIN = "latin"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyEntry:
    """What is varied together: the set-ups, which variants are taken, and what is asked of each.

    Parameters
    ----------
    name : str
        What it is called; the file's name where it is left out.
    setups : list of text
        The set-ups and whole jobs, counted from the study's folder.
    take : str
        `all` combinations, or a spread of them: `sobol` or `latin`.
    count, seed : int
        How many variants a spread takes, and what it is repeated by.
    only : list of text
        The checks to ask; all where it is left out.
    skip : list of text
        Checks to leave out.
    strict : bool
        Whether a caution counts as not passed.
    """

    name: str | None = None
    setups: tuple[str, ...]
    take: str = field(default=Take.ALL, metadata=allowed(words=Take))
    count: int = field(default=64, metadata=allowed(1, MOST_VARIANTS))
    seed: int = field(default=0, metadata=allowed(0, MOST_SEED))
    only: tuple[str, ...] | None = None
    skip: tuple[str, ...] = ()
    strict: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ParameterEntry:
    """What is varied, and over which values.

    Parameters
    ----------
    name : str
        What it is called in the table; what it sets where it is left out.
    set : str
        The key that it gives values to, as `--set` names it.
    sets : list of text
        In its place: several keys that go together.
    values : list
        The values; with `sets` each is a list, one for each key.
    range : list of numbers
        In their place: low and high end.
    steps : int
        How many values the range is divided into, its ends included.
    nominal, tolerance : float
        In their place: the middle and the whole width of a zone in which the value spreads.
    flip_within : float
        How closely a flip of the verdict is looked for; a thousandth of the range where it is left out.
    """

    name: str | None = None
    set: str | None = None
    sets: tuple[str, ...] | None = None
    values: Any = None
    range: tuple[float, float] | None = None
    steps: int = field(default=0, metadata=allowed(0, MOST_VARIANTS))
    nominal: float | None = None
    tolerance: float | None = None
    flip_within: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyParameter:
    """What is varied.

    Parameters
    ----------
    name : str
        What it is called in the table.
    sets : tuple of str
        What it gives values to, as `--set` names it; several go together.
    choices : tuple of tuple of ParameterValue
        The values to choose from, each one for each of `sets`; empty where a range is stated.
    ends : tuple of float
        Low and high end of a range, in the unit of what is set; empty without one.
    steps : int
        How many values a range is divided into, its ends included.
    nominal, tolerance : float or None
        The middle and the whole width of a zone in which the value spreads normally, a sixth of the width
        being the standard deviation; in the unit of what is set.
    flip_within : float or None
        How closely a flip of the verdict is looked for; None is a thousandth of the range.
    stated_at : str
        File and line of what it sets; empty where it was made in code.
    """

    name: str
    sets: tuple[str, ...]
    choices: tuple[tuple[ParameterValue, ...], ...] = ()
    ends: tuple[float, ...] = ()
    steps: int = 0
    nominal: float | None = None
    tolerance: float | None = None
    flip_within: float | None = None
    stated_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """A study as stated.

    Parameters
    ----------
    name : str
        What it is called.
    setups : tuple of str
        The set-ups and jobs, as paths.
    parameters : tuple of StudyParameter
    take : Take
    count, seed : int
        How many variants a sample takes, and what it is repeated by.
    only : tuple of str or None
        The checks to ask; None asks all.
    skip : tuple of str
        Checks to leave out.
    strict : bool
        Whether a caution counts as not passed.
    home : str
        The folder from which set-ups are told; empty tells them as they are given.
    """

    name: str
    setups: tuple[str, ...]
    parameters: tuple[StudyParameter, ...]
    take: Take = Take.ALL
    count: int = 64
    seed: int = 0
    only: tuple[str, ...] | None = None
    skip: tuple[str, ...] = ()
    strict: bool = False
    home: str = ""

    def named(self, setup: str) -> str:
        """Return a set-up's path as it is told, the same on every machine."""
        return Path(os.path.relpath(setup, self.home)).as_posix() if self.home else setup

    def passes(self, verdict: Verdict) -> bool:
        """Tell whether a verdict counts as passed."""
        return verdict is Verdict.GO or (verdict is Verdict.CAUTION and not self.strict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One set-up with one value for each parameter.

    Parameters
    ----------
    setup : str
        Its file.
    values : mapping of str to ParameterValue
        By the name of the parameter; the first of values that go together.
    overrides : mapping of str to str
        What is set, as `--set` takes it.
    """

    setup: str
    values: Mapping[str, ParameterValue]
    overrides: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionMargin:
    """The least margin of one question of a check.

    Parameters
    ----------
    question : str
        As `check/question`; in a job the title of the operation before that.
    least : float
        In `unit`.
    unit : str
        As results name it.
    share : float or None
        The same as a share (`margin_share`); None where the limit is zero.
    """

    question: str
    least: float
    unit: str
    share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VariantRow:
    """What a variant came to.

    Parameters
    ----------
    key : str
        Of the variant, its files and this program: a row with the same key need not be worked out again.
    variant : Variant
    verdict : Verdict
    driver : str
        Id of the finding that decides: of the worst verdict, the one with the least margin.
    says : str
        What it says; why the variant is unknown.
    operation : str
        Of a job: the title of the operation that it is about; empty where it is about the whole.
    value, limit, margin : float or None
        Of that finding, in `unit`.
    margins : tuple of QuestionMargin
        The least margin of each question of a check; in a job of each operation.
    units : str
        What the set-up is shown in, `mm`, `inch` or `thou`; the numbers here are metric all the same.
    flip : bool
        Whether it was looked at to find where the verdict flips.
    sources : tuple of Source
        The files that it was read from; empty where it could not be checked.
    """

    key: str
    variant: Variant
    verdict: Verdict
    driver: str = ""
    says: str = ""
    operation: str = ""
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    margin: float | None = None
    margins: tuple[QuestionMargin, ...] = ()
    units: str = "mm"
    flip: bool = False
    sources: tuple[Source, ...] = ()

    @property
    def shares(self) -> tuple[float, ...]:
        """The margins as shares, the least first; empty where nothing has a limit."""
        return tuple(sorted(m.share for m in self.margins if m.share is not None))

    def least(self, telling: Collection[tuple[str, str]]) -> QuestionMargin | None:
        """Return the least margin, as a share, of questions that tell of a variant; None without one."""
        told = [m for m in self.margins if (self.variant.setup, m.question) in telling]
        return min(told, key=lambda m: math.inf if m.share is None else m.share, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flip:
    """How far a parameter can go from the best variant of a set-up before the verdict flips.

    Parameters
    ----------
    setup, parameter : str
        The set-up and the parameter.
    upward : bool
        Whether it goes toward the high end of its range.
    passes_at : float
        The last value that was checked and passes, in the unit of what is set.
    fails_at : float or None
        The first value that was checked and does not; None where all of the range that way passes.
    verdict : Verdict
        What it comes to there, or at the end of the range.
    passes_as : Verdict
        What it comes to at `passes_at`: a caution passes unless the study is strict.
    driver, says, operation : str
        Id of the finding that decides where it fails, what it says, and of a job the operation that it is
        about.
    """

    setup: str
    parameter: str
    upward: bool
    passes_at: float
    fails_at: float | None
    verdict: Verdict
    passes_as: Verdict = Verdict.GO
    driver: str = ""
    says: str = ""
    operation: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyFound:
    """What a study found.

    Parameters
    ----------
    study : Study
    rows : tuple of VariantRow
        Those of the sample in its order, then those that were looked at for flips.
    flips : tuple of Flip
    """

    study: Study
    rows: tuple[VariantRow, ...]
    flips: tuple[Flip, ...] = ()

    @property
    def sampled(self) -> tuple[VariantRow, ...]:
        """The rows of the sample."""
        return tuple(r for r in self.rows if not r.flip)

    @property
    def telling(self) -> frozenset[tuple[str, str]]:
        """The questions, each with its set-up, whose margin is not the same in all variants of the sample.

        What stays the same whatever is varied, as the guard of the machine, tells nothing of a variant.
        """
        seen: dict[tuple[str, str], set[float]] = {}
        rows: dict[str, int] = {}
        for row in self.sampled:
            setup = row.variant.setup
            rows[setup] = rows.get(setup, 0) + 1
            for margin in row.margins:
                if margin.share is not None:
                    seen.setdefault((setup, margin.question), set()).add(round(margin.share, _DECIMALS))
        return frozenset(key for key, shares in seen.items() if len(shares) > 1 or rows[key[0]] == 1)

    @property
    def best(self) -> VariantRow | None:
        """The first of the best variants in the order of the study; None where none passes."""
        return best_of(self.study, self.sampled)

    @property
    def verdict(self) -> Verdict:
        """That of the best variant; where none passes, no-go, or unknown while one may still pass."""
        if self.best is not None:
            return self.best.verdict
        unknown = any(r.verdict is Verdict.UNKNOWN for r in self.sampled)
        return Verdict.UNKNOWN if unknown else Verdict.NO_GO


def best_of(study: Study, rows: tuple[VariantRow, ...]) -> VariantRow | None:
    """Return the first of the best variants; None where none passes.

    Parameters
    ----------
    study : Study
        Says which verdicts pass.
    rows : tuple of VariantRow
        The variants to choose from.

    Returns
    -------
    VariantRow or None
    """
    return next(iter(all_best_of(study, rows)), None)


def all_best_of(study: Study, rows: tuple[VariantRow, ...]) -> tuple[VariantRow, ...]:
    """Return the passed variants with the greatest least margin, in their order.

    Where that is the same, the next least decides, and so on. One without any margin counts less than one
    with any.

    Parameters
    ----------
    study : Study
        Says which verdicts pass.
    rows : tuple of VariantRow
        The variants to choose from.

    Returns
    -------
    tuple of VariantRow
        Empty where none passes.
    """
    passed = [r for r in rows if study.passes(r.verdict)]
    ranks = [_rank(r) for r in passed]
    most = max(ranks, default=())
    return tuple(r for r, rank in zip(passed, ranks, strict=True) if rank == most)


def _rank(row: VariantRow) -> tuple[float, ...]:
    if not row.shares:
        return (-math.inf,)
    # Whoever has no further margin has none that is short.
    return (*(round(share, _DECIMALS) for share in row.shares), math.inf)


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
    key : str
        What the row is found again by.
    variant : Variant
        What was checked.
    verdict : Verdict
        That of the whole set-up or job.
    findings : sequence of Finding
        All of its result.
    sources : tuple of Source
        The files that it was read from.
    operations : mapping of str to str, optional
        Of a job, by the id of a finding: the title of the operation that it is about.
    units : str
        What the set-up is shown in: `mm`, `inch` or `thou`.

    Returns
    -------
    VariantRow
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
    """Return the row of a variant that could not be checked; which files that depends on is not known.

    Parameters
    ----------
    key : str
        What the row is found again by.
    variant : Variant
        What could not be checked.
    why : str
        The reason, as a sentence.

    Returns
    -------
    VariantRow
    """
    return VariantRow(key=key, variant=variant, verdict=Verdict.UNKNOWN, says=why)


def margin_share(finding: Finding) -> float | None:
    """Return how far a finding is on the good side of its limit, as a share of it; None without a limit.

    What is at most a whole cannot go further than that: 100 % where 99.9 % are asked is all that there is to
    spare, and a share of 1.

    Parameters
    ----------
    finding : Finding
        One with or without a margin and a limit.

    Returns
    -------
    float or None
        None too for a limit of zero.
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
