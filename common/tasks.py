"""The one Celery task: the tick."""

from celery import shared_task
from django.utils import timezone

from common import ticking


@shared_task(name="common.tasks.tick")  # type: ignore[untyped-decorator]
def tick() -> dict[str, object]:
    """Work through the outbox and whatever is due."""
    return {name: str(answer) for name, answer in ticking.tick(timezone.now()).items()}
