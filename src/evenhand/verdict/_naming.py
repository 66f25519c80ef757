"""What a season calls its columns and its stock, alike in charts, green and lots: acidity, black; bags."""

from evenhand.verdict._service_words import name_service
from evenhand.words import Words, say


def name_taste(attribute: str, service: str) -> Words:
    """Name an attribute and its service, as they stand inside a sentence.

    Parameters
    ----------
    attribute
        Name of the attribute.
    service
        Key of the service: black, milk or bowl.
    """
    return say("{attribute}, {service}", attribute=attribute, service=name_service(service))


def name_unit(unit: str) -> str:
    """Name what the stock of a lot is counted in.

    Parameters
    ----------
    unit
        As in `LotStock`: bags, or kg.
    """
    return say("bags") if unit == "bags" else unit
