"""An analyser's log is read as it was described, and refused by line and column where it is not so."""

from zoneinfo import ZoneInfo

import pytest

from flueledger_client.log import Layout, LogError, readings_of, zone_of

COLUMNS = {"o2_pct": "O2", "inlet_pressure_mbar": "p Pa"}


def layout(**values):
    return Layout(**{"time": "t", "columns": COLUMNS, **values})


def read(text, **values):
    return readings_of(text.splitlines(), layout(**values))


def test_columns_are_found_by_name_scaled_and_empty_cells_left_out():
    rows = read(
        "\ufeffx,t,p Pa,O2\n,2026-03-02T09:00:00Z,2050,4.7\n\n"
        ",2026-03-02T09:00:05Z,-,---\n,2026-03-02T09:00:10Z,,4.8",
        scale={"inlet_pressure_mbar": 0.01},
    )
    assert rows == [
        {"at": "2026-03-02T09:00:00+00:00", "o2_pct": 4.7, "inlet_pressure_mbar": 20.5},
        {"at": "2026-03-02T09:00:10+00:00", "o2_pct": 4.8},
    ]


def test_times_without_a_zone_take_the_one_that_is_told_also_in_summer():
    (row,) = read("t,O2,p Pa\n2026-07-02 09:00:00,4.7,", zone=ZoneInfo("Europe/London"))
    assert row["at"] == "2026-07-02T09:00:00+01:00"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("t,O2\n", "no column is called 'p Pa'"),
        ("t,O2,O2,p Pa\n", "2 columns are called 'O2'"),
        ("t,O2,p Pa\n2026-03-02T09:00:00Z,4.7", "line 2: 2 cells where the header has 3"),
        ("t,O2,p Pa\n2026-03-02T09:00:00,4.7,", "line 2, t: .* names no zone"),
        ("t,O2,p Pa\nnine,4.7,", "line 2, t: 'nine' is no time"),
        ("t,O2,p Pa\n2026-03-02T09:00:00Z,much,", "line 2, O2: 'much' is no number"),
        ('t,O2,p Pa\n2026-03-02T09:00:00Z,"4,7",', "line 2, O2: '4,7' is no number with decimal mark"),
        ("t,O2,p Pa\n2026-03-02T09:00:00Z,inf,", "line 2, O2: 'inf' is not finite"),
    ],
)
def test_a_log_that_is_not_as_described_is_refused_by_line_and_column(text, said):
    with pytest.raises(LogError, match=said):
        read(text)


def test_unknown_readings_and_no_columns_are_refused():
    with pytest.raises(LogError, match="'smoke' is no reading"):
        layout(columns={"smoke": "S"})
    with pytest.raises(LogError, match="at least one column"):
        layout(columns={})


@pytest.mark.parametrize("text", ["+25:00", "Nowhere/Land", "../etc"])
def test_a_zone_that_is_none_is_refused(text):
    with pytest.raises((LogError, ValueError)):
        zone_of(text)


def test_zones_by_offset_and_name():
    assert str(zone_of("-03:30")) == "UTC-03:30"
    assert zone_of("Europe/London") == ZoneInfo("Europe/London")
    for separator in ("", ";;", '"', "\n"):
        with pytest.raises(LogError, match="one character"):
            layout(separator=separator)


def test_a_tab_may_separate_and_a_file_that_is_no_csv_is_refused():
    assert read("t\tO2\tp Pa\n2026-03-02T09:00:00Z\t4.7\t", separator="\t")[0]["o2_pct"] == 4.7
    with pytest.raises(LogError, match="no CSV"):
        read("t,O2,p Pa\n" + "x" * 200_000)
