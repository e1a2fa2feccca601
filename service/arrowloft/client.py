"""A client of the service: plain mappings in, plain dictionaries out, problems raised."""

from collections.abc import Callable, Mapping, Sequence
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote, urlsplit

import requests

_JSON = "application/json"
_CSV = "text/csv"
_SVG = "image/svg+xml"
_PDF = "application/pdf"
_PROBLEM = "application/problem+json"


class ClientError(Exception):
    """Raised where a call gave no answer, or the address of the service is none."""


class Unreachable(ClientError):
    """No reply came: connection refused, cut off, or slower than the time allowed."""


class UnexpectedReply(ClientError):
    """A reply came that is not the service's: another status, another form.

    status: of the reply.
    """

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


class Problem(ClientError):
    """The service could not answer, and says why (RFC 9457).

    status, type, title, detail: as in the reply.
    errors: one mapping for each member at fault, with `pointer` and `detail`.
    document: the whole reply.
    """

    def __init__(self, status: int, document: Mapping[str, Any]) -> None:
        self.status = status
        self.document = dict(document)
        self.type = str(document.get("type", "about:blank"))
        self.title = str(document.get("title", ""))
        self.detail = str(document.get("detail", ""))
        self.errors: Sequence[Mapping[str, Any]] = tuple(
            error for error in _listed(document.get("errors")) if isinstance(error, Mapping)
        )
        super().__init__(f"{status} {self.title}: {self.detail}")


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


