"""Who may log in, from which device, and who tried in vain; the role of a person stands in the records."""

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models

from evenhand.records.models import Person
from evenhand.words import say

RANKS = {"taster": 0, "lead": 1, "owner": 2}
"""What each role may do includes what those below it may."""


class Account(AbstractBaseUser):
    """One person's way in: a password anywhere, a PIN on the shop's own devices.

    Attributes
    ----------
    pin
        Hash of the PIN, empty where there is none.
    units
        How masses of green, temperatures and volumes are shown and typed.
    """

    UNITS = (("metric", "metric"), ("us", "US"))

    person = models.OneToOneField(Person, models.PROTECT, related_name="account")
    pin = models.CharField(max_length=128, blank=True, default="")
    units = models.CharField(max_length=6, choices=UNITS, default="metric")

    USERNAME_FIELD = "person"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        verbose_name = say("account")

    def __str__(self) -> str:
        return str(self.person.name)

    def get_username(self) -> str:
        """Return the person's name."""
        return str(self.person.name)

    @property
    def is_active(self) -> bool:  # type: ignore[override]
        """Whether the person still works here."""
        return bool(self.person.is_active)

    @property
    def role(self) -> str:
        """One of taster, lead, owner."""
        return self.person.role or "taster"

    def may(self, role: str) -> bool:
        """Say whether this account may do what a role may do."""
        return self.is_active and RANKS[self.role] >= RANKS[role]


class Device(models.Model):
    """A device on which names and PINs are enough: the shop's tablet, or a phone that scanned a table's code.

    Attributes
    ----------
    token_hash
        SHA-256 of the token that the device's cookie holds; the token itself is not kept.
    until
        When it stops to be trusted; None for the shop's own tablet.
    """

    token_hash = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    added_by = models.CharField(max_length=200)
    added_at = models.DateTimeField()
    until = models.DateTimeField(null=True)

    class Meta:
        verbose_name = say("device")

    def __str__(self) -> str:
        return self.name


class FailedLogIn(models.Model):
    """One try with a wrong password or PIN; many of them make the next ones wait."""

    name = models.CharField(max_length=200)
    address = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        indexes = (
            models.Index(fields=("name", "at"), name="failed_by_name"),
            models.Index(fields=("address", "at"), name="failed_by_address"),
        )

    def __str__(self) -> str:
        return f"{self.name} at {self.at}"
