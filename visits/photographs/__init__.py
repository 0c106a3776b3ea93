"""Photographs of a visit: taken in whole or in parts, checked by what they hold, kept privately."""
