"""The commands by hand, and how every command ends: exit status, what goes to stdout and what to stderr."""

from __future__ import annotations

import json
import subprocess
import sys
import types
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import preplan
from preplan.build import Built
from preplan.cli import MOST_FINDINGS, app
from preplan.errors import Finding, InputError, InvariantError, OutputError
from preplan.plan_inputs import Rejected
from preplan.render.words import CAUTIONS

Progress = Callable[[str, float], None]
GOLDEN = (
    "--min-out 6 --min-back 4 --fill-gpm 900 --dump-gpm 900 --fill-hookup 2 --dump-hookup 1 "
    "--fill-maneuver 0 --dump-maneuver 0 --tank 2000 --tank 3000"
)


def run(arguments: str) -> Result:
    return CliRunner().invoke(app, arguments.split())


def unfolded(text: str) -> str:
    return " ".join(text.split())


# ------------------------------------------------------------------ shuttle


def test_shuttle_json_is_the_worked_example() -> None:
    """Two tankers of the worked example, unrounded."""
    result = run(f"shuttle {GOLDEN} --json")
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert list(answer) == ["sum_gpm", "sustained_gpm", "limited_by", "tankers"]
    assert answer["sum_gpm"] == pytest.approx(1800 / 17 + 2700 / 19, rel=1e-12)
    assert answer["sustained_gpm"] == pytest.approx(4500 / 19, rel=1e-12)
    assert answer["limited_by"] == "tankers"
    assert answer["tankers"][0] == {
        "tank_gal": 2000.0, "usable_gal": 1800.0, "cycle_min": 17.0, "gpm": pytest.approx(1800 / 17),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (f"shuttle {GOLDEN} --min-out 7", "--min-out is given 2 times: give it once"),
        ("demand --length 50 --width 30 --height 20 --width 40 --width 50", "--width is given 3 times: give it once"),
        ("hydraulics lay --feet 800 --flow 500 --feet 900", "--feet is given 2 times: give it once"),
        ("build district.toml --out here --out there", "--out is given 2 times: give it once"),
        (
            "demand --length 50 --width 30 --height 20 --dwelling --no-dwelling",
            "--dwelling or --no-dwelling is given 2 times: give it once",
        ),
    ],
)
def test_an_option_that_is_given_again_is_refused(arguments: str, said: str) -> None:
    """The library would take the last one without a word; tanks and arrivals are lists, a switch says one thing."""
    result = run(arguments)
    assert result.exit_code == 2
    assert said in unfolded(result.stderr)
    assert run(f"shuttle {GOLDEN} --json --json").exit_code == 0


@pytest.mark.parametrize(
    ("more", "flow", "limit"),
    [
        ("--tank 2000 --tank 3000", 9000 / 19, "tankers"),
        ("--tank 2000 --tank 3000 --tank 2000 --tank 3000", 500.0, "fill site"),
        ("--tank 2000 --tank 3000 --tank 2000 --tank 3000 --fill-positions 2 --site-gpm 900", 13500 / 21, "dump site"),
        ("--tank 2000 --tank 3000 --tank 2000 --tank 3000 --fill-positions 2 --site-gpm 450", 450.0, "source"),
    ],
)
def test_shuttle_names_what_limits(more: str, flow: float, limit: str) -> None:
    """Each of the four terms binds in turn; two places give twice the rate unless the site gives less."""
    answer = json.loads(run(f"shuttle {GOLDEN} {more} --json").stdout)
    assert answer["sustained_gpm"] == pytest.approx(flow)
    assert answer["limited_by"] == limit


@pytest.mark.parametrize(("tank", "dump_gpm"), [(999, 500.0), (1000, 1000.0), (3500, 1000.0), (3501, 500.0)])
def test_shuttle_dumps_by_the_size_of_the_tank(tank: int, dump_gpm: float) -> None:
    """The tables' own default: 1 + 1 + usable / 500 + 10 + 1.5 + 0.5 + usable / dump rate."""
    answer = json.loads(run(f"shuttle --tank {tank} --min-out 6 --min-back 4 --json").stdout)
    usable = 0.9 * tank
    assert answer["tankers"][0]["cycle_min"] == pytest.approx(14.0 + usable / 500.0 + usable / dump_gpm)


