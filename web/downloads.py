"""Lists as files, under the name by which the pages know them."""

from common.sheets import Echo, inert

__all__ = ["Echo", "inert"]
