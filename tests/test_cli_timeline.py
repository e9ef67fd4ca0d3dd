"""`preplan shuttle` minute by minute: the worked example as a person would type it, and what cannot be asked."""

from __future__ import annotations

import io
import json
import struct
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner, Result

from preplan.cli import app
from preplan.render.words import CAUTIONS

SITE = (
    "--min-out 6 --min-back 4 --fill-gpm 900 --dump-gpm 900 --fill-hookup 2 --dump-hookup 1 --fill-maneuver 0 "
    "--dump-maneuver 0 --attack-engine 10 --fill-engine 12 --fill-setup 8 --dump-setup 3 --booster 1000 --room 1 "
    "--dead 0 --demand 500"
)
TANKS, ARRIVE, CALLED = (2000, 3000) * 3, (13, 20, 24, 30, 34, 40), (13, 20, 36, 42, 46, 52)
SHORT = "--tank 2000 --tank 3000 --miles-out 2 --miles-back 2"
ASKED = f"{SHORT} --arrive 13 --arrive 20 --demand 250"
QUICK = "--tank 100 --tank 100 --min-out 0 --min-back 0 --arrive 1 --arrive 2 --demand 250"


def run(arguments: str) -> Result:
    return CliRunner().invoke(app, ["shuttle", *arguments.split()])


def example(count: int, arrive: tuple[int, ...] = ARRIVE) -> str:
    """Write the worked example with its first tankers; the first two carry 3,000 gal portable tanks."""
    fleet = " ".join(f"--tank {tank}" for tank in TANKS[:count])
    coming = " ".join(f"--arrive {minute}" for minute in arrive[:count])
    tanks = " ".join(f"--portable {3000 if at < 2 else 0}" for at in range(count))
    return f"{SITE} {fleet} {coming} {tanks}"


def account(arguments: str) -> dict[str, Any]:
    result = run(f"{arguments} --json")
    assert result.exit_code == 0, result.stderr
    answer: dict[str, Any] = json.loads(result.stdout)
    return answer


def unfolded(text: str) -> str:
    return " ".join(text.split())


# ------------------------------------------------------------------ the worked example


@pytest.mark.parametrize(
    ("arguments", "sustained", "limit", "uninterrupted", "gap", "stretches", "short"),
    [
        (example(2), 4500 / 19, "tankers", 27850 / 110, 55.3, 11, 27650),
        (example(4), 9000 / 19, "tankers", 494.58, 1.3, 2, 650),
        (example(4, CALLED), 9000 / 19, "tankers", 3550 / 9, 6.7, 6, 3350),
        (example(6), 500.0, "fill site", 551.68, 0.0, 0, 0),
        (example(6, CALLED), 500.0, "fill site", 3550 / 9, 1.9, 1, 950),
    ],
    ids=["Level 1", "Level 2", "Level 2 on arrival", "Level 3", "Level 3 on arrival"],
)
def test_every_row_of_the_worked_example(
    arguments: str, sustained: float, limit: str, uninterrupted: float, gap: float, stretches: int, short: float
) -> None:
    """A hand ledger gives these numbers; the command line must give them too."""
    answer = account(arguments)
    found = answer["timeline"]
    assert (answer["sustained_gpm"], answer["limited_by"]) == (pytest.approx(sustained), limit)
    assert found["uninterrupted_gpm"] == pytest.approx(uninterrupted, abs=0.005)
    assert found["gap_min"] == pytest.approx(gap, abs=1e-6)
    assert (found["gap_stretches"], found["short_gal"]) == (stretches, pytest.approx(short, abs=1e-6))
    assert (found["first_water_min"], found["dump_ready_min"]) == (12.0, 16.0)
    # T4 that comes at 30 holds the one dump place until 34, so T1 begins a minute later than alone.
    assert found["established_min"] == (35.0 if arguments in (example(4), example(6)) else 34.0)
    assert found["on_scene_gal"] == 3550.0
    assert found["meets"] is (gap == 0)


def test_limits_and_leaving_one_out() -> None:
    """Called late it is the arrival that limits; without T2 the second level holds 337 gpm."""
    called = account(example(4, CALLED))["timeline"]
    assert called["limited_by"] == "arrival"
    level_2 = account(example(4))["timeline"]
    assert int(level_2["one_out_gpm"]["T2"]) == 337
    assert level_2["last_useful"] == "T4"
    assert [int(gpm) for gpm in level_2["by_tankers_gpm"]][2] == 253


