"""Refusals of models and of the core, as problems that point at the request's member."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from arrowloft.api.problems import KINDS, Fault, Problem, from_parameter
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.plugin import ParameterError
from arrowloft.plugin.validity import OutsideValidity


class Blamed:
    """Errors of a model in its `with` point at its member: `drag` or `launch`.

    A class, as a request enters three: each takes half of a generator's time.
    """

    def __init__(self, kind: str) -> None:
        self.kind = kind

    def __enter__(self) -> None:
        pass

    def __exit__(self, _: object, error: BaseException | None, __: object) -> None:
        if isinstance(error, ParameterError):
            raise from_parameter(error, self.kind) from error
        if isinstance(error, OutsideValidity):
            fault = Fault(f"/{error.kind}/model", str(error))
            raise Problem("outside-validity", str(error), (fault,)) from error


@contextmanager
def solving(
    units: ReplyUnits,
    pointer: Callable[[int], str],
    case: Callable[[int], str] = lambda _: "",
) -> Iterator[None]:
    """Distances that the core refuses in here become a problem, with a pointer for each.

    pointer: the core's lane -> JSON pointer.  case: which of several winds or slopes is
    meant -> words for it, such as " on a slope of 30 deg".
    """
    try:
        yield
    except BeyondReach as error:
        farthest = units.text(error.farthest, "distance")
        which = "" if error.case is None else case(error.case)
        detail = f"This distance is beyond reach{which}: the set-up reaches {farthest} at most."
        value = units.value(error.farthest, "distance")
        raise Problem(
            "beyond-reach", detail, _faults(error.lanes, pointer, detail), farthest=value
        ) from error
    except TooNear as error:
        nearest = units.text(error.nearest, "distance")
        detail = f"Too near: this arrow leaves the string reaching {nearest}. Ask for more."
        raise Problem("invalid-request", detail, _faults(error.lanes, pointer, detail)) from error
    except Unsolved as error:
        detail = KINDS["cannot-be-followed"].advice
        raise Problem("cannot-be-followed", detail, (Fault("/arrow", detail),)) from error


def _faults(lanes: Sequence[int], pointer: Callable[[int], str], detail: str) -> list[Fault]:
    return [Fault(where, detail) for where in dict.fromkeys(pointer(lane) for lane in lanes)]
