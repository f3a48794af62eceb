"""What a template is made of: inputs, answers and checks, each said once, and how they get into a sheet.

Every input has a second cell, its value as used: the default where it is blank, #N/A where it is out of its
limits. Formulas rest on those cells, so that no answer is worked out from a bad input, and no formula tests an input
again. A blank input that the shop's own data can give takes the shop's value, which stands in a cell `shop_...`.
"""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any, get_args

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula, expand, python_rule
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.kinds import LONGEST_ON_A_FORM, Kind
from barfuncs.templates import layout

STOP, LOOK, NOTE, OK = "\u2715 STOP", "! LOOK", "i NOTE", "\u2713 OK"

UNIT_SUFFIX = 'IF(units="mm"," mm"," in")'
WEIGHT_SUFFIX = 'IF(units="mm"," kg"," lb")'

TOO_LONG = "longer than any bar; where 3/4 became a date type =3/4 or 0 3/4"
NOT_READ = "can't be read; write a number or a fraction such as 1 3/8"
FRACTIONS = "Fractions: 0 3/4, 1 3/8 or =3/4 (3/4 alone becomes a date)"


@dataclass(frozen=True)
class Input:
    """One input cell. `needed` ones must be filled; `blank` is what an optional one without default counts as.

    `from_shop` says that the shop's own data stands in for a blank cell. `source` names the cells to pick from.
    """

    name: str
    label: str
    kind: Kind
    help: str
    default: Any = None
    needed: bool = False
    unit: str = ""
    blank: float | None = None
    from_shop: bool = False
    source: str = ""

    @property
    def number(self) -> str:
        if self.kind.reader == "fraction":
            return "percent"
        if self.kind.reader == "text":
            return "typed"
        return ("count" if self.kind.whole else "general") if self.kind.is_number else "text"

    @property
    def used(self) -> str:
        """Name of the cell with the value as used."""
        return f"use_{self.name}"

    @property
    def shop(self) -> str:
        """Name of the cell with the shop's value, or an empty text."""
        return f"shop_{self.name}"

    @property
    def is_blank(self) -> str:
        """Cell expression: TRUE where the input is not given."""
        return f'AND(ISBLANK({self.name}),IFERROR({self.shop}="",FALSE))' if self.from_shop else f"ISBLANK({self.name})"

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
        return (f'IF({tidy}="",IF(ISBLANK({self.name}),"",{self.name}),'
                f"IFERROR(IF(ISERROR({slash}),{number},{fraction}),NA()))")

    def used_formula(self, typed: str = "") -> str:
        """Cell expression of the value as used. `typed` is the cell with a length as it is read; without it no text is."""
        checked = self._checked(typed or self.name)
        blank = self.default if self.default is not None else self.blank
        otherwise = "NA()" if blank is None else f'"{blank}"' if isinstance(blank, str) else f"{blank:g}"
        if self.from_shop:
            otherwise = f'IF({self.shop}="",{otherwise},{self._checked(self.shop)})'
        if (self.needed or blank is None) and not self.from_shop:
            return checked
        return f"IF(ISBLANK({self.name}),{otherwise},{checked})"

    def _checked(self, cell: str) -> str:
        condition = self.kind.cell_condition(cell)
        if self.may_be_text and cell != self.name:
            condition += f",{cell}<longest_length"
        if not condition.startswith("OR("):
            condition = f"AND({condition})"
        return f"IF({condition},{cell},NA())"


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

    def problems(self, inputs: Mapping[str, Any], bad: AbstractSet[str]) -> list[tuple[str, str]]:
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
               help_text: str = "", blank: float | None = None, from_shop: bool = False,
               source: str = "") -> Input:
    """An input of one of the aliases in `kinds`; the glossary says what it means unless `help_text` does."""
    kind = next(m for m in get_args(alias)[1:] if isinstance(m, Kind))
    return Input(name, label, kind, help_text or ARGUMENTS[name], default, needed, unit or kind.dimension or "", blank,
                 from_shop, source)


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
        return f'IFERROR({_first(quoted)},"{_NOT_KNOWN}")'

    def sentence(self, word_cell: str) -> str:
        """Cell expression of the sentence. The word tells which cases there are left, so that few conditions are worked out twice."""
        words = dict.fromkeys(word for _, word, _ in self.cases)
        formula = '"not known yet."'
        for wanted in words:
            cases = tuple((condition, sentence) for condition, word, sentence in self.cases if word == wanted)
            formula = f'IF({word_cell}="{wanted}",{_first((*cases[:-1], ("TRUE", cases[-1][1])))},{formula})'
        return f'"{self.topic}: "&IFERROR({formula},"not known yet.")'


_NOT_KNOWN = "\u00b7 \u00b7 \u00b7"


