"""What a long run says where its output is no terminal."""

import pytest

from barfuncs.cli.progress import Lines


def said(total: int, seconds_a_row) -> list[str]:
    """All lines of a run over so many rows; `seconds_a_row` gives the seconds that a row takes."""
    lines: list[str] = []
    now = [0.0]
    progress = Lines(total, lines.append, lambda: now[0])
    for n in range(total):
        now[0] += seconds_a_row(n)
        progress.step()
    return lines


def test_an_even_run_says_what_is_left_from_its_second_line_on():
    assert said(10_240, lambda _: 1 / 256) == [
        "2,560 of 10,240 rows after 10 s", "5,120 of 10,240 rows after 20 s, about 20 s left",
        "7,680 of 10,240 rows after 30 s, about 10 s left"]


def test_no_line_comes_before_ten_seconds_nor_at_the_end():
    assert said(9_999, lambda _: 0.001) == []
    assert said(100, lambda n: 100.0 if n == 99 else 0.0) == []


def test_a_slow_run_has_a_line_a_minute_and_a_steady_one_a_line_a_tenth():
    assert len(said(1_000, lambda _: 10.0)) == pytest.approx(10_000 / 60, abs=1)
    assert len(said(1_000, lambda _: 0.3)) == 9
    assert said(1_000, lambda _: 10.0)[1] == "12 of 1,000 rows after 2 min, about 2.7 h left"


def test_an_uneven_run_does_not_say_what_is_left():
    lines = said(10_000, lambda n: 0.0001 if n < 5_000 else 0.02)
    assert len(lines) > 4
    assert " left" not in lines[0] + lines[1]
    for line in lines:
        if " left" in line:
            rows = int(line.split()[0].replace(",", ""))
            assert line.endswith(f", about {(10_000 - rows) * 0.02:.0f} s left")
    speeding_up = said(10_000, lambda n: 0.04 / (1 + n / 500))
    assert not any(" left" in line for line in speeding_up[:2])
