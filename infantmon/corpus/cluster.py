"""Executors of a running dask cluster."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

from infantmon.errors import ArgumentError, InfantmonError


def dask_executor(
    address: str, timeout_s: float = 10.0
) -> tuple[Callable[[], ClusterExecutor], int]:
    """Return what makes executors of a running cluster, and how many threads its workers have.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://host:8786``.
    timeout_s : float
        How long to wait for an answer, in seconds.

    Raises
    ------
    InfantmonError
        If dask.distributed is not installed, that is no address, or nobody answers there.
    """
    client = _client(address, timeout_s)
    threads = sum(client.ncores().values())
    client.close()
    return lambda: ClusterExecutor(address, timeout_s), max(int(threads), 1)


class ClusterExecutor(Executor):
    """Runs calls on a cluster; when it is shut down, its connection is closed, too.

    Parameters
    ----------
    address : str
        Of the scheduler.
    timeout_s : float
        How long to wait for an answer, in seconds.
    """

    def __init__(self, address: str, timeout_s: float) -> None:
        self._client = _client(address, timeout_s)
        self._executor: Executor = self._client.get_executor(pure=False)

    def submit(self, call: Callable[..., Any], /, *args: Any, **named: Any) -> Future[Any]:
        """Send a call, and return what it will give."""
        return self._executor.submit(call, *args, **named)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Take no more calls; wait for those that were sent, and close the connection."""
        del cancel_futures  # dask's executor has no such choice
        self._executor.shutdown(wait=wait)
        self._client.close()


def _client(address: str, timeout_s: float) -> Any:
    try:
        import distributed  # noqa: PLC0415 - an extra
    except ImportError as fault:
        raise InfantmonError(
            "a cluster needs dask.distributed, which is not installed; "
            "install it with: pip install 'infantmon[cluster]'."
        ) from fault
    from distributed.comm.addressing import get_address_host_port  # noqa: PLC0415

    try:
        get_address_host_port(address)
    except ValueError as fault:
        raise ArgumentError(
            f"{address!r} is no address of a scheduler ({fault}); pass one such as tcp://host:8786."
        ) from fault
    connect: Any = distributed.Client
    try:
        return connect(address, timeout=timeout_s, set_as_default=False)
    except (OSError, TimeoutError) as fault:
        raise InfantmonError(f"no scheduler answers at {address} ({fault}); check it.") from fault
