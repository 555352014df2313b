"""The packet as a PDF: complete, honest, the same bytes for the same content, whatever names it holds."""

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pikepdf
import pytest
from pypdf import PdfReader

from qc_app.measure.conformity import Verdict
from qc_app.packet.characters import MISSING, PRINTABLE, printable
from qc_app.packet.content import BuildingPacket, PlanUsed, StationCautions
from qc_app.packet.document import building_pdf
from qc_app.packet.panel_record import CheckLine, PanelRecord, StationRecord, ToldIn
from qc_app.packet.reading_line import Fate, ReadingLine
from qc_app.packet.readings_table import COLUMNS, readings_csv
from qc_app.plan.characteristic import Requirement
from qc_app.plan.quantity import Quantity, Units

MADE_AT = datetime(2026, 3, 11, 15, 0, tzinfo=UTC)
HOSTILE = "#evil[*x*]"


def reading(verdict: Verdict = Verdict.WITHIN, fate: Fate = Fate.STANDS) -> ReadingLine:
    """A core of 3.8, or of 3.21 lb/ft³ where it is to lie outside."""
    amount = 3_800_000 if verdict is Verdict.WITHIN else 3_210_000
    return ReadingLine(
        uuid="00000000-0000-4000-8000-000000000001",
        station="Fill",
        name="Core-sample density",
        place="bay 3",
        quantity=Quantity.DENSITY,
        amount=amount,
        requirement=Requirement(4_000_000, 3_500_000, 4_500_000),
        verdict=verdict,
        fate=fate,
        entered="Mass of the core 46.53 g; Depth of the core 11 1/4",
        value=f"{amount / 1e6:.2f} lb/ft³",
        spread="± 0.06 lb/ft³",
        target="4.00 lb/ft³",
        limits="3.50 lb/ft³ to 4.50 lb/ft³",
        deviation=f"−{4 - amount / 1e6:.2f} lb/ft³",
        companions=('Lean over the width: 1/16"',),
        measured_at=MADE_AT,
        received_at=MADE_AT,
        by="Wren Abbey",
        instruments=("Cutter 1", "Scale 1"),
        note="",
        units=Units(),
    )


def line(newest: ReadingLine | None, *earlier: ReadingLine) -> CheckLine:
    limits = "3.50 lb/ft³ to 4.50 lb/ft³"
    return CheckLine("Core-sample density", "bay 3", True, "4.00 lb/ft³", limits, newest, earlier)


def panel(mark: str, *checks: CheckLine) -> PanelRecord:
    stations = (StationRecord("Fill", checks),)
    return PanelRecord(
        mark, "Closed roof panel", "24' 0\"", "8' 0\"", '11 1/4"', "South slope", 1, 1, stations
    )


def packet(*panels: PanelRecord) -> BuildingPacket:
    return BuildingPacket(
        plant="Plumb & Larch Panel Works",
        code="H1",
        name="Fern Hollow House",
        made_at=MADE_AT,
        time_zone="America/New_York",
        units=Units(),
        plans=(PlanUsed("Default plan", 1, MADE_AT),),
        cautions=(StationCautions("Final", ("Nobody between panel and stack.",)),),
        panels=panels,
    )


