"""Printed colours are read well on what they lie on, by the formula of WCAG 2."""

from __future__ import annotations

import pytest

from lineup.report import ink
from lineup.report.ink import contrast


def test_contrast_is_that_of_wcag() -> None:
    # WCAG 2, contrast ratio (L1 + 0.05) / (L2 + 0.05); #767676 on white is 4.5422 (the known lightest AA grey)
    assert contrast((0x76, 0x76, 0x76), ink.PAPER) == pytest.approx(4.5422, abs=5e-5)
    assert contrast((0x77, 0x77, 0x77), ink.PAPER) < 4.5  # the next lighter grey fails
    assert contrast((0, 0, 0), ink.PAPER) == pytest.approx(21.0)
    assert contrast(ink.PAPER, ink.PAPER) == 1.0
    assert contrast(ink.PAPER, ink.INK) == contrast(ink.INK, ink.PAPER)


@pytest.mark.parametrize("text", ["INK", "SOFT", "DONE", "OPEN"])
@pytest.mark.parametrize("ground", ["PAPER", "TINT"])
def test_every_text_colour_passes_on_every_ground(text: str, ground: str) -> None:
    # WCAG 2.1, success criterion 1.4.3: at least 4.5 for text of ordinary size
    assert contrast(getattr(ink, text), getattr(ink, ground)) >= 4.5


@pytest.mark.parametrize("ground", ["DONE", "OPEN"])
def test_white_on_the_state_passes(ground: str) -> None:
    assert contrast(ink.PAPER, getattr(ink, ground)) >= 7.0  # success criterion 1.4.6
