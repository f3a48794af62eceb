"""What a template is made of: inputs, tables of rows, answers and checks, each said once.

Every input has a second cell, its value as used: the default where it is blank, #N/A where it is out of its
limits. Formulas rest on those cells, so that no answer is worked out from a bad input, and no formula tests an input
again. A blank input that the shop's own data or the sheet Part can give takes that value, which stands in a cell
`shop_...` or `drawn_...`.
"""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, fields, replace
from typing import Any

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import python_rule
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.kinds import Kind, kind_of
from barfuncs.catalogue.reading import broken_rules
from barfuncs.catalogue.rows import rows_in_words
from barfuncs.errors import BarfuncsError, shown

Values = Mapping[str, Any]
Problems = list[tuple[str, str]]
"""What is wrong: (input, reason)."""

STOP, LOOK, NOTE, OK = "\u2715 STOP", "! LOOK", "i NOTE", "\u2713 OK"
WRONG = STOP[0]
"""How the mark of a row begins in which something is wrong."""

TOO_LONG = "longer than any bar; where 3/4 became a date type =3/4 or 0 3/4"
NOT_READ = "can't be read; write a number or a fraction such as 1 3/8"
FRACTIONS = "Fractions: 0 3/4, 1 3/8 or =3/4 (3/4 alone becomes a date)"


@dataclass(frozen=True)
class Input:
    """One input cell. `needed` ones must be filled; `blank` is what an optional one without default counts as.

    `from_shop` says that the shop's own data stands in for a blank cell, `from_part` that the sections of the sheet Part do.
    `source` names the cells to pick from. One that `draws` is a cell of those sections.
    """

    name: str
    label: str
    kind: Kind
    help: str
    default: Any = None
    needed: bool = False
    unit: str = ""
    blank: Any = None
    from_shop: bool = False
    source: str = ""
    from_part: bool = False
    draws: bool = False

    @property
    def number(self) -> str:
        """The format of its cell, by its name in `layout`."""
        if self.kind.reader == "fraction":
            return "percent"
        if self.kind.reader == "text":
            return "typed"
        if self.kind.dimension == "weight":
            return "typed_weight"
        return ("count" if self.kind.whole else "general") if self.kind.is_number else "text"

    @property
    def used(self) -> str:
        """Name of the cell with the value as used."""
        return f"use_{self.name}"

    @property
    def origin(self) -> str:
        """The sheet that gives the value of a blank cell, where one does."""
        return "Shop" if self.from_shop else "Part" if self.from_part else ""

    @property
    def stand_in(self) -> str:
        """Name of the cell with the value of that sheet, or an empty text in it."""
        return f"{'shop' if self.from_shop else 'drawn'}_{self.name}"

    @property
    def is_blank(self) -> str:
        """Cell expression: TRUE where the input is not given."""
        return f'AND(ISBLANK({self.name}),IFERROR({self.stand_in}="",FALSE))' if self.origin else f"ISBLANK({self.name})"

    @property
    def may_be_blank(self) -> bool:
        """Whether a blank cell means that the answers which rest on it are not asked for."""
        return not self.needed and self.default is None and self.blank is None

    @property
    def may_be_text(self) -> bool:
        """Whether a text in the cell is read: a length may be typed as a fraction."""
        return self.kind.reader == "length"

    def tidy_formula(self) -> str:
        """Cell expression: a length that is a text as "1 3/8", "0 3/4" or "0 2.25", without its unit; blank for any other.

        A dash between the whole number and the fraction counts as a space, at the beginning it is a sign.
        """
        text = self.name
        # A colon would make a time, a comma may be either sign.
        for sign, instead in (("\u2013", " "), ("-", " "), (":", "x"), (",", "x")):
            text = f'SUBSTITUTE({text},"{sign}","{instead}")'
        text = f'TRIM(SUBSTITUTE(SUBSTITUTE({text},"""",IF(use_units="in"," ","x")),use_units," "))'
        return (f'IF(ISTEXT({self.name}),IF(OR(LEFT(TRIM({self.name}),1)="-",LEFT(TRIM({self.name}),1)="\u2013"),"x",'
                f'IF(ISERROR(FIND(" ",{text})),"0 ","")&{text}),"")')

    def typed_formula(self, tidy: str) -> str:
        """Cell expression: what stands in the cell, a text as the number that it means; `tidy` is the cell with the text.

        Only whole numbers are taken apart and read, so that the decimal sign and the dates of a program play no part; put
        together again they must give the same text. Of a decimal number the program decides what its sign is: digits
        before and behind it leave a number, but no date, percentage or TRUE.
        """
        space, slash = f'FIND(" ",{tidy})', f'FIND("/",{tidy})'
        whole, top, bottom = (f"VALUE({part})" for part in (
            f"LEFT({tidy},{space}-1)", f"MID({tidy},{space}+1,{slash}-{space}-1)", f"MID({tidy},{slash}+1,9)"))
        fraction = f'IF(AND(EXACT({whole}&" "&{top}&"/"&{bottom},{tidy}),{whole}=INT({whole}),{top}<{bottom}),{whole}+{top}/{bottom},NA())'
        decimal = f"MID({tidy},3,20)"
        number = f'IF(AND(LEFT({tidy},2)="0 ",ISNUMBER(VALUE("1"&{decimal}&"1"))),VALUE({decimal}),NA())'
        return (f'IF({tidy}="",IF(ISBLANK({self.name}),"",IF(ISLOGICAL({self.name}),NA(),{self.name})),'
                f"IFERROR(IF(ISERROR({slash}),{number},{fraction}),NA()))")

    def used_formula(self, typed: str = "", instead: str = "") -> str:
        """Cell expression of the value as used. `typed` is the cell with a length as it is read; without it no text is. `instead`
        is what a blank cell counts as, where that is worked out."""
        checked = self._checked(typed or self.name)
        blank = self.default if self.default is not None else self.blank
        otherwise = "NA()" if blank is None else f'"{blank}"' if isinstance(blank, str) else f"{blank:g}"
        otherwise = instead or otherwise
        if self.origin:
            otherwise = f'IF({self.stand_in}="",{otherwise},{self._checked(self.stand_in)})'
        if ((self.needed and self.blank is None) or blank is None) and not self.origin:
            return checked
        return f"IF(ISBLANK({self.name}),{otherwise},{checked})"

    def _checked(self, cell: str) -> str:
        below = (f"{cell}<longest_length",) if self.kind.reader == "length" and (cell != self.name or not self.may_be_text) else ()
        return f"IF({self.kind.cell_test(cell, *below)},{cell},NA())"


