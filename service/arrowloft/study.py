"""Sweeps of any size from Python: what /v1/sweep computes, on this machine or on many.

    from arrowloft.study import sweep

    table = sweep(request)                      # in this process
    table = sweep(request, client=dask_client)  # its blocks over a Dask cluster

Dask comes with the extra `arrowloft[dask]`, Arrow tables with `arrowloft[arrow]`.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from numbers import Integral
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import orjson
from marshmallow import ValidationError

from arrowloft import __version__, units
from arrowloft.api import reading
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.problems import Fault, Problem, from_model_fault, from_validation
from arrowloft.api.sweeping import members
from arrowloft.api.sweeping.block import Part, Sweep
from arrowloft.api.sweeping.forms import arrow_table
from arrowloft.api.sweeping.plan import Plan, plan_of
from arrowloft.api.sweeping.sweep import named, said
from arrowloft.api.sweeping.table import Series, Table, computed
from arrowloft.core.arrays import Array
from arrowloft.plugin import Note
from arrowloft.plugin.guard import ModelFault
from arrowloft.plugin.registry import PluginFaults, Registry

if TYPE_CHECKING:
    import distributed

MOST_POINTS = 10_000_000
"""Points of a study unless its caller says otherwise: some 100 MB for each column of rows."""

Progress = Callable[[int, int], None]
"""(blocks taken in, of how many), called in the blocks' own order, by the thread of `sweep`."""


class Refused(ValueError):
    """A request that cannot be answered.

    detail: what to do.  errors: (JSON pointer, sentence) for each member at fault.
    """

    def __init__(self, detail: str, errors: tuple[tuple[str, str], ...] = ()) -> None:
        lines = "".join(f"\n  {pointer}: {sentence}" for pointer, sentence in errors)
        super().__init__(f"{detail}{lines}")
        self.detail = detail
        self.errors = errors

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.detail, self.errors)


class ClusterDiffers(RuntimeError):
    """A worker computes with other versions or models than this process; says which worker."""


@dataclass(frozen=True)
class SweepTable:
    """A sweep computed; all in SI.

    columns: name -> (points,), NaN beyond reach: the varied members by their pointers,
        `sample` where there are draws, `distance`, and the quantities asked for.
    quantiles: of a sampled sweep, name -> (grid points * distances,): the members of the
        grid, `distance`, `arrived`, and `time.mean`, `time.standard_deviation`,
        `time.quantile_0.5` and so on; else empty.
    symbols: name -> SI unit of each column, empty for plain numbers.
    notes: cautions and assumptions.  about: what the reply of /v1/sweep says beside its columns.
    """

    columns: Mapping[str, Array]
    quantiles: Mapping[str, Array]
    symbols: Mapping[str, str]
    notes: tuple[Note, ...]
    about: Mapping[str, Any]
    _table: Table

    def to_arrow(self, *, quantiles: bool = False) -> Any:
        """A pyarrow.Table of all columns, or of the quantiles, SI; NaN are null.

        Units stand in the fields' metadata, `about` in the schema's. Raises ImportError,
        which names the extra, without pyarrow.
        """
        try:
            import pyarrow  # noqa: F401
        except ImportError as error:
            raise ImportError("Arrow tables need pyarrow: install arrowloft[arrow]") from error
        series = self._table.summary if quantiles else self._table.rows
        names = [self.symbols[one.name] for one in series]
        return arrow_table(series, [one.values for one in series], names, self.about)


def sweep(
    request: Mapping[str, Any],
    *,
    client: "distributed.Client | None" = None,
    registry: Registry | None = None,
    limit: int | None = None,
    progress: Progress | None = None,
) -> SweepTable:
    """Compute what /v1/sweep answers to the request, of any size up to `limit` points.

    client: of a Dask cluster, over which the blocks are mapped; its workers must have the
        same versions of arrowloft and of the models. The blocks follow from the request, and
        a block's numbers do not depend on who computes it, so that a worker may die in the
        middle of it, and what comes is the same to the last bit as from this process.
    registry: the models; those installed where not given. Not with a client: its workers
        look for them by themselves.
    request: as sent to the service; NumPy numbers and arrays, tuples and ranges stand for
        numbers and lists.
    limit: most points, MOST_POINTS where not given; all rows are held in memory.
    progress: told (blocks taken in, of how many) after each block, in their own order: while
        one is late, later ones may be computed but are not counted. What it raises ends the
        sweep, and on a cluster gives up the blocks still to come.

    Raises Refused for what the service would answer with a problem, ClusterDiffers, TypeError
    for a request that JSON cannot hold, ValueError for a limit that is no number of points and
    for a registry beside a client.
    """
    if client is not None and registry is not None:
        raise ValueError("workers look for the installed models by themselves: leave registry out")
    most = _most(limit)
    document = _document(request, most)
    try:
        # The process's own models are kept, as a worker keeps them.
        made = _sweep(document, most) if registry is None else _made(document, most, registry)
        blocks = range(len(made.plan.blocks))
        parts = (
            (made.part(index) for index in blocks)
            if client is None
            else _mapped(client, document, most, made)
        )
        table = computed(made, _counted(parts, len(blocks), progress))
    except _FAULTS as error:
        raise _refused(error) from error
    return _in_si(table)


_FAULTS = (Problem, ValidationError, reading.MalformedJson, ModelFault)


def _most(limit: Any) -> int:
    if limit is None:
        return MOST_POINTS
    if isinstance(limit, bool) or not isinstance(limit, Integral) or limit < 1:
        raise ValueError(f"limit is the number of points allowed, 1 or more; {limit!r} is none")
    return int(limit)


