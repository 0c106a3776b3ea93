"""The statistics of drift and wander: arrays in, arrays out. See docs/drift.md."""
