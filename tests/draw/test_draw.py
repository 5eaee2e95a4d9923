"""Pictures: every view as PNG and SVG, the same bytes each time, hostile names harmless."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from restitch.draw import VIEWS, draw, picture
from restitch.files import read_stream

FIXTURES = Path(__file__).parents[2] / "fixtures"


@pytest.fixture(scope="module")
def stream():
    return read_stream(FIXTURES / "cap-front.xxx")


@pytest.mark.parametrize("view", VIEWS)
def test_every_view_draws_as_png(stream, view):
    data = picture(stream, ".png", view)
    pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert max(pixels.shape[:2]) > 600
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 20
    assert data == picture(stream, ".png", view)


@pytest.mark.parametrize("view", VIEWS)
def test_every_view_is_svg_at_true_size(stream, view):
    data = picture(stream, ".svg", view)
    root = ElementTree.fromstring(data)
    xy = stream.xy[stream.stitch_index]
    width_mm = float(np.ptp(xy[:, 0])) / 10 + 6.0  # a margin of 3 mm on either side
    assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(width_mm, rel=0.01)
    assert data == picture(stream, ".svg", view)
    assert b"<script" not in data


def test_thread_shows_in_its_own_colour(stream):
    pixels = np.asarray(Image.open(io.BytesIO(picture(stream, ".png", "look"))).convert("RGB"))
    dark = pixels[pixels.sum(axis=2) < 500].astype(float)
    for thread in stream.threads:
        rgb = np.array([thread.rgb >> 16, thread.rgb >> 8 & 255, thread.rgb & 255], float)
        hue = dark / np.maximum(dark.sum(axis=1, keepdims=True), 1)
        assert np.abs(hue - rgb / max(rgb.sum(), 1)).sum(axis=1).min() < 0.1


def test_draw_writes_the_file(stream, tmp_path):
    target = tmp_path / "look.png"
    draw(stream, target)
    assert target.read_bytes()[:4] == b"\x89PNG"
