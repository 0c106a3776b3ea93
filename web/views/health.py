"""Is the process alive, and can it work? For whoever watches the servers; says nothing about the fleet."""

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_safe

from web.access import open_page


@open_page
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@open_page
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """The database answers and has every migration; else 503, so that no request is sent here."""
    try:
        executor = MigrationExecutor(connection)
        behind = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return JsonResponse({"status": "no database"}, status=503)
    if behind:
        return JsonResponse({"status": "migrations to be applied", "count": len(behind)}, status=503)
    return JsonResponse({"status": "ready"})
