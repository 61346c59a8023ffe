"""A ring of records in shared memory: a writer that never waits, a reader that knows what it has lost."""

from multiprocessing.shared_memory import SharedMemory

HEADER_WORDS = 8  # 64 bytes: a cache line; the first word counts the records written
WORD = 8


class Ring:
    """`slots` records of `size` bytes. A slot begins with the number of its record, 0 while it is written."""

    def __init__(self, size: int, slots: int, name: str | None = None) -> None:
        """Make a ring, or attach to the one of that `name`. The maker calls `unlink` at the end."""
        self.size, self.slots = size, slots
        self._stride = 1 + (size + WORD - 1) // WORD  # words
        needed = (HEADER_WORDS + self._stride * slots) * WORD
        self._memory = SharedMemory(name, create=name is None, size=needed if name is None else 0)
        buffer = self._memory.buf
        if buffer is None:  # only after it was closed
            raise RuntimeError("the shared memory has no buffer")
        self._bytes: memoryview = buffer
        self._words = self._bytes.cast("Q")
        self._next = 0  # reader: the next record to take
        self.overrun = 0  # reader: records that were written over before they were taken

    @property
    def name(self) -> str:
        return self._memory.name

    def push(self, record: bytes) -> None:
        """Writer. Raises ValueError for a record of another size."""
        if len(record) != self.size:
            raise ValueError(f"a record has {self.size} bytes, not {len(record)}")
        written = self._words[0]
        at = HEADER_WORDS + written % self.slots * self._stride
        self._words[at] = 0
        begin = (at + 1) * WORD
        self._bytes[begin : begin + self.size] = record
        self._words[at] = written + 1
        self._words[0] = written + 1

    def take(self) -> list[bytes]:
        """Reader: every record not yet taken, oldest first."""
        taken: list[bytes] = []
        written = self._words[0]
        oldest = max(0, written - self.slots)
        if oldest > self._next:
            self.overrun += oldest - self._next
            self._next = oldest
        while self._next < written:
            at = HEADER_WORDS + self._next % self.slots * self._stride
            begin = (at + 1) * WORD
            record = bytes(self._bytes[begin : begin + self.size])
            # Whole if its number still stands: the writer takes that away before it touches the rest.
            if self._words[at] == self._next + 1:
                taken.append(record)
            else:
                self.overrun += 1
            self._next += 1
        return taken

    def close(self) -> None:
        self._words.release()
        self._bytes.release()
        self._memory.close()

    def unlink(self) -> None:
        self._memory.unlink()
