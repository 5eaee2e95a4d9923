"""How well invented designs are read whose every stitch is known; their seeds tuned nothing."""

from __future__ import annotations

import numpy as np
import pytest

from infer.streams import case, scores
from restitch.infer import infer
from restitch.model import Kind

SOUND = [
    ("harbour_shield", 501, "exp"),
    ("bakehouse", 502, "dst"),
    ("rowing", 503, "exp"),
    ("wreath", 504, "u01"),
    ("small_lines", 505, "exp"),
    ("sail_day", 506, "dst"),
    ("compass_rose", 507, "xxx"),
]
BROKEN = [
    ("bakehouse", 511, "exp", "raised"),
    ("rowing", 512, "dst", "doubled"),
    ("wreath", 513, "u01", "doubled"),
    ("pennant", 514, "exp", "raised"),
]


@pytest.mark.parametrize("key", SOUND, ids=lambda k: f"{k[0]}-{k[1]}")
def test_sound_files_are_read_right_and_nothing_is_called_surplus(key) -> None:
    found = scores(case(*key))
    assert found["marked"] == 0
    assert found["kind"] > 0.95
    assert found["role"] > 0.85


def test_sound_files_reach_the_bars_on_average() -> None:
    every = [scores(case(*key)) for key in SOUND]
    assert np.mean([s["kind"] for s in every]) >= 0.98
    assert np.mean([s["role"] for s in every]) >= 0.95


@pytest.mark.parametrize("key", BROKEN, ids=lambda k: f"{k[0]}-{k[3]}")
def test_surplus_layers_are_found(key) -> None:
    found = scores(case(*key))
    assert found["surplus"] > 0.9
    assert found["kind"] > 0.95


@pytest.mark.parametrize("drawing", ["line_sampler", "applique", "lace"])
def test_intended_effects_are_no_surplus(drawing: str) -> None:
    stream = case(drawing, 521, "exp").stream()
    assert not any(p.layer for o in infer(stream) for p in o.parts)


def test_the_line_sampler_holds_open_fills_and_runs() -> None:
    objects = infer(case("line_sampler", 1, "pes").stream())
    assert any(o.open and o.kind is Kind.FILL for o in objects)
    assert any(o.open and o.kind is Kind.SATIN for o in objects)
    assert sum(o.kind is Kind.RUN for o in objects) >= 3


def test_the_less_sure_objects_are_the_wrong_ones_more_often() -> None:
    right, sure = [], []
    for key in SOUND:
        found = case(*key)
        for obj in infer(found.stream()):
            art = found.broken.art[obj.start : obj.stop]
            main = np.bincount(art[art >= 0]).argmax()
            right.append(found.kinds[main] == obj.kind.value)
            sure.append(obj.confidence)
    share = float(np.mean(right))
    assert abs(share - float(np.mean(sure))) < 0.03
