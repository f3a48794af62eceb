"""Runs under a Python that has LibreOffice's `uno`: one JSON request a line in, one JSON answer a line out."""

import json
import sys
import time
import traceback


def connect(uno, pipe):
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(300):
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except Exception:
            time.sleep(0.2)
    raise SystemExit("LibreOffice does not answer")


def _letters(column):
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


class Driver:
    def __init__(self, pipe):
        import uno
        from com.sun.star.beans import PropertyValue

        self.property = PropertyValue
        self.context = connect(uno, pipe)
        self.create = lambda name: self.context.ServiceManager.createInstanceWithContext(name, self.context)
        self.desktop = self.create("com.sun.star.frame.Desktop")
        self.document = None

    def _properties(self, **values):
        made = []
        for name, value in values.items():
            p = self.property()
            p.Name, p.Value = name, value
            made.append(p)
        return tuple(made)

    def open(self, url="private:factory/scalc"):
        """Open a workbook, or a new one."""
        self.close()
        self.document = self.desktop.loadComponentFromURL(url, "_blank", 0, self._properties(Hidden=True))

    def close(self):
        if self.document is not None:
            self.document.close(True)
            self.document = None

    def save(self, url, filter_name):
        self.document.storeToURL(url, self._properties(FilterName=filter_name))

    def calculate(self):
        self.document.calculateAll()

    def _cell(self, cell):
        error = cell.getError()
        if error:
            return {"error": error}
        kind = cell.FormulaResultType2 if cell.Type.value == "FORMULA" else 1 if cell.Type.value == "VALUE" else 2
        return cell.Value if kind == 1 else cell.String

    def write(self, cells, sheet=0):
        """Put formulas, numbers or texts into cells: {"A1": ...}. A formula over "A1:B2" is entered as an array."""
        target = self.document.Sheets.getByIndex(sheet)
        for name, content in cells.items():
            if ":" in name:
                target.getCellRangeByName(name).setArrayFormula(content)
            elif isinstance(content, str):
                cell = target.getCellRangeByName(name)
                if content.startswith("="):
                    cell.Formula = content
                else:
                    cell.String = content
            elif content is not None:
                target.getCellRangeByName(name).Value = content

    def read(self, names, sheet=0):
        target = self.document.Sheets.getByIndex(sheet)
        return [self._cell(target.getCellRangeByName(name)) for name in names]

    def every_formula(self, url):
        """Open a workbook and calculate it: {"Sheet!B2": value} of every formula on every sheet."""
        self.open(url)
        self.calculate()
        found, errors = {}, {}
        for sheet in self.document.Sheets:
            title, cursor = sheet.Name, sheet.createCursor()
            cursor.gotoEndOfUsedArea(False)
            last = cursor.RangeAddress
            values = sheet.getCellRangeByPosition(0, 0, last.EndColumn, last.EndRow).getDataArray()
            for area in sheet.queryContentCells(16).RangeAddresses:  # 16: formulas
                for row in range(area.StartRow, area.EndRow + 1):
                    for column in range(area.StartColumn, area.EndColumn + 1):
                        ref = f"{_letters(column)}{row + 1}"
                        found[f"{title}!{ref}"] = values[row][column]
                        if not isinstance(values[row][column], (float, str)):
                            errors[f"{title}!{ref}"] = f"$'{title}'.{ref}"
        if errors:  # which error it is, in one go: to ask each cell takes a millisecond
            self.document.Sheets.insertNewByName("kinds of errors", 0)
            block = self.document.Sheets.getByIndex(0).getCellRangeByPosition(0, 0, 0, len(errors) - 1)
            block.setFormulaArray(tuple((f"=ERRORTYPE({cell})",) for cell in errors.values()))
            kinds = block.getDataArray()
            found.update({cell: {"error": int(kinds[row][0])} for row, cell in enumerate(errors)})
        return found

    def formulas(self, names, sheet=0):
        target = self.document.Sheets.getByIndex(sheet)
        return [target.getCellRangeByName(name).Formula for name in names]

    def modified(self):
        return self.document.isModified()

    def evaluate(self, formulas):
        """Enter formulas below each other in one go and read their results."""
        sheet = self.document.Sheets.getByIndex(0)
        block = sheet.getCellRangeByPosition(30, 0, 30, len(formulas) - 1)
        block.setFormulaArray(tuple((f,) for f in formulas))
        return [self._cell(block.getCellByPosition(0, row)) for row in range(len(formulas))]

    def descriptions(self):
        """What the function wizard shows of every add-in function of ours."""
        functions = self.create("com.sun.star.sheet.FunctionDescriptions")
        found = {}
        for index in range(functions.Count):
            given = {p.Name: p.Value for p in functions.getByIndex(index)}
            found[given["Name"]] = {
                "category": given["Category"], "description": given["Description"],
                "arguments": [[a.Name, a.Description, a.IsOptional] for a in given["Arguments"] or ()],
            }
        return found

    def fill(self, rows):
        """Lengths of bars and parts in columns A and B."""
        sheet = self.document.Sheets.getByIndex(0)
        sheet.getCellRangeByPosition(0, 0, 1, rows - 1).setDataArray(
            tuple((100.0 + row % 97 / 4, 1.0 + row % 89 / 32) for row in range(rows)))

    def time(self, block, formula):
        """Seconds to calculate a block of cells again: one formula a row (# is the row), or {an array formula}."""
        cells = self.document.Sheets.getByIndex(0).getCellRangeByName(block)
        if formula.startswith("{"):
            cells.setArrayFormula(formula[1:-1])
        else:
            rows = range(cells.RangeAddress.StartRow + 1, cells.RangeAddress.EndRow + 2)
            cells.setFormulaArray(tuple((formula.replace("#", str(row)),) for row in rows))
        self.document.calculate()
        start = time.perf_counter()
        self.document.calculateAll()
        seconds = time.perf_counter() - start
        cells.clearContents(1 | 2 | 4 | 16)
        return seconds

    def stop(self):
        self.close()
        try:
            self.desktop.terminate()
        except Exception:  # the connection ends with the program
            return


def main():
    driver = Driver(sys.argv[1])
    print(json.dumps({"result": "ready"}), flush=True)
    for line in sys.stdin:
        request = json.loads(line)
        try:
            answer = {"result": getattr(driver, request["do"])(**request["with"])}
        except Exception:
            answer = {"problem": traceback.format_exc()}
        print(json.dumps(answer), flush=True)
        if request["do"] == "stop":
            return


if __name__ == "__main__":
    main()
