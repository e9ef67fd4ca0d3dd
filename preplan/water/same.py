"""When two numbers of the model are one: summing in another order leaves no more between them."""

SAME = 1e-9
"""Flows, gallons and shares are equal that differ by less, as a share of the larger."""
LEAST_SHORT = 10.0 * SAME
"""Share of the requirement by which a flow that does not meet it is below it at least."""