def _document(request: Any, most: int) -> bytes:
    """The request as JSON."""
    if not isinstance(request, Mapping):
        raise TypeError(
            f"the request is a mapping, as sent to the service, not {type(request).__name__}"
        )

    def plain(value: Any) -> Any:
        if isinstance(value, np.ndarray | np.generic):
            return value.tolist()
        if isinstance(value, range) and len(value) <= most:
            return list(value)
        if isinstance(value, Mapping):
            return dict(value)
        raise TypeError(f"{type(value).__name__} stands for no JSON value")

    try:
        return orjson.dumps(dict(request), default=plain, option=orjson.OPT_SERIALIZE_NUMPY)
    except TypeError as error:
        raise TypeError(
            f"the request must hold what JSON can: {error.__cause__ or error}"
        ) from error


def _counted(parts: Iterator[Part], count: int, progress: Progress | None) -> Iterator[Part]:
    for done, part in enumerate(parts, 1):
        if progress is not None:
            progress(done, count)
        yield part


class Answer(NamedTuple):
    """What a worker answers: a part or a refusal, or why it cannot take part at all.

    made_with: what it computed that with.  worker: its address, empty outside of a cluster.
    """

    part: Part | None = None
    refused: Refused | None = None
    unfit: str = ""
    made_with: tuple[str, ...] = ()
    worker: str = ""


def block(index: int, document: bytes, most: int) -> Answer:
    """One block of a request, as a worker computes it.

    document: the request as JSON.  most: points allowed.  Models and plan are made once in
    a process for each request.
    """
    where = _address()
    try:
        made = _sweep(document, most)
    except (*_FAULTS, PluginFaults) as error:
        # The sender's own models took the request.
        unfit = str(error if isinstance(error, PluginFaults) else _refused(error))
        return Answer(unfit=unfit, worker=where)
    try:
        return Answer(part=made.part(index), made_with=_made_with(made), worker=where)
    except _FAULTS as error:
        return Answer(refused=_refused(error), made_with=_made_with(made), worker=where)


def _address() -> str:
    """The address of the Dask worker that this runs in; empty where there is none."""
    try:
        from distributed import get_worker

        return str(get_worker().address)
    except (ImportError, ValueError):
        return ""


def _mapped(client: Any, document: bytes, most: int, made: Sweep) -> Iterator[Part]:
    """The parts in their order, from a cluster; raises Refused, ClusterDiffers."""
    blocks = range(len(made.plan.blocks))
    # Not pure: two sweeps of one request share no futures, of which one would cancel the other's.
    futures = client.map(block, blocks, document=document, most=most, pure=False)
    own = _made_with(made)
    try:
        for future in futures:
            answer: Answer = future.result()
            if answer.unfit:
                raise ClusterDiffers(
                    f"the worker at {answer.worker} cannot take what this process can: install "
                    f"the same versions and models there. It says: {answer.unfit}"
                )
            if answer.made_with != own:
                raise ClusterDiffers(
                    f"the worker at {answer.worker} computes with {', '.join(answer.made_with)}, "
                    f"this process with {', '.join(own)}: install the same on both"
                )
            if answer.refused is not None:
                raise answer.refused
            assert answer.part is not None
            yield answer.part
            future.release()
    finally:
        client.cancel(futures)


def _made_with(made: Sweep) -> tuple[str, ...]:
    models = (made.launch.model, made.drag.model)
    return (
        f"arrowloft {__version__}",
        *(f"{name} {version(name)}" for name in ("numpy", "scipy")),
        *(f"{model.name} {model.version}" for model in models),
    )


@lru_cache(maxsize=1)
def _registry() -> Registry:
    return Registry.discover()


@lru_cache(maxsize=4)
def _sweep(document: bytes, most: int) -> Sweep:
    return _made(document, most, _registry())


def _made(document: bytes, most: int, registry: Registry) -> Sweep:
    body = reading.parse_object(document)
    schema = members.schema(ModelSchemas.of(registry), members.MOST_DISTANCES)
    plan: Plan = plan_of(schema, body, most)
    return Sweep(plan, registry)


def _refused(error: Exception) -> Refused:
    """What the service would have answered, as an exception."""
    if isinstance(error, reading.MalformedJson):
        pointer = () if error.pointer is None else ((error.pointer, error.detail),)
        return Refused(error.detail, pointer)
    if isinstance(error, ValidationError):
        error = from_validation(error)
    elif isinstance(error, ModelFault):
        error = from_model_fault(error)
    assert isinstance(error, Problem)
    faults: tuple[Fault, ...] = error.errors
    return Refused(error.detail, tuple((fault.pointer, fault.detail) for fault in faults))


def _in_si(table: Table) -> SweepTable:
    own = said(table)
    own.pop("units")
    return SweepTable(
        columns=_values(table.rows),
        quantiles=_values(table.summary),
        symbols={one.name: _si(one.dimension) for one in (*table.rows, *table.summary)},
        notes=table.notes,
        about=own | named(table),
        _table=table,
    )


def _values(series: tuple[Series, ...]) -> dict[str, Array]:
    return {one.name: one.values for one in series}


def _si(dimension: str) -> str:
    """The dimension's unit whose factor is 1, without an offset."""
    table = units.DIMENSIONS[dimension].values()
    return next(unit.symbol for unit in table if unit.factor == 1.0 and unit.offset == 0.0)
