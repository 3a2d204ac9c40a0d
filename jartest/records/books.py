"""What every part of a store stands on: one place to read from and one to write to."""

from __future__ import annotations

from abc import ABC, abstractmethod
from contextlib import AbstractContextManager

from sqlalchemy import Connection

__all__ = ["Books"]


class Books(ABC):
    """A part of a store; the store itself gives the connections."""

    @abstractmethod
    def _writing(self) -> AbstractContextManager[Connection]:
        """One transaction: kept whole at its end, or not at all."""

    @abstractmethod
    def _reading(self) -> AbstractContextManager[Connection]:
        """The records as they stand at one moment."""
