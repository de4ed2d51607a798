# SPDX-License-Identifier: MIT
"""compare.py CSV FODS [text]: the cells of a table as LibreOffice opened it are those that Python's csv module reads, and none
is a formula, a link or a part of another sheet. Numbers are compared by value; with `text`, where the columns were opened as
text, nothing may be anything but text. Prints what differs, then "CELLS cells, NUMBERS numbers"."""
import csv
import sys
import xml.etree.ElementTree as xml

OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


def words(node):
    """OpenDocument 1.3, 6.1: spaces, tabs and line breaks are elements."""
    text = node.text or ""
    for part in node:
        if part.tag == TEXT + "s":
            text += " " * int(part.get(TEXT + "c", "1"))
        elif part.tag == TEXT + "tab":
            text += "\t"
        elif part.tag == TEXT + "line-break":
            text += "\n"
        else:
            text += words(part)
        text += part.tail or ""
    return text


def cells_of(row):
    for cell in row:
        if cell.tag in (TABLE + "table-cell", TABLE + "covered-table-cell"):
            for _ in range(int(cell.get(TABLE + "number-columns-repeated", "1"))):
                yield cell


def rows_of(table):
    for row in table.iter(TABLE + "table-row"):
        for _ in range(min(int(row.get(TABLE + "number-rows-repeated", "1")), 100)):
            yield list(cells_of(row))


def problem(cell, wanted, as_text):
    if any("formula" in name for name in cell.attrib) or cell.find(".//" + TEXT + "a") is not None:
        return "is a formula or a link"
    kind = cell.get(OFFICE + "value-type", "none")
    if kind == "float" and not as_text:
        try:
            return "" if float(cell.get(OFFICE + "value")) == float(wanted) else "has the value " + cell.get(OFFICE + "value")
        except ValueError:
            return "became the number " + cell.get(OFFICE + "value")
    if kind not in ("string", "none"):
        return "became a " + kind
    shown = "\n".join(words(part) for part in cell.findall(TEXT + "p"))
    return "" if shown == wanted.replace("\r\n", "\n").replace("\r", "\n") else "reads " + repr(shown)


def main():
    as_text = sys.argv[3:] == ["text"]
    with open(sys.argv[1], encoding="utf-8", newline="") as file:
        wanted = list(csv.reader(file, strict=True))
    tables = xml.parse(sys.argv[2]).getroot().findall(".//" + TABLE + "table")
    opened = list(rows_of(tables[0]))
    failed = len(tables) != 1 or len(wanted) < 1
    numbers = 0
    for y, row in enumerate(wanted):
        for x, text in enumerate(row):
            cell = opened[y][x] if y < len(opened) and x < len(opened[y]) else None
            wrong = "is not there" if cell is None and text else problem(cell, text, as_text) if cell is not None else ""
            numbers += cell is not None and cell.get(OFFICE + "value-type") == "float"
            if wrong:
                failed = True
                print(f"{sys.argv[1]}: row {y + 1}, {wanted[0][x]}: {text!r} {wrong}")
    extra = [words(part) for row in opened[len(wanted):] for cell in row for part in cell.findall(TEXT + "p")]
    extra += [words(part) for row in opened for cell in row[len(wanted[0]):] for part in cell.findall(TEXT + "p")]
    if extra:
        failed = True
        print(f"{sys.argv[1]}: cells that nobody wrote: {extra[:5]}")
    print(f"{sum(map(len, wanted))} cells, {numbers} numbers")
    return failed


sys.exit(main())
