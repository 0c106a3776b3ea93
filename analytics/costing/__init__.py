"""What being out of tune costs in a year: from the readings as found to rows, and to their sums."""
