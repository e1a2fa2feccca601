"""What POST /v1/sweep refuses: where it points, and what it says to do."""

import tracemalloc
from typing import Any

import pytest
import swept as requests
from flask.testing import FlaskClient
from swept import gridded, normal, sampled, uniform, values

Body = dict[str, Any]
MASS, SPEED = "/arrow/mass", "/launch/parameters/speed"


@pytest.fixture
def client() -> FlaskClient:
    return requests.client()


def refused(client: FlaskClient, asked: Any, status: int = 422) -> list[tuple[str, str]]:
    reply = client.post("/v1/sweep", json=asked)
    assert reply.status_code == status, reply.get_data(as_text=True)[:500]
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


@pytest.mark.parametrize(
    ("pointer", "says"),
    [
        ("/arrow/mas", 'did you mean "mass"'),
        ("/arow/mass", 'did you mean "arrow"'),
        ("/arrow", "is an object: go on to one of mass"),
        ("/arrow/mass/0", "has no members"),
        ("/launch", "is a model"),
        ("/launch/model", "is no number: vary a parameter"),
        ("/launch/parameters", "is an object"),
        ("/launch/parameters/readings", "is a list"),
        ("/launch/parameters/readings/0", "give it first"),
        ("/launch/parameters/sped", 'did you mean "speed"'),
        ("/sight/scale/increases", "Nothing that a sweep gives depends on"),
        ("/sight/clicks_per_turn", "vary radius or zero_distance"),
        ("/units/length", "cannot be varied"),
        ("/distances/0", "cannot be varied"),
        ("/vary/0/values/0", "cannot be varied"),
        ("/seed", "cannot be varied"),
        ("", "Give a text"),
        ("/", "cannot be varied"),
        ("arrow/mass", 'starts with "/"'),
        ("/arrow/~0mass", "is nothing here"),
    ],
)
def test_pointers_that_lead_to_no_number(client: FlaskClient, pointer: str, says: str) -> None:
    (fault,) = refused(client, gridded(values(pointer, "1 g")))
    assert fault[0] == "/vary/0/pointer" and says in fault[1]


@pytest.mark.parametrize("step", ["2", "-1", "01", "x", "", "９"])
def test_elements_that_a_list_has_not(client: FlaskClient, step: str) -> None:
    launch = {"model": "measured", "parameters": {"readings": ["56 m/s", "57 m/s"]}}
    varied = values(f"/launch/parameters/readings/{step}", "57 m/s")
    ((pointer, _),) = refused(client, gridded(varied, launch=launch))
    assert pointer == "/vary/0/pointer"


def test_a_choice_is_no_number(client: FlaskClient) -> None:
    drag = {"model": "component", "parameters": {}}
    pointer = "/drag/parameters/leading_edge"
    ((where, detail),) = refused(client, gridded(values(pointer, 1), drag=drag))
    assert where == "/vary/0/pointer" and "is no number or quantity" in detail


def test_the_same_member_twice(client: FlaskClient) -> None:
    (fault,) = refused(client, gridded(values(MASS, "18 g"), values(MASS, "19 g")))
    assert fault == ("/vary/1/pointer", "This member is varied twice: keep one of them.")


@pytest.mark.parametrize(
    ("varied", "pointer", "says"),
    [
        (values(MASS, "18 g", "1 kg"), "/vary/0/values/1", "0.001 kg to 0.2 kg"),
        (values(MASS, "18 g", 18), "/vary/0/values/1", "number and a unit"),
        (values(MASS, "18 m"), "/vary/0/values/0", "unit of length"),
        (values(MASS, None), "/vary/0/values/0", "null is no value"),
        (values(MASS, True), "/vary/0/values/0", "as the varied member itself takes it"),
        (values(MASS), "/vary/0/values", "give 1 to"),
        (values("/air/relative_humidity", 1.2), "/vary/0/values/0", "0 to 1"),
        (values("/drag/parameters/coefficient", 21), "/vary/0/values/0", "0 to 20"),
        ({"pointer": MASS}, "/vary/0", "exactly one of"),
        ({"pointer": MASS, "range": {"from": "9 g", "to": "1 g"}}, "/vary/0/range/count", "needed"),
        ({"pointer": MASS, "range": {"from": "0 g", "to": "9 g", "count": 3}},
         "/vary/0/range/from", "1 g to 200 g"),
        ({"pointer": MASS, "range": {"from": "9 g", "to": "9 g", "count": 1}},
         "/vary/0/range/count", "2"),
    ],
)  # fmt: skip
def test_values_that_the_member_itself_would_refuse(
    client: FlaskClient, varied: Body, pointer: str, says: str
) -> None:
    (fault,) = refused(client, gridded(varied))
    assert fault[0] == pointer and says in fault[1]


