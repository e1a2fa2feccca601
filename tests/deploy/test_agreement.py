"""Ports, limits and times that must agree between gunicorn, nginx, manifests and units."""

import json
import os
import re
import runpy
import subprocess
import sys
from typing import Any

import pytest
from manifests import DEPLOY, compose, kilobytes, manifests, nginx, seconds, unit
from strangers import ROOT, clean_environment

from arrowloft.api.resource import Limits

NAMES = "timeout graceful_timeout limit_request_line limit_request_field_size limit_request_fields"


@pytest.fixture(scope="module")
def gunicorn() -> dict[str, Any]:
    """Its settings without any variable."""
    code = "import json, runpy; found = runpy.run_path('deploy/gunicorn.conf.py');"
    code += f"print(json.dumps({{name: found[name] for name in '{NAMES}'.split()}}))"
    said = subprocess.run(
        [sys.executable, "-P", "-c", code],
        cwd=ROOT,
        env=clean_environment() | {"PATH": os.defpath},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return dict(json.loads(said.stdout))


def pod() -> Any:
    return manifests()["deployment"]["spec"]["template"]["spec"]


def containers() -> dict[str, Any]:
    return {item["name"]: item for item in pod()["containers"]}


def variables(container: Any) -> dict[str, str]:
    return {item["name"]: item.get("value", "") for item in container["env"]}


def instance_ports() -> list[str]:
    """Those that nginx asks, the same of either upstream."""
    ports = [server[0].removeprefix("127.0.0.1:") for server in nginx("server")]
    half = len(ports) // 2
    assert ports[:half] == ports[half:]
    return ports[:half]


def proxy_ends() -> float:
    """Seconds that nginx takes at most to stop."""
    return seconds(nginx("worker_shutdown_timeout")[0][0])


def test_every_place_has_the_instances_that_nginx_asks() -> None:
    services = compose()["services"]
    composed = [services[f"service-{x}"]["environment"]["ARROWLOFT_PORT"] for x in "ab"]
    in_a_pod = [variables(containers()[f"service-{x}"])["ARROWLOFT_PORT"] for x in "ab"]
    assert instance_ports() == composed == in_a_pod == wanted()


def test_instances_are_open_to_the_loopback_only() -> None:
    for container in containers().values():
        assert "ARROWLOFT_BIND" not in variables(container) if "env" in container else True
    for service in compose()["services"].values():
        assert "ARROWLOFT_BIND" not in service.get("environment", {})
    assert not any("ARROWLOFT_BIND" in value for value in unit("arrowloft@.service")["Environment"])


def test_every_place_trusts_the_one_proxy() -> None:
    assert compose()["services"]["service-a"]["environment"]["ARROWLOFT_PROXIES"] == "1"
    assert compose()["services"]["service-b"]["environment"]["ARROWLOFT_PROXIES"] == "1"
    assert variables(containers()["service-a"])["ARROWLOFT_PROXIES"] == "1"
    assert variables(containers()["service-b"])["ARROWLOFT_PROXIES"] == "1"
    assert "ARROWLOFT_PROXIES=1" in unit("arrowloft@.service")["Environment"][0]


def test_each_unit_has_a_port_of_its_own_for_metrics() -> None:
    (given,) = [one for one in unit("arrowloft@.service")["Environment"] if "METRICS" in one]
    ports = {given.removeprefix("ARROWLOFT_METRICS_PORT=").replace("%i", x): x for x in wanted()}
    assert len(ports) == len(wanted())
    assert all(int(port) < 65536 for port in ports)
    assert not set(ports) & set(wanted())
    files = unit("arrowloft@.service")["EnvironmentFile"]
    assert files == ["-/etc/arrowloft/environment", "-/etc/arrowloft/environment-%i"]


def wanted() -> list[str]:
    """Ports of the units' instances."""
    return re.findall(r"arrowloft@(\d+)\.", (DEPLOY / "systemd/arrowloft.target").read_text())


def test_kept_replies_leave_room_in_memory_for_what_is_under_way() -> None:
    said = (DEPLOY / "nginx" / "common" / "cache.conf").read_text()
    (most,) = re.findall(r"max_size=(\d+)m ", said)
    (composed,) = re.findall(r"size=(\d+)m", compose()["services"]["proxy"]["tmpfs"][0])
    (volume,) = [one for one in pod()["volumes"] if one["name"] == "proxy-tmp"]
    in_a_pod = volume["emptyDir"]["sizeLimit"].removesuffix("Mi")
    machine = unit("arrowloft-proxy.service")["MemoryMax"][0].removesuffix("M")
    assert 2 * int(most) <= min(int(composed), int(in_a_pod), int(machine) // 2)


def test_what_nginx_keeps_is_deleted_where_it_lies() -> None:
    (command,) = [one for one in unit("arrowloft@.service")["ExecStartPost"] if " -delete" in one]
    folder = re.search(r" -p (\S+) ", unit("arrowloft-proxy.service")["ExecStart"][0])
    assert folder
    # Not held up where there is no cache, and with the rights of none of the two users.
    assert command == f"-+/usr/bin/find {folder[1]}cache -type f -delete"
    assert unit("arrowloft@.service")["ExecStartPost"].index(command) == 1, "before it serves"
    said = (DEPLOY / "nginx" / "common" / "cache.conf").read_text()
    assert re.search(r"proxy_cache_path cache .*use_temp_path=off;", said)
    entry = compose()["services"]["proxy"]["entrypoint"]
    assert f"exec proxy find {entry[entry.index('-p') + 1]}cache -type f -delete" in said


def test_keys_are_a_folder_in_containers() -> None:
    """A file that is moved into a folder is seen there; one that is mounted alone stays the old."""
    for letter in "ab":
        service = compose()["services"][f"service-{letter}"]
        (mount,) = service["volumes"]
        target = "/etc/arrowloft/keys"
        assert mount == f"${{ARROWLOFT_KEYS_FOLDER:-no-keys}}:{target}:ro"
        given = service["environment"]["ARROWLOFT_KEYS_FILE"]
        assert given == f"${{ARROWLOFT_KEYS_FOLDER:+{target}/keys}}"
        assert service["env_file"] == [{"path": "./environment", "required": False}]
    assert "no-keys" in compose()["volumes"]


def test_metrics_are_open_where_the_port_says(gunicorn: dict[str, Any]) -> None:
    for letter in "ab":
        container = containers()[f"service-{letter}"]
        port = variables(container)["ARROWLOFT_METRICS_PORT"]
        named = {item["name"]: str(item["containerPort"]) for item in container["ports"]}
        assert named == {f"metrics-{letter}": port}


def test_the_server_listens_where_it_is_asked() -> None:
    for place in ("compose", "kubernetes"):
        assert "listen 8080 " in (DEPLOY / "nginx" / place / "server.conf").read_text()
    assert compose()["services"]["loopback"]["ports"][0].endswith(":8080")
    assert containers()["proxy"]["ports"] == [{"name": "http", "containerPort": 8080}]


def test_gunicorn_ends_what_hangs_before_nginx_gives_up(gunicorn: dict[str, Any]) -> None:
    assert Limits.seconds < gunicorn["timeout"]
    # A second, as gunicorn looks that often, and one more to end the worker.
    assert seconds(nginx("proxy_read_timeout")[0][0]) > gunicorn["timeout"] + 2.0


def test_gunicorn_allows_all_that_nginx_lets_through(gunicorn: dict[str, Any]) -> None:
    longest = re.search(r"\$request_uri ~ \"\^\.\{(\d+)\}\"", (service_file()).read_text())
    assert longest
    # The method, two spaces and the version.
    assert int(longest[1]) + 20 + 2 + 8 <= gunicorn["limit_request_line"]
    _, size = nginx("large_client_header_buffers")[0]
    assert 1024 * kilobytes(size) <= gunicorn["limit_request_field_size"]
    headers = nginx("proxy_set_header")
    # Connection, Content-Length.
    assert len(headers) + 2 <= gunicorn["limit_request_fields"]


def service_file() -> Any:
    return DEPLOY / "nginx" / "common" / "service.conf"


def test_a_body_over_the_limit_is_refused_by_the_service_first() -> None:
    most = 1024 * kilobytes(nginx("client_max_body_size")[0][0])
    assert Limits.body < most <= 2 * Limits.body
    assert nginx("client_body_buffer_size") == nginx("client_max_body_size")


def test_a_pod_ends_in_time(gunicorn: dict[str, Any]) -> None:
    whole = pod()["terminationGracePeriodSeconds"]
    proxy = containers()["proxy"]["lifecycle"]["preStop"]["sleep"]["seconds"] + proxy_ends()
    for letter in "ab":
        container = containers()[f"service-{letter}"]
        sleep = container["lifecycle"]["preStop"]["sleep"]["seconds"]
        assert sleep > proxy, "the instance is gone before nginx"
        assert sleep + gunicorn["graceful_timeout"] < whole


def test_compose_and_units_stop_in_time(gunicorn: dict[str, Any]) -> None:
    services = compose()["services"]
    for letter in "ab":
        period = seconds(services[f"service-{letter}"]["stop_grace_period"])
        assert period > gunicorn["graceful_timeout"]
    assert seconds(services["proxy"]["stop_grace_period"]) > proxy_ends()
    stops = seconds(unit("arrowloft@.service")["TimeoutStopSec"][0])
    assert stops > gunicorn["graceful_timeout"]
    assert seconds(unit("arrowloft-proxy.service")["TimeoutStopSec"][0]) > proxy_ends()


def test_a_busy_instance_is_given_time_to_answer_a_probe() -> None:
    patience = runpy.run_path(str(DEPLOY / "healthy.py"))["PATIENCE"]
    assert Limits.seconds < patience
    for letter in "ab":
        container = containers()[f"service-{letter}"]
        for probe in ("startupProbe", "readinessProbe", "livenessProbe"):
            assert container[probe]["timeoutSeconds"] > patience


def test_headers_that_the_service_reads_pass() -> None:
    """By the names in its sources, however it asks for them."""
    passed = {header[0].lower() for header in nginx("proxy_set_header")}
    read = set()
    for file in (ROOT / "service" / "arrowloft").rglob("*.py"):
        text = file.read_text(encoding="utf-8")
        read |= set(re.findall(r"request\.headers(?:\.get\(|\[)\s*\"([A-Za-z-]+)\"", text))
        read |= {"Accept" for _ in re.findall(r"request\.accept_mimetypes", text)}
        read |= {"If-None-Match" for _ in re.findall(r"request\.if_none_match", text)}
        read |= {"If-Match" for _ in re.findall(r"request\.if_match", text)}
    assert "Accept" in read
    # nginx reads chunks itself, and hands the body on with its length.
    assert {name.lower() for name in read} - passed <= {"content-length", "transfer-encoding"}


def test_the_log_is_named_before_it_is_used() -> None:
    main = (DEPLOY / "nginx" / "common" / "nginx.conf").read_text()
    assert main.index("include log.conf") < main.index("include ../place/http.conf")
