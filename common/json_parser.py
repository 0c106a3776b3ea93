"""The parser of JSON bodies that serializers read. Alone in its file: the framework's settings import it."""

from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class PlainJSONParser(JSONParser):
    """JSON of which no nesting is too deep to be refused."""

    def parse(self, *args: Any, **more: Any) -> Any:
        """As JSONParser. Raises ParseError for whatever is no JSON that can be read."""
        try:
            return super().parse(*args, **more)
        except RecursionError as error:
            raise ParseError("JSON parse error - nested too deep") from error
