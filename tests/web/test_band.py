"""Where things stand on a band bar."""

from web.band import MARGIN, WIDTH, band_bar


def test_a_reading_in_the_middle_of_the_band_stands_in_the_middle_of_the_bar() -> None:
    bar = band_bar(target_co2_pct=(8.8, 9.2), accept_co2_pct=(8.5, 9.5), found=(9.0, 0.07), left=None)
    assert bar.found.x == WIDTH / 2
    assert bar.found.low < bar.found.x < bar.found.high
    assert bar.accept.x < bar.target.x
    assert bar.target.x + bar.target.width < bar.accept.x + bar.accept.width
    assert bar.left is None


def test_a_reading_off_the_scale_is_drawn_at_the_edge_and_marked() -> None:
    bar = band_bar(target_co2_pct=None, accept_co2_pct=(8.5, 9.5), found=(12.0, None), left=(9.0, None))
    assert bar.found.cut_off
    assert bar.found.x == WIDTH - MARGIN
    assert not bar.left.cut_off


def test_there_is_no_bar_without_a_band_or_without_a_reading() -> None:
    assert band_bar(target_co2_pct=None, accept_co2_pct=None, found=(9.0, 0.1), left=None) is None
    assert band_bar(target_co2_pct=None, accept_co2_pct=(8.5, 9.5), found=None, left=None) is None
