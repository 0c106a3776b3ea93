"""An analyser's log as it is pasted: whatever signs it uses, the same readings; what it cannot be is said."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from visits.analyser_log import Clock, LogRefused, columns_guess, log_readings, table_of
from visits.analyser_log.table import LONGEST_TEXT, MOST_COLUMNS, MOST_ROWS

LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 6, 2, 12, 0, tzinfo=UTC)
CLOCK = Clock(date(2026, 6, 2), LONDON, NOW)
COMMAS = """Time,O2 %,CO2 (%),CO [ppm],Flue temp °C,CO undiluted
09:12:05,4.7,9.2,28,61.0,36
09:12:10,4.6,,-,61.5,
"""
READ = [
    {"at": "2026-06-02T08:12:05+00:00", "o2_pct": 4.7, "co2_pct": 9.2, "co_ppm": 28.0, "flue_temp_c": 61.0},
    {"at": "2026-06-02T08:12:10+00:00", "o2_pct": 4.6, "flue_temp_c": 61.5},
]


def read(text, clock=CLOCK, columns=None):
    table = table_of(text)
    return log_readings(table, columns or columns_guess(table), clock)


@pytest.mark.parametrize(
    "text",
    [
        COMMAS,
        COMMAS.replace(",", "\t"),
        COMMAS.replace(",", ";").replace(".", ",").replace("\n", "\r\n"),
        "\ufeff\n" + COMMAS.replace("09:12", "2026-06-02 09:12"),
        COMMAS.replace("09:12", "02.06.2026 9:12").replace("Time", "When read"),
        COMMAS.replace("09:12:05", "2026-06-02T08:12:05Z").replace("09:12:10", "2026-06-02T10:12:10+02:00"),
    ],
)
def test_the_same_log_written_otherwise_is_the_same_readings(text):
    assert read(text) == READ


def test_a_log_that_counts_seconds_ends_now_or_when_somebody_says():
    text = "s;O2;Gas temp (°F)\n0;4,7;140\n5,5;4,6;140,9\n"
    rows = read(text)
    assert [row["at"] for row in rows] == ["2026-06-02T11:59:54.500000+00:00", "2026-06-02T12:00:00+00:00"]
    assert rows[0]["flue_temp_c"] == pytest.approx(60.0)
    said = Clock(CLOCK.day, LONDON, NOW, datetime(2026, 6, 2, 10, 30, tzinfo=LONDON))
    assert read(text, said)[-1]["at"] == "2026-06-02T10:30:00+01:00"


def test_times_of_day_go_on_past_midnight():
    night = Clock(date(2026, 6, 1), LONDON, NOW)
    rows = read("Time,O2\n23:59:58,4.7\n00:00:03,4.7\n", night)
    assert [row["at"][:16] for row in rows] == ["2026-06-01T22:59", "2026-06-01T23:00"]


def test_a_unit_that_is_not_known_and_what_is_worked_out_are_left_to_the_person():
    table = table_of(
        "Time,O2 ref,O2,O2 (2),Draught (psi) pressure,Gas pressure [hPa],Stack T degF\n9:00,3,4,4,1,20,1\n"
    )
    assert columns_guess(table) == [
        "time", "", "o2_pct|vol %", "", "", "inlet_pressure_mbar|mbar", "flue_temp_c|°F",
    ]  # fmt: skip


REFUSED = {
    "": "The log is empty",
    "x" * (LONGEST_TEXT + 1): f"at most {LONGEST_TEXT}",
    "Time,O2\n09:00:00,4\x00": "U+0000",
    "Time,O2": "is the only one",
    "Time,O2\n09:00,4.7,1\n": "Line 2: 3 cells where the first line has 2",
    'Time,O2\n"09:00,4.7\n': "Line 2 is no row of a table",
    "Time,O2\n09:00,4.7\n09:01,=1+1\n": "Line 3, column «O2»: «=1+1» is not a finite decimal number",
    "Time,O2\n09:00,nan\n": "«nan» is not a finite decimal number",
    "Time,O2\n09:00,1e9\n": "«1e9» is not of an absolute value under 1e6",
    "Time;O2\n09:00;4,7\n09:01;1.234,5\n": "Line 3, column «O2»: «1.234,5» is a point in a log",
    "Time,O2\n09:61,4.7\n": "Line 2, column «Time»: «09:61» is no time such as 09:12:05",
    "Time,O2\n09:00,4.7\n03/02/2026 09:01,4.7\n": "Line 3, column «Time»",
    "Time,O2\n14:00,4.7\n": "still to come",
    "Date,O2\nMonday,4.7\n": "holds the time",
    "Time,CO\n09:00,4\n": "holds O2 or CO2",
    "Time,O2\n09:00,--\n": "No row of the log holds a value",
    "Time," + ",".join("x" * MOST_COLUMNS) + "\n": f"at most {MOST_COLUMNS}",
    "Time,O2\n" + "09:00,4.7\n" * (MOST_ROWS + 1): f"more than {MOST_ROWS} readings",
    "Time,O2\n09:00," + "4" * 90: "Line 2: a cell of 90 characters; at most 80",
}


@pytest.mark.parametrize(("text", "said"), REFUSED.items(), ids=range(len(REFUSED)))
def test_what_is_no_log_is_refused_by_its_place_and_limit(text, said):
    with pytest.raises(LogRefused) as refused:
        read(text)
    assert any(said in sentence for sentence in refused.value.sentences), refused.value.sentences


def test_several_wrong_cells_are_all_named_up_to_five():
    with pytest.raises(LogRefused) as refused:
        read("Time,O2,CO\n" + "09:00,a,b\n" * 4)
    assert len(refused.value.sentences) == 5
