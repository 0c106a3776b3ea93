"""The parts of the advice: what may be relied on, how far to move, what the seasons do, and the words."""
