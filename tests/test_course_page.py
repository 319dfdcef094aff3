"""Pages and printed reports: whole, readable without eyes, safe, and each student sees nobody else's work."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest
from hand_made_course import course, handed, image, line, sheet_mark, small_class

from curvometer.assessment import AssessmentError, ErrorKind
from curvometer.course import course_numbers, find_oddities
from curvometer.course.packages import needed
from curvometer.course.page import Pages, number, points, sheet_files, signed
from curvometer.course.pdf import class_pdf, sheets_pdf
from curvometer.course.plots import histogram_svg, progress_svg, sketch_svg

VOID = {"meta", "br", "path", "rect", "circle", "polyline", "link", "img"}


class Checker(HTMLParser):
    """Whether tags close, tables have headings, pictures a title, and nothing comes from elsewhere."""

    def __init__(self):
        super().__init__()
        self.open, self.links, self.ids, self.untold, self.headless = [], [], set(), 0, 0

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        assert tag not in ("script", "iframe", "img", "link")
        self.ids.add(found.get("id"))
        if tag == "a":
            self.links.append(found["href"])
        if tag == "th":
            self.headless += "scope" not in found
        if tag == "svg":
            self.untold += 1
        if tag == "title" and "svg" in self.open:
            self.untold -= 1
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def checked(page):
    checker = Checker()
    checker.feed(page)
    assert checker.open == []
    assert checker.untold == 0
    assert checker.headless == 0
    assert not re.search(
        r"(src|href|url)\s*[=(]\s*[\"']?(https?:)?//", page.replace("http://www.w3.org/2000/svg", "")
    )
    return checker


@pytest.fixture(scope="module")
def pages():
    known = small_class()
    return Pages(known, course_numbers(known), find_oddities(known))


def test_the_page_of_the_class_is_whole(pages):
    page = pages.class_page()
    checker = checked(page)
    for link in checker.links:
        assert link.startswith("students/sheet_") or link[1:] in checker.ids
    for words in ("Distribution", "stopped short of the foramen", "nothing handed in", "81.2", "first/f2"):
        assert words in page
    assert "students/sheet_a.html" in page
    assert "sheet_c.html" not in page


def test_a_sheet_holds_the_own_marks_and_nobody_elses(pages):
    first, second, _ = pages.numbers.students
    page = pages.sheet(first)
    checked(page)
    assert "The first &lt;exercise&gt;" in page  # a title is text
    assert "87.5 %" in page
    assert "Because." in page
    assert ">b<" not in page
    assert page.count("<svg") == 4  # two images of two exercises, with a line of the student's on one
    assert page.count("the reference and your tracing") == 1
    assert ">a<" not in pages.sheet(second)


def test_words_of_a_file_are_text():
    evil = "<script>alert(1)</script>"
    known = course([handed(sheet_mark("a", [image("f1", 1.0, cap_reason=evil)], remarks=(evil,)), file=evil)])
    made = Pages(known, course_numbers(known), find_oddities(known))
    checked(made.class_page())
    checked(made.sheet(made.numbers.students[0]))
    assert evil not in made.class_page()


def test_a_class_of_one_and_of_nobody():
    one = course([handed(sheet_mark("a", [image("f1", 10.0)]))])
    checked(Pages(one, course_numbers(one), ()).class_page())
    nobody = course([], roster=("a",))
    numbers, odd = course_numbers(nobody), find_oddities(nobody)
    assert "handed in nothing" in Pages(nobody, numbers, odd).class_page()
    assert class_pdf(nobody, numbers, odd).startswith(b"%PDF")


def test_sheets_of_names_that_differ_in_capitals_only_are_two_files():
    names = sheet_files(["Ab", "aB", "con"])
    assert names == {"Ab": "sheet_Ab.html", "aB": "sheet_aB-2.html", "con": "sheet_con.html"}


def test_the_printed_reports_open_and_are_the_same_each_time():
    known = small_class()
    numbers, odd = course_numbers(known), find_oddities(known)
    report, sheets = class_pdf(known, numbers, odd), sheets_pdf(known, numbers)
    assert report.startswith(b"%PDF-")
    assert report.rstrip().endswith(b"%%EOF")
    assert report == class_pdf(known, numbers, odd)
    assert len(re.findall(rb"/Type\s*/Page\b", sheets)) == 2  # a and b; c handed in nothing


def test_words_are_no_markup_in_print():
    evil = "#panic() *x* $ \\ [ <a> @b"
    known = course(
        [handed(sheet_mark("a", [image("f1", 1.0, [ErrorKind.ANGLE], cap_reason=evil)], remarks=(evil,)))]
    )
    numbers = course_numbers(known)
    assert class_pdf(known, numbers, find_oddities(known)).startswith(b"%PDF")
    assert sheets_pdf(known, numbers).startswith(b"%PDF")


def test_a_missing_package_is_one_sentence():
    with pytest.raises(
        AssessmentError, match=r"needs the package no_such_thing: install it with .*\[reports\]"
    ):
        needed("no_such_thing")


def test_pictures_are_xml_and_say_what_they_show():
    numbers = course_numbers(small_class())
    for picture in (
        histogram_svg(numbers.bins, numbers.spread),
        progress_svg(numbers.occasions),
        sketch_svg(line(), line(3.0), "told <b>"),
    ):
        root = ElementTree.fromstring(picture)
        assert root[0].tag.endswith("title")
        assert root[0].text
    assert sketch_svg(None, None, "") == ""


def test_numbers_in_words():
    assert [number(-0.04, 1), number(2.55, 0), signed(-1.25), signed(0.01), points(7.5), points(10.0)] == [
        "0.0", "3", "−1.2", "0.0", "7.5", "10",
    ]  # fmt: skip