@pytest.mark.parametrize(
    ("distribution", "inner", "says"),
    [
        ({}, "", "exactly one of"),
        ({"normal": {"mean": "1 kg", "standard_deviation": "1 g"}}, "/normal/mean", "0.2 kg"),
        ({"normal": {"mean": "19 g", "standard_deviation": "0 g"}}, "/normal/standard_deviation",
         "more than 0"),
        ({"normal": {"mean": "19 g", "standard_deviation": "1 m"}}, "/normal/standard_deviation",
         "unit of length"),
        ({"normal": {"mean": "19 g", "standard_deviation": 1}}, "/normal/standard_deviation",
         "number and a unit"),
        ({"normal": {"mean": "19 g", "standard_deviation": "1 g", "from": "2 g", "to": "1 g"}},
         "/normal/to", "more than `from`"),
        ({"normal": {"mean": "19 g", "standard_deviation": "1 g", "from": "30 g"}}, "/normal",
         "a centre nearer"),
        ({"uniform": {"from": "19 g", "to": "19 g"}}, "/uniform/to", "more than `from`"),
        ({"log_normal": {"median": "19 g", "factor": 1}}, "/log_normal/factor", "more than 1"),
        ({"triangle": {}}, "/triangle", "is not a member here"),
    ],
)  # fmt: skip
def test_distributions_that_are_none(
    client: FlaskClient, distribution: Body, inner: str, says: str
) -> None:
    asked = sampled(vary=[{"pointer": MASS, "distribution": distribution}])
    faults = refused(client, asked)
    assert faults[0][0] == f"/vary/0/distribution{inner}" and says in faults[0][1]


def test_a_log_normal_is_of_positive_values(client: FlaskClient) -> None:
    given = {"log_normal": {"median": "-3 degC", "factor": 1.01}}
    asked = sampled(vary=[{"pointer": "/slope", "distribution": given}])
    asked["vary"][0]["distribution"]["log_normal"]["median"] = "-3 deg"
    (fault,) = refused(client, asked)
    assert fault[0] == "/vary/0/distribution/log_normal/median" and "more than 0" in fault[1]


def test_draws_outside_of_bounds_are_counted(client: FlaskClient) -> None:
    """Phi(-1.9) = 0.0287 of N(19.0, 9.474) g lies below 1 g: about 57 of 2000."""
    asked = sampled(vary=[normal(MASS, "19 g", "9.474 g")], samples=2000)
    ((pointer, detail),) = refused(client, asked)
    count, rest = detail.split(" ", 1)
    assert pointer == "/vary/0/distribution" and rest.startswith("of 2000 draws are outside")
    assert int(count) == pytest.approx(57, abs=4 * 57**0.5)
    asked["vary"] = [normal(MASS, "19 g", "9.474 g", **{"from": "2 g"})]
    assert client.post("/v1/sweep", json=asked).status_code == 200


@pytest.mark.parametrize(
    ("left_out", "pointers"),
    [(["seed"], ["/seed"]), (["samples"], ["/samples"]), (["samples", "seed"],
                                                          ["/samples", "/seed"])],
)  # fmt: skip
def test_draws_need_number_and_seed(
    client: FlaskClient, left_out: list[str], pointers: list[str]
) -> None:
    asked = {name: value for name, value in sampled().items() if name not in left_out}
    assert sorted(pointer for pointer, _ in refused(client, asked)) == pointers


