"""Likeness: is this lot like last year's, or like its target, by profile and by a test that states its power.

This module is the door; the parts are beside it:

- ``_likeness_profile``: distance of two profiles in tolerances, with its uncertainty
- ``_likeness_planned``: a difference or similarity test, planned before the tasting and read against its plan
"""

from evenhand.season._likeness_planned import (
    CUPS_AN_ANSWER,
    Aim,
    PlannedReading,
    PlannedTest,
    plan_difference,
    plan_similarity,
    read_test,
)
from evenhand.season._likeness_profile import AttributeDifference, ProfileDistance, lot_difference, profile_distance

__all__ = [
    "CUPS_AN_ANSWER",
    "Aim",
    "AttributeDifference",
    "PlannedReading",
    "PlannedTest",
    "ProfileDistance",
    "lot_difference",
    "plan_difference",
    "plan_similarity",
    "profile_distance",
    "read_test",
]
