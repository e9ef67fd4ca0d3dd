"""Numbers turned into gallons per minute: pure functions and arrays."""