def test_nothing_to_draw(client: FlaskClient) -> None:
    asked = sampled(vary=[values(MASS, "18 g")], rows=True)
    pointers = [pointer for pointer, _ in refused(client, asked)]
    assert sorted(pointers) == ["/quantiles", "/rows", "/samples", "/seed"]


def exploding() -> list[tuple[Body, str]]:
    wide = {"pointer": MASS, "range": {"from": "9 g", "to": "90 g", "count": 10**9}}
    long = {"pointer": SPEED, "range": {"from": "50 m/s", "to": "60 m/s", "count": 10**15}}
    return [
        (gridded(wide), "1000000000 values x 2 distances make 2000000000 points"),
        (gridded(wide, long), f"make {2 * 10**24} points"),
        (sampled(samples=10**9), "3 values x 1000000000 samples x 2 distances make 6000000000"),
        (gridded({**wide, "range": wide["range"] | {"count": 50_001}}), "make 100002 points"),
    ]


@pytest.mark.parametrize("which", range(4))
def test_what_explodes_is_refused_by_its_number_and_never_expanded(
    client: FlaskClient, which: int
) -> None:
    asked, says = exploding()[which]
    client.post("/v1/sweep", json=gridded(values(MASS, "18 g")))
    tracemalloc.start()
    ((pointer, detail),) = refused(client, asked)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert pointer == "/vary" and says in detail and "at most 100000" in detail
    assert peak < 2**20


TABLE = {
    "model": "table",
    "parameters": {"reynolds": [8000, 15000, 30000], "coefficient": [1.6, 2.0, 2.4]},
}


def test_more_drag_laws_than_points_allow(client: FlaskClient) -> None:
    """Each counts as 20 of the 100,000 points."""
    wide = {
        "pointer": "/drag/parameters/coefficient/1",
        "range": {"from": 1.0, "to": 3.0, "count": 5001},
    }
    ((pointer, detail),) = refused(client, gridded(wide, drag=TABLE))
    assert pointer == "/vary/0" and "5001 sets" in detail and "at most 5000 are" in detail
    wide["range"]["count"] = 310
    found = client.post("/v1/sweep", json=gridded(wide, drag=TABLE)).get_json()
    assert found["sizes"]["block"] == 300
    wide["range"]["count"] = 300
    found = client.post("/v1/sweep", json=gridded(wide, drag=TABLE)).get_json()
    assert found["sizes"]["block"] == 4096 // 3
    described = requests.members.VARIED.load_fields["pointer"].metadata["description"]
    assert "counts as 20 points" in described


def test_launches_one_by_one_have_no_such_bound(client: FlaskClient) -> None:
    launch = {"model": "measured", "parameters": {"readings": ["56 m/s", "57 m/s"]}}
    varied = {
        "pointer": "/launch/parameters/readings/0",
        "range": {"from": "55 m/s", "to": "57 m/s", "count": 1500},
    }
    asked = gridded(varied, launch=launch, quantities=["launch_speed"], distances=["20 m"])
    found = client.post("/v1/sweep", json=asked).get_json()["columns"]
    expected = [(reading + 57.0) / 2.0 for reading in found[varied["pointer"]]]
    assert found["launch_speed"] == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("varied", "drag", "starts", "says"),
    [
        ([values("/drag/parameters/laminar", 1.3, 2.1, 2.9),
          values("/drag/parameters/turbulent", 1.9, 2.6)], {"model": "transition"},
         "In 3 of 6 set-ups, such as laminar 2.1 with turbulent 1.9, the drag model 'transition'",
         "refuses turbulent: must not be below laminar"),
        ([values("/drag/parameters/laminar", 1.3, 2.1, 2.9), values(MASS, "18 g", "20 g")],
         {"model": "transition"}, "In 2 of 6 set-ups, such as laminar 2.9,", "refuses turbulent"),
        ([values("/drag/parameters/reynolds/1", 9000, 31000, 7000), values(MASS, "18 g", "20 g")],
         TABLE, "In 4 of 6 set-ups, such as reynolds/1 31000,", "refuses reynolds"),
    ],
)  # fmt: skip
def test_parameters_that_contradict_each_other_are_counted(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, varied: list[Body], drag: Body,
    starts: str, says: str,
) -> None:  # fmt: skip
    monkeypatch.setattr(requests.sweep.Sweep, "part", None)  # before anything is computed
    ((pointer, detail),) = refused(client, gridded(*varied, drag=drag))
    assert detail.startswith(starts) and says in detail
    assert pointer == f"/vary/{1 if len(varied) == 2 and 'turbulent' in str(varied[1]) else 0}"


