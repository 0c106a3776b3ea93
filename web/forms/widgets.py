"""Form widgets of our own."""

from typing import Any

from django import forms


class LongSelect(forms.Select):
    """A choice among hundreds whose first says «nothing chosen».

    Its rows are read once; the usual one reads them again to see whether the first is empty.
    """

    def use_required_attribute(self, initial: Any) -> bool:
        """The first option is empty, so the browser may insist on another."""
        return not self.is_hidden
