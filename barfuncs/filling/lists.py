"""A list of jobs: read from CSV or xlsx, planned row by row, with one file for each and a table of results."""

import collections
import contextlib
import dataclasses
import datetime
import errno
import hashlib
import itertools
import json
import re
import signal
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import barfuncs
from barfuncs.catalogue import materials
from barfuncs.catalogue.reading import read_text
from barfuncs.errors import BarfuncsError, InputError, WorkbookError
from barfuncs.filling import folder
from barfuncs.filling.filler import names_of
from barfuncs.filling.headings import Headings, Names, is_blank, read_headings, row_of_headings
from barfuncs.filling.list_file import read_rows
from barfuncs.filling.one_row import Answer, OwnMaterials, Setup, Task
from barfuncs.filling.quotation_files import ENDS, files_of, free_stem
from barfuncs.filling.quoted import Source, quotation_of
from barfuncs.filling.record import (
    REQUOTE_FILES,
    RESULT_FILES,
    RUN,
    Entry,
    Lack,
    Line,
    Record,
    Sent,
    digest_at,
    digest_of,
)
from barfuncs.filling.results import result_files
from barfuncs.filling.stopping import Stopping
from barfuncs.filling.workers import ROWS_IN_A_CHUNK, Crew, WorkersGone, processes, work_here, work_in
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Shop
from barfuncs.text.characters import in_words, unfit
from barfuncs.xlsx.engine import column_letters
from barfuncs.xlsx.package import TEMPORARY, Staged, is_read_only, write_whole
from barfuncs.xlsx.sheetxml import CellError, Value

MOST_ROWS = 20_000


