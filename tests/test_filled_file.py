"""The bytes of a filled workbook: the same for the same job whatever was filled before, and all of it written."""

import io
import random
import zipfile

import pytest
from job_generator import good_job, good_quote

import barfuncs as bf
from barfuncs.filling.filler import Filler, _Slot, _Stretch, read_inputs
from barfuncs.templates.layout import on_papers
from barfuncs.xlsx.engine import Workbook, address_on
from barfuncs.xlsx.package import packed, read_parts, zip_of
from barfuncs.xlsx.sheetxml import Cell, CellError, SheetXML

GENERATORS = {"job_plan": good_job, "quote": good_quote}


def good_inputs(template: str, count: int, filler: Filler) -> list[dict]:
    """Inputs of jobs that can be filled; the second one has a material of its own."""
    rng, found = random.Random(11), []
    while len(found) < count:
        job = GENERATORS[template](rng) | ({"material": "8.1 g/cm3"} if len(found) == 1 else {})
        try:
            inputs = read_inputs(job, template)
            filler.fill(inputs)
        except bf.InputError:
            continue
        found.append(inputs)
    return found


@pytest.mark.parametrize("template", GENERATORS)
def test_the_job_before_leaves_no_trace(template):
    filler = Filler(template)
    jobs = good_inputs(template, 4, filler)
    first = [filler.fill(job).data for job in jobs]
    assert len(set(first)) == len(jobs)
    assert [filler.fill(job).data for job in reversed(jobs)] == first[::-1]
    fresh = Filler(template)
    for n in (2, 1):
        assert fresh.fill(jobs[n]).data == first[n]
        fresh = Filler(template)


@pytest.mark.parametrize("template", GENERATORS)
def test_every_cell_holds_the_value_of_its_job(template):
    """Against the template's sheets with all values put in at once, without stretches."""
    filler = Filler(template)
    for inputs in good_inputs(template, 3, filler):
        filled = filler.fill(inputs)
        with zipfile.ZipFile(io.BytesIO(filled.data)) as archive:
            assert archive.testzip() is None
        parts = read_parts(filled.data)
        assert sorted(parts) == sorted(filler.book.parts)
        at = {address: inputs[name] for name, address in filler.inputs.items()}
        for index, part in filler.book.sheet_parts().items():
            xml = SheetXML(filler.book.parts[part])
            changing = xml.calculated() | {ref for ref in xml.cells if address_on(index, ref) in at}
            values = {ref: at[a] if (a := address_on(index, ref)) in at else filler.book.value_at(a) for ref in changing}
            if index == filler.own_name[0]:
                continue  # the materials: their own cells are no inputs
            assert parts[part] == on_papers(xml.with_values(values))[filled.paper], part


def cells_after(*values: object) -> list[bytes]:
    """The XML of a formula's cell with one value after the other."""
    stretch = _Stretch([b"<row>", _Slot(Cell("A1", "3", 0, 0, None, "c"), (0, 1, 1), "name"), b"</row>"])
    return [stretch.packed(_NO_BOOK, {"name": value})[0] for value in values]


class _NoBook(Workbook):
    def __init__(self) -> None: ...

    def values_at(self, addresses):
        assert not list(addresses)
        return []


_NO_BOOK = _NoBook()


@pytest.mark.parametrize(("before", "after"), [
    (1.0, True), (True, 1.0), (0.0, False), ("#N/A", CellError("#N/A")), (CellError("#N/A"), "#N/A"), (None, ""), ("", None), (2.0, 3.0)])
def test_values_that_are_equal_but_not_the_same_are_written_anew(before, after):
    assert cells_after(before, after, before) == cells_after(before) + cells_after(after) + cells_after(before)
    assert cells_after(before) != cells_after(after)


def test_a_zip_of_packed_parts_is_read_as_any_other():
    parts = {"a.xml": b"", "b/c.xml": b"<c/>" * 50_000, "d.bin": random.Random(3).randbytes(70_000)}
    data = zip_of(packed(name, part) for name, part in parts.items())
    assert data == zip_of(packed(name, part) for name, part in parts.items())
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        assert {info.filename: archive.read(info) for info in archive.infolist()} == parts
        assert {(info.date_time, info.external_attr, info.create_system) for info in archive.infolist()} == {
            ((2026, 1, 1, 0, 0, 0), 0o600 << 16, 3)}
