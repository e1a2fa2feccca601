"""The page as those see it who come by TLS, through nginx with the limits that are deployed."""

from collections import Counter
from pathlib import Path

from browsing import DESKTOP, HERE, Visit
from kiosk_page import STEPS, glance, opened
from playwright.sync_api import expect
from processes import free_port
from proxied import certified, proxy, served


def test_all_files_of_a_page_come_though_they_are_asked_for_at_once(
    visit: Visit, tmp_path: Path
) -> None:
    """By HTTP/2: more at once than computations of an address, or requests of an instance."""
    certificate, key = certified(tmp_path)
    port = free_port()
    tls = f"listen {HERE}:{port} ssl http2;\nssl_certificate {certificate};\n"
    tls += f"ssl_certificate_key {key};\n"
    with (
        served(tmp_path / "a", {"ARROWLOFT_WORKERS": "2"}) as one,
        proxy(tmp_path / "nginx", [one.port], server=tls) as front,
    ):
        spoken = "performance.getEntriesByType('resource').map((one) => one.nextHopProtocol)"
        for _ in range(2):
            with visit(DESKTOP, url=f"https://{HERE}:{port}", ignore_https_errors=True) as page:
                opened(page)
                assert len(glance(page)) == 6
                for step in STEPS:
                    page.goto(f"/#/{step}")
                    expect(page.locator("#step h1")).to_be_visible()
                page.wait_for_load_state("networkidle")
                assert page.evaluate(spoken).count("h2") > 40
        statuses = Counter(entry["status"] for entry in front.requests(least=80))
    # 499: the page itself gave a question up, as the next step asks another.
    assert set(statuses) <= {200, 304, 499}
