"""Which sites a customer's contact may read."""

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied
from django.db import transaction

from common.audit import audit
from fleet.models import Site, SiteContact
from people.models import User
from people.permissions import is_contact, sees_everything


@transaction.atomic
def contact_sites_set(*, by: User, contact: User, sites: Iterable[Site]) -> None:
    """Link a contact to exactly these sites. Anyone else reads by role and is never linked."""
    if not sees_everything(by):
        raise PermissionDenied
    wanted = {site.pk for site in sites} if is_contact(contact) else set()
    SiteContact.objects.filter(user=contact).exclude(site__in=wanted).delete()
    SiteContact.objects.bulk_create(
        [SiteContact(site_id=pk, user=contact) for pk in sorted(wanted)], ignore_conflicts=True
    )
    audit(by=by, verb="linked", subject=contact, sites=sorted(wanted))
