"""The registry: which models are installed, from where, and how one is made."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from types import MappingProxyType
from typing import Any, Literal, cast, overload

from arrowloft.plugin.contract import DragModel, LaunchModel, Model, ParameterError
from arrowloft.plugin.guard import FAILED, ModelFault, check_named, raised, reason_of
from arrowloft.plugin.time_limit import Running, within
from arrowloft.plugin.verification import KINDS, faults_of

Kind = Literal["drag", "launch"]

GROUPS: Mapping[str, Kind] = MappingProxyType(
    {"arrowloft.drag_models": "drag", "arrowloft.launch_models": "launch"}
)
"""Entry-point group -> kind of its models."""

_OURS = "arrowloft"
"""The distribution of the built-in models."""

LOAD_SECONDS = 30.0
"""How long one entry point may take to be loaded, and its class to be examined, at start."""


@dataclass(frozen=True)
class Origin:
    """Where a model came from: the installed distribution, or a module (version None)."""

    distribution: str
    version: str | None

    def __str__(self) -> str:
        return self.distribution if self.version is None else f"{self.distribution} {self.version}"


@dataclass(frozen=True)
class PluginFault:
    """One fault of one entry point, as a line of the message at start."""

    origin: Origin
    entry_point: str
    fault: str

    def __str__(self) -> str:
        return " ".join(f"{self.origin}, {self.entry_point}: {self.fault}".split())


class PluginFaults(RuntimeError):
    """The installed models break the contract; every fault in one message."""

    def __init__(self, faults: Iterable[PluginFault]) -> None:
        self.faults = tuple(faults)
        lines = "\n".join(f"  {fault}" for fault in self.faults)
        super().__init__(f"The installed models have {len(self.faults)} fault(s):\n{lines}")


class UnknownModel(LookupError):
    """No model of this kind and name is installed; `available` says which are."""

    def __init__(self, kind: str, name: str, available: Iterable[str]) -> None:
        self.kind = kind
        self.name = name
        self.available = tuple(available)
        known = ", ".join(self.available) or "none"
        super().__init__(f"There is no {kind} model {name!r}; there are: {known}.")


@dataclass(frozen=True)
class _Candidate:
    """What one entry point loaded, before anything is known of it."""

    kind: Kind
    name: str
    entry_point: str
    origin: Origin
    loaded: Any


@dataclass(frozen=True)
class Registry:
    """The sound models: kind -> name -> class, and where each came from; sorted by name."""

    models: Mapping[str, Mapping[str, type[Model]]]
    origins: Mapping[str, Mapping[str, Origin]]

    @classmethod
    def discover(cls, points: Iterable[EntryPoint] | None = None) -> "Registry":
        """The registry of all installed models; raises PluginFaults with every fault.

        points: the entry points to read; those installed where not given.
        """
        if points is None:
            points = [point for group in GROUPS for point in entry_points(group=group)]
        candidates, faults = [], []
        for point in sorted(points, key=lambda item: (item.group, item.name, str(_origin(item)))):
            where = f"{point.group}:{point.name}"
            try:
                loaded = within(LOAD_SECONDS, point.load)
            # All there is, as a module written as a script must not end the service unnamed.
            # An interrupt by hand stops the start all the same, and says where it was.
            except BaseException as error:
                message = f"cannot be loaded from {point.value!r}: {reason_of(error)}"
                faults.append(PluginFault(_origin(point), where, message))
                continue
            kind = GROUPS[point.group]
            candidates.append(_Candidate(kind, point.name, where, _origin(point), loaded))
        return cls._verified(candidates, faults)

    @classmethod
    def of(cls, *classes: type[Model]) -> "Registry":
        """The registry of these classes; raises PluginFaults with every fault."""
        candidates, faults = [], []
        for model in classes:
            origin = Origin(getattr(model, "__module__", "unknown"), None)
            kind = next((kind for kind, base in KINDS.items() if _derives(model, base)), None)
            if kind is None:
                fault = "does not derive from DragModel or LaunchModel"
                faults.append(PluginFault(origin, repr(model), fault))
                continue
            name = str(getattr(model, "name", model.__name__))
            candidates.append(_Candidate(cast(Kind, kind), name, model.__name__, origin, model))
        return cls._verified(candidates, faults)

    @classmethod
    def _verified(
        cls, candidates: Iterable[_Candidate], faults: Iterable[PluginFault]
    ) -> "Registry":
        found = sorted(candidates, key=lambda item: (item.kind, item.name))
        faults = [*faults, *_clashes(found)]
        for item in found:
            faults += (PluginFault(item.origin, item.entry_point, text) for text in _breaches(item))
        if faults:
            raise PluginFaults(faults)
        return cls(
            _by_kind({(item.kind, item.name): item.loaded for item in found}),
            _by_kind({(item.kind, item.name): item.origin for item in found}),
        )

    def names(self, kind: str) -> tuple[str, ...]:
        """The names of the models of one kind, sorted."""
        return tuple(self.models.get(kind, ()))

    @overload
    def get(self, kind: Literal["drag"], name: str) -> type[DragModel]: ...
    @overload
    def get(self, kind: Literal["launch"], name: str) -> type[LaunchModel]: ...
    @overload
    def get(self, kind: str, name: str) -> type[Model]: ...
    def get(self, kind: str, name: str) -> type[Model]:
        """The model's class; raises UnknownModel."""
        try:
            return self.models[kind][name]
        except KeyError:
            raise UnknownModel(kind, name, self.names(kind)) from None

    def origin(self, kind: str, name: str) -> Origin:
        """The distribution and version that the model came from; raises UnknownModel."""
        self.get(kind, name)
        return self.origins[kind][name]

    @overload
    def build(
        self, kind: Literal["drag"], name: str, parameters: Mapping[str, Any]
    ) -> DragModel: ...
    @overload
    def build(
        self, kind: Literal["launch"], name: str, parameters: Mapping[str, Any]
    ) -> LaunchModel: ...
    @overload
    def build(self, kind: str, name: str, parameters: Mapping[str, Any]) -> Model: ...
    def build(self, kind: str, name: str, parameters: Mapping[str, Any]) -> Model:
        """An instance from SI values by name; lists become read-only arrays.

        Raises UnknownModel; ParameterError where the parameters do not fit the model or
        each other; ModelFault for anything else that its constructor raises, and for a
        ParameterError of a parameter that is neither declared nor given.
        """
        model = self.get(kind, name)
        try:
            with Running(model):
                return model.of(parameters)
        except ParameterError as error:
            if error.parameter not in list(parameters):
                check_named(model, "its constructor", error)
            raise
        except ModelFault:
            raise
        except FAILED as error:
            raise raised(model, "its constructor", error) from error


