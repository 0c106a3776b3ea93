"""A visit that ended with the appliance left off puts it into that state."""

from common.models import OutboxEvent
from fleet.models import Appliance, SafetyEvent, SafetyState
from fleet.models.safety import OFF
from fleet.safety import safety_event_add
from visits.models import Outcome, Visit

REASON = "Left off at the end of the visit."


def event_leave_off(event: OutboxEvent) -> None:
    """The outbox's door. Set once per visit; what was set or done on the appliance since then stands."""
    visit = Visit.objects.select_related("technician").get(pk=event.subject_id)
    if visit.outcome != Outcome.LEFT_OFF or visit.closed_at is None:
        return
    appliance = Appliance.objects.select_for_update().get(pk=visit.appliance_id)
    events = SafetyEvent.objects.filter(appliance=appliance)
    if events.filter(visit_uuid=visit.uuid).exists() or events.filter(at__gt=visit.closed_at).exists():
        return
    later = Visit.objects.closed().filter(appliance=appliance, opened_at__gt=visit.opened_at)
    if appliance.safety_state in OFF or later.filter(outcome=Outcome.COMPLETED).exists():
        return
    safety_event_add(
        by=visit.technician,
        appliance=appliance,
        state=SafetyState.LEFT_OFF,
        reason=REASON,
        at=visit.closed_at,
        visit_uuid=visit.uuid,
    )