@dataclass(frozen=True)
class Across:
    """A rule across the inputs of a template, such as a bar that must be longer than its end trim.

    It is asked where each of the inputs that it speaks of is given and right; `optional` ones may be blank and count as 0.
    """

    argument: str
    message: str
    names: tuple[str, ...]
    optional: frozenset[str]
    check: Callable[..., bool] = field(compare=False)

    def problems(self, inputs: Values, bad: AbstractSet[str]) -> Problems:
        values = []
        for name in self.names:
            value = inputs.get(name)
            if value is None:
                if name not in self.optional:
                    return []
                value = 0
            values.append(value)
        return [] if not bad.isdisjoint(self.names) or self.check(*values) else [(self.argument, self.message)]


def across(argument: str, condition: str, message: str) -> Across:
    """A rule between inputs, its condition written as that of a function's rule."""
    names = tuple(dict.fromkeys(re.findall(r"[a-z_]{2,}", condition)))
    return Across(argument, message, names, frozenset(), python_rule(condition, names))


def rules_of(function: str) -> tuple[Across, ...]:
    """The rules of a function whose arguments are inputs too."""
    entry = CATALOGUE[function]
    names = tuple(a.name for a in entry.arguments)
    optional = frozenset(a.name for a in entry.arguments if not a.required)
    return tuple(Across(rule.argument, rule.message, names, optional, rule.check) for rule in entry.rules)


def make_input(name: str, label: str, alias: Any, default: Any = None, needed: bool = False, unit: str = "",
               help_text: str = "", blank: Any = None, from_shop: bool = False,
               source: str = "", from_part: bool = False) -> Input:
    """An input of one of the aliases in `kinds`; the glossary says what it means unless `help_text` does."""
    kind = kind_of(alias)
    if not help_text and name not in ARGUMENTS:
        raise ValueError(f"{name} is not in the glossary: give help_text")
    return Input(name, label, kind, help_text or ARGUMENTS[name], default, needed, unit or kind.dimension or "", blank,
                 from_shop, source, from_part)


@dataclass(frozen=True)
class Column(Input):
    """A column of a table, or one line of a list of rates: an input that there is one of in each row. Without `fractions` a
    length that is a text is not read in its cell, which spares two cells a row. `instead` is a cell expression over the row for
    what a blank cell counts as."""

    width: float = 12
    fractions: bool = True
    instead: str = ""

    @property
    def may_be_text(self) -> bool:
        return self.fractions and super().may_be_text

    @property
    def aligned(self) -> str:
        """The format of its cells where they only stand one below the other: lengths and amounts have the same decimals."""
        if self.number not in ("general", "count"):
            return self.number
        return {"length": "length", "number": "money"}.get(self.kind.reader, "general")

    def at(self, ref: str) -> Input:
        """The input of one row, whose cell goes by its reference instead of a name."""
        return replace(self, name=ref)


