"""Lists of the fleet as files: out as they stand, in by natural keys after a preview of what will change."""

from fleet.lists.reading import Refused, table_read
from fleet.lists.resources import KINDS
from fleet.lists.services import Outcome, list_apply, list_preview

__all__ = ["KINDS", "Outcome", "Refused", "list_apply", "list_preview", "table_read"]