def test_shuttle_fills_no_tanker_at_more_than_the_site_gives() -> None:
    """300 gpm in all, whatever one tanker could take: 1 + 1 + 1,800 / 300 + 10 + 1.5 + 0.5 + 1.8 = 21.8 min."""
    asked = "shuttle --tank 2000 --tank 3000 --min-out 6 --min-back 4 --site-gpm 300"
    answer = json.loads(run(f"{asked} --fill-gpm 1000 --json").stdout)
    assert [one["cycle_min"] for one in answer["tankers"]] == pytest.approx([21.8, 25.7])
    assert answer["sustained_gpm"] == pytest.approx(4500 / 25.7)
    assert answer["sum_gpm"] == pytest.approx(1800 / 21.8 + 2700 / 25.7)
    assert answer == json.loads(run(f"{asked} --fill-gpm 300 --json").stdout)
    assert "fill 300 gpm into one tanker, as the site gives no more" in unfolded(run(f"{asked} --fill-gpm 1000").stdout)
    assert "as the site gives no more" not in run(f"{asked} --fill-gpm 300").stdout


@pytest.mark.parametrize("positions", [1, 2])
def test_shuttle_steady_and_minute_by_minute_agree_on_a_weak_site(positions: int) -> None:
    """What one tanker could take beyond what the site gives changes nothing, with queues or two at once."""
    asked = (
        "shuttle --tank 2000 --tank 3000 --min-out 6 --min-back 4 --arrive 13 --arrive 20 --attack-engine 10 "
        f"--demand 150 --site-gpm 300 --fill-positions {positions} --json"
    )
    strong, weak = (json.loads(run(f"{asked} --fill-gpm {gpm}").stdout) for gpm in (1000, 300))
    assert strong == weak


def test_shuttle_by_miles_uses_the_rule_for_each_leg() -> None:
    """0.65 + 1.7 D on each leg, and the default handling times."""
    answer = json.loads(run("shuttle --tank 2000 --miles-out 2 --miles-back 3 --json").stdout)
    driven = 2 * 0.65 + 1.7 * 5
    handled = (1.0 + 1.0 + 1800 / 500) + (0.5 + 1.5 + 1800 / 1000)
    assert answer["tankers"][0]["cycle_min"] == pytest.approx(driven + handled)


def test_shuttle_for_people() -> None:
    """A table, the limiting term in words, what was used, and the caution; supply is rounded down."""
    text = unfolded(run(f"shuttle {GOLDEN}").stdout)
    assert "Sustained flow 236 gpm" in text
    assert "Limited by tankers: their number, size and trip" in text
    assert "Sum of singles 247 gpm, an upper bound" in text
    assert "fill 900 gpm into one tanker" in text
    assert text.endswith(CAUTIONS)


def test_shuttle_tells_who_only_slows_the_others() -> None:
    """A large tank without a dump valve in a short shuttle."""
    text = unfolded(
        run("shuttle --tank 3000 --tank 3000 --tank 500 --min-out 1 --min-back 1 --dump-gpm 1000 --fill-gpm 200").stdout
    )
    assert "Leaving out tanker 3 raises the sustained flow to" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ("--tank 2000", "--miles-out and --miles-back, or --min-out and --min-back"),
        ("--tank 2000 --miles-out 2", "--miles-out and --miles-back, or --min-out and --min-back"),
        ("--tank 2000 --miles-out 2 --miles-back 2 --min-out 3", "none of the other"),
        ("--tank 0 --min-out 5 --min-back 5", "--tank: '0' must be above 0"),
        ("--tank 2000 --tank nan --min-out 5 --min-back 5", "--tank: 'nan' is not a number of gal"),
        ("--tank 2000 --min-out -1 --min-back 5", "--min-out: '-1' must be at least 0"),
        ("--tank 2000 --min-out inf --min-back 5", "--min-out: 'inf'"),
        ("--tank 2000 --min-out 5 --min-back 5 --usable 1.2", "--usable: '1.2' must be above 0 and at most 1"),
        ("--tank 2000 --min-out 5 --min-back 5 --fill-positions 0", "--fill-positions: '0' must be at least 1"),
        ("--min-out 5 --min-back 5", "--tank"),
        ("--tank 200000 --min-out 5 --min-back 5", "--tank: '200000' must be at most 20000"),
        ("--tank 2000 --min-out 5 --min-back 5 --fill-gpm 1e6", "--fill-gpm: '1e6' must be at most 100,000"),
        ("--tank 2000 --miles-out 5000 --miles-back 5", "--miles-out: '5000' must be at most 500"),
    ],
)
def test_shuttle_refuses_what_cannot_be(arguments: str, said: str) -> None:
    """Exit 2, nothing on stdout, the option and its rule on stderr."""
    result = run(f"shuttle {arguments}")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert said in unfolded(result.stderr)