def pages(pdf: bytes) -> list[str]:
    """The text of each page, with every run of spaces as one."""
    return [squeezed(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    return " ".join(text.replace("\N{ZERO WIDTH SPACE}", "").split())


def table(pdf: bytes) -> list[dict[str, str]]:
    """The rows of the attached file."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert list(opened.attachments) == ["readings.csv"]
        attached = opened.attachments["readings.csv"].get_file()
        assert attached.mime_type == "text/csv"
        return rows(attached.read_bytes())


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_the_same_content_gives_the_same_bytes() -> None:
    content = packet(panel("R-01", line(reading())))
    assert building_pdf(content) == building_pdf(content)


def test_it_declares_archive_and_accessibility_title_and_language() -> None:
    with pikepdf.open(io.BytesIO(building_pdf(packet(panel("R-01", line(None)))))) as pdf:
        with pdf.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
            assert metadata["pdfuaid:part"] == "1"
            assert metadata["dc:title"] == "Handover packet: Fern Hollow House (H1)"
            assert metadata["xmp:CreateDate"].startswith("2026-03-11T15:00:00")
        assert str(pdf.Root.Lang) == "en-US"
        assert pdf.Root.MarkInfo.Marked
        assert len(pdf.open_outline().root) == 4


def test_each_panel_begins_a_page_of_its_own() -> None:
    text = pages(building_pdf(packet(*(panel(f"R-{n:02}", line(reading())) for n in range(1, 6)))))
    beginnings = [page for page in text if page.startswith("Panel R-")]
    assert [page.split()[1] for page in beginnings] == ["R-01", "R-02", "R-03", "R-04", "R-05"]
    assert all(f"page {n} of {len(text)}" in page for n, page in enumerate(text, 1))
    assert f"Fern Hollow House (H1) · R-05 · 11 March 2026 page {len(text)}" in text[-1]


def test_open_points_come_early_and_are_plain() -> None:
    thin = panel("R-01", line(reading(Verdict.OUTSIDE)))
    text = pages(building_pdf(packet(thin, panel("R-02", line(reading())), panel("R-03", line(None)))))
    assert text[1].startswith("Open points")
    statement = "This packet is a record of what was measured. 2 panels are not proven yet."
    assert statement in text[0]
    assert statement in text[1]
    assert "Core-sample density, bay 3: 3.21 lb/ft³, below the lower limit 3.50 lb/ft³." in text[1]
    assert "Nothing recorded yet; 1 check is due." in text[1]
    assert "R-02" not in text[1]


def test_what_is_not_recorded_stands_in_one_sentence_after_what_is_outside() -> None:
    other = replace(line(None), name="Air seal of joints", place="")
    text = pages(building_pdf(packet(panel("R-01", other, line(reading(Verdict.OUTSIDE))))))
    outside = text[1].index("below the lower limit")
    assert text[1].index("Air seal of joints: not yet recorded.") > outside


def test_a_wholly_proven_building_says_so_and_no_more() -> None:
    text = pages(building_pdf(packet(panel("R-01", line(reading())))))
    assert "Every check that the control plan asks for is recorded within its limits." in text[0]
    assert "not proven yet." not in " ".join(text)


def test_a_reading_is_printed_against_its_limits_with_its_state_in_words() -> None:
    page = pages(building_pdf(packet(panel("R-01", line(reading())))))[-1]
    for part in (
        "3.80 lb/ft³",
        "entered Mass of the core 46.53 g",
        "3.50 lb/ft³ to 4.50 lb/ft³",
        "target 4.00 lb/ft³",
        "−0.20 lb/ft³",
        "within",
        "Wren Abbey",
        "Scale 1",
        "Lean over the width",
        "11 Mar 2026, 15:00",
    ):
        assert part in page


def test_earlier_readings_are_printed_and_attached() -> None:
    first = reading(Verdict.OUTSIDE, Fate.MEASURED_AGAIN)
    pdf = building_pdf(packet(panel("R-01", line(reading(), first))))
    assert "First 3.21 lb/ft³" in pages(pdf)[-1]
    assert "measured again" in pages(pdf)[-1]
    assert [row["reading"] for row in table(pdf)] == ["measured again", "stands"]


def test_cautions_are_printed_once_and_defer_to_code_and_licence() -> None:
    text = " ".join(pages(building_pdf(packet(panel("R-01", line(None)), panel("R-02", line(None))))))
    assert text.count("Nobody between panel and stack.") == 1
    assert "local code" in text
    assert "qualified rigger" in text


def test_a_building_without_panels_is_a_packet_that_proves_nothing() -> None:
    pdf = building_pdf(replace(packet(), plans=(), cautions=()))
    assert len(pages(pdf)) == 2
    assert "The building has no panels on the schedule, so nothing is proven." in pages(pdf)[0]
    assert table(pdf) == []


def test_hostile_names_stay_text() -> None:
    evil = replace(reading(), by=HOSTILE, note="$x$ #panic() \\u{41} // @cite <label>")
    content = replace(packet(panel("=cmd|'/c'!A0", line(evil))), name=HOSTILE)
    pdf = building_pdf(content)
    text = pages(pdf)
    assert HOSTILE in text[0]
    assert HOSTILE in text[-1]
    assert "$x$ #panic() \\u{41} // @cite <label>" in text[-1]
    assert "=cmd|'/c'!A0" in text[-1]
    assert table(pdf)[0]["panel"] == "'=cmd|'/c'!A0"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_a_spreadsheet_would_run_is_made_harmless(start: str) -> None:
    (row,) = rows(readings_csv(packet(panel("R-01", line(replace(reading(), note=f"{start}1+1"))))))
    assert row["note"] == f"'{start}1+1"


def test_numbers_in_the_attached_file_stay_numbers() -> None:
    (row,) = rows(readings_csv(packet(panel("R-01", line(reading(Verdict.OUTSIDE))))))
    numbers = [float(row[name]) for name in ("value", "target", "lower limit", "upper limit", "deviation")]
    assert numbers == [3.21, 4.0, 3.5, 4.5, -0.79]
    assert (row["unit"], row["verdict"]) == ("lb/ft³", "outside")
    assert tuple(row) == COLUMNS


def test_characters_without_a_glyph_are_shown_as_missing_and_kept_in_the_attached_file() -> None:
    name = "Ægir 漢字 \N{PANDA FACE} \N{RIGHT-TO-LEFT OVERRIDE}x\x07"
    pdf = building_pdf(packet(panel("R-01", line(replace(reading(), note=name)))))
    assert f"Ægir {MISSING * 2} {MISSING} {MISSING}x{MISSING}" in pages(pdf)[-1]
    assert "stands for a character" in pages(pdf)[0]
    assert table(pdf)[0]["note"] == name
    assert "stands for a character" not in pages(building_pdf(packet(panel("R-01", line(reading())))))[0]


def test_every_character_called_printable_has_a_glyph() -> None:
    letters = " ".join(chr(code) for first, last in PRINTABLE for code in range(first, last + 1))
    text = pages(building_pdf(replace(packet(), plant=letters)))[0]
    assert "Щ" in text, "the packet fell back to plain letters"


def test_marks_that_no_font_can_set_on_their_letter_do_not_stop_the_packet() -> None:
    awkward = f"{MISSING}\N{DEVANAGARI SIGN NUKTA} Weft"
    assert printable(awkward) == awkward
    assert f"{MISSING * 2} Weft" in pages(building_pdf(replace(packet(), name=awkward)))[0]


def test_long_names_without_a_space_are_printed_whole() -> None:
    mark, note = "M" * 40, "w" * 1000
    content = replace(packet(panel(mark, line(replace(reading(), note=note, by="B" * 120)))), name="N" * 120)
    text = "".join(pages(building_pdf(content))).replace(" ", "")
    assert "N" * 120 in text
    assert note in text
    assert mark in text


def bay(number: int, newest: ReadingLine | None = None) -> CheckLine:
    limits = "3.50 lb/ft³ to 4.50 lb/ft³"
    return CheckLine(
        "Fill of bay", f"bay {number}", True, "4.00 lb/ft³", limits, newest, (), told_in=ToldIn.BAYS
    )


def through(mark: str, name: str, newest: ReadingLine | None = None) -> CheckLine:
    place, words = f"penetration {mark}", "outer face, 4 in, pipe sleeve"
    return CheckLine(name, place, True, "", "no faults", newest, (), words, ToldIn.PENETRATIONS)


def test_bays_are_printed_in_a_table_of_their_own() -> None:
    blown = replace(reading(), typed={"mass": "56.2 lb", "setting": "gate 5", "seconds": "102"})
    pdf = building_pdf(packet(panel("R-01", *(bay(n, blown) for n in range(1, 12)), bay(12))))
    page = pages(pdf)[-1]
    assert page.startswith("Panel R-01")
    assert "Bay Setting Mass blown Seconds Density Deviation State Measured" in page
    assert page.count("gate 5 56.2 lb 102 3.80 lb/ft³") == 11
    assert "12 not recorded" in page
    assert len(table(pdf)) == 11


def test_bays_not_recorded_are_one_open_point() -> None:
    text = pages(building_pdf(packet(panel("R-01", line(reading()), bay(1), bay(2), bay(3)))))
    assert "Fill of bay, bays 1, 2, 3: not yet recorded." in text[1]


def test_penetrations_are_printed_one_by_one() -> None:
    checks = [through(mark, name) for name in ("Sleeve as scheduled", "Seal") for mark in ("P1", "V2")]
    page = pages(building_pdf(packet(panel("R-01", *checks))))[-1]
    assert "Mark As scheduled Sleeve as scheduled Seal" in page
    assert page.index("P1 outer face, 4 in, pipe sleeve") < page.index("V2 outer face, 4 in, pipe sleeve")
    assert "Check Reading Limits" in page


def test_places_photos_and_reasons_are_printed_and_attached() -> None:
    photo = "5e" * 32
    newest = replace(reading(), where="about 6' 0\" from end AD", typed={"where": "250,500"}, photos=(photo,))
    wrong = replace(reading(Verdict.OUTSIDE, Fate.CORRECTED), corrected_because="Wrong bay typed")
    pdf = building_pdf(packet(panel("R-01", line(newest, wrong))))
    page = pages(pdf)[-1]
    assert "about 6' 0\" from end AD" in page
    assert f"1 photo, SHA-256 {photo}" in page
    assert "corrected, because: Wrong bay typed." in page
    first, last = table(pdf)
    assert (first["corrected because"], last["corrected because"]) == ("Wrong bay typed", "")
    assert (last["places of faults"], last["photos (SHA-256)"]) == ("250,500", photo)


def test_all_of_it_is_still_for_the_archive_and_for_reading_aloud() -> None:
    checks = (line(reading()), bay(1, reading()), bay(2), through("P1", "Seal"))
    with pikepdf.open(io.BytesIO(building_pdf(packet(panel("R-01", *checks))))) as pdf:
        with pdf.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
            assert metadata["pdfuaid:part"] == "1"
        assert len(pdf.open_outline().root) == 4


def headed(text: list[str]) -> Iterator[str]:
    """The pages that hold a part of a panel's table."""
    return (page for page in text if "Check Reading Limits Deviation State Measured" in page)


def test_a_panel_with_more_checks_than_a_page_goes_on_under_the_same_head() -> None:
    many = [replace(line(reading()), place=f"bay {n}") for n in range(1, 61)]
    text = pages(building_pdf(packet(panel("R-01", *many))))
    table_pages = list(headed(text))
    assert len(table_pages) > 2
    assert all("Fill" in page and "R-01" in page for page in table_pages)
    assert all(f"bay {n} " in " ".join(table_pages) for n in range(1, 61))


def test_two_hundred_panels_are_one_packet() -> None:
    content = packet(*(panel(f"R-{n:03}", line(reading())) for n in range(200)))
    pdf = building_pdf(content)
    assert len(PdfReader(io.BytesIO(pdf)).pages) >= 202
    assert len(table(pdf)) == 200
