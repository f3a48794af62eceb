"""The inputs, tables and answers of one template together, and how they get into cells."""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula, expand
from barfuncs.catalogue.kinds import LONGEST_ON_A_FORM, Kind
from barfuncs.templates import layout
from barfuncs.templates.cell_text import number_text, part_weight_text, unit_text
from barfuncs.templates.model import (
    FRACTIONS,
    LOOK,
    NOT_READ,
    OK,
    STOP,
    TOO_LONG,
    WRONG,
    Answer,
    Check,
    Column,
    Input,
    Missing,
    RowAnswer,
    Table,
    first_of,
)
from barfuncs.templates.page import Page


def put_framed(page: Page, item: Input, column: str, fractions: bool = False) -> None:
    """The framed cell of an input alone. With `fractions` it takes a text too."""
    ref, sheet = page.take(column), page.sheet
    layout.style_input(sheet, ref, item.number)
    if not item.origin:  # a default in the cell would stand before that of the other sheet
        sheet[ref].value = item.default
    if fractions:
        layout.validate_length(sheet, ref, item.kind, item.label, f"{item.help}. {FRACTIONS}")
    else:
        layout.validate(sheet, ref, item.kind, item.label, item.help, item.source)
    page.name(item.name, ref)


@dataclass(frozen=True)
class _Row:
    """The cells of one row of a table: what its names stand for in a formula, and the cell of each column."""

    cells: Mapping[str, str]
    raw: Mapping[str, str]


