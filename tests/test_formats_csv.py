"""Tables of text in: separators, decimals, units, times, holes, and cells that are no numbers.

Row 14 of the list of inputs that break other people's code: a clock 0.14 % off is measured.
"""

import lzma

import numpy as np
import pytest

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import read, read_csv
from infantmon.formats.column import Column
from infantmon.formats.csv_layout import name_and_unit
from infantmon.formats.evenness import measured_rows


def table(path, header, rows, *, separator=",", decimal=".", newline="\n", encoding="utf-8"):
    lines = [separator.join(header)]
    lines += [separator.join(str(c).replace(".", decimal) for c in row) for row in rows]
    path.write_bytes((newline.join(lines) + newline).encode(encoding))
    return path


def sine_rows(count, rate_hz, *, digits=6):
    """Rows of time, ECG and impedance."""
    times = np.arange(count) / rate_hz
    return [
        (round(float(t), digits), round(float(np.sin(t)), 5), round(500 + float(np.cos(t)), 4))
        for t in times
    ]


HEADER = ("time_s", "ecg [mV]", "impedance (ohm)")


@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_separator_decimal_line_ends_and_encoding_are_found(
    tmp_path, separator, decimal, newline, encoding
):
    rows = sine_rows(300, 250)
    path = table(
        tmp_path / "a.csv",
        HEADER,
        rows,
        separator=separator,
        decimal=decimal,
        newline=newline,
        encoding=encoding,
    )
    recording = read(path)
    assert (recording.ecg.rate_hz, recording.impedance.rate_hz) == (250.0, 250.0)
    assert (recording.ecg.unit, recording.impedance.unit) == ("mV", "ohm")
    np.testing.assert_array_equal(recording.ecg.segments[0].values, [row[1] for row in rows])
    np.testing.assert_array_equal(recording.impedance.segments[0].values, [r[2] for r in rows])
    assert recording.notes == ()


def test_decimal_commas_between_commas_are_told(tmp_path):
    path = table(tmp_path / "a.csv", HEADER, sine_rows(20, 250), decimal=",")
    with pytest.raises(RecordingError, match=r"line 2: .* with decimal commas, separate"):
        read(path)


@pytest.mark.parametrize(
    ("cell", "name", "unit"),
    [
        ("ecg [mV]", "ecg", "mV"),
        ("ecg(mV)", "ecg", "mV"),
        (" ECG II [uV] ", "ECG II", "uV"),
        ("ecg_mV", "ecg", "mV"),
        ("ecg_uv", "ecg", "uV"),
        ("ecg [µV]", "ecg", "uV"),
        ("impedance (Ω)", "impedance", "ohm"),
        ("impedance_ohm", "impedance", "ohm"),
        ("resp", "resp", None),
        ("RESP [NU]", "RESP", None),
        ("time_s", "time", "s"),
        ("Time [sec]", "Time", "s"),
        ("time ms", "time", "ms"),
        ("V", "V", None),
        ("ecg_v", "ecg_v", None),
        ("lead_II", "lead_II", None),
    ],
)
def test_name_and_unit_of_a_header_cell(cell, name, unit):
    assert name_and_unit(cell) == (name, unit)


@pytest.mark.parametrize("rate_hz", [25, 50, 125, 250, 360, 500, 1000, 256, 300])
@pytest.mark.parametrize("digits", [3, 6, 15])
def test_the_rate_is_measured_whatever_the_rounding_of_times(rate_hz, digits):
    times = np.round(np.arange(30 * rate_hz) / rate_hz, digits)
    even = measured_rows(Column([times]), "here")
    assert even.rate_hz == rate_hz
    assert len(even.runs) == 1


