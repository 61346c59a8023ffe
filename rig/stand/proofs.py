"""Registers that must hold one value: the right device answers, and its watchdog is armed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

from rig.stand.model import Module, Stand, Table
from rig.stand.outputs import timeout_counts
from safety.signals import NO_CONTACT, Contact, Health

PERIOD_S = 1.0  # they are read this often, and in every scan until they hold
IDENTITY, WATCHDOG = "identity_right", "watchdog_armed"  # fields of Reading


@dataclass(slots=True)
class Proof:
    """One such register, and what it held when it was last read."""

    field: str
    module: Module
    table: Table
    address: int
    value: int
    contact: Contact = NO_CONTACT
    due_s: float = -inf
    held_once: bool = False

    def see(self, value: int | None, time_s: float) -> str | None:
        """Take what was read at `time_s`, None for no answer; what is wrong with it for a person, if so."""
        if value is None:
            self.contact, self.due_s = Contact(False, Health.UNKNOWN, time_s), -inf
            return None
        holds = value == self.value
        self.contact = Contact(holds, Health.GOOD, time_s)
        self.due_s = time_s + PERIOD_S if holds else -inf
        self.held_once |= holds
        if holds or self.field == WATCHDOG:
            return None
        return (
            f"module {self.module.name}: {self.table.value}, address {self.address} holds {value}, "
            f"the stand file says {self.value}: is this the right device?"
        )

    @property
    def broken(self) -> bool:
        return self.contact.health is Health.GOOD and not self.contact.closed


def proofs(stand: Stand) -> Iterator[Proof]:
    """Of every module that has them. A watchdog without a timeout register cannot be proven."""
    for module in stand.modules.values():
        if module.identity is not None:
            identity = module.identity
            yield Proof(IDENTITY, module, identity.table, identity.address, identity.value)
        watchdog = module.watchdog
        if watchdog is not None and watchdog.timeout_register is not None:
            counts = timeout_counts(watchdog)
            yield Proof(WATCHDOG, module, Table.HOLDING, watchdog.timeout_register, counts)


def together(contacts: Sequence[Contact]) -> Contact:
    """One contact for several: open when one is, else unknown when one is, else as old as the oldest."""

    def rank(contact: Contact) -> tuple[int, float]:
        good = contact.health is Health.GOOD
        return (0 if good and not contact.closed else 1 if not good else 2), contact.time_s

    return min(contacts, key=rank)
