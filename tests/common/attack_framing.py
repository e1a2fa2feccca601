"""Attacks on where a request ends: lengths, transfer codings, chunks."""

from attack_forms import JSON_TYPE, SMUGGLED, TARGET, Case, attempt, chunked, demo_body, post


def framing() -> list[Case]:
    return [*_lengths(), *_codings(), *_chunks()]


def _lengths() -> list[Case]:
    body, size = demo_body(), len(demo_body())
    both = f"Content-Length: {size}\r\nTransfer-Encoding: chunked\r\n"
    turned = f"Transfer-Encoding: chunked\r\nContent-Length: {size}\r\n"
    found = [
        attempt("length and chunked", post(both, chunked(body) + SMUGGLED)),
        attempt("chunked and length", post(turned, chunked(body) + SMUGGLED)),
        attempt(
            "length covers a smuggled request, chunked does not",
            post("Content-Length: 60\r\nTransfer-Encoding: chunked\r\n", b"0\r\n\r\n" + SMUGGLED),
        ),
        attempt(
            "two lengths that agree",
            post(f"Content-Length: {size}\r\n" * 2, body),
        ),
        attempt(
            "two lengths that differ",
            post(f"Content-Length: {size}\r\nContent-Length: 0\r\n", body + SMUGGLED),
        ),
    ]
    for text in (
        f"{size}, {size}",
        f"+{size}",
        "-1",
        "0x10",
        "1e2",
        f"{size} {size}",
        "\u00b2",
        f"{size}\x0b",
        str(2**64 + size),
        "9" * 500,
    ):
        found.append(
            attempt(
                f"length {text[:24]!r}",
                post(f"Content-Length: {text}\r\n", body),
                400,
                413,
            )
        )
    found.append(attempt("an empty length", post("Content-Length:\r\n", body + SMUGGLED)))
    return found


def _codings() -> list[Case]:
    body = chunked(demo_body())
    found = []
    for text in (
        "Transfer-Encoding: xchunked",
        "Transfer-Encoding: chunked, identity",
        "Transfer-Encoding: identity, chunked",
        "Transfer-Encoding : chunked",
        "Transfer-Encoding: \x0bchunked",
        "Transfer-Encoding: chunked\x00",
        "Transfer-Encoding: gzip, chunked",
        "Transfer-Encoding: chunked\r\nTransfer-Encoding: chunked",
        "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity",
        "Transfer-Encoding:\r\n chunked",
        "X: y\r\n Transfer-Encoding: chunked",
        "Transfer-Encoding: 'chunked'",
    ):
        found.append(
            attempt(f"coding {text!r}", post(text + "\r\n", body + SMUGGLED), 400, 411, 501)
        )
    underscore = "Transfer_Encoding: chunked\r\nContent-Length: 5\r\n"
    found += [
        attempt("coding with an underscore", post(underscore, b"0\r\n\r\n"), 400),
        attempt(
            "chunked in HTTP/1.0",
            b"POST %b HTTP/1.0\r\nHost: x\r\n%bTransfer-Encoding: chunked\r\n\r\n%b"
            % (TARGET.encode(), JSON_TYPE.encode(), body),
            400,
            411,
            200,
        ),
    ]
    return found


def _chunks() -> list[Case]:
    body = demo_body()
    half = len(body) // 2

    def case(name: str, sent: bytes, *allowed: int, closes: bool = False) -> Case:
        head = "Transfer-Encoding: chunked\r\n"
        return attempt(f"chunk: {name}", post(head, sent), *allowed, closes=closes)

    two = b"%x\r\n%b\r\n%x\r\n%b\r\n0\r\n\r\n" % (
        half,
        body[:half],
        len(body) - half,
        body[half:],
    )
    single = b"".join(b"1\r\n%c\r\n" % byte for byte in body) + b"0\r\n\r\n"
    return [
        case("without a length", chunked(body), 200),
        case("two", two, 200),
        case("a byte each", single, 200),
        case("size in hex notation", b"0x5\r\nhello\r\n0\r\n\r\n"),
        case("a negative size", b"-5\r\nhello\r\n0\r\n\r\n"),
        case("a size beyond 64 bits", b"F" * 17 + b"\r\nhello\r\n0\r\n\r\n", 400, 413, closes=True),
        case("a size of 2 GB", b"80000000\r\nhello", 400, 413, closes=True),
        case("no size", b"\r\nhello\r\n0\r\n\r\n"),
        case("spaces for a size", b"  \r\nhello\r\n0\r\n\r\n"),
        case("an extension", b"%x;a=b\r\n%b\r\n0\r\n\r\n" % (len(body), body), 200),
        case("an extension with a bare CR", b"2;a\rb\r\n{}\r\n0\r\n\r\n", 400, 422),
        case("an extension with a bare LF", b"2;a\n{}\r\n0\r\n\r\n", 400, 422),
        case(
            "an extension of 70 kB", b"2;" + b"a" * 70_000 + b"\r\n{}\r\n0\r\n\r\n", 400, 413, 422
        ),
        case("more than its size", b"2\r\n{}{}\r\n0\r\n\r\n"),
        case("no last one", b"2\r\n{}\r\n", 0, 400, closes=True),
        case("a trailer", b"%x\r\n%b\r\n0\r\nX: y\r\n\r\n" % (len(body), body), 200, 400),
        case(
            "a length as trailer",
            b"%x\r\n%b\r\n0\r\nContent-Length: 1\r\n\r\n" % (len(body), body),
            200,
            400,
        ),
        case("100 kB", chunked(b" " * 100_000), 413),
    ]
