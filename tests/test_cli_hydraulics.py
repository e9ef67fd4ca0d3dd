"""`preplan hydraulics`: one lay, draft, transfer and relay by hand."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from preplan.cli import app
from preplan.render.words import CAUTIONS


def run(arguments: str) -> Result:
    return CliRunner().invoke(app, ["hydraulics", *arguments.split()])


def answer(arguments: str) -> dict[str, Any]:
    result = run(f"{arguments} --json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def said(arguments: str) -> str:
    result = run(arguments)
    assert result.exit_code == 0, result.stderr
    text = " ".join(result.stdout.split())
    assert text.endswith(CAUTIONS)
    return text


# ------------------------------------------------------------------ lay


def test_the_lay_for_a_flow() -> None:
    """800 ft, 30 ft up, 500 gpm: 3 in would take 160 + 13 + 20 psi; 2 x 3 in and 4 in lose a quarter."""
    found = answer("lay --feet 800 --rise 30 --flow 500")
    by_name = {row["lay"]: row for row in found["lays"]}
    assert list(by_name) == ["3 in", "2 x 3 in", "4 in", "5 in"]
    assert by_name["3 in"]["friction_psi"] == pytest.approx(160)
    assert by_name["2 x 3 in"]["friction_psi"] == pytest.approx(40)
    assert by_name["4 in"]["friction_psi"] == pytest.approx(40)
    assert by_name["3 in"]["pump_psi"] == pytest.approx(20 + 160 + 30 / 2.304)
    assert found["lay_for_flow"] == "2 x 3 in"
    text = said("lay --feet 800 --rise 30 --flow 500")
    assert "The lay for it 2 x 3 in: the first that carries 500 gpm at 150 psi with 20 psi left" in text
    assert "none of these carries 3,000 gpm" in said("lay --feet 800 --flow 3000")


def test_a_published_pump_pressure_by_hand() -> None:
    """400 ft of 2.5 in at 200 gpm lose 32 psi (published deck); with 50 psi at a solid hand line 82."""
    row = answer("lay --feet 400 --size 2.5 --flow 200 --end 50")["lays"][0]
    assert (row["friction_psi"], row["pump_psi"]) == (pytest.approx(32), pytest.approx(82))


def test_lay_options() -> None:
    """Lines, appliances, a master stream device and the pump pressure each count."""
    plain = answer("lay --feet 600 --size 3 --flow 500")["lays"][0]
    assert answer("lay --feet 600 --size 3 --lines 2 --flow 500")["lays"][0]["lay"] == "2 x 3 in"
    assert answer("lay --feet 600 --size 3 --appliances 2 --flow 500")["lays"][0]["appliances_psi"] == 20
    master = answer("lay --feet 600 --size 3 --master --flow 500 --end 80")["lays"][0]
    assert master["pump_psi"] == pytest.approx(plain["pump_psi"] + 25 + 60)
    assert answer("lay --feet 600 --size 3 --pump 200")["lays"][0]["gpm"] > plain["gpm"]
    own = answer("lay --feet 600 --size 3 --flow 500 --coefficient 0.4")["lays"][0]
    assert own["friction_psi"] == pytest.approx(plain["friction_psi"] / 2)
    assert own["fill_gal"] == plain["fill_gal"]
    assert own["gpm"] == pytest.approx(plain["gpm"] * 2**0.5)
    assert "C 0.4 as given" in said("lay --feet 600 --size 3 --coefficient 0.4")
    assert "friction" not in run("lay --feet 600").stdout
    assert answer("lay --feet 600")["lay_for_flow"] is None


def test_a_lay_that_carries_a_flow_is_not_pumped_higher_for_it() -> None:
    """Two appliances take 20 psi at 350 gpm and none below: what is carried and the pump pressure are one answer."""
    asked = "lay --feet 450 --size 2.5 --appliances 2"
    for flow in (300, 349, 349.99, 349.995, 350, 350.5, 380):
        row = answer(f"{asked} --flow {flow}")["lays"][0]
        assert row["carries"] is (row["pump_psi"] <= 150) is (flow < 350)
        assert not row["carries"] or row["gpm"] >= flow - 0.01
    assert answer(f"{asked} --flow 350")["lays"][0]["pump_psi"] == pytest.approx(150.25)
    assert "none of these carries 350 gpm at 150 psi" in said(f"{asked} --flow 350")
    assert "2.5 in 349 " in said(asked)
    for most in ("", " --pump 150.25", " --pump 170", " --rise -40", " --lines 2", " --master"):
        gpm = answer(f"{asked}{most}")["lays"][0]["gpm"]
        assert answer(f"{asked}{most} --flow {gpm!r}")["lays"][0]["carries"]


def test_large_hose_is_not_pumped_above_its_pressure() -> None:
    assert "Too high 4 in: above 185 psi" in said("lay --feet 4000 --flow 700 --size 4")
    assert "Too high 200 psi: above 185 psi" in said("lay --feet 400 --flow 700 --size 4 --pump 200")
    assert "Too high" not in said("lay --feet 400 --flow 700 --size 4")


# ------------------------------------------------------------------ draft, transfer


def test_draft_by_lift_and_altitude() -> None:
    found = answer("draft --pump 1250 --lift 15")
    assert found["by_lift_gpm"] == pytest.approx(875)
    assert answer("draft --pump 1250 --lift 15 --altitude 5000")["gpm"] < 875
    high = said("draft --pump 1250 --lift 14 --altitude 9000")
    assert "Drafts 0 gpm" in high
    assert "Practical lift 15.7 ft, but the shares of a pump's rating end at 12.0 ft there" in high
    assert answer("draft --pump 1250 --lift 5")["gpm"] == 1000
    assert answer("draft --pump 1250 --lift 5 --strainers 2")["gpm"] == 1250
    assert "limited by 1 strainer" in said("draft --pump 1250 --lift 5")
    assert "more than a pump in use attains" in said("draft --pump 1250 --lift 24")


def test_a_dry_hydrant_by_hand() -> None:
    """60 ft of 6 in at 750 gpm: 10.8 ft in the intake, 5.267 x 0.6 in the pipe (published design sheet)."""
    found = answer("draft --pump 1250 --lift 8 --pipe 6 --pipe-feet 60 --flow 750")
    assert found["intake_ft"] == pytest.approx(10.8)
    assert found["pipe_ft"] == pytest.approx(5.267 * 0.6, rel=0.006)
    assert found["head_ft"] == pytest.approx(8 + found["intake_ft"] + found["pipe_ft"])
    assert found["gpm"] == found["dry_hydrant_gpm"] < 750
    assert "= 21.9 ft of head: too much" in said("draft --pump 1250 --lift 8 --pipe 6 --pipe-feet 60 --flow 750")
    high = answer("draft --pump 1250 --lift 8 --pipe 6 --pipe-feet 60 --altitude 4000")
    assert high["gpm"] < found["gpm"]


def test_transfer_by_hand() -> None:
    found = answer("transfer --flow 750 --draft 1000")
    assert found == {"devices": 2, "pump_gpm": 1250, "flow_gpm": 500, "enough": False}
    assert "not enough: 500 gpm are left for the fire" in said("transfer --flow 750 --draft 1000")
    assert "1,500 gpm drafted are enough" in said("transfer --flow 750 --draft 1500")


# ------------------------------------------------------------------ relay


def test_relay_by_hand() -> None:
    """3,000 ft: 3 in takes 600 psi at 500 gpm, so five engines 600 ft apart; 5 in takes 60, one."""
    found = answer("relay --feet 3000 --flow 500")
    assert [row["engines"] for row in found["lays"]] == [5, 2, 2, 1]
    assert [row["hose_ft"] for row in found["lays"]] == [3000, 6000, 3000, 3000]
    assert (found["engines"], found["lines"], found["hose_ft"]) == (1, 1, 3000)
    assert found["shuttle"] is None
    assert answer("relay --miles 0.5 --flow 500")["feet"] == 2640
    assert answer("relay --feet 3000 --flow 1500")["lays"][0]["engines"] is None
    assert "cannot" in run("relay --feet 3000 --flow 1500").stdout


def test_relay_against_a_shuttle() -> None:
    """Two tankers do not hold 500 gpm; 4,000 ft of 5 in do, as far as they reach; long 3 in hose does not."""
    found = answer("relay --feet 3000 --flow 500 --size 5 --hose-feet 4000 --engines 2 --tank 2000 --tank 3000")
    assert found["shuttle"]["beaten"] is True
    assert found["shuttle"]["beaten_up_to_ft"] == 4000
    beyond = answer("relay --feet 5000 --flow 500 --size 5 --hose-feet 4000 --engines 2 --tank 2000 --tank 3000")
    assert beyond["gpm"] == 0
    assert beyond["engines"] is None
    assert beyond["shuttle"]["beaten"] is False
    thin = answer("relay --feet 5000 --flow 500 --size 2.5 --engines 1 --tank 2000 --tank 3000")
    assert thin["shuttle"]["beaten"] is False
    assert thin["gpm"] < thin["shuttle"]["sustained_gpm"]
    far = thin["shuttle"]["beaten_up_to_ft"]
    assert 0 < far < 5000
    near = answer(f"relay --feet {far} --flow 500 --size 2.5 --engines 1 --tank 2000 --tank 3000")
    assert near["shuttle"]["beaten"] is True
    text = said("relay --feet 5000 --flow 500 --size 5 --hose-feet 4000 --engines 2 --tank 2000")
    assert "does not bring water there: 5,000 ft to cover" in text
    assert "the shuttle brings as much or more" in text
    assert "both bring what is asked" in said("relay --feet 1000 --flow 200 --tank 3000 --tank 3000")
    assert "at no distance" in said("relay --feet 1000 --flow 100 --tank 3000 --tank 3000 --hose-feet 2000")


# ------------------------------------------------------------------ what cannot be asked


@pytest.mark.parametrize(
    ("arguments", "rule"),
    [
        ("lay --feet 0", "--feet: '0' must be above 0"),
        ("lay --feet 100 --size 0.5", "--size: '0.5' must be at least 1 and at most 6"),
        ("lay --feet 100 --size 9", "--size: '9' must be at least 1 and at most 6"),
        ("lay --feet 100 --lines 2", "--lines: needs --size"),
        ("lay --feet 100 --coefficient 0.5", "--coefficient: needs --size"),
        ("lay --feet 100 --rise nan", "--rise: 'nan' is not a number of ft"),
        ("lay --feet 100 --appliances -1", "--appliances: '-1' must be at least 0"),
        ("draft --pump 1000 --lift -1", "--lift: '-1' must be at least 0"),
        ("draft --pump 1000 --lift 5 --altitude 90000", "--altitude: '90000' must be at least 0 and at most 15000"),
        ("draft --pump 1000 --lift 5 --pipe 6", "--pipe: needs --pipe-feet"),
        ("draft --pump 1000 --lift 5 --flow 600", "--flow: needs --pipe"),
        ("transfer --flow 0", "--flow: '0' must be above 0"),
        ("relay --flow 500", "give --feet or --miles: one of the two"),
        ("relay --flow 500 --feet 10 --miles 1", "give --feet or --miles: one of the two"),
        ("relay --flow 500 --feet 10 --end 160", "--end: '160' must be at least 0 and at most 150"),
        ("relay --flow 500 --feet 10 --engines 0", "--engines: '0' must be at least 1 and at most 50"),
        ("relay --flow 500 --feet 10 --tank -5", "--tank: '-5' must be above 0"),
    ],
)
def test_what_cannot_be_is_refused(arguments: str, rule: str) -> None:
    """Exit 2, nothing on stdout, the option and its rule on stderr."""
    result = run(arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert rule in " ".join(result.stderr.split())


@pytest.mark.parametrize("command", ["lay", "draft", "transfer", "relay"])
def test_the_examples_in_the_help_run(command: str) -> None:
    text = run(f"{command} --help").stdout
    typed = re.findall(r"^    preplan hydraulics (.+)$", text, re.MULTILINE)
    assert typed
    for example in typed:
        assert run(example).exit_code == 0, example