def make_column(name: str, label: str, alias: Any, help_text: str = "", needed: bool = False, unit: str = "",
                blank: Any = None, width: float = 12, fractions: bool = True, instead: str = "") -> Column:
    """A column of one of the aliases in `kinds`; the glossary says what it means unless `help_text` does."""
    item = make_input(name, label, alias, None, needed, unit, help_text, blank)
    return Column(**{f.name: getattr(item, f.name) for f in fields(item)}, width=width, fractions=fractions, instead=instead)


@dataclass(frozen=True)
class Answer:
    """One calculated cell: a function of the catalogue (`calls`), or a `formula` over inputs and answers. With both, the
    formula is a shorter way to what the function gives.

    `refs` says which inputs or answers stand for arguments that are called otherwise. `needs` are the optional inputs without which
    the answer is not asked for.
    """

    name: str
    label: str
    number: str
    unit: str = ""
    formula: str = ""
    calls: str = ""
    refs: tuple[tuple[str, str], ...] = ()
    needs: str = ""


@dataclass(frozen=True)
class RowAnswer(Answer):
    """One calculated cell of each row of a table. Its formula speaks of the row's cells, such as `op_length`.

    `small` ones are suggestions, `aside` ones stand beside what is printed.
    """

    small: bool = False
    aside: bool = False
    width: float = 10


@dataclass(frozen=True)
class Table:
    """Rows of inputs, their answers, and a mark beside each row that says in words what is wrong with it.

    `item` begins the name of all that a row has: the cells of the column `length` of a table of operations are called
    `op_length`, their values as used `use_op_length`, the answer `time` `quote_op_time`, the marks `op_marks`. In a formula
    of a row `op_length` is this row's value, `ISBLANK(op_length)` asks for its cell, and `op_filled` is the number of its
    cells with something in them, texts not counted, `op_sound` is 0, or an error where a number in the row is not allowed.
    `all_op_length` is the whole column, as `op_length` is in any other formula. `above_op_length` and `below_op_length` are the
    row before and the row behind; where there is none they are 0, but `above_op_filled` is 1.

    `calls` is a function of the catalogue whose rules hold in each row, with arguments called as the columns are or as
    `section_length`; `in_words` is the kind by which a text is read as rows; where it `draws`, inputs
    `from_part` are taken from its rows; `falls_back` names for a column the input of the
    template that stands in for a blank cell. `wrong_if` are more ways in which a row is wrong, (condition, words). `looks`
    are cases in order, (condition, words as a cell expression), for rows in which nothing is wrong: words that begin with
    `!` ask for a second look, those with `i` only tell.
    Where rows are not `counted` they have no values as used: what rests on them looks at the marks first.
    """

    name: str
    item: str
    label: str
    row_label: str
    columns: tuple[Column, ...]
    rows: int
    answers: tuple[RowAnswer, ...] = ()
    calls: str = ""
    falls_back: Mapping[str, str] = field(default_factory=dict)
    wrong_if: tuple[tuple[str, str], ...] = ()
    looks: tuple[tuple[str, str], ...] = ()
    counted: bool = True
    marks_width: float = 40
    in_words: Kind | None = None
    draws: bool = False

    @property
    def marks(self) -> str:
        """Name of the cells with the marks."""
        return f"{self.item}_marks"

    @property
    def wrong(self) -> str:
        """Cell expression: how many rows have something wrong."""
        return self._marked_with(WRONG)

    @property
    def to_look_at(self) -> str:
        """Cell expression: how many rows ask for a second look."""
        return self._marked_with("!")

    def _marked_with(self, sign: str) -> str:
        # A wildcard is slow in the engine; most tables of most jobs are empty.
        return f'IF(COUNTA({self.item}_cells),COUNTIF({self.marks},"{sign}*"),0)'

    def row_name(self, row: int, name: str) -> str:
        """What one cell is called in a list of jobs, from row 1 on: op_1_length."""
        return f"{self.item}_{row}_{name}"

    def cell(self, row: int, name: str) -> str:
        """The reference of one cell in a workbook: the n-th of its column."""
        return f"{self.item}_{name}[{row}]"

    def inputs(self) -> Iterator[Input]:
        """The inputs of all rows, row by row."""
        for row in range(1, self.rows + 1):
            for item in self.columns:
                label = f"{self.row_label} {row}, {item.label[:1].lower()}{item.label[1:]}"
                yield Input(self.row_name(row, item.name), label, item.kind, item.help, unit=item.unit, draws=self.draws)

    def spread(self, rows: Any) -> tuple[dict[str, Any], Problems]:
        """Rows given as a sequence of mappings from column to value, or in words, as inputs of a job, and what is wrong with them."""
        if isinstance(rows, str) and self.in_words:
            try:
                rows = rows_in_words(self.in_words, rows)
            except BarfuncsError as error:
                return {}, [(self.name, str(error))]
        if isinstance(rows, (str, Mapping)) or not isinstance(rows, Sequence):
            return {}, [(self.name, f"{shown(rows)} given; give a list of rows, each a mapping from column to value")]
        known = {item.name for item in self.columns}
        values: dict[str, Any] = {}
        problems: Problems = []
        for number, row in enumerate(rows, start=1):
            if number > self.rows:
                problems.append((self.name, f"{len(rows)} rows given; there is room for {self.rows}"))
                break
            if not isinstance(row, Mapping):
                problems.append((f"{self.item}_{number}", f"{shown(row)} given; a row is a mapping from column to value"))
                continue
            for name, value in row.items():
                if name in known:
                    values[self.row_name(number, name)] = value
                else:
                    problems.append((self.row_name(number, str(name)), f"is not a column of {self.name}; it has {', '.join(sorted(known))}"))
        return values, problems

    def problems(self, inputs: Values, bad: Collection[str], given_elsewhere: Collection[str]) -> Problems:
        """What the rows lack: needed cells, and the rules of the function that the table calls.

        `bad` are inputs that are wrong by themselves; `given_elsewhere` those that a blank cell may leave to others.
        """
        entry = CATALOGUE[self.calls] if self.calls else None
        found: Problems = []
        for row in range(1, self.rows + 1):
            cells = {item.name: inputs.get(self.row_name(row, item.name)) for item in self.columns}
            if all(value is None for item, value in zip(self.columns, cells.values(), strict=True) if item.kind.reader != "text"):
                continue
            if any(self.row_name(row, name) in bad for name in cells):
                continue
            missing = [item.name for item in self.columns if item.needed and cells[item.name] is None]
            found += [(self.row_name(row, name), "is missing") for name in missing]
            if entry is None or missing:
                continue
            for name, other in self.falls_back.items():
                if cells[name] is None:
                    cells[name] = inputs.get(other)
            cells |= {item.name: item.blank for item in self.columns if isinstance(item.blank, str) and cells[item.name] is None}
            values = [inputs["units"] if a.name == "units" else cells[a.name.removeprefix(f"{self.item}_")] for a in entry.arguments]
            left = [name for name, other in self.falls_back.items() if cells[name] is None and other in given_elsewhere]
            found += [(self.row_name(row, name), reason) for name, reason in broken_rules(entry, values)
                      if not left or not any(name in rule.condition for name in left for rule in entry.rules if rule.message == reason)]
        return found


