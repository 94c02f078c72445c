"""For pytest: set-ups are collected as tests, one for each check, with the check's sentence as the failure.

A whole job has one more, for what is asked across its operations.

Collected are files named `*.setup.toml`, and the scripts and files that `fixturecheck_setups` in the
configuration lists. A shortfall that is known is an expected failure: listed by id in `fixturecheck_known`,
marked `known_shortfall`, or in the file `NAME.known.json` beside the set-up, as `fixturecheck compare
--write-baseline` writes it. Nothing heavy is imported before a check runs.
"""

from __future__ import annotations

from collections.abc import Iterable
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import pytest

from fixturecheck.checks import MODULES
from fixturecheck.comparing.model import Baseline, read_baseline
from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.files import SETUP_SUFFIXES
from fixturecheck.process.found import Found, checked, failure_lines, found_in
from fixturecheck.process.text import is_job
from fixturecheck.result.finding import Finding, Verdict

PATTERN = "*.setup.toml"
SETUPS, KNOWN, STRICT = "fixturecheck_setups", "fixturecheck_known", "fixturecheck_strict"
MARK = "known_shortfall"

_MET = pytest.StashKey[set[str]]()
"""Of a run: the patterns that some file met so far."""
_OF_THE_SETUP = "describe"
"""What is doubtful in what was stated; it is asked with every check."""
_ACROSS = "across"
"""All that is asked across the operations of a job."""


class CheckFailedError(AssertionError):
    """Findings of one check that are not go and not known.

    Parameters
    ----------
    found : Found
        What was found of the set-up.
    findings : list of Finding
        All of them.
    """

    def __init__(self, found: Found, findings: list[Finding]) -> None:
        super().__init__("\n".join(failure_lines(found, findings)))
        self.findings = findings


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add what the configuration may state.

    Parameters
    ----------
    parser : Parser
        That of pytest; the keys are added to it.
    """
    parser.addini(
        SETUPS, f"set-ups to collect besides {PATTERN}: files or patterns, a line each", type="linelist"
    )
    parser.addini(KNOWN, "ids of findings that are known and let stand, or patterns of them", type="linelist")
    parser.addini(STRICT, "whether cautions fail, too", type="bool", default=False)


def pytest_configure(config: pytest.Config) -> None:
    """State the markers.

    Parameters
    ----------
    config : Config
        That of the run.
    """
    config.stash[_MET] = set()
    config.addinivalue_line("markers", "fixturecheck: a check of a set-up")
    config.addinivalue_line("markers", f"{MARK}(id, ...): ids of findings that are known and let stand")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Collect a set-up.

    Parameters
    ----------
    file_path : Path
        A file that pytest came upon.
    parent : Collector
        What collects its folder.

    Returns
    -------
    SetupFile or None
        None where it is no set-up, or matches none of the patterns.
    """
    config = parent.config
    listed = (PATTERN, *config.getini(SETUPS))
    if file_path.suffix.lower() not in SETUP_SUFFIXES:
        return None
    here = file_path.relative_to(config.rootpath) if file_path.is_relative_to(config.rootpath) else file_path
    met = {pattern for pattern in listed if here.match(pattern)}
    config.stash[_MET] |= met
    return SetupFile.from_parent(parent, path=file_path) if met else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(
    session: pytest.Session, config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Add a test that fails for each listed pattern that no file meets, where the whole project is seen.

    A set-up that was moved would else be checked no more, and nobody would hear of it. Where files are named,
    or the run begins in a folder of the project, what is listed may lie elsewhere.

    Parameters
    ----------
    session : Session
        The run.
    config : Config
        Its configuration.
    items : list of Item
        What was collected; it is added to.
    """
    below = config.args_source is config.ArgsSource.INVOCATION_DIR and (
        config.invocation_params.dir.resolve() != config.rootpath.resolve()
    )
    if below or config.args_source is config.ArgsSource.ARGS:
        return
    unmet = [pattern for pattern in config.getini(SETUPS) if pattern not in config.stash[_MET]]
    items += [UnmetPattern.from_parent(session, name=f"{SETUPS}: {pattern}") for pattern in unmet]


class UnmetPattern(pytest.Item):
    """A pattern of the configuration that no file meets."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.add_marker(pytest.mark.fixturecheck)

    def runtest(self) -> None:
        """Fail.

        Raises
        ------
        SetupError
            Says what to do.
        """
        raise SetupError(f"{self.name}: no set-up that pytest looks at is called so; mend it, or take it out")

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *_: Any, **__: Any) -> Any:
        """Return what is shown: the sentence, without a trace."""
        return str(excinfo.value)