@pytest.mark.parametrize("off", [1.0014, 0.9986])
@pytest.mark.parametrize("digits", [3, 4, 9])
def test_a_clock_that_is_off_is_measured_and_times_are_on_it(tmp_path, off, digits):
    times = np.round(np.arange(20_000) / (250.0 * off), digits)
    rows = [(f"{t:.{digits}f}", 0.5, 500) for t in times]
    recording = read(table(tmp_path / "a.csv", HEADER, rows))
    assert recording.ecg.rate_hz == pytest.approx(250.0 * off, rel=1e-5)
    assert recording.ecg.end_s == pytest.approx(times[-1] + 1 / (250 * off), abs=0.001)


@pytest.mark.parametrize("missing", [1, 2, 7, 2500])
@pytest.mark.parametrize("digits", [3, 9])
def test_a_jump_of_the_time_is_a_hole(tmp_path, missing, digits):
    kept = [*range(1000), *range(1000 + missing, 3000 + missing)]
    rows = [(f"{i / 360:.{digits}f}", i % 7, 500) for i in kept]
    recording = read(table(tmp_path / "a.csv", HEADER, rows))
    assert recording.ecg.rate_hz == 360.0
    assert [(s.first_tick, s.end_tick) for s in recording.ecg.segments] == [
        (0, 1000),
        (1000 + missing, 3000 + missing),
    ]
    assert recording.ecg.segments[1].values[:3].tolist() == [
        (1000 + missing + k) % 7 for k in range(3)
    ]


@pytest.mark.parametrize("cell", ["", "nan", "NaN", "NA", "-", "null", "N/A"])
@pytest.mark.parametrize("row", [0, 4, 29])
def test_a_missing_cell_is_nan_and_moves_nothing(tmp_path, cell, row):
    rows = [list(entry) for entry in sine_rows(30, 250)]
    rows[row][1] = cell
    values = read(table(tmp_path / "a.csv", HEADER, rows)).ecg.segments[0].values
    assert np.flatnonzero(np.isnan(values)).tolist() == [row]
    assert len(values) == 30


def test_infinity_is_a_sample_and_stays(tmp_path):
    rows = [list(entry) for entry in sine_rows(30, 250)]
    rows[3][1], rows[4][1] = "inf", "-inf"
    values = read(table(tmp_path / "a.csv", HEADER, rows)).ecg.segments[0].values
    assert (values[3], values[4]) == (np.inf, -np.inf)


@pytest.mark.parametrize("seen", ["artefact", "1.2.3", "1 2", "0x10", "1_000", "12mV", "--"])
@pytest.mark.parametrize("row", [0, 17, 59])
@pytest.mark.parametrize("column", [1, 2])
def test_text_in_a_column_of_numbers_names_file_line_column_and_text(tmp_path, seen, row, column):
    rows = [list(entry) for entry in sine_rows(60, 250)]
    rows[row][column] = seen
    path = table(tmp_path / "a.csv", HEADER, rows)
    name = ("time", "ecg", "impedance")[column]
    with pytest.raises(RecordingError) as caught:
        read(path)
    told = str(caught.value)
    assert f"{path}, line {row + 2}, column '{name}': {seen!r}" in told
    assert "leave the cell empty" in told
    assert caught.value.__cause__ is not None


def test_text_in_a_column_that_is_not_used_does_no_harm(tmp_path):
    rows = [
        (*row, "feeding, then asleep" if i == 3 else "") for i, row in enumerate(sine_rows(9, 5))
    ]
    rows = [(*row[:3], f'"{row[3]}"') for row in rows]
    recording = read(table(tmp_path / "a.csv", (*HEADER, "remark"), rows), ecg="ecg")
    assert len(recording.ecg) == 9


@pytest.mark.parametrize(
    ("row", "time", "words"),
    [
        (7, "0.001", r"line 9: the time '0.001' goes back by 0.023 s"),
        (7, "", r"line 9: the time '' holds no time"),
        (7, "inf", r"line 9: the time 'inf' holds no time"),
        (7, "noon", r"line 9, column 'time': 'noon' where a number is expected"),
        (0, "noon", r"line 2: the time 'noon' is neither a number, a time as hh:mm:ss, nor an ISO"),
    ],
)
def test_a_bad_time_is_told_with_its_line(tmp_path, row, time, words):
    rows = [list(entry) for entry in sine_rows(30, 250)]
    rows[row][0] = time
    with pytest.raises(RecordingError, match=words):
        read(table(tmp_path / "a.csv", HEADER, rows))