@dataclass(frozen=True)
class Job:
    """One row of a list: where it stands, what it says, and why its cells can't be told apart (or nothing).

    One that is an older quote brings along materials of its `own`, a `stem` that its file is called by, and how its prices
    `compared` (`Entry.compared`).
    """

    row: int
    values: dict[str, Any]
    problem: str = ""
    own: OwnMaterials = ()
    stem: str = ""
    compared: str = ""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with a list: file, row (0 for the list as a whole), column, value, reason."""

    file: str
    row: int
    column: str
    value: str
    reason: str


@dataclass(frozen=True)
class Stale:
    """A workbook of an earlier run that does not go with the list any more: why, and where it was moved, if it was."""

    file: str
    why: str
    moved_to: str = ""


class Done(NamedTuple):
    """A row whose workbook was written: where it stands in the list, the file, and its line in the results."""

    row: int
    file: str
    values: Mapping[str, Value]


@dataclass
class Outcome:
    """What became of a list: the rows that are done, and the problems. The workbooks are in the folder, not in here.

    `unchanged` are the (row, file name) whose workbook was there already, made from the same; `copies` says how many
    customer's copies were written. `stale` are workbooks that do not go with the list any more, `of_other_lists` counts
    those that other lists made, `listed` all in the results. `by_hand` are workbooks that somebody changed since, each with the file for
    the customer that says what the list says, or "". `stopped` says why the rest of the list was left;
    `taken_as_inch` that bare numbers were read as inch since nothing said what they are in.
    """

    done: list[Done] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    unchanged: list[tuple[int, str]] = field(default_factory=list)
    stale: list[Stale] = field(default_factory=list)
    of_other_lists: dict[str, int] = field(default_factory=dict)
    by_hand: dict[str, str] = field(default_factory=dict)
    copies: int = 0
    total: int = 0
    listed: int = 0
    stopped: str = ""
    results_written: bool = False
    taken_as_inch: bool = False


class Interrupted(KeyboardInterrupt):
    """Ctrl-C, or a request to end, while a list is planned. The results of what is done are written; `outcome` says what
    that is, `signal` the number of what came.
    """

    def __init__(self, outcome: Outcome, number: int = signal.SIGINT) -> None:
        self.outcome, self.signal = outcome, number
        super().__init__()


class Jobs(list[Job]):
    """The jobs of a list, and in `notes` what of it was left out: titles above the headings, totals, columns that are no
    inputs."""

    notes: tuple[Problem, ...] = ()


_HEADINGS_WITHIN = 20
"""Rows in which the headings are looked for, blank ones not counted."""
_TOTAL = re.compile(r"(?:(?:grand|sub)[ -]?)?(?:totals?|sums?)"
                    r"(?: (?:parts|pcs|pieces|qty|quantity|jobs|orders|bars|weight|hours|amount|cost))?:?", re.IGNORECASE)
_AMOUNT = re.compile(r"[-+(]?[$€£]? ?\.?[0-9][0-9.,' ]*[%)]?")


def read_jobs(path: str | Path, template: str = "job_plan") -> Jobs:
    """Read a list of jobs for a template; a row near its beginning names the inputs, by name, label or everyday name.

    One list serves all templates: columns of another template are left aside, and a quote takes `quantity` for its first.

    Raises InputError for headings that can't be used (with what to write instead), WorkbookError for a file that can't be
    read.
    """
    return read_listed(Path(path), names_of(template))


def read_listed(path: Path, called: Names) -> Jobs:
    """The rows of a list whose columns are `called` so. Raises as `read_jobs` does."""
    rows = ((number, cells) for number, cells in read_rows(path) if not all(map(is_blank, cells)))
    first = list(itertools.islice(rows, _HEADINGS_WITHIN))
    if not first:
        raise WorkbookError(f"{path.name} is empty: the first row must name the inputs")
    at = row_of_headings(called, [cells for _, cells in first])
    headings = read_headings(path.name, called, first[at][1])
    notes = [_left_out(path.name, number, cells, f"above the headings in row {first[at][0]}") for number, cells in first[:at]]
    if headings.aside:
        few = ", ".join(headings.aside[:_MOST_COLUMNS_NAMED]) + (", ..." if len(headings.aside) > _MOST_COLUMNS_NAMED else "")
        notes.append(Problem(path.name, first[at][0], "", few, f"{_columns(len(headings.aside))} left out: no input is called so"))
    jobs = Jobs()
    last: collections.deque[tuple[Job, list[Any]]] = collections.deque(maxlen=_MOST_TOTALS)
    for number, cells in itertools.chain(first[at + 1:], rows):
        if cells == first[at][1]:
            notes.append(_left_out(path.name, number, cells, "the headings once more"))
            continue
        values, problem = headings.values(cells)
        jobs.append(Job(number, values, _shifted(headings, cells) or problem or _unfit(values)))
        last.append((jobs[-1], cells))
        if len(jobs) > MOST_ROWS:
            raise WorkbookError(f"{path.name} has more than {MOST_ROWS:,} rows; split it")
    while last and _is_total(*last[-1], called):
        job, cells = last.pop()
        notes.append(_left_out(path.name, job.row, cells, "a total of the rows above"))
        jobs.pop()
    if not jobs:
        raise WorkbookError(f"{path.name} has no jobs, only the row with the names")
    jobs.notes = tuple(sorted((*notes, *_doubled(path.name, jobs)), key=lambda note: note.row))
    return jobs


_MOST_TOTALS, _MOST_COLUMNS_NAMED = 5, 20


def _doubled(file: str, jobs: Iterable[Job]) -> list[Problem]:
    """Rows that say the same as one above: a slip, or the order came twice."""
    first: dict[bytes, int] = {}
    notes = []
    for job in jobs:
        said = sorted((name, str(value).strip()) for name, value in job.values.items() if not is_blank(value))
        above = first.setdefault(hashlib.sha256(repr(said).encode("utf-8", "backslashreplace")).digest(), job.row)
        if above != job.row:
            name = str(job.values.get("job") or "").strip()
            notes.append(Problem(file, job.row, "", name[:60] or "-", f"says the same as row {above}, and is planned once more"))
    return notes


def _left_out(file: str, row: int, cells: Sequence[Any], why: str) -> Problem:
    texts = [str(cell).strip() for cell in cells if not is_blank(cell)]
    return Problem(file, row, "", " | ".join(texts)[:60], f"left out: {why}")


def _columns(number: int) -> str:
    return f"{number:,} column" + ("s" if number > 1 else "")


def _shifted(headings: Headings, cells: Sequence[Any]) -> str:
    """Why the cells of a row may have shifted against the headings. Such a row is refused and not read."""
    filled = [n for n, cell in enumerate(cells) if not is_blank(cell)]
    if filled[-1] >= len(headings.columns):
        return "the row has more cells than there are headings"
    nameless = [column_letters(n + 1) for n in filled if not headings.columns[n].name]
    return f"has a value in column {', '.join(nameless[:5])}, which has no heading" if nameless else ""


def _unfit(values: Mapping[str, Any]) -> str:
    """What no workbook can hold."""
    found = ((name, unfit(value)) for name, value in values.items() if isinstance(value, str))
    return next((f"{name} has the character {character}, which can't be seen and which no workbook can hold; remove it"
                 for name, character in found if character), "")


def _is_total(job: Job, cells: Sequence[Any], called: Names) -> bool:
    """Whether a row says Total and numbers, and is too little for a job."""
    filled = [cell for cell in cells if not is_blank(cell)]
    return bool(not called.needed <= job.values.keys() and isinstance(filled[0], str) and _TOTAL.fullmatch(filled[0].strip())
                and all(isinstance(c, (int, float, CellError)) or (isinstance(c, str) and _AMOUNT.fullmatch(c.strip()))
                        for c in filled[1:]))


_CHOOSE = "allow replacing (--replace) or choose another folder"
_TAKEN = f"exists already; {_CHOOSE}"
_CHANGED = f"exists already, made from other values or with another shop file or version; {_CHOOSE}"
_HAND = "changed by hand since"
_OTHER = "the list has other values now"
_BAD = "its row has problems now"
_RENAMED = "its job has another name now"
_GONE = "not in the list any more"
_OTHER_LINES = "has other lines now"
_NOT_WHOLE = "one of its lines is not ready now"


def plan_jobs(jobs: Iterable[Job], out: str | Path, *, template: str = "job_plan", source: str = "jobs",
              units: str | None = None, decimal_comma: bool = False, replace: bool = False,
              table: materials.Materials | None = None, shop: Shop | None = None,
              progress: Callable[[], None] | None = None, tell: Callable[[str], None] | None = None,
              workers: int = 1, executor: Executor | None = None, resume: bool = False) -> Outcome:
    """Fill one workbook for each job, then write results.csv and results.xlsx, which list all workbooks of the folder. Bad
    rows are listed, good rows are done, and rows whose workbook is there already, made from the same, are left alone.

    Parameters
    ----------
    tell : callable, optional
        Gets a sentence when another run holds the folder and this one waits for it.
    workers : int
        Processes that fill and calculate; this one then writes what they send. They are started anew on every system, so a
        script needs its `if __name__ == "__main__":`.
    executor : concurrent.futures.Executor, optional
        Works instead of processes of our own, with as many chunks of rows under way as `workers` (but at least 8) need: a
        pool of threads or processes, or a cluster's, such as `distributed.Client(...).get_executor()`. It is not shut down.
    resume : bool
        Go on where an earlier run stopped: a row that says the same as when its workbook was made is not read again.

    Raises Interrupted on Ctrl-C or a request to end, after writing the results of what is done, and WorkbookError where
    the folder can't be used.
    """
    if workers < 1:
        raise InputError("plan_jobs", [("workers", f"{workers} given; allowed is 1 or more")])
    out = Path(out)
    jobs = list(jobs)
    outcome = Outcome(total=len(jobs))
    setup = Setup(template, shop, table or materials.active(), units, decimal_comma)
    with Stopping() as stopping:
        try:
            with folder.held(out, tell):
                plan = _Planner(setup, out, source, replace, resume, outcome, stopping)
                try:
                    with _crew(setup, len(jobs), workers, executor, stopping) as crew:
                        plan.plan_all(jobs, progress, crew)
                    plan.put_quotations(jobs)
                except OSError as error:  # a full disk: the rows that follow would fail alike
                    outcome.stopped = f"stopped: {error.strerror or error}"
                except WorkersGone as error:
                    outcome.stopped = f"stopped: {error}; run the list again for the rest"
                except KeyboardInterrupt:
                    outcome.stopped = "interrupted"
                with stopping.held():
                    plan.finish()
        except KeyboardInterrupt:
            outcome.stopped = "interrupted"
    if outcome.stopped == "interrupted":
        raise Interrupted(outcome, stopping.signal or signal.SIGINT)
    return outcome


_LEAST_IN_AN_EXECUTOR = 8


def _crew(setup: Setup, rows: int, workers: int, executor: Executor | None, stopping: Stopping) -> contextlib.AbstractContextManager[Crew]:
    if executor is not None:
        return contextlib.nullcontext(
            lambda tasks: work_in(executor, setup, tasks, max(workers, _LEAST_IN_AN_EXECUTOR), stopping))
    workers = min(workers, -(-rows // ROWS_IN_A_CHUNK))
    if workers > 1:
        return processes(setup, workers, stopping)
    return contextlib.nullcontext(lambda tasks: work_here(setup, tasks))


class _Planner:
    """Plans the rows of one list into one folder, which it has to itself. Others do the work, it alone writes."""

    def __init__(self, setup: Setup, out: Path, source: str, replace: bool, resume: bool, outcome: Outcome, stopping: Stopping) -> None:
        self.setup, self.out, self.source = setup, out, source
        self.replace, self.resume, self.outcome, self.stopping = replace, resume, outcome, stopping
        self.record = Record.read(out)
        self.run = datetime.datetime.now().isoformat(" ", "seconds")
        self.names: dict[int, str] = {}
        self.metric: int | None = None
        """The first row in metric units, as far as known."""
        self.waiting: list[Job] = []
        """Rows with bare numbers and no word on their unit, until all rows were looked at."""
        self.not_placed: set[int] = set()
        """Rows whose workbook could not be written."""
        self.sorted_out = False
        other = next((e for e in self.record.entries.values() if e.template != setup.template), None)
        if other is not None:
            raise WorkbookError(f"{out} holds workbooks of the template {other.template} ({other.file}); choose another "
                                f"folder for {setup.template}")

    def problem(self, row: int, reason: str, column: str = "", value: Any = None) -> None:
        self.outcome.problems.append(Problem(self.source, row, column, value_shown(value), reason))

    def refuse(self, job: Job, problems: Iterable[tuple[str, str]]) -> None:
        for column, reason in problems:
            value = job.values.get(column)
            if not self.setup.decimal_comma and isinstance(value, str) and re.search(r"\d,\d", value) and "a comma" in reason:
                reason += " (--decimal-comma reads 12,5 as twelve and a half)"
            self.problem(job.row, reason, column, value)

    def plan_all(self, jobs: Sequence[Job], progress: Callable[[], None] | None, crew: Crew) -> None:
        folder.reserve(self.out, len(jobs) + len(self.record.entries))
        taken, naming = {*RESULT_FILES, *REQUOTE_FILES, self.source.casefold()}, TEMPLATES[self.setup.template].names_file
        self.names = {job.row: _file_name(job.values, naming, job.row, taken, job.stem) for job in jobs}
        by_row = {job.row: job for job in jobs}
        self.record.lacks = {file: lack for file, lack in self.record.lacks.items() if lack.list != self.source}
        for job in jobs:  # until it is there, its quotation is not whole
            if number := self.number_of(job):
                self.record.lacks[self.names[job.row].casefold()] = Lack(self.names[job.row], number, self.source, job.row)
        self.metric = next((job.row for job in jobs if says_mm(job)), None)
        ended = progress or (lambda: None)
        with contextlib.closing(crew(self.tasks(jobs, ended))) as answers:
            for answer in answers:
                if self.take(by_row[answer.row], answer):
                    ended()
        self.outcome.taken_as_inch = bool(self.waiting) and self.metric is None
        waiting, self.waiting = sorted(self.waiting, key=lambda job: job.row), []
        if self.metric is not None:
            for job in waiting:
                self.problem(job.row, f"nothing says whether the numbers are inch or mm, and row {self.metric} is in mm: fill in "
                                      "the column units, or give --units", "units")
                ended()
            return
        with contextlib.closing(crew(self.tasks(waiting, ended, settled=True))) as answers:
            for answer in answers:
                self.take(by_row[answer.row], answer)
                ended()

    def tasks(self, jobs: Iterable[Job], ended: Callable[[], None], settled: bool = False) -> Iterator[Task]:
        """The rows that need work."""
        for job in jobs:
            if job.problem:
                self.problem(job.row, job.problem)
                ended()
                continue
            before = self.record.find(self.names[job.row])
            kept = before if before is not None and self.is_there(before) else None
            if kept is not None and self.resume and kept.said == self.setup.said_by(job.values, job.own):
                self.note_metric(job, str(kept.values.get("units")))
                if kept.as_inch and not settled:
                    self.waiting.append(job)
                else:
                    self.keep(job, kept)
                    ended()
                continue
            yield Task(job.row, job.values, kept.made_from if kept else "", settled, job.own)

    def note_metric(self, job: Job, units: str) -> None:
        if units == "mm" and (self.metric is None or job.row < self.metric):
            self.metric = job.row

    def take(self, job: Job, answer: Answer) -> bool:
        """Do with an answer what it asks for; False where the row has to wait for the others."""
        self.note_metric(job, answer.units)
        if answer.waits:
            self.waiting.append(job)
            return False
        before = self.record.find(self.names[job.row])
        if answer.problems:
            self.refuse(job, answer.problems)
        elif not answer.data and before is not None:
            self.keep(job, dataclasses.replace(before, said=answer.said, as_inch=answer.as_inch))
        else:
            self.write(job, answer, before)
        return True

    def keep(self, job: Job, before: Entry) -> None:
        """Leave the workbook that is there alone."""
        note = _HAND if self.record.found.get(before.file.casefold()) != before.digest else ""
        self.record.set(dataclasses.replace(before, list=self.source, row=job.row, note=note, compared=job.compared))
        self.outcome.unchanged.append((job.row, before.file))

    def write(self, job: Job, answer: Answer, before: Entry | None) -> None:
        name = before.file if before else self.names[job.row]  # one spelling, also where A and a are two files
        values = Line(answer.values)
        entry = Entry(name, self.setup.template, self.source, job.row, self.run, answer.made_from, answer.but_name,
                      answer.digest, values, f"Quotation {name}" if answer.copy else "", answer.copy_digest,
                      said=answer.said, as_inch=answer.as_inch, number=answer.number, quoted=answer.quoted,
                      compared=job.compared)
        try:
            with self.stopping.held():
                self.place(entry, answer.data, answer.copy)
                self.outcome.done.append(Done(job.row, name, values))
                self.outcome.copies += bool(answer.copy)
        except FileExistsError:
            self.not_placed.add(job.row)
            self.problem(job.row, f"{name} {_CHANGED if before else _TAKEN}")
        except OSError as error:
            self.not_placed.add(job.row)
            self.problem(job.row, f"{name} can't be written ({error.strerror or error})")
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise

    def is_there(self, entry: Entry) -> bool:
        """Whether workbook and copy are there; with leave to replace, as they were written."""
        found_first = self.record.found.get(entry.file.casefold())
        files = [(path, digest, found_first if n == 0 and found_first else digest_at(path))
                 for n, (path, digest) in enumerate(self.files_of(entry))]
        return all(found and (found == digest or not self.replace) for _, digest, found in files)

    def files_of(self, entry: Entry) -> list[tuple[Path, str]]:
        """The workbook and the customer's copy, each with its digest."""
        copy = [(self.out / folder.FOR_CUSTOMER / entry.copy, entry.copy_digest)] if entry.copy else []
        return [(self.out / entry.file, entry.digest), *copy]

    def place(self, entry: Entry, *contents: bytes) -> None:
        """Write the workbook and the customer's copy. What stands in their place and is not of our making is moved aside.

        Raises FileExistsError where something stands there and must not be replaced.
        """
        before = self.record.find(entry.file)
        known = {before.digest, before.copy_digest} if before else set()
        new = [(path, content, found) for (path, digest), content in zip(self.files_of(entry), contents, strict=False)
               if (found := digest_at(path)) != digest]
        if not self.replace and any(found for *_, found in new):
            raise FileExistsError
        staged: list[Staged] = []
        try:
            for path, content, found in new:
                path.parent.mkdir(exist_ok=True)
                staged.append(Staged(path, content, replace=found in known, beginning=RUN))
                if found and is_read_only(path):
                    raise PermissionError(errno.EACCES, "the file is read-only")
            self.record.announce(entry)
            for number in {entry.number, before.number if before else ""} - {""}:
                self.withdraw(number, _OTHER_LINES)
            if before and before.copy and before.copy != entry.copy:
                self.take_away(self.out / folder.FOR_CUSTOMER / before.copy, {before.copy_digest})
            for path, _, found in reversed(new):
                if found:
                    self.take_results_away()
                    # The copy first: an old one must not be there beside a new workbook, even if the run ends here.
                    if found not in known:
                        folder.move_aside(path, self.out / folder.OLD)
                    elif path.parent != self.out:
                        path.unlink()
            for file in staged:
                file.place()
        finally:
            for file in staged:
                file.drop()
        self.record.set(entry)

    def take_results_away(self) -> None:
        """Before anything changes that the results tell of: were the run to end here, they would be wrong."""
        for name, known in self.record.results.items():
            path = self.out / name
            with suppress(OSError):  # another program may have it open; that it can't be written is said at the end
                if digest_at(path) in known and not is_read_only(path):
                    path.unlink()

    def finish(self) -> None:
        """Name or move aside what does not go with the list any more, and write the results of all that is there."""
        folder.release(self.out)
        if not self.outcome.stopped and not self.sorted_out:
            self.sort_out()
        entries = self.record.in_order()
        self.outcome.problems.sort(key=lambda problem: problem.row)
        self.outcome.done.sort(key=lambda done: done.row)
        self.outcome.unchanged.sort()
        self.outcome.listed = len(entries)
        self.outcome.by_hand = {entry.file: entry.sent or entry.copy for entry in entries if self.is_by_hand(entry)}
        if entries:
            for name, data in result_files(entries):
                self.write_result(name, data)
        with suppress(OSError):
            self.record.save()
        with suppress(OSError):
            (self.out / folder.FOR_CUSTOMER).rmdir()  # where it is empty

    def is_by_hand(self, entry: Entry) -> bool:
        """Whether a workbook is not as it was made: one of this list, or a line of a quotation."""
        if entry.list == self.source:
            return entry.note == _HAND
        return bool(entry.sent) and self.record.found.get(entry.file.casefold(), entry.digest) != entry.digest

    def sort_out(self) -> None:
        good = {name.casefold() for _, name, _ in self.outcome.done} | {name.casefold() for _, name in self.outcome.unchanged}
        rows = {name.casefold(): row for row, name in self.names.items()}
        alike = {self.record.entries[key].but_name for key in good}
        for entry in self.record.in_order():
            key = entry.file.casefold()
            if key in good:
                continue
            if key in rows:
                why = _OTHER if rows[key] in self.not_placed else _BAD
            elif entry.list != self.source:
                self.outcome.of_other_lists[entry.list] = self.outcome.of_other_lists.get(entry.list, 0) + 1
                continue
            else:
                why = _RENAMED if entry.but_name in alike and entry.but_name else _GONE
            moved = self.replace and why in (_BAD, _RENAMED) and self.move_aside(entry)
            if not moved:
                self.record.set(dataclasses.replace(entry, note=why))
            if why != _OTHER:  # which is among the problems
                self.outcome.stale.append(Stale(entry.file, why, f"{folder.OLD}/{entry.file}" if moved else ""))

    def number_of(self, job: Job) -> str:
        """The quote number of a row that may have mistakes."""
        says = TEMPLATES[self.setup.template].for_customer
        try:
            return read_text(job.values.get(says.number) or "") if says else ""
        except BarfuncsError:
            return ""

    def put_quotations(self, jobs: Sequence[Job]) -> None:
        """Write one quotation for each quote number whose rows are all there, and take those away that do not hold any more."""
        if TEMPLATES[self.setup.template].for_customer is None:
            return
        with self.stopping.held():
            self.sort_out()
            self.sorted_out = True
        good = {name.casefold() for _, name, _ in self.outcome.done} | {name.casefold() for _, name in self.outcome.unchanged}
        self.record.lacks = {file: lack for file, lack in self.record.lacks.items() if file not in good}
        lines: dict[str, list[Entry]] = {}
        waiting: dict[str, list[Lack]] = {}
        for entry in self.record.in_order():
            if entry.number:
                lines.setdefault(entry.number.casefold(), []).append(entry)
        for lack in self.record.lacks.values():
            waiting.setdefault(lack.number.casefold(), []).append(lack)
        numbers = {key: next(told.number for known in (lines, waiting, self.record.sent) for told in known.get(key, ()))
                   for key in {*lines, *waiting, *self.record.sent}}
        taken = {Path(entry.copy).stem.casefold() for entry in self.record.entries.values() if entry.copy}
        for key, number in sorted(numbers.items()):
            stem = free_stem(safe_name(number), taken)
            with self.stopping.held():
                self.put_quotation(number, stem, lines.get(key, []), waiting.get(key, []))

    def put_quotation(self, number: str, stem: str, entries: Sequence[Entry], waits: Sequence[Lack]) -> None:
        """Write one quotation, unless a row that it waits for is not there or one of its workbooks does not hold."""
        lines = [entry for entry in entries if entry.note in ("", _HAND)]
        unsure = [entry for entry in entries if entry.note in (_BAD, _OTHER)] + [entry for entry in lines if not entry.quoted]
        if not lines and not waits and (unsure or entries):
            return  # of an earlier list, which speaks for itself
        there = {sent.sent: sent for sent in self.record.sent.get(number.casefold(), ())
                 if digest_at(self.out / folder.FOR_CUSTOMER / sent.sent) == sent.digest}
        if waits or unsure:
            kept = [entry for entry in entries if entry.note in ("", _HAND, _OTHER)]
            if there and kept and {sent.made_from for sent in there.values()} == {self.made_from(kept)}:
                return  # nothing of it has changed but in the list, whose rows wait for leave to replace
            self.withdraw(number, _NOT_WHOLE)
            why = {lack.lacks: lack.row if lack.list == self.source else 0 for lack in waits}
            for file, row in ({entry.file: entry.row if entry.list == self.source else 0 for entry in unsure} | why).items():
                self.problem(row, f"the quotation is not written, since {file} is not ready", "quote_number", number)
            return
        if not lines:
            self.withdraw(number, _GONE)
            return
        made_from = self.made_from(lines)
        if there and {sent.made_from for sent in there.values()} == {made_from} and {f"{stem}{end}" for end in ENDS} == set(there):
            self.note_sent(lines, f"{stem}.xlsx")
            return
        try:
            quotation = quotation_of([Source(entry.file, json.loads(entry.quoted)) for entry in lines],
                                     self.setup.shop.letterhead if self.setup.shop else None, number)
            contents = {f"{stem}{end}": data for end, data in files_of(quotation).items()}
        except InputError as error:
            self.withdraw(number, _NOT_WHOLE)
            row = next((entry.row for entry in lines if entry.list == self.source), 0)
            for what, reason in error.problems:
                self.problem(row, f"the quotation {number} is not written: {what} {reason}", "quote_number", number)
            return
        try:
            self.place_quotation(number, made_from, contents)
            self.note_sent(lines, f"{stem}.xlsx")
            self.outcome.copies += 1
        except FileExistsError as error:
            self.problem(0, f"{error} {_TAKEN}")
        except OSError as error:
            self.problem(0, f"{stem}.xlsx can't be written ({error.strerror or error})")
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise

    def made_from(self, lines: Sequence[Entry]) -> str:
        letterhead = repr(self.setup.shop.letterhead) + digest_of(self.setup.shop.letterhead.picture or b"") if self.setup.shop else ""
        return digest_of(json.dumps([barfuncs.__version__, letterhead, [entry.quoted for entry in lines]]).encode())

    def note_sent(self, lines: Sequence[Entry], file: str) -> None:
        for entry in lines:
            self.record.set(dataclasses.replace(self.record.entries[entry.file.casefold()], sent=file))

    def place_quotation(self, number: str, made_from: str, contents: Mapping[str, bytes]) -> None:
        """Write the files of a quotation, all or none. What stands in their place goes into the folder for old ones first, but for
        our own with leave to replace. Raises FileExistsError where something else stands there and must not be replaced."""
        place = self.out / folder.FOR_CUSTOMER
        place.mkdir(exist_ok=True)
        for name in contents:
            if (found := digest_at(place / name)) and not self.replace and found not in self.known_of(name):
                raise FileExistsError(name)
        self.withdraw(number, _OTHER_LINES)
        for name, data in contents.items():
            self.take_away(place / name, self.known_of(name))
            self.record.announce_sent(Sent(name, number, digest_of(data), made_from))
        place_together({place / name: data for name, data in contents.items()}, beginning=RUN)

    def known_of(self, name: str) -> set[str]:
        """The digests that a file of a quotation may have without a hand in it."""
        return self.record.digests.get(name.casefold(), set())

    def withdraw(self, number: str, why: str) -> None:
        """Take away the files of a quotation that does not hold any more."""
        place = self.out / folder.FOR_CUSTOMER
        names = [name for name in dict.fromkeys(sent.sent for sent in self.record.sent.get(number.casefold(), ())) if digest_at(place / name)]
        for name in names:
            moved = self.take_away(place / name, self.known_of(name))
            if moved:
                self.outcome.stale.append(Stale(f"{folder.FOR_CUSTOMER}/{name}", why, f"{folder.OLD}/{moved.name}"))
        for entry in list(self.record.entries.values()) if names else ():
            if entry.sent in names:
                self.record.set(dataclasses.replace(entry, sent=""))

    def take_away(self, path: Path, known: AbstractSet[str]) -> Path | None:
        """Take a file away that was sent or may have been: with leave to replace, if it is of our making; else it is moved to the old ones."""
        found = digest_at(path)
        if not found:
            return None
        if is_read_only(path):
            raise PermissionError(errno.EACCES, f"{path.name} is read-only")
        self.take_results_away()
        if self.replace and found in known:
            path.unlink()
            return None
        return folder.move_aside(path, self.out / folder.OLD)

    def move_aside(self, entry: Entry) -> bool:
        """Move a workbook and its copy into the folder for old ones; False where that can't be."""
        try:
            self.take_results_away()
            for path, _ in reversed(self.files_of(entry)):
                if path.exists():
                    folder.move_aside(path, self.out / folder.OLD)
        except OSError:
            return False
        self.record.drop(entry)
        return True

    def write_result(self, name: str, data: bytes) -> None:
        path, digest = self.out / name, digest_of(data)
        try:
            found = digest_at(path)
            if found != digest:
                known = found in self.record.results.get(name, ())
                if found and not known and not self.replace:
                    self.problem(0, f"{name} {_TAKEN}")
                    return
                if found and is_read_only(path):
                    raise PermissionError(errno.EACCES, "the file is read-only")
                if found and not known:
                    folder.move_aside(path, self.out / folder.OLD)
                self.record.announce_results(name, digest)
                write_whole(path, data, replace=known, beginning=RUN)
            self.outcome.results_written = True
        except OSError as error:
            self.problem(0, f"{name} can't be written ({error.strerror or error})")