class SetupFile(pytest.File):
    """A set-up or a job, which is checked once for all its tests."""

    _answer: Found | FixturecheckError | None = None

    def collect(self) -> Iterable[pytest.Item]:
        """Yield a test for each check."""
        # What a script leaves is known once it has run.
        across = (_ACROSS,) if self.path.suffix.lower() == ".py" or is_job(self.path) else ()
        for name in (_OF_THE_SETUP, *MODULES, *across):
            yield CheckItem.from_parent(self, name=name)

    def result(self) -> Found:
        """Return what the check found.

        Raises
        ------
        FixturecheckError
            It could not be checked.
        """
        if self._answer is None:
            try:
                self._answer = found_in(checked(self.path))
            except FixturecheckError as trouble:
                self._answer = trouble
        if isinstance(self._answer, FixturecheckError):
            raise self._answer
        return self._answer

    def baseline(self, result: Found) -> Baseline | None:
        """Return the known shortfalls that lie beside the set-up.

        Raises
        ------
        SetupError
            The file is no baseline, or one of another set-up.
        """
        name = self.path.name
        for ending in (".setup.toml", self.path.suffix):
            if name.endswith(ending):
                beside = self.path.with_name(f"{name.removesuffix(ending)}.known.json")
                if beside.is_file():
                    return read_baseline(
                        beside.read_bytes(), beside.name, setup=result.name, file=self.path.name
                    )
        return None


class CheckItem(pytest.Item):
    """One check of a set-up."""

    parent: SetupFile

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.add_marker(pytest.mark.fixturecheck)

    def runtest(self) -> None:
        """Ask the check; skip where the set-up does not ask it, expect to fail where all that fails is known.

        Raises
        ------
        CheckFailedError
            Something is not go and not known.
        """
        result = self.parent.result()
        silent = next((n for n in result.not_asked if n.check == self.name), None)
        own = (_OF_THE_SETUP, *MODULES)
        mine = [
            f
            for f in result.findings
            if f.check == self.name or (self.name == _ACROSS and f.check not in own)
        ]
        if self.name == _ACROSS and not mine:
            pytest.skip("a set-up has nothing to ask across operations")
        if silent is not None and not mine:
            pytest.skip(f"{silent.reason}: {silent.lacks}" if silent.lacks else str(silent.reason))
        strict = self.config.getini(STRICT)
        passing = {Verdict.GO} if strict else {Verdict.GO, Verdict.CAUTION}
        short = [f for f in mine if f.verdict not in passing]
        new = [f for f in short if not self._is_known(f, result)]
        if new:
            raise CheckFailedError(result, new)
        if short:
            pytest.xfail(f"known: {', '.join(f.id for f in short)}")

    def _is_known(self, finding: Finding, result: Found) -> bool:
        marked = (str(name) for mark in self.iter_markers(MARK) for name in mark.args)
        if any(fnmatchcase(finding.id, one) for one in (*self.config.getini(KNOWN), *marked)):
            return True
        known = self.parent.baseline(result)
        return known is not None and known.lets_stand(finding)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *args: Any, **more: Any) -> Any:
        """Return what is shown of a failure: sentences, without a trace."""
        trouble = excinfo.value
        if isinstance(trouble, CheckFailedError):
            return str(trouble)
        if isinstance(trouble, SetupError):
            return "\n".join(trouble.problems)
        if isinstance(trouble, FixturecheckError):
            return str(trouble)
        return super().repr_failure(excinfo, *args, **more)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Return where the test stands: the set-up's file."""
        return self.path, 0, f"{self.path.name}: {self.name}"