# ------------------------------------------------------------------ demand


def test_a_warehouse_is_no_dwelling() -> None:
    """The construction number of a dwelling counts at most 1.0, that of wood frame 1.5."""
    wide = json.loads(run("demand --length 1000 --width 500 --height 40 --json").stdout)["required_gal"]
    home = json.loads(run("demand --length 1000 --width 500 --height 40 --dwelling --json").stdout)["required_gal"]
    assert wide == pytest.approx(1.5 * home)


@pytest.mark.parametrize(
    ("sides", "said"),
    [
        ("--length 2 --width 24 --height 20", "--length: '2' is probably metres"),
        ("--length 50 --width 24000 --height 20", "--width: '24000' is"),
        ("--length 9000 --width 9000 --height 900", "more than 1,000,000,000 cubic feet, larger than any"),
    ],
)
def test_demand_refuses_what_is_no_building(sides: str, said: str) -> None:
    result = run(f"demand {sides}")
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in unfolded(result.stderr)


def test_demand_json() -> None:
    """The recalled example of a dwelling (unverified): 3,429 gal, 5,143 with an exposure."""
    answer = json.loads(run("demand --length 50 --width 24 --height 20 --json").stdout)
    assert list(answer) == ["method", "required_gal", "required_gpm", "required_min", "rule"]
    assert answer["method"] == "nfpa1142"
    assert answer["required_gal"] == pytest.approx(24000 / 7)
    assert (answer["required_gpm"], answer["required_min"]) == (500.0, 120.0)
    assert "from memory, unverified" in answer["rule"]
    exposed = json.loads(run("demand --length 50 --width 24 --height 20 --exposure --json").stdout)
    assert exposed["required_gal"] == pytest.approx(36000 / 7)


def test_demand_options() -> None:
    """Hazard and construction, a dwelling or not, and every method."""
    shed = json.loads(run("demand --length 125 --width 100 --height 14 --hazard 5 --construction ii --json").stdout)
    assert shed["required_gal"] == pytest.approx(26250)
    school = json.loads(run("demand --length 50 --width 24 --height 20 --no-dwelling --json").stdout)
    assert school["required_gal"] == pytest.approx(24000 / 7 * 1.5)
    flows = {
        method: json.loads(run(f"demand --length 50 --width 75 --height 12 --method {method} --json").stdout)
        for method in ("iso", "nfa", "iowa")
    }
    assert flows["iowa"]["required_gpm"] == 450.0
    assert flows["nfa"]["required_gpm"] == 1250.0
    assert flows["iso"]["required_gpm"] == 500.0


