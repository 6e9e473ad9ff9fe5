"""The picture of a job without a plan: its box, with the ports by which its trunks may enter."""

from __future__ import annotations

from dataclasses import replace

from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk
from trayopt.pictures.base import Picture
from trayopt.pictures.box import box_picture
from trayopt.pictures.doubts import Doubts


def job_picture(job: Job, doubts: Doubts) -> Picture:
    """Draw the box of a job, with a line under it for each trunk: its cable, ports, direction and loops."""
    entering: dict[str, list[str]] = {}
    for trunk in job.trunks:
        for port in trunk.allowed_ports(job.enclosure) if trunk.ports != "any" else ():
            entering.setdefault(port, []).append(trunk.id)
    picture = box_picture(job.enclosure, doubts, entering, [_said(trunk) for trunk in job.trunks])
    splices = f"{job.splices:,} splice{'' if job.splices == 1 else 's'}"
    return replace(picture, title=f"box of {job.title or 'a job'}", description=f"{splices} in {job.enclosure.id}")


def _said(trunk: Trunk) -> str:
    ports = "any port" if trunk.ports == "any" else " or ".join(trunk.ports)
    travel = "either way" if trunk.travel == "either" else trunk.travel
    loops = " or ".join(map(str, trunk.loops))
    cable = f"{trunk.cable.id}, {trunk.cable.fibres:,} fibres, {trunk.cable.diameter_mm:g} mm"
    return f"trunk {trunk.id}: {cable}; {ports}, {travel}, loops {loops}"
