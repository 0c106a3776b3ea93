"""What the drift pages read."""
