"""The code is read back with another library (zxing-cpp), which shares nothing with the maker."""

import io

import pytest
import zxingcpp
from PIL import Image

from fleet.reports.qr import qr_code
from fleet.reports.route_pdf import LAYOUT, layout_data
from fleet.reports.typeset import typeset_pictures


@pytest.fixture(scope="module")
def pages(one_card):
    data = layout_data(one_card, paper="a4")
    return [Image.open(io.BytesIO(page)) for page in typeset_pictures(LAYOUT, data)]


def test_code_on_the_printed_card_names_the_gauge(pages):
    read = [code.text for page in pages for code in zxingcpp.read_barcodes(page)]

    assert read == ["SK006/A/00060"]


def test_code_keeps_a_quiet_zone_of_four_modules():
    drawing = qr_code("SK006/A/00060")

    assert drawing.get("viewBox") == "0 0 29 29"  # version 1: 21 modules, ISO/IEC 18004 (memory)
    assert (drawing.find("path").get("d")).startswith("M4 4h7v1h-7z")


@pytest.mark.parametrize("text", ["", "x" * 301])
def test_code_refuses_what_cannot_be_printed_legibly(text):
    with pytest.raises(ValueError, match="1 to 300 characters"):
        qr_code(text)