def test_rows_at_random_times_are_refused(tmp_path):
    times = np.cumsum(np.random.default_rng(1).exponential(0.1, 2000))
    rows = [(f"{t:.6f}", 1, 500) for t in times]
    with pytest.raises(RecordingError, match=r"off an even clock of .* resample them"):
        read(table(tmp_path / "a.csv", HEADER, rows))


def test_times_too_coarse_to_measure_a_rate_are_told(tmp_path):
    rows = [(int(i / 250), 1, 500) for i in range(2000)]
    with pytest.raises(RecordingError, match="same time stands in most rows"):
        read(table(tmp_path / "a.csv", HEADER, rows))


@pytest.mark.parametrize(("unit", "factor"), [("s", 1), ("ms", 1e3), ("us", 1e6), ("min", 1 / 60)])
def test_the_time_column_has_its_unit(tmp_path, unit, factor):
    rows = [(repr(i / 250 * factor), 0.5, 500) for i in range(500)]
    header = (f"time [{unit}]", *HEADER[1:])
    assert read(table(tmp_path / "a.csv", header, rows)).ecg.rate_hz == 250.0


def test_a_time_column_without_a_unit_is_seconds_and_told(tmp_path):
    recording = read(table(tmp_path / "a.csv", ("t", "ecg", "resp"), sine_rows(100, 50)))
    assert recording.ecg.rate_hz == 50.0
    assert "the time column states no unit; seconds are taken" in recording.notes
    with pytest.raises(RecordingError, match="the time column is in 'days'"):
        read(table(tmp_path / "b.csv", ("time [days]", "ecg"), [(0, 1), (1, 2)]))


def test_times_that_begin_late_count_from_the_first_row(tmp_path):
    rows = [(3600 + i / 250, 0.5, 500) for i in range(500)]
    recording = read(table(tmp_path / "a.csv", HEADER, rows))
    assert (recording.ecg.start_s, recording.ecg.rate_hz) == (0.0, 250.0)
    assert any("first row, which is at 3600 s" in note for note in recording.notes)


@pytest.mark.parametrize("offset", ["", "Z", "+01:00", "-05:30"])
@pytest.mark.parametrize("joint", ["T", " "])
def test_iso_timestamps_give_rate_holes_and_start(tmp_path, offset, joint):
    def stamp(tick):
        whole, rest = divmod(tick, 250)
        text = f"2024-10-27{joint}0{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
        return f"{text}.{rest * 4:03d}{offset}"

    ticks = [*range(700), *range(1500, 2000)]
    rows = [(stamp(tick), tick % 9, 500) for tick in ticks]
    recording = read(table(tmp_path / "a.csv", ("timestamp", *HEADER[1:]), rows))
    assert recording.ecg.rate_hz == 250.0
    assert list(recording.ecg.holes_s()) == [(2.8, 6.0)]
    told = recording.started_at.isoformat()
    assert told == "2024-10-27T00:00:00" + offset.replace("Z", "+00:00")


def test_summer_time_ends_without_a_jump_when_offsets_are_given(tmp_path):
    # 02:59:59.75+02:00 is followed by 02:00:00+01:00 where the clock is set back
    rows = [(f"2024-10-27T02:59:59.{q}+02:00", 1, 500) for q in ("00", "25", "50", "75")]
    rows += [(f"2024-10-27T02:00:00.{q}+01:00", 1, 500) for q in ("00", "25", "50", "75")]
    recording = read(table(tmp_path / "a.csv", ("time", "ecg", "resp"), rows), ecg="ecg")
    assert (recording.ecg.rate_hz, len(recording.ecg.segments)) == (4.0, 1)
    bare = [(stamp[:-6], ecg, resp) for stamp, ecg, resp in rows]
    with pytest.raises(RecordingError, match=r"line 6: .* goes back .* give UTC offsets"):
        read(table(tmp_path / "b.csv", ("time", "ecg", "resp"), bare), ecg="ecg")


