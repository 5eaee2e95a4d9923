"""Pictures: every view as PNG and SVG, the same bytes each time, hostile names harmless."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from restitch.draw import VIEWS, draw, picture
from restitch.draw.labels import labels
from restitch.draw.objects import _neighbours, object_picture, told_apart
from restitch.draw.scene import Page, Text
from restitch.files import read_stream
from restitch.infer import infer

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


def boxes(items) -> np.ndarray:
    texts = [item for item in items if isinstance(item, Text)]
    half = [len(text.text) * text.size * 0.29 for text in texts]
    return np.array(
        [
            (t.x - h, t.y - t.size / 2, t.x + h, t.y + t.size / 2)
            for t, h in zip(texts, half, strict=True)
        ]
    )


def test_labels_keep_out_of_each_others_way():
    page = Page(0, 0, 400, 300, 0, 10)
    crowd = np.random.default_rng(3).uniform(150, 230, (25, 2))
    found = boxes(labels(page, crowd, [str(n) for n in range(25)], [(0, 0, 0)] * 25, (9, 9, 9)))
    assert len(found) == 25
    for n, box in enumerate(found):
        apart = (found[:, :2] >= box[2:]) | (box[:2] >= found[:, 2:])
        assert apart.any(axis=1).sum() == 24, n


def test_labels_that_need_not_be_are_left_out_where_it_is_full():
    page = Page(0, 0, 400, 300, 0, 10)
    same = np.full((5, 2), 100.0)
    found = labels(page, same, list("12345"), [(0, 0, 0)] * 5, (9, 9, 9), must=False)
    assert [item.text for item in found] == ["1"]


def test_every_object_is_numbered_or_named_as_hidden(stream):
    objects = infer(stream)
    root = ElementTree.fromstring(picture(stream, ".svg", "objects"))
    words = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    hidden = " ".join(w for w in words if w.startswith("hidden"))
    for obj in objects:
        assert str(obj.id) in words or str(obj.id) in hidden.replace(",", "").split()


def test_neighbours_get_different_colours(stream):
    objects = infer(stream)
    seen = object_picture(stream, objects)
    number = told_apart(seen, objects, colours=24)
    for one, beside in enumerate(_neighbours(seen, len(objects))):
        assert not np.isin(number[one], number[beside])
