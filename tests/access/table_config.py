"""Who may read the description of the API."""

from tests.access.table import Row, everyone

ROWS = [
    Row("GET", "schema", everyone()),
    Row("GET", "schema-page", everyone()),
]