def test_demand_for_people() -> None:
    """Need is rounded up; the rule and the caution are printed."""
    text = unfolded(run("demand --length 50 --width 24 --height 20").stdout)
    assert "Required flow 500 gpm for 120 min" in text
    assert "3,429 gal" in text
    assert "capped at 1.0 for a dwelling (from memory, unverified)" in text
    assert text.endswith(CAUTIONS)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("--hazard 2", "--hazard: '2' must be at least 3 and at most 7"),
        ("--hazard 4.5", "--hazard: '4.5' must be a whole number"),
        ("--hazard severe", "--hazard: 'severe' is not a number\n"),
        ("--height tall", "--height: 'tall' is not a number of ft"),
        ("--height 12t", "--height: '12t' is not a number of ft"),
        ("--construction VI", "--construction: 'VI' must be one of I, II, III, IV, V"),
        ("--method given", "--method: 'given' must be one of nfpa1142, iso, nfa, iowa"),
        ("--height -3", "--height: '-3' must be above 0"),
    ],
)
def test_demand_refuses_what_cannot_be(more: str, said: str) -> None:
    """Exit 2 with the option named."""
    height = "" if "--height" in more else "--height 20"
    result = run(f"demand --length 50 --width 24 {height} {more}")
    assert result.exit_code == 2
    assert said in result.stderr


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("demand --length 1,050 --width 30ft --height 20'6\"", "demand --length 1050 --width 30 --height 20.5"),
        (
            "shuttle --tank 2,000 --tank 3000gal --usable 90% --miles-out 2mi --miles-back 2 --fill-gpm 1,000gpm",
            "shuttle --tank 2000 --tank 3000 --usable 0.9 --miles-out 2 --miles-back 2 --fill-gpm 1000",
        ),
        ("hydraulics lay --feet 0.5mi --flow 500gpm --pump 150psi", "hydraulics lay --feet 2640 --flow 500 --pump 150"),
        ("hydraulics relay --feet 3,000 --flow 500 --size 5in", "hydraulics relay --feet 3000 --flow 500 --size 5"),
    ],
)
def test_numbers_are_read_as_tables_read_them(written: str, plain: str) -> None:
    """Commas for thousands, units after the number, feet and inches, per cent."""
    said = CliRunner().invoke(app, written.split())
    assert said.exit_code == 0, said.stderr
    assert said.stdout == run(plain).stdout


def test_every_number_that_is_none_is_told_at_once() -> None:
    """Each with its option, its value and its unit, in the program's own words."""
    result = run("shuttle --tank 2000 --tank lots --miles-out 2 --miles-back far --usable most")
    assert result.exit_code == 2
    assert result.stderr.splitlines() == [
        "command line, column --tank: 'lots' is not a number of gal",
        "command line, column --miles-back: 'far' is not a number of mi",
        "command line, column --usable: 'most' is not a number",
    ]


# ------------------------------------------------------------------ how commands end


@pytest.fixture
def rooms(monkeypatch: pytest.MonkeyPatch) -> types.ModuleType:
    """Stand in for the module that knows every room."""
    fake = types.ModuleType("preplan.build")
    monkeypatch.setitem(sys.modules, "preplan.build", fake)
    return fake


def failing(error: BaseException) -> Callable[..., Path]:
    def job(*_: object) -> Path:
        raise error

    return job


def test_build_reports_stages_and_the_folder(rooms: types.ModuleType) -> None:
    """One plain line a stage on stderr, the folder on stdout, --out passed on."""

    def job(district_file: Path, out: Path | None, progress: Progress) -> Built:
        progress("reading tables", 0.0)
        progress("reading tables", 0.1)
        progress("finding round trips", 0.5)
        assert district_file == Path("d.toml")
        return finished(out or Path("outputs/d"))

    rooms.build_district = job  # type: ignore[attr-defined]
    result = run("build d.toml")
    assert (result.exit_code, result.stdout) == (0, "Results in outputs/d\n")
    assert result.stderr.splitlines() == [
        "reading tables",
        "finding round trips",
        "addresses: 1,003 rows: 1,000 planned, 2 hydrant, 1 rejected",
        "planned: 999 served, 1 no route",
    ]
    assert run("build d.toml --out elsewhere").stdout == "Results in elsewhere\n"


def finished(folder: Path, *rejected: Rejected) -> Built:
    account = {"rows": 1003, "planned": 1000, "hydrant": 2, "rejected": 1}
    status = {"served": 999, "no route": 1, "hydrant": 2}
    return Built(folder=folder, rejected=rejected, accounts={"addresses": account}, status=status)


def test_the_first_twenty_rejected_are_named(rooms: types.ModuleType) -> None:
    """Where they stand and what is wrong, without control characters; then how many more."""
    faults = [
        Rejected(file="a.csv", row=n, id=f"A{n}", column="lon", value="x\x1b[31m", rule="is not a number")
        for n in range(2, 25)
    ]
    rooms.build_district = lambda _file, _out, _progress: finished(Path("outputs/d"), *faults)  # type: ignore[attr-defined]
    lines = run("build d.toml").stderr.splitlines()
    named = [line for line in lines if line.startswith("rejected: ")]
    assert len(named) == 21
    assert named[0] == "rejected: a.csv row 2 (A2), column lon: 'x\\x1b[31m' is not a number"
    assert named[-1] == "rejected: and 3 more faults, in rejected.csv"
    assert lines[-2].startswith("addresses: ")
    rooms.build_district = lambda _file, _out, _progress: finished(Path("outputs/d"), *faults[:20])  # type: ignore[attr-defined]
    assert "more faults" not in run("build d.toml").stderr