def place_together(contents: Mapping[Path, bytes], replace: bool = False, beginning: str = TEMPORARY) -> None:
    """Write files so that all of them are there, or none that was not there before."""
    staged: list[Staged] = []
    try:
        for path, data in contents.items():
            staged.append(Staged(path, data, replace=replace and path.exists(), beginning=beginning))
        for file in staged:
            file.place()
    except BaseException:
        for file, data in zip(staged, contents.values(), strict=False):
            if not file.replace and digest_at(file.path) == digest_of(data):
                file.path.unlink()
        raise
    finally:
        for file in staged:
            file.drop()


def says_mm(job: Job) -> bool:
    """Whether a row says in its own column that it is metric."""
    return str(job.values.get("units") or "").strip().casefold() == "mm"


def value_shown(value: Any) -> str:
    """A cell as the table of mistakes shows it."""
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        value = value.date()
    return "" if value is None else str(value)[:60]


_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9\u00b9\u00b2\u00b3]|lpt[0-9\u00b9\u00b2\u00b3])(\..*)?", re.IGNORECASE)


def safe_name(text: str) -> str:
    """A file name that every system takes: no path parts, no reserved names, not too long.

    >>> safe_name("../../etc/passwd"), safe_name("CON"), safe_name("Valve 3/8 : A")
    ('etc_passwd', '_CON', 'Valve 3_8 _ A')
    """
    text = "".join(c if c.isalnum() or c in " ._-()+" else "_" for c in text)
    text = re.sub(r"_+", "_", text).strip(" ._")[:80].strip(" ._")
    return f"_{text}" if _RESERVED.fullmatch(text) else text


def _file_name(values: Mapping[str, Any], naming: Sequence[str], row: int, taken: set[str], stem: str = "") -> str:
    """The name of a row's file. A row with problems has one too, so that the others keep theirs when it is mended."""
    stem = safe_name(stem) or safe_name("_".join(text for n in naming if (text := in_words(values.get(n))))) or f"row {row}"
    name, again = f"{stem}.xlsx", 1
    while name.casefold() in taken:
        name = f"{stem} row {row}.xlsx" if again == 1 else f"{stem} row {row}-{again}.xlsx"
        again += 1
    taken.add(name.casefold())
    return name
