"""Manifests against the schemas that others publish, and against the rules of a hardened pod."""

import json
from importlib.resources import files
from typing import Any

import jsonschema
import kubernetes_validate
import pytest
from manifests import DEPLOY, KUBERNETES, compose, manifests, read

KUBERNETES_VERSION = "1.34"

MANIFESTS = manifests()


@pytest.mark.parametrize("name", MANIFESTS)
def test_a_manifest_keeps_the_schema(name: str) -> None:
    kubernetes_validate.validate(MANIFESTS[name], KUBERNETES_VERSION, strict=True)


def test_the_schema_sees_a_slip() -> None:
    wrong = manifests()["deployment"]
    wrong["spec"]["template"]["spec"]["containers"][0]["readOnlyRoot"] = True
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(wrong, KUBERNETES_VERSION, strict=True)


def test_kinds() -> None:
    assert sorted(manifest["kind"] for manifest in MANIFESTS.values()) == [
        "Deployment",
        "HorizontalPodAutoscaler",
        "Ingress",
        "Namespace",
        "NetworkPolicy",
        "PodDisruptionBudget",
        "Service",
        "ServiceAccount",
    ]


def test_kustomize_gathers_all_of_them() -> None:
    gathered = read(KUBERNETES / "kustomization.yaml")["resources"]
    assert sorted(gathered) == sorted(["../nginx", *(f"{name}.yaml" for name in MANIFESTS)])


def test_every_file_of_nginx_is_in_a_config_map() -> None:
    folder = DEPLOY / "nginx"
    maps = read(folder / "kustomization.yaml")["configMapGenerator"]
    gathered = {item["name"]: item["files"] for item in maps}
    for name, below in (("nginx-common", "common"), ("nginx-place", "kubernetes")):
        there = sorted(str(file.relative_to(folder)) for file in (folder / below).iterdir())
        assert sorted(gathered[name]) == there


def pod() -> Any:
    return MANIFESTS["deployment"]["spec"]["template"]["spec"]


@pytest.mark.parametrize("container", pod()["containers"], ids=lambda item: item["name"])
def test_a_container_may_do_nothing_but_its_work(container: Any) -> None:
    context = container["securityContext"]
    assert context["runAsUser"] > 0
    assert context["allowPrivilegeEscalation"] is False
    assert context["readOnlyRootFilesystem"] is True
    assert context["capabilities"] == {"drop": ["ALL"]}
    assert set(container["resources"]) == {"requests", "limits"}
    assert {"readinessProbe", "livenessProbe", "lifecycle"} <= set(container)


def test_a_pod_keeps_the_restricted_standard() -> None:
    assert pod()["securityContext"] == {
        "runAsNonRoot": True,
        "fsGroup": 10001,
        "seccompProfile": {"type": "RuntimeDefault"},
    }
    assert pod()["automountServiceAccountToken"] is False
    assert not {"hostNetwork", "hostPID", "hostIPC"} & set(pod())


def test_selectors_find_the_pods() -> None:
    labels = MANIFESTS["deployment"]["spec"]["template"]["metadata"]["labels"]
    spec = {name: manifest["spec"] for name, manifest in MANIFESTS.items() if "spec" in manifest}
    selectors = [
        spec["deployment"]["selector"]["matchLabels"],
        spec["service"]["selector"],
        spec["poddisruptionbudget"]["selector"]["matchLabels"],
        spec["networkpolicy"]["podSelector"]["matchLabels"],
        *(item["labelSelector"]["matchLabels"] for item in pod()["topologySpreadConstraints"]),
    ]
    assert all(selector == labels for selector in selectors)


def test_named_ports_and_volumes_are_there() -> None:
    ports = {port["name"] for item in pod()["containers"] for port in item.get("ports", ())}
    rules = MANIFESTS["networkpolicy"]["spec"]["ingress"]
    asked = {port["port"] for rule in rules for port in rule["ports"]}
    asked |= {port["targetPort"] for port in MANIFESTS["service"]["spec"]["ports"]}
    assert asked == ports
    volumes = {volume["name"] for volume in pod()["volumes"]}
    assert {m["name"] for item in pod()["containers"] for m in item["volumeMounts"]} == volumes


def test_keys_are_given_to_every_instance() -> None:
    """Where the Secret is missing, pods do not start: nobody is let in by a slip."""
    patch = read(KUBERNETES / "keys" / "deployment.yaml")
    kubernetes_validate.validate(
        patch | {"spec": {**patch["spec"], "selector": {}}}, KUBERNETES_VERSION, strict=True
    )
    patched = patch["spec"]["template"]["spec"]
    assert patch["metadata"]["name"] == MANIFESTS["deployment"]["metadata"]["name"]
    assert [item["name"] for item in patched["containers"]] == ["service-a", "service-b"]
    (volume,) = patched["volumes"]
    assert "optional" not in volume["secret"]
    for container in patched["containers"]:
        (mount,) = container["volumeMounts"]
        assert container["env"][0]["value"] == f"{mount['mountPath']}/keys"
        assert mount["name"] == volume["name"]


def schema_of_compose() -> Any:
    folder = files("check_jsonschema") / "builtin_schemas" / "vendor"
    return json.loads((folder / "compose-spec.json").read_text(encoding="utf-8"))


def test_compose_keeps_the_schema() -> None:
    jsonschema.Draft202012Validator(schema_of_compose()).validate(compose())


def test_the_schema_of_compose_sees_a_slip() -> None:
    wrong = compose()
    wrong["services"]["proxy"]["read-only"] = True
    assert not jsonschema.Draft202012Validator(schema_of_compose()).is_valid(wrong)


@pytest.mark.parametrize("name", compose()["services"])
def test_a_service_may_do_nothing_but_its_work(name: str) -> None:
    service = compose()["services"][name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert set(service["deploy"]["resources"]["limits"]) == {"cpus", "memory", "pids"}


def test_only_the_shared_loopback_is_open() -> None:
    services = compose()["services"]
    assert [name for name, service in services.items() if "ports" in service] == ["loopback"]
    others = {service["network_mode"] for name, service in services.items() if name != "loopback"}
    assert others == {"service:loopback"}
