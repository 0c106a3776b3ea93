"""A row made from a blank one is the row that the model's own `__init__` makes."""

import pytest

from common.unsaved import unsaved
from tests.factories import BurnerFactory, FiringTestFactory, VisitFactory
from visits.models import FiringTest


@pytest.mark.django_db
def test_a_row_made_from_a_blank_one_is_what_init_makes(
    django_assert_num_queries,
) -> None:
    visit, burner = VisitFactory(), BurnerFactory()
    given = {
        "key": "a",
        "point": "high",
        "phase": "as_found",
        "sequence": 1,
        "fuel": "natural_gas",
        "co2_pct": 9.1,
    }
    made, plain = (
        unsaved(FiringTest(), {"visit": visit, "burner": burner}, given),
        FiringTest(visit=visit, burner=burner, **given),
    )
    with django_assert_num_queries(0):
        assert (made.visit, made.burner, made.pk, made._state.adding) == (visit, burner, None, True)
    assert {k: v for k, v in vars(made).items() if k != "_state"} == {
        k: v for k, v in vars(plain).items() if k != "_state"
    }
    made.save()
    assert FiringTest.objects.get(key="a").burner == burner


@pytest.mark.django_db
def test_rows_made_from_one_blank_row_do_not_share_what_they_are_joined_to() -> None:
    blank, first, second = FiringTest(), VisitFactory(), VisitFactory()
    one, other = (unsaved(blank, {"visit": visit}, {}) for visit in (first, second))
    one.burner = FiringTestFactory().burner
    assert (one.visit, other.visit, other.burner_id, blank.visit_id) == (first, second, None, None)
