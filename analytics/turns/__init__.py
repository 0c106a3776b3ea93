"""What a turn of a trim does, learnt from recorded moves: pure NumPy and SciPy, no Django."""
