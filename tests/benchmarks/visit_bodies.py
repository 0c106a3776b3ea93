"""The body that the benchmarks send: an annual with 4 tests of some readings each, a second apart."""

from typing import Any

from tests.visits.bodies import firing, visit_body


def body_of(appliance: Any, analyser: Any, readings: int = 6) -> dict[str, Any]:
    """An annual as found and as left at both points."""
    tests = [
        firing("found-high", "high", "as_found", 10),
        firing("found-low", "low", "as_found", 15),
        firing("left-high", "high", "as_left", 40),
        firing("left-low", "low", "as_left", 45),
    ]
    for test in tests:
        first = test["readings"][0]
        minute = first["at"][:17]
        test["readings"] = [{**first, "at": f"{minute}{second:02}+00:00"} for second in range(readings)]
    return visit_body(appliance, analyser, tests=tests)
