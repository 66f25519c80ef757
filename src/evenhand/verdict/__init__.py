"""One judgement out of the floors below: tolerance, risk, cost, and the worth of the next cup."""
