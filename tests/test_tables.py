"""Tables as files: read back by other programs, and no text of a student's is ever worked out as a formula."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from dataclasses import replace

import pytest
from hand_made_course import handed, image, sheet_mark, small_class

from curvometer.course import course_numbers, find_oddities
from curvometer.course.tables import (
    Kind,
    Table,
    answers_table,
    csv_bytes,
    images_table,
    items_table,
    oddities_table,
    points_table,
    students_table,
)
from curvometer.course.workbook import workbook_bytes

EVIL = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("http://x","y")', "http://x.example"]


@pytest.fixture(scope="module")
def tables():
    course = small_class()
    numbers = course_numbers(course)
    return {
        table.name: table
        for table in (
            students_table(numbers),
            images_table(numbers),
            answers_table(course),
            points_table(course),
            oddities_table(find_oddities(course)),
        )
    }


def read_csv(table):
    return list(csv.DictReader(io.StringIO(csv_bytes(table).decode("utf-8-sig"))))


def read_book(content):
    openpyxl = pytest.importorskip("openpyxl")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the program that checks, not of this one
        return openpyxl.load_workbook(io.BytesIO(content))


def test_a_row_for_each_student(tables):
    rows = read_csv(tables["students"])
    assert [row["student"] for row in rows] == ["a", "b", "c"]
    assert rows[0]["percent"] == "81.25"
    assert rows[1]["first, occasion 2"] == "100.0"
    assert rows[2]["percent"] == ""
    assert rows[1]["error kinds"] == "stopped short of the foramen (2); went beyond the foramen (1)"
    assert rows[2]["missing"] == "first, second"


def test_a_row_for_each_item_of_each_image():
    rows = read_csv(items_table(small_class()))
    assert len(rows) == 4 * 2 * 2
    assert (
        sum(float(row["points"]) for row in rows if row["student"] == "a" and row["exercise"] == "first")
        == 35.0
    )
    assert rows[0]["reason"] == "Because."


def test_every_row_has_a_cell_for_every_column(tables):
    for table in tables.values():
        assert {len(row) for row in table.rows} <= {len(table.columns)}, table.name


def test_files_that_do_not_count_are_in_the_tables_and_say_so():
    course = small_class()
    doubled = handed(sheet_mark("b", [image("f1", 3.0)], occasion=2), file="again.json", hours=0)
    rows = read_csv(answers_table(replace(course, files=(*course.files, doubled))))
    assert [row["counts"] for row in rows if row["student"] == "b" and row["occasion"] == "2"] == [
        "yes",
        "yes",
        "no",
    ]


@pytest.mark.parametrize("text", EVIL)
def test_no_text_becomes_a_formula(text):
    table = Table(name="t", columns=(("a", Kind.TEXT), ("b", Kind.NUMBER)), rows=((text, -1.5),))
    (row,) = read_csv(table)
    assert not row["a"].startswith(("=", "+", "-", "@", "\t", "\r"))
    assert row["b"] == "-1.5"  # a number stays one
    book = workbook_bytes([table], title="t")
    cell = read_book(book)["t"]["A2"]
    assert cell.data_type == "s"
    assert cell.hyperlink is None
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")


def test_file_names_cannot_be_formulas_either():
    course = small_class()
    odd = handed(sheet_mark("z", [image("f1", 3.0)]), file="=cmd.json")
    rows = read_csv(answers_table(replace(course, files=(odd,))))
    assert rows[0]["file"] == "'=cmd.json"


def test_the_workbook_has_headings_in_sight_and_numbers_as_numbers(tables):
    book = read_book(workbook_bytes(list(tables.values()), title="Class"))
    assert book.sheetnames == ["students", "images", "answers", "items", "oddities"]
    students = book["students"]
    assert students.freeze_panes == "B2"
    assert [cell.value for cell in students["A"]] == ["student", "a", "b", "c"]
    assert students["B2"].value == 81.25
    assert students["B2"].number_format == "0.0"
    assert students["B4"].value is None
    items = [[cell.value for cell in row] for row in book["items"].iter_rows()]
    assert items[0][-4:] == ["points", "out_of", "angle", "image"]
    assert items[2][-4:] == [15.0, 20.0, 5.0, 10.0]  # a's second image
    assert len(items) == 1 + 4 * 2
    assert book["items"].auto_filter.ref == "A1:J9"


def test_the_same_class_gives_the_same_bytes(tables):
    first, again = (workbook_bytes(list(tables.values()), title="Class") for _ in range(2))
    assert first == again