@pytest.mark.parametrize(
    ("offset", "seen"),
    [
        ("", "yesterday"),
        ("", "2024-01-01T00:00:00.28Z"),
        ("+01:00", "2024-01-01T00:00:00.28"),
        ("Z", "2024-13-01T00:00:00.28Z"),
        ("", "2024-01-01T25:00:00.28"),
    ],
)
def test_a_bad_timestamp_is_told_with_its_line(tmp_path, offset, seen):
    rows = [(f"2024-01-01T00:00:00.{i:02d}{offset}", 1, 500) for i in range(50)]
    rows[28] = (seen, 1, 500)
    with pytest.raises(RecordingError) as caught:
        read(table(tmp_path / "a.csv", ("time", *HEADER[1:]), rows))
    told = "without" if not offset else "with"
    assert f"line 30, column 'time': {seen!r} where an ISO timestamp {told} UTC offset" in str(
        caught.value
    )


def test_a_missing_timestamp_is_told_with_its_line(tmp_path):
    rows = [(f"2024-01-01T00:00:00.{i:02d}", 1, 500) for i in range(50)]
    rows[28] = ("", 1, 500)
    with pytest.raises(RecordingError, match="line 30: the time '' holds no time"):
        read(table(tmp_path / "a.csv", ("time", *HEADER[1:]), rows))


def test_without_a_time_column_the_rate_must_be_told(tmp_path):
    rows = [row[1:] for row in sine_rows(100, 250)]
    path = table(tmp_path / "a.csv", HEADER[1:], rows)
    with pytest.raises(RecordingError, match=r"no time column .*read_csv\(path, rate_hz=\.\.\.\)"):
        read(path)
    recording = read_csv(path, rate_hz=250)
    assert (recording.ecg.rate_hz, len(recording.ecg)) == (250.0, 100)
    for rate in (0, -1, float("nan"), float("inf"), "fast"):
        with pytest.raises(ArgumentError, match="rate_hz is"):
            read_csv(path, rate_hz=rate)


def test_a_rate_is_not_told_beside_a_time_column(tmp_path):
    path = table(tmp_path / "a.csv", HEADER, sine_rows(100, 250))
    with pytest.raises(ArgumentError, match="has the time column 'time'; leave rate_hz out"):
        read_csv(path, rate_hz=125)


def test_a_single_column_keeps_its_blank_lines_as_missing_samples(tmp_path):
    (tmp_path / "a.csv").write_text("ecg [mV]\n0,5\n\n0,75\n1\n\n")
    values = read_csv(tmp_path / "a.csv", rate_hz=250).ecg.segments[0].values
    np.testing.assert_array_equal(values, [0.5, np.nan, 0.75, 1.0])


def test_a_slower_column_has_its_own_rate(tmp_path):
    rows = [(i / 500, np.sin(i), "" if i % 4 != 2 else 500 + i) for i in range(2000)]
    rows[10] = (10 / 500, np.sin(10), "nan")
    recording = read(table(tmp_path / "a.csv", HEADER, rows))
    assert (recording.ecg.rate_hz, recording.impedance.rate_hz) == (500.0, 125.0)
    expected = [500.0 + i for i in range(2, 2000, 4)]
    expected[2] = np.nan
    np.testing.assert_array_equal(recording.impedance.segments[0].values, expected)
    assert any("one row of 4: read at 125 Hz" in note for note in recording.notes)


def test_a_slower_column_keeps_its_rate_across_a_hole(tmp_path):
    kept = [*range(1000), *range(1402, 2400)]
    rows = [(i / 500, 1.0, 500 + i if i % 4 == 0 else "") for i in kept]
    recording = read(table(tmp_path / "a.csv", HEADER, rows))
    first, second = recording.impedance.segments
    assert recording.impedance.rate_hz == 125.0
    assert (first.first_tick, first.end_tick, second.first_tick) == (0, 250, 351)
    assert second.values[0] == 500 + 1404


