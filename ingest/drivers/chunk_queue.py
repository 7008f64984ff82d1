"""What a driver has received and nobody has taken yet."""

import asyncio
from collections import deque
from typing import Self

from ingest.core.errors import LinkError
from ingest.core.ports import Chunk


class ChunkQueue:
    """A bounded queue that drops its oldest chunk when full, and counts it.

    Iterate over it to take chunks; what came before a failure is handed out first, then the
    failure is raised. To be used in the event loop's thread only.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._chunks: deque[Chunk] = deque()
        self._failure: LinkError | None = None
        self._news = asyncio.Event()
        self._dropped = 0

    @property
    def dropped(self) -> int:
        """Chunks dropped since the queue was made."""
        return self._dropped

    def restart(self) -> None:
        """Forget the last session: its failure, and what nobody took (counted as dropped)."""
        self._dropped += len(self._chunks)
        self._chunks.clear()
        self._failure = None

    def put(self, chunk: Chunk) -> None:
        """Add a chunk."""
        if len(self._chunks) >= self._limit:
            self._chunks.popleft()
            self._dropped += 1
        self._chunks.append(chunk)
        self._news.set()

    def fail(self, error: LinkError) -> None:
        """End the session. Only the first failure counts: the others follow from it."""
        if self._failure is None:
            self._failure = error
            self._news.set()

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> Chunk:
        while not self._chunks:
            if self._failure is not None:
                raise self._failure
            self._news.clear()
            await self._news.wait()
        return self._chunks.popleft()