class Form:
    """The inputs, tables and answers of one template. Answers are named with `prefix`, so that none hides a function."""

    def __init__(self, prefix: str, inputs: Iterable[Input], answers: Iterable[Answer], tables: Iterable[Table] = ()) -> None:
        self.prefix = prefix
        self.inputs: Mapping[str, Input] = {i.name: i for i in inputs}
        self.answers: Mapping[str, Answer] = {a.name: a for a in answers}
        self.tables = tuple(tables)
        self.all_inputs: Mapping[str, Input] = {**self.inputs, **{i.name: i for t in self.tables for i in t.inputs()}}
        """By the name that it has in a list of jobs: the inputs, and those of the tables' rows."""
        self.cells: dict[str, str] = {name: name for name in self.inputs}
        """By that name the reference of the cell in the workbook."""
        self._cells = {name: item.used for name, item in self.inputs.items() if _counts(item)}
        self._counting = tuple(self._cells)
        self.stops: list[tuple[str, str]] = []
        """By check: its topic, and a cell expression of its sentence where it says stop, once `put_checks` has placed them."""
        self.follow_on: dict[str, str] = {}
        """By input: cell expression that a blank cell is bad only because of another mistake, which is named by itself."""
        self.marked: list[tuple[str, str]] = []
        """By mark, once `put_used` has placed them: the input it is about, and its label."""
        self._known = {used: self.inputs[name].kind for name, used in self._cells.items()}
        for answer in self.answers.values():
            assert answer.name not in self.inputs, f"{answer.name} is an input and an answer"
            self._cells[answer.name] = prefix + answer.name
            result = CATALOGUE[answer.calls].result if answer.calls else None
            self._known[prefix + answer.name] = Kind("answer", "number", None, -math.inf if result is None else result.low,
                                                     whole=result is not None and result.whole)
        for table in self.tables:
            for item in table.columns:
                self._cells[f"{table.item}_{item.name}"] = f"{'use_' if _has_used(table, item) else ''}{table.item}_{item.name}"
            for made in table.answers:
                self._cells[f"{table.item}_{made.name}"] = f"{prefix}{table.item}_{made.name}"
            for row in range(1, table.rows + 1):
                self.cells |= {table.row_name(row, c.name): table.cell(row, c.name) for c in table.columns}

    def answer_cells(self) -> dict[str, str]:
        """By name the reference of each answer, status and list of problems; those of a table's rows as op_1_time."""
        found = {name: self.prefix + name for name in (*self.answers, "status", "problems", "not_known", "stops")}
        for table in self.tables:
            for row in range(1, table.rows + 1):
                found |= {table.row_name(row, a.name): self.prefix + table.cell(row, a.name) for a in table.answers}
                found[table.row_name(row, "mark")] = f"{table.marks}[{row}]"
        return found

    def formula(self, answer: Answer, row: _Row | None = None) -> str:
        """The native formula of an answer, without the leading `=`.

        An argument is the input or answer of the same name, unless `refs` names another.
        """
        if not answer.formula:
            entry, refs, known = CATALOGUE[answer.calls], self._refs(answer, row), self._known
            if row:  # where a cell is blank, 0 stands there, which the function takes for not given
                own = set(row.cells.values())
                known = {**known, **{refs[a.name]: a.kind for a in entry.arguments if refs[a.name] in own}}
            return cell_formula(entry, refs, known=known)
        return self.expression(answer.formula, row)

    def _refs(self, answer: Answer, row: _Row | None) -> dict[str, str]:
        """By argument of the function that an answer calls: the cell that stands for it."""
        named, cells = dict(answer.refs), self._cells_with(row)
        names = {a.name: named.get(a.name, a.name) for a in CATALOGUE[answer.calls].arguments}
        return {argument: cells.get(name, name) for argument, name in names.items()}

    def _cells_with(self, row: _Row | None) -> Mapping[str, str]:
        """What names stand for in a formula: within a row those of its table stand for its cells."""
        return {**self._cells, **row.cells} if row else self._cells

    def expression(self, text: str, row: _Row | None = None) -> str:
        """A cell expression over named cells: an input's name stands for its value as used, but inside ISBLANK( ),
        and an answer's for its cell. With `row` the names of a table stand for the cells of that row."""
        found = expand(text, self._cells_with(row))
        for name in self._counting:
            found = found.replace(f"ISBLANK({self._cells[name]})", self.inputs[name].is_blank)
        if row:
            for name, cell in row.raw.items():
                found = found.replace(f"ISBLANK({row.cells[name]})", f"ISBLANK({cell})")
        return found

    def _mark(self, item: Input) -> str:
        """Cell expression: the label of an input that is missing or out of its limits, and a hint; else an empty text."""
        label = f'"{item.label.lower()}, "'
        if item.kind.reader == "material":
            density = f"{self.prefix}density"
            typed = f'"{item.label.lower()} (a number is a density; type a designation with an apostrophe before it), "'
            unknown = f"AND(ISERROR({density}),OR(ISBLANK({item.name}),NOT(ISERROR(use_units))))"  # a density has a unit
            return f'IF({unknown},IF(ISNUMBER({item.name}),{typed},{label}),"")'
        if item.may_be_text:
            label = (f'"{item.label.lower()}"&IF(ISTEXT({item.name}),length_not_read,'
                     f'IF(ISNUMBER({item.name}),IF({item.name}>=longest_length,length_too_long,""),""))&", "')
        tests = [f"NOT({item.is_blank})"] if item.may_be_blank else []
        if item.name in self.follow_on:
            tests.append(f"NOT(AND(ISBLANK({item.name}),{self.expression(self.follow_on[item.name])}))")
        return f'IF({_all_of(*tests, f"ISERROR({item.used})")},{label},"")'

    def _not_known(self, name: str) -> str:
        """Cell expression: the label of an answer that is an error though the inputs it needs are filled in."""
        answer = self.answers[name]
        given = [f"NOT({self.inputs[n].is_blank})" for n in answer.needs.split()]
        return f'IF({_all_of(*given, f"ISERROR({self.prefix}{name})")},"{answer.label.lower()}, ","")'

    def put_input(self, page: Page, name: str, columns: Sequence[str]) -> None:
        """Label, framed cell and unit, side by side."""
        item, (label, value, unit) = self.inputs[name], columns
        page.put(label, item.label + (" *" if item.needed else ""))
        put_framed(page, item, value, fractions=item.may_be_text)
        page.put(unit, self._unit_and_origin(item), color=layout.SOFT, size=9, indent=1)

    def _unit_and_origin(self, item: Input) -> str | None:
        """What stands beside an input: its unit, and the value of another sheet where that is taken."""
        text = unit_text(item.unit) if item.unit else ""
        if not item.origin:
            return text or None
        unit = text[1:] if text.startswith("=") else f'"{text}"'
        number = part_weight_text(item.stand_in) if item.kind.dimension == "weight" else number_text(item.stand_in, 4)
        value = number if item.kind.reader not in ("choice", "text") else item.stand_in
        if (item.kind.reader == "text" and item.name != "currency") or any(len(choice) > 15 for choice in item.kind.choices):
            value = '"see that sheet"'  # too long to stand here
        value = f'{number_text(f"100*{item.stand_in}", 1)}&"%"' if item.number == "percent" else value
        return f'={unit}&IFERROR(IF(AND(ISBLANK({item.name}),{item.stand_in}<>""),"  {item.origin}: "&{value},""),"")'

    def put_inputs(self, page: Page, groups: Mapping[str, Iterable[Input]], columns: Sequence[str]) -> None:
        """Inputs one below the other, each group under its heading."""
        for title, items in groups.items():
            page.heading(f"{columns[0]}:{columns[-1]}", title)
            for item in items:
                page.next_row()
                self.put_input(page, item.name, columns)

    def put_group(self, page: Page, title: str, items: Sequence[Input], columns: Sequence[str]) -> None:
        """The same with the heading in a column beside its inputs, the first of the four: the framed cells of all groups follow
        one another without a gap, so that Enter goes from each to the next."""
        beside, *others = columns
        for n, item in enumerate(items):
            page.next_row()
            if n == 0:
                page.put(beside, title, rows=len(items), bold=True, color=layout.ACCENT, wrap=True)
            self.put_input(page, item.name, others)
            if n == 0:
                layout.overline(page.sheet, (beside, others[0], others[2]), page.row)

    def put_answer(self, page: Page, name: str, columns: Sequence[str], bold: bool = False) -> None:
        """Label, calculated cell and unit, side by side."""
        answer, (label, value, unit) = self.answers[name], columns
        page.put(label, answer.label, bold=bold)
        self.put_value(page, name, value, bold)
        page.put(unit, unit_text(answer.unit) if answer.unit else None, color=layout.SOFT, size=9, indent=1)

    def put_answers(self, page: Page, groups: Mapping[str, Iterable[Answer]], columns: Sequence[str],
                    bold: Collection[str] = (), size: float = 11) -> None:
        """Answers one below the other, each group under its heading; the names in `bold` stand out."""
        for title, answers in groups.items():
            page.heading(f"{columns[0]}:{columns[-1]}", title, size=size)
            for answer in answers:
                page.next_row()
                self.put_answer(page, answer.name, columns, bold=answer.name in bold)

    def put_value(self, page: Page, name: str, column: str, bold: bool = False) -> str:
        """The calculated cell alone; its reference."""
        answer, ref = self.answers[name], page.take(column)
        layout.style_answer(page.sheet, ref, answer.number, bold)
        page.sheet[ref].value = "=" + self.formula(answer)
        page.name(self.prefix + name, ref)
        return ref

    def put_status(self, page: Page, columns: str, subject: str) -> None:
        """One line that says whether `subject` is complete, and what is missing where it is not."""
        problems, unknown, words = (f"{self.prefix}{n}" for n in ("problems", "not_known", "check_words"))
        looks = f'COUNTIF({words},"{LOOK}")'
        status = (f'=IF({problems}<>"","{STOP}  Fill in or correct: "&LEFT({problems},LEN({problems})-2)&".",'
                  f'IF(COUNTIF({words},"{STOP}")>0,"{STOP}  See the checks.",'
                  f'IF({unknown}<>"","{STOP}  These can\'t be worked out from the inputs: "'
                  f'&LEFT({unknown},LEN({unknown})-2)&".",'
                  f'IF({looks}>0,"{LOOK}  See the checks: "&{looks}&IF({looks}=1," asks"," ask")&" for a second look.",'
                  f'"{OK}  The {subject} is complete, and every check is passed."))))')
        ref = page.put(columns, status, bold=True, wrap=True)
        page.name(f"{self.prefix}status", ref.partition(":")[0])

    def put_used(self, page: Page, asked_for: Iterable[str], missing: Sequence[Missing]) -> None:
        """The inputs as used, beside them lengths as they are read and what is wrong with each; what else is missing; the
        answers of `asked_for` that can't be worked out; the checks that say stop. Each list grows by a row with each cell,
        so that no formula does."""
        lengths = any(item.may_be_text for item in (*self.inputs.values(), *(c for t in self.tables for c in t.columns)))
        for name, words, text in (
            ("longest_length", "Lengths stay below this", f'=IF(units="mm",{LONGEST_ON_A_FORM["mm"]},{LONGEST_ON_A_FORM["in"]})'),
            ("length_too_long", "What is said of a longer one", f" ({TOO_LONG})"),
            ("length_not_read", "What is said of a text that is no length", f" ({NOT_READ})"),
        ) if lengths else ():
            page.next_row()
            page.put("B", words, size=9, color=layout.SOFT)
            page.name(name, page.put("C", text, size=9))
        first, marked = page.row + 1, []
        for item in self.inputs.values():
            if item.kind.reader == "text":
                continue
            page.next_row()
            page.put("B", item.label, size=9, color=layout.SOFT)
            if _counts(item):
                self._put_used(page, item)
            _join(page, self._mark(item), first)
            marked.append((item.name, item.label.lower()))
        others = [*missing, *(Missing(f"{t.wrong}>0", t.label.lower(), input=t.name) for t in self.tables)]
        for other in others:
            page.next_row()
            page.put("B", other.words, size=9, color=layout.SOFT)
            mark = f'IF({self.expression(other.condition)},"{other.words}, ","")'
            _join(page, mark, first)
            marked.append((other.input, other.label))
        self.marked = marked  # the same whenever the template is built
        page.name_rows(f"{self.prefix}marks", "G", first)
        self._put_list(page, "problems", "inputs to fill in or correct", f"H{page.row}")
        first = page.row + 1
        for name in asked_for:
            page.next_row()
            page.put("B", self.answers[name].label, size=9, color=layout.SOFT)
            _join(page, self._not_known(name), first)
        self._put_list(page, "not_known", "answers that can't be worked out", f'IF({self.prefix}problems="",H{page.row},"")')
        first = page.row + 1
        for topic, words in self.stops:
            page.next_row()
            page.put("B", topic, size=9, color=layout.SOFT)
            _join(page, words, first)
        self._put_list(page, "stops", "checks that say stop", f"H{page.row}")

    def _put_used(self, page: Page, item: Input) -> None:
        ref = page.take("C")
        layout.style_answer(page.sheet, ref, item.number)
        page.sheet[ref].alignment = Alignment(horizontal="left")
        self._put_read(page, item, ref, "E", "F")
        page.name(item.used, ref)

    def _put_read(self, page: Page, item: Input, used: str, tidy: str, typed: str, instead: str = "") -> None:
        """The value as used; of a length also its text tidied up, and as it is read, in two more columns."""
        if item.may_be_text:
            read = f"{typed}{page.row}"
            page.put(tidy, "=" + item.tidy_formula(), size=9, color=layout.SOFT)
            page.put(typed, "=" + item.typed_formula(f"{tidy}{page.row}"), size=9, color=layout.SOFT)
        page.sheet[used].value = "=" + item.used_formula(read if item.may_be_text else "", instead)

    def _put_list(self, page: Page, name: str, label: str, formula: str) -> None:
        page.next_row()
        page.put("B", label, size=9, color=layout.SOFT)
        ref = page.take("C")
        layout.style_answer(page.sheet, ref, "text")
        page.sheet[ref].value = f"={formula}"
        page.sheet[ref].alignment = Alignment(horizontal="left", vertical="top", wrap_text=True)
        page.name(self.prefix + name, ref)

    def put_checks(self, page: Page, checks: Sequence[Check], last_column: str = "H") -> None:
        """A word and a sentence for each check from column B on."""
        page.heading(f"B:{last_column}", "Checks")
        sheet, first, stops = page.sheet, page.row + 1, []
        for check in checks:
            page.next_row(27 if check.long else 15)
            word = page.put("B", "=" + self.expression(check.word()), bold=True, wrap=True)
            page.put(f"C:{last_column}", "=" + self.expression(check.sentence(word)), wrap=True)
            stop = f"'{sheet.title}'!$B${page.row}=\"{STOP}\""
            stops.append((check.topic, f"IF({stop},'{sheet.title}'!$C${page.row}&\" \",\"\")"))
        last, self.stops = page.row, stops
        page.name_rows(f"{self.prefix}check_words", "B", first)
        page.name_rows(f"{self.prefix}check_sentences", "C", first)
        _mark_checks(page, f"B{first}:B{last}", f'OR(B{first}="{STOP}",B{first}="{LOOK}")')

    def show_checks(self, page: Page, checks: Sequence[Check], columns: str, short: int, long: int, size: float = 10) -> None:
        """The checks that another sheet has, in cells of so many rows for a short and a long one, in a stack beside others."""
        page.heading(columns, "Checks", size=size)
        first, left = page.row + 1, columns.partition(":")[0]
        for n, check in enumerate(checks, start=1):
            page.next_row()
            rows = long if check.long else short
            page.put(columns, f'=INDEX({self.prefix}check_words,{n})&"  "&INDEX({self.prefix}check_sentences,{n})', rows=rows, wrap=True)
            page.skip(rows - 1)
        said = f"LEFT({left}{first},{{}})=\"{{}}\""
        _mark_checks(page, f"{left}{first}:{left}{page.row}",
                     f"OR({','.join(said.format(len(word), word) for word in (STOP, LOOK))})")

    def put_table(self, page: Page, table: Table, records: Sequence[Mapping[str, object]] = (), units: str = "units") -> str:
        """Heads, rows, marks. From column B on: the columns, the answers, the mark; behind it small answers, two columns further what
        is aside: answers and values as they count. `records` fill the first rows; `units` names the cell that the heads' units follow. Gives
        the column of the marks, the last that is printed."""
        sheet, letters = page.sheet, _letters(table)
        shown: list[Column | RowAnswer] = [*table.columns, *(a for a in table.answers if not a.aside)]
        mark, last = letters["mark"], letters["mark"]
        page.next_row(28)
        layout.heading(sheet, "B", last, page.row, "")
        below = page.beside(page.row + 1)
        for item in shown:
            right = not (isinstance(item, Column) and not item.kind.is_number)
            head = item.label + (" *" if isinstance(item, Column) and item.needed else "")
            page.put(letters[item.name], head, bold=True, color=layout.ACCENT, align="right" if right else "left", wrap=True)
            below.put(letters[item.name], unit_text(item.unit, units) if item.unit else None, color=layout.SOFT, size=9,
                      align="right" if right else "left")
        page.put(mark, "Mark", bold=True, color=layout.ACCENT, wrap=True, indent=1)
        page.skip()
        first = page.row + 1
        for number in range(table.rows):
            page.next_row(17)
            page.put("A", number + 1, size=1, color=layout.GROUND)
            self._put_table_row(page, table, letters, records[number] if number < len(records) else {}, number)
        for item in table.columns:
            cells = f"{letters[item.name]}{first}:{letters[item.name]}{page.row}"
            page.name(f"{table.item}_{item.name}", cells)
            if _has_used(table, item) and item.may_be_text:
                layout.validate_length(sheet, cells, item.kind, item.label, f"{item.help}. {FRACTIONS}")
            else:
                layout.validate(sheet, cells, item.kind, item.label, item.help, item.source)
            if _has_used(table, item):
                page.name_rows(f"use_{table.item}_{item.name}", letters[f"use_{item.name}"], first)
        for made in table.answers:
            page.name_rows(f"{self.prefix}{table.item}_{made.name}", letters[made.name], first)
        page.name_rows(table.marks, mark, first)
        page.name(f"{table.item}_cells", f"{letters[table.columns[0].name]}{first}:{letters[table.columns[-1].name]}{page.row}")
        page.name_rows(f"{table.item}_rows", "A", first)
        for small in (False, True):
            answers = [letters[a.name] for a in table.answers if not a.aside and a.small == small]
            if answers:
                layout.quiet_errors(sheet, f"{answers[0]}{first}:{answers[-1]}{page.row}")
        aside = [letters[a.name] for a in table.answers if a.aside] + [letters[f"use_{c.name}"] for c in table.columns if _has_used(table, c)]
        if aside:
            layout.quiet_errors(sheet, f"{aside[0]}{first}:{aside[-1]}{page.row}")
        return last

    def _put_table_row(self, page: Page, table: Table, letters: Mapping[str, str], record: Mapping[str, object],
                       place: int) -> None:
        row, sheet = self._row(table, letters, page.row, place), page.sheet
        for item in table.columns:
            ref = page.take(letters[item.name])
            # With a format for numbers LibreOffice takes a typed TRUE for 1, and nothing can tell.
            layout.style_input(sheet, ref, item.number if table.counted else item.aligned)
            value = record.get(item.name)
            sheet[ref].value = value
            if isinstance(value, str):
                sheet[ref].data_type = "s"  # a text stays a text, whatever it begins with
            if _has_used(table, item):
                used = page.take(letters[f"use_{item.name}"])
                sheet[used].font = layout.font(9, color=layout.SOFT)
                self._put_read(page, item.at(row.raw[f"{table.item}_{item.name}"]), used, letters.get(f"tidy_{item.name}", ""),
                               letters.get(f"typed_{item.name}", ""), self.expression(item.instead, row) if item.instead else "")
        for made in table.answers:
            formula = "=" + self.formula(made, row)
            if made.aside or made.small:
                ref = page.put(letters[made.name], formula, size=9, color=layout.SOFT, align="right", number=made.number)
            else:
                ref = page.take(letters[made.name])
                layout.style_answer(sheet, ref, made.number)
                sheet[ref].value = formula
        page.put(letters["mark"], "=" + self._mark_of_row(table, row), bold=True, color=layout.ACCENT, size=9, indent=1)

    def _row(self, table: Table, letters: Mapping[str, str], number: int, place: int) -> _Row:
        """What stands in row `number` of the sheet, which is row `place` of the table, counted from 0."""
        raw = {f"{table.item}_{c.name}": f"${letters[c.name]}{number}" for c in table.columns}
        used = {f"{table.item}_{c.name}": f"${letters[f'use_{c.name}']}{number}" for c in table.columns if _has_used(table, c)}
        made = {f"{table.item}_{a.name}": f"${letters[a.name]}{number}" for a in table.answers}
        filled = [raw[f"{table.item}_{c.name}"] for c in table.columns if c.kind.reader != "text"]
        whole = {f"all_{name}": self._cells.get(name, name) for name in (*raw, *made)}
        numbers = [used[f"{table.item}_{c.name}"] for c in table.columns if c.kind.is_number and _has_used(table, c)]
        own = {f"{table.item}_filled": f"COUNTA({','.join(filled)})", f"{table.item}_sound": f"0*SUM({','.join(numbers)})",
               f"{table.item}_mark": f"${letters['mark']}{number}"}
        beside: dict[str, str] = {}
        for side, other, there in (("above", number - 1, place > 0), ("below", number + 1, place + 1 < table.rows)):
            cells = {**raw, **used, **made}
            beside |= {f"{side}_{name}": cell.removesuffix(str(number)) + str(other) if there else "0" for name, cell in cells.items()}
            beside[f"{side}_{table.item}_filled"] = f"COUNTA({','.join(cell.removesuffix(str(number)) + str(other) for cell in filled)})" \
                if there else "1" if side == "above" else "0"
        return _Row({**whole, **beside, **raw, **used, **made, **own}, raw)

    def _mark_of_row(self, table: Table, row: _Row) -> str:
        """Cell expression: what is wrong with a row in words, or what asks for a second look, or an empty text."""
        looks = first_of([(self.expression(condition, row), self.expression(said, row)) for condition, said in table.looks], '""')
        cases: list[tuple[str, str]] = []
        for item in table.columns:
            name, label = f"{table.item}_{item.name}", item.label.lower()
            if item.needed:
                cases.append((f"ISBLANK({row.raw[name]})", f'"{WRONG} {label} is missing"'))
            said = f'"{WRONG} {label} is not allowed here"'
            if not _counts(item):
                if item.needed:
                    cases.append((f"NOT(ISTEXT({row.raw[name]}))", f'"{WRONG} {label}: a name, as text"'))
            elif table.counted:
                if item.kind.reader == "length":
                    said = f'"{WRONG} {label} "&IF(ISTEXT({row.raw[name]}),"can\'t be read","is not allowed here")'
                cases.append((f"ISERROR({row.cells[name]})", said))
            else:
                cases.append((f'NOT(OR({row.raw[name]}="",{item.kind.cell_test(row.raw[name])}))', said))
        cases += [(self.expression(condition, row), f'"{WRONG} {said}"') for condition, said in table.wrong_if]
        caller = next((a for a in table.answers if a.calls == table.calls), None) if table.calls else None
        if caller:
            labels = {item.name: item.label.lower() for item in table.columns}
            refs = self._refs(caller, row)
            for rule in CATALOGUE[table.calls].rules:
                condition = expand(rule.condition, refs)
                said = (f'IF(ISBLANK({row.raw[f"{table.item}_{rule.argument}"]}),"{WRONG} {labels[rule.argument]} is missing",'
                        f'"{WRONG} {labels[rule.argument]} does not go with the rest")')
                cases.append((f"IFERROR(NOT({condition}),FALSE)", said))
        words = first_of(cases, f'IFERROR({looks},"")' if table.looks else looks)
        return f'IF({row.cells[f"{table.item}_filled"]},{words},"")'


