"""Files that are there but that the system does not let one read: an exit status of the input, and a remedy."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from preplan.cli import EXIT_INPUT, app
from tests.faults.small import SmallDistrict

REMEDY = "cannot be read: Permission denied; see that it is yours to read and whole, or name a copy of it"


@pytest.mark.parametrize("command", ["build", "check"])
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("district.toml", f"district.toml: {REMEDY}\n"),
        ("roads.osm", f"roads.osm: {REMEDY}\n"),
        ("roads.graphml", f"roads.graphml: {REMEDY}\n"),
        ("town.geojson", f"district.toml row 3, column district.boundary: 'town.geojson' {REMEDY}\n"),
        ("addresses.csv", "addresses.csv: cannot be read: Permission denied"),
    ],
)
def test_a_file_that_may_not_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, name: str, said: str
) -> None:
    """No fault of the program, and no advice about its kind."""
    one = SmallDistrict()
    one.files[name] = one.files.get(name, "") if name != "roads.osm" else one.xml()
    if name.startswith("roads"):
        one.toml = one.toml.replace("roads.osm", name)
    elif name == "town.geojson":
        one.toml = one.toml.replace("date =", f'boundary = "{name}"\ndate =')
    district = one.write(tmp_path / "mine")
    real = io.open

    def guarded(file: Any, *rest: Any, **more: Any) -> Any:
        if Path(str(file)).name == name:
            raise PermissionError(13, "Permission denied", str(file))
        return real(file, *rest, **more)

    monkeypatch.setattr(io, "open", guarded)
    result = CliRunner().invoke(
        app, [command, str(district), *(["--out", str(tmp_path / "out")] * (command == "build"))]
    )
    assert result.exit_code == EXIT_INPUT, result.stderr
    assert said in result.stderr
    assert "fault of the program" not in result.stderr
    assert not (tmp_path / "out").exists()