def test_for_people() -> None:
    text = unfolded(run(f"{example(6, CALLED)} --total 12000").stdout)
    for said in (
        "First water minute 12.0, from the booster tank",
        "dump site minute 16.0; fill site minute 20.0",
        "Established minute 34.0",
        "394 gpm for 120 min, tightest at minute 34.0: does not meet the demand; limited by arrival of the tankers",
        "too little for 1.9 min in 1 stretch, first at minute 32.1, longest 1.9 min;",
        "nothing flows for 1.9 min of it;",
        "950 gal of the demand not delivered",
        "12,000 gal have arrived by minute",
        "attack engine minute 10, booster tank 1000 gal",
    ):
        assert said in text
    assert text.endswith(CAUTIONS)
    assert "Gap none" in unfolded(run(example(6)).stdout)
    assert "have not arrived by the end" in unfolded(run(f"{example(2)} --total 900000").stdout)


def test_a_gap_of_seconds_is_no_gap_of_nothing() -> None:
    """What flows for 9 minutes is asked for a thousandth more."""
    text = unfolded(run(example(6, CALLED).replace("--demand 500", "--demand 394.5")).stdout)
    assert "too little for under 0.1 min in 1 stretch, first at minute 34.0, longest under 0.1 min;" in text


def test_the_event_table_accounts_for_every_gallon() -> None:
    """At each line what came in is what went out and what is there, in the table and in the sum below it."""
    rough = f"{ASKED} --arrive 30 --tank 2500 --attack-engine 9 --can-nurse 1 --booster 300 --storage 6000 --refill 90"
    found = account(f"{rough} --events")["timeline"]
    assert len(found["events"]) > 50
    assert any(event["what"] == "nurses" for event in found["events"])
    for event in found["events"]:
        out = event["delivered_gal"] + event["on_scene_gal"] + event["dead_gal"]
        assert 300 + event["dumped_gal"] == pytest.approx(out, abs=1e-6)
    assert found["events"][-1]["dead_gal"] > 0
    lines = run(f"{rough} --events").stdout.splitlines()
    head = next(at for at, line in enumerate(lines) if line.startswith("minute"))
    assert len(lines[head + 1 :]) > len(found["events"])
    printed = lines[head + 1 : head + 1 + len(found["events"])]
    assert printed[-1].split()[0] == f"{found['events'][-1]['minute']:.1f}"
    assert any(line.startswith("Every gallon     booster 300 + dumped") for line in lines)
    assert "events" not in account(rough)["timeline"]


# ------------------------------------------------------------------ options


def test_defaults_are_said() -> None:
    """The attack engine comes with the first tanker, drafts too; a portable tank is as large as its tanker's tank."""
    text = unfolded(run(ASKED).stdout)
    assert "attack engine minute 13, booster tank 750 gal" in text
    assert "fill engine minute 13, set-up 5 min" in text
    assert "portable tanks 2000, 3000 gal" in text
    assert "usable room 0.8; under the strainer 0.07" in text


def test_each_option_reaches_the_account() -> None:
    """Each changes the answer in the direction in which it must."""
    plain = account(ASKED)["timeline"]
    assert account(f"{ASKED} --hydrant")["timeline"]["fill_ready_min"] != plain["fill_ready_min"]
    later = account(f"{ASKED} --dump-engine 40")["timeline"]
    assert later["dump_ready_min"] == 45.0
    assert account(f"{ASKED} --fill-engine 60")["timeline"]["established_min"] > plain["established_min"]
    assert account(f"{ASKED} --attack-setup 5")["timeline"]["first_water_min"] == 18.0
    assert account(f"{ASKED} --full-flow-after 20")["timeline"]["full_flow_min"] == 33.0
    assert account(f"{ASKED} --minutes 60")["timeline"]["end_min"] == 13.0 + 15.0 + 60.0
    assert account(f"{ASKED} --attack-gpm 50")["timeline"]["on_scene_gal"] > plain["on_scene_gal"]
    assert account(f"{ASKED} --dead 0.3")["timeline"]["on_scene_gal"] < plain["on_scene_gal"]
    assert account(f"{ASKED} --room 0.2")["timeline"]["on_scene_gal"] < plain["on_scene_gal"]
    assert account(f"{ASKED} --portable 0 --portable 3000")["timeline"]["dump_ready_min"] == 25.0
    assert account(f"{ASKED} --portable 0")["timeline"]["limited_by"] == "room"
    assert account(f"{ASKED} --tank-setup 30")["timeline"]["uninterrupted_gpm"] <= plain["uninterrupted_gpm"]
    assert account(f"{ASKED} --fill-setup 30")["timeline"]["fill_ready_min"] == 43.0
    assert account(f"{ASKED} --dump-setup 9")["timeline"]["dump_ready_min"] == 22.0
    narrow = account(f"{ASKED} --supply-gpm 90")
    assert (narrow["sustained_gpm"], narrow["limited_by"]) == (90.0, "supply line")
    assert (narrow["timeline"]["uninterrupted_gpm"], narrow["timeline"]["limited_by"]) == (90.0, "supply line")
    assert account(f"{ASKED} --draft-gpm 80")["limited_by"] == "draft"
    dry = account(f"{ASKED} --storage 6000 --refill 5")
    assert (dry["sustained_gpm"], dry["limited_by"]) == (pytest.approx(6000 / 120 + 5), "source")
    assert dry["timeline"]["limited_by"] == "source"