def _mark_checks(page: Page, cells: str, condition: str) -> None:
    """What asks to be looked at, told apart from the rest."""
    page.sheet.conditional_formatting.add(cells, layout.rule_where(
        condition, font=Font(color=layout.ACCENT, bold=True), border=Border(left=Side(style="medium", color=layout.INK))))


def _all_of(*conditions: str) -> str:
    """Cell expression: TRUE where all of the conditions hold."""
    return conditions[0] if len(conditions) == 1 else f"AND({','.join(conditions)})"


def _counts(item: Input) -> bool:
    """Whether an input has a cell with its value as used: a text and a material are taken as they stand."""
    return item.kind.reader not in ("text", "material")


def _has_used(table: Table, item: Input) -> bool:
    return table.counted and _counts(item)


def _join(page: Page, piece: str, first: int) -> None:
    """A piece of a list in words, and the list up to it, in two columns beside the page."""
    page.put("G", f"={piece}", size=9, color=layout.SOFT)
    before = f"H{page.row - 1}&" if page.row > first else ""
    page.put("H", f"={before}G{page.row}", size=9, color=layout.SOFT)


def _letters(table: Table) -> dict[str, str]:
    """The column of the sheet that each column, answer and value as used of a table stands in."""
    shown = [c.name for c in table.columns] + [a.name for a in table.answers if not a.aside and not a.small] + ["mark"]
    shown += [a.name for a in table.answers if a.small and not a.aside]
    aside = [a.name for a in table.answers if a.aside]
    for item in table.columns:
        if _has_used(table, item):
            aside += [f"tidy_{item.name}", f"typed_{item.name}"] if item.may_be_text else []
            aside.append(f"use_{item.name}")
    return ({name: get_column_letter(n) for n, name in enumerate(shown, start=2)}
            | {name: get_column_letter(n) for n, name in enumerate(aside, start=len(shown) + 4)})


def table_widths(table: Table) -> dict[str, float]:
    """The widths of the sheet's columns for a table that begins in column B."""
    letters = _letters(table)
    return {"A": 1.5, **{letters[c.name]: c.width for c in table.columns},
            **{letters[a.name]: a.width for a in table.answers if not a.aside}, letters["mark"]: table.marks_width}
