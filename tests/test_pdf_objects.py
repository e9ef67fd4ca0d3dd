"""What is written without the drawing library is written as it would have written it."""

from __future__ import annotations

import gc
import io
import sys
import zlib
from contextlib import suppress
from subprocess import run

import pytest
from reportlab.pdfbase import pdfdoc, pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from preplan.processes import unswept
from preplan.render.lettering_pdf import BOLD, REGULAR, load_fonts, width_of
from preplan.render.objects_pdf import Form, Resources, Stream

CODE = "0 0 m 100 100 l S\n" * 40


def _unpacked(written: bytes) -> tuple[bytes, bytes]:
    """Part an object into its dictionary without its length, and its code."""
    head, _, rest = written.partition(b"\nstream\n")
    return head, zlib.decompress(rest.removesuffix(b"endstream\n"))


def test_a_stream_is_as_the_library_writes_it() -> None:
    document = Canvas(io.BytesIO())._doc
    packed = pdfdoc.PDFDictionary({"Filter": pdfdoc.PDFName("FlateDecode")})
    content = zlib.compress(CODE.encode(), 1)
    assert Stream(CODE).format(document) == pdfdoc.PDFStream(packed, content).format(document)
    assert _unpacked(Stream(CODE).format(document))[1].decode() == CODE


def test_a_form_is_as_the_library_writes_it() -> None:
    document = Canvas(io.BytesIO())._doc
    content, box = zlib.compress(CODE.encode()), (-3, 0, 10, 2000)
    theirs = pdfdoc.PDFFormXObject(*box)
    theirs.Contents = pdfdoc.PDFStream(pdfdoc.PDFDictionary({"Filter": pdfdoc.PDFName("FlateDecode")}), content)
    theirs.hasImages = 0
    assert Form(box, content).format(document) == theirs.format(document)


def test_resources_name_each_form_once() -> None:
    document = Canvas(io.BytesIO())._doc
    document.addForm("pond", Form((0, 0, 1, 1), b""))
    written = Resources(["pond", "pond"]).format(document).decode()
    assert written.count(document.getXObjectName("pond")) == 1
    assert "/Font" in written


@pytest.mark.parametrize(("bold", "font"), [(False, REGULAR), (True, BOLD)])
def test_a_text_is_as_wide_as_the_library_says(bold: bool, font: str) -> None:
    load_fonts()
    for said in ("", "Fill site 3: 1,000 gal", "Straße, 道", "AVAVA …"):
        assert width_of(said, 9.0, bold=bold) == pdfmetrics.stringWidth(said, font, 1.0) * 9.0


def test_what_there_is_is_searched_again_afterwards() -> None:
    kept = []
    with suppress(ValueError), unswept():
        kept.append(gc.get_freeze_count())
        raise ValueError
    assert kept[0] > 0
    assert not gc.get_freeze_count()


def test_a_process_that_draws_loads_no_search() -> None:
    """It takes as long to load as all else that a drawing process needs before its first card."""
    asked = "import sys, preplan.render.card_pdf; sys.exit('scipy' in sys.modules)"
    assert run([sys.executable, "-c", asked], check=False).returncode == 0