@pytest.mark.parametrize("end", ["0.4", "0.400,1", "0.4,"])
def test_a_last_line_that_is_cut_off_is_left_out_and_told(tmp_path, end):
    path = table(tmp_path / "a.csv", HEADER, sine_rows(100, 250))
    path.write_text(path.read_text() + end)
    recording = read(path)
    assert len(recording.ecg) == 100
    assert "the last line is cut off and was not read" in recording.notes


@pytest.mark.parametrize("line", ["0.4", "0.4,1,2,3", "0.4,1,500,"])
def test_a_line_of_another_width_is_told_with_its_number(tmp_path, line):
    path = table(tmp_path / "a.csv", HEADER, sine_rows(100, 250))
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:50], line, *lines[50:]]) + "\n")
    with pytest.raises(RecordingError, match=r"line 51: \d cells where the header has 3"):
        read(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no header line"),
        (b"\n\n", "no header line"),
        (b"# only\n# comments\n", "no header line"),
        (b"time_s,ecg [mV]\n", "no line of samples"),
        (b"0.0,1.5\n0.004,1.6\n", "a header line is expected"),
        (b"time_s,ecg [mV]\n0,1\n", "has 1 rows; no rate"),
        (b"\x00\x01\x02\x03" * 50, r"a\.csv"),
        (b"\xff\xfe" + b"x\x00" * 3, r"a\.csv"),
        (b'time_s,ecg [mV]\n0,"1\n1,2\n2,3\n', r"a\.csv"),
    ],
)
def test_what_is_no_table_is_one_clear_error(tmp_path, content, words):
    (tmp_path / "a.csv").write_bytes(content)
    with pytest.raises(RecordingError, match=words):
        read(tmp_path / "a.csv")


@pytest.mark.parametrize("place", ["header", "time", "ecg"])
def test_a_cell_of_a_million_characters_is_one_clear_error(tmp_path, place):
    long = '"' + "9" * 1_000_000 + 'x"'
    header = f"time_s,ecg [mV]{long if place == 'header' else ''}"
    rows = [f"{long if place == 'time' else '0'},1", f"1,{long if place == 'ecg' else '2'}"]
    (tmp_path / "a.csv").write_text("\n".join([header, *rows, "2,3"]))
    with pytest.raises(RecordingError) as caught:
        read(tmp_path / "a.csv")
    assert len(str(caught.value)) < 1000


def test_comment_lines_above_the_header_are_passed_over(tmp_path):
    path = table(tmp_path / "a.csv", HEADER, sine_rows(100, 250))
    path.write_text("# invented\n\n" + path.read_text())
    assert len(read(path).ecg) == 100


def test_quoted_cells_and_blanks_after_separators(tmp_path):
    lines = ['"time_s", "ecg [mV]", "impedance (ohm)"']
    lines += [f'"{t}", {e} , {z}' for t, e, z in sine_rows(50, 250)]
    (tmp_path / "a.csv").write_text("\n".join(lines))
    assert (read(tmp_path / "a.csv").ecg.rate_hz, len(read(tmp_path / "a.csv").ecg)) == (250.0, 50)


@pytest.mark.recordings
def test_bidmc_columns_are_found_by_name(recordings, tmp_path):
    packed = recordings / "bidmc" / "bidmc_csv" / "bidmc_01_Signals.csv.xz"
    (tmp_path / "a.csv").write_bytes(lzma.decompress(packed.read_bytes()))
    recording = read(tmp_path / "a.csv")
    assert (recording.ecg.name, recording.impedance.name) == ("II", "RESP")
    assert (recording.ecg.rate_hz, len(recording.impedance)) == (125.0, 60001)
    assert len(recording.ecg.segments) == 1


