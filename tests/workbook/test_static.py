"""Static output: the same story as markup and as text, nothing that runs, enough contrast."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import small_plant

from fptlib.procedure.steps import step
from fptlib.workbook import static, verdicts

CHECKS = step("enable").judge(small_plant.case())


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(ink: str, ground: str) -> float:
    high, low = sorted((luminance(ink), luminance(ground)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("word", static.SIGNS)
def test_no_meaning_by_colour_alone_and_enough_contrast(word):
    sign, ink, ground = static.SIGNS[word]
    assert contrast(ink, ground) >= 4.5
    assert sign in static.verdict_markup(word) and word in static.verdict_markup(word)


def test_typed_text_never_becomes_markup():
    shown = static.table("<b>", ["<i>"], [["<script>alert(1)</script>"]])
    assert "<script" not in shown.markup and "&lt;script&gt;" in shown.markup


def least(heads, *rows):
    markup = static.table("t", heads, rows).markup
    return re.findall(r"min-width:([^;]+);background", markup)


def test_a_column_is_as_wide_as_its_longest_word_while_there_is_room():
    assert least(("Gaps", "Coverage, %"), ["0", "100.0"]) == ["5.0ch", "9.2ch"]
    assert least(("Point",), ["tower_fan_power"]) == ["5.4ch"]
    crowded = least(["Setpoint", *["Temperature"] * 6], ["1"] * 7)
    assert crowded[0] == "min(8.2ch,5.2ch + (100vw - 560px)*0.078)"
    assert crowded[-1] == "min(11.2ch,5.5ch + (100vw - 560px)*0.154)"


def test_a_table_without_heads_has_room_for_its_longest_word_too():
    markup = static.facts("Chiller 1", [("Refrigerant", "R-134a"), ("Load", "4")])
    first, second = markup.markup.split("<tr>")[1:]
    assert "min-width:9.9ch" in first and "min-width:9.9ch" not in second


def test_a_name_is_broken_after_underscore_or_full_stop_only():
    markup = static.table("t", ["Limit", "Value"], [["lift.short_dip", "4.5"]]).markup
    assert "lift.<wbr>short_<wbr>dip" in markup and "4.<wbr>5" not in markup


def test_verdicts_say_the_same_in_markup_and_text():
    shown = verdicts.table(CHECKS)
    plain = re.sub("<[^>]+>", "", shown.markup)
    for check in CHECKS:
        assert check.id in shown.text and check.id in plain
        assert check.verdict in shown.text and check.verdict in plain


def test_output_holds_nothing_a_notebook_would_lose():
    shown = verdicts.table(CHECKS).markup
    assert not re.search(r"<(script|style|svg|iframe)|\bon\w+=|\bclass=|\bid=", shown)


def test_a_small_margin_reads_as_in_the_record():
    """0.04 degF beside its limit is not on it: notebook and record print the same digits."""
    check = replace(CHECKS[0], unit="degF", margin=-0.04, uncertainty=0.0)
    assert "-0.04 °F" in verdicts.table([check]).text
