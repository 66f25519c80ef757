"""How a cup was served, in words that can be told."""

from collections.abc import Mapping
from typing import Final

from evenhand.verdict.judgement import AttributeVerdict
from evenhand.words import say

SERVICE_WORD: Final[Mapping[str, str]] = {"black": say("black"), "milk": say("milk"), "bowl": say("bowl")}
"""What each service is called."""

_IN_SERVICE: Final[Mapping[str, str]] = {
    "black": say("in black"),
    "milk": say("in milk"),
    "bowl": say("in the bowl"),
}


def name_service(service: str) -> str:
    """Name a service, for example "milk"; one that is not known is called by its key."""
    return SERVICE_WORD.get(service, service)


def in_service(service: str) -> str:
    """Say in which cups something was tasted, for example "in the bowl"."""
    return _IN_SERVICE.get(service) or say("in {service}", service=service)


def name_attribute(one: AttributeVerdict) -> str:
    """Name an attribute with its service, for example "acidity in milk"."""
    return say("{attribute} {where}", attribute=one.attribute, where=in_service(one.service))
