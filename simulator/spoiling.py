"""What the wire does to an answer on its way back."""

from dataclasses import dataclass
from random import Random


@dataclass(frozen=True, slots=True)
class Spoiling:
    """Orders for one answer."""

    drop: bool = False  # close the connection
    missing: bool = False
    late_s: float = 0.0
    garbled: bool = False
    twice: bool = False


NOT_SPOILT = Spoiling()


def happens(wire: dict[str, float], name: str, random: Random) -> bool:
    """Whether a fault strikes this answer; its size is the share of answers that suffer."""
    share = wire.get(name)
    return share is not None and (share >= 1.0 or random.random() < share)


def spoil_message(wire: dict[str, float], unit: int, pdu: bytes, random: Random) -> tuple[int, bytes]:
    """Unit and PDU as they go out: short, or from the wrong unit."""
    if happens(wire, "wrong unit answers", random):
        unit = unit % 247 + 1
    if pdu[0] in (3, 4, 23) and len(pdu) > 4 and happens(wire, "answers short", random):
        pdu = bytes([pdu[0], pdu[1] - 2]) + pdu[2:-2]
    return unit, pdu


def spoil_transport(wire: dict[str, float], random: Random) -> Spoiling:
    """What happens to the frame."""
    if not wire:
        return NOT_SPOILT
    return Spoiling(
        drop=happens(wire, "connection drops", random),
        missing=happens(wire, "answers missing", random),
        late_s=wire.get("answers late", 0.0),
        garbled=happens(wire, "answers garbled", random),
        twice=happens(wire, "answers twice", random),
    )


def garble(frame: bytes, random: Random) -> bytes:
    """One byte changed, so that a checksum sees it."""
    at = random.randrange(len(frame))
    return frame[:at] + bytes([frame[at] ^ (1 << random.randrange(8))]) + frame[at + 1 :]
