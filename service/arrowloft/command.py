"""The command `arrowloft`: asks the service in this process, without a server.

Each subcommand imports what it needs by itself, so that --help does not wait for it.
"""

import argparse
import codecs
import contextlib
import difflib
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from arrowloft import __version__

if TYPE_CHECKING:
    from flask.testing import FlaskClient

    from arrowloft.replay import Difference, Outcome, Replayer

SAME, OTHERWISE, UNABLE = 0, 1, 2
"""Exit status: all as it should be; an answer of another kind; nothing could be done."""

_LISTED = 20
"""Differences listed where not all are asked for."""
_FORMS = {
    "json": "application/json",
    "csv": "text/csv",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "arrow": "application/vnd.apache.arrow.stream",
    "parquet": "application/vnd.apache.parquet",
}
"""Short names of media types; any other is given as such."""
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_LIMITS = "600 s of time and a request of 16 MiB"
"""What the service in this process allows: `replay` has it, which --help does not wait for."""
_SERVED = "5 s and 64 KiB"
"""What a service allows unless it is set otherwise."""


class Unable(Exception):
    """Nothing can be done; the message says why and what to do."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the command line says; the exit status."""
    asked = _parser().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = asked.run
    try:
        return run(asked)
    except Unable as error:
        print(f"arrowloft: {error}", file=sys.stderr)
        return UNABLE
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        sys.stderr.close()
        return UNABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="arrowloft", description="A bow, an arrow and a sight turned into aim."
    )
    parser.add_argument("--version", action="version", version=f"arrowloft {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_replay(commands)
    _add_ask(commands)
    _add_digest(commands)
    _add_key(commands)
    models = commands.add_parser("models", help="list the installed models")
    models.set_defaults(run=list_models)
    return parser


def _add_replay(commands: Any) -> None:
    parser = commands.add_parser(
        "replay",
        help="compute a kept reply again and compare every number",
        description="Computes kept replies again and compares every number and text. Only a reply "
        "that was asked for with echo=true can be replayed.",
        epilog="Exit status: 0 all the same, 1 something differs or was edited, "
        "2 a file cannot be replayed.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="a reply; - for standard input")
    parser.add_argument(
        "--tolerance",
        type=_share,
        help="largest relative difference that counts as the same (default: 1e-12)",
    )
    parser.add_argument(
        "--all", action="store_true", help=f"list all differences, not the first {_LISTED}"
    )
    parser.set_defaults(run=replay)


def _add_ask(commands: Any) -> None:
    parser = commands.add_parser(
        "ask",
        help="compute a request and print the reply",
        description="Computes a request in this process, without a server, and prints the reply "
        "to standard output. A problem goes to standard error, and so does what models print.",
        epilog=f"Limits: {_LIMITS}; a service allows {_SERVED} unless it is set otherwise. "
        "Rows, points and the like are limited as in a service: /openapi.json has them. "
        "Exit status: 0 answered, 1 answered with a problem, 2 nothing could be asked.",
    )
    parser.add_argument("path", metavar="COMPUTATION", help="such as mark-table, or /v1/mark-table")
    parser.add_argument("request", metavar="REQUEST", help="a JSON file; - for standard input")
    parser.add_argument(
        "--form",
        default="json",
        help=f"form of the reply: {', '.join(_FORMS)} or a media type (default: json)",
    )
    parser.add_argument(
        "--echo", action="store_true", help="let the reply hold what it takes to replay it"
    )
    parser.add_argument(
        "--indent",
        action="store_true",
        help="write JSON over many lines, for people, as at a terminal in any case",
    )
    parser.set_defaults(run=ask)


def _add_digest(commands: Any) -> None:
    parser = commands.add_parser(
        "digest",
        help="print the digests of JSON files",
        description="Prints the SHA-256 of each file's JSON object in its canonical form "
        "(RFC 8785), and of a reply with echo=true the digests that it should hold.",
    )
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="a JSON file; - for standard input"
    )
    parser.set_defaults(run=print_digests)


def _add_key(commands: Any) -> None:
    parser = commands.add_parser(
        "key",
        help="make a key for a service that asks for keys",
        description="Prints a new key, and the line that makes it valid, to standard output. "
        "The line goes into the file that ARROWLOFT_KEYS_FILE names, or into ARROWLOFT_KEYS; it "
        "does not give the key away. The key is kept nowhere.",
    )
    parser.add_argument("name", metavar="NAME", help="whose key it is, as logs will say")
    parser.set_defaults(run=print_key)


def _share(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError("give a number such as 1e-12") from None
    if not 0.0 <= value < 1.0:
        raise argparse.ArgumentTypeError("give a number from 0 to below 1, such as 1e-12")
    return value


def _aside() -> contextlib.AbstractContextManager[Any]:
    """What models print in its `with` goes to standard error: a reply is not their place."""
    return contextlib.redirect_stdout(sys.stderr)


def replay(asked: argparse.Namespace) -> int:
    """Compute kept replies again, and say of each whether all is the same."""
    from arrowloft.replay import TOLERANCE, CannotReplay, read_reply

    tolerance = TOLERANCE if asked.tolerance is None else asked.tolerance
    service: Replayer | None = None
    status = SAME
    for name in asked.files:
        try:
            reply = read_reply(_read(name))
            service = service or _replayer()
            with _aside():
                outcome = service.replay(reply, tolerance)
        except (CannotReplay, Unable) as error:
            print(f"{name}: cannot be replayed. {error}")
            status = UNABLE
            continue
        print("\n".join(map(_one_line, _told(name, outcome, None if asked.all else _LISTED))))
        status = max(status, SAME if outcome.same else OTHERWISE)
    return status


def _one_line(text: str) -> str:
    """The text with whatever steers a terminal written out: a kept reply may be a stranger's."""
    return "".join(each if each.isprintable() else ascii(each)[1:-1] for each in text)


def _told(name: str, outcome: "Outcome", most: int | None) -> list[str]:
    """The outcome in words, the verdict first.  most: differences listed; None: all."""
    lines = [f"{name}: {_verdict(outcome)}"]
    for part, edited in (
        ("request", outcome.request_edited),
        ("reply", outcome.reply_edited),
        ("record of what made it, in `replay`,", outcome.record_edited),
    ):
        if edited:
            lines.append(f"  The {part} was edited after it was made: its digest is another.")
    lines += [f"  {_difference(item)}" for item in outcome.differences[:most]]
    if most is not None and len(outcome.differences) > most:
        lines.append(f"  ... and {len(outcome.differences) - most} more: --all lists them.")
    if outcome.versions:
        reason = ", the likely reason" if outcome.differences and not outcome.edited else ""
        lines.append(f"  It was computed with other versions{reason}:")
        lines += [f"    {what}: {then} then, {now} now" for what, then, now in outcome.versions]
    if outcome.noise:
        lines.append(
            "  Estimates of numerical error or counts of iterations differ, as they may from "
            "machine to machine:"
        )
        lines += [f"    {_difference(item)}" for item in outcome.noise[:most]]
    return lines


def _verdict(outcome: "Outcome") -> str:
    compared = _counts(outcome.numbers, outcome.others)
    if outcome.differences:
        numbers = outcome.numbers_differ
        differing = _counts(numbers, len(outcome.differences) - numbers)
        return f"differs in {differing}. Compared: {compared} of {outcome.path}."
    same = "the same" if outcome.same else "edited, though all values are the same"
    return f"{same}. Compared: {compared} of {outcome.path}."


def _counts(numbers: int, others: int) -> str:
    return (
        f"{numbers} number{'' if numbers == 1 else 's'} and "
        f"{others} other value{'' if others == 1 else 's'}"
    )


def _difference(item: "Difference") -> str:
    relative = item.relative
    share = "" if relative is None else f" (relative difference {relative:.2g})"
    return f"{item.pointer}: {_shown(item.kept)} in the file, {_shown(item.found)} now{share}"


def _shown(value: Any) -> str:
    """A value as JSON writes it, cut where it is long; `nothing` where there is none."""
    from arrowloft.replay import ABSENT

    if value is ABSENT:
        return "nothing"
    text = json.dumps(value)
    return text if len(text) <= 100 else f"{text[:100]}..."


def ask(asked: argparse.Namespace) -> int:
    """Compute a request and print the reply; a problem goes to standard error."""
    form = _FORMS.get(asked.form, asked.form)
    if "/" not in form:
        raise Unable(f"there is no form {form!r}; give {', '.join(_FORMS)} or a media type.")
    request = _read(asked.request)
    client = _client()
    path = _path(asked.path, client)
    with _aside():
        answered = client.post(
            path,
            query_string={"echo": "true"} if asked.echo else {},
            data=request,
            content_type="application/json",
            headers={"Accept": form},
        )
    if answered.status_code != 200:
        print("\n".join(_problem(path, answered.get_json(force=True))), file=sys.stderr)
        return OTHERWISE
    data = answered.data
    if answered.mimetype == _FORMS["json"]:
        data = (_indented(data) if asked.indent or sys.stdout.isatty() else data) + b"\n"
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()
    return SAME


def _path(asked: str, client: "FlaskClient") -> str:
    """The computation's path, as asked for with or without /v1/; raises Unable."""
    name = asked.removeprefix("/v1/")
    known = sorted(_computations(client))
    if name in known:
        return f"/v1/{name}"
    near = difflib.get_close_matches(name, known, n=1)
    meant = f" Did you mean {near[0]}?" if near else ""
    raise Unable(f"there is no computation {asked!r}.{meant} There are: {', '.join(known)}.")


def _computations(client: "FlaskClient") -> Iterator[str]:
    for rule in client.application.url_map.iter_rules():
        if "POST" in (rule.methods or ()):
            yield rule.rule.removeprefix("/v1/")


def _indented(reply: bytes) -> bytes:
    """The JSON over many lines, each number the same."""
    return json.dumps(json.loads(reply), indent=2, ensure_ascii=False).encode()


def _problem(path: str, problem: dict[str, Any]) -> list[str]:
    """The problem in words, each member at fault on a line of its own."""
    from arrowloft.replay import failed_here

    if failed := failed_here(problem):
        return [f"{path}: {problem['title']}. {failed}"]
    return [
        f"{path}: {problem['title']}. {problem['detail']}",
        *(f"  {item['pointer'] or 'body'}: {item['detail']}" for item in problem["errors"]),
    ]


def print_digests(asked: argparse.Namespace) -> int:
    """Print the digests of files, as they stand in a reply."""
    status = SAME
    for name in asked.files:
        try:
            print("\n".join(_digests(name)))
        except Unable as error:
            print(f"arrowloft: {error}", file=sys.stderr)
            status = UNABLE
    return status


def _digests(name: str) -> list[str]:
    """Digest of the whole, then those of a kept reply."""
    from arrowloft.api.canonical import digest
    from arrowloft.api.echo import Digests
    from arrowloft.replay import CannotReplay, read_reply

    try:
        value = read_reply(_read(name))
        found = {name: digest(value)}
        if isinstance(value.get("replay"), dict) and "request" in value["replay"]:
            parts = vars(Digests.of(value))
            found |= {f"{name} {part}": each for part, each in parts.items()}
    except CannotReplay as error:
        raise Unable(f"{name}: {error}") from None
    except ValueError as error:
        raise Unable(f"{name} has no digest: {error}.") from None
    return [f"{each}  {what}" for what, each in found.items()]


def print_key(asked: argparse.Namespace) -> int:
    """Print a new key and the line that makes it valid; what each is goes to standard error."""
    from arrowloft.operation.keys import fresh

    try:
        made = fresh(asked.name)
    except ValueError as error:
        raise Unable(str(error)) from None
    for words, value in (
        ("The key, for who asks; it is shown this once:", made.key),
        ("The line, for the service:", made.line),
    ):
        with _aside():
            print(words, flush=True)
        print(value, flush=True)
    return SAME


def list_models(_: argparse.Namespace) -> int:
    """List the installed models: kind, name, version, origin, first sentence."""
    client = _client()
    with _aside():
        listed = client.get("/v1/models").get_json()["models"]
    columns = ("kind", "name", "version", "origin", "summary")
    widths = [max(len(model[column]) for model in listed) for column in columns[:-1]]
    for model in listed:
        cells = [model[column] for column in columns]
        padded = [cell.ljust(width) for cell, width in zip(cells, widths, strict=False)]
        print("  ".join([*padded, cells[-1]]))
    return SAME


def _replayer() -> "Replayer":
    from arrowloft.plugin.registry import PluginFaults
    from arrowloft.replay import Replayer

    try:
        with _aside():
            return Replayer.here()
    except PluginFaults as faults:
        raise Unable(str(faults)) from None


def _client() -> "FlaskClient":
    return _replayer().app.test_client()


def _read(name: str) -> bytes:
    """The file's bytes, without the mark that some editors put before UTF-8."""
    try:
        text = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        raise Unable(f"{name} cannot be read: {error.strerror or error}.") from None
    if text.startswith(_UTF_16):
        raise Unable(f"{name} is written in UTF-16; save it as UTF-8.")
    return text.removeprefix(codecs.BOM_UTF8)


if __name__ == "__main__":
    sys.exit(main())