@pytest.mark.parametrize(
    ("header", "units"),
    [
        ("time;ecg;impedance", "s;mV;ohm"),
        ("time;ecg;impedance", "[s];[uV];[]"),
        ("t;II;RESP", ";mV;"),
    ],
)
def test_a_row_of_units_below_the_header_is_read_as_units(tmp_path, header, units):
    rows = "".join(f"{i / 100:.2f};{i % 7};{i % 5}\n" for i in range(40))
    (tmp_path / "a.csv").write_text(f"{header}\n{units}\n{rows}", encoding="utf-8")
    recording = read(tmp_path / "a.csv")
    told = [unit.strip("[]") or None for unit in units.split(";")]
    assert (recording.ecg.unit, recording.impedance.unit) == (told[1], told[2])
    assert recording.ecg.rate_hz == 100.0
    assert recording.ecg.segments[0].values.tolist() == [i % 7 for i in range(40)]


@pytest.mark.parametrize("below", ["1.5,nan,3", "0,-,", "noon,mV,ohm:3"])
def test_a_row_that_is_no_row_of_units_is_a_row_of_samples(tmp_path, below):
    rows = "".join(f"{i / 100 + 5:.2f},{i % 7},{i % 5}\n" for i in range(40))
    (tmp_path / "a.csv").write_text(f"time_s,ecg,impedance\n{below}\n{rows}", encoding="utf-8")
    if below[0].isdigit():
        assert len(read(tmp_path / "a.csv").ecg) == 41
    else:
        with pytest.raises(RecordingError, match="the time 'noon' is neither a number"):
            read(tmp_path / "a.csv")


@pytest.mark.parametrize(("start_s", "sign"), [(0.0, "."), (18_367.5, "."), (86_398.0, ",")])
def test_times_as_hours_minutes_seconds_are_read_also_past_midnight(tmp_path, start_s, sign):
    def clock(seconds):
        minutes, rest = divmod(seconds % 86_400, 60)
        hours, minutes = divmod(int(minutes), 60)
        return f"{hours:02d}:{minutes:02d}:{rest:06.3f}".replace(".", sign)

    rows = "".join(f"{clock(start_s + i / 125)};{i % 7};{i % 5}\n" for i in range(600))
    (tmp_path / "a.csv").write_text("time;ecg;impedance\n" + rows, encoding="utf-8")
    recording = read(tmp_path / "a.csv")
    assert (recording.ecg.rate_hz, len(recording.ecg.segments)) == (125.0, 1)
    assert recording.started_at is None
    assert any("pass midnight" in note for note in recording.notes) == (start_s > 80_000)


def test_a_bad_time_of_day_names_its_line(tmp_path):
    rows = "".join(f"05:06:{i:02d},{i % 7},{i % 5}\n" for i in range(40))
    path = tmp_path / "a.csv"
    path.write_text("time,ecg,resp\n" + rows.replace("05:06:07", "05:67:07"), encoding="utf-8")
    with pytest.raises(RecordingError, match="line 9, column 'time': '05:67:07' where a time as"):
        read(path)


def test_units_separator_and_decimal_sign_may_be_told(tmp_path):
    rows = "".join(f"{i / 100:.2f}|{i % 7}|{i % 5}\n" for i in range(40))
    (tmp_path / "a.csv").write_text("time|ecg [V]|impedance\n" + rows.replace(".", ","))
    told = {"ecg": "mV", "impedance": "Ohm", "time": "s"}
    path = tmp_path / "a.csv"
    recording = read_csv(path, units=told, separator="|", decimal=",")
    assert (recording.ecg.unit, recording.impedance.unit) == ("mV", "ohm")
    assert recording.ecg.rate_hz == 100.0
    assert not any("no unit" in note for note in recording.notes)
    with pytest.raises(ArgumentError, match="a unit is told for 'heart', but"):
        read_csv(path, units={"heart": "mV"}, separator="|", decimal=",")
    for wrong in ({"separator": "||"}, {"decimal": "'"}, {"separator": ",", "decimal": ","}):
        with pytest.raises(ArgumentError, match=r"separator|decimal"):
            read_csv(path, **wrong)