def test_a_surge_says_how_long_it_is_held() -> None:
    surge = "--surge 1000 --surge-at 60 --surge-for 20"
    found = account(f"{example(6)} {surge}")["timeline"]
    assert 0 < found["surge_min"] < 20
    assert found["gap_min"] > 0
    assert f"1,000 gpm from minute 60.0: held for {found['surge_min']:.1f} min of 20.0 min" in unfolded(
        run(f"{example(6)} {surge}").stdout
    )
    assert account(example(6))["timeline"]["surge_min"] is None


def test_a_surge_is_told_as_far_as_the_account_goes() -> None:
    """Of one that begins after the end nothing is known; of one that outlasts it no more than up to there."""
    before = account(example(6))["timeline"]
    end = 145.0
    late, long = (f"{example(6)} --surge 400 --surge-at {at} --surge-for 60" for at in (end, end - 15.0))
    assert before["surge_min"] is None
    assert account(late)["timeline"]["surge_min"] is None
    assert "minute 145.0: not looked at, the account ends before" in unfolded(run(late).stdout)
    held = account(long)["timeline"]["surge_min"]
    said = f"held for {held:.1f} min of 15.0 min, then the account ends, 60.0 min asked for"
    assert said in unfolded(run(long).stdout)


def test_the_tanker_beyond_which_more_bring_nothing() -> None:
    """A fill site that is busy with six gains nothing from a seventh that comes after the tightest minute."""
    crowd = f"{example(6)} --tank 2000 --arrive 150 --portable 0"
    assert account(crowd)["timeline"]["last_useful"] == "T6"
    assert "beyond T6 they bring nothing" in unfolded(run(crowd).stdout)
    assert "each helps" in unfolded(run(example(2)).stdout)


def test_ten_tankers_keep_their_order() -> None:
    """T10 does not go before T2 where minutes are equal."""
    fleet = " ".join(["--tank 2000"] * 10 + ["--arrive 20"] * 10)
    found = account(f"{fleet} --min-out 3 --min-back 3 --demand 250 --events")["timeline"]
    first = [event["unit_id"] for event in found["events"] if event["what"] == "takes dump place"][:10]
    assert first == [f"T{n:02d}" for n in range(1, 11)]


def test_tankers_may_have_names(tmp_path: Path) -> None:
    """In the tables, in the answer and in the drawing, without control characters and escaped."""
    named = [*f"shuttle {ASKED}".split(), "--unit", "Tender <7>", "--unit", "T\x1b[31m8"]
    result = CliRunner().invoke(app, [*named, "--events", "--plot", str(tmp_path / "a.svg")])
    assert result.exit_code == 0
    assert "Tender <7>  on scene" in result.stdout
    assert "\x1b" not in result.stdout
    drawn = (tmp_path / "a.svg").read_bytes()
    assert b"Tender &lt;7&gt;" in drawn
    assert b"\x1b" not in drawn


# ------------------------------------------------------------------ the drawing


