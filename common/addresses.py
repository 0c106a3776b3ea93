"""What stands in an address."""

from django.urls.converters import UUIDConverter


class AnyCaseUUID(UUIDConverter):
    """A UUID in letters of either case, as RFC 9562 (section 4) has it read: some devices write capitals."""

    regex = "[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}"
