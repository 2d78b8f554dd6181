"""Scanned texts taken apart: published examples, what scanners make of them, and what breaks."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.scanned import (
    IDENTIFIERS,
    PREDEFINED,
    Element,
    Kind,
    NotALabel,
    Place,
    build,
    build_link,
    check_digit,
    gtin14,
    read_scan,
    read_unmarked,
)

GS = "\x1d"
EXAMPLE = (Element("01", "09506000134352"), Element("10", "ABC1"), Element("21", "12345"), Element("17", "280426"))


@pytest.mark.parametrize(
    ("digits", "check"),
    # Worked examples of the GS1 check digit calculator (a GTIN-13 and an SSCC) and of the Digital Link documents.
    [("629104150021", "3"), ("37610425002123456", "9"), ("0950600013435", "2")],
)
def test_check_digit_of_published_examples(digits, check):
    assert check_digit(digits) == check


@pytest.mark.parametrize(
    "text",
    [
        f"]d2010950600013435210ABC1{GS}2112345{GS}17280426",
        f"]C1010950600013435210ABC1{GS}2112345{GS}17280426{GS}",
        f"]Q3{GS}010950600013435210ABC1{GS}2112345{GS}17280426",
        f"{GS}010950600013435210ABC1{GS}2112345{GS}17280426",
        "010950600013435210ABC1␝2112345␝17280426",
        "]d2010950600013435210ABC1<GS>2112345<GS>17280426",
        "(01)09506000134352(10)ABC1(21)12345(17)280426",
        " (01) 09506000134352 (10) ABC1 (21) 12345 (17) 280426\r\n",
    ],
)
def test_one_label_in_every_way_a_scanner_sends_it(text):
    scanned = read_scan(text)
    assert scanned.elements == EXAMPLE
    assert (scanned.kind, scanned.text) == (Kind.GS1, "(01)09506000134352(10)ABC1(21)12345(17)280426")
    assert (scanned.gtin, scanned.lot, scanned.serial) == ("09506000134352", "ABC1", "12345")


def test_digital_link_of_the_published_form():
    scanned = read_scan("https://id.example/some/way/01/09506000134352/10/ABC1/21/12345?17=280426&linkType=x")
    assert (scanned.kind, scanned.elements) == (Kind.LINK, EXAMPLE)
    assert read_scan("https://id.example/01/9506000134352/10/A%2FB").lot == "A/B"
    assert read_scan("https://id.example/01/9506000134352").gtin == "09506000134352"


def test_address_that_is_no_digital_link_stays_an_address():
    assert read_scan("https://shop.example/make/batch/J-1/").kind is Kind.ADDRESS
    assert read_scan("https://shop.example/prove/documents/01/").kind is Kind.ADDRESS


def test_carton_code_and_counts():
    scanned = read_scan(f"]C100376104250021234569{'37'}5000")
    assert (scanned.serial, scanned.data("37")) == ("376104250021234569", "5000")


def test_retail_symbol_is_its_item_number():
    assert read_scan("]E06291041500213").gtin == "06291041500213"


@pytest.mark.parametrize(
    ("text", "kind", "place"),
    [
        ("J-1001-S1 rev 2 1/A", Kind.TRAVELLER, Place("J-1001-S1", 2, "1", "A")),
        ("]d1J-1001-S1 rev 2 1/A", Kind.TRAVELLER, Place("J-1001-S1", 2, "1", "A")),
        ("J-1001-S1 rev 2 1 bag 3", Kind.BAG_TAG, Place("J-1001-S1", 2, "1", "", 3)),
        ("J-1001-S1 rev 2 1", Kind.BAG_TAG, Place("J-1001-S1", 2, "1")),
        ("TL-2001", Kind.PLAIN, None),
        ("]C0TL-2001", Kind.PLAIN, None),
        ("(see other side)", Kind.PLAIN, None),
    ],
)
def test_labels_of_our_own(text, kind, place):
    scanned = read_scan(text)
    assert (scanned.kind, scanned.place, scanned.elements) == (kind, place, ())


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("(01)09506000134353", "scan.check_digit"),
        ("]C100376104250021234568", "scan.check_digit"),
        ("]d20109506000134", "scan.length"),
        ("]d210" + "A" * 21, "scan.length"),
        (f"]d210{GS}21A", "scan.length"),
        ("]d20509506000134352", "scan.identifier"),
        ("(0506)1", "scan.identifier"),
        ("]d210A B", "scan.data"),
        ("]d237A", "scan.data"),
        ("]d217281326", "scan.date"),
        ("]d217280231", "scan.date"),
        (f"]d210A{GS}10B", "scan.twice"),
        ("]d2" + GS, "scan.empty"),
        ("A" * 201, "scan.too_long"),
        ("TL\x0220", "scan.characters"),
        ("https://id.example/01/09506000134353/10/A", "scan.check_digit"),
    ],
)
def test_broken_labels_are_refused_by_name(text, rule):
    with pytest.raises(NotALabel) as refused:
        read_scan(text)
    assert refused.value.rule == rule


@pytest.mark.parametrize(
    ("label", "today", "last_day"),
    [
        # The centuries of the General Specifications, section 7.12 (from memory): 51 to 99 ahead is the past, 50 to 99 back the future.
        ("(17)261231", date(2026, 11, 26), date(2026, 12, 31)),
        ("(17)760101", date(2026, 11, 26), date(2076, 1, 1)),
        ("(17)770101", date(2026, 11, 26), date(1977, 1, 1)),
        ("(17)490101", date(2098, 5, 1), date(2049, 1, 1)),
        ("(17)480101", date(2098, 5, 1), date(2148, 1, 1)),
        ("(17)280200", date(2026, 11, 26), date(2028, 2, 29)),  # day 00: the end of the month
        ("(17)270200", date(2026, 11, 26), date(2027, 2, 28)),
        ("(17)270229", date(2026, 11, 26), date(2027, 2, 28)),
        ("(7003)2612240930", date(2026, 11, 26), date(2026, 12, 24)),
        ("(10)7Q41", date(2026, 11, 26), None),
        ("(11)200101(15)200101", date(2026, 11, 26), None),  # made and best before: no end of use
    ],
)
def test_last_day_of_use_on_a_label(label, today, last_day):
    assert read_scan(label).expires_on(today) == last_day


@given(st.dates(date(2000, 1, 1), date(2120, 1, 1)), st.integers(-49, 50))
def test_expiry_near_today_reads_back(today, years):
    written = date(today.year + years, today.month, min(today.day, 28))
    assert read_scan(f"(17){written:%y%m%d}").expires_on(today) == written


def test_unmarked_element_strings_are_tried_only_where_the_check_digit_holds():
    assert read_unmarked("010950600013435210ABC1").lot == "ABC1"
    assert read_unmarked("010950600013435310ABC1") is None
    assert read_unmarked("0109506000134352zz") is None
    assert read_unmarked("10ABC1") is None


@pytest.mark.parametrize("text", ["6291041500213", "06291041500213"])
def test_item_number_of_any_length_becomes_fourteen_figures(text):
    assert gtin14(text) == "06291041500213"


@pytest.mark.parametrize(("text", "rule"), [("629104150021", "scan.check_digit"), ("62910416", "scan.check_digit"), ("12345", "scan.gtin")])
def test_item_number_with_a_slip_is_refused(text, rule):
    with pytest.raises(NotALabel) as refused:
        gtin14(text)
    assert refused.value.rule == rule


def test_no_identifier_begins_another():
    for ai in IDENTIFIERS:
        assert not [other for other in IDENTIFIERS if other != ai and other.startswith(ai)]


SAFE = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-./_*+,:;=?!%&'\"<>"


@st.composite
def element(draw, ai):
    row = IDENTIFIERS[ai]
    if ai in {"11", "12", "13", "15", "16", "17", "7003"}:
        day = f"{draw(st.integers(0, 99)):02}{draw(st.integers(1, 12)):02}{draw(st.integers(0, 28)):02}"
        return Element(ai, day + ("1230" if ai == "7003" else ""))
    length = draw(st.integers(row.least, row.most))
    data = draw(st.text("0123456789" if row.digits else SAFE, min_size=length, max_size=length))
    if row.check:
        head = draw(st.text("0123456789", min_size=row.check - 1, max_size=row.check - 1))
        data = head + check_digit(head) + data[row.check :]
    return Element(ai, data)


@st.composite
def labels(draw):
    identifiers = draw(st.lists(st.sampled_from(sorted(IDENTIFIERS)), min_size=1, max_size=4, unique=True))
    found = [draw(element(ai)) for ai in identifiers]
    while sum(len(e.ai) + len(e.data) + 1 for e in found) > 190:
        found.pop()
    return found or [Element("10", "A")]


def spelled_like_a_separator(elements):
    return any(word in e.data for e in elements for word in ("<GS>",))


@given(labels())
def test_what_was_built_reads_back(elements):
    if spelled_like_a_separator(elements):
        return
    assert list(read_scan("]d2" + build(elements)).elements) == elements
    # A separator where none is needed is forgiven.
    padded = "".join(e.ai + e.data + GS for e in elements)
    assert list(read_scan("]C1" + padded).elements) == elements


@given(labels())
def test_link_says_the_same(elements):
    elements = [Element("01", "09506000134352"), *(e for e in elements if e.ai not in ("01",))]
    link = build_link(elements, "https://label.example")
    if len(link) > 200 or spelled_like_a_separator(elements):
        return
    assert set(read_scan(link).elements) == set(elements)


@given(st.text(max_size=220))
def test_any_text_is_read_or_refused(text):
    try:
        read = read_scan(text)
    except NotALabel:
        return
    assert read.elements or read.text == text.strip(" \t\r\n") or read.symbology


def test_predefined_lengths_agree_with_the_table():
    for ai, row in IDENTIFIERS.items():
        if ai[:2] in PREDEFINED:
            assert row.least == row.most == PREDEFINED[ai[:2]] - len(ai)