def test_drawn_parameters_that_contradict_each_other_are_counted(client: FlaskClient) -> None:
    """N(1.5, 0.3) above N(2.4, 0.3): Phi(-0.9 / 0.424) = 0.017 of 3000 draws."""
    drawn = (
        normal("/drag/parameters/laminar", 1.5, 0.3),
        normal("/drag/parameters/turbulent", 2.4, 0.3),
    )
    asked = sampled(vary=[*drawn, values(MASS, "18 g", "20 g")], samples=3000)
    ((_, detail),) = refused(client, asked | {"drag": {"model": "transition"}})
    count = int(detail.split(" ")[1])
    assert "of 6000 set-ups" in detail
    assert count % 2 == 0 and count / 2 == pytest.approx(51, abs=4 * 51**0.5)


def test_quantiles_of_one_name_stand_once(client: FlaskClient) -> None:
    ((pointer, detail),) = refused(client, sampled(quantiles=[0.5, 0.05, 0.5000000000001]))
    assert pointer == "/quantiles/2" and "quantile_0.5 stands here twice" in detail


@pytest.mark.parametrize(
    ("member", "given", "says"),
    [("seed", 2**53, "Give 0 to 9007199254740991; 9007199254740992 is outside."),
     ("seed", -1, "Give 0 to 9007199254740991; -1 is outside."),
     ("samples", 1, "Give 2 to 1000000000000000; 1 is outside.")],
)  # fmt: skip
def test_bounds_are_said_to_the_last_digit(
    client: FlaskClient, member: str, given: int, says: str
) -> None:
    assert refused(client, sampled(**{member: given})) == [(f"/{member}", says)]


def test_a_centre_that_is_cut_off_need_be_no_value(client: FlaskClient) -> None:
    """Its unit counts, not its bounds; and the base of the request is then inside the cut."""
    wind = normal("/wind/speed", "-1 m/s", "2 m/s", **{"from": "0 m/s"})
    blown = sampled(vary=[wind], wind={"speed": "1 m/s", "from": "90 deg"}, quantities=["drift"])
    assert client.post("/v1/sweep", json=blown).status_code == 200
    cut = {"from": "300 mm", "to": "700 mm"}
    point = normal("/arrow/balance_point", "2000 mm", "900 mm", **cut)
    assert client.post("/v1/sweep", json=sampled(vary=[point])).status_code == 200
    for faulty in (wind | {}, normal("/wind/speed", "-1 m", "2 m/s", **{"from": "0 m/s"})):
        if faulty["distribution"]["normal"]["mean"] == "-1 m/s":
            faulty = normal("/wind/speed", "-1 m/s", "2 m/s", to="9 m/s")
        ((pointer, _),) = refused(client, blown | {"vary": [faulty]})
        assert pointer == "/vary/0/distribution/normal/mean"


def test_a_first_value_that_fits_nothing_is_blamed_where_it_is_varied(client: FlaskClient) -> None:
    varied = values(MASS, "18 g"), values("/arrow/balance_point", "720 mm", "400 mm")
    ((pointer, detail),) = refused(client, gridded(*varied))
    assert pointer == "/vary/1/pointer" and detail.startswith("In some set-up: ")


