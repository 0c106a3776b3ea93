"""Which sites a customer's contact may read."""

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied
from django.db import transaction

from common.audit import audit
from common.problems import Problem
from fleet.models import Site, SiteContact
from people.models import User
from people.permissions import is_contact, sees_everything


@transaction.atomic
def contact_sites_set(
    *, by: User, contact: User, sites: Iterable[Site], seen: Iterable[int] | None = None
) -> None:
    """Link a contact to exactly these sites. Anyone else reads by role and is never linked.

    seen: ids of the sites as the editor saw them linked.   Raises Problem `changed_meanwhile` where they are
    no longer those; then nothing is written.
    """
    if not sees_everything(by):
        raise PermissionDenied
    # Two editors at once: the second waits here and is told.
    User.objects.select_for_update().get(pk=contact.pk)
    held = contact_site_ids(contact)
    if seen is not None and sorted(seen) != held:
        names = ", ".join(str(site) for site in Site.objects.filter(pk__in=held)) or "nothing"
        detail = f"Somebody changed this meanwhile: they now read {names}. Compare, then save again."
        raise Problem("changed_meanwhile", detail, status=409)
    wanted = {site.pk for site in sites} if is_contact(contact) else set()
    SiteContact.objects.filter(user=contact).exclude(site__in=wanted).delete()
    SiteContact.objects.bulk_create(
        [SiteContact(site_id=pk, user=contact) for pk in sorted(wanted)], ignore_conflicts=True
    )
    audit(by=by, verb="linked", subject=contact, sites=sorted(wanted), before=held)


def contact_site_ids(contact: User) -> list[int]:
    """Ids of the sites that a contact reads, in order."""
    return list(SiteContact.objects.filter(user=contact).order_by("site").values_list("site", flat=True))
