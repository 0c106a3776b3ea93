"""The visit form: plain form fields on one side, the body of a save on the other."""

from web.forms.visit.sheet import VisitSheet

__all__ = ["VisitSheet"]
