"""What a visit left changed stands on the plant's page until a person ends it."""

from django.urls import reverse
from django.utils import timezone

from visits.models import Finding


def test_the_plants_page_shows_what_was_left_changed_until_it_is_done(fleet, page_of) -> None:
    finding = Finding.objects.create(
        visit=fleet.visit,
        appliance=fleet.visit.appliance,
        code="plant_setting_changed",
        subject="setting:s1",
        severity="act",
        rests_on={"unit_name": "B2", "setting": "sequencer", "before": "automatic", "after": "manual"},
        made_at=timezone.now(),
    )
    address = reverse("web:plant", args=[fleet.visit.appliance.plant_id])
    page = page_of(fleet.office).get(address)
    assert "B2: «sequencer» was «automatic» before the attendance and is «manual» after it." in page.text
    finding.life = "done"
    finding.save()
    assert page_of(fleet.office).get(address).context["page"].left_changed == []
