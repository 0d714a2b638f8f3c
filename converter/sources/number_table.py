"""A table of 64-bit numbers by 64-bit keys, kept in two plain arrays so that a million entries stay small.

Takes and gives numbers; a million entries take about 32 MB, where a dict takes some 130. Entries are
never removed.
"""

from array import array

_SMALLEST = 1 << 15
"""Slots at the start, half a megabyte: most runs then never grow."""
_FULL = 0.7


class NumberTable:
    """Numbers by key; open addressing, doubled when it is seven tenths full."""

    def __init__(self) -> None:
        self._keys = array("Q", bytes(8 * _SMALLEST))
        self._numbers = array("Q", bytes(8 * _SMALLEST))
        self._count = 0
        self._most = int(_FULL * _SMALLEST)

    def __contains__(self, key: int) -> bool:
        return self._keys[self._slot(key)] != 0

    def __getitem__(self, key: int) -> int:
        slot = self._slot(key)
        if not self._keys[slot]:
            raise KeyError(key)
        return self._numbers[slot]

    def first(self, key: int, number: int) -> int | None:
        """The number that a key has; where it has none, it gets this one, and None is given."""
        keys, key = self._keys, key or 1
        mask = len(keys) - 1
        slot = key & mask
        while (held := keys[slot]) != key:
            if not held:
                keys[slot], self._numbers[slot] = key, number
                self._count += 1
                if self._count > self._most:
                    self._grow()
                return None
            slot = (slot + 1) & mask
        return self._numbers[slot]

    def __setitem__(self, key: int, number: int) -> None:
        self._put(self._slot(key), key, number)

    def _put(self, slot: int, key: int, number: int) -> None:
        if not self._keys[slot]:
            self._keys[slot] = key or 1
            self._count += 1
        self._numbers[slot] = number
        if self._count > self._most:
            self._grow()

    def size(self) -> int:
        """How many bytes it takes."""
        return 16 * len(self._keys)

    def _slot(self, key: int) -> int:
        """Where a key stands, or would stand. Nought marks a free slot, so the key nought is kept as one."""
        keys, key = self._keys, key or 1
        mask = len(keys) - 1
        slot = key & mask
        while keys[slot] and keys[slot] != key:
            slot = (slot + 1) & mask
        return slot

    def _grow(self) -> None:
        size = 16 * len(self._keys)
        keys, numbers = array("Q", bytes(size)), array("Q", bytes(size))
        mask = len(keys) - 1
        for key, number in zip(self._keys, self._numbers, strict=True):
            if key:
                slot = key & mask
                while keys[slot]:
                    slot = (slot + 1) & mask
                keys[slot], numbers[slot] = key, number
        self._keys, self._numbers, self._most = keys, numbers, int(_FULL * len(keys))
