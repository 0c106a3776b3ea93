"""What the pages read: the same number of queries whatever the fleet's size, and nothing for a contact."""

import pytest
from django.core.management import call_command
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext

from analytics import selectors
from analytics.models import ApplianceDrift, PeriodBias
from fleet.models import Appliance, SiteContact
from people.models import Role
from tests.analytics.fleets import SMALL, imported
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db
PAGES = {
    "story": lambda user: selectors.appliance_story(user=user, pk=Appliance.objects.first().pk),
    "wanderers": lambda user: selectors.with_evidence(
        list(selectors.wanderers_ranked(user=user, flagged_only=False)[:50])
    ),
    "analysers": lambda user: selectors.analyser_periods(user=user),
    "gas": lambda user: selectors.gas_areas(user=user),
    "condition": lambda user: selectors.fleet_condition(user=user),
}


@pytest.fixture
def fleet(tmp_path):
    fleet = imported(tmp_path)
    call_command("recompute_drift")
    return fleet


def test_an_appliances_story_holds_its_tests_moves_and_trims_with_a_sentence_each(fleet):
    appliance = Appliance.objects.get(tag="B3")
    story = selectors.appliance_story(user=UserFactory(role=Role.TECHNICIAN), pk=appliance.pk)
    assert {test.visit.appliance_id for test in story.tests} == {appliance.pk}
    assert len(story.adjustments) == fleet.visits.adjusted[fleet.visits.appliance == 3].sum()
    assert [trim.row.trim for trim in story.trims] == ["throttle", "offset"]
    for trim in story.trims:
        assert trim.sentence.startswith(("Throttle trim: ", "Offset trim: "))
        assert "a year" in trim.sentence or "no estimate" in trim.sentence


def test_a_contact_reads_their_own_story_without_drift_and_nothing_else(fleet):
    mine, other = Appliance.objects.get(tag="B0"), Appliance.objects.get(tag="B23")
    contact = UserFactory(role=Role.CONTACT)
    SiteContact.objects.create(site=mine.plant.site, user=contact)
    story = selectors.appliance_story(user=contact, pk=mine.pk)
    assert len(story.tests) > 0
    assert (story.trims, story.drift) == ([], None)
    with pytest.raises(Http404):
        selectors.appliance_story(user=contact, pk=other.pk)
    for name, page in PAGES.items():
        if name != "story":
            assert list(page(contact)) == []


def test_wanderers_are_ranked_with_their_trims(fleet):
    ranked = PAGES["wanderers"](UserFactory(role=Role.MANAGER))
    chances = [row.drift.wander_probability for row in ranked]
    assert chances == sorted(chances, reverse=True)
    assert len(ranked) == ApplianceDrift.objects.current().count()
    assert all(len(row.trims) == 2 for row in ranked)


def test_only_flagged_appliances_are_listed_unless_asked_otherwise(fleet):
    row = ApplianceDrift.objects.current().first()
    ApplianceDrift.objects.current().update(flagged=False)
    ApplianceDrift.objects.filter(pk=row.pk).update(flagged=True)
    found = selectors.wanderers_ranked(user=UserFactory(role=Role.MANAGER))
    assert [wanderer.pk for wanderer in found] == [row.pk]


def test_analyser_periods_come_with_interval_and_use(fleet):
    stories = selectors.analyser_periods(user=UserFactory(role=Role.OFFICE))
    assert len(stories) == PeriodBias.objects.current().count() > 0
    for story in stories:
        low, high = story.interval_co2_pct
        assert low < story.bias.bias_co2_pct < high
        assert story.bias.first_on <= story.bias.last_on
    assert sum(story.bias.visits for story in stories) == len(fleet.visits.day)


def test_months_count_every_visit_once(fleet):
    months = selectors.fleet_condition(user=UserFactory(role=Role.MANAGER))
    assert sum(month.judged + month.not_judged for month in months) == len(fleet.visits.day)
    assert [month.month for month in months] == sorted(month.month for month in months)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_takes_as_many_queries_for_few_rows_as_for_many(page, tmp_path):
    user, counts = UserFactory(role=Role.MANAGER), []
    for seed, options in enumerate((SMALL.but(appliances=6, visits=3), SMALL.but(visits=6))):
        path = tmp_path / str(seed)
        path.mkdir()
        imported(path, options, seed)
        call_command("recompute_drift")
        with CaptureQueriesContext(connection) as queries:
            PAGES[page](user)
        counts.append(len(queries))
    assert counts[0] == counts[1] > 0