def _derives(candidate: Any, base: type[Model]) -> bool:
    return isinstance(candidate, type) and issubclass(candidate, base)


def _origin(point: EntryPoint) -> Origin:
    if point.dist is None:
        return Origin("unknown distribution", None)
    return Origin(point.dist.name, point.dist.version)


def _breaches(item: _Candidate) -> list[str]:
    """The breaches of the contract; a class too strange to be examined is one itself."""
    try:
        return within(
            LOAD_SECONDS,
            lambda: faults_of(item.loaded, kind=item.kind, entry_point_name=item.name),
        )
    except BaseException as error:
        return [f"cannot be examined: {reason_of(error)}"]


def _clashes(candidates: Iterable[_Candidate]) -> list[PluginFault]:
    """A fault for each candidate whose kind and name another has; the built-in one keeps it."""
    keepers: dict[tuple[Kind, str], _Candidate] = {}
    faults = []
    for item in sorted(candidates, key=lambda item: item.origin.distribution != _OURS):
        keeper = keepers.setdefault((item.kind, item.name), item)
        if keeper is not item:
            message = (
                f"the {item.kind} model of {keeper.origin} is called {item.name!r} too; "
                "rename or remove one"
            )
            faults.append(PluginFault(item.origin, item.entry_point, message))
    return faults


def _by_kind(values: Mapping[tuple[Kind, str], Any]) -> Mapping[str, Mapping[str, Any]]:
    """Nest as kind -> name -> value, read-only, both kinds always there."""
    return MappingProxyType(
        {
            kind: MappingProxyType(
                {name: value for (of, name), value in values.items() if of == kind}
            )
            for kind in KINDS
        }
    )
