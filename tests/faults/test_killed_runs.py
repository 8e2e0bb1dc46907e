"""A seeded dozen of the kills of tests/benchmarks/killed_runs.py, which has hundreds.

They run in a process of their own that forks (kills.py), since pytest's own process must not be forked.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SCRIPT = """
import dataclasses, json, random, sys
from pathlib import Path
sys.path[:0] = [{root!r}, {here!r}]
import kills, nights
nights.ready()
base = Path({base!r})
chosen = tuple(night for night in nights.NIGHTS if night.name in {chosen!r})
found = kills.campaign(base, seed=7, at_places=2, at_random=2, nights=chosen)
found += list(kills.sealings(base, random.Random(7), 2))
print(json.dumps([dataclasses.asdict(one) for one in found]))
"""
CHOSEN = ("first run", "run with corrections", "withdraw", "rebuild without a store")


@pytest.fixture(scope="module")
def kills(tmp_path_factory):
    base = tmp_path_factory.mktemp("killed")
    script = SCRIPT.format(root=str(HERE.parents[1]), here=str(HERE), base=str(base), chosen=CHOSEN)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout)


def test_after_a_kill_the_last_release_is_served_and_the_next_run_is_as_if_nothing_had_been(kills):
    assert len(kills) == 12 and {kill["night"] for kill in kills} == {*CHOSEN, "seal"}
    assert [kill for kill in kills if kill["wrong"]] == []


def test_the_judge_sees_what_is_wrong(programme):
    """Half a version, a copy with other bytes, a list that lags and a row that is there twice are all found."""
    import soundness

    from pipeline.intake import kept_ledger
    from pipeline.store import Store

    assert soundness.published(programme)[1] == [] and soundness.faults(programme) == []
    (programme / "published" / "latest" / "index.html").write_text("half", encoding="utf-8")
    assert "not whole" in soundness.published(programme)[1][0]
    copy = next((programme / "store" / "archive").glob("??/*"))
    copy.chmod(0o600)
    copy.write_bytes(b"other")
    path = programme / "store" / "archive" / kept_ledger.NAME
    kept = kept_ledger.read(path.parent)
    assert len(kept.tables["file"]) == 2
    path.unlink()
    with Store.open(programme / "store" / "evenbeam.duckdb") as store:
        store.execute("insert into reading.accepted from reading.accepted limit 1")
    found = " ".join(soundness.faults(programme))
    assert "counted twice" in found and "not what its name says" in found and "list says something else" in found