class Client:
    """The service at one address, over a connection that is kept open.

    base_url: scheme, host and port, and a path before /v1 where a proxy adds one.
    timeout: seconds to connect, and seconds between two pieces of a reply; always set.
    session: one of your own, for instance to go through a proxy; the client's own
        takes nothing from the environment, so that a local service is asked directly.
    key: what the service asks for, where it asks for keys; sent with every request.
    echo: every computation's reply then holds what it takes to compute it again, in its
        member `replay`; CSV and pictures have no place for that, and raise Problem.

    Raises ClientError for an address that is none, and ValueError for what no key can be.

    Each method raises Problem where the service answers with one, Unreachable where no
    reply comes, UnexpectedReply where something else answers. Requests and replies are
    described in the service's /openapi.json.
    """

    def __init__(
        self,
        base_url: str = "http://127.0.0.1:8080",
        timeout: float = 10.0,
        session: requests.Session | None = None,
        *,
        echo: bool = False,
        key: str | None = None,
    ) -> None:
        if not timeout > 0:
            raise ValueError("timeout must be a number of seconds above 0")
        _check_address(base_url)
        self.base_url = base_url.rstrip("/")
        self.timeout = timeout
        self.echo = echo
        self._authorized = None if key is None else _bearer(key)
        if session is None:
            session = requests.Session()
            session.trust_env = False
        self._session = session

    def mark_table(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Sight marks and flight figures for each distance asked for."""
        return self._computed("/v1/mark-table", request)

    def calibration(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Marks corrected by what was seen on the range, and what to shoot next."""
        return self._computed("/v1/calibration", request)

    def fit(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Models fitted to measured flights, with uncertainties, and ranked."""
        return self._computed("/v1/fit", request)

    def trajectory(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Points along one flight, and its apex."""
        return self._computed("/v1/trajectory", request)

    def launch_speed(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Speed and standard uncertainty that one launch model gives."""
        return self._computed("/v1/launch-speed", request)

    def cant_tolerance(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Shift of the impact by a rolled bow, and how level it must be held."""
        return self._computed("/v1/cant-tolerance", request)

    def clearance(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Margins between the arrow's path and what stands in the way."""
        return self._computed("/v1/clearance", request)

    def sweep(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """What grids and samples over any numbers of a set-up come to, as columns."""
        return self._computed("/v1/sweep", request)

    def sight_travel(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Distances that the sight's window shows, before and after it is shifted."""
        return self._computed("/v1/sight-travel", request)

    def sight_shift(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """How far a re-mounted sight has moved, from one group, and whether that is real."""
        return self._computed("/v1/sight-shift", request)

    def slopes(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Marks over slant distances and slopes."""
        return self._computed("/v1/slopes", request)

    def wind(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """What winds of several speeds and directions do at each distance."""
        return self._computed("/v1/wind", request)

    def error_budget(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """What each input does to the impact, its share of the scatter, what is worth fixing."""
        return self._computed("/v1/error-budget", request)

    def setup_change(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Where a second set-up hits with the first one's marks, and the marks to move to."""
        return self._computed("/v1/setup-change", request)

    def sight_scale(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Marks as printed scales, through proven marks where there are any, and a pocket card."""
        return self._computed("/v1/sight-scale", request)

    def hit_probability(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """How likely an arrow hits at each distance, and how far is sensible."""
        return self._computed("/v1/hit-probability", request)

    def balance(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """How a bow balances about the grip, before and after a change."""
        return self._computed("/v1/balance", request)

    def arrow_check(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Least mass, balance, energy on the way and deflection of an arrow."""
        return self._computed("/v1/arrow-check", request)

    def overshoot(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Where arrows land that are loosed too high or miss the target."""
        return self._computed("/v1/overshoot", request)

    def rigid_flight(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """One arrow as a rigid body: its swing, where it settles, what a release does."""
        return self._computed("/v1/rigid-flight", request)

    def pin_spans(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Distances that one fixed pin serves, and where to place a number of pins."""
        return self._computed("/v1/pin-spans", request)

    def comparison(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Launch and drag models side by side in one set-up, and where they part."""
        return self._computed("/v1/comparison", request)

    def csv(self, computation: str, request: Mapping[str, Any]) -> str:
        """Rows of one computation, such as "mark-table", as CSV text with a head line.

        Not every computation comes as CSV: the others raise Problem.
        """
        return self._ask("POST", f"/v1/{quote(computation, safe='')}", _CSV, request).text

    def picture(self, computation: str, request: Mapping[str, Any]) -> str:
        """One computation, such as "mark-table", drawn as SVG text.

        Not every computation is drawn: the others raise Problem.
        """
        return self._ask("POST", f"/v1/{quote(computation, safe='')}", _SVG, request).text

    def pdf(self, computation: str, request: Mapping[str, Any]) -> bytes:
        """The same as PDF."""
        return self._ask("POST", f"/v1/{quote(computation, safe='')}", _PDF, request).content

    def models(self) -> dict[str, Any]:
        """Every model that the service has installed."""
        return self._found("/v1/models")

    def units(self) -> dict[str, Any]:
        """The units of each dimension, and what they are worth in SI units."""
        return self._found("/v1/units")

    def model(self, kind: str, name: str) -> dict[str, Any]:
        """One model's description, sources, validity and parameters.

        kind: "drag" or "launch".
        """
        return self._found(f"/v1/models/{quote(kind, safe='')}/{quote(name, safe='')}")

    def health(self) -> dict[str, Any]:
        """Whether the process answers."""
        return self._found("/healthz")

    def ready(self) -> dict[str, Any]:
        """Whether the service computes rightly; raises Problem where it does not."""
        return self._found("/readyz")

    def openapi(self) -> dict[str, Any]:
        """OpenAPI document, with the models that this service has installed."""
        return self._found("/openapi.json")

    def close(self) -> None:
        """Close the connection; `with Client() as client` does it by itself."""
        self._session.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _computed(self, path: str, request: Mapping[str, Any]) -> dict[str, Any]:
        return _object_in(self._ask("POST", path, _JSON, request))

    def _found(self, path: str) -> dict[str, Any]:
        return _object_in(self._ask("GET", path, _JSON))

    def _ask(
        self, method: str, path: str, accept: str, body: Mapping[str, Any] | None = None
    ) -> requests.Response:
        url = self.base_url + path
        try:
            response = self._session.request(
                method,
                url,
                params={"echo": "true"} if self.echo and body is not None else None,
                json=None if body is None else dict(body),
                headers={"Accept": f"{accept}, {_PROBLEM}"},
                auth=self._authorized,
                timeout=self.timeout,
                # A redirect would turn a POST into a GET; the service sends none.
                allow_redirects=False,
            )
        except requests.exceptions.Timeout as error:
            raise Unreachable(f"{url} gave no reply within {self.timeout:g} s") from error
        except requests.exceptions.InvalidJSONError as error:
            raise ValueError("the request holds NaN or an infinity, which JSON has not") from error
        except requests.exceptions.ConnectionError as error:
            raise Unreachable(f"{url} cannot be reached; is the service running there?") from error
        except requests.exceptions.ChunkedEncodingError as error:
            raise Unreachable(f"{url} cut its reply off") from error
        except requests.exceptions.RequestException as error:
            raise ClientError(f"{url} cannot be asked: {error}") from error
        _expect(response, accept)
        return response


def _bearer(key: str) -> Callable[[requests.PreparedRequest], requests.PreparedRequest]:
    """What puts the key onto a request; a session of one's own puts nothing in its place.

    Raises ValueError, which does not repeat the key.
    """
    if not key.isascii() or not key.isprintable() or not key.strip() or " " in key:
        raise ValueError("the key holds characters that no key has: take it as it was given")

    def authorized(request: requests.PreparedRequest) -> requests.PreparedRequest:
        request.headers["Authorization"] = f"Bearer {key}"
        return request

    return authorized


def _check_address(base_url: str) -> None:
    try:
        parts = urlsplit(base_url)
        sound = parts.scheme in ("http", "https") and parts.hostname and parts.port != 0
    except ValueError:
        sound = False
    if not sound:
        raise ClientError(
            f"{base_url!r} is not the address of a service; give one such as http://127.0.0.1:8080"
        )


def _expect(response: requests.Response, form: str) -> None:
    """Raise what a reply other than 200 in the form asked for stands for."""
    media_type = response.headers.get("Content-Type", "").split(";")[0].strip().lower()
    if media_type == _PROBLEM:
        raise Problem(response.status_code, _object_in(response))
    if response.status_code != 200 or media_type != form:
        raise UnexpectedReply(
            response.status_code,
            f"{response.url} answered {response.status_code} with {media_type or 'no media type'}"
            f" where 200 with {form} was due; is it arrowloft?",
        )


def _object_in(response: requests.Response) -> dict[str, Any]:
    """Read the JSON object of a reply."""
    try:
        document = response.json()
    except ValueError:
        document = None
    if not isinstance(document, dict):
        raise UnexpectedReply(response.status_code, f"{response.url} sent no JSON object")
    return document