def _first(cases: Sequence[tuple[str, str]]) -> str:
    """Cell expression: what the first case whose condition holds gives."""
    formula = '"?"'
    for condition, text in reversed(cases):
        formula = text if condition == "TRUE" else f"IF({condition},{text},{formula})"
    return formula


_UNIT_FORMULAS = {
    "length": '=IF(units="mm","mm","in")',
    "area": '=IF(units="mm","mm2","in2")',
    "weight": '=IF(units="mm","kg","lb")',
    "surface_speed": '=IF(units="mm","m/min","ft/min")',
    "feed_rate": '=IF(units="mm","mm/rev","in/rev")',
    "feed_speed": '=IF(units="mm","mm/min","in/min")',
    "weight_per_length": '=IF(units="mm","kg/m","lb/ft")',
    "density": '=IF(units="mm","g/cm3","lb/in3")',
    "per_weight": '=IF(units="mm","per kg","per lb")',
    "price_per": '=IFERROR("per "&use_price_per,"")',
}
_UNIT_WORDS = {"seconds": "s", "hours": "h", "per_hour": "per h", "per_hour_parts": "parts/h", "order": "the order"}


def unit_text(key: str) -> str:
    """What stands beside a value: a word, or a formula that follows the units."""
    return _UNIT_FORMULAS.get(key) or _UNIT_WORDS.get(key, key)


HAIR = "*(1+1E-12)"
"""Behind a number that is rounded: what is half a step but for the last bits goes up in every program."""


def fixed_text(x: str, digits: int) -> str:
    """Cell expression: a number as text with so many decimals and with commas, the same in every program.

    FIXED and not TEXT, whose format means something else where a decimal comma is usual.

    >>> fixed_text("quote_total_1", 2)
    'FIXED(quote_total_1*(1+1E-12),2)'
    """
    return f"FIXED({_with_a_hair(x)},{digits})"


def number_text(x: str, digits: int) -> str:
    """Cell expression: a number as text with at most so many decimals, without zeros at its end, the same in every program.

    A number that is joined to a text as it is shows up to 20 digits, in each program others.

    >>> number_text("size", 1)
    'FIXED(size*(1+1E-12),0+(ROUND(size*(1+1E-12)*10,0)<>10*ROUND(size*(1+1E-12),0)),TRUE)'
    """
    shown = _with_a_hair(x)
    steps = [f"ROUND({shown}{f'*{10**n}' if n else ''},0)" for n in range(digits + 1)]
    decimals = "".join(f"+({steps[digits]}<>{10**(digits - n)}*{steps[n]})" for n in range(digits))
    return f"FIXED({shown},0{decimals},TRUE)"


def _with_a_hair(x: str) -> str:
    return f"{x if x.isidentifier() else f'({x})'}{HAIR}"


def length_text(x: str) -> str:
    """Cell expression: a length with its unit."""
    return f"{number_text(x, 3)}&{UNIT_SUFFIX}"


def put_framed(book: Workbook, sheet: Worksheet, item: Input, ref: str, fractions: bool = False) -> None:
    """The framed cell of an input alone. With `fractions` it takes a text too."""
    layout.style_input(sheet, ref, item.number)
    if not item.from_shop:  # a default in the cell would stand before the shop's value
        sheet[ref].value = item.default
    if fractions:
        layout.validate_length(sheet, ref, item.kind, item.label, f"{item.help}. {FRACTIONS}")
    else:
        layout.validate(sheet, ref, item.kind, item.label, item.help, item.source)
    layout.name_cell(book, item.name, sheet, ref)


