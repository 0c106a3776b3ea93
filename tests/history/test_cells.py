"""What one cell may hold."""

import uuid
from datetime import UTC, datetime

import pytest

from visits.history import cells
from visits.history.cells import Refusal


@pytest.mark.parametrize(
    "text", ["nan", "NaN", "inf", "-Infinity", "8,9", "1_000", "٩", "9 %", "0x9", "1" * 41]
)
def test_what_is_not_a_finite_decimal_number_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="not a finite decimal number"):
        cells.number()(text)


@pytest.mark.parametrize("text", ["1000000", "-1e6", "1e300"])
def test_a_number_too_large_to_store_is_refused_with_its_limit(text: str) -> None:
    with pytest.raises(Refusal, match="under 1e6"):
        cells.number()(text)


def test_implausible_numbers_are_taken_as_they_are() -> None:
    assert cells.number()("-40") == -40.0
    assert cells.number()("999999.9") == 999999.9
    assert cells.number()("3e2") == 300.0


def test_reference_figures_keep_to_the_limits_of_the_record() -> None:
    assert cells.number(1, 50)("1") == 1.0
    with pytest.raises(Refusal, match="not between 1 and 50"):
        cells.number(1, 50)("51")


@pytest.mark.parametrize("text", ["-1", "1.0", "2147483648", "²", "1e3", "+1", "9" * 400])
def test_a_sequence_is_a_whole_number_that_can_be_stored(text: str) -> None:
    with pytest.raises(Refusal):
        cells.whole(text)
    assert cells.whole("2147483647") == 2_147_483_647


@pytest.mark.parametrize("text", ["20260131", "2026-W05-1", "31/01/2026", "2026-02-30", "2026-1-31"])
def test_a_day_is_written_year_month_day(text: str) -> None:
    with pytest.raises(Refusal, match="not a date"):
        cells.day(text)


@pytest.mark.parametrize("name", ["Europe/Nowhere", "../../etc/passwd", "/etc/localtime", "europe/london"])
def test_a_zone_is_a_name_of_the_time_zone_database(name: str) -> None:
    with pytest.raises(Refusal, match="IANA"):
        cells.zone_name(name)


def test_a_name_is_one_name_however_its_accents_are_encoded() -> None:
    read = cells.text(20)
    assert read("Cafe\N{COMBINING ACUTE ACCENT}") == read("Café")


def test_a_name_may_be_as_long_as_its_column_and_no_longer() -> None:
    assert cells.text(80)("x" * 80) == "x" * 80
    with pytest.raises(Refusal, match="longer than 80"):
        cells.text(80)("x" * 81)


def test_a_visit_is_known_by_its_uuid_or_by_one_made_from_its_text() -> None:
    own = "0190b0c8-5f2a-7cc1-9d3e-3b9f5a4f2e11"
    assert cells.visit_uuid(own.upper()) == uuid.UUID(own)
    # RFC 9562: version 5 is SHA-1 over the namespace and the name.
    namespace = uuid.uuid5(uuid.NAMESPACE_URL, "urn:flueledger:imported-visit")
    assert cells.visit_uuid("job 1") == uuid.uuid5(namespace, "job 1")
    assert cells.visit_uuid("x" * 36).version == 5


class TestInstants:
    """Europe/London in 2026: clocks skip 01:00 to 02:00 on 29 March, show it twice on 25 October."""

    def test_an_offset_says_the_instant_whatever_the_zone(self) -> None:
        at = cells.instant("2026-07-01T10:00:00+02:00", "Pacific/Auckland")
        assert at == datetime(2026, 7, 1, 8, tzinfo=UTC)
        assert at.tzinfo is UTC

    def test_a_time_without_offset_is_read_in_the_zone(self) -> None:
        assert cells.instant("2026-07-01 10:00", "Europe/London") == datetime(2026, 7, 1, 9, tzinfo=UTC)
        assert cells.instant("2026-01-01T10:00", "Europe/London") == datetime(2026, 1, 1, 10, tzinfo=UTC)

    def test_a_time_without_offset_or_zone_is_refused(self) -> None:
        with pytest.raises(Refusal, match="without a zone"):
            cells.instant("2026-07-01T10:00:00", "")

    @pytest.mark.parametrize("time", ["01:00", "01:30", "01:59:59"])
    def test_a_time_that_the_clocks_skipped_is_refused(self, time: str) -> None:
        with pytest.raises(Refusal, match="skipped"):
            cells.instant(f"2026-03-29T{time}", "Europe/London")

    @pytest.mark.parametrize("time", ["01:00", "01:30", "01:59:59"])
    def test_a_time_that_the_clocks_showed_twice_is_refused(self, time: str) -> None:
        with pytest.raises(Refusal, match="twice"):
            cells.instant(f"2026-10-25T{time}", "Europe/London")

    def test_the_hours_beside_both_changes_are_taken(self) -> None:
        read = [
            cells.instant(text, "Europe/London").isoformat()
            for text in ("2026-03-29T00:59", "2026-03-29T02:00", "2026-10-25T00:59", "2026-10-25T02:00")
        ]
        assert read == [
            "2026-03-29T00:59:00+00:00",
            "2026-03-29T01:00:00+00:00",
            "2026-10-24T23:59:00+00:00",
            "2026-10-25T02:00:00+00:00",
        ]

    def test_an_hour_shown_twice_is_taken_with_its_offset(self) -> None:
        first = cells.instant("2026-10-25T01:30:00+01:00", "Europe/London")
        second = cells.instant("2026-10-25T01:30:00+00:00", "Europe/London")
        assert (second - first).total_seconds() == 3600

    @pytest.mark.parametrize(
        "text", ["2026-07-01", "yesterday", "2026-07-01T25:00+00:00", "01/07/2026 10:00", "1751360400"]
    )
    def test_what_is_not_a_date_and_time_is_refused(self, text: str) -> None:
        with pytest.raises(Refusal, match="ISO 8601"):
            cells.instant(text, "Europe/London")

    @pytest.mark.parametrize("text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
    def test_a_year_outside_the_calendar_of_the_record_is_refused(self, text: str) -> None:
        with pytest.raises(Refusal, match="1900 to 2199"):
            cells.instant(text, "")
