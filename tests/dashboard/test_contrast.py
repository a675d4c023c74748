import re
from pathlib import Path

import pytest

import dashboard

TOKENS = Path(dashboard.__file__).parent / "assets" / "tokens.css"
TEXT, VERDICT = 4.5, 7.0  # W3C, Understanding WCAG 2.2, 1.4.3 (text) and 1.4.6 (enhanced)


def luminance(colour: str) -> float:
    """W3C, WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """W3C, WCAG 2.2, definition of contrast ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def tokens(light: str) -> dict[str, str]:
    text = TOKENS.read_text()
    blocks = re.findall(r"([^{}]*)\{([^{}]*)\}", text)
    found: dict[str, str] = {}
    for selector, body in blocks:
        if '[data-light="day"]' in selector or f'[data-light="{light}"]' in selector:
            found |= dict(re.findall(r"--([a-z-]+): (#[0-9A-F]{6})", body))
    return found


def test_the_formula_gives_the_published_extremes():
    assert contrast("#FFFFFF", "#000000") == pytest.approx(21.0, abs=1e-9)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # the known near miss of 4.5


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("token", ["ink", "muted", "pass", "fail", "unknown", "live"])
def test_text_stands_out_from_the_ground(light, token):
    colours = tokens(light)
    assert contrast(colours[token], colours["ground"]) >= TEXT


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("token", ["ink", "live"])
def test_text_stands_out_from_a_pressed_button_and_a_shaded_phase(light, token):
    colours = tokens(light)
    assert contrast(colours[token], colours["soft"]) >= TEXT


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("band", ["go-band", "hold-band"])
def test_the_verdict_stands_out_from_its_band(light, band):
    colours = tokens(light)
    assert contrast(colours["on-band"], colours[band]) >= VERDICT


@pytest.mark.parametrize("light", ["day", "night"])
@pytest.mark.parametrize("token", ["go-past", "hold-past"])
def test_a_past_verdict_stands_out_from_the_ground(light, token):
    colours = tokens(light)
    assert contrast(colours[token], colours["ground"]) >= VERDICT


def test_the_system_asking_for_night_gives_the_colours_of_the_night():
    text = TOKENS.read_text()
    media = re.search(r"prefers-color-scheme: dark\) \{\s*:root \{([^}]*)\}", text)
    chosen = re.search(r':root\[data-light="night"\] \{([^}]*)\}', text)
    assert media is not None
    assert chosen is not None
    assert media[1].split() == chosen[1].split()
