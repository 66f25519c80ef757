"""Roasteries with known truth: how often the verdicts are right, and what they cost, in worlds kind and unkind."""
