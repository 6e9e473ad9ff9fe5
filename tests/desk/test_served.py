"""Who may speak to a desk, searches behind it, and how it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from tests.desk.conftest import Serve, copied
from tests.desk.test_document import act, goal, place
from trayopt.desk.acts import Wrong
from trayopt.desk.desk import Desk
from trayopt.desk.files import answers
from trayopt.desk.server import Served


def ask(
    served: Served, path: str, body: object = None, method: str | None = None, **changed: str | None
) -> tuple[int, dict[str, str], bytes]:
    """Ask as the page does, with other headers where they are given."""
    headers = {"host": f"127.0.0.1:{served.port}"}
    data = None
    if body is not None:
        data = json.dumps(body).encode()
        headers |= {"origin": f"http://127.0.0.1:{served.port}", "content-type": "application/json"}
    for name, value in changed.items():
        if value is None:
            del headers[name.replace("_", "-")]
        else:
            headers[name.replace("_", "-")] = value
    connection = HTTPConnection("127.0.0.1", served.port, timeout=20)
    connection.request(method or ("GET" if body is None else "POST"), path, data, headers)
    answer = connection.getresponse()
    found = answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
    connection.close()
    return found


def test_only_the_page_itself_is_answered(serve: Serve) -> None:
    served = serve()
    base = f"/{served.token}/"
    status, headers, page = ask(served, base)
    assert status == 200
    assert b"http" not in page.replace(b"http-equiv", b"")
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["referrer-policy"] == "no-referrer"
    move = {"at": 1, "act": "move", "leg": "N1/3.2", "stack": "left", "position": 6}
    other = f"http://127.0.0.1:{served.port + 1}"
    assert ask(served, "/")[0] == 404
    assert ask(served, f"/{served.token[:-1]}{'y' if served.token[-1] == 'x' else 'x'}/state")[0] == 404
    assert ask(served, f"/{served.token}")[0] == 404
    assert ask(served, f"{base}state", host="example.org")[0] == 421
    assert ask(served, f"{base}state", host=f"example.org:{served.port}")[0] == 421
    assert ask(served, f"{base}state", sec_fetch_site="cross-site")[0] == 403
    assert ask(served, f"{base}act", move, origin=None)[0] == 403
    assert ask(served, f"{base}act", move, origin=other)[0] == 403
    assert ask(served, f"{base}act", move, origin="null")[0] == 403
    assert ask(served, f"{base}act", move, content_type="text/plain")[0] == 415
    assert ask(served, f"{base}act", method="GET")[0] == 405
    assert ask(served, f"{base}act", move, content_length="900000000")[0] == 413
    for path in ("../job.yaml", "%2e%2e/job.yaml", "..%2fdesk.py", "main.mjs/../../desk.py", "page.html.j2"):
        assert ask(served, f"{base}static/{path}")[0] == 404
    assert ask(served, f"{base}sheet")[0] == 404
    for body in (["x"], "x", 3):
        assert ask(served, f"{base}act", body)[0] == 400
    assert desk_of(served).document.steps[0] is desk_of(served).document.now
    status, _, answer = ask(served, f"{base}act", move)
    assert status == 200
    assert place(json.loads(answer), "N1/3.2") == "left/6"


def desk_of(served: Served) -> Desk:
    return served.desk


def test_a_desk_that_runs_keeps_what_is_its_own(serve: Serve, folder: Path) -> None:
    first = serve()
    act(first.desk, "move", leg="N1/3.2", stack="left", position=6)
    assert answers(first.port, first.desk.keeping.name)
    assert not answers(first.port, "somebody")
    second = serve()
    assert second.desk.state()["left_behind"] is None
    act(second.desk, "cells", table="joins", cells=[[0, "name", "second"]])
    act(second.desk, "save")
    act(first.desk, "cells", table="joins", cells=[[0, "name", "first"]])
    assert act(first.desk, "save")["answer"] == {"conflicts": ["job.yaml"]}
    assert "second" in (folder / "job.yaml").read_text(encoding="utf-8")


def ended(desk: Desk, seconds: float = 120.0) -> None:
    """Wait until the search of a desk has ended."""
    until = time.monotonic() + seconds
    while desk.search.running:
        assert time.monotonic() < until
        time.sleep(0.05)


def test_a_search_finds_the_best_and_a_mend_keeps_what_was_moved(desk: Desk) -> None:
    for leg in ("N1/1.1", "N1/1.2", "N1/2.1", "N1/2.2", "N1/3.1", "N1/3.2"):
        act(desk, "move", leg=leg)
    assert desk.state()["board"]["unplaced"] == 432
    desk.begin({"kind": "solve", "limit_s": 60})
    ended(desk)
    state = desk.state()
    assert state["results"]["solve"]["taken"]
    assert (state["board"]["claimed"], state["board"]["proven"]) == (False, True)
    assert goal(state, "unplaced") == 0
    assert {each["goal"] for each in state["board"]["goals"]} == set(state["run"]["goals"])
    lying = place(state, "N1/1.1")
    assert lying is not None
    other = "right" if lying.startswith("left") else "left"
    state = act(desk, "move", leg="N1/1.1", stack=other, position=1)
    assert not state["board"]["passed"]
    desk.begin({"kind": "mend", "limit_s": 60})
    ended(desk)
    state = desk.state()
    assert state["board"]["passed"], state["results"]["mend"]
    assert place(state, "N1/1.1") == f"{other}/1"
    assert state["faults"] == []
    found = desk.compare()
    assert found["better"] in {"B", "same"}
    assert {each["goal"] for each in found["goals"]} == {each["goal"] for each in state["board"]["goals"]}


def test_what_was_moved_and_excludes_itself_is_told_without_a_line_that_no_file_has(desk: Desk) -> None:
    for leg in ("N1/1.1", "N1/2.1"):
        act(desk, "move", leg=leg, stack="left", position=6)
    desk.begin({"kind": "mend", "limit_s": 60})
    ended(desk)
    faults = desk.state()["results"]["mend"]["faults"]
    assert faults
    for fault in faults:
        assert (fault["source"], fault["line"], fault["where"]) == ("", None, "")
        assert "left/6" in fault["text"]["en"]
        assert "pin" not in fault["text"]["en"]
        assert "job.yaml" not in fault["text"]["de"]
        assert fault["text"]["de"] != fault["text"]["en"]


def test_what_a_file_says_of_its_plan_is_a_claim(serve: Serve, folder: Path) -> None:
    file = folder / "job-plan.json"
    plan = json.loads(file.read_text(encoding="utf-8"))
    plan["status"] = "optimal"
    for each in plan["goals"]:
        each["bound"] = each["value"]
    file.write_text(json.dumps(plan), encoding="utf-8")
    board = serve().desk.state()["board"]
    assert (board["claimed"], board["proven"]) == (True, False)


def test_a_plan_that_comes_after_a_move_is_offered_and_not_forced(desk: Desk) -> None:
    desk.begin({"kind": "solve", "limit_s": 60})
    moved = act(desk, "move", leg="N1/3.2", stack="left", position=6)
    ended(desk)
    state = desk.state()
    assert state["board"]["legs"] == moved["board"]["legs"]
    assert not state["results"]["solve"].get("taken")
    assert act(desk, "take", kind="solve")["board"]["proven"]
    assert place(act(desk, "undo"), "N1/3.2") == "left/6"


def test_reasons_come_with_ways_out_that_are_applied(folder: Path) -> None:
    desk = Desk(copied(folder, "no-2x864-short-tail-wall-3x8"), workers=1)
    desk.begin({"kind": "explain", "limit_s": 100})
    ended(desk)
    found = desk.state()["results"]["explain"]
    assert [each["rule"] for each in found["explanation"]["conflicts"][0]["groups"]] == ["exposed"]
    assert found["ways"][0]["says"] == {"en": "expose 4,200 mm of S1", "de": "von S1 4.200 mm freilegen"}
    [group] = found["explanation"]["conflicts"][0]["groups"]
    assert "am wenigsten sind 3.950 mm abzusetzen" in group["because"]["de"]
    state = act(desk, "apply", kind="explain", way=0)
    assert state["answer"] is None
    assert state["board"]["passed"]
    assert desk.document.job is not None
    assert desk.document.job.trunk_by_id["S1"].exposed_mm == 4200
    assert state["results"] == {}
    desk.close()


@pytest.mark.slow
def test_a_way_out_of_hardware_is_carried_out_beside_the_job_and_opened(folder: Path) -> None:
    job = copied(folder, "no-2x864-guide-fill-wall-2x6")
    desk = Desk(job, workers=1)
    desk.begin({"kind": "explain", "limit_s": 100})
    ended(desk)
    ways = desk.state()["results"]["explain"]["ways"]
    number = next(i for i, way in enumerate(ways) if "changed.yaml" in way["edit"])
    made = act(desk, "apply", kind="explain", way=number)["answer"]
    assert (folder / made["folder"] / "wall-2x6-changed.yaml").exists()
    with pytest.raises(Wrong, match="gone"):
        act(desk, "open", folder="..", job=made["jobs"][0])
    state = act(desk, "open", folder=made["folder"], job=made["jobs"][0])
    assert state["board"]["passed"]
    assert state["changed_beside"] == []
    assert desk.document.job_disk.path == folder / made["folder"] / job.name
    desk.close()


def test_what_a_thing_costs_is_asked_of_that_thing_alone(desk: Desk) -> None:
    act(desk, "move", leg="N1/1.1", stack="left", position=6)
    desk.begin({"kind": "keep", "leg": "N1/1.1", "limit_s": 60})
    ended(desk)
    found: dict[str, Any] = desk.state()["results"]["keep"]
    assert "N1:1-72 left/6" in found["about"]
    assert found["explanation"]["expected"]["possible"] is True
    assert found["explanation"]["expected"]["cost"] is not None


def test_a_search_that_is_stopped_keeps_the_best(folder: Path) -> None:
    desk = Desk(copied(folder, "2x432-shuffled-wall-2x6"), workers=1)
    desk.begin({"kind": "solve", "limit_s": 300})
    with pytest.raises(Wrong, match="busy"):
        desk.begin({"kind": "explain"})
    while desk.search.running and not desk.state()["run"]["goals"]:
        time.sleep(0.02)
    desk.close()
    state = desk.state()
    assert state["board"]["unplaced"] == 0
    assert state["unsaved"] == [False, True]
    assert desk.keeping.file.exists()


def test_an_end_leaves_no_process_behind(folder: Path) -> None:
    desk = Desk(copied(folder, "2x1728-shuffled-subunits"), workers=1)
    desk.begin({"kind": "solve", "limit_s": 300})
    process = desk.search._process
    assert process is not None
    desk.close()
    assert process.poll() is not None


@pytest.mark.skipif(os.name != "posix", reason="signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_the_command_serves_until_it_is_asked_to_end_and_loses_nothing(folder: Path, how: signal.Signals) -> None:
    process, served = started(folder, "job.yaml")
    with process:
        move = {"at": 1, "act": "move", "leg": "N1/3.2", "stack": "left", "position": 6}
        assert ask(served, f"/{served.token}/act", move)[0] == 200
        process.send_signal(how)
        _, said = process.communicate(timeout=30)
    assert process.returncode == (0 if how == signal.SIGINT else -signal.SIGKILL)
    assert (b"not saved; kept in" in said) == (how == signal.SIGINT)
    other = Desk(folder / "job.yaml")
    assert other.state()["left_behind"] == {"changed": False, "found": False}
    assert place(act(other, "take_over"), "N1/3.2") == "left/6"


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_a_desk_that_is_killed_in_a_search_keeps_the_best_that_was_found(folder: Path) -> None:
    job = copied(folder, "2x432-shuffled-wall-2x6")
    process, served = started(folder, job.name)
    with process:
        status, _, answer = ask(served, f"/{served.token}/begin", {"kind": "solve", "limit_s": 300})
        assert status == 200
        assert goal(json.loads(answer), "unplaced") == 432
        waited = time.monotonic()
        while not found_in(folder):
            assert time.monotonic() - waited < 120
            time.sleep(0.05)
        process.kill()
        process.wait()
    other = Desk(job)
    assert other.state()["left_behind"] == {"changed": False, "found": True}
    assert goal(other.state(), "unplaced") == 432
    state = act(other, "take_over")
    assert goal(state, "unplaced") == 0
    assert goal(act(other, "undo"), "unplaced") == 432
    other.close()


def started(folder: Path, job: str) -> tuple[subprocess.Popen[bytes], Any]:
    """Start the command, and give its process and where it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "trayopt", "desk", "--format", "json", "--workers", "1", job],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert process.stdout is not None
    told = b""
    while not told.rstrip().endswith(b"}"):
        told += process.stdout.readline()
    address = json.loads(told)["address"]
    port, token = int(address.split(":")[2].split("/")[0]), address.split("/")[3]
    return process, type("At", (), {"port": port, "token": token})()


def found_in(folder: Path) -> bool:
    """Whether a desk has kept a plan that its search found."""
    return any(json.loads(path.read_text(encoding="utf-8"))["found"] for path in folder.glob(".*desk*.json"))


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_a_search_that_is_killed_gives_the_best_that_it_had(folder: Path) -> None:
    desk = Desk(copied(folder, "2x432-shuffled-wall-2x6"), workers=1)
    desk.begin({"kind": "solve", "limit_s": 300})
    run, process = desk.search.run, desk.search._process
    assert run is not None
    assert process is not None
    while desk.search.running and not run.best:
        time.sleep(0.02)
    process.kill()
    ended(desk)
    state = desk.state()
    assert state["results"]["solve"]["cut_short"]
    assert goal(state, "unplaced") == 0
    assert state["unsaved"] == [False, True]
    act(desk, "save")
    assert not desk.keeping.file.exists()
    desk.close()