@pytest.mark.parametrize("ending", [".pdf", ".svg", ".png", ".PNG"])
def test_plots_are_whole_and_the_same_every_time(tmp_path: Path, ending: str) -> None:
    one, other = tmp_path / f"one{ending}", tmp_path / "new" / f"other{ending}"
    other.parent.mkdir()
    for path in (one, other):
        assert run(f"{example(6, CALLED)} --plot {path}").exit_code == 0
    content = one.read_bytes()
    assert content == other.read_bytes()
    if ending == ".pdf":
        text = PdfReader(io.BytesIO(content)).pages[0].extract_text()
        assert "dry 2 min" in text
        assert "394 gpm uninterrupted" in text
        assert CAUTIONS.split(".", maxsplit=1)[0] in text
    elif ending == ".svg":
        texts = [node.text for node in ET.fromstring(content).iter("{http://www.w3.org/2000/svg}text")]  # noqa: S314
        assert {"T6", "engine", "500 gpm", "dry 2 min"} <= set(texts)
    else:
        assert content[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", content[16:24])
        assert (width, height) == (1600, 600)


def test_a_plot_goes_over_no_file(tmp_path: Path) -> None:
    """It wrote over the cards of a district."""
    cards = tmp_path / "cards.pdf"
    cards.write_bytes(b"the district's")
    result = run(f"{ASKED} --plot {cards}")
    assert result.exit_code == 2
    assert "is there already; delete it, or choose another name" in result.stderr
    assert cards.read_bytes() == b"the district's"


def test_a_plot_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("here", encoding="utf-8")
    result = run(f"{ASKED} --plot {blocked / 'a.pdf'}")
    assert result.exit_code == 1
    assert "Traceback" not in result.stderr
    assert result.stderr.strip()


# ------------------------------------------------------------------ what cannot be asked


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (f"{SHORT} --demand 0", "--demand: needs --arrive too, once for each --tank"),
        (f"{SHORT} --booster 0", "--booster: needs --arrive"),
        (f"{SHORT} --attack-engine 0", "--attack-engine: needs --arrive"),
        (f"{SHORT} --demand 250", "--demand: needs --arrive too, once for each --tank"),
        (f"{SHORT} --arrive 13 --arrive 20", "--arrive: needs --demand too, and stands once for each --tank"),
        (f"{SHORT} --events", "--events: needs --arrive"),
        (f"{SHORT} --plot a.pdf", "--plot: needs --arrive"),
        (f"{SHORT} --hydrant", "--hydrant: needs --arrive"),
        (f"{SHORT} --room 0.5", "--room: needs --arrive"),
        (f"{SHORT} --arrive 13 --demand 250", "--arrive: must be given once for each --tank, 2 in all, and is given o"),
        (f"{ASKED} --portable 1 --portable 1 --portable 1", "for each --tank, 2 in all, and is given 3 times"),
        (f"{SHORT} --arrive 13 --arrive 20 --demand 0", "--demand: '0' must be above 0"),
        (f"{SHORT} --arrive 13 --arrive nan --demand 250", "--arrive: 'nan' is not a number of min"),
        (f"{ASKED} --room 1.2", "--room: '1.2' must be above 0 and at most 1"),
        (f"{ASKED} --room 0.5 --dead 0.6", "--dead: '0.6' must be at least 0 and at most 0.5"),
        (f"{ASKED} --can-nurse 3", "--can-nurse: '3' must be at least 1 and at most 2"),
        (f"{ASKED} --hydrant --fill-engine 3", "--hydrant: cannot go with --fill-engine"),
        (f"{ASKED} --surge 900", "--surge: needs --surge, --surge-at and --surge-for: all three or none"),
        (f"{ASKED} --plot nowhere/a.svg", "--plot: 'nowhere/a.svg' lies in a folder that is not there; make it first"),
        (f"{ASKED} --plot a.gif", "--plot: '.gif' must be one of .pdf, .png, .svg"),
        (f"{ASKED} --minutes 0", "--minutes: '0' must be above 0"),
        (f"{ASKED} --minutes 90000", "--minutes: '90000' must be at most 10,080"),
        (f"{QUICK} --minutes 10080", "--tank: would be over 1,500 loads"),
        (f"{ASKED} --unit A", "--unit: must be given once for each --tank, 2 in all, each another name"),
        (f"{ASKED} --unit A --unit A", "--unit: must be given once for each --tank, 2 in all, each another name"),
        (f"{SHORT} --unit A --unit B", "--unit: needs --arrive"),
        (f"{SHORT} --refill 10", "--refill: needs --storage"),
        (f"{ASKED} --booster -1", "--booster: '-1' must be at least 0"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(arguments: str, said: str) -> None:
    """Exit 2, nothing on stdout, the option and its rule on stderr."""
    result = run(arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert said in unfolded(result.stderr)


def test_every_option_is_explained_with_its_unit() -> None:
    """The help shows an example that runs as printed."""
    text = CliRunner().invoke(app, ["shuttle", "--help"]).stdout
    lines = text[text.index("preplan shuttle --tank 2000 --tank 3000 --min-out") :].split()
    typed = " ".join(lines[2:]).replace("--plot shuttle.pdf", "")
    assert run(typed).exit_code == 0
    for unit in ("MIN", "GPM", "GAL", "SHARE", "FILE", "N"):
        assert f" {unit} " in text


def test_an_engine_without_water_gives_no_first_water() -> None:
    """It was told of the minute in which the engine is set up, though its tank is empty."""
    asked = "--tank 2000 --miles-out 2 --miles-back 2 --arrive 5 --demand 100"
    said = unfolded(run(f"{asked} --booster 0").stdout)
    assert "First water not before a tanker brings it: the attack engine has no water" in said
    assert "First water minute 7.0, from the booster tank" in unfolded(run(f"{asked} --booster 500").stdout)