@pytest.mark.parametrize(
    ("pointer", "given", "says"),
    [
        ("/bow/brace_height", ("9 in", "19.5 in"), "In 1 of 2 set-ups bow.brace_height leaves"),
        ("/bow/draw_length", ("24 in", "12 in", "14 in"), "In 2 of 3 set-ups bow.brace_height"),
        ("/arrow/balance_point", ("400 mm", "720 mm"), "In 1 of 2 set-ups arrow.balance_point"),
        ("/arrow/length", ("710 mm", "420 mm", "400 mm"), "In 2 of 3 set-ups arrow.balance_point"),
    ],
)
def test_lengths_that_do_not_fit_together_in_some_set_ups(
    client: FlaskClient, pointer: str, given: tuple[str, ...], says: str
) -> None:
    bow = gridded()["bow"] | {"draw_length": "21 in", "brace_height": "14 in"}
    ((where, detail),) = refused(client, gridded(values(pointer, *given), bow=bow))
    assert where == "/vary/0/pointer" and detail.startswith(says)


@pytest.mark.parametrize(
    ("changes", "varied", "pointer", "says"),
    [
        ({"distances": ["1.2 m", "50 m"]}, values(MASS, "18 g"), "/distances/0", "Too near"),
        ({"sight": {"radius": "0.8 m", "zero_distance": "1 m"}}, values(MASS, "18 g"),
         "/sight/zero_distance", "Too near"),
        ({}, values("/wind/speed", "2 m/s"), "/wind/from", "needed"),
        ({"quantities": ["time", "time"]}, values(MASS, "18 g"), "/quantities/1", "twice"),
        ({"quantities": ["tme"]}, values(MASS, "18 g"), "/quantities/0", "did you mean"),
        ({"distances": []}, values(MASS, "18 g"), "/distances", "give 1 to"),
        ({"distances": {"from": "20 m", "to": "200 m", "step": "1 m"}}, values(MASS, "18 g"),
         "/distances/step", "at most 100"),
    ],
)  # fmt: skip
def test_other_members(
    client: FlaskClient, changes: Body, varied: Body, pointer: str, says: str
) -> None:
    faults = refused(client, gridded(varied, **changes))
    assert faults[0][0] == pointer and says in faults[0][1]


def test_travel_needs_a_sight(client: FlaskClient) -> None:
    asked = gridded(values(MASS, "18 g"), quantities=["time", "travel"])
    del asked["sight"]
    ((pointer, detail),) = refused(client, asked)
    assert pointer == "/quantities/1" and "sight.radius" in detail


def test_speeds_that_are_not_computed(client: FlaskClient) -> None:
    """A reading far from a bow of much drag stands for a launch faster than any."""
    launch = {"model": "measured", "parameters": {"speed": "60 m/s", "gate_distance": "90 m"}}
    asked = gridded(values("/drag/parameters/coefficient", 2, 20), launch=launch)
    reply = client.post("/v1/sweep", json=asked).get_json()
    assert reply["type"] == "/problems/model-cannot-answer"
    assert reply["errors"][0]["pointer"] == "/launch" and "for some set-up" in reply["detail"]


def test_what_a_model_lacks_is_told_as_elsewhere(client: FlaskClient) -> None:
    launch = {"model": "rated", "parameters": {"rated_speed": "95 m/s"}}
    asked = gridded(values(MASS, "18 g"), launch=launch)
    del asked["bow"]["draw_weight"]
    assert refused(client, asked)[0][0] == "/bow/draw_weight"


def test_nan_is_no_json(client: FlaskClient) -> None:
    body = b'{"vary": [{"pointer": "/slope", "values": [NaN]}]}'
    reply = client.post("/v1/sweep", data=body, content_type="application/json")
    assert reply.status_code == 400
    assert reply.get_json()["errors"][0]["pointer"] == "/vary/0/values/0"


def test_a_set_up_that_is_none_is_refused_as_elsewhere(client: FlaskClient) -> None:
    asked = gridded(values(MASS, "18 g"))
    del asked["arrow"]["mass"]
    assert refused(client, asked)[0][0] == "/arrow/mass"


def test_all_faults_of_what_is_varied_come_at_once(client: FlaskClient) -> None:
    asked = gridded(values("/arrow/mas", "1 g"), values("/slope", "99 deg"), uniform("/x", 1, 2))
    pointers = [pointer for pointer, _ in refused(client, asked)]
    assert pointers == ["/vary/0/pointer", "/vary/1/values/0", "/vary/2/pointer"]
