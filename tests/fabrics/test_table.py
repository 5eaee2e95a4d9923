"""The fabric table against the published figures it cites, and the trade's conversions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from restitch.errors import UsageError
from restitch.fabrics import cited, default_profile, describe_fabric, fabric, fabrics, sources
from restitch.fabrics.trade import (
    cloth_between_holes_mm,
    denier_of_tex,
    dtex_of_tex,
    metric_count_of_tex,
    needle_nm,
    smallest_needle,
    tex_of_denier,
    thickest_thread_mm,
)

NAMES = ["twill", "denim", "pique", "jersey", "performance", "fleece"]
NAMES += ["terry", "sweater", "cap", "nylon", "leather", "patch"]


def test_twelve_fabrics_each_number_with_a_source():
    assert [f.name for f in fabrics()] == NAMES
    known = set(sources()) | {"our choice", "common practice"}
    for found in fabrics():
        for row in describe_fabric(found):
            if row.value != "none" or row.key in found.sources:
                named = {w.strip() for w in row.source.replace(";", ",").split(",")}
                assert named <= known, (found.name, row)
        assert cited(describe_fabric(found))


@pytest.mark.parametrize(
    ("word", "name"),
    [
        ("knit", "jersey"),
        ("T-Shirt", "jersey"),
        ("polo", "pique"),
        ("towel", "terry"),
        ("canvas", "twill"),
        ("hoodie", "fleece"),
        ("beanie", "sweater"),
        ("hat", "cap"),
        ("softshell", "nylon"),
        ("vinyl", "leather"),
        ("felt", "patch"),
        ("badge", "patch"),
        ("  PIQUE ", "pique"),
    ],
)
def test_everyday_words(word, name):
    assert fabric(word).name == name
    assert name in default_profile(word).sources["fabric"]


def test_no_word_means_two_fabrics():
    words = [w.casefold().replace("-", " ") for f in fabrics() for w in (f.name, *f.words)]
    assert len(words) == len(set(words))


def test_unknown_word_names_the_nearest():
    with pytest.raises(UsageError, match="unknown fabric 'towle'; did you mean 'towel'"):
        fabric("towle")
    with pytest.raises(UsageError, match="twill, denim, pique"):
        fabric("qqq")


def test_no_fabric_is_twill_and_says_so():
    profile = default_profile()
    assert profile.fabric.name == "twill"
    assert "No fabric was named" in profile.sources["fabric"]


def test_leather_is_a_fifth_lighter():
    # Decorated Apparel Survival Guide: density down 20 %; a 50 mm column has 200, not 250, holes
    spacing = fabric("leather").satin_spacing_mm
    assert spacing == pytest.approx(0.40 / 0.80)
    assert 2 * 50 / spacing == pytest.approx(200)
    assert fabric("leather").underlay.inset_mm == pytest.approx(1.6)


def test_published_figures_of_performance_wear():
    # Images (UK), Feb 2022: fill 0.42 at the tightest, border 0.47, inset 0.6 to 0.8
    found = fabric("performance")
    assert found.fill_spacing_mm >= 0.42
    assert found.satin_spacing_mm == pytest.approx(0.47)
    assert 0.6 <= found.underlay.inset_mm <= 0.8
    assert found.underlay.zigzag_from_mm is None


def test_no_fabric_allows_more_than_three_layers():
    # Printwear & Promotion (UK), knitwear: no more than three layers of stitching
    assert all(1.0 < f.layers <= 3.0 for f in fabrics())


def test_cloth_left_between_holes():
    # Printwear, lettering: NM 75 leaves 0.25 mm at 1.0 mm stitches, 0.05 mm at 0.8 mm
    assert cloth_between_holes_mm(1.0, 75) == pytest.approx(0.25)
    assert cloth_between_holes_mm(0.8, 75) == pytest.approx(0.05)


def test_groove_of_a_needle():
    # Schmetz dictionary: thread at most 40 % of the blade
    assert thickest_thread_mm(75) == pytest.approx(0.30)


@pytest.mark.parametrize(
    ("us", "nm"), [(8, 60), (9, 65), (10, 70), (11, 75), (12, 80), (14, 90), (16, 100)]
)
def test_needle_numbers(us, nm):
    # Apparel Science, needle number system
    assert needle_nm(us) == nm


def test_needle_numbers_outside_the_rule():
    with pytest.raises(ValueError, match="19"):
        needle_nm(19)


def test_thread_counts():
    # Coats Bulletin 05; 120 den/2 rayon and 108 den/2 polyester (Superior Threads)
    assert tex_of_denier(240) == pytest.approx(26.67, abs=0.01)
    assert dtex_of_tex(tex_of_denier(240)) == pytest.approx(266.7, abs=0.1)
    assert metric_count_of_tex(26.67) == pytest.approx(37.5, abs=0.01)
    assert tex_of_denier(216) == pytest.approx(24.0)


@given(st.floats(1, 5000))
def test_denier_and_tex_undo_each_other(denier):
    assert denier_of_tex(tex_of_denier(denier)) == pytest.approx(denier)


def test_needle_of_every_fabric_is_read():
    assert all(60 <= smallest_needle(f.needle) <= 90 for f in fabrics())
