"""Entering by hand: each value checked as typed, each row kept at once, nothing ever lost."""

from __future__ import annotations

import pytest

from packcalc.bench.enter import NEW_HEAD, enter, open_session
from packcalc.errors import InputErrors, OutputError
from packcalc.reading.bench_sheet import read_sheet
from tests.bench.rows import GOOD, text_of


class Desk:
    """Plays the person: answers in order, then the line goes dead."""

    def __init__(self, *answers: str, end: type[BaseException] = EOFError):
        self.answers, self.said, self.end = list(answers), [], end

    def hear(self, words: str) -> str:
        if not self.answers:
            raise self.end
        return self.answers.pop(0)

    @property
    def told(self) -> str:
        return "\n".join(self.said)


def sit(path, *answers: str, end: type[BaseException] = EOFError) -> Desk:
    desk = Desk(*answers, end=end)
    enter(open_session(path), desk.said.append, desk.hear)
    return desk


def test_a_new_sheet_begins_with_its_head(tmp_path):
    path = tmp_path / "bench.csv"
    sit(path, "")
    assert path.read_text("utf-8").splitlines() == [",".join(NEW_HEAD)]


def test_a_row_is_on_the_disk_before_the_next_is_asked_for(tmp_path):
    path = tmp_path / "bench.csv"
    seen = []

    class Watching(Desk):
        def hear(self, words):
            seen.append(path.read_text("utf-8").count("\n"))
            return super().hear(words)

    desk = Watching("M1", "nmc-6s-240ah", ".", "M2", ".", "")
    assert enter(open_session(path), desk.said.append, desk.hear) == 2
    assert seen == [1, 1, 1, 2, 2, 3]
    assert [row.mark for row in read_sheet(path).rows] == ["M1", "M2"]


@pytest.mark.parametrize("end", [EOFError, KeyboardInterrupt])
def test_a_row_that_is_broken_off_is_kept_as_far_as_it_went(tmp_path, end):
    path = tmp_path / "bench.csv"
    desk = sit(path, "M1", "nmc-6s-240ah", "550", end=end)
    (row,) = read_sheet(path).rows
    assert row.insulation.shown == "550.0 MΩ" and not row.rest_voltage.known
    assert "broken off; module M1 was kept" in desk.told


def test_what_cannot_be_read_is_asked_again(tmp_path):
    path = tmp_path / "bench.csv"
    desk = sit(path, "M1", "brick", "nmc-6s-240ah", "550 MΩ", "5,5", "550", ".", "m1", "")
    assert "is no module label" in desk.told and "the unit stands in the head" in desk.told
    assert "decimal comma" in desk.told and "the mark m1 stands already" in desk.told
    assert len(read_sheet(path).rows) == 1


def test_label_and_others_speak_up_and_may_be_overruled(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text("mark,module,resistance_mohm,capacity_Ah\n"
                    + "".join(f"M{i},nmc-6s-240ah,1.9,210\n" for i in range(3)), "utf-8")
    desk = sit(path, "M7", "=", "0.0019", "!", "300", "120", "!", "")
    assert "Ω where mΩ was meant" in desk.told and "125 % of the label" in desk.told
    assert "120.0 Ah is far from the 3 others (middle 210.0 Ah)" in desk.told
    row = read_sheet(path).rows[-1]
    assert row.resistance.number == pytest.approx(1.9e-6) and row.capacity.shown == "120.0 Ah"


def test_equals_repeats_the_row_before(tmp_path):
    path = tmp_path / "bench.csv"
    sit(path, "M1", "nmc-6s-240ah", "550", ".", "M2", "=", "=", ".", "")
    first, second = read_sheet(path).rows
    assert second.module is first.module and second.insulation.shown == first.insulation.shown


def test_a_sheet_goes_on_as_it_was_written(tmp_path):
    path = tmp_path / "bench.csv"
    before = "# decimal: comma\r\nmark;mass_kg;damage\r\nA;33,1;\r\n"
    path.write_bytes(before.encode("utf-8-sig"))
    sit(path, "B", "32,9", "dent; left", "")
    data = path.read_bytes()
    assert data == (before + 'B;32,9;"dent; left"\r\n').encode("utf-8-sig")


def test_a_last_line_without_its_end_is_not_glued_to_the_next(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text("mark,mass_kg\nA,33", "utf-8")
    sit(path, "B", "32", "")
    assert path.read_text("utf-8") == "mark,mass_kg\nA,33\nB,32\n"


def test_a_sheet_with_faults_is_not_gone_on_with(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text("mark,mass_kg\nA,33\nB\n", "utf-8")
    with pytest.raises(InputErrors, match="b.*csv:3: .*the row has 1 cell,"):
        open_session(path)
    assert path.read_text("utf-8") == "mark,mass_kg\nA,33\nB\n"


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        open_session(tmp_path / "no" / "bench.csv")


def test_what_was_typed_is_what_the_reader_reads(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(text_of(GOOD).splitlines()[0] + "\n", "utf-8")
    sit(path, *GOOD.values(), "")
    assert path.read_text("utf-8") == text_of(GOOD)


def test_a_mark_that_reads_as_a_remark_is_refused(tmp_path):
    desk = sit(tmp_path / "bench.csv", "# 5", "M5", ".", "")
    assert "reads as a remark" in desk.told
