"""Canonical JSON: one text for one value."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from common.canonical import body_hash, canonical_json, packed, unpacked

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=20,
)


@given(values)
def test_packing_keeps_the_value(value: object) -> None:
    assert unpacked(packed({"value": value})) == {"value": value}


@given(st.dictionaries(st.text(max_size=5), st.integers(-1000, 1000), max_size=6))
def test_the_order_of_members_and_a_trailing_point_zero_do_not_matter(members: dict[str, int]) -> None:
    turned = {name: float(members[name]) for name in reversed(list(members))}
    assert body_hash(members) == body_hash(turned)


def test_different_bodies_have_different_hashes_and_true_is_not_one() -> None:
    assert body_hash({"a": 1}) != body_hash({"a": 2})
    assert body_hash({"a": True}) != body_hash({"a": 1})


def test_nan_has_no_canonical_form() -> None:
    with pytest.raises(ValueError, match="JSON"):
        canonical_json({"a": float("nan")})