def test_check_and_card(rooms: types.ModuleType) -> None:
    """Lines of a check are printed without control characters; a card says where it is."""
    rooms.check_district = lambda _file, _progress: ["rejected: a.csv row 3", "bad \x1b[31mred"]  # type: ignore[attr-defined]
    rooms.one_card = lambda _file, address_id, _out, _progress: (Path(f"card-{address_id}.pdf"), address_id)  # type: ignore[attr-defined]
    checked = run("check d.toml")
    assert checked.exit_code == 0
    assert checked.stdout == "rejected: a.csv row 3\nbad [31mred\n"
    assert run("card d.toml A7").stdout == "Card of A7: card-A7.pdf\n"


def test_input_faults_exit_2_and_are_all_counted(rooms: types.ModuleType) -> None:
    """The first hundred findings, then how many more; no traceback."""
    findings = [Finding(file="a.csv", row=i + 2, column="lon", value="x", rule="is not a number") for i in range(130)]
    rooms.build_district = failing(InputError(findings))  # type: ignore[attr-defined]
    result = run("build d.toml")
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert len(lines) == MOST_FINDINGS + 1
    assert lines[0] == "a.csv row 2, column lon: 'x' is not a number"
    assert lines[-1] == "and 30 more"
    assert result.stdout == ""


@pytest.mark.parametrize("error", [OutputError("map.html is open elsewhere"), InvariantError("A1: flow above its cap")])
def test_own_failures_exit_1(rooms: types.ModuleType, error: Exception) -> None:
    """A message, no traceback."""
    rooms.build_district = failing(error)  # type: ignore[attr-defined]
    result = run("build d.toml")
    assert (result.exit_code, result.stderr) == (1, f"{error}\n")


def test_stopping_exits_130(rooms: types.ModuleType) -> None:
    """Ctrl-C says that earlier results stand."""
    rooms.build_district = failing(KeyboardInterrupt())  # type: ignore[attr-defined]
    result = run("build d.toml")
    assert (result.exit_code, result.stderr) == (130, "stopped; previous results are untouched\n")


def test_terminal_gets_a_bar(rooms: types.ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the stages move one bar instead of filling the screen."""
    seen = []

    def job(_file: Path, _out: Path | None, progress: Progress) -> Built:
        for step in range(50):
            progress("finding round trips", step / 50)
        seen.append(progress)
        return finished(Path("outputs/d"))

    rooms.build_district = job  # type: ignore[attr-defined]
    monkeypatch.setattr("preplan.cli._on_terminal", lambda: True)
    result = run("build d.toml")
    assert result.exit_code == 0
    assert seen
    assert result.stderr.count("finding round trips") <= 5


def test_version_help_and_unknown_commands() -> None:
    """The version; help that shows every command and the caution; an unknown command names the nearest."""
    assert run("--version").stdout == f"preplan {preplan.__version__}\n"
    text = unfolded(run("--help").stdout)
    for command in ("build", "check", "card", "shuttle", "demand", "hydraulics"):
        assert f" {command} " in text
        assert run(f"{command} --help").exit_code == 0
    assert CAUTIONS in text
    wrong = run("shutle")
    assert wrong.exit_code == 2
    assert "shuttle" in wrong.stderr


def test_help_does_not_import_the_heavy_rooms() -> None:
    """`python -m preplan --help` works and stays quick: no drawing, routing or reading library is imported."""
    code = (
        "import sys; sys.argv = ['preplan', '--help']; from preplan.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        "heavy = {'osmnx', 'folium', 'reportlab', 'geopandas', 'pandas', 'scipy', 'shapely', 'osmium'}\n"
        "print('HEAVY', sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "HEAVY []" in done.stdout


def test_public_names() -> None:
    """Names of the package come from their rooms on demand; others are refused."""
    assert callable(preplan.best_fleet)
    assert preplan.InputError is InputError
    assert "build_district" in dir(preplan)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = preplan.nothing