class Form:
    """The inputs and answers of one template. Answers are named with `prefix`, so that none hides a function."""

    def __init__(self, prefix: str, inputs: Iterable[Input], answers: Iterable[Answer]) -> None:
        self.prefix = prefix
        self.inputs: Mapping[str, Input] = {i.name: i for i in inputs}
        self.answers: Mapping[str, Answer] = {a.name: a for a in answers}
        self._cells = {name: item.used for name, item in self.inputs.items() if item.kind.reader not in ("text", "material")}
        self._counting = tuple(self._cells)
        self.stops = ""
        """Cell expression: the sentences of the checks that say stop, once `put_checks` has placed them."""
        self.follow_on: dict[str, str] = {}
        """By input: cell expression that a blank cell is bad only because of another mistake, which is named by itself."""
        self._known = {used: self.inputs[name].kind for name, used in self._cells.items()}
        for answer in self.answers.values():
            assert answer.name not in self.inputs, f"{answer.name} is an input and an answer"
            self._cells[answer.name] = prefix + answer.name
            result = CATALOGUE[answer.calls].result if answer.calls else None
            self._known[prefix + answer.name] = Kind("answer", "number", None, -math.inf if result is None else result.low,
                                                     whole=result is not None and result.whole)

    def formula(self, answer: Answer) -> str:
        """The native formula of an answer, without the leading `=`.

        An argument is the input or answer of the same name, unless `refs` names another.
        """
        if not answer.formula:
            entry = CATALOGUE[answer.calls]
            named = dict(answer.refs)
            names = {a.name: named.get(a.name, a.name) for a in entry.arguments}
            refs = {argument: self._cells.get(name, name) for argument, name in names.items()}
            return cell_formula(entry, refs, known=self._known)
        return self.expression(answer.formula)

    def expression(self, text: str) -> str:
        """A cell expression over named cells: an input's name stands for its value as used, but inside ISBLANK( ),
        and an answer's for its cell."""
        found = expand(text, self._cells)
        for name in self._counting:
            found = found.replace(f"ISBLANK({self._cells[name]})", self.inputs[name].is_blank)
        return found

    def problems(self, *more: tuple[str, str]) -> str:
        """Cell expression: the labels of all inputs that are missing or out of their limits, and of what else is missing:
        (condition, label)."""
        pieces, density = [], f"{self.prefix}density"
        for item in self.inputs.values():
            label = f'"{item.label.lower()}, "'
            if item.kind.reader == "text":
                continue
            if item.kind.reader == "material":
                typed = f'"{item.label.lower()} (a number is a density; type a designation with an apostrophe before it), "'
                unknown = f"AND(ISERROR({density}),OR(ISBLANK({item.name}),NOT(ISERROR(use_units))))"  # a density has a unit
                pieces.append(f'IF({unknown},IF(ISNUMBER({item.name}),{typed},{label}),"")')
            else:
                if item.may_be_text:
                    label = (f'"{item.label.lower()}"&IF(ISTEXT({item.name}),length_not_read,'
                             f'IF(ISNUMBER({item.name}),IF({item.name}>=longest_length,length_too_long,""),""))&", "')
                tests = [f"NOT({item.is_blank})"] if item.may_be_blank else []
                if item.name in self.follow_on:
                    tests.append(f"NOT(AND(ISBLANK({item.name}),{self.expression(self.follow_on[item.name])}))")
                tests.append(f"ISERROR({item.used})")
                condition = tests[0] if len(tests) == 1 else f"AND({','.join(tests)})"
                pieces.append(f'IF({condition},{label},"")')
        pieces += [f'IF({self.expression(condition)},"{label}, ","")' for condition, label in more]
        return "&".join(pieces)

    def not_known(self, names: Iterable[str]) -> str:
        """Cell expression: the labels of these answers that are errors though the inputs they need are filled in."""
        pieces = []
        for name in names:
            answer = self.answers[name]
            tests = [f"NOT({self.inputs[n].is_blank})" for n in answer.needs.split()] + [f"ISERROR({self.prefix}{name})"]
            condition = tests[0] if len(tests) == 1 else f"AND({','.join(tests)})"
            pieces.append(f'IF({condition},"{answer.label.lower()}, ","")')
        return "&".join(pieces)

    def put_input(self, book: Workbook, sheet: Worksheet, name: str, columns: Sequence[str], row: int) -> None:
        """Label, framed cell and unit, side by side."""
        item, (label, value, unit) = self.inputs[name], columns
        layout.put(sheet, f"{label}{row}", item.label + (" *" if item.needed else ""))
        put_framed(book, sheet, item, f"{value}{row}", fractions=item.may_be_text)
        layout.put(sheet, f"{unit}{row}", self._unit_and_shop(item), color=layout.SOFT, size=9, indent=1)

    def _unit_and_shop(self, item: Input) -> str | None:
        """What stands beside an input: its unit, and the shop's value where that is taken."""
        text = unit_text(item.unit) if item.unit else ""
        if not item.from_shop:
            return text or None
        unit = text[1:] if text.startswith("=") else f'"{text}"'
        value = number_text(item.shop, 4) if item.kind.reader not in ("choice", "text") else item.shop
        if any(len(choice) > 15 for choice in item.kind.choices):
            value = '"see that sheet"'  # too long to stand here
        value = f'{number_text(f"100*{item.shop}", 1)}&"%"' if item.number == "percent" else value
        return f'={unit}&IFERROR(IF(AND(ISBLANK({item.name}),{item.shop}<>""),"  Shop: "&{value},""),"")'

    def put_answer(self, book: Workbook, sheet: Worksheet, name: str, columns: Sequence[str], row: int) -> None:
        """Label, calculated cell and unit, side by side."""
        answer, (label, value, unit) = self.answers[name], columns
        layout.put(sheet, f"{label}{row}", answer.label)
        self.put_value(book, sheet, name, f"{value}{row}")
        layout.put(sheet, f"{unit}{row}", unit_text(answer.unit) if answer.unit else None, color=layout.SOFT, size=9,
                   indent=1)

    def put_value(self, book: Workbook, sheet: Worksheet, name: str, ref: str, bold: bool = False) -> None:
        """The calculated cell alone."""
        answer = self.answers[name]
        layout.style_answer(sheet, ref, answer.number, bold)
        sheet[ref].value = "=" + self.formula(answer)
        layout.name_cell(book, self.prefix + name, sheet, ref)

    def put_status(self, book: Workbook, sheet: Worksheet, ref: str, subject: str) -> None:
        """One line that says whether `subject` is complete, and what is missing where it is not."""
        problems, unknown, words = (f"{self.prefix}{n}" for n in ("problems", "not_known", "check_words"))
        status = (f'=IF({problems}<>"","{STOP}  Fill in or correct: "&LEFT({problems},LEN({problems})-2)&".",'
                  f'IF(COUNTIF({words},"{STOP}")>0,"{STOP}  See the checks.",'
                  f'IF({unknown}<>"","{STOP}  These can\'t be worked out from the inputs: "'
                  f'&LEFT({unknown},LEN({unknown})-2)&".",'
                  f'IF(COUNTIF({words},"{LOOK}")>0,"{LOOK}  The {subject} is complete. See the checks.",'
                  f'"{OK}  The {subject} is complete, and every check is passed."))))')
        layout.put(sheet, ref, status, bold=True, wrap=True)
        layout.name_cell(book, f"{self.prefix}status", sheet, ref)

    def put_used(self, book: Workbook, sheet: Worksheet, columns: Sequence[str], row: int) -> int:
        """The inputs as used, one below the other, beside them lengths as they are read; the row after the last."""
        label, value, tidy, typed = columns
        for name, words, text in (
            ("longest_length", "Lengths stay below this", f'=IF(units="mm",{LONGEST_ON_A_FORM["mm"]},{LONGEST_ON_A_FORM["in"]})'),
            ("length_too_long", "What is said of a longer one", f" ({TOO_LONG})"),
            ("length_not_read", "What is said of a text that is no length", f" ({NOT_READ})"),
        ):
            layout.put(sheet, f"{label}{row}", words, size=9, color=layout.SOFT)
            layout.put(sheet, f"{value}{row}", text, size=9)
            layout.name_cell(book, name, sheet, f"{value}{row}")
            row += 1
        for name in self._counting:
            item = self.inputs[name]
            layout.put(sheet, f"{label}{row}", item.label, size=9, color=layout.SOFT)
            layout.style_answer(sheet, f"{value}{row}", item.number)
            sheet[f"{value}{row}"].value = "=" + item.used_formula(f"{typed}{row}" if item.may_be_text else "")
            if item.may_be_text:
                layout.put(sheet, f"{tidy}{row}", "=" + item.tidy_formula(), size=9, color=layout.SOFT)
                layout.put(sheet, f"{typed}{row}", "=" + item.typed_formula(f"{tidy}{row}"), size=9, color=layout.SOFT)
            sheet[f"{value}{row}"].alignment = Alignment(horizontal="left")
            layout.name_cell(book, item.used, sheet, f"{value}{row}")
            row += 1
        return row

    def put_checks(self, book: Workbook, sheet: Worksheet, checks: Sequence[Check], row: int) -> int:
        """A word and a sentence for each check from column B to H; the row after the last."""
        layout.heading(sheet, "B", "H", row, "Checks")
        first = row + 1
        self.stops = "&".join(f'IF({cell}="{STOP}",{sentence}&" ","")' for cell, sentence in (
            (f"'{sheet.title}'!$B${line}", f"'{sheet.title}'!$C${line}") for line in range(first, first + len(checks))))
        for line, check in enumerate(checks, start=first):
            layout.put(sheet, f"B{line}", "=" + self.expression(check.word()), bold=True, wrap=True)
            layout.put(sheet, f"C{line}", "=" + self.expression(check.sentence(f"B{line}")), wrap=True)
            sheet.merge_cells(f"C{line}:H{line}")
            sheet.row_dimensions[line].height = 27 if check.long else 15
        last = first + len(checks) - 1
        layout.name_cell(book, f"{self.prefix}check_words", sheet, f"B{first}:B{last}")
        strong = Side(style="medium", color=layout.INK)
        sheet.conditional_formatting.add(f"B{first}:B{last}", layout.rule_where(
            f'OR(B{first}="{STOP}",B{first}="{LOOK}")', font=Font(color=layout.ACCENT, bold=True),
            border=Border(left=strong)))
        return last + 1