@dataclass(frozen=True)
class Missing:
    """Something else that may be wrong: a condition as a cell expression, what it is called with a hint, and the input to
    blame."""

    condition: str
    label: str
    hint: str = ""
    input: str = ""

    @property
    def words(self) -> str:
        return self.label + (f" ({self.hint})" if self.hint else "")


@dataclass(frozen=True)
class Check:
    """Cases in order; the first whose condition holds speaks. Each: condition, word, sentence as a cell expression.

    `words`, conditions with words, is a shorter way to the word alone.
    """

    topic: str
    cases: tuple[tuple[str, str, str], ...]
    long: bool = False
    words: tuple[tuple[str, str], ...] = ()

    def word(self) -> str:
        """Cell expression of the word."""
        words = self.words or tuple((condition, word) for condition, word, _ in self.cases)
        quoted = [(condition, f'"{word}"') for condition, word in words]
        return f'IFERROR({first_of(quoted)},"{_NOT_KNOWN}")'

    def sentence(self, word_cell: str) -> str:
        """Cell expression of the sentence. The word tells which cases there are left, so that few conditions are worked out twice."""
        words = dict.fromkeys(word for _, word, _ in self.cases)
        formula = '"not known yet."'
        for wanted in words:
            cases = tuple((condition, sentence) for condition, word, sentence in self.cases if word == wanted)
            formula = f'IF({word_cell}="{wanted}",{first_of(cases[:-1], cases[-1][1])},{formula})'
        return f'"{self.topic}: "&IFERROR({formula},"not known yet.")'


_NOT_KNOWN = "\u00b7 \u00b7 \u00b7"


def first_wrong(wrong: Sequence[tuple[str, str]], otherwise: str = '""') -> str:
    """Cell expression of a row's mark: what is wrong first, of (condition, words), or `otherwise`."""
    return first_of([(condition, f'"{WRONG} {words}"') for condition, words in wrong], otherwise)


def first_of(cases: Sequence[tuple[str, str]], otherwise: str = '"?"') -> str:
    """Cell expression: what the first case whose condition holds gives, or `otherwise`."""
    formula = otherwise
    for condition, text in reversed(cases):
        formula = text if condition == "TRUE" else f"IF({condition},{text},{formula})"
    return formula
